"""What an examination finds in a folder of colours, and that it asks of them only what colours can tell."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from studio_files import as_colours
from synthetic import Cast, fit_two_flux, studio

from tint import colorimetry
from tint.checks import Finding, examine, left_out
from tint.checks.ground import without
from tint.colorimetry import lab_to_xyz, xyz_to_lab
from tint.spectra import Array
from tint.swatches import Reading, SwatchFolder

ONES = np.ones(3)


def colours(*, seed: int) -> SwatchFolder:
    """The studio as a colorimeter reads it, with the noise that it states in X, Y and Z."""
    return as_colours(studio(seed=seed), seed=seed)


@pytest.fixture(scope="module")
def clean() -> SwatchFolder:
    return colours(seed=3)


def lightened(values: Array, by: float) -> Array:
    """The colour with X, Y and Z raised by a share of those of the perfect white."""
    return xyz_to_lab(lab_to_xyz(values, ONES) + by, ONES)


def altered(folder: SwatchFolder, chosen: Callable[[Reading], bool], by: float) -> SwatchFolder:
    changed = [replace(r, values=lightened(r.values, by)) if chosen(r) else r for r in folder.readings]
    return replace(folder, readings=tuple(changed))


def only(found: tuple[Finding, ...], kind: str) -> Finding:
    assert [each.kind for each in found] == [kind], found
    return found[0]


def test_nothing_is_found_in_clean_folders() -> None:
    assert [examine(colours(seed=seed)) for seed in range(40)] == [()] * 40


def test_replicates_that_differ(clean: SwatchFolder) -> None:
    first = next(each for each in clean.readings if each.swatch == "white-b")

    def with_replicate(by: float) -> SwatchFolder:
        again = replace(first, values=lightened(first.values, by), row=99)
        return replace(clean, readings=(*clean.readings, again))

    assert examine(with_replicate(0.002)) == ()
    found = only(examine(with_replicate(0.010)), "replicates")
    assert found.where == "white-b"
    assert "differ by up to 0.0100 on average" in found.words
    before, after = first.values, lightened(first.values, 0.010)
    assert f"{float(colorimetry.difference(before, after)):.2f} CIEDE2000" in found.effect


def test_cards_swapped(clean: SwatchFolder) -> None:
    other = {"black": "white", "white": "black"}
    readings = [replace(r, backing=other[r.backing]) if r.swatch == "yellow-a" else r for r in clean.readings]
    found = only(examine(replace(clean, readings=tuple(readings))), "darker_over_lighter")
    assert found.where == "yellow-a"
    assert any(f"than over black at {name} (" in found.words for name in "XYZ")


def test_a_card_that_changed(clean: SwatchFolder) -> None:
    (white,) = clean.bare["white"]
    worn = replace(white, values=lightened(white.values, -0.02), row=77)
    found = only(examine(replace(clean, bare={**clean.bare, "white": (white, worn)})), "backing_changed")
    assert (found.where, "77" in found.words) == ("white", True)


def test_specular_left_out(clean: SwatchFolder) -> None:
    dark = replace(
        clean,
        readings=tuple(
            replace(r, values=xyz_to_lab(np.full(3, 0.031), ONES)) if r.swatch == "blue-c" else r
            for r in clean.readings
        ),
    )
    assert examine(dark) == ()
    found = only(examine(altered(dark, lambda r: r.swatch == "blue-c", -0.029)), "below_the_face")
    assert found.where == "blue-c"


def test_more_light_than_fell(clean: SwatchFolder) -> None:
    found = only(examine(altered(clean, lambda r: (r.swatch, r.backing) == ("white-c", "white"), 0.3)), "fluorescence")
    assert found.where.startswith("white-c, X")


def test_what_was_not_poured_is_told_as_of_spectra(clean: SwatchFolder) -> None:
    same = [replace(each, thickness_mm=2.0) if each.base == "clear" else each for each in clean.swatches]
    assert only(examine(replace(clean, swatches=tuple(same))), "one_thickness").where == "clear"
    assert only(examine(without(clean, ["sky-a", "sky-b"])), "no_tint").where == "blue"
    close = [
        replace(s, loadings=s.loadings | {"blue": 0.2 if s.name == "blue-b" else 0.25}) if "blue" in s.loadings else s
        for s in clean.swatches
    ]
    assert only(examine(replace(clean, swatches=tuple(close))), "close_loadings").where == "blue"


def test_a_fit_adds_nothing_that_needs_spectra(clean: SwatchFolder) -> None:
    spectral = studio(seed=3)
    palette = fit_two_flux(spectral)
    assert examine(clean, palette) == ()
    jumped = altered(clean, lambda r: (r.swatch, r.backing) == ("sky-a", "white"), 0.03)
    assert examine(jumped, palette) == ()
    errors = left_out(clean, palette)
    assert set(errors.swatches) == {swatch.name for swatch in clean.swatches}
    assert list(errors.swatches.values()) == sorted(errors.swatches.values(), reverse=True)


@pytest.mark.parametrize(
    "really",
    [
        Cast("blue-b", "clear", 2.0, {"blue": 0.1}),  # half the dose
        Cast("cream-a", "clear", 2.0, {"white": 0.5, "blue": 0.1}),  # the wrong pigment
    ],
    ids=["half", "wrong"],
)
def test_one_wrong_casting_in_twenty_is_named_alone(really: Cast) -> None:
    folder = as_colours(studio(seed=3, really={really.name: really}), seed=3)
    found = only(examine(folder, fit_two_flux(folder)), "out_of_line")
    assert (found.where, found.about) == (really.name, (really.name,))
    assert "times what the stated errors allow" in found.words


def test_two_wrong_castings_are_named_worst_first() -> None:
    wrong = {
        "blue-b": Cast("blue-b", "clear", 2.0, {"blue": 0.1}),
        "yellow-b": Cast("yellow-b", "clear", 3.0, {"yellow": 0.15}),
    }
    folder = as_colours(studio(seed=3, really=wrong), seed=3)
    found = examine(folder, fit_two_flux(folder))
    assert {each.where for each in found} == set(wrong)
    assert {each.kind for each in found} == {"out_of_line"}


def test_no_casting_of_clean_folders_is_out_of_line() -> None:
    for seed in range(1, 6):
        folder = colours(seed=seed)
        assert examine(folder, fit_two_flux(folder)) == ()
