"""The next swatch is the one that teaches most; and a word when none is worth it."""

from __future__ import annotations

import json
from collections import Counter
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from studio_files import as_colours
from synthetic import CASTS, fit_two_flux, studio

from tint.appearance import Setting
from tint.cli import main
from tint.errors import InputError
from tint.materials import Blend, Pigment
from tint.palette import Palette
from tint.planning import Plan, next_swatches, offers
from tint.starting.plan import first_swatches
from tint.swatches import Reading, Swatch, SwatchFolder, read_declared


@pytest.fixture(scope="module")
def thin() -> Palette:
    """A palette whose blue was cast but once, as a trace under white."""
    casts = tuple(cast for cast in CASTS if "blue" not in cast.loadings or cast.name == "sky-a")
    return fit_two_flux(studio(casts, seed=2))


@pytest.fixture(scope="module")
def plan(thin: Palette) -> Plan:
    return next_swatches(thin, count=4)


def test_what_is_known_least_is_cast_next(plan: Plan) -> None:
    assert "blue" in plan.castings[0].blend.loadings
    assert not plan.enough


def test_tints_are_planned_with_a_pigment_that_was_cast() -> None:
    folder = studio(seed=2)
    palette = fit_two_flux(
        replace(folder, pigments={**folder.pigments, "ochre": Pigment(name="ochre", max_loading=1.0)})
    )
    tints = {frozenset(blend.loadings) for blend in offers(palette, "clear") if len(blend.loadings) == 2}
    assert tints == {frozenset(("white", name)) for name in ("yellow", "blue", "ochre")}


def test_a_folder_without_cards_is_planned_for_as_it_is_read() -> None:
    folder = studio(seed=2, backings=("none",), transmit=True)
    palette = fit_two_flux(replace(folder, backings={}, bare={}))
    assert next_swatches(palette, count=1).castings[0].error_after > 0.0


def test_property_errors_fall_casting_by_casting(plan: Plan) -> None:
    castings = plan.castings
    for casting in castings:
        assert casting.error_after < casting.error_before
    for one, two in pairwise(castings):
        assert two.error_before == pytest.approx(one.error_after)


def test_property_parts_miss_by_more_than_the_palette_errs(plan: Plan) -> None:
    missed = [plan.missed_now, *(casting.missed_after for casting in plan.castings)]
    assert missed == sorted(missed, reverse=True)
    assert all(casting.missed_after > casting.error_after for casting in plan.castings)
    assert plan.missed_now > plan.castings[0].error_before


def test_what_was_not_cast_widens_bounds_and_no_promise(thin: Palette, plan: Plan) -> None:
    """As if its castings had held a hundredth: every aim lies far outside, where only the bound is to grow."""
    faint = {
        base: replace(each, max_loading={name: x / 100.0 for name, x in each.max_loading.items()})
        for base, each in thin.seen.items()
    }
    outside = next_swatches(replace(thin, seen=faint), count=1)
    assert outside.missed_now == pytest.approx(plan.missed_now, rel=1e-3)
    assert outside.castings[0].missed_after == pytest.approx(plan.castings[0].missed_after, rel=1e-3)


def test_targets_of_the_maker_decide(thin: Palette) -> None:
    yellow = Blend("clear", {"white": 0.3, "yellow": 0.4})
    plan = next_swatches(thin, targets=[(yellow, Setting(thickness_mm=3.0))], count=1)
    assert "blue" not in plan.castings[0].blend.loadings


def test_offers_keep_to_limits_cures_and_moulds(thin: Palette) -> None:
    unsafe = replace(thin, pigments=thin.pigments | {"blue": replace(thin.pigments["blue"], cures=("condensation",))})
    plan = next_swatches(unsafe, count=4, bases=("clear",), thicknesses_mm=(2.5,))
    for casting in plan.castings:
        assert casting.blend.base == "clear"
        assert casting.thickness_mm == 2.5
        assert "blue" not in casting.blend.loadings
        assert casting.blend.total <= thin.bases["clear"].max_loading


def test_reference_the_promise_is_kept_by_a_real_fit(plan: Plan) -> None:
    """Pour what was proposed, fit again: the palette's own error falls to about what was predicted."""
    casts = [cast for cast in CASTS if "blue" not in cast.loadings or cast.name == "sky-a"]
    more = [
        type(casts[0])(f"new-{at}", each.blend.base, each.thickness_mm, dict(each.blend.loadings))
        for at, each in enumerate(plan.castings)
    ]
    after = fit_two_flux(studio((*casts, *more), seed=2))
    left = next_swatches(after, count=1).castings[0].error_before
    assert left < 1.6 * plan.castings[-1].error_after
    assert left < 0.7 * plan.castings[0].error_before


def test_reference_colours_teach_what_a_real_fit_to_them_learns() -> None:
    """Where colours alone are read, a casting teaches of all wavelengths at once, and less than a spectrum would."""
    few = [cast for cast in CASTS if "blue" not in cast.loadings or cast.name == "sky-a"]
    spectra = studio(tuple(few), seed=2)
    palette = fit_two_flux(as_colours(spectra, seed=2))
    proposal = next_swatches(palette, count=3)
    before, promised = proposal.castings[0].error_before, proposal.castings[-1].error_after
    more = [
        type(few[0])(f"new-{at}", each.blend.base, each.thickness_mm, dict(each.blend.loadings))
        for at, each in enumerate(proposal.castings)
    ]
    after = fit_two_flux(as_colours(studio((*few, *more), seed=2), seed=2))
    left = next_swatches(after, count=1).castings[0].error_before
    assert promised < 0.9 * before
    assert 0.5 * promised < left < 1.6 * promised
    of_spectra = next_swatches(replace(palette, read_as="spectra"), count=3)
    assert of_spectra.castings[-1].error_after < 0.8 * promised, "as if each wavelength were known by itself"


