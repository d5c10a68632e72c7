"""`tint ledger` from end to end: what each command adds, shows and takes out, and the sheet of an order again."""

from __future__ import annotations

import json
import re
import shlex
import shutil
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from datetime import date
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner, Result
from ledger_example import fill

from tint import colorimetry
from tint.appearance import Setting, predict
from tint.cli import COMMANDS, main
from tint.cli.ledger import command
from tint.ledger import KINDS, TABLES, Reading, columns, entries, ledger_path, open_ledger, read_ledger
from tint.materials import Blend
from tint.palette import Palette
from tint.swatches import INPUT_FILES, folder_digest, read_folder

SOLVED = {
    "recipes": [
        {
            "base": "clear", "loadings": {"white": 0.5, "yellow": 0.3}, "delta_e": 0.4, "lab": [82.0, 5.0, 80.0],
            "contrast_ratio": 0.8, "contrast_ratio_error": 0.05, "expected_error": 2.0, "limits": ["palette"],
            "reached": True,
        },
        {"base": "milky", "loadings": {"red": 0.2}, "delta_e": 3.0, "lab": [50.0, 60.0, 40.0], "reached": False},
    ],
    "setting": {
        "thickness_mm": 3.0, "over": "white", "seat": "air", "light": "D65", "observer": 10, "geometry": "di:8",
    },
    "optics": "two-flux",
}  # fmt: skip


@pytest.fixture
def folder(fitted_demo: Path, tmp_path: Path) -> Path:
    """A swatch folder with its palette, and no ledger yet."""
    place = tmp_path / "demo"
    shutil.copytree(fitted_demo, place)
    (tmp_path / "recipe.json").write_text(json.dumps(SOLVED))
    return place


@pytest.fixture
def filled(folder: Path) -> Path:
    """The same with an entry of every kind."""
    with open_ledger(ledger_path(folder), palette_digest=folder_digest(folder)) as ledger:
        fill(ledger)
    return folder


def run(*arguments: object, text: str | None = None, columns: int = 100) -> Result:
    given = ["ledger", *(str(each) for each in arguments)]
    return CliRunner().invoke(main, given, input=text, env={"COLUMNS": str(columns)})


def done(*arguments: object, text: str | None = None, columns: int = 100) -> str:
    result = run(*arguments, text=text, columns=columns)
    assert result.exit_code == 0, result.stderr or repr(result.exception)
    assert result.stderr == ""
    return result.stdout


def answer(*arguments: object, text: str | None = None) -> dict[str, Any]:
    content = json.loads(done(*arguments, "--json", text=text))
    assert isinstance(content, dict)
    return content


def told(result: Result) -> str:
    assert isinstance(result.exception, SystemExit), repr(result.exception)
    assert result.stdout == ""
    assert result.stderr.startswith("tint: ")
    assert result.stderr.count("\n") == 1
    return result.stderr


# Help.


def commands(group: click.Group, *before: str) -> Iterator[tuple[str, ...]]:
    for name, each in group.commands.items():
        yield (*before, name)
        if isinstance(each, click.Group):
            yield from commands(each, *before, name)


ALL = list(commands(command))


def test_the_kinds_can_all_be_added() -> None:
    assert {names[1] for names in ALL if names[0] == "add" and len(names) > 1} == set(KINDS)


@pytest.mark.parametrize("names", [(), *ALL], ids=" ".join)
def test_help_opens_with_a_sentence_and_an_example(names: tuple[str, ...]) -> None:
    _, summary, example = (" ".join(part.split()) for part in done(*names, "--help").split("\n\n")[:3])
    assert summary.endswith(".")
    assert example.startswith(f"Example: tint {' '.join(['ledger', *names])} ")
    assert " swatches_demo" in example


def test_help_of_the_ledger_opens_as_it_is_listed() -> None:
    assert " ".join(done("--help").split("\n\n")[1].split()) == COMMANDS["ledger"]


