"""What an examination finds: each fault planted in a studio whose truth is known, and nothing where nothing is."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from statistics import NormalDist
from typing import Any

import numpy as np
import pytest
from fits import fitted_only_once
from studio_files import every_second
from synthetic import CASTS, INSTRUMENT, PIGMENTS, Cast, fit_two_flux, read_of, studio

from tint.checks import Finding, examine, left_out
from tint.checks.ground import Ground, fit_ground, limit, spread_limit, without
from tint.checks.jumps import of_jumps
from tint.checks.pigments import of_tails
from tint.fitting.leaving_out import Fitted, LeftOut, one_by_one
from tint.fitting.minimise import Minimum, minimise
from tint.fitting.spectra import fit_with_ground
from tint.palette import Palette
from tint.spectra import Array
from tint.swatches import Reading, Swatch, SwatchFolder, read_folder

SEED = 3


def kinds(found: tuple[Finding, ...]) -> list[str]:
    return [each.kind for each in found]


def only(found: tuple[Finding, ...], kind: str) -> Finding:
    """The one finding there is, of this kind."""
    assert kinds(found) == [kind], "\n".join(f"{each.kind} ({each.where}): {each.words}" for each in found)
    return found[0]


def examined(folder: SwatchFolder) -> tuple[Finding, ...]:
    """As `tint check` does it, but with another palette: where no spot is stated only its model is looked at."""
    return examine(folder, fit_two_flux(studio(seed=SEED)), fitted_only_once(folder, optics="two-flux"))


@pytest.fixture(scope="module", autouse=True)
def _fitted_once() -> Iterator[None]:
    """A folder without one of its castings, or read in another seat, is that of several tests."""
    with pytest.MonkeyPatch.context() as patched:
        for room in ("tint.checks.ground", "tint.fitting.spectra"):
            patched.setattr(f"{room}.fit_only", fitted_only_once)
        yield


def altered(folder: SwatchFolder, chosen: Callable[[Reading], bool], by: Callable[[Array], Array]) -> SwatchFolder:
    readings = tuple(replace(each, values=by(each.values)) if chosen(each) else each for each in folder.readings)
    return replace(folder, readings=readings)


def reading(swatch: str, backing: str) -> Callable[[Reading], bool]:
    return lambda each: (each.swatch, each.backing) == (swatch, backing)


@pytest.fixture(scope="module")
def clean() -> SwatchFolder:
    return studio(seed=SEED)


@pytest.fixture(scope="module")
def ground(clean: SwatchFolder) -> Ground:
    return fit_ground(clean, optics="two-flux")


@pytest.fixture(scope="module")
def palette(ground: Ground) -> Palette:
    return ground.palette


# Nothing where nothing is.


def test_nothing_is_found_in_a_clean_folder(clean: SwatchFolder, palette: Palette) -> None:
    assert examine(clean, palette) == ()


def test_nothing_is_found_in_readings_of_clean_folders() -> None:
    assert [kinds(examine(studio(seed=seed))) for seed in range(40)] == [[]] * 40


def test_nothing_is_found_in_the_demo_readings(demo_folder: Path) -> None:
    assert examine(read_folder(demo_folder)) == ()


def test_reference_limits_hold_for_normal_errors() -> None:
    random = np.random.default_rng(5).standard_normal((4000, 20, 30))
    # Thousandfold luck is too rare to count: at a chance of 1e-3, 4000 folders leave about 4.
    assert np.count_nonzero(np.abs(random).max(axis=(1, 2)) > limit(600)) <= 12
    assert np.count_nonzero(np.sqrt((random**2).mean(axis=2)).max(axis=1) > spread_limit(20, 30)) <= 12


@pytest.mark.parametrize("comparisons", [1, 10, 600])
def test_reference_limits_are_normal_quantiles(comparisons: int) -> None:
    # Two-sided, one chance in a thousand for all comparisons together; the quantile is that of Python's own library.
    assert limit(comparisons) == pytest.approx(NormalDist().inv_cdf(1.0 - 0.5e-3 / comparisons), rel=1e-6)


# Readings.


def with_replicate(folder: SwatchFolder, swatch: str, offset: float) -> SwatchFolder:
    first = next(each for each in folder.readings if each.swatch == swatch)
    noise = INSTRUMENT.repeatability * np.random.default_rng(1).standard_normal(first.values.size)
    again = replace(first, values=first.values + noise + offset, row=99)
    return replace(folder, readings=(*folder.readings, again))


def test_replicates_that_differ(clean: SwatchFolder) -> None:
    assert examine(with_replicate(clean, "white-b", 0.0)) == ()
    found = only(examine(with_replicate(clean, "white-b", 0.010)), "replicates")
    assert found.where == "white-b"
    assert "99" in found.words
    assert "0.001" in found.words


def test_many_readings_of_one_placing_share_their_error(clean: SwatchFolder) -> None:
    # A casting that hides, read forty times over each card without taking it off; the cards are not swapped.
    random = np.random.default_rng(4)
    black = next(each for each in clean.readings if (each.swatch, each.backing) == ("yellow-c", "black"))
    rest = tuple(each for each in clean.readings if each.swatch != "yellow-c")
    again = tuple(
        replace(
            black,
            backing=backing,
            row=row,
            values=black.values + off + 1e-4 * random.standard_normal(black.values.size),
        )
        for backing, off in (("black", 0.0015), ("white", 0.0))
        for row in range(100, 140)
    )
    assert "darker_over_lighter" not in kinds(examine(replace(clean, readings=rest + again)))


def test_cards_swapped(clean: SwatchFolder) -> None:
    other = {"black": "white", "white": "black"}
    readings = tuple(
        replace(each, backing=other[each.backing]) if each.swatch == "yellow-a" else each for each in clean.readings
    )
    assert only(examine(replace(clean, readings=readings)), "darker_over_lighter").where == "yellow-a"


def test_specular_left_out(clean: SwatchFolder) -> None:
    # As dark as a casting can read with the specular reflection: the face alone gives 0.029 at an index of 1.41.
    dark = altered(clean, lambda each: each.swatch == "blue-c", lambda r: 0.0 * r + 0.031)
    assert examine(dark) == ()
    found = only(examine(altered(dark, lambda _: True, lambda r: r - 0.029)), "below_the_face")
    assert found.where == "blue-c"
    assert "de:8" in found.mend
    excluded = replace(dark, instrument=replace(INSTRUMENT, geometry="de:8"))
    assert examine(altered(excluded, lambda _: True, lambda r: r - 0.029)) == ()


def test_more_light_than_fell(clean: SwatchFolder) -> None:
    high = altered(clean, reading("yellow-c", "white"), lambda r: np.where(np.arange(r.size) == 8, 1.10, r))
    found = only(examine(high), "fluorescence")
    assert found.where == "yellow-c, 560 nm"


def test_a_card_that_changed(demo_folder: Path) -> None:
    path = demo_folder / "readings.csv"
    lines = path.read_text().split("\n")
    at = next(n for n, line in enumerate(lines) if line.startswith("white,,"))
    cells = lines[at].split(",")
    lines[at] = ",".join([*cells[:4], *(f"{float(cell) - 0.02:.5f}" for cell in cells[4:])])
    path.write_text("\n".join(lines))
    found = only(examine(read_folder(demo_folder)), "backing_changed")
    assert (found.where, str(at + 1) in found.words) == ("white", True)


# What was cast.


def test_one_thickness(clean: SwatchFolder) -> None:
    same = [replace(each, thickness_mm=2.0) if each.base == "clear" else each for each in clean.swatches]
    assert only(examine(replace(clean, swatches=tuple(same))), "one_thickness").where == "clear"


def test_no_tint(clean: SwatchFolder) -> None:
    found = only(examine(without(clean, ["sky-a", "sky-b"])), "no_tint")
    assert found.where == "blue"
    assert "white" in found.words


def test_a_tint_with_any_light_pigment_is_one(clean: SwatchFolder) -> None:
    """A faint yellow that reads lighter than the white, because the white was cast fainter still."""
    folder = without(clean, ["green"])  # so that blue never meets yellow
    alone = {swatch.name for swatch in folder.swatches if set(swatch.loadings) == {"yellow"}}
    bright = tuple(
        replace(each, values=np.full_like(each.values, 0.99)) if each.swatch in alone else each
        for each in folder.readings
    )
    assert alone
    assert [each for each in examine(replace(folder, readings=bright)) if each.kind == "no_tint"] == []


def test_no_tint_is_asked_of_pigments_that_share_no_cure(clean: SwatchFolder) -> None:
    apart = PIGMENTS | {
        "white": replace(PIGMENTS["white"], cures=("addition",)),
        "blue": replace(PIGMENTS["blue"], cures=("condensation",)),
    }
    assert examine(replace(without(clean, ["sky-a", "sky-b"]), pigments=apart)) == ()


def test_near_hiding_only() -> None:
    hiding = {"white-a", "white-b", "white-c"}
    casts = [each for each in CASTS if each.loadings.get("white", 0.0) == 0.0 and each.name not in hiding]
    thick = [Cast("white-3", "clear", 6.0, {"white": 3.0}), Cast("white-1", "clear", 6.0, {"white": 1.5})]
    tints = [
        Cast("cream", "clear", 8.0, {"white": 2.0, "yellow": 0.1}),
        Cast("sky", "clear", 8.0, {"white": 2.0, "blue": 0.1}),
    ]
    found = only(examine(studio([*casts, *thick, *tints], seed=SEED)), "near_hiding")
    assert found.where == "white"


def test_loadings_too_close(clean: SwatchFolder) -> None:
    close = [
        replace(each, loadings=each.loadings | {"blue": 0.2 if each.name == "blue-b" else 0.25})
        if "blue" in each.loadings
        else each
        for each in clean.swatches
    ]
    assert only(examine(replace(clean, swatches=tuple(close))), "close_loadings").where == "blue"


# Against the fit.


def really(cast: Cast) -> SwatchFolder:
    """A studio in which one casting was not what the folder says."""
    return studio(seed=SEED, really={cast.name: cast})


def test_a_strong_dose() -> None:
    folder = really(Cast("cream-b", "clear", 4.0, {"white": 0.2, "yellow": 0.26}))
    found = only(examined(folder), "strength")
    assert found.where == "cream-b, yellow"
    assert "in place of 0.2 % (+" in found.words


def test_another_thickness() -> None:
    folder = really(Cast("sky-b", "clear", 3.6, {"white": 0.2, "blue": 0.1}))
    found = only(examined(folder), "thickness")
    assert found.where == "sky-b"
    told = float(found.words.split("reads as ")[1].split(" mm")[0])
    assert told == pytest.approx(3.6, abs=0.15)


@pytest.mark.parametrize(
    ("factor", "words"), [(0.1, "a tenth of what is written"), (10.0, "ten times what is written")]
)
def test_a_decimal_point_that_slipped(factor: float, words: str) -> None:
    poured = next(each for each in CASTS if each.name == "sky-a")
    folder = really(
        Cast("sky-a", "clear", poured.thickness_mm, {"white": 0.2, "blue": factor * poured.loadings["blue"]})
    )
    found = only(examined(folder), "strength")
    assert found.where == "sky-a, blue"
    assert words in found.words
    assert "mm thick" not in found.words


def test_castings_that_were_swapped() -> None:
    by_name = {each.name: each for each in CASTS}
    swapped = {"cream-a": by_name["sky-a"], "sky-a": by_name["cream-a"]}
    folder = studio(seed=SEED, really=swapped)
    found = only(examined(folder), "mixed_up")
    assert set(found.about) == {"cream-a", "sky-a"}
    assert "cream-a reads as sky-a should, sky-a reads as cream-a should" in found.words or (
        "sky-a reads as cream-a should, cream-a reads as sky-a should" in found.words
    )
    assert "swapped" in found.words


@pytest.mark.parametrize(
    ("otherwise", "words"),
    [
        (lambda r: np.concatenate((r[:1], r[:-1])), "moved by 1 column towards the first wavelength"),
        (lambda r: np.concatenate((r[2:], r[-2:])), "moved by 2 columns towards the last wavelength"),
        (lambda r: r[::-1], "read backwards"),
    ],
)
def test_a_row_of_which_the_columns_slid(clean: SwatchFolder, otherwise: Callable[[Array], Array], words: str) -> None:
    slid = altered(clean, lambda each: each.swatch == "sky-a", otherwise)
    found = only(examined(slid), "wrong_row")
    assert found.where == "sky-a"
    assert words in found.words


def test_doses_in_each_other_s_columns(clean: SwatchFolder) -> None:
    def turned(swatch: Swatch) -> Swatch:
        (one, dose), (other, less) = swatch.loadings.items()
        return replace(swatch, loadings={one: less, other: dose})

    swatches = tuple(turned(each) if each.name == "cream-a" else each for each in clean.swatches)
    found = only(examined(replace(clean, swatches=swatches)), "wrong_row")
    assert found.where == "cream-a"
    assert "in each other's columns" in found.words


def test_a_seat_that_was_another(clean: SwatchFolder) -> None:
    readings = tuple(replace(each, seat="wet") if each.swatch == "yellow-a" else each for each in clean.readings)
    folder = replace(clean, readings=readings)
    found = only(examined(folder), "wrong_row")
    assert (found.where, "wet for air" in found.words) == ("yellow-a", True)


def few_of_the_demo(demo_folder: Path) -> SwatchFolder:
    folder = every_second(read_folder(demo_folder))
    kept = ("clear", "white", "blue")
    return without(folder, [each.name for each in folder.swatches if each.name.split("-")[0] not in kept])


@pytest.mark.parametrize(
    ("seat", "geometry", "words"),
    [("wet", "di:8", 'seat = "air" were true of all'), ("air", "de:8", 'geometry = "di:8" were true')],
)
def test_a_seat_or_geometry_that_was_another_throughout(
    demo_folder: Path, seat: str, geometry: str, words: str
) -> None:
    right = few_of_the_demo(demo_folder)
    readings = tuple(each if each.backing == "none" else replace(each, seat=seat) for each in right.readings)
    folder = replace(right, readings=readings, instrument=replace(right.instrument, geometry=geometry))
    told = [each for each in examine(folder, *fit_with_ground(folder)) if each.kind != "no_tint"]
    assert [(each.kind, each.where) for each in told] == [("faces", "all castings")]
    assert words in told[0].words


def test_an_index_that_no_other_seat_or_geometry_explains(demo_folder: Path) -> None:
    right = few_of_the_demo(demo_folder)
    folder = replace(right, bases={name: replace(each, refractive_index=1.36) for name, each in right.bases.items()})
    found = only(examine(folder, *fit_with_ground(folder)), "faces")
    assert (found.where, found.about) == ("clear", ())
    assert "stated is 1.36" in found.words


def test_castings_of_which_the_names_slid_by_a_row() -> None:
    by_name = {each.name: each for each in CASTS}
    moved = ("cream-a", "sky-a", "green", "yellow-a")
    slid = {name: by_name[other] for name, other in zip(moved, (*moved[1:], moved[0]), strict=True)}
    folder = studio(seed=SEED, really=slid)
    found = examined(folder)[0]
    assert found.kind == "mixed_up"
    assert set(found.about) == set(moved)
    assert "slid by a row" in found.words


def test_names_that_were_sorted_without_their_rows(clean: SwatchFolder) -> None:
    again = [*clean.readings, *(replace(each, row=each.row + 100) for each in clean.readings)]
    assert "mixed_up" not in kinds(examine(replace(clean, readings=tuple(again))))
    names = sorted(each.swatch for each in again)
    mixed = replace(clean, readings=tuple(replace(each, swatch=name) for each, name in zip(again, names, strict=True)))
    found = examine(mixed)[0]
    assert found.kind == "mixed_up"
    assert "sorted without the others" in found.mend


@pytest.mark.parametrize(("card", "factor"), [("white", 0.94), ("white", 1.06), ("black", 4.0)])
def test_a_card_that_was_another(clean: SwatchFolder, card: str, factor: float) -> None:
    bare = {**clean.bare, card: tuple(replace(each, values=factor * each.values) for each in clean.bare[card])}
    folder = replace(clean, bare=bare, backings={**clean.backings, card: factor * clean.backings[card]})
    found = only(examined(folder), "other_card")
    assert found.where == card
    assert ("lighter" if factor < 1.0 else "darker") in found.words


def test_cards_swapped_throughout(clean: SwatchFolder) -> None:
    other = {"black": "white", "white": "black"}
    readings = tuple(replace(each, backing=other.get(each.backing, each.backing)) for each in clean.readings)
    found = examine(replace(clean, readings=readings))[0]
    assert (found.kind, found.where) == ("darker_over_lighter", "all castings")
    assert "the names of all cards are swapped" in found.words


def test_a_casting_that_counts_for_nothing_in_the_fit_is_out_of_line() -> None:
    exact = replace(INSTRUMENT, repeatability=1e-4, thickness_error_mm=0.001, dose_error_percent=0.05)
    folder = studio(seed=SEED, instrument=exact, really={"cream-a": Cast("cream-a", "clear", 2.0, {"blue": 0.5})})
    whole = fit_ground(folder, optics="two-flux")
    lightest = min(whole.palette.swatches, key=lambda each: each.weight)
    assert lightest.name == "cream-a"
    assert lightest.weight < 1e-4
    assert all(np.linalg.eigvalsh(each.covariance).min() > 0.0 for each in whole.predicted)
    found = only(examine(folder, whole.palette, whole.fitted), "out_of_line")
    assert found.where == "cream-a"


def test_a_jump(clean: SwatchFolder) -> None:
    jumped = altered(clean, reading("sky-a", "white"), lambda r: r + 0.03 * (np.arange(r.size) == 7))
    found = only(examined(jumped), "jump")
    assert found.where == "sky-a, 540 nm"


@pytest.mark.parametrize(
    ("swatch", "height"),
    [("blue-a", 0.05), ("yellow-a", 0.012), ("green", -0.012)],
)
def test_a_jump_shows_on_see_through_castings_and_is_laid_to_no_other(
    clean: SwatchFolder, swatch: str, height: float
) -> None:
    jumped = altered(clean, reading(swatch, "white"), lambda r: r + height * (np.arange(r.size) == 7))
    found = only(examined(jumped), "jump")
    assert found.where == f"{swatch}, 540 nm"
    told = float(found.words.split("a peak of ")[1].split()[0])
    assert told == pytest.approx(height, abs=0.004)


def test_a_casting_of_another_blend_is_not_told_as_a_jump(ground: Ground) -> None:
    """Far off throughout, and not smoothly: its largest peak is part of that."""
    problem = ground.fitted.problem
    of = np.flatnonzero(problem.readings.casting == problem.names.index("sky-a"))
    bent = np.zeros_like(problem.read)
    bent[of] = 0.1 * np.random.default_rng(SEED).standard_normal((of.size, problem.n_wavelengths))
    bent[of[0], 7] = 0.4
    other = replace(ground, fitted=replace(ground.fitted, problem=replace(problem, read=problem.read + bent)))
    assert list(of_jumps(other)) == []


def test_a_pigment_that_its_own_castings_contradict(clean: SwatchFolder) -> None:
    """As pearl does, which sends back light in bands, the more of it the more."""
    loadings = {swatch.name: swatch.loadings for swatch in clean.swatches}
    bands = 0.12 * (1.0 + 0.5 * np.sin(clean.wavelengths / 40.0))
    pearl = replace(clean, readings=tuple(
        replace(each, values=each.values + (1.0 - np.exp(-9.0 * loadings[each.swatch].get("blue", 0.0))) * bands)
        for each in clean.readings
    ))  # fmt: skip
    found = [each for each in examined(pearl) if each.kind == "odd_pigment"]
    assert [each.where for each in found] == ["blue"]
    assert "pearl" in found[0].mend
    assert set(found[0].about) <= {name for name in loadings if "blue" in loadings[name]}


def test_a_jump_at_the_first_wavelength(clean: SwatchFolder) -> None:
    jumped = altered(clean, reading("sky-a", "white"), lambda r: r + 0.03 * (np.arange(r.size) == 0))
    assert only(examined(jumped), "jump").where == "sky-a, 400 nm"


def test_two_castings_that_jump(clean: SwatchFolder) -> None:
    jumped = altered(clean, reading("sky-a", "white"), lambda r: r + 0.03 * (np.arange(r.size) == 7))
    jumped = altered(jumped, reading("yellow-b", "black"), lambda r: r - 0.02 * (np.arange(r.size) == 12))
    found = examined(jumped)
    assert sorted(each.where for each in found) == ["sky-a, 540 nm", "yellow-b, 640 nm"]


@pytest.mark.parametrize(("over", "found"), [(1, ["sky-a, 540 to 560 nm"]), (5, [])])
def test_a_step_is_told_and_a_slope_is_not(ground: Ground, over: int, found: list[str]) -> None:
    """Haze that was not written bends a reading where its pigment's absorption ends; a slip leaves it flat."""
    problem = ground.fitted.problem
    of = problem.readings.casting == problem.names.index("sky-a")
    rising = np.zeros_like(problem.read)
    rising[np.flatnonzero(of)[0]] = 0.03 * np.clip((np.arange(problem.n_wavelengths) - 7) / over, 0.0, 1.0)
    bent = replace(ground, fitted=replace(ground.fitted, problem=replace(problem, read=problem.read + rising)))
    assert [each.where for each in of_jumps(bent)][:1] == found


