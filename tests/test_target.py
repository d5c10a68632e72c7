"""Targets: as a blend looks, with a second reading over black, and readings picked from a table."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tint import colorimetry
from tint.appearance import Setting, predict
from tint.errors import InputError
from tint.materials import Blend
from tint.palette import Palette
from tint.spectra import read_spectrum
from tint.target import Target, target_from_blend, target_from_lab, target_from_reading, with_black

AMBER = Blend("milky", {"yellow": 0.1, "white": 0.05})
TWO_MM = Setting(thickness_mm=2.0)
NM = np.arange(400.0, 701.0, 20.0)


@pytest.mark.parametrize("over", ["", "white", "black", "none"])
def test_the_look_of_a_blend_over_all_backings(demo_palette: Palette, over: str) -> None:
    setting = replace(TWO_MM, over=over, light="A")
    target, seen = (
        target_from_blend(demo_palette, AMBER, setting=setting),
        predict(demo_palette, AMBER, setting=setting),
    )
    assert np.array_equal(target.lab, seen.lab)
    assert target.spectrum is not None
    assert np.array_equal(target.spectrum, seen.reflectance)
    assert target.contrast_ratio == seen.contrast_ratio
    labs = {look.over: look.lab for look in target.also}
    assert set(labs) == {"black", "white"} - {over or "white"}
    for name, lab in labs.items():
        assert np.array_equal(lab, seen.lab_black if name == "black" else seen.lab_white)
    assert target.source == "as milky with 0.1 % yellow + 0.05 % white looks"


@pytest.mark.parametrize("asked", [{"contrast_ratio_min": 0.9}, {"transmittance": 0.4}, {"contrast_ratio_max": 0.5}])
def test_an_opacity_that_is_asked_for_stands_in_place_of_the_blend_s_own(
    demo_palette: Palette, asked: dict[str, float]
) -> None:
    target = target_from_blend(demo_palette, AMBER, setting=TWO_MM, tolerance=2.0, **asked)
    assert target.also == ()
    assert target.contrast_ratio is None
    assert target.tolerance == 2.0
    assert {name: getattr(target, name) for name in asked} == asked


def test_a_blend_s_look_on_one_backing_is_its_colour_alone(demo_palette: Palette) -> None:
    single = replace(demo_palette, backings={"white": demo_palette.backings["white"]})
    target = target_from_blend(single, AMBER, setting=TWO_MM)
    assert (target.also, target.contrast_ratio) == ((), None)


def measured(palette: Palette, over: str, blend: Blend = AMBER) -> Target:
    look = predict(palette, blend, setting=replace(TWO_MM, over=over))
    return Target(lab=look.lab, spectrum=look.reflectance)


def test_two_readings_make_a_contrast_ratio(demo_palette: Palette) -> None:
    white, black = measured(demo_palette, "white"), measured(demo_palette, "black")
    both = with_black(white, black, demo_palette, setting=TWO_MM)
    seen = predict(demo_palette, AMBER, setting=TWO_MM)
    assert both.contrast_ratio == pytest.approx(seen.contrast_ratio, abs=1e-12)
    (look,) = both.also
    assert look.over == "black"
    assert np.array_equal(look.lab, black.lab)


def test_when_two_readings_make_none(demo_palette: Palette) -> None:
    white, black = measured(demo_palette, "white"), measured(demo_palette, "black")
    for target in (
        replace(white, thickness_mm=1.0),  # another thickness: the sample's own
        replace(white, contrast_ratio_min=0.9),
        replace(white, transmittance=0.4),
        target_from_lab(white.lab),
    ):
        both = with_black(target, black, demo_palette, setting=TWO_MM)
        assert both.contrast_ratio is None
        assert len(both.also) == 1
    free = with_black(white, black, demo_palette, setting=replace(TWO_MM, over="none"))
    assert free.contrast_ratio is None
    same = with_black(replace(white, thickness_mm=2.0), black, demo_palette, setting=TWO_MM)
    assert same.contrast_ratio is not None


def test_an_opaque_sample_may_read_a_trifle_brighter_over_black(demo_palette: Palette) -> None:
    white = measured(demo_palette, "white")
    assert white.spectrum is not None
    black = replace(white, spectrum=1.004 * white.spectrum)
    assert with_black(white, black, demo_palette, setting=TWO_MM).contrast_ratio == 1.0


def test_black_readings_that_make_no_sense(demo_palette: Palette) -> None:
    white, black = measured(demo_palette, "white"), measured(demo_palette, "black")
    with pytest.raises(InputError, match="were the two swapped"):
        with_black(black, white, demo_palette, setting=TWO_MM)
    with pytest.raises(InputError, match="the target is seen over black"):
        with_black(black, black, demo_palette, setting=replace(TWO_MM, over="black"))
    single = replace(demo_palette, backings={"white": demo_palette.backings["white"]})
    with pytest.raises(InputError, match="the target is seen over white"):
        with_black(white, black, single, setting=TWO_MM)


@pytest.mark.parametrize("thickness", [0.0, -1.0, 101.0, float("nan")])
def test_a_sample_has_a_thickness_that_can_be(thickness: float) -> None:
    with pytest.raises(InputError, match="target, thickness"):
        target_from_lab([50.0, 0.0, 0.0], thickness_mm=thickness)


def test_a_target_in_words() -> None:
    target = target_from_lab([70.0, -20.5, 40.0], contrast_ratio_min=0.5, contrast_ratio_max=0.9, transmittance=0.25)
    words = "Lab 70, -20.5, 40, contrast ratio at least 0.5 and at most 0.9, transmittance 0.25, within 1 CIEDE2000"
    assert target.in_words == words
    plain = target_from_lab([70.0, 0.0, 0.0], source="jar.csv", thickness_mm=2.5, tolerance=2.0)
    assert plain.in_words == "Lab 70, 0, 0 (jar.csv) of 2.5 mm, contrast ratio any, within 2 CIEDE2000"


# Readings from a table.

ROWS = [
    ("jar", "white", "air", "", 0.6),
    ("jar", "black", "air", "reflectance", 0.3),
    ("jar", "none", "air", "transmittance", 0.2),
    ("lid", "", "", "", 0.5),
    ("lid", "", "", "", 0.7),
]


@pytest.fixture
def table(tmp_path: Path) -> Path:
    path = tmp_path / "readings.csv"
    head = "swatch,Backing,seat,quantity," + ",".join(f"{nm:g}" for nm in NM)
    lines = [",".join((*row[:4], *[f"{row[4]}"] * NM.size)) for row in ROWS]
    path.write_text("\n".join([head, *lines]) + "\n")
    return path


@pytest.mark.parametrize(("over", "value"), [("white", 0.6), ("black", 0.3)])
def test_the_row_of_the_backing_is_read(table: Path, over: str, value: float) -> None:
    view = colorimetry.viewing(NM)
    target = target_from_reading(f"{table}:jar", view, wavelengths=NM, over=over, seat="air")
    assert target.spectrum == pytest.approx(np.full(NM.size, value))


def test_a_row_that_says_nothing_counts_and_replicates_are_averaged(table: Path) -> None:
    for told in ({}, {"backing": "white"}, {"backing": "black", "quantity": "reflectance"}):
        assert read_spectrum(f"{table}:lid", onto=NM, told=told) == pytest.approx(np.full(NM.size, 0.6))


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"backing": "grey"}, "jar has backing black and none and white; expected a reading with backing grey"),
        ({"backing": "white", "seat": "wet"}, "jar has seat air; expected a reading with seat wet"),
        ({"backing": "none", "quantity": "reflectance"}, "jar has quantity transmittance"),
    ],
)
def test_a_row_of_another_kind_is_not_taken_for_it(table: Path, told: dict[str, str], words: str) -> None:
    with pytest.raises(InputError, match=words):
        read_spectrum(f"{table}:jar", onto=NM, told=told)


def test_a_bad_cell_matters_only_in_the_row_that_is_read(table: Path) -> None:
    table.write_text(table.read_text().replace("0.3,0.3,0.3", "0.3,x,0.3", 1))
    assert read_spectrum(f"{table}:jar", onto=NM, told={"backing": "white"}) == pytest.approx(np.full(NM.size, 0.6))
    with pytest.raises(InputError, match=r"row 3: a cell is not a reflectance"):
        read_spectrum(f"{table}:jar", onto=NM, told={"backing": "black"})
