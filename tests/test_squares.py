"""Castings found by the label squares beside them: in drawn photographs whose places and colours are known."""

from __future__ import annotations

import csv
import functools
import json
import re
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

pytest.importorskip("cv2", exc_type=ImportError)

import cv2
from photograph_example import REFERENCE, WHITE
from squares_example import Drawn, Scene, draw

from tint.cli import main
from tint.colorimetry import difference
from tint.errors import InputError, JobError, TintError
from tint.photographs import Photographed, Picture, Spot, find_arrangement, locate, photograph, read_picture
from tint.photographs.squares import (
    CASTING,
    NUMBERS,
    READ,
    Found,
    Square,
    by_squares,
    cells_of,
    check_apart,
    looks_bare,
    see_squares,
)
from tint.photographs.tables import read_squares, squares_csv
from tint.starting.folder import squares_for

DEMO = Path(__file__).parents[1] / "swatches_demo"
# Farther from its middle than this, what is read would reach over the casting's edge [sides].
MOST_OFF = 0.5 * (CASTING - READ)


@functools.cache
def drawn(scene: Scene = Scene()) -> Drawn:  # noqa: B008  # it is frozen
    return draw(scene)


@functools.cache
def found(scene: Scene = Scene()) -> Found:  # noqa: B008
    seen = drawn(scene)
    return by_squares(seen.picture, seen.squares)


def away(scene: Scene) -> np.ndarray[Any, np.dtype[np.float64]]:
    """How far each spot lies from the middle of what it is named after [sides]."""
    seen, told = drawn(scene), found(scene)
    places = [seen.middles[each.number] for each in told.seen]
    assert [spot.name for spot in told.spots] == [seen.squares[each.number].name for each in told.seen]
    off = np.array([[spot.x, spot.y] for spot in told.spots]) - np.array(places)
    return np.asarray(np.linalg.norm(off, axis=1) / seen.side_px, dtype=np.float64)


@functools.cache
def colours(scene: Scene, spots: tuple[Spot, ...]) -> Photographed:
    seen = drawn(scene)
    corners, _ = find_arrangement(seen.picture, seen.corners, reference=REFERENCE, white=WHITE)
    places = locate(corners, spots, width=seen.picture.width, height=seen.picture.height)
    return photograph(seen.picture, places, spots, reference=REFERENCE, white=WHITE, light="D65", observer=10)


# The squares themselves.


def test_from_memory_squares_differ_by_12_bits_and_from_mirror_images_by_6() -> None:
    bits = np.array([cells_of(number)[1:-1, 1:-1] for number in range(NUMBERS)])
    turned = np.stack([np.rot90(bits, quarter, axes=(1, 2)) for quarter in range(4)], axis=1).reshape(NUMBERS, 4, 36)
    apart = (bits.reshape(NUMBERS, 1, 1, 36) != turned[None]).sum(axis=-1)
    others = apart[~np.eye(NUMBERS, dtype=bool)]
    assert others.min() == 12
    mirrored = bits[:, :, ::-1].reshape(NUMBERS, 1, 1, 36)
    assert (mirrored != turned[None]).sum(axis=-1).min() == 6


@pytest.mark.parametrize(
    "scene",
    [
        Scene(),
        Scene(seed=2, slant=0.16, tilt=12.0),
        Scene(seed=3, blur=1.6, pixels_per_mm=5.0),
        Scene(seed=4, uneven=0.4, noise=0.02),
        Scene(seed=5, pixels_per_mm=8.0, blur=2.5),
    ],
    ids=["plain", "from the side", "soft", "uneven and noisy", "large"],
)
def test_every_casting_is_found_under_its_name(scene: Scene) -> None:
    assert not found(scene).missing
    assert away(scene).max() < 0.5 * MOST_OFF


def test_hidden_squares_are_told_and_no_other_takes_their_name() -> None:
    scene = Scene(seed=6, hidden=(41, 47, 52))
    assert {each.number for each in found(scene).missing} == {41, 47, 52}
    assert {spot.where for spot in found(scene).spots}.isdisjoint({"s1/black/air", "s1/white/air"})
    assert away(scene).max() < MOST_OFF