def test_a_casting_that_widens_its_own_limits() -> None:
    # White is in many castings: a wrong dose of it throws them all off a little.
    folder = really(Cast("white-a", "clear", 2.0, {"white": 0.108}))
    found = only(examined(folder), "strength")
    assert found.where == "white-a, white"


@pytest.mark.parametrize("glowing", [3, 1])
def test_a_tail_of_emitted_light(ground: Ground, glowing: int) -> None:
    problem = ground.fitted.problem
    alone = [at for at, name in enumerate(problem.names) if name.startswith("yellow-")][:glowing]
    more = np.zeros_like(problem.read)
    more[np.isin(problem.readings.casting, alone), 9:13] = 0.05
    lit = replace(ground, fitted=replace(ground.fitted, problem=replace(problem, read=problem.read + more)))
    assert list(of_tails(ground)) == []
    found = list(of_tails(lit))
    # One casting out of three does not speak for its pigment.
    assert [each.where for each in found] == (["yellow, 580 to 640 nm"] if glowing == 3 else [])


def test_no_more_is_told_of_a_pigment_whose_strongest_castings_glow(clean: SwatchFolder) -> None:
    """Where it is weak it glows as well, which no absorption explains either."""
    loadings = {swatch.name: swatch.loadings for swatch in clean.swatches}
    glow = 0.7 * np.exp(-(((clean.wavelengths - 560.0) / 20.0) ** 2))
    lit = replace(clean, readings=tuple(
        replace(each, values=each.values + min(loadings[each.swatch].get("yellow", 0.0), 0.5) * glow)
        for each in clean.readings
    ))  # fmt: skip
    assert sum(each.values.max() > 1.0 for each in lit.readings) < sum("yellow" in each for each in loadings.values())
    assert set(kinds(examined(lit))) == {"fluorescence"}


