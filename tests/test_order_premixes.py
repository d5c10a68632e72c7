"""Kept premixes of the ledger and orders: used first, never promised twice, told when they are too old."""

from __future__ import annotations

import datetime
import json
import re
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from stopped import stopped_at
from test_orders import LID, order_in

from tint.cli import main
from tint.ledger import Batch, Lot, add, entries, ledger_path, open_ledger, premix_stock, read_ledger
from tint.orders import Done, run_order
from tint.weighing import Kept

pytestmark = pytest.mark.usefixtures("sought_once")  # of one wish there are many sheets

TODAY = datetime.date.today()


def cli(*arguments: object) -> str:
    done = CliRunner().invoke(main, [str(each) for each in arguments], env={"COLUMNS": "200"})
    assert done.exit_code == 0, done.stderr
    return done.stdout


@pytest.fixture(scope="module")
def once(many_demo: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Done]:
    """An order that was run, whose sheet lets pigments down."""
    folder: Path = shutil.copytree(many_demo, tmp_path_factory.mktemp("orders") / "own")
    return folder, run_order(order_in(folder))


@pytest.fixture
def folder(once: tuple[Path, Done], tmp_path: Path) -> Path:
    return Path(shutil.copytree(once[0], tmp_path / "own"))


@pytest.fixture
def made(once: tuple[Path, Done]) -> Kept:
    """What the order made of a premix, and more of it than one such batch takes."""
    premix = next(each for each in once[1].sheet.premixes if each.steps)
    return Kept(
        name=premix.name, pigment=premix.pigment, base="clear", part=premix.part, whole=premix.whole,
        grams=round(1.5 * premix.used_g, 2), lot=premix.steps[0].lot,
    )  # fmt: skip


def keep(folder: Path, *kept: Kept) -> None:
    """Enter a batch that left premixes."""
    with open_ledger(ledger_path(folder), palette_digest="") as book, book.transaction():
        add(book, Batch(base="clear", premixes=kept))


def there(folder: Path) -> dict[str, float]:
    with read_ledger(ledger_path(folder)) as book:
        return {each.name: each.grams for each in premix_stock(book, TODAY).usable}


def another(folder: Path, name: str) -> Path:
    path = folder / "orders" / f"{name}.toml"
    path.write_text(LID, encoding="utf-8")
    return path


def pour(folder: Path, done: Done) -> None:
    cli("ledger", "add", "batch", folder, "--recipe", done.entered[1], "--from", done.order.made_path / "weigh.json")


def used(done: Done) -> dict[str, tuple[float, float]]:
    """Kept premixes that a sheet uses: there and left [g]."""
    return {each.kept.name: (each.kept.grams, each.kept_left_g) for each in done.sheet.premixes if each.kept}


def test_an_order_uses_what_is_kept_and_says_what_is_left_of_it(folder: Path, made: Kept) -> None:
    keep(folder, made)
    page = cli("order", folder / "orders" / "lid.toml")
    done = run_order(folder / "orders" / "lid.toml")
    ((there_g, left_g),) = used(done).values()
    assert there_g == pytest.approx(made.grams)
    step = next(each for each in done.sheet.premixes if each.kept)
    assert left_g == pytest.approx(made.grams - step.used_g)
    words = f"{made.name}, {there_g:.2f} g there, of {TODAY}, {left_g:.2f} g left"
    assert words in " ".join(page.split())
    pypdf = pytest.importorskip("pypdf")
    paper = " ".join(pypdf.PdfReader(done.order.made_path / "weigh.pdf").pages[0].extract_text().split())
    assert words in paper
    assert json.loads(cli("order", done.order.path, "--json"))["premixes"] == [words]


def test_the_sheet_is_that_of_weigh(folder: Path, made: Kept) -> None:
    keep(folder, made)
    done = run_order(folder / "orders" / "lid.toml")
    by_hand = json.loads(cli("weigh", folder / "orders" / "lid.toml", "--json"))
    own = json.loads((done.order.made_path / "weigh.json").read_text("utf-8"))
    for key in ("lines", "premixes", "premix_changes"):
        assert own[key] == by_hand[key]