def test_a_picture_may_be_turned() -> None:
    seen = drawn()
    turned = Picture(np.ascontiguousarray(np.rot90(seen.picture.pixels)), "turned")
    assert len(by_squares(turned, seen.squares).seen) == len(seen.squares)


def test_a_mirror_image_is_refused() -> None:
    seen = drawn()
    mirrored = Picture(np.ascontiguousarray(seen.picture.pixels[:, ::-1]), "mirrored.jpg")
    with pytest.raises(JobError, match=r"mirrored.jpg: it is a mirror image; turn it over"):
        by_squares(mirrored, seen.squares)


@pytest.mark.parametrize("seed", range(4))
def test_property_noise_has_no_squares(seed: int) -> None:
    cells = np.random.default_rng(seed).integers(0, 2, (75, 100, 1), dtype=np.uint8)
    pixels = np.ascontiguousarray(255 * np.repeat(np.kron(cells, np.ones((8, 8, 1), np.uint8)), 3, axis=2))
    assert see_squares(Picture(pixels, "noise")) == []


def test_a_photograph_without_squares_says_so() -> None:
    with pytest.raises(JobError, match=r"no label square was found; print them"):
        by_squares(read_picture(DEMO / "photograph.jpg"), drawn().squares)


# What they point to.


def test_colours_are_those_of_pixels_that_are_named() -> None:
    scene = Scene()
    by_hand = tuple(
        replace(spot, x=float(drawn().middles[each.number][0]), y=float(drawn().middles[each.number][1]), corners=None)
        for spot, each in zip(found().spots, found().seen, strict=True)
    )
    one, other = (colours(scene, spots) for spots in (found().spots, by_hand))
    assert [each.spot.where for each in one.spots] == [each.spot.where for each in other.spots]
    off = difference(np.array([each.lab for each in one.spots]), np.array([each.lab for each in other.spots]))
    assert off.max() < 0.5, "a fraction of what the photograph itself misses"


def test_castings_that_changed_places_keep_their_names() -> None:
    plain, swapped = Scene(seed=8, uneven=0.0), Scene(seed=8, uneven=0.0, swapped=(0, 3))
    told = [{each.spot.where: each.lab for each in colours(one, found(one).spots).spots} for one in (plain, swapped)]
    moved = np.linalg.norm(drawn(plain).middles[40] - drawn(swapped).middles[40])
    assert moved > 10 * drawn(plain).side_px
    for name in ("s0/black/air", "s3/black/air"):
        assert difference(told[0][name], told[1][name]) < 1.0
    assert difference(told[0]["s0/black/air"], told[0]["s3/black/air"]) > 5.0


def test_a_square_of_a_casting_that_is_seen_twice_is_refused_and_one_of_bare_card_is_not() -> None:
    with pytest.raises(JobError, match=r"s2/white/air: its square 48 is seen 2 times; leave one"):
        found(Scene(seed=9, twice=48))
    assert sum(each.number == 55 for each in found(Scene(seed=9, twice=55)).seen) == 2


def test_a_square_of_another_folder_is_refused() -> None:
    known = {number: each for number, each in drawn().squares.items() if number not in (44, 50)}
    with pytest.raises(JobError, match=r"square 44, 50 stands in no row of squares.csv"):
        by_squares(drawn().picture, known)


def test_what_is_cut_off_is_refused() -> None:
    seen = drawn()
    square = next(each for each in found().seen if each.number == 46)
    spot = next(each for each in found().spots if each.where == "s0/white/air")
    flat = np.array(spot.corners)
    edge = int(0.5 * (flat[:, 0].min() + flat[:, 0].max()))
    left = square.corners[:, 0].mean() < edge
    pixels = seen.picture.pixels[:, :edge] if left else seen.picture.pixels[:, edge:]
    with pytest.raises(JobError, match=r"s\d/\w+/air: what its square points to is cut off"):
        by_squares(Picture(np.ascontiguousarray(pixels), "cut"), seen.squares)