def stronger(pigment: str, castings: set[str], by: float) -> dict[str, Cast]:
    held = {cast.name: cast for cast in CASTS if cast.name in castings}
    return {
        name: cast._replace(loadings=cast.loadings | {pigment: by * cast.loadings[pigment]})
        for name, cast in held.items()
    }


@pytest.mark.parametrize(("by", "words"), [(1.12, "12 % stronger"), (0.88, "12 % weaker")])
def test_a_pigment_that_is_stronger_in_its_mixtures(by: float, words: str) -> None:
    folder = studio(seed=SEED, really=stronger("yellow", {"cream-a", "cream-b", "green"}, by))
    found = only(examined(folder), "two_strengths")
    assert found.where == "yellow"
    assert "beside other pigments, in 3 castings (cream-a, cream-b, green)" in found.words
    told = float(found.words.split(" it reads ")[1].split()[0])
    assert abs(told - 12.0) <= 3.0
    assert words.split()[-1] in found.words


def test_several_times_the_strength_is_no_other_lot_of_a_pigment() -> None:
    folder = studio(seed=SEED, really=stronger("yellow", {"cream-a", "cream-b", "green"}, 5.0))
    assert "two_strengths" not in kinds(examined(folder))


def test_a_pigment_whose_later_castings_are_of_another_paste() -> None:
    rows = ("blue-a", "sky-a", "blue-b", "sky-b", "blue-c", "green", "mist")
    cast = {each.name: each for each in CASTS}
    order = [*(each for each in CASTS if each.name not in rows), *(cast[name] for name in rows)]
    folder = studio(order, seed=SEED, really=stronger("blue", set(rows[3:]), 1.12))
    found = only(examined(folder), "two_strengths")
    assert found.where == "blue"
    assert "in the later rows, in 4 castings (sky-b, blue-c, green, mist)" in found.words
    assert "one lot, one paste" in found.mend


