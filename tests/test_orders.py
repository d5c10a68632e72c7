"""An order is a file: read with its faults told by key, run to its sheets, run again without doing anything twice."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner, Result
from stopped import stopped_at
from studio_files import as_colours, write_folder
from synthetic import studio

from tint import load
from tint.appearance import Setting, predict
from tint.cli import main
from tint.errors import InputError
from tint.fitting import fit_palette
from tint.ledger import Order, Recipe, entries, ledger_path, read_ledger
from tint.materials import Blend
from tint.orders import read_order, run_order, state_of
from tint.orders.record import Files
from tint.swatches import read_folder

pytestmark = pytest.mark.usefixtures("sought_once")  # of one wish there are many sheets

LID = """format = 1
words = "as the glaze of the jar"
lab = [70, -12, 8]
opacity = "solid"
tolerance = 6
walls_mm = [3]
batch_g = 120
base = "clear"
customer = "the tea house"

[limits]
most_pigments = 3
leave_out = ["yellow", "red", "rose", "black"]
"""
SHEETS = {
    "weigh.pdf", "weigh.csv", "weigh.json", "labels.pdf", "expected.csv", "card.png", "approval.html", "approval.pdf",
    "quote.pdf", "invoice.csv", "invoice.json", "costs.csv",
}  # fmt: skip


def order_in(folder: Path, text: str = LID) -> Path:
    (folder / "orders").mkdir(exist_ok=True)
    path = folder / "orders" / "lid.toml"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.fixture
def lid(many_demo: Path, tmp_path: Path) -> Path:
    return order_in(shutil.copytree(many_demo, tmp_path / "own"))


@pytest.fixture(scope="module")
def made_once(many_demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder: Path = shutil.copytree(many_demo, tmp_path_factory.mktemp("made") / "own")
    run_order(order_in(folder))
    return folder


@pytest.fixture
def made(made_once: Path, tmp_path: Path) -> Path:
    """The same order, run once before."""
    return Path(shutil.copytree(made_once, tmp_path / "made")) / "orders" / "lid.toml"


def tint(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(each) for each in arguments], env={"COLUMNS": "100"})


def test_a_place_that_cannot_be_made_is_told_in_one_line(made: Path) -> None:
    shutil.rmtree(made.parent / "lid")
    (made.parent / "lid").write_text("in the way", encoding="utf-8")
    result = tint("order", made)
    assert result.exit_code == 2
    where = f"tint: {made.parent / 'lid'}: cannot be made (File exists); make its folder writable, or copy the swatch "
    assert result.stderr.startswith(where)


def told(*arguments: object) -> dict[str, object]:
    found = tint(*arguments, "--json")
    assert found.exit_code == 0, found.stderr
    answer: dict[str, object] = json.loads(found.stdout)
    return answer


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("opacity", "opacitty", "key opacitty: there is no such key"),
        ('"solid"', '"solidish"', "key opacity: `solidish`"),
        ("tolerance", 'haze = "..3"\ntolerance', "key haze: `..3`"),
        ("[70, -12, 8]", "[70, -12]", "key lab"),
        ("walls_mm = [3]", "", "key walls_mm: not given"),
        ("walls_mm = [3]", "walls_mm = [0]", "key walls_mm: 0 mm"),
        ("tolerance = ", "tolerance = inf  # ", "key tolerance: inf"),
        ("most_pigments", "fix = { yellow = nan }\nmost_pigments", "key limits.fix.yellow: nan"),
        ("lab =", 'colour = "#aabbcc"\nlab =', "colour and lab are given together"),
        ("lab = [70, -12, 8]", "", "no colour is named"),
        ("format = 1", "format = 2", "key format: 2"),
        ("most_pigments", "pigments", "key limits.pigments: there is no such key"),
        ("format = 1", "format = ", "is not TOML"),
        ("format = 1", f"format = {'9' * 5000}", "is not TOML"),
        ("format = 1", f"format = {'9' * 4000}", "key format: 999"),
        ("format = 1", f"format = {'[' * 5000}", "is not TOML"),
        ("format = 1", "format = 1\ndue = 2027-13-45", "is not TOML"),
        ("format = 1", "format = 1\ndue = 01.12.2026", "dates are as 2027-03-01"),
        ("format = 1", 'format = 1\ntraced = "window"', "key traced: there is no part to apply it to"),
        ("format = 1", 'format = 1\npart = "a.stl"\ntraced = "moon"', "key traced: `moon`"),
        ("format = 1", "format = 1\nshell_mm = 2", "key shell_mm: there is no part to apply it to"),
    ],
)
def test_what_is_wrong_with_an_order_is_told_with_file_and_key(tmp_path: Path, old: str, new: str, said: str) -> None:
    path = order_in(tmp_path, LID.replace(old, new, 1))
    with pytest.raises(InputError) as caught:
        read_order(path)
    assert str(path) in str(caught.value)
    assert said in str(caught.value)
    assert len(str(caught.value)) < 500


def test_a_part_whose_name_is_longer_than_any_file_has_is_told(tmp_path: Path) -> None:
    order = read_order(order_in(tmp_path, LID.replace("walls_mm = [3]", f'part = "{300 * "lid"}.stl"')))
    with pytest.raises(InputError, match="cannot be read"):
        _ = order.walls_mm


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("lab = [70, -12, 8]", 'colour = "#zzz"', "`#zzz`"),
        ("lab = [70, -12, 8]", 'reading = "nothing.csv"', "nothing.csv: cannot be read"),
        ("batch_g = 120", "", "no part and no batch is told"),
        ("batch_g = 120", "batch_g = -5", "more than 0"),
        ('base = "clear"', 'base = "cleer"', "key base: cleer"),
        ("most_pigments = 3", 'keep = ["reed"]', "did you mean red?"),
    ],
)
def test_what_cannot_be_asked_is_told_with_the_file_and_nothing_is_made(
    lid: Path, old: str, new: str, said: str
) -> None:
    lid.write_text(LID.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        run_order(lid)
    assert str(lid.parent) in str(caught.value)
    assert said in str(caught.value)
    assert not (lid.parent / "lid").exists() or not list((lid.parent / "lid").glob("*.pdf"))
    assert not ledger_path(lid.parent.parent).exists()


def test_an_order_may_ask_for_light_and_name_what_is_in_stock(many_demo: Path, lid: Path) -> None:
    text = LID.replace("tolerance", 'haze = 0.9\ntransmittance = "0.2.."\ntolerance')
    lid.write_text(text + 'insist = ["rose"]\nstock = { white = 0.4 }\n', encoding="utf-8")
    order, palette = read_order(lid), load(many_demo)
    target, rules = order.target(palette), order.rules(palette.workshop)
    assert (target.haze, target.transmittance_min, target.contrast_ratio_min) == (0.9, 0.2, 0.98)
    assert (rules.insist, rules.stock_g) == (("rose",), {"white": 0.4})
    answer = told("solve", lid, "--opacity", "any", "--set", "haze=0.8..", "--set", "most_recipes=1")
    assert answer["target"] == answer["target"] | {"haze": None, "haze_min": 0.8, "transmittance_min": 0.2}  # type: ignore[operator]


def test_an_order_is_run_to_its_sheets_and_nothing_is_made_twice(lid: Path) -> None:
    first = run_order(lid)
    assert {each.name for each in first.made.written} == SHEETS
    assert first.solved
    stamps = {each: each.stat().st_mtime_ns for each in (lid.parent / "lid").iterdir()}
    again = run_order(lid)
    assert not again.solved
    assert {each.name for each in again.made.kept} == SHEETS
    assert {each: each.stat().st_mtime_ns for each in (lid.parent / "lid").iterdir()} == stamps


def test_an_edit_is_followed_and_a_file_altered_by_hand_is_left(made: Path) -> None:
    lid = made
    own = lid.parent / "lid" / "weigh.csv"
    own.write_text("my notes", encoding="utf-8")
    lid.write_text(LID.replace("most_pigments = 3", "most_pigments = 2"), encoding="utf-8")
    done = run_order(lid)
    assert done.solved
    assert len(done.answer.recipes[0].loadings) <= 2
    assert done.made.left == (own,)
    assert own.read_text(encoding="utf-8") == "my notes"
    assert own in run_order(lid, replace=True).made.written


def test_files_of_a_run_that_was_stopped_are_made_again(lid: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    stopped_at("card.png", lid, monkeypatch)
    done = run_order(lid)
    assert not done.made.left
    assert {each.name for each in (lid.parent / "lid").iterdir()} == SHEETS | {"made.json"}


@pytest.mark.parametrize("memory", [b"\xff", b"{", b'{"weigh.pdf": {}}', b'{"weigh.pdf": {"ours": []}}'])
def test_where_the_memory_of_what_was_made_is_lost_every_file_is_a_makers_own(tmp_path: Path, memory: bytes) -> None:
    (tmp_path / "weigh.pdf").write_bytes(b"x")
    (tmp_path / "made.json").write_bytes(memory)
    files = Files(tmp_path)
    assert not files.is_fresh(tmp_path / "weigh.pdf", "this")
    assert not files.is_ours(tmp_path / "weigh.pdf")


def test_solve_of_an_order_is_solve_of_its_folder_with_its_options(made: Path) -> None:
    lid = made
    by_hand = told(
        "solve", lid.parent.parent, "--target-lab", "70,-12,8", "--opacity", "solid", "--tolerance", 6,
        "--thickness", 3, "--base", "clear", "--most-pigments", 3, "--set", "batch_g=120",
        *[word for name in ("yellow", "red", "rose", "black") for word in ("--leave-out", name)],
    )  # fmt: skip
    by_order = told("solve", lid)
    assert by_order == by_hand
    kept = json.loads((lid.parent / "lid.recipe.json").read_text(encoding="utf-8"))
    assert kept["recipes"][0]["loadings"] == by_hand["recipes"][0]["loadings"]  # type: ignore[index]


def test_an_option_goes_before_the_order(lid: Path) -> None:
    answer = told("solve", lid, "--target-srgb", "#c04030", "--most-pigments", 2)
    assert all(len(each["loadings"]) <= 2 for each in answer["recipes"])  # type: ignore[attr-defined]
    assert answer["target"]["lab"][1] > 20.0  # type: ignore[index]


def test_weigh_takes_no_order_without_a_recipe(lid: Path) -> None:
    refused = tint("weigh", lid)
    assert refused.exit_code == 2
    assert "run `tint order" in refused.stderr


def test_weigh_predict_and_proof_take_the_order_with_the_recipe_kept_beside_it(made: Path, tmp_path: Path) -> None:
    lid = made
    done = run_order(lid)
    first = done.answer.recipes[0].loadings
    assert told("weigh", lid)["loadings"] == pytest.approx(first)
    assert told("predict", lid)["loadings"] == pytest.approx(first)
    assert told("proof", lid, "--out", tmp_path / "card.png")["loadings"] == pytest.approx(first)
    fewer = told("weigh", lid, "--load", "white=0.5", "--base", "clear")
    assert fewer["loadings"] == {"white": 0.5}


def test_a_part_is_inspected_against_what_its_order_expects(lid: Path) -> None:
    part = f"{lid.parent.parent / 'readings.csv'}:celadon-lid"
    refused = tint("inspect", lid, "--reading", part)
    assert refused.exit_code == 2
    assert "--reference" in refused.stderr
    run_order(lid)
    own = lid.parent / "lid" / "expected.csv"
    same = told("inspect", lid, "--reading", f"{own}:lid")
    assert (same["verdict"], same["delta_e"]) == ("pass", pytest.approx(0.0, abs=1e-3))
    found: Any = told("inspect", lid, "--reading", part)
    within = read_order(lid).written.tolerance or 1.0
    by_hand = told(
        "inspect", lid.parent.parent, "--reading", part, "--reference", f"{own}:lid", "--tolerance", within
    )  # fmt: skip
    assert found == by_hand
    assert found["delta_e"] > 1.0
    assert "over white" in found["conditions"]


def test_a_part_of_a_folder_of_colours_is_inspected_as_it_can_be_read(tmp_path: Path) -> None:
    """A colorimeter's own light and observer are those of the folder, whether the order tells them or not."""
    folder = write_folder(as_colours(studio(seed=3), seed=3, light="D50", observer=2), tmp_path / "own")
    lid = order_in(folder, 'format = 1\nlab = [60, 10, 50]\nopacity = "any"\nwalls_mm = [3]\nbatch_g = 120\n')
    done = run_order(lid, optics="two-flux")
    wall = Setting(thickness_mm=3.0, light="D50", observer=2)
    palette = fit_palette(read_folder(folder), optics="two-flux")
    blend = Blend(done.answer.recipes[0].base, dict(done.answer.recipes[0].loadings))
    light, red, yellow = predict(palette, blend, setting=wall).lab
    part = tmp_path / "part.csv"
    part.write_text(
        f"reading,backing,seat,light,observer,L,a,b\nlid,white,air,D50,2,{light + 2.0:.4f},{red:.4f},{yellow:.4f}\n",
        encoding="utf-8",
    )
    found: Any = told("inspect", lid, "--reading", f"{part}:lid")
    assert "D50, 2° observer" in found["conditions"]
    assert found["lightness"] == pytest.approx(2.0, abs=0.02)
    lid.write_text(lid.read_text(encoding="utf-8") + 'light = "D50"\nobserver = 2\n', encoding="utf-8")
    assert read_order(lid).setting(palette) == wall
    assert told("inspect", lid, "--reading", f"{part}:lid") == found
    lid.write_text(lid.read_text(encoding="utf-8").replace("observer = 2", "observer = 4"), encoding="utf-8")
    refused = tint("inspect", lid, "--reading", f"{part}:lid")
    assert (refused.exit_code, "key observer" in refused.stderr) == (2, True)