@pytest.mark.parametrize(
    ("x", "quarters", "told"),
    [(200, 2, r"two/black: .* lies on that of one/black"), (165, 0, r"one/black: .* lies on the label of two/black")],
    ids=["face to face", "where the casting should be"],
)
def test_places_that_lie_on_each_other_are_refused(x: int, quarters: int, told: str) -> None:
    pixels = np.full((300, 600, 3), 255, dtype=np.uint8)
    for number, left, turns in ((3, 40, 0), (5, x, quarters)):
        mark = np.kron(np.rot90(cells_of(number), turns), np.ones((5, 5)))
        pixels[120:160, left : left + 40] = (255 * mark[..., None]).astype(np.uint8)
    table = {number: Square(number=number, name=name, backing="black") for number, name in ((3, "one"), (5, "two"))}
    seen = by_squares(Picture(pixels, "drawn"), table)
    places = locate([[450, 20], [590, 20], [590, 104], [450, 104]], seen.spots, width=600, height=300)
    with pytest.raises(JobError, match=told):
        check_apart(seen, places)


def test_a_place_on_the_chart_is_refused() -> None:
    seen = drawn()
    corners, _ = find_arrangement(seen.picture, seen.corners, reference=REFERENCE, white=WHITE)
    places = locate(corners, found().spots, width=seen.picture.width, height=seen.picture.height)
    check_apart(found(), places)
    on_it = tuple((float(x), float(y)) for x, y in places.patches[8])
    moved = replace(found(), spots=(replace(found().spots[0], corners=on_it), *found().spots[1:]))
    with pytest.raises(JobError, match=r"lies on the chart"):
        check_apart(moved, places)


def test_castings_that_lie_on_the_wrong_side_get_no_name_of_another() -> None:
    seen = drawn(Scene(seed=0, wrong_side=True, tilt=1.0))
    with pytest.raises(
        JobError, match=r"what lies right beside the label is not what is read farther on; lay it right"
    ):
        by_squares(seen.picture, seen.squares)


def test_a_bare_card_in_place_of_a_casting_is_asked_about() -> None:
    told = colours(Scene(), found().spots)
    assert looks_bare(told, found()) == []
    bare = next(each.spot for each in told.spots if each.spot.name == "white")
    first = found().spots[0]
    wrong = replace(first, name="s9", backing="white", corners=bare.corners, x=bare.x, y=bare.y)
    every = replace(found(), spots=(wrong, *found().spots[1:]))
    (word,) = looks_bare(colours(Scene(), every.spots), every)
    assert "s9/white/air; does the casting lie right of its square?" in word


# The table and the labels.


def test_the_table_of_squares_comes_back(tmp_path: Path) -> None:
    (tmp_path / "squares.csv").write_bytes(squares_csv(drawn().squares.values()))
    assert read_squares(tmp_path) == drawn().squares


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("square,name\n250,c01\n", "row 2, column square: '250' is no square"),
        ("square,name\n-1,c01\n", "'-1' is no square"),
        ("square,name\n7,c01\n7,c02\n", "row 3, column square: square 7 stands twice"),
        ("square,name\n7,\n", "row 2, column name: the cell is blank"),
        ("square,name,seat\n7,c01,dry\n", "'dry' is no seat"),
        ("square,backing\n7,black\n", "there is no column name"),
        ("square,name,colour\n7,c01,red\n", "is no column of such a table"),
    ],
)
def test_tables_of_squares_with_faults(text: str, told: str, tmp_path: Path) -> None:
    (tmp_path / "squares.csv").write_text(text, "utf-8")
    with pytest.raises(InputError) as raised:
        read_squares(tmp_path)
    assert told in str(raised.value)


def test_a_folder_without_squares_says_how_to_print_them(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"squares.csv: is not there; .* `tint start \S+ --squares`"):
        read_squares(tmp_path)


