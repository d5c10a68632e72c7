"""An order's quote, labels, line for the books and the customer's answer; what an edit makes anew, what it leaves."""

from __future__ import annotations

import csv
import io
import json
import shutil
from datetime import date
from pathlib import Path
from typing import Any

import pypdf
import pytest
from click.testing import CliRunner, Result

from tint.cli import main
from tint.errors import InputError
from tint.ledger import Approval, entries, ledger_path, read_ledger
from tint.orders import answer_order, run_order

pytestmark = pytest.mark.usefixtures("sought_once")  # of one wish there are many sheets

LID = """format = 1
words = "as the glaze of the jar"
lab = [70, -12, 8]
walls_mm = [3]
batch_g = 120
parts = 6
base = "clear"
customer = "the tea house"
due = 2027-03-01

[limits]
most_pigments = 3
"""
QUOTED = {"quote.pdf", "invoice.csv", "invoice.json", "costs.csv"}
ALWAYS = {
    "weigh.pdf", "weigh.csv", "weigh.json", "labels.pdf", "expected.csv", "card.png", "approval.html", "approval.pdf",
}  # fmt: skip


def order_in(folder: Path) -> Path:
    (folder / "orders").mkdir(exist_ok=True)
    path = folder / "orders" / "lid.toml"
    path.write_text(LID, encoding="utf-8")
    return path


@pytest.fixture
def lid(many_demo: Path, tmp_path: Path) -> Path:
    return order_in(shutil.copytree(many_demo, tmp_path / "own"))


