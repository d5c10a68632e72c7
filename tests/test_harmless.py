"""What users and customers write reaches a terminal, a spreadsheet and a browser as words, never as commands."""

from __future__ import annotations

import csv
import io
import json
import re
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from ledger_example import DIGEST
from PIL import Image

from tint.appearance import Setting
from tint.cli import main
from tint.cli.show import LONGEST
from tint.errors import Gathered, InputError
from tint.files import neutral, restored
from tint.ledger import Order, add, open_ledger, to_csv
from tint.materials import Blend
from tint.palette import Palette
from tint.photographs.picture import read_picture
from tint.proofs.approval import Asked, approval
from tint.proofs.photo import read_height_map, read_photo
from tint.swatches.tables import read_table
from tint.weighing import Batch, weigh
from tint.weighing.sheet import weigh_table

pytest.importorskip("jinja2", reason="the page is drawn with jinja2")
pytest.importorskip("font_source_serif_pro", reason="the sheet is set in it")

from tint.proofs.approval_page import approval_page

CONTROLS = "\x1b[31m\x9b2J\x07\u202e"


def run(*arguments: object, env: dict[str, str] | None = None) -> Result:
    return CliRunner().invoke(main, [str(each) for each in arguments], env=env)


def moving(text: str) -> list[str]:
    """The characters that a terminal would obey."""
    return re.findall("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", text)


# The terminal.