def test_new_castings_get_new_squares_and_the_old_ones_keep_theirs() -> None:
    first = squares_for(["c01", "c02"], ["black", "white"], name="pots")
    assert [(each.name, each.backing) for each in first[:4]] == [
        ("c01", "black"), ("c01", "white"), ("c02", "black"), ("c02", "white"),
    ]  # fmt: skip
    assert [each.name for each in first if not each.backing].count("white") == 8
    again = squares_for(["c03", "c01", "c02"], ["black", "white"], name="pots", kept=first)
    assert again[: len(first)] == first
    assert [each.name for each in again[len(first) :]] == ["c03", "c03"]
    assert len({each.number for each in again}) == len(again)


def test_there_are_no_more_castings_than_numbers() -> None:
    most = (NUMBERS - 10) // 2
    assert len(squares_for([f"c{at}" for at in range(most)], ["black", "white"], name="pots")) == NUMBERS
    with pytest.raises(InputError, match=r"252 are needed for 121 castings; expected 250 at most"):
        squares_for([f"c{at}" for at in range(most + 1)], ["black", "white"], name="pots")


def run(*arguments: object) -> Any:
    return CliRunner().invoke(main, [str(each) for each in arguments])


SHELF = ["--base", "clear=platinum,1:1,3", "--pigment", "white=both", "--pigment", "blue=platinum"]


def labels_in(page: str) -> dict[int, np.ndarray[Any, np.dtype[np.bool_]]]:
    """What is printed, by number: the cells of each square, True where paper stays white."""
    told = {}
    for number, path in re.findall(r'aria-label="square (\d+)"><path d="([^"]*)"', page):
        white = np.ones((12, 12), dtype=bool)
        for x, y in re.findall(r"M(\d+) (\d+)h1v1h-1z", path):
            white[int(y), int(x)] = False
        told[int(number)] = white
    return told


def test_reference_the_plan_prints_the_squares_that_are_found(tmp_path: Path) -> None:
    folder = tmp_path / "pots"
    done = run("start", folder, *SHELF, "--reads", "telephone")
    assert done.exit_code == 0, done.stderr
    page = (folder / "casting-plan.html").read_text("utf-8")
    table, printed = read_squares(folder), labels_in(page)
    assert list(printed) == list(table)
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_ARUCO_MIP_36h12)
    for number, white in printed.items():
        assert white[:2].all()
        assert white[:, 10:].all()
        np.testing.assert_array_equal(white[2:10, 2:10], cv2.aruco.generateImageMarker(dictionary, number, 8) > 0)
    with (folder / "swatches.csv").open(encoding="utf-8", newline="") as file:
        cast = [row["swatch"] for row in csv.DictReader(file)]
    assert {each.name for each in table.values() if each.backing} == set(cast)
    assert f"tint photograph PICTURE {folder}" in page
    assert "tint photograph PICTURE" in " ".join(done.stdout.split())


def test_a_plan_for_an_instrument_has_squares_only_when_asked(tmp_path: Path) -> None:
    run("start", tmp_path / "one", *SHELF)
    assert not (tmp_path / "one" / "squares.csv").exists()
    assert run("start", tmp_path / "two", *SHELF, "--squares").exit_code == 0
    assert (
        labels_in((tmp_path / "two" / "casting-plan.html").read_text("utf-8")).keys()
        == read_squares(tmp_path / "two").keys()
    )


def test_castings_that_are_there_get_squares_and_keep_them(tmp_path: Path) -> None:
    folder = tmp_path / "pots"
    run("start", folder, *SHELF)
    before = (folder / "swatches.csv").read_bytes()
    done = run("start", folder, "--squares")
    assert done.exit_code == 0, done.stderr
    first = read_squares(folder)
    assert labels_in((folder / "squares.html").read_text("utf-8")).keys() == first.keys()
    lines = before.decode().splitlines()
    another = lines[1].replace("c01", "late", 1)
    (folder / "swatches.csv").write_text("\n".join([lines[0], another, *lines[1:], ""]), "utf-8")
    told = json.loads(run("start", folder, "--squares", "--json").stdout)
    assert told["new"] == 2
    assert {number: read_squares(folder)[number] for number in first} == first


