"""Many targets at once: read from a table or a file of colours, each answered as it would be alone."""

from __future__ import annotations

import itertools
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import tint
from tint import colorimetry
from tint.errors import InputError
from tint.fans import Common, Wish, lattice, read_targets
from tint.palette import Palette

FEW = tint.Rules(most_pigments=1, most_recipes=1)
LOOSE = 30.0  # CIEDE2000, so that what has to give need not be sought
TABLE = """name,colour,L,a,b,opacity,tolerance,walls_mm,base,note
jar,,70,-12,8,solid,,,clear,
lid,#e8701a,,,,any,,2 5,milky,by hand
both,#e8701a,1,2,3,,,,,
none,,,,,,,,,
word,,70,x,8,,,,,
thick,#808080,,,,,,900,,
far,,50,40,20,0.6..0.7,,,violet,
"""
COMMON = Common(walls_mm=(3.0,), rules=FEW, base="clear")


def table_in(folder: Path, text: str = TABLE) -> Path:
    path = folder / "targets.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_many_are_answered_as_one_by_one_to_the_last_digit(demo_palette: Palette, tmp_path: Path) -> None:
    found = list(
        tint.solve_many(
            demo_palette, table_in(tmp_path), opacity="solid", base="clear", thickness_mm=3, tolerance=LOOSE, rules=FEW
        )
    )
    assert [each.wish.name for each in found] == ["jar", "lid", "both", "none", "word", "thick", "far"]
    assert [each.number for each in found] == [1, 2, 3, 4, 5, 6, 7]
    jar = tint.solve(
        demo_palette, lab=(70, -12, 8), opacity="solid", base="clear", thickness_mm=3, tolerance=LOOSE, rules=FEW
    )
    lid = tint.solve(
        demo_palette, srgb="#e8701a", opacity="any", tolerance=LOOSE, base="milky", walls_mm=(2, 5), rules=FEW
    )
    assert [each.answer and each.answer.to_json() for each in found[:2]] == [jar.to_json(), lid.to_json()]


@pytest.mark.parametrize("rank_by", ["closeness", "price", "chance"])
def test_the_best_alone_is_the_first_of_several(demo_palette: Palette, rank_by: str) -> None:
    rules = tint.Rules(most_pigments=2, rank_by=rank_by)
    asked: dict[str, Any] = {"lab": (70.0, -12.0, 8.0), "opacity": "any", "base": "clear", "thickness_mm": 3}
    several, alone = (tint.solve(demo_palette, **asked, rules=rules, best_only=each) for each in (False, True))
    assert len(several.recipes) > 1
    words = {"merits": [], "why": ""}
    assert json.loads(alone.best.to_json()) | words == json.loads(several.best.to_json()) | words


def test_a_target_that_fails_has_its_reason_and_stops_nobody(demo_palette: Palette, tmp_path: Path) -> None:
    wishes = read_targets(table_in(tmp_path), demo_palette, COMMON)
    found = tint.solve_many(demo_palette, list(wishes)[2:], thickness_mm=3, tolerance=LOOSE, rules=FEW)
    faults = {each.wish.name: each.fault for each in found}
    assert "row 4: not one colour" in faults["both"]
    assert "row 5: not one colour" in faults["none"]
    assert "row 6, column a: 'x' is not a number" in faults["word"]
    assert "900 mm" in faults["thick"]
    assert "violet" in faults["far"]


def test_the_targets_of_an_iterator_are_taken_one_at_a_time(demo_palette: Palette) -> None:
    taken: list[int] = []

    def endless() -> Iterator[Wish]:
        for at in itertools.count():
            taken.append(at)
            yield Wish(name=str(at), fault="not to be solved")

    found = tint.solve_many(demo_palette, endless(), thickness_mm=3)
    assert [next(found).wish.name for _ in range(3)] == ["0", "1", "2"]
    assert taken == [0, 1, 2]


def test_a_workbook_of_targets_is_no_file_of_readings(demo_palette: Palette, tmp_path: Path) -> None:
    book = pytest.importorskip("openpyxl").Workbook()
    for row in (["name", "L", "a", "b", "walls_mm"], ["lid", 70, 0, 5, "2 4"]):
        book.active.append(row)
    book.save(tmp_path / "targets.xlsx")
    wishes = list(read_targets(tmp_path / "targets.xlsx", demo_palette, COMMON))
    assert [(each.name, each.lab, each.walls_mm) for each in wishes] == [("lid", (70.0, 0.0, 5.0), (2.0, 4.0))]