def test_a_broken_tiff_is_told_in_words_of_tint_alone(capfd: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    grey = Image.fromarray(np.arange(120 * 100).reshape(100, 120).astype(np.uint8))
    for name, image in (("grey.tiff", grey), ("photo.tiff", Image.merge("RGB", [grey] * 3))):
        image.save(tmp_path / name, compression="tiff_lzw")
        data = bytearray((tmp_path / name).read_bytes())
        data[300:900] = bytes(600)
        (tmp_path / name).write_bytes(data)
    for read in (read_picture, read_photo, lambda path: read_height_map(path, mm_per_level=0.01)):
        for name in ("grey.tiff", "photo.tiff"):
            with pytest.raises(InputError):
                read(tmp_path / name)
    assert capfd.readouterr().err == ""
    sys.stderr.write("words of our own\n")
    assert capfd.readouterr().err == "words of our own\n"


@pytest.mark.parametrize("name", ["a" * 300, "/".join(["b"] * 2500)])
@pytest.mark.parametrize(
    "arguments",
    [
        "check {}", "fit {}", "import demo {}", "photograph {}", "order {}.toml", "start {}", "adjust demo --trial {}",
        "predict {} --load white=1 --base clear --thickness 3", "ledger list {}", "ledger import demo {}",
        "solve demo --thickness 3 --target-reading {}", "fan demo {} --thickness 3 --out x.csv",
        "proof demo --load white=1 --base clear --thickness 3 --set height_map={}",
        "weigh demo --load white=1 --base clear --batch 90 --csv {}", "ledger export demo --out {}",
    ],
)  # fmt: skip
def test_a_path_longer_than_the_system_s_is_told_in_one_line(fitted_demo: Path, arguments: str, name: str) -> None:
    result = run(*arguments.replace("demo", str(fitted_demo)).format(name).split())
    assert result.exit_code == 2
    assert re.fullmatch(r"tint: [^\n]+\n", result.stderr)
    assert len(result.stderr) < 2 * LONGEST


def test_names_command_no_terminal(demo_folder: Path) -> None:
    toml = demo_folder / "palette.toml"
    name = CONTROLS.encode("unicode_escape").decode().replace("\\x", "\\u00")
    toml.write_text(toml.read_text(encoding="utf-8").replace('"', f'"{name}', 1), encoding="utf-8")
    results = [run("check", demo_folder, "--quick", *form) for form in ([], ["--json"])]
    results.append(run("fit", demo_folder / CONTROLS))
    assert [moving(each.output) for each in results] == [[], [], []]
    assert "\\x1b[31m\\x9b2J\\x07\\u202e" in results[2].stderr


def test_json_still_tells_the_true_name(demo_folder: Path) -> None:
    added = run("ledger", "add", "order", demo_folder, "--name", CONTROLS, "--json")
    assert moving(added.output) == []
    assert json.loads(added.stdout)["name"] == CONTROLS
    assert moving(run("ledger", "list", demo_folder).output) == []
    assert moving(run("ledger", "show", demo_folder, "order", "1").output) == []


# Messages.


def test_a_message_is_short_enough_to_be_read(fitted_demo: Path) -> None:
    told = run("predict", fitted_demo, "--base", "clear", "--load", "x" * 9000 + "=1", "--optics", "two-flux")
    assert told.exit_code == 2
    assert len(told.stderr) < LONGEST + 100
    assert told.stderr.startswith("tint: --load: there is no `xxx")
    assert "characters left out" in told.stderr


@pytest.mark.parametrize("width", ["0", "80"])
def test_the_title_is_there_whatever_the_width_of_the_terminal(demo_folder: Path, width: str) -> None:
    run("ledger", "add", "order", demo_folder, "--name", "lid")
    assert run("ledger", "list", demo_folder, env={"COLUMNS": width}).stdout.startswith("Orders\n")


def test_a_name_with_an_equals_sign_ends_at_the_last(fitted_demo: Path) -> None:
    told = ["predict", fitted_demo, "--base", "clear", "--thickness", 3, "--optics", "two-flux", "--load"]
    assert run(*told, "a=b=0.5").stderr.startswith("tint: --load: there is no `a=b`; expected one of ")
    assert "names more than one pigment" in run(*told, "white=0.5,yellow=0.3").stderr


# The spreadsheet.


@pytest.mark.parametrize("cell", ["=1+1", "+1", "-x", "@A1", "\t=1", "'=1", "''@", "plain", "'plain", "", "3-4"])
def test_property_a_neutral_cell_is_no_formula_and_is_read_back(cell: str) -> None:
    written = str(neutral(cell))
    assert not written.startswith(("=", "+", "-", "@", "\t"))
    assert restored(written) == cell


def test_no_cell_of_the_ledger_s_tables_is_a_formula(tmp_path: Path) -> None:
    names = ["=HYPERLINK(0)", "+1", "-lid", "@lid", "lid", "'=lid"]
    with open_ledger(tmp_path / "ledger.sqlite3", palette_digest=DIGEST) as ledger:
        for name in names:
            add(ledger, Order(name=name, note="=1+1"))
        data = to_csv(ledger)["orders.csv"]
    cells = [cell for row in csv.reader(io.StringIO(data.decode(), newline="")) for cell in row]
    assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@"))]
    table = read_table(data.decode(), Gathered("orders.csv"), first="id")
    assert table is not None
    assert [table.cell(row, "name") for row in table.rows] == names


def test_no_cell_of_a_weigh_sheet_is_a_formula(demo_palette: Palette) -> None:
    pigments = dict(demo_palette.pigments)
    pigments["white"] = replace(pigments["white"], lot="=cmd|' /C calc'!A0")
    sheet = weigh(
        replace(demo_palette, pigments=pigments), Blend("clear", {"white": 0.5}), setting=Setting(thickness_mm=3.0),
        batch=Batch(batch_g=100.0),
    )  # fmt: skip
    rows = list(csv.reader(io.StringIO(weigh_table(sheet).decode())))
    assert "'=cmd|' /C calc'!A0" in [row[-1] for row in rows]
    assert not [cell for row in rows for cell in row if cell.startswith(("=", "+", "-", "@"))]


# The browser.


def test_the_customer_s_words_call_for_no_typeface(tmp_path: Path, fitted_demo: Path) -> None:
    page = tmp_path / "sheet.html"
    told = ["--base", "clear", "--load", "white=0.5", "--thickness", 3, "--optics", "two-flux", "--sheet", page]
    words = "as the /* faces */ of {{ faces }} coins"
    result = run("proof", fitted_demo, *told, "--set", f"title={words}", "--set", f"words={words}")
    assert result.exit_code == 0, result.output
    text = page.read_text(encoding="utf-8")
    assert text.count("@font-face") == 2
    assert text.count("as the /* faces */ of {{ faces }} coins") >= 3


def test_a_name_that_opens_a_script_does_not_end_the_page_s_own(demo_palette: Palette) -> None:
    """In a script element `<!--<script>` makes the browser pass over the next end of a script (HTML, 13.2.5.4)."""
    name = "<!--<script>"
    palette = replace(demo_palette, backings=demo_palette.backings | {name: demo_palette.backings["white"]})
    asked = Asked(name=name, words=name, who=name, made=date(2026, 3, 2), expiry=None)
    sheet = approval(palette, Blend("clear", {"white": 0.5}), setting=Setting(thickness_mm=3.0), asked=asked)
    page = approval_page(sheet).decode()
    data = page.partition('id="data">')[2].partition("</script>")[0]
    assert name in " ".join(json.loads(data)["backings"])
    assert "<" not in data
    assert page.count("<!--") == 0