def test_a_palette_that_knows_enough_is_told(demo_palette: Palette) -> None:
    sure = replace(demo_palette, local=demo_palette.local * 1e-8, modes=demo_palette.modes[:0])
    plan = next_swatches(sure, count=1)
    assert plan.castings[0].error_before < 0.01


def test_the_first_plan_leaves_nothing_unknown(demo_palette: Palette) -> None:
    castings = first_swatches(demo_palette.bases, demo_palette.pigments)
    assert 12 <= len(castings) <= 14
    cast = Counter(name for each in castings for name in each.blend.loadings)
    assert set(cast) == set(demo_palette.pigments)
    assert min(cast.values()) >= 2, "whether a colour grows in proportion is not seen"
    bare = [each.blend.base for each in castings if not each.blend.loadings]
    assert set(bare) == set(demo_palette.bases)
    for each in castings:
        base = demo_palette.bases[each.blend.base]
        assert each.blend.total <= base.max_loading
        assert all(base.cure in (demo_palette.pigments[name].cures or (base.cure,)) for name in each.blend.loadings)


def test_the_first_plan_keeps_to_bases_and_moulds(demo_palette: Palette) -> None:
    few = first_swatches(demo_palette.bases, demo_palette.pigments, only=("clear",), moulds_mm=(2.0, 4.0))
    assert {each.blend.base for each in few} == {"clear"}
    assert {each.thickness_mm for each in few} == {2.0, 4.0}
    assert "rose" not in {name for each in few for name in each.blend.loadings}, "it is not safe there"


def test_every_base_of_the_first_plan_is_cast_at_two_thicknesses(demo_palette: Palette) -> None:
    castings = first_swatches(demo_palette.bases, demo_palette.pigments)
    for base in demo_palette.bases:
        assert len({each.thickness_mm for each in castings if each.blend.base == base}) > 1


def test_colours_are_cast_apart_where_that_is_asked(demo_palette: Palette) -> None:
    castings = first_swatches(demo_palette.bases, demo_palette.pigments, apart=True)
    assert all(len(set(each.blend.loadings) - {"white"}) <= 1 for each in castings)
    spectra = first_swatches(demo_palette.bases, demo_palette.pigments)
    assert any(len(set(each.blend.loadings) - {"white"}) > 1 for each in spectra)


def test_a_shelf_without_white_is_planned_too(demo_palette: Palette) -> None:
    pigments = {name: each for name, each in demo_palette.pigments.items() if name != "white"}
    castings = first_swatches(demo_palette.bases, pigments)
    doses: dict[str, set[float]] = {}
    for each in castings:
        for name, dose in each.blend.loadings.items():
            doses.setdefault(name, set()).add(dose)
    assert set(doses) == set(pigments)
    assert min(map(len, doses.values())) >= 2


def test_what_cannot_be_planned_is_told(thin: Palette) -> None:
    with pytest.raises(InputError, match="plan: 0 castings"):
        next_swatches(thin, count=0)
    with pytest.raises(InputError, match="base: `rubber`"):
        next_swatches(thin, bases=("rubber",))


def test_the_command_proposes_and_speaks(fitted_demo: Path) -> None:
    call = ["plan", str(fitted_demo), "--castings", "2", "--mould", "2", "--optics", "two-flux"]
    shown = CliRunner().invoke(main, call)
    assert shown.exit_code == 0
    assert "Pour next" in shown.output
    assert "2 mm" in shown.output


def test_the_first_plan_needs_only_the_shelf(demo_folder: Path) -> None:
    (demo_folder / "swatches.csv").unlink()
    (demo_folder / "readings.csv").unlink()
    declared = read_declared(demo_folder)
    shown = CliRunner().invoke(main, ["plan", str(demo_folder), "--first"])
    assert shown.exit_code == 0
    assert all(name in shown.output for name in (*declared.bases, *declared.pigments))
    assert "10.00 g part A" in shown.output


def test_the_command_keeps_to_base_and_mould(demo_folder: Path) -> None:
    call = ["plan", str(demo_folder), "--first", "--base", "milky", "--mould", "2", "--json"]
    castings = json.loads(CliRunner().invoke(main, call).stdout)["castings"]
    assert {each["base"] for each in castings} == {"milky"}
    assert {each["thickness_mm"] for each in castings} == {2.0}
    assert all(each["lines"] for each in castings)


def test_first_swatches_fit() -> None:
    """The first plan, poured in the invented studio, fits without a word of trouble and predicts within its error."""
    from synthetic import BASES, PIGMENTS, Cast

    castings = first_swatches(BASES, PIGMENTS)
    casts = [Cast(each.name, each.blend.base, each.thickness_mm, dict(each.blend.loadings)) for each in castings]
    folder: SwatchFolder = studio(casts, seed=6)
    assert all(isinstance(each, Swatch) for each in folder.swatches)
    assert all(isinstance(each, Reading) for each in folder.readings)
    palette = fit_two_flux(folder)
    assert np.nanmax([swatch.delta_e for swatch in palette.swatches]) < 0.5


def test_property_castings_judged_a_few_at_a_time_are_judged_alike(
    thin: Palette, plan: Plan, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tint.learning.AT_ONCE", 1)
    assert next_swatches(thin, count=2).castings == plan.castings[:2]