def test_a_run_draws_nothing_however_often(folder: Path, made: Kept) -> None:
    keep(folder, made)
    before = there(folder)
    first = run_order(folder / "orders" / "lid.toml")
    assert used(first)
    again = run_order(folder / "orders" / "lid.toml")
    assert used(again) == used(first)
    assert not again.made.written
    assert there(folder) == before
    with read_ledger(ledger_path(folder)) as book:
        assert len(entries(book, Batch)) == 1


def test_a_killed_run_draws_nothing(folder: Path, made: Kept, monkeypatch: pytest.MonkeyPatch) -> None:
    keep(folder, made)
    before = there(folder)

    stopped_at("weigh.json", folder / "orders" / "lid.toml", monkeypatch)
    assert there(folder) == before
    done = run_order(folder / "orders" / "lid.toml")
    assert [each for each, _ in used(done).values()] == [pytest.approx(made.grams)]
    assert not done.made.left


def test_what_was_poured_is_drawn_once_and_its_sheet_stays(folder: Path, made: Kept) -> None:
    keep(folder, made)
    lid = folder / "orders" / "lid.toml"
    done = run_order(lid)
    assert "Once it is poured" in cli("order", lid)
    pour(folder, done)
    ((_, left_g),) = used(done).values()
    assert there(folder)[made.name] == pytest.approx(left_g)
    again = run_order(lid)
    assert again.poured == 2
    assert not again.made.written
    assert used(again) == used(done)
    assert "Poured as batch 2 of the ledger" in cli("order", lid)
    assert "sheets made, poured" in cli("order", folder, "--all")
    # Another batch of it is weighed from what there really is.
    lid.write_text(LID.replace("batch_g = 120", "batch_g = 130"), encoding="utf-8")
    more = run_order(lid)
    assert more.poured is None
    assert used(more)
    assert {name: grams for name, (grams, _) in used(more).items()}.items() <= there(folder).items()


def test_one_premix_is_not_promised_to_two_orders(folder: Path, made: Kept) -> None:
    keep(folder, made)
    first = run_order(folder / "orders" / "lid.toml")
    ((_, left_g),) = used(first).values()
    second = run_order(another(folder, "pot"))
    assert made.name not in used(second), "what is left is less than it takes"
    assert [(name, kept.name) for name, kept in second.promised] == [("lid", made.name)]
    assert second.promised[0][1].grams == pytest.approx(made.grams - left_g)
    taken = f"{made.grams - left_g:.2f} g {made.name} of {TODAY}, for lid"
    assert taken in " ".join(cli("order", folder / "orders" / "pot.toml").split())
    pour(folder, first)
    after = run_order(folder / "orders" / "pot.toml")
    assert after.promised == ()
    assert there(folder)[made.name] == pytest.approx(left_g)


def test_a_new_lot_is_dosed_from_itself_and_not_from_a_premix_of_the_old_one(folder: Path, made: Kept) -> None:
    keep(folder, made)
    again = ("ledger", "repeat", folder, "lid", "--batch-g", "120", "--json")
    assert made.name in {each["kept"]["name"] for each in json.loads(cli(*again))["premixes"] if each["kept"]}
    with open_ledger(ledger_path(folder), palette_digest="") as book:
        add(book, Lot(material=made.pigment, lot="N-2", relative_to_lot=made.lot, strength=0.9, verdict="rescale"))
    sheet = json.loads(cli(*again))
    assert sheet["lots"][made.pigment] == "N-2"
    assert made.pigment not in {each["kept"]["pigment"] for each in sheet["premixes"] if each["kept"]}
    steps = [step for each in sheet["premixes"] for step in each["steps"] if each["pigment"] == made.pigment]
    assert steps[0]["lot"] == "N-2"