@pytest.fixture(scope="module")
def made_once(many_demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder whose order was run to its sheets; leave it as it is."""
    folder = shutil.copytree(many_demo, tmp_path_factory.mktemp("made") / "own")
    run_order(order_in(folder))
    return folder


@pytest.fixture
def made(made_once: Path, tmp_path: Path) -> Path:
    """A copy of that order, for the test to change as it likes."""
    return shutil.copytree(made_once, tmp_path / "own") / "orders" / "lid.toml"


def edit(path: Path, old: str, new: str) -> None:
    text = path.read_text("utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


def tint(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(each) for each in arguments], env={"COLUMNS": "120"})


def told(*arguments: object) -> Any:
    found = tint(*arguments, "--json")
    assert found.exit_code == 0, found.stderr
    return json.loads(found.stdout)


def words_of(path: Path) -> str:
    return " ".join("\n".join(page.extract_text() for page in pypdf.PdfReader(path).pages).split())


def names(paths: Any) -> set[str]:
    return {Path(each).name for each in paths}


def test_a_quote_is_material_work_and_margin(lid: Path) -> None:
    done = run_order(lid)
    assert names(done.made.written) == ALWAYS | QUOTED
    grams = {"clear": 0.0} | dict.fromkeys(done.sheet.rounded.loadings, 0.0)
    prices = {"clear": 26.0, "white": 28.0, "yellow": 46.0, "ochre": 31.0, "blue": 71.0, "green": 58.0, "black": 34.0}
    shares = {"clear": 100.0 - done.sheet.rounded.total, **done.sheet.rounded.loadings}
    material = sum(done.sheet.total_grams * shares[name] / 100.0 * prices[name] / 1000.0 for name in grams)
    expected = 1.25 * (material + 38.0 * (45.0 + 6 * 10.0) / 60.0)
    assert done.quote.price == pytest.approx(expected / 6, abs=0.0051)
    assert done.quote.total == pytest.approx(6 * (done.quote.price or 0.0), abs=1e-9)
    text = words_of(lid.parent / "lid" / "quote.pdf")
    assert "6 pieces" in text
    assert f"{done.quote.total:.2f} EUR" in text
    assert "the tea house" in text
    costs = csv.DictReader(io.StringIO((lid.parent / "lid" / "costs.csv").read_text("utf-8")))
    assert sum(float(row["total"]) for row in costs) == pytest.approx(expected, abs=0.03)


def test_the_line_for_the_books_has_plain_columns(lid: Path) -> None:
    run_order(lid, made_on=date(2027, 2, 3))
    into = lid.parent / "lid"
    (row,) = csv.DictReader(io.StringIO((into / "invoice.csv").read_text("utf-8")))
    assert list(row) == [
        "order", "customer", "date", "text", "quantity", "unit", "unit_price", "currency", "total",
    ]  # fmt: skip
    assert (row["order"], row["customer"], row["date"]) == ("lid", "the tea house", "2027-02-03")
    assert float(row["total"]) == pytest.approx(6 * float(row["unit_price"]), abs=0.005)
    lines = (into / "invoice.json").read_text("utf-8").splitlines()
    assert len(lines) == 1
    line = json.loads(lines[0])
    assert line["total"] == float(row["total"])
    assert list(line) == list(row)


def test_words_that_a_spreadsheet_would_work_out_stay_words(lid: Path) -> None:
    edit(lid, '"the tea house"', '"=HYPERLINK(1)"')
    run_order(lid)
    (row,) = csv.DictReader(io.StringIO((lid.parent / "lid" / "invoice.csv").read_text("utf-8")))
    assert row["customer"] == "'=HYPERLINK(1)"


def test_what_a_quote_lacks_is_told_and_a_price_agreed_needs_nothing(lid: Path) -> None:
    folder = lid.parent.parent
    edit(folder / "palette.toml", "price = 26.0               # per kg\n", "")
    edit(folder / "palette.toml", "price_per_hour = 38.0\n", "")
    done = run_order(lid)
    assert done.quote.price is None
    assert done.quote.missing == ("the price of clear", "[workshop] price_per_hour")
    assert names(done.made.written) == ALWAYS
    shown = tint("order", lid)
    assert "No quote, since nothing tells" in shown.stdout
    edit(lid, "parts = 6", "parts = 6\nprice = 19.5")
    agreed = run_order(lid)
    assert (agreed.quote.price, agreed.quote.total, agreed.quote.agreed) == (19.5, 117.0, True)
    assert names(agreed.made.written) == QUOTED - {"costs.csv"}


def test_working_time_of_the_order_goes_before_the_workshop_s(lid: Path) -> None:
    edit(lid, "parts = 6", "parts = 6\nminutes = 30")
    (work,) = [each for each in run_order(lid).quote.costs if each.what == "work"]
    assert work.total == pytest.approx(19.0)


@pytest.mark.parametrize("key", ["price = -1", "minutes = -1", 'price = "dear"'])
def test_a_price_that_is_none_is_told_with_its_key(lid: Path, key: str) -> None:
    edit(lid, "parts = 6", f"parts = 6\n{key}")
    found = tint("order", lid)
    assert found.exit_code == 2
    assert f"key {key.split(' ')[0]}" in found.stderr


def test_labels_are_for_premixes_cups_and_parts(made: Path) -> None:
    lid = made
    done = run_order(lid)
    text = words_of(lid.parent / "lid" / "labels.pdf")
    assert all(f"Lid {at} of 6" in text for at in range(1, 7))
    assert "Lid, cup" in text
    for premix in done.sheet.premixes:
        assert all(step.makes in text for step in premix.steps)
    assert "Not for skin or food" in text
    assert "Sulphur, tin and amines stop its cure" in text
    for name, dose in done.sheet.blend.loadings.items():
        assert f"{dose:.4g} % {name}" in text
    edit(lid, "parts = 6", "parts = 40")
    run_order(lid)
    assert len(pypdf.PdfReader(lid.parent / "lid" / "labels.pdf").pages) == 3
    edit(lid, "parts = 40", "parts = 3000")
    run_order(lid)
    assert "Lid, 3000 pieces" in words_of(lid.parent / "lid" / "labels.pdf")


def test_labels_warn_of_tin_and_of_a_pigment_that_nobody_knows(lid: Path) -> None:
    edit(lid, 'base = "clear"', 'base = "milky"')
    declared = lid.parent.parent / "palette.toml"
    text = declared.read_text("utf-8").replace('cures = ["addition", "condensation"]', "", 1)
    declared.write_text(text, encoding="utf-8")
    run_order(lid)
    words = words_of(lid.parent / "lid" / "labels.pdf")
    assert "Tin catalyst: keep off skin" in words


def test_an_edit_makes_anew_only_what_it_changes(made: Path) -> None:
    lid = made
    first = run_order(lid)
    edit(lid, "the tea house", "the tea room")
    customer = run_order(lid)
    assert not customer.solved
    assert names(customer.made.written) == {"approval.html", "approval.pdf", "labels.pdf"} | QUOTED
    edit(lid, "due = 2027-03-01", "due = 2027-04-01")
    assert names(run_order(lid).made.written) == {"labels.pdf"} | QUOTED
    edit(lid, "parts = 6", "parts = 8")
    parts = run_order(lid)
    assert not parts.solved
    assert names(parts.made.written) == {"weigh.pdf", "weigh.csv", "weigh.json", "labels.pdf"} | QUOTED
    edit(lid.parent.parent / "palette.toml", "margin_percent = 25", "margin_percent = 40")
    margin = run_order(lid)
    assert not margin.solved
    assert names(margin.made.written) == QUOTED
    assert margin.answer.recipes[0].loadings == first.answer.recipes[0].loadings
    edit(lid, "[70, -12, 8]", "[60, -12, 8]")
    colour = run_order(lid)
    assert colour.solved
    assert names(colour.made.written) == ALWAYS | QUOTED
    assert not run_order(lid).made.written


def test_the_answer_is_one_command_and_stands_in_the_ledger_once(made: Path, tmp_path: Path) -> None:
    lid = made
    scan = tmp_path / "Scan 0012.PDF"
    scan.write_bytes(b"%PDF-1.4 signed")
    answer = ["order", lid, "--answer", "approved", "--said", "a lovely green", "--signed", scan, "--on", "2025-02-10"]
    first = told(*answer)
    assert (first["verdict"], first["by"], first["new"]) == ("approved", "the tea house", True)
    kept = Path(first["signed"])
    assert kept == lid.parent / "lid" / "signed-2025-02-10.pdf"
    assert kept.read_bytes() == scan.read_bytes()
    again = told(*answer)
    assert (again["approval"], again["new"], again["signed"]) == (first["approval"], False, first["signed"])
    with read_ledger(ledger_path(lid.parent.parent)) as book:
        (entry,) = entries(book, Approval)
    assert entry.content.note == "a lovely green"
    assert "signed: lid/signed-2025-02-10.pdf, SHA-256 " in entry.content.swatch
    assert (entry.content.order_id, entry.content.recipe_id) == run_order(lid).entered
    scan.write_bytes(b"%PDF-1.4 signed by another")
    assert Path(told(*answer)["signed"]).name == "signed-2025-02-10-2.pdf"
    assert kept in kept.parent.iterdir()
    assert not run_order(lid, replace=True).made.left


def test_the_list_says_what_was_answered_and_when_it_is_due(lid: Path) -> None:
    folder = lid.parent.parent
    (lid.parent / "cup.toml").write_text(LID.replace("2027-03-01", "2027-01-15"), encoding="utf-8")
    (lid.parent / "vase.toml").write_text(LID.replace("due = 2027-03-01\n", ""), encoding="utf-8")

    def states() -> dict[str, str]:
        return {each["name"]: each["state"] for each in told("order", folder, "--all")["orders"]}

    assert list(states().items()) == [("cup", "new"), ("lid", "new"), ("vase", "new")]
    run_order(lid)
    assert states()["lid"] == "sheets made"
    edit(lid, "parts = 6", "tolerance = 2\nparts = 6")
    assert states()["lid"] == "sheets out of date"
    run_order(lid)
    answer_order(lid, "refused", words="too grey", on=date(2025, 2, 1))
    assert states()["lid"] == "refused 2025-02-01"
    edit(lid, "most_pigments = 3", "most_pigments = 2")
    run_order(lid)
    assert states()["lid"] == "sheets made"
    answer_order(lid, "approved", on=date(2025, 2, 3))
    assert states() == {"cup": "new", "lid": "approved 2025-02-03", "vase": "new"}
    edit(lid, "[70, -12, 8]", "[60, -12, 8]")
    run_order(lid)
    assert states()["lid"] == "changed since it was approved"


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--answer", "approved"), "run `tint order"),
        (("--said", "nice"), "given without --answer"),
        (("--answer", "perhaps"), "perhaps"),
        (("--answer", "approved", "--on", "yesterday"), "--on"),
    ],
)
def test_an_answer_that_cannot_be_entered_is_told(lid: Path, arguments: tuple[str, ...], said: str) -> None:
    found = tint("order", lid, *arguments)
    assert found.exit_code == 2
    assert said in found.stderr
    assert not ledger_path(lid.parent.parent).exists()


def test_an_answer_to_sheets_that_are_out_of_date_is_refused(made: Path, tmp_path: Path) -> None:
    lid = made
    with pytest.raises(InputError, match="cannot be read"):
        answer_order(lid, "approved", signed=tmp_path / "nothing.pdf")
    edit(lid, "[70, -12, 8]", "[60, -12, 8]")
    with pytest.raises(InputError, match="edited since its sheets were made"):
        answer_order(lid, "approved")
    edit(lid, "[60, -12, 8]", "[70, -12, 8]")
    edit(lid, 'customer = "the tea house"\n', "")
    with pytest.raises(InputError, match="nobody is told who answers"):
        answer_order(lid, "approved")
    assert answer_order(lid, "approved", by="the owner").content.approved_by == "the owner"


def test_parts_of_a_batch_in_grams_are_counted_and_weigh_takes_them(made: Path) -> None:
    lid = made
    assert told("weigh", lid)["batch"]["batch_g"] == 120.0