def test_without_the_library_a_folder_is_begun_all_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "cv2", None)
    assert run("start", tmp_path / "one", *SHELF, "--reads", "telephone").exit_code == 0
    assert not (tmp_path / "one" / "squares.csv").exists()
    done = run("start", tmp_path / "one", "--squares")
    assert done.exit_code == 2
    assert "pip install 'tint[photo]'" in done.stderr
    assert done.stderr.count("\n") == 1


# The command.


@pytest.fixture(scope="module")
def table(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with squares, and the picture of them."""
    folder = tmp_path_factory.mktemp("studio")
    seen = drawn(Scene(seed=11, hidden=(43,)))
    Image.fromarray(seen.picture.pixels).save(folder / "table.png")
    (folder / "squares.csv").write_bytes(squares_csv(seen.squares.values()))
    return folder


def corners_of(scene: Scene) -> list[str]:
    return ["--corners", *(f"{x:.0f},{y:.0f}" for x, y in drawn(scene).corners)]


def test_the_command_names_what_it_found(table: Path) -> None:
    asked = ["photograph", table / "table.png", table, *corners_of(Scene(seed=11, hidden=(43,)))]
    done = run(*asked, "--out", table / "colours.csv", "--look", table / "look.png")
    assert done.exit_code == 0, done.stderr
    page = " ".join(done.stdout.split())
    assert "squares 21 found not in this picture: s3/black/air" in page
    with (table / "colours.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert [(row["name"], row["backing"]) for row in rows[:3]] == [("s0", "black"), ("s1", "black"), ("s2", "black")]
    with Image.open(table / "look.png") as look, Image.open(table / "table.png") as picture:
        assert look.width > picture.width
        outlined = np.asarray(look)[:, : picture.width] != np.asarray(picture)
    square = next(each for each in found(Scene(seed=11, hidden=(43,))).seen)
    x, y = np.rint(square.corners[0]).astype(int)
    assert outlined[y - 2 : y + 3, x - 2 : x + 3].any(), "the squares themselves are outlined too"
    told = json.loads(run(*asked, "--json").stdout)
    assert [each["where"] for each in told["squares"]["missing"]] == ["s3/black/air"]
    assert len(told["squares"]["found"]) == len(told["spots"]) == 21


def test_the_command_finds_the_chart_by_itself(table: Path) -> None:
    pytest.importorskip("colour_checker_detection", exc_type=ImportError)
    told = json.loads(run("photograph", table / "table.png", table, "--json").stdout)
    assert told["chart"]["missed_mean"] < 2.0


def test_an_order_is_no_folder_of_squares(table: Path) -> None:
    done = run("photograph", table / "table.png", DEMO / "orders" / "lid.toml")
    assert done.exit_code == 2
    assert "squares.csv" in done.stderr
    assert done.stderr.count("\n") == 1


def test_spots_may_be_named_besides(table: Path) -> None:
    x, y = drawn(Scene(seed=11, hidden=(43,))).middles[43]
    asked = ["photograph", table / "table.png", table, *corners_of(Scene(seed=11, hidden=(43,)))]
    told = json.loads(run(*asked, "--at", f"s3/black/air={x:.0f},{y:.0f}", "--json").stdout)
    assert told["spots"][-1]["name"] == "s3"
    assert len(told["spots"]) == 22


@pytest.mark.parametrize(
    ("more", "told"),
    [(["--no-chart"], "given together with a folder"), (["--corners", "1,1", "9,1", "9,9", "1,9"], "pixels apart")],
)
def test_the_command_refuses_in_a_line(table: Path, more: list[str], told: str) -> None:
    done = run("photograph", table / "table.png", table, *more)
    assert done.exit_code == 2
    assert told in done.stderr
    assert done.stderr.count("\n") == 1


def test_property_a_broken_table_is_a_line(tmp_path: Path) -> None:
    for at, data in enumerate((b"", b"\xff\xfe\x00", b"square\n", b"a,b\n1,2\n", b'square,name\n"7,c01\n')):
        (tmp_path / "squares.csv").write_bytes(data)
        with pytest.raises(TintError) as raised:
            read_squares(tmp_path)
        assert "\n" not in str(raised.value), at