def test_the_sheets_of_an_order_are_those_of_the_commands(lid: Path) -> None:
    rules = "scale_step_g = 0.1\ndose_tolerance_percent = 4.0\n"
    declared = lid.parent.parent / "palette.toml"
    declared.write_text(declared.read_text(encoding="utf-8").replace("currency", f"{rules}currency", 1))
    lid.write_text(LID.replace("walls_mm = [3]", "walls_mm = [3, 8]"), encoding="utf-8")
    done = run_order(lid)
    solved, weighed = told("solve", lid), told("weigh", lid)
    assert done.answer.recipes[0].loadings == pytest.approx(solved["recipes"][0]["loadings"])  # type: ignore[index]
    own = json.loads(done.sheet.to_json())
    for name in ("lines", "premixes", "aim_delta_e", "walls"):
        assert own[name] == weighed[name]
    assert sorted(wall["thickness_mm"] for wall in own["walls"]) == [3.0, 8.0]
    assert "8 mm" in (lid.parent / "lid" / "approval.html").read_text(encoding="utf-8")


def test_another_recipe_can_be_chosen_and_stays(lid: Path) -> None:
    lid.write_text(LID.replace('base = "clear"\n', ""), encoding="utf-8")
    first = run_order(lid)
    assert len(first.answer.recipes) > 1
    second = run_order(lid, choose=2)
    assert second.answer.recipes[0].loadings == first.answer.recipes[1].loadings
    assert run_order(lid).answer.recipes[0].loadings == second.answer.recipes[0].loadings
    with pytest.raises(InputError, match="rank from 1 to"):
        run_order(lid, choose=99)