def test_castings_set_aside_one_after_the_other_cost_no_new_fit_from_the_beginning(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    many = [cast._replace(name=f"{cast.name} {at}", thickness_mm=cast.thickness_mm + 0.2 * at)
            for at in range(4) for cast in CASTS]  # fmt: skip
    wrong = [each for each in many if each.name in ("cream-b 0", "sky-b 1", "green 2", "white-b 3")]
    thicker = {each.name: each._replace(thickness_mm=1.4 * each.thickness_mm) for each in wrong}
    folder = studio(many, seed=SEED, really=thicker)
    steps: list[int] = []
    left_out_once: list[int] = []

    def counted(*arguments: Any, **more: Any) -> Minimum:
        found = minimise(*arguments, **more)
        steps.append(found.steps)
        return found

    def each_left(fitted: Fitted) -> Iterator[LeftOut]:
        left_out_once.append(fitted.problem.thickness.size)
        return one_by_one(fitted)

    monkeypatch.setattr("tint.fitting.spectra.minimise", counted)
    monkeypatch.setattr("tint.checks.ground.one_by_one", each_left)
    palette, fitted = fit_with_ground(folder, optics="two-flux")
    to_fit = sum(steps)
    steps.clear()
    monkeypatch.setattr("tint.fitting.spectra.in_modes", None)  # how well a palette is known no check asks
    found = examine(folder, palette, fitted)
    assert [each.kind for each in found] == ["thickness"] * 4
    assert {each.where for each in found} == set(thicker)
    assert sum(steps) < 2 * to_fit
    # Once for all castings, and at most twice for each of those that are set aside: for jumps, and for lines.
    assert left_out_once[0] == len(many)
    assert len(left_out_once) <= 1 + 2 * len(wrong)


# Left out.


def missed(ground: Ground, name: str) -> Array:
    """What is missed of a swatch that was left out."""
    return next(each.missed for each in ground.predicted if ground.name(each) == name)


def missed_as_written(folder: SwatchFolder, palette: Palette, name: str) -> Array:
    """What a palette misses of a swatch, at its thickness and doses as written."""
    swatch = next(each for each in folder.swatches if each.name == name)
    return np.array(
        [
            each.values - read_of(palette, swatch.blend, thickness_mm=swatch.thickness_mm, over=each.backing)
            for each in folder.readings
            if each.swatch == name
        ]
    )


@pytest.mark.parametrize("name", ["clear-6", "blue-c", "mist"])
def test_reference_leaving_out_is_fitting_again(clean: SwatchFolder, ground: Ground, name: str) -> None:
    truly = missed_as_written(clean, fit_two_flux(without(clean, [name])), name)
    kept = missed_as_written(clean, ground.palette, name)
    away = float(np.abs(missed(ground, name) - truly).max())
    assert away < 0.1 * float(np.abs(kept - truly).max())


def test_left_out_is_sorted_and_names_all(clean: SwatchFolder, palette: Palette) -> None:
    errors = left_out(clean, palette)
    values = list(errors.swatches.values())
    assert values == sorted(values, reverse=True)
    assert set(errors.swatches) == {swatch.name for swatch in clean.swatches}
    assert set(errors.pigments) == set(PIGMENTS)
    held = [errors.swatches[s.name] ** 2 for s in clean.swatches if "blue" in s.loadings]
    assert errors.pigments["blue"] == pytest.approx(np.mean(held) ** 0.5)


def test_what_one_swatch_alone_shows_is_not_left_out(clean: SwatchFolder) -> None:
    rest = without(clean, ["butter", "mist", "milky-5"])
    assert "milky-2" not in left_out(rest, fit_two_flux(rest)).swatches


def test_few_swatches_and_no_readings_are_no_fault(clean: SwatchFolder) -> None:
    few = without(clean, [swatch.name for swatch in clean.swatches[2:]])
    assert "jump" not in kinds(examine(few, fit_two_flux(few)))
    assert examine(replace(clean, swatches=(), readings=())) == ()