@pytest.mark.parametrize("names", ALL, ids=" ".join)
def test_every_option_has_help(names: tuple[str, ...]) -> None:
    each: click.Command = command
    for name in names:
        assert isinstance(each, click.Group)
        each = each.commands[name]
    assert [p.name for p in each.params if p.param_type_name == "option" and not getattr(p, "help", "")] == []


def test_a_group_alone_shows_its_help() -> None:
    assert done() == done("--help")
    assert done("add") == done("add", "--help")


# In an order in which each finds what the ones before it left.
EXAMPLES = [
    "add order", "add recipe", "add batch", "add trial", "add reference", "add reading", "add lot", "add approval",
    "add lesson", "list", "show", "premixes", "search", "due", "export", "import", "repeat",
]  # fmt: skip


def test_every_example_runs(folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert {tuple(name.split()) for name in EXAMPLES} == set(ALL) - {("add",)}
    monkeypatch.chdir(tmp_path)
    folder.rename("swatches_demo")
    sheet = CliRunner().invoke(
        main,
        shlex.split("weigh swatches_demo --optics two-flux --recipe recipe.json --batch-g 100 --json"),
    )
    Path("sheet.json").write_text(sheet.stdout)
    for name in EXAMPLES:
        shown = " ".join(done(*name.split(), "--help").split("\n\n")[2].split()).removeprefix("Example: tint ledger ")
        arguments = shlex.split(shown) + (["--optics", "two-flux"] if name == "repeat" else [])
        done(*arguments)
        if name == "export":
            done("export", "swatches_demo", "--out", "ledger.json")


# Adding.


def test_an_order_keeps_the_words_and_the_target(folder: Path) -> None:
    content = answer(
        "add", "order", folder, "--name", "celadon lid", "--words", "as »the« glaze", "--part", "lid",
        "--target-lab", "70,-8,6", "--opacity", "0.95..",
    )  # fmt: skip
    assert content["customer_words"] == "as »the« glaze"
    assert content["target"] == {"lab": [70.0, -8.0, 6.0], "contrast_ratio_min": 0.95}
    assert (content["kind"], content["id"], content["palette_digest"]) == ("order", 1, folder_digest(folder))


def test_a_target_that_was_measured_is_kept_as_a_reading(folder: Path) -> None:
    where = f"{folder / 'readings.csv'}:celadon-lid"
    content = answer("add", "order", folder, "--name", "lid", "--target-reading", where, "--over", "white")
    with read_ledger(ledger_path(folder)) as ledger:
        (reading,) = entries(ledger, Reading)
    assert (content["readings"], reading.content.order_id) == ([reading.id], content["id"])
    assert len(reading.content.spectrum) == len(reading.content.wavelengths_nm) == read_folder(folder).wavelengths.size


def test_a_recipe_is_kept_as_it_was_solved(folder: Path, tmp_path: Path) -> None:
    done("add", "order", folder, "--name", "lid")
    content = answer("add", "recipe", folder, "--order", "lid", "--from", tmp_path / "recipe.json")
    first: dict[str, Any] = SOLVED["recipes"][0]  # type: ignore[index]
    assert content["loadings_percent"] == first["loadings"]
    assert [content[name] for name in ("lab_l", "lab_a", "lab_b")] == first["lab"]
    assert (content["to_target_ciede2000"], content["reached"], content["thickness_mm"]) == (0.4, True, 3.0)
    assert (content["backing"], content["light"], content["optics"]) == ("white", "D65", "two-flux")
    assert content["lots"] == {"white": "W-203", "yellow": "Y-117"}
    assert content["more"] == {"limits": ["palette"]}
    second = answer("add", "recipe", folder, "--from", "-", "--pick", "2", text=json.dumps(SOLVED))
    assert (second["base"], second["order_id"], second["reached"]) == ("milky", None, False)


def test_a_solved_recipe_and_its_sheet_go_in_as_they_come(folder: Path) -> None:
    target = ["--thickness", "3", "--target-lab", "70,20,40", "--optics", "two-flux", "--json"]
    solved = CliRunner().invoke(main, ["solve", str(folder), *target])
    assert solved.exit_code == 0, solved.stderr
    recipe = answer("add", "recipe", folder, "--from", "-", text=solved.stdout)
    assert recipe["loadings_percent"] == json.loads(solved.stdout)["recipes"][0]["loadings"]
    weigh = ["weigh", str(folder), "--recipe", "-", "--batch-g", "100", "--optics", "two-flux", "--json"]
    sheet = CliRunner().invoke(main, weigh, input=solved.stdout)
    assert sheet.exit_code == 0, sheet.stderr
    batch = answer("add", "batch", folder, "--recipe", recipe["id"], "--from", "-", "--lot", "white=W-1", "--lot",
                   "part A=A-7", text=sheet.stdout)  # fmt: skip
    lines = json.loads(sheet.stdout)["lines"]
    assert batch["weighed"] == [{name: line[name] for name in ("what", "grams", "part")} for line in lines]
    assert batch["lots"] == {"white": "W-1", "part A": "A-7"}
    assert batch["total_grams"] == pytest.approx(sum(line["grams"] for line in lines))


def test_a_trial_comes_with_its_reading(folder: Path) -> None:
    where = f"{folder / 'readings.csv'}:celadon-lid"
    content = answer(
        "add", "trial", folder, "--weighed", "white=0.55", "--weighed", "yellow=0.33", "--thickness", "3.1",
        "--reading", where, "--over", "white", "--light", "A", "--read-on", "2025-03-01",
    )  # fmt: skip
    assert [(each["what"], each["grams"]) for each in content["weighed"]] == [("white", 0.55), ("yellow", 0.33)]
    with read_ledger(ledger_path(folder)) as ledger:
        (reading,) = (each.content for each in entries(ledger, Reading))
    own = [each for each in read_folder(folder).readings if each.swatch == "celadon-lid" and each.backing == "white"]
    spectrum = own[0].values
    view = colorimetry.viewing(reading.wavelengths_nm, light="A", observer=10)
    assert reading.spectrum == pytest.approx(spectrum)
    assert (reading.lab_l, reading.lab_a, reading.lab_b) == pytest.approx(tuple(colorimetry.lab(spectrum, view)))
    assert (reading.trial_id, reading.light, reading.geometry, reading.read_on) == (1, "A", "di:8", "2025-03-01")


def test_a_trial_is_added_with_its_reading_or_not_at_all(filled: Path) -> None:
    result = run("add", "trial", filled, "--thickness", "3", "--lab", "1,2,3", "--over", "a\x00b")
    assert "reading, backing: holds what is not text" in told(result)
    assert len(answer("list", filled, "trial")["trials"]) == 1


def test_a_reference_is_read_on_the_day_it_was_made_and_a_reading_today(folder: Path) -> None:
    done("add", "reference", folder, "--name", "R-1", "--made", "2025-03-01", "--lab", "70,-8,6")
    done("add", "reading", folder, "--reference", "1", "--lab", "69.6,-7.9,6.4")
    with read_ledger(ledger_path(folder)) as ledger:
        days = [each.content.read_on for each in entries(ledger, Reading)]
    assert days == ["2025-03-01", date.today().isoformat()]
    shown = " ".join(done("show", folder, "reference", "1").split())
    assert "0.46 CIEDE2000 from reading 1 (L* -0.40, a* +0.10, b* +0.40)" in shown
    assert answer("show", folder, "reference", "1")["drift"][0]["delta_e"] == pytest.approx(0.456, abs=5e-4)


def test_a_lot_is_told_beside_that_of_the_swatches(folder: Path) -> None:
    content = answer("add", "lot", folder, "--material", "white", "--lot", "W-204", "--strength", "0.8")
    assert (content["relative_to_lot"], content["strength"], content["verdict"]) == ("W-203", 0.8, "use")
    changed = answer("add", "lot", folder, "--corrects", "1", "--strength", "0.82", "--reason", "read again")
    assert (changed["relative_to_lot"], changed["strength"], changed["lot"]) == ("W-203", 0.82, "W-204")
    assert (changed["corrects"], changed["reason"]) == (1, "read again")


def test_correcting_and_withdrawing(filled: Path) -> None:
    assert "Added: lesson 2 (Stir it all, white, order 1)" in " ".join(
        done("add", "lesson", filled, "--corrects", "1", "--text", "Stir it all").split()
    )
    done("add", "lesson", filled, "--corrects", "2", "--withdraw", "--reason", "it was the cup")
    assert answer("list", filled, "lesson") == {"lessons": []}
    assert [each["id"] for each in answer("list", filled, "lesson", "--all")["lessons"]] == [1, 2, 3]
    assert "withdrawn: it was the cup" in " ".join(done("list", filled, "lesson", "--all").split())
    assert answer("show", filled, "lesson", "1")["versions"] == [1, 2, 3]


# Asking.


def test_list_shows_every_kind(filled: Path) -> None:
    out = done("list", filled)
    for table in TABLES.values():
        assert table.replace("_", " ").capitalize() in out
    assert set(answer("list", filled)) == set(TABLES.values())
    assert answer("list", filled, "approvals")["approvals"][0]["limit_samples"] == ["R-1", "R-2, the darkest"]
    assert max(len(line) for line in done("list", filled, columns=80).split("\n")) <= 80


def test_list_of_an_order_is_what_belongs_to_it(filled: Path) -> None:
    done("add", "order", filled, "--name", "another")
    own = answer("list", filled, "--order", "celadon lid")
    counts = {table: len(rows) for table, rows in own.items()}
    assert counts == dict.fromkeys(TABLES.values(), 1) | {"lots": 0}
    assert {table: len(rows) for table, rows in answer("list", filled, "--order", "another").items()} == (
        dict.fromkeys(TABLES.values(), 0) | {"orders": 1}
    )


def test_an_empty_list_says_so(folder: Path) -> None:
    done("add", "order", folder, "--name", "lid")
    assert " ".join(done("list", folder, "lot").split()).startswith("No lot in the ledger of ")


@pytest.mark.parametrize("kind", KINDS)
def test_show_tells_all_that_an_entry_holds(filled: Path, kind: str) -> None:
    out = done("show", filled, kind, "1", columns=400)
    content = answer("show", filled, kind, "1")
    for column in columns(kind):
        assert bool(re.search(rf"^{column.name} ", out, re.M)) == (content[column.name] not in ("", None, [], {}))
    assert content["uid"]


def test_search(filled: Path) -> None:
    content = answer("search", filled, "--lab", "70,-8,6.5", "--within", "1")
    assert [(each["kind"], each["entry"]["id"]) for each in content["found"]] == [("reading", 1)]
    assert content["found"][0]["delta_e"] == pytest.approx(
        float(colorimetry.difference((70.0, -8.0, 6.5), (70.0, -8.0, 6.0)))
    )
    assert "Nothing." in done("search", filled, "--lab", "70,-8,6.5", "--light", "A")


def test_due(filled: Path) -> None:
    content = answer("due", filled, "--by", "2026-03-01")
    assert [(each["kind"], each["id"]) for each in content["due"]] == [("reference", 1)]
    assert "approval   1" in done("due", filled, "--by", "2026-03-02")
    assert "Nothing." in done("due", filled, "--by", "2025-03-02")


def test_out_and_in(filled: Path, tmp_path: Path) -> None:
    out = tmp_path / "all.json"
    assert answer("export", filled, "--out", out) == {"written": [str(out)]}
    assert len(answer("export", filled, "--out", tmp_path / "tables")["written"]) == len(KINDS)
    other = tmp_path / "other"
    other.mkdir()
    for file in INPUT_FILES:
        shutil.copy(filled / file, other / file)
    assert answer("import", other, out)["added"] == dict.fromkeys(TABLES.values(), 1)
    assert done("import", other, "-", text=out.read_text()) == "Added: nothing, all of it was here\n"


def test_text_that_would_move_the_cursor_is_shown_without(folder: Path) -> None:
    done("add", "lesson", folder, "--text", "red \x1b[31m and\nso on")
    assert "\x1b" not in done("list", folder)
    assert "\x1b" not in done("show", folder, "lesson", "1")
    assert answer("list", folder)["lessons"][0]["text"] == "red \x1b[31m and\nso on"


# An order again.


def test_repeat_prints_the_sheet_for_today_s_lots(folder: Path, tmp_path: Path, demo_palette: Palette) -> None:
    done("add", "order", folder, "--name", "lid")
    done("add", "recipe", folder, "--order", "lid", "--from", tmp_path / "recipe.json")
    arguments = ("repeat", folder, "lid", "--batch-g", "1000", "--optics", "two-flux")
    before = answer(*arguments)
    assert before["loadings"] == {"white": 0.5, "yellow": 0.3}
    done("add", "approval", folder, "--order", "lid", "--recipe", "1", "--by", "Ada", "--expires", "2025-03-01")
    done("add", "lot", folder, "--material", "white", "--lot", "W-204", "--strength", "0.8", "--hue-left-over", "0.7")
    after = answer(*arguments)
    grams = {line["what"]: line["grams"] for line in after["lines"]}
    assert grams["white"] == pytest.approx(1100.0 * 0.5 / 0.8 / 100.0, abs=0.005)
    assert grams["yellow"] == pytest.approx(3.3)
    old = predict(demo_palette, Blend("clear", {"white": 0.5, "yellow": 0.3}), setting=Setting(thickness_mm=3.0))
    assert colorimetry.difference(old.lab, after["predicted"]["lab"]) < 0.1
    assert after["predicted"]["setting"]["thickness_mm"] == 3.0
    words = " | ".join(after["warnings"])
    assert "approval 1 by Ada ran out on 2025-03-01; ask again" in words
    assert "0.7 CIEDE2000 that no dose mends" in words
    assert (after["order"], after["recipe"], after["approval"]) == (1, 1, 1)
    out = done(*arguments)
    assert re.search(r"white +0\.5000 +W-203 +W-204 +0\.800 +0\.6250", out)
    assert "Before you repeat it" in out
    assert re.search(r"white +into part A +6\.8[78] g", out)
    sheet = answer("add", "batch", folder, "--recipe", "1", "--from", "-", text=json.dumps(after))
    assert sheet["total_grams"] == after["total_grams"]
    assert answer(*arguments, "--thickness", "2")["predicted"]["setting"]["thickness_mm"] == 2.0


# Faults.

FAULTS = [
    ("list HERE", "there is no ledger yet; `tint ledger add order FOLDER` begins one"),
    ("list HERE/none", "none: "),
    ("show FOLDER colour 1", "there is no kind `colour`; expected one of order, recipe"),
    ("show FOLDER order 7", "order: there is no order 7; expected 1 to 1"),
    ("show FOLDER order x", "`x` is not the number of an entry"),
    ("show FOLDER order 99999999999999999999", "is not the number of an entry"),
    ("ad", "ledger: no such command 'ad'; did you mean 'add'?"),
    ("add colour FOLDER", "ledger add: no such command 'colour'"),
    ("add order FOLDER", "--name: not given; expected what the order is called"),
    ("add order HERE/none --name x", "there is no such folder"),
    ("add order FOLDER --name x --target-lab 1,2", "--target-lab: `1,2`"),
    ("add order FOLDER --name x --target-reading FOLDER/readings.csv:celadon-lid", "--over: not given"),
    ("add recipe FOLDER", "--from: not given; expected what `tint solve --json` writes"),
    ("add recipe FOLDER --from HERE/none.json", "none.json: cannot be read"),
    ("add recipe FOLDER --from FOLDER/palette.toml", "palette.toml: is not JSON"),
    ("add recipe FOLDER --from HERE/empty.json", "empty.json: holds no recipe"),
    ("add recipe FOLDER --from HERE/wrong.json", "wrong.json, key recipes[1].loadings"),
    ("add recipe FOLDER --from HERE/recipe.json --pick 3", "--pick: 3; expected 1 to 2, the recipes in"),
    ("add recipe FOLDER --from HERE/recipe.json --order nobody", "there is none named `nobody`"),
    ("add batch FOLDER", "--base: not given"),
    ("add batch FOLDER --from HERE/recipe.json", "recipe.json, key lines: the key is missing; expected what `tint"),
    ("add batch FOLDER --base clear --lot white", "--lot: `white`; expected NAME=LOT, as in white=W-203"),
    ("add batch FOLDER --base clear --temperature 500", "temperature_c"),
    ("add batch FOLDER --base clear --recipe 5", "batch, recipe_id: there is no recipe 5; expected 1 to 1"),
    ("add trial FOLDER --weighed white", "--weighed: `white`"),
    ("add trial FOLDER --thickness 3,1", "write 3.1"),
    ("add trial FOLDER --thickness -1", "thickness_mm > 0"),
    ("add trial FOLDER --over white", "--over, --seat ...: given without a reading"),
    ("add trial FOLDER --lab 1,2,3 --light D66", "did you mean D65?"),
    ("add trial FOLDER --lab 1,2,3 --reading x", "--reading: given together with --lab"),
    ("add reading FOLDER --trial 1", "--reading: neither it nor --lab is given"),
    ("add reading FOLDER --corrects 1 --light A", "--light or --observer: given without what it is of"),
    ("add reading FOLDER --reading HERE/none.csv --over white", "none.csv: cannot be read"),
    ("add reference FOLDER --name R --made 2025-02-30", "--made: `2025-02-30` is not a day; expected YYYY-MM-DD"),
    ("add lot FOLDER --material whte --lot W", "--material: there is no `whte`; expected one of white"),
    ("add lot FOLDER --material white --lot W --verdict no", "'no' is not one of 'use', 'rescale', 'reject'"),
    ("add lesson FOLDER --text x --withdraw", "--withdraw: given without --corrects"),
    ("add lesson FOLDER --text x --corrects 4", "there is no lesson 4; expected 1 to 1"),
    ("search FOLDER --lab 1,2", "--lab: `1,2`; expected three numbers"),
    ("search FOLDER", "missing option '--lab'"),
    ("search FOLDER --lab 1,2,3 --light D66", "did you mean D65?"),
    ("due FOLDER --by soon", "--by: `soon` is not a day"),
    ("export FOLDER --out HERE/recipe.json", "recipe.json: is there already"),
    ("export FOLDER --out HERE/none/all.json", "cannot be written"),
    ("import FOLDER HERE/none.json", "none.json: cannot be read"),
    ("import FOLDER HERE/recipe.json", "recipe.json: is not a ledger's JSON"),
    ("repeat FOLDER nobody --batch-g 100 --optics two-flux", "there is none named `nobody`; expected one of celadon"),
    ("repeat FOLDER 1 --optics two-flux", "batch: not given"),
    ("repeat FOLDER 9 --batch-g 100 --optics two-flux", "there is no order 9; expected 1 to 1"),
]


@pytest.mark.parametrize(("arguments", "words"), FAULTS)
def test_fault(arguments: str, words: str, filled: Path, tmp_path: Path) -> None:
    here = tmp_path / "here"
    here.mkdir()
    for file in INPUT_FILES:
        shutil.copy(filled / file, here / file)
    shutil.copy(tmp_path / "recipe.json", here / "recipe.json")
    (here / "empty.json").write_text('{"recipes": []}')
    (here / "wrong.json").write_text('{"recipes": [{"base": "clear", "loadings": {"white": "much"}}]}')
    with read_ledger(ledger_path(filled)) as ledger:
        before = [len(entries(ledger, record, all_rows=True)) for record in KINDS.values()]
    places = {"FOLDER": str(filled), "HERE": str(here)}
    result = run(*(re.sub("FOLDER|HERE", lambda word: places[word[0]], each) for each in arguments.split(" ")))
    assert words in told(result)
    assert result.exit_code == 2
    with read_ledger(ledger_path(filled)) as ledger:
        assert [len(entries(ledger, record, all_rows=True)) for record in KINDS.values()] == before


def test_a_ledger_at_fault_is_told_in_one_line_by_every_command(filled: Path) -> None:
    path = ledger_path(filled)
    whole = path.read_bytes()
    path.write_bytes(whole[:4096] + bytes(len(whole) - 4096))
    for arguments in (
        ("list", filled), ("show", filled, "order", "1"), ("search", filled, "--lab", "70,-8,6"), ("due", filled),
        ("add", "lesson", filled, "--text", "x"), ("export", filled, "--out", filled / "tables"),
        ("repeat", filled, "1", "--batch-g", "100", "--optics", "two-flux"),
    ):  # fmt: skip
        result = run(*arguments)
        assert "ledger.sqlite3: is damaged" in told(result)
        assert result.exit_code == 2
    assert not (filled / "tables").exists()


def test_a_ledger_in_use_is_a_job_for_later(filled: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        "tint.cli.ledger_add.record.open_ledger", lambda path, **more: open_ledger(path, wait_s=0.05, **more)
    )
    with closing(sqlite3.connect(ledger_path(filled), isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        result = run("add", "lesson", filled, "--text", "x")
        assert result.exit_code == 1
        assert "another program is writing to it" in told(result)
        assert "lid" in done("list", filled, "order")


def test_a_batch_s_premixes_are_kept_and_the_next_one_uses_them_first(folder: Path, tmp_path: Path) -> None:
    faint = ("weigh", folder, "--base", "clear", "--load", "blue=0.004", "--thickness", "3", "--batch-g", "120")
    sheet = tmp_path / "sheet.json"

    def weighed(*more: object) -> dict[str, Any]:
        told = CliRunner().invoke(main, [*map(str, (*faint, *more)), "--optics", "two-flux", "--json"])
        assert told.exit_code == 0, told.stderr
        return json.loads(told.stdout)  # type: ignore[no-any-return]

    first = weighed()
    assert all(each["steps"] for each in first["premixes"])
    # As much as four such batches take, so that it lasts.
    for change in first["premix_changes"]:
        change["grams"] *= 40.0
    sheet.write_text(json.dumps(first), encoding="utf-8")
    answer("add", "batch", folder, "--from", sheet)
    kept = answer("premixes", folder)["premixes"]
    assert [each["lot"] for each in kept] == ["B-142"] * len(kept)
    assert kept[0]["percent"] == pytest.approx(100.0 / kept[0]["whole"])
    assert kept[0]["name"] in done("premixes", folder)
    again = weighed()
    assert [each["steps"] for each in again["premixes"]] == [[]]
    assert again["premixes"][0]["kept"]["made_on"] == kept[0]["made_on"]
    assert weighed("--set", "kept=none")["premixes"] == first["premixes"]
    sheet.write_text(json.dumps(again), encoding="utf-8")
    answer("add", "batch", folder, "--from", sheet)
    after = {each["name"]: each["grams"] for each in answer("premixes", folder)["premixes"]}
    before = {each["name"]: each["grams"] for each in kept}
    (used,) = again["premixes"]
    assert before[used["name"]] - after[used["name"]] == pytest.approx(used["used_g"], abs=1e-5)