def test_all_orders_are_listed_with_what_stands_of_each(made: Path) -> None:
    folder = made.parent.parent
    (made.parent / "foot.toml").write_text("format = 1\n", encoding="utf-8")
    states = {each["name"]: each["state"] for each in told("order", folder, "--all")["orders"]}  # type: ignore[attr-defined]
    assert states["lid"] == "sheets made"
    assert "no colour is named" in states["foot"]


def test_an_order_and_each_recipe_chosen_stand_in_the_ledger_once(made: Path) -> None:
    lid = made
    first = run_order(lid).entered
    assert run_order(lid).entered == first
    lid.write_text(LID.replace("the tea house", "the tea room"), encoding="utf-8")
    edited = run_order(lid).entered
    assert edited[1] == first[1]
    lid.write_text(LID.replace("most_pigments = 3", "most_pigments = 2"), encoding="utf-8")
    fewer = run_order(lid)
    with read_ledger(ledger_path(lid.parent.parent)) as book:
        (order,) = entries(book, Order)
        recipes = entries(book, Recipe)
    assert order.content.customer == "the tea house"
    assert [each.content.loadings_percent for each in recipes][-1] == fewer.answer.recipes[0].loadings
    assert len(recipes) == 2


def test_a_new_order_is_new_whatever_is_wrong_with_the_ledger(lid: Path) -> None:
    ledger_path(lid.parent.parent).write_bytes(b"no ledger")
    assert state_of(read_order(lid)) == "new"