def test_an_order_says_that_the_ledger_has_a_newer_lot(folder: Path, made: Kept) -> None:
    with open_ledger(ledger_path(folder), palette_digest="") as book:
        add(book, Lot(material=made.pigment, lot="N-1", relative_to_lot=made.lot, verdict="reject"))
    lid = folder / "orders" / "lid.toml"
    assert CliRunner().invoke(main, ["order", str(lid)]).stderr == ""
    with open_ledger(ledger_path(folder), palette_digest="") as book:
        add(book, Lot(material=made.pigment, lot="N-2", relative_to_lot=made.lot, strength=0.9))
    told = CliRunner().invoke(main, ["order", str(lid)]).stderr
    assert told == (
        f"tint: {lid}: the sheet is for the lots of the swatches, and the ledger has {made.pigment} N-2; "
        f"`tint ledger repeat {folder} lid` doses for it\n"
    )


def test_prices_do_not_hang_on_the_shelf(folder: Path, made: Kept) -> None:
    before = (folder / "orders" / "lid" / "quote.pdf").read_bytes()
    keep(folder, made)
    done = run_order(folder / "orders" / "lid.toml")
    assert {each.name for each in done.made.written} == {"weigh.pdf", "weigh.csv", "weigh.json", "labels.pdf"}
    assert (folder / "orders" / "lid" / "quote.pdf").read_bytes() == before


@pytest.mark.parametrize(("days", "is_used"), [(None, True), (31, True), (30, True), (29, False), (0, False)])
def test_how_long_a_premix_keeps_is_a_key_of_the_workshop(
    folder: Path, made: Kept, days: int | None, is_used: bool
) -> None:
    born = TODAY - datetime.timedelta(days=30)
    keep(folder, replace(made, made_on=born.isoformat()))
    if days is not None:
        palette = folder / "palette.toml"
        text = palette.read_text("utf-8")
        assert "[workshop]" in text
        palette.write_text(text.replace("[workshop]", f"[workshop]\npremix_days = {days}"), "utf-8")
    lid = folder / "orders" / "lid.toml"
    done, page = run_order(lid), " ".join(cli("order", lid).split())
    assert (made.name in used(done)) == is_used
    told = f"{made.name}, {made.grams:.2f} g of {born}, is not used: it is older than premix_days"
    assert any(told in each for each in done.sheet.warnings) != is_used
    assert (told[0].upper() + told[1:] in page or told in page) != is_used
    listed = cli("ledger", "premixes", folder)
    assert made.name in listed
    assert bool(re.search("too old", listed)) != is_used
    weighed = json.loads(cli("weigh", lid, "--json"))
    assert any(told in each for each in weighed["warnings"]) != is_used


@pytest.mark.parametrize("value", ["-1", "2.5", '"long"', "4000"])
def test_days_that_make_no_sense_are_told(folder: Path, value: str) -> None:
    palette = folder / "palette.toml"
    text = palette.read_text("utf-8").replace("[workshop]", f"[workshop]\npremix_days = {value}")
    palette.write_text(text, "utf-8")
    done = CliRunner().invoke(main, ["check", str(folder)])
    assert done.exit_code == 2
    assert "workshop.premix_days" in done.stdout
    assert "0 to 3650" in " ".join(done.stdout.split())


@pytest.mark.parametrize("old", ["{", '"pigment"', '"kept"'])
def test_a_weigh_sheet_altered_beyond_reading_promises_nothing(folder: Path, made: Kept, old: str) -> None:
    keep(folder, made)
    first = run_order(folder / "orders" / "lid.toml")
    sheet = first.order.made_path / "weigh.json"
    text = sheet.read_text("utf-8")
    assert old in text
    sheet.write_text(text.replace('"pigment"', '"x"') if old == '"pigment"' else text.replace(old, "[" + old), "utf-8")
    second = run_order(another(folder, "pot"))
    assert second.promised == ()
    assert made.name in used(second)