def test_a_file_of_readings_is_a_target_for_each_name(demo_palette: Palette, tmp_path: Path) -> None:
    grey = np.full((2, len(demo_palette.wavelengths)), [[0.3], [0.5]])
    names = " ".join(f"SPECTRAL_NM{nm:.0f}" for nm in demo_palette.wavelengths)
    rows = "\n".join(f"{name} " + " ".join(map(str, row)) for name, row in zip(("dark", "light"), grey, strict=True))
    file = tmp_path / "greys.txt"
    file.write_text(
        f"CGATS.17\nNUMBER_OF_FIELDS {len(grey[0]) + 1}\nBEGIN_DATA_FORMAT\nSAMPLE_ID {names}\nEND_DATA_FORMAT\n"
        f"NUMBER_OF_SETS 2\nBEGIN_DATA\n{rows}\nEND_DATA\n",
        encoding="utf-8",
    )
    found = list(tint.solve_many(demo_palette, file, base="clear", thickness_mm=3, tolerance=LOOSE, rules=FEW))
    assert [each.wish.name for each in found] == ["dark", "light"]
    alone = tint.solve(demo_palette, reading=f"{file}:light", base="clear", thickness_mm=3, tolerance=LOOSE, rules=FEW)
    assert found[1].answer is not None
    assert found[1].answer.best.to_json() == alone.best.to_json()


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("name,color\njar,#808080\n", "there is no column color; .*did you mean colour"),
        ("name,L,a\njar,1,2\n", "no column tells a colour"),
        ('name,L,a,b\njar,"1,5",2.5,3\n', "mix decimal commas"),
    ],
)
def test_a_header_at_fault_is_told_at_once(demo_palette: Palette, tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(InputError, match=said):
        read_targets(table_in(tmp_path, text), demo_palette, COMMON)


def test_a_table_without_names_calls_each_colour_after_its_row(demo_palette: Palette, tmp_path: Path) -> None:
    path = table_in(tmp_path, "\ufeffcolour\n#808080\n#a08060\n")
    assert [(each.name, each.srgb) for each in read_targets(path, demo_palette, COMMON)] == [
        ("row 2", "#808080"), ("row 3", "#a08060"),
    ]  # fmt: skip
    of_lab = read_targets(table_in(tmp_path, "L;a;b\n70,5;-12;8\n"), demo_palette, COMMON)
    assert [(each.name, each.lab) for each in of_lab] == [("row 2", (70.5, -12.0, 8.0))]


def test_two_colours_of_one_name_are_told_unless_base_or_wall_tells_them_apart(
    demo_palette: Palette, tmp_path: Path
) -> None:
    head = "name,colour,walls_mm\n"
    with pytest.raises(InputError, match=r"targets.csv, rows 2 and 4: both are called `jar`"):
        read_targets(table_in(tmp_path, head + "jar,#808080,2\nlid,#808080,2\njar,#a08060,2\n"), demo_palette, COMMON)
    apart = read_targets(table_in(tmp_path, head + "jar,#808080,2\njar,#808080,3\n"), demo_palette, COMMON)
    assert [each.name for each in apart] == ["jar", "jar"]


def test_a_row_of_another_length_is_a_fault_of_that_row(demo_palette: Palette, tmp_path: Path) -> None:
    wishes = read_targets(table_in(tmp_path, "name,colour\njar\nlid,#808080\n"), demo_palette, COMMON)
    assert [(each.name, "the row has 1 cell" in each.fault) for each in wishes] == [("jar", True), ("lid", False)]


def test_an_argument_that_there_is_not_is_told_before_the_first_target(demo_palette: Palette) -> None:
    with pytest.raises(InputError, match="colur: there is no such argument"):
        next(tint.solve_many(demo_palette, [{"lab": (1.0, 2.0, 3.0)}], thickness_mm=3, colur="red"))
    with pytest.raises(InputError, match="target 1, key hue"):
        next(tint.solve_many(demo_palette, [{"hue": 3}], thickness_mm=3))


def test_a_lattice_holds_what_a_screen_shows_at_the_spacing(demo_palette: Palette) -> None:
    colours = np.array([each.lab for each in lattice(20, demo_palette, COMMON)])
    assert np.array_equal(np.unique(colours[:, 0]), [20, 40, 60, 80, 100])
    assert np.array_equal(colours % 20, np.zeros_like(colours))
    assert len(np.unique(colours, axis=0)) == len(colours) > 50
    view = COMMON.setting().viewing(demo_palette)
    assert colorimetry.lab_to_srgb(colours, view)[1].all()
    assert [60, 20, 40] in colours.tolist()
    assert [60, 80, -80] not in colours.tolist()
    with pytest.raises(InputError, match=r"spacing of 0\.5"):
        next(lattice(0.5, demo_palette, COMMON))