def test_an_order_without_walls_takes_those_of_its_part(lid: Path) -> None:
    trimesh: Any = pytest.importorskip("trimesh", reason="parts are read with trimesh")
    trimesh.creation.box((40.0, 30.0, 2.5)).export(lid.parent / "lid.stl")
    text = lid.read_text("utf-8")
    assert "walls_mm = [3]" in text
    lid.write_text(text.replace("walls_mm = [3]", 'part = "lid.stl"'), "utf-8")
    assert read_order(lid).walls_mm == pytest.approx((2.5,))
    assert "2.5 mm" in tint("solve", lid).output
    trimesh.creation.box((40.0, 30.0, 4.5)).export(lid.parent / "thick.stl")
    assert "4.5 mm" in tint("solve", lid, "--part", lid.parent / "thick.stl").output
    assert "6 mm" in tint("solve", lid, "--thickness", 6).output


def test_an_order_tells_the_wall_of_an_open_shell(lid: Path) -> None:
    trimesh: Any = pytest.importorskip("trimesh", reason="parts are read with trimesh")
    trimesh.creation.revolve([(18.5, 0.0), (18.5, 60.0)], sections=60).export(lid.parent / "shade.stl")
    text = lid.read_text("utf-8")
    lid.write_text(text.replace("walls_mm = [3]", 'part = "shade.stl"\nshell_mm = 2.5'), "utf-8")
    assert read_order(lid).walls_mm == pytest.approx((2.5,))
    assert read_order(lid).part_cm3 == pytest.approx(2.5 * 60 * 2 * 18.5 * np.sin(np.pi / 60) * 60.0 / 1000.0, rel=1e-4)
    assert "2.5 mm" in tint("solve", lid).output
