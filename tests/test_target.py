"""Targets: as a blend looks, with a second reading over black, and readings picked from a table."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from tint import colorimetry
from tint.appearance import Setting, predict
from tint.errors import InputError
from tint.given import target_from_reading, with_black
from tint.materials import Blend
from tint.opacity import opacity_of
from tint.palette import Palette
from tint.recipes import Rules
from tint.swatches.one_reading import read_one
from tint.target import Target, target_from_blend, target_from_lab, target_from_srgb

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


@pytest.mark.parametrize("thickness", [0.0, -1.0, 101.0])
def test_a_sample_has_a_thickness_that_can_be(thickness: float) -> None:
    with pytest.raises(InputError, match="target, thickness"):
        target_from_lab([50.0, 0.0, 0.0], thickness_mm=thickness)


def test_a_target_in_words() -> None:
    target = target_from_lab([70.0, -20.5, 40.0], contrast_ratio_min=0.5, contrast_ratio_max=0.9, transmittance=0.25)
    words = "Lab 70, -20.5, 40, contrast ratio at least 0.5 and at most 0.9, transmittance 25 %, within 1 CIEDE2000"
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
        assert read_one(f"{table}:lid", onto=NM, told=told).spectrum == pytest.approx(np.full(NM.size, 0.6))


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
        read_one(f"{table}:jar", onto=NM, told=told)


def test_a_bad_cell_matters_only_in_the_row_that_is_read(table: Path) -> None:
    table.write_text(table.read_text().replace("0.3,0.3,0.3", "0.3,x,0.3", 1))
    assert read_one(f"{table}:jar", onto=NM, told={"backing": "white"}).spectrum == pytest.approx(np.full(NM.size, 0.6))
    with pytest.raises(InputError, match=r"row 3, column 420: 'x' is not a number"):
        read_one(f"{table}:jar", onto=NM, told={"backing": "black"})


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        ("60", r"row 2: a value is not a reflectance; expected numbers from 0 to 1"),  # a slip
        ("-0.1", r"row 2: a value is not a reflectance"),
        ("", r"row 2, column 580: the cell is blank"),
        ("nan", r"row 2, column 580: 'nan' is not a finite number"),
    ],
)
def test_a_cell_that_is_no_reflectance(tmp_path: Path, cell: str, words: str) -> None:
    path = tmp_path / "one.csv"
    path.write_text(
        "name," + ",".join(f"{nm:g}" for nm in NM) + "\nlid," + ",".join(["0.5"] * 9 + [cell] + ["0.5"] * 6) + "\n"
    )
    with pytest.raises(InputError, match=words):
        read_one(str(path), onto=NM)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "the file is empty"),
        ("name,400,420,440,460,480\n", "0 rows below the header"),
        ("name;400;420\nlid;0,5;0,5\n", "row 1: wavelengths name 2 of its columns; expected 5 or more"),
        ("name,400,420,430,500,600\nlid,0.5,0.5,0.5,0.5,0.5\n", "a step of 100 nm; expected at most 20 nm"),
        ("name,400,400,420,440,460\nlid,0.5,0.5,0.5,0.5,0.5\n", "row 1: 400 nm comes after 400 nm"),
        ("name,500,520,540,560,580\nlid,0.5,0.5,0.5,0.5,0.5\n", "row 2: it spans 500 to 580 nm; expected 400 to 700"),
    ],
)
def test_a_table_that_is_none(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "one.csv"
    path.write_text(text)
    with pytest.raises(InputError, match=words):
        read_one(str(path), onto=NM)


def test_a_table_that_cannot_be_read(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"gone\.csv: cannot be read \(No such file or directory\); check the name"):
        read_one(str(tmp_path / "gone.csv"), onto=NM)
    with pytest.raises(InputError, match=r"gone\.csv: cannot be read"):
        read_one(f"{tmp_path / 'gone.csv'}:lid", onto=NM)
    (tmp_path / "latin.csv").write_bytes("näme,400\n".encode("latin-1"))
    with pytest.raises(InputError, match="row 1: wavelengths name 1 of its columns"):
        read_one(str(tmp_path / "latin.csv"), onto=NM)


def test_a_file_may_have_a_colon_and_a_reading_must_be_named(table: Path) -> None:
    odd = table.with_name("shop: readings.csv")
    odd.write_text(table.read_text())
    assert read_one(f"{odd}:lid", onto=NM).spectrum == pytest.approx(np.full(NM.size, 0.6))
    with pytest.raises(InputError, match=r"shop: readings\.csv: it holds 5 readings; name one, as in .*:jar"):
        read_one(str(odd), onto=NM)
    with pytest.raises(InputError, match="no reading is named `lidd`; expected one of jar, lid; did you mean lid"):
        read_one(f"{table}:lidd", onto=NM)


def test_property_a_reading_is_brought_onto_the_palette_s_wavelengths(tmp_path: Path) -> None:
    fine = np.arange(380.0, 731.0, 10.0)
    path = tmp_path / "fine.csv"
    values = 0.4 + 0.2 * np.sin(fine / 60.0)
    path.write_text(
        "name," + ",".join(f"{nm:g}" for nm in fine) + "\nlid," + ",".join(f"{x:.6f}" for x in values) + "\n"
    )
    # A triangle of the coarser step holds three values of the finer one: a quarter, a half and a quarter.
    lessened = 0.5 + 0.5 * np.cos(10.0 / 60.0)
    assert read_one(str(path), onto=NM).spectrum == pytest.approx(0.4 + 0.2 * lessened * np.sin(NM / 60.0), abs=1e-6)
    with pytest.raises(InputError, match=r"fine\.csv, row 2: it spans 380 to 730 nm; expected 360 to 740 nm"):
        read_one(str(path), onto=np.arange(360.0, 741.0, 20.0))


# What can be asked for


@pytest.mark.parametrize("kind", ["contrast_ratio", "transmittance"])
@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"": 0.0}, "0; expected more than 0 and at most 1"),
        ({"_min": 95.0}, "95; expected more than 0 and at most 1"),
        ({"_max": -0.5}, "-0.5; expected"),
        ({"_min": 0.9, "_max": 0.8}, "at least 0.9 and at most 0.8; swap them"),
        ({"": 0.9, "_min": 0.8}, "one to reach and a bound on it; expected one or the other"),
    ],
)
def test_opacity_that_cannot_be_asked_for(kind: str, asked: dict[str, float], words: str) -> None:
    with pytest.raises(InputError, match=f"target, {kind.replace('_', ' ')}: {words}"):
        target_from_lab([50.0, 0.0, 0.0], **{kind + end: value for end, value in asked.items()})


@pytest.mark.parametrize("name", ["thickness_mm", "contrast_ratio", "transmittance_min", "haze_max", "tolerance"])
@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_what_is_not_finite_cannot_be_asked_for(name: str, value: float) -> None:
    with pytest.raises(InputError, match=f"{name}: {value}, which is not finite; expected a number"):
        target_from_lab([50.0, 0.0, 0.0], **{name: value})


@pytest.mark.parametrize("lab", [[50.0, 0.0], [-1.0, 0.0, 0.0], [111.0, 0.0, 0.0], [50.0, float("nan"), 0.0], [], 5.0])
def test_a_colour_that_is_none(lab: object) -> None:
    with pytest.raises(InputError, match=r"target: Lab .*; expected three numbers, L\* from 0 to 100"):
        target_from_lab(lab)  # type: ignore[arg-type]


def test_a_tolerance_is_more_than_nothing() -> None:
    with pytest.raises(InputError, match="target, tolerance: 0; expected more than 0"):
        target_from_lab([50.0, 0.0, 0.0], tolerance=0.0)
    with pytest.raises(InputError, match="target, known within: -1; expected 0 or more"):
        target_from_lab([50.0, 0.0, 0.0], known_within=-1.0)
    with pytest.raises(InputError, match="dose tolerance: -1; expected more than 0"):
        Rules(dose_tolerance_percent=-1.0)


@pytest.mark.parametrize(
    ("asked", "misses"),
    [
        ({}, [0.0, 0.0, 0.0]),
        ({"contrast_ratio": 0.5}, [-0.3, 0.0, 0.4]),
        ({"contrast_ratio_min": 0.5}, [-0.3, 0.0, 0.0]),
        ({"contrast_ratio_max": 0.5}, [0.0, 0.0, 0.4]),
        ({"contrast_ratio_min": 0.3, "contrast_ratio_max": 0.8}, [-0.1, 0.0, 0.1]),
    ],
)
def test_how_far_an_opacity_is_from_what_was_asked(asked: dict[str, float], misses: list[float]) -> None:
    target = target_from_lab([50.0, 0.0, 0.0], **asked)
    assert target.opacity_miss([0.2, 0.5, 0.9]) == pytest.approx(misses)
    assert target.asks_opacity == bool(asked)
    assert not target.asks_light
    light = target_from_lab(
        [50.0, 0.0, 0.0], **{k.replace("contrast_ratio", "transmittance"): v for k, v in asked.items()}
    )
    assert light.miss("transmittance", [0.2, 0.5, 0.9]) == pytest.approx(misses)
    assert light.asks_light == bool(asked)


def test_a_bound_is_kept_itself_and_a_value_to_reach_in_two_digits() -> None:
    bound, value = (target_from_lab([50.0, 0.0, 0.0], **opacity_of(asked)) for asked in ("solid", "0.95..0.95"))
    assert bound.met(0.0, contrast_ratio=[0.979, 0.98, 0.99]).tolist() == [False, True, True]
    assert value.met(0.0, contrast_ratio=[0.944, 0.946, 0.954, 0.956]).tolist() == [False, True, True, False]


# Screen colours


@pytest.mark.parametrize("light", ["D65", "A", "FL11"])
def test_property_a_screen_s_white_is_white_in_every_light_and_codes_return(light: str) -> None:
    view = colorimetry.viewing(NM, light=light)
    white = target_from_srgb("#ffffff", view)
    assert white.lab == pytest.approx([100.0, 0.0, 0.0], abs=0.05)
    assert white.source == "screen colour #ffffff"
    for code in ("#336699", "#c0ffee", "#7f1d1d"):
        target = target_from_srgb(code, view)
        srgb, in_gamut = colorimetry.lab_to_srgb(target.lab, view)
        assert in_gamut
        assert colorimetry.hex_code(srgb) == code


def test_from_memory_srgb_red_in_cielab() -> None:
    # CIELAB of the sRGB primary red for D65 and the 2 degree observer as commonly tabulated: 53.24, 80.09, 67.20
    # (not seen in print; IEC 61966-2-1 gives the primaries). Half the last digit, and the white's own rounding.
    red = target_from_srgb("#ff0000", colorimetry.viewing(NM, observer=2))
    assert red.lab == pytest.approx([53.24, 80.09, 67.20], abs=0.05)
