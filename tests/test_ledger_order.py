"""What counts as the newest is what was entered last, whatever the clock said; and ledgers of earlier versions."""

from __future__ import annotations

import json
from collections.abc import Iterator
from datetime import date
from importlib import import_module
from pathlib import Path
from typing import Any

import pytest
from ledger_example import DIGEST, fill, recipe

from tint.errors import InputError
from tint.ledger import (
    KINDS,
    TABLES,
    Approval,
    Ledger,
    Lot,
    Order,
    add,
    as_dict,
    columns,
    correct,
    entries,
    import_json,
    open_ledger,
    repeat,
    to_json,
)
from tint.palette import Palette

TODAY = date(2025, 6, 1)
BROUGHT = ("limit_samples", "cure_c", "finish", "base_lot", "premixes")  # by versions since the first


@pytest.fixture
def ledger(tmp_path: Path) -> Iterator[Ledger]:
    with open_ledger(tmp_path / "ledger.sqlite3", palette_digest=DIGEST) as opened:
        yield opened


def set_clock(monkeypatch: pytest.MonkeyPatch, day: int) -> None:
    module = import_module("tint.ledger.entries")  # the package has a function of that name
    monkeypatch.setattr(module, "now_utc", lambda: f"2025-05-{day:02d}T12:00:00.000Z")


def lot(name: str, beside: str, strength: float) -> Lot:
    return Lot(material="white", lot=name, relative_to_lot=beside, strength=strength)


# The clock.


def test_a_refusal_counts_though_the_clock_was_set_back(
    ledger: Ledger, demo_palette: Palette, monkeypatch: pytest.MonkeyPatch
) -> None:
    set_clock(monkeypatch, 20)
    solved = add(ledger, recipe(add(ledger, Order(name="lid"))))
    add(ledger, Approval(recipe_id=solved, approved_by="the customer"))
    set_clock(monkeypatch, 19)
    add(ledger, Approval(recipe_id=solved, approved_by="the customer", verdict="refused"))
    again = repeat(ledger, "lid", demo_palette, today=TODAY)
    assert again.approval is None
    assert again.warnings == ("recipe 1 was refused by the customer; no recipe of this order is approved",)


def test_the_newest_lot_is_the_one_entered_last(
    ledger: Ledger, demo_palette: Palette, monkeypatch: pytest.MonkeyPatch
) -> None:
    set_clock(monkeypatch, 20)
    add(ledger, recipe(add(ledger, Order(name="lid"))))
    add(ledger, lot("W-204", "W-203", 0.8))
    set_clock(monkeypatch, 19)
    add(ledger, lot("W-205", "W-204", 0.5))
    white = repeat(ledger, "lid", demo_palette, today=TODAY).doses[0]
    assert white.lot == "W-205"
    assert white.strength.value == pytest.approx(0.4)


def test_a_correction_takes_the_place_of_what_it_corrects(ledger: Ledger, demo_palette: Palette) -> None:
    solved = add(ledger, recipe(add(ledger, Order(name="lid"))))
    early = add(ledger, Approval(recipe_id=solved, approved_by="the custmer"))
    add(ledger, Approval(recipe_id=solved, approved_by="the customer", verdict="refused"))
    correct(ledger, "approval", early, reason="a letter", approved_by="the customer")
    assert [each.content.verdict for each in entries(ledger, Approval)] == ["approved", "refused"]
    assert repeat(ledger, "lid", demo_palette, today=TODAY).approval is None


# Ledgers of earlier versions.


@pytest.mark.parametrize("kind", KINDS)
def test_columns_that_may_be_left_out_may_lack_in_the_json(ledger: Ledger, tmp_path: Path, kind: str) -> None:
    fill(ledger)
    told = json.loads(to_json(ledger))
    for row in told["tables"][TABLES[kind]]:
        for column in columns(kind):
            if not column.needed:
                del row[column.name]
    with open_ledger(tmp_path / "other.sqlite3", palette_digest=DIGEST) as other:
        added = import_json(other, json.dumps(told).encode(), where="a.json")
        assert added == {table: len(rows) for table, rows in told["tables"].items()}
        for entry, row in zip(_held(other, kind), told["tables"][TABLES[kind]], strict=True):
            assert {name: value for name, value in entry.items() if name in row} == row


def test_the_json_of_the_first_version_is_taken_in(ledger: Ledger, tmp_path: Path) -> None:
    """Without what the versions since then brought."""
    fill(ledger)
    told = json.loads(to_json(ledger)) | {"version": 0}
    told["tables"] = {
        table: [{name: value for name, value in row.items() if name not in BROUGHT} for row in rows]
        for table, rows in told["tables"].items()
    }
    with open_ledger(tmp_path / "other.sqlite3", palette_digest=DIGEST) as other:
        import_json(other, json.dumps(told).encode(), where="a.json")
        for kind in KINDS:
            kept = [{name: value for name, value in row.items() if name not in BROUGHT} for row in _held(ledger, kind)]
            theirs = [{name: value for name, value in row.items() if name not in BROUGHT} for row in _held(other, kind)]
            assert theirs == kept


def _held(ledger: Ledger, kind: str) -> list[dict[str, Any]]:
    """Entries of a kind as JSON has them."""
    told: list[dict[str, Any]] = json.loads(json.dumps([as_dict(each) for each in entries(ledger, KINDS[kind])]))
    return told


def test_a_number_that_no_table_holds_is_refused_whole(ledger: Ledger, tmp_path: Path) -> None:
    fill(ledger)
    told = json.loads(to_json(ledger))
    told["tables"]["recipes"][0]["observer_degrees"] = 10**30
    with open_ledger(tmp_path / "other.sqlite3", palette_digest=DIGEST) as other:
        with pytest.raises(InputError, match=r"a\.json, recipes\[0\]: observer_degrees is 1000.* too large"):
            import_json(other, json.dumps(told).encode(), where="a.json")
        assert all(_held(other, kind) == [] for kind in KINDS)
