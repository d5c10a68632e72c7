"""The ledger: rows are only added and point rightly, what was confirmed stays, files at fault are told in a line."""

from __future__ import annotations

import csv
import dataclasses
import hashlib
import io
import json
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ledger_example import DIGEST, WEIGHED, colour, fill, recipe

from tint import colorimetry
from tint.appearance import Setting, predict
from tint.errors import InputError
from tint.files import restored
from tint.ledger import (
    FORMAT,
    KINDS,
    TABLES,
    Approval,
    Batch,
    Ledger,
    Lesson,
    Lot,
    Order,
    Recipe,
    Reference,
    Strength,
    Trial,
    add,
    as_dict,
    belonging,
    columns,
    correct,
    drift,
    due,
    entries,
    export_ledger,
    find_order,
    get,
    import_json,
    open_ledger,
    premix_stock,
    read_ledger,
    relative_strength,
    repeat,
    schema,
    search,
    to_csv,
    to_json,
    versions,
    with_lots,
    withdraw,
)
from tint.materials import Blend
from tint.palette import Palette
from tint.weighing import Kept

TESTS = Path(__file__).parent
VERSION_0 = TESTS / "ledger_version_0.sql"
DOCS = TESTS.parent / "docs" / "ledger.md"
TODAY = date(2025, 6, 1)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "ledger.sqlite3"


@pytest.fixture
def ledger(path: Path) -> Iterator[Ledger]:
    with open_ledger(path, palette_digest=DIGEST) as opened:
        yield opened


def all_rows(ledger: Ledger) -> dict[str, list[dict[str, Any]]]:
    return {kind: [as_dict(each) for each in entries(ledger, KINDS[kind], all_rows=True)] for kind in KINDS}


# The schema.


def test_schema_unchanged() -> None:
    """A change to the tables needs a new FORMAT, a step to it and a word in docs/ledger.md; then this sum."""
    digest = hashlib.sha256(schema.tables().encode()).hexdigest()[:16]
    assert (FORMAT, digest) == (3, "e259f7f02390fad9")


def test_the_page_names_every_table_with_what_is_needed_and_what_it_points_at() -> None:
    rows = re.findall(r"^\| `(\w+)` \|[^|]*\|([^|]*)\|([^|]*)\|$", DOCS.read_text("utf-8"), re.M)
    needed = {table: re.findall(r"`(\w+)`", cell) for table, cell, _ in rows}
    assert needed == {TABLES[kind]: [each.name for each in columns(kind) if each.needed] for kind in KINDS}
    pointed = {table: set(re.findall(r"\w+", cell)) for table, _, cell in rows if cell.strip() != "anything"}
    own = {TABLES[kind]: {each.points for each in columns(kind) if each.points} for kind in KINDS}
    assert pointed == {table: own[table] for table in pointed}


def test_the_statements_of_the_page_run(ledger: Ledger) -> None:
    fill(ledger)
    statements = re.findall(r"^```sql\n(.*?)^```$", DOCS.read_text("utf-8"), re.M | re.S)
    assert len(statements) == 3
    for statement in statements:
        assert len(ledger.rows(statement)) == 1


def test_sqlite_keeps_a_comment_on_every_column(ledger: Ledger) -> None:
    for kind, table in TABLES.items():
        sql = ledger.rows("SELECT sql FROM sqlite_master WHERE name = ?", table)[0][0]
        for column in columns(kind):
            assert re.search(rf"^    {column.name} .* -- {re.escape(column.about)}$", sql, re.M)


def test_the_file_is_set_for_power_cuts(ledger: Ledger) -> None:
    told = [ledger.rows(f"PRAGMA {name}")[0][0] for name in ("journal_mode", "synchronous", "foreign_keys")]
    assert told == ["wal", 2, 1]


CHANGES = [
    "UPDATE {table} SET tint_version = 'x'",
    "DELETE FROM {table}",
    "INSERT OR REPLACE INTO {table} SELECT * FROM {table}",
    "INSERT OR REPLACE INTO {table} (uid, added_utc, palette_digest, tint_version) "
    "SELECT uid, added_utc, 'x', 'x' FROM {table}",
]


@pytest.mark.parametrize("change", CHANGES)
def test_rows_are_never_changed(ledger: Ledger, change: str) -> None:
    fill(ledger)
    before = all_rows(ledger)
    for table in TABLES.values():
        with pytest.raises(InputError, match=f"{table}: rows are never changed; add one that corrects it"):
            ledger.rows(change.format(table=table))
    assert all_rows(ledger) == before


def test_versions_of_the_schema_are_never_changed(ledger: Ledger) -> None:
    for change in ("UPDATE ledger_versions SET words = ''", "DELETE FROM ledger_versions"):
        with pytest.raises(InputError, match="rows are never changed"):
            ledger.rows(change)


def test_sqlite_itself_refuses_a_pointer_to_nothing(ledger: Ledger) -> None:
    own = "uid, added_utc, palette_digest, tint_version"
    with pytest.raises(InputError, match="FOREIGN KEY"):
        ledger.rows(f"INSERT INTO recipes ({own}, base, order_id) VALUES ('u', '2025-01-01', '', '', 'clear', 7)")


# Adding and reading back.


def test_every_kind_comes_back_as_it_was_added(ledger: Ledger) -> None:
    assert set(fill(ledger)) == set(KINDS)
    assert entries(ledger, Batch)[0].content.weighed == WEIGHED
    assert entries(ledger, Order)[0].content.customer_words == "as the glaze, »grün«"
    assert entries(ledger, Recipe)[0].content == recipe(1)
    assert entries(ledger, Approval)[0].content.limit_samples == ("R-1", "R-2, the darkest")


def test_every_row_says_when_with_which_swatches_and_by_which_tint(ledger: Ledger) -> None:
    fill(ledger)
    for rows in all_rows(ledger).values():
        for row in rows:
            assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", row["added_utc"])
            assert row["palette_digest"] == DIGEST
            assert row["tint_version"]
            assert re.fullmatch(r"[0-9a-f]{32}", row["uid"])


TEXT = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"))
NUMBER = st.floats(allow_nan=False, allow_infinity=False)


@settings(max_examples=40, deadline=None)
@given(words=TEXT, loadings=st.dictionaries(TEXT, NUMBER, max_size=4), thickness=st.floats(1e-6, 1e6), lightness=NUMBER)
def test_property_text_and_numbers_come_back_to_the_last_bit(
    tmp_path_factory: pytest.TempPathFactory, words: str, loadings: dict[str, float], thickness: float, lightness: float
) -> None:
    path = tmp_path_factory.getbasetemp() / "bits.sqlite3"
    record = Recipe(base="clear", note=words, loadings_percent=loadings, thickness_mm=thickness, lab_l=lightness)
    with open_ledger(path, palette_digest=DIGEST) as ledger:
        assert get(ledger, "recipe", add(ledger, record)).content == record
        assert restored(dict(csv_rows(ledger, "recipes")[-1])["note"]) == words


WRONG = [
    (Order(name=""), "name is not empty"),
    (recipe(thickness_mm=0.0), "thickness_mm > 0"),
    (recipe(observer_degrees=5), "observer_degrees IN (2, 10)"),
    (recipe(seat="damp"), "seat IN ('', 'air', 'wet')"),
    (recipe(contrast_ratio=-0.1), "contrast_ratio >= 0"),
    (recipe(lab_l=float("nan")), "recipe, lab_l: nan; expected a finite number"),
    (recipe(loadings_percent={"white": float("inf")}), "recipe, loadings_percent: cannot be kept"),
    (recipe(loadings_percent={"white": "much"}), "$.loadings_percent"),
    (recipe(loadings_percent=["white"]), "Expected `object`, got `array`"),
    (recipe(base=3), "Expected `str`, got `int` - at `$.base`"),
    (recipe(99), "recipe, order_id: there is no order yet"),
    (Batch(base="clear", temperature_c=451.0), "temperature_c BETWEEN -50 AND 100"),
    (Lot(material="white", lot="W", strength=0.0), "strength > 0"),
    (Lot(material="white", lot="W", verdict="perhaps"), "verdict IN ('use', 'rescale', 'reject')"),
    (Reference(name="R", expires_on="2025-02-30"), "reference, expires_on: `2025-02-30` is not a day"),
    (Reference(name="R", made_on="soon"), "expected YYYY-MM-DD"),
    (
        Approval(approved_by="X", approved_on="2025-03-05", expires_on="2024-03-05"),
        "approval, expires_on: 2024-03-05 is not after approved_on 2025-03-05; expected a later day",
    ),
    (Reference(name="R", made_on="2025-03-05", expires_on="2025-03-05"), "2025-03-05 is not after made_on 2025-03-05"),
    (
        Approval(approved_by="X", approved_on="2999-01-01"),
        "approval, approved_on: 2999-01-01 is yet to come; expected a",
    ),
    (Lot(material="white", lot="W", received_on="2999-01-01"), "lot, received_on: 2999-01-01 is yet to come"),
    (Lesson(text="a\x00b"), "lesson, text: holds what is not text"),
    (Lesson(text="\ud800"), "lesson, text: holds what is not text"),
]


@pytest.mark.parametrize(("record", "told"), WRONG)
def test_a_value_out_of_bounds_is_told_and_nothing_added(ledger: Ledger, record: Any, told: str) -> None:
    with pytest.raises(InputError) as caught:
        add(ledger, record)
    assert told in str(caught.value)
    assert "\n" not in str(caught.value)
    assert sum(len(rows) for rows in all_rows(ledger).values()) == 0


def test_nothing_is_read_or_approved_before_its_swatch_was_made(ledger: Ledger) -> None:
    kept = add(ledger, Reference(name="R-1", made_on="2025-03-05"))
    for record in (
        colour(70.0, -8.0, 6.0, reference_id=kept, read_on="2025-03-04"),
        Approval(approved_by="X", reference_id=kept, approved_on="2024-12-31"),
    ):
        with pytest.raises(
            InputError, match=r"is before reference 1 was made, 2025-03-05; expected a day from then on"
        ):
            add(ledger, record)
    add(ledger, Approval(approved_by="X", reference_id=kept, approved_on="2025-03-05"))


def test_days_that_cannot_be_are_withdrawn_from_a_ledger_that_holds_them(ledger: Ledger) -> None:
    wrong = add(ledger, Approval(approved_by="X", approved_on="2025-03-05"))
    ledger.rows("DROP TRIGGER approvals_never_changed")
    ledger.rows("UPDATE approvals SET approved_on = '2999-01-01' WHERE id = ?", wrong)
    withdraw(ledger, "approval", wrong, reason="a slip of the pen")
    assert entries(ledger, Approval) == []


def test_bounds_hold_for_other_programs_too(ledger: Ledger) -> None:
    own = "uid, added_utc, palette_digest, tint_version"
    for column, value in {"thickness_mm": "'thick'", "loadings_percent": "'[1]'", "seat": "'damp'"}.items():
        with pytest.raises(InputError, match=column):
            ledger.rows(f"INSERT INTO recipes ({own}, base, {column}) VALUES ('u', '2025-01-01', '', '', 'b', {value})")
    with pytest.raises(InputError, match="made_on is a day"):
        ledger.rows(
            f"INSERT INTO reference_swatches ({own}, name, made_on) VALUES ('u', '2025-01-01', '', '', 'R', 'x')"
        )


def test_a_transaction_is_added_whole_or_not_at_all(ledger: Ledger) -> None:
    def add_two(second: str) -> None:
        with ledger.transaction():
            add(ledger, Order(name="lid"))
            add(ledger, Order(name=second))
            raise ZeroDivisionError

    for second, error in {"lamp": ZeroDivisionError, "": InputError}.items():
        with pytest.raises(error):
            add_two(second)
    assert entries(ledger, Order) == []
    assert add(ledger, Order(name="lid")) == 1


def test_a_ledger_opened_for_reading_refuses_to_add(path: Path) -> None:
    open_ledger(path, palette_digest=DIGEST).close()
    with read_ledger(path) as ledger, pytest.raises(InputError, match="was opened for reading"):
        add(ledger, Order(name="lid"))


# Corrections.


def test_a_correction_stands_for_the_row_from_then_on(ledger: Ledger) -> None:
    first = add(ledger, Order(name="lid", part="lid"))
    second = correct(ledger, "order", first, reason="a slip", part="lamp")
    third = correct(ledger, "order", second, name="lamp")
    assert [each.id for each in entries(ledger, Order)] == [third]
    assert get(ledger, "order", third).content == Order(name="lamp", part="lamp")
    assert get(ledger, "order", first).content == Order(name="lid", part="lid")
    assert get(ledger, "order", second).reason == "a slip"
    for number in (first, second, third):
        assert versions(ledger, "order", number) == (first, second, third)
    assert [row["id"] for row in ledger.rows("SELECT id FROM current_orders")] == [third]


def test_a_row_is_corrected_once(ledger: Ledger) -> None:
    first = add(ledger, Order(name="lid"))
    second = correct(ledger, "order", first, name="lamp")
    with pytest.raises(InputError, match=f"order {first}: was corrected by {second}; correct {second}"):
        correct(ledger, "order", first, name="foot")
    with pytest.raises(InputError, match="there is no order 9; expected 1 to 2"):
        correct(ledger, "order", 9, name="foot")


def test_a_withdrawn_row_holds_no_more_and_may_come_back(ledger: Ledger) -> None:
    first = add(ledger, Lesson(text="never stir"))
    gone = withdraw(ledger, "lesson", first, reason="it was wrong")
    assert entries(ledger, Lesson) == []
    assert get(ledger, "lesson", gone).withdrawn
    back = correct(ledger, "lesson", gone, text="stir slowly")
    assert [each.id for each in entries(ledger, Lesson)] == [back]


def test_what_points_at_an_older_version_belongs_to_the_newer(ledger: Ledger) -> None:
    order = add(ledger, Order(name="lid"))
    solved = add(ledger, recipe(order))
    later = correct(ledger, "order", order, name="lamp")
    assert belonging(ledger, "order", later) == {"recipe": (solved,)}
    assert find_order(ledger, "lamp").id == later
    assert find_order(ledger, str(order)).id == later


def test_an_order_is_found_by_name_or_number(ledger: Ledger) -> None:
    with pytest.raises(InputError, match="there is none named `lid`"):
        find_order(ledger, "lid")
    first = add(ledger, Order(name="lid"))
    assert find_order(ledger, "lid").id == first
    second = add(ledger, Order(name="lid"))
    with pytest.raises(InputError, match=f"2 are named `lid`; expected a number: {first}, {second}"):
        find_order(ledger, "lid")
    assert find_order(ledger, str(second)).id == second
    with pytest.raises(InputError, match="there is none named `lit`; expected one of lid"):
        find_order(ledger, "lit")
    withdraw(ledger, "order", first, reason="cancelled")
    with pytest.raises(InputError, match=f"order {first}: was withdrawn"):
        find_order(ledger, str(first))


# Looking up.


def test_search_finds_the_nearest_first_in_the_light_asked_for(ledger: Ledger) -> None:
    add(ledger, recipe(lab_l=70.0, lab_a=21.0, lab_b=40.0))
    near = add(ledger, colour(70.2, 20.1, 40.0))
    add(ledger, colour(70.0, 20.0, 40.0, light="A"))
    add(ledger, colour(70.0, 20.0, 40.0, observer_degrees=2))
    add(ledger, colour(70.0, 20.0, 40.0, quantity="transmittance"))
    add(ledger, colour(20.0, 20.0, 40.0))
    withdrawn = add(ledger, colour(70.0, 20.0, 40.0))
    withdraw(ledger, "reading", withdrawn, reason="the lamp was cold")
    found = search(ledger, (70.0, 20.0, 40.0), within=3.0)
    assert [(each.kind, each.entry.id) for each in found] == [("reading", near), ("recipe", 1)]
    for each in found:
        assert each.delta_e == pytest.approx(float(colorimetry.difference((70.0, 20.0, 40.0), each.lab)))
    assert search(ledger, (70.0, 20.0, 40.0), within=0.1) == ()


def test_search_takes_a_spectrum_into_any_light(ledger: Ledger) -> None:
    grid = np.arange(400.0, 701.0, 10.0)
    spectrum = np.linspace(0.2, 0.8, grid.size)
    seen = {"wavelengths_nm": tuple(grid.tolist()), "spectrum": tuple(spectrum.tolist())}
    add(ledger, colour(1.0, 2.0, 3.0, **seen))
    view = colorimetry.viewing(grid, light="FL11", observer=2)
    lab = colorimetry.lab(spectrum, view)
    found = search(ledger, lab, light="f11", observer=2, within=1e-6)
    assert [each.entry.id for each in found] == [1]
    np.testing.assert_allclose(found[0].lab, lab)


@pytest.mark.parametrize("lab", [(1.0, 2.0), (1.0, 2.0, float("nan")), 5.0])
def test_search_refuses_what_is_no_colour(ledger: Ledger, lab: Any) -> None:
    with pytest.raises(InputError, match="expected three numbers"):
        search(ledger, lab)


def test_due_tells_what_has_run_out_the_first_first(ledger: Ledger) -> None:
    add(ledger, Reference(name="kept for ever"))
    late = add(ledger, Reference(name="R-2", expires_on="2025-05-31"))
    add(ledger, Reference(name="R-3", expires_on="2025-06-02"))
    early = add(ledger, Approval(approved_by="the customer", expires_on="2025-01-31"))
    assert [(kind, each.id) for kind, each in due(ledger, TODAY)] == [("approval", early), ("reference", late)]
    assert len(due(ledger, date(2025, 6, 2))) == 3
    correct(ledger, "approval", early, expires_on="2026-01-31")
    assert [(kind, each.id) for kind, each in due(ledger, TODAY)] == [("reference", late)]


def test_drift_is_told_against_the_first_reading_alike(ledger: Ledger) -> None:
    kept = add(ledger, Reference(name="R-1"))

    def read(*lab: float, **more: Any) -> int:
        return add(ledger, colour(*lab, reference_id=kept, **more))

    later = read(69.6, -7.9, 6.4, read_on="2025-06-01")
    first = read(70.0, -8.0, 6.0, read_on="2025-03-01")
    read(30.0, -8.0, 6.0, read_on="2025-03-01", backing="black")
    read(65.0, -8.0, 6.0, read_on="2025-04-01", geometry="45:0")
    add(ledger, colour(1.0, 1.0, 1.0))
    (found,) = drift(ledger, correct(ledger, "reference", kept, kept_at="drawer 2"))
    assert (found.first.id, found.later.id, found.days) == (first, later, 92)
    np.testing.assert_allclose(found.change, (-0.4, 0.1, 0.4))
    assert found.delta_e == pytest.approx(float(colorimetry.difference((70.0, -8.0, 6.0), (69.6, -7.9, 6.4))))


# Lots and repeats.


def lot(name: str, beside: str, strength: float | None, error: float | None = None, **more: Any) -> Lot:
    return Lot(material="white", lot=name, relative_to_lot=beside, strength=strength, strength_error=error, **more)


def test_strengths_multiply_along_a_chain_of_lots() -> None:
    chain = [lot("B", "A", 0.8, 0.0784), lot("C", "B", 1.25, 0.049), lot("X", "Y", 3.0)]
    found = relative_strength(chain, "C", to="A")
    assert found is not None
    assert found.value == pytest.approx(1.0)
    assert found.error == pytest.approx(np.hypot(0.05, 0.02), rel=1e-4)
    back = relative_strength(chain, "A", to="C")
    assert back is not None
    assert back.value == pytest.approx(1.0 / found.value)
    assert relative_strength(chain, "C", to="X") is None
    assert relative_strength([], "A", to="A") == Strength(1.0)
    again = relative_strength([*chain, lot("B", "A", 0.5)], "B", to="A")
    assert again is not None
    assert again.value == 0.5


def approved(ledger: Ledger, number: int, *, verdict: str = "approved", expires_on: str = "") -> int:
    word = Approval(recipe_id=number, approved_by="the customer", verdict=verdict, expires_on=expires_on)
    return add(ledger, word)


def test_repeat_divides_each_dose_by_the_strength_of_its_lot(ledger: Ledger, demo_palette: Palette) -> None:
    order = add(ledger, Order(name="lid"))
    approved(ledger, add(ledger, recipe(order)))
    add(ledger, lot("W-204", "W-203", 0.8))
    again = repeat(ledger, "lid", demo_palette, today=TODAY)
    assert again.blend == Blend("clear", {"white": 0.5 / 0.8, "yellow": 0.3})
    assert [(dose.was_lot, dose.lot) for dose in again.doses] == [("W-203", "W-204"), ("Y-117", "Y-117")]
    assert again.warnings == ()


def test_repeat_of_a_recipe_for_an_older_lot_than_the_swatches(ledger: Ledger, demo_palette: Palette) -> None:
    """The palette has moved on from W-202 to W-203 since the recipe was solved, and the workshop on to W-204."""
    order = add(ledger, Order(name="lid"))
    approved(ledger, add(ledger, recipe(order, lots={"white": "W-202", "yellow": "Y-117"})))
    add(ledger, lot("W-203", "W-202", 0.9))
    add(ledger, lot("W-204", "W-203", 0.8))
    white = repeat(ledger, "lid", demo_palette, today=TODAY).doses[0]
    assert white.percent == pytest.approx(0.5 / 0.72)
    assert white.against_palette.value == pytest.approx(0.8)


def test_repeat_takes_the_newest_approved_recipe(ledger: Ledger, demo_palette: Palette) -> None:
    order = add(ledger, Order(name="lid"))
    with pytest.raises(InputError, match=r"order 1 \(lid\): it has no recipe"):
        repeat(ledger, "lid", demo_palette, today=TODAY)
    first, second, third = (add(ledger, recipe(order, note=str(at))) for at in range(3))
    alone = repeat(ledger, "lid", demo_palette, today=TODAY)
    assert (alone.recipe.id, alone.approval) == (third, None)
    assert alone.warnings == ("recipe 3 was never approved; no recipe of this order is approved",)
    approved(ledger, second)
    assert repeat(ledger, "lid", demo_palette, today=TODAY).recipe.id == second
    approved(ledger, first)
    assert repeat(ledger, "lid", demo_palette, today=TODAY).recipe.id == first
    approved(ledger, first, verdict="refused")
    assert repeat(ledger, "lid", demo_palette, today=TODAY).recipe.id == second
    withdraw(ledger, "recipe", second, reason="it stayed tacky")
    left = repeat(ledger, "lid", demo_palette, today=TODAY)
    assert left.recipe.id == third


def test_repeat_warns(ledger: Ledger, demo_palette: Palette) -> None:
    order = add(ledger, Order(name="lid"))
    solved = add(ledger, recipe(order))
    approved(ledger, solved, expires_on="2025-05-01")
    correct(ledger, "recipe", solved, reason="0.5, not 0.05", loadings_percent={"white": 0.5})
    add(ledger, lot("W-204", "W-203", 0.8, hue_left_over_ciede2000=0.7))
    add(ledger, lot("W-205", "W-204", 0.3, verdict="reject"))
    told = " | ".join(repeat(ledger, "lid", demo_palette, today=TODAY).warnings)
    assert "approval 1 by the customer ran out on 2025-05-01; ask again" in told
    assert "approval 1 was of recipe 1, corrected since: 0.5, not 0.05" in told
    assert "white: lot W-204 differs by 0.7 CIEDE2000 that no dose mends" in told
    assert "white: lot W-205 was rejected; the doses are for lot W-204" in told


def test_repeat_leaves_a_dose_whose_lot_is_linked_to_nothing(ledger: Ledger, demo_palette: Palette) -> None:
    order = add(ledger, Order(name="lid"))
    approved(ledger, add(ledger, recipe(order)))
    add(ledger, lot("W-300", "W-299", 0.5))
    again = repeat(ledger, "lid", demo_palette, today=TODAY)
    assert again.doses[0].percent == 0.5
    assert "white: how strong lot W-300 is beside lot W-203 is not known; dose unchanged" in again.warnings


def test_repeat_predicts_for_the_haze_of_the_base_and_says_so(ledger: Ledger, demo_palette: Palette) -> None:
    order = add(ledger, Order(name="lid"))
    approved(ledger, add(ledger, recipe(order)))
    add(ledger, Lot(material="clear", lot="C-2", strength=1.3, strength_error=0.1))
    again = repeat(ledger, "lid", demo_palette, today=TODAY)
    assert again.blend.loadings == {"white": 0.5, "yellow": 0.3}
    assert again.warnings == ("clear: lot C-2 has 1.3 times the haze; the look is predicted for it, doses are not",)
    today = with_lots(demo_palette, again.against_palette)
    np.testing.assert_array_equal(today.k, demo_palette.k)
    np.testing.assert_allclose(today.s[0], 1.3 * demo_palette.s[0])
    np.testing.assert_array_equal(today.s[1:], demo_palette.s[1:])
    assert len(today.modes) == len(demo_palette.modes) + 1


def test_property_a_rescaled_dose_of_another_lot_looks_as_the_recipe(demo_palette: Palette) -> None:
    setting = Setting(thickness_mm=2.0)
    old = predict(demo_palette, Blend("clear", {"white": 0.5, "yellow": 0.3}), setting=setting)
    for strength in (0.7, 0.95, 1.3):
        today = with_lots(demo_palette, {"white": Strength(strength)})
        new = predict(today, Blend("clear", {"white": 0.5 / strength, "yellow": 0.3}), setting=setting)
        assert colorimetry.difference(old.lab, new.lab) < 0.02  # the base makes room for the dose
        assert new.expected_error == pytest.approx(old.expected_error, rel=0.02)
        assert new.warnings == old.warnings


def test_a_stronger_lot_was_cast_up_to_smaller_loadings(demo_palette: Palette) -> None:
    before = demo_palette.seen["clear"].max_loading
    after = with_lots(demo_palette, {"white": Strength(2.0)}).seen["clear"].max_loading
    assert after == {**before, "white": before["white"] / 2.0}


def test_reference_the_error_of_a_strength_widens_the_error_of_the_look(demo_palette: Palette) -> None:
    """The mode of a lot against differences: covariance grows by the slope by log strength, squared."""
    setting, blend, error, step = Setting(thickness_mm=2.0), Blend("clear", {"white": 0.2, "yellow": 0.1}), 0.05, 1e-3
    sure = predict(with_lots(demo_palette, {"white": Strength(0.9)}), blend, setting=setting)
    unsure = predict(with_lots(demo_palette, {"white": Strength(0.9, error)}), blend, setting=setting)
    up, down = (
        predict(with_lots(demo_palette, {"white": Strength(0.9 * np.exp(by))}), blend, setting=setting).lab
        for by in (step, -step)
    )
    slope = (up - down) / (2.0 * step)
    grown = (unsure.covariance - sure.covariance)[:3, :3]
    scale = np.trace(grown) / (error**2 * float(slope @ slope))
    assert scale >= 1.0 - 1e-3  # more where the swatches near it were predicted badly
    np.testing.assert_allclose(grown, scale * error**2 * np.outer(slope, slope), atol=1e-3 * np.trace(grown))
    assert unsure.expected_error > sure.expected_error


# Out and in.


def csv_rows(ledger: Ledger, table: str) -> list[dict[str, str]]:
    text = to_csv(ledger)[f"{table}.csv"].decode()
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_import_brings_everything_and_nothing_twice(ledger: Ledger, tmp_path: Path) -> None:
    numbers = fill(ledger)
    correct(ledger, "recipe", numbers["recipe"], note="later")
    withdraw(ledger, "lesson", numbers["lesson"], reason="wrong")
    data = to_json(ledger)
    with open_ledger(tmp_path / "other.sqlite3", palette_digest="e" * 64) as other:
        for _ in range(3):
            fill(other)
        before = all_rows(other)
        added = import_json(other, data, where="a.json")
        assert added == {TABLES[kind]: len(rows) for kind, rows in all_rows(ledger).items()}
        assert import_json(other, data, where="a.json") == dict.fromkeys(TABLES.values(), 0)
        after = all_rows(other)
        assert {kind: rows[: len(before[kind])] for kind, rows in ordered(after).items()} == ordered(before)
        for kind, rows in all_rows(ledger).items():
            theirs = {row["uid"]: row for row in after[kind]}
            for row in rows:
                assert linked(other, kind, theirs[row["uid"]]) == linked(ledger, kind, row)


def ordered(rows: dict[str, list[dict[str, Any]]]) -> dict[str, list[dict[str, Any]]]:
    return {kind: sorted(each, key=lambda row: row["id"]) for kind, each in rows.items()}


def linked(ledger: Ledger, kind: str, row: dict[str, Any]) -> dict[str, Any]:
    """A row with the uid of what it points at in place of numbers."""
    pointing = {"corrects": kind} | {each.name: each.points for each in columns(kind) if each.points}
    told = {name: value for name, value in row.items() if name != "id"}
    for name, other in pointing.items():
        told[name] = None if row[name] is None else get(ledger, other, row[name]).uid
    return told


def broken(change: str) -> Any:
    def spoil(content: dict[str, Any]) -> None:
        last = content["tables"]["lessons"][-1]
        match change:
            case "pointer":
                last["order_id"] = 77
            case "type":
                last["text"] = 3
            case "column":
                last["colour"] = "red"
            case "table":
                content["tables"]["colours"] = []
            case "version":
                content["version"] = FORMAT + 1
            case "format":
                content["format"] = "another"
            case "bounds":
                last["text"] = ""
            case "twice":
                content["tables"]["lessons"].append(last | {"uid": "f" * 32})
            case "own":
                del last["added_utc"]

    return spoil


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ("pointer", r"a.json, lessons\[0\]: order_id is 77; expected the id of a row of orders above it"),
        ("type", r"a.json, lessons\[0\]: Expected `str`, got `int`"),
        ("column", r"a.json, lessons\[0\]: holds `colour`"),
        ("table", "a.json: holds a table `colours`"),
        ("version", f"a.json: is of version {FORMAT + 1}, from a newer tint; update tint"),
        ("format", "a.json: is of the format `another`"),
        ("bounds", r"a.json, lessons\[0\]: a value is out of bounds; expected text is not empty"),
        ("twice", r"a.json, lessons\[1\]: id 1 is there twice"),
        ("own", r"a.json, lessons\[0\]: Object missing required field `added_utc`"),
    ],
)
def test_import_is_whole_or_not_at_all(ledger: Ledger, tmp_path: Path, change: str, told: str) -> None:
    fill(ledger)
    content = json.loads(to_json(ledger))
    broken(change)(content)
    with open_ledger(tmp_path / "other.sqlite3", palette_digest=DIGEST) as other:
        with pytest.raises(InputError, match=told):
            import_json(other, json.dumps(content).encode(), where="a.json")
        assert sum(len(rows) for rows in all_rows(other).values()) == 0


@pytest.mark.parametrize("data", [b"", b"{}", b"[]", b'{"format": "tint ledger"', b"\xff\xfe", b"1" * 5000])
def test_import_refuses_what_is_no_ledger(ledger: Ledger, data: bytes) -> None:
    with pytest.raises(InputError, match=r"a\.json: is not a ledger's JSON"):
        import_json(ledger, data, where="a.json")


def test_import_refuses_a_row_that_was_changed_by_hand(ledger: Ledger) -> None:
    fill(ledger)
    content = json.loads(to_json(ledger))
    content["tables"]["lots"][0]["strength"] = 0.9
    with pytest.raises(InputError, match=r"a.json, lots\[0\]: row 1 is not what lots 1 of this ledger is"):
        import_json(ledger, json.dumps(content).encode(), where="a.json")


def test_export_writes_json_or_tables_and_never_over_anything(ledger: Ledger, tmp_path: Path) -> None:
    numbers = fill(ledger)
    out = tmp_path / "all.json"
    assert export_ledger(ledger, out) == [out]
    assert json.loads(out.read_bytes())["tables"]["orders"][0]["customer_words"] == "as the glaze, »grün«"
    written = export_ledger(ledger, tmp_path / "tables")
    assert {each.name for each in written} == {f"{table}.csv" for table in TABLES.values()}
    (row,) = csv.DictReader((tmp_path / "tables" / "recipes.csv").read_text(encoding="utf-8").splitlines())
    assert (row["id"], row["thickness_mm"], row["reached"]) == (str(numbers["recipe"]), "3.0", "1")
    assert json.loads(row["loadings_percent"]) == {"white": 0.5, "yellow": 0.3}
    before = sorted(tmp_path.iterdir())
    for place in (out, tmp_path / "tables"):
        with pytest.raises(InputError, match="is there already"):
            export_ledger(ledger, place)
    for place in (tmp_path / "none" / "all.json", tmp_path / "none" / "tables"):
        with pytest.raises(InputError, match="cannot be written"):
            export_ledger(ledger, place)
    assert sorted(tmp_path.iterdir()) == before


def test_records_are_frozen_and_every_trial_field_is_named_with_its_unit() -> None:
    with pytest.raises(dataclasses.FrozenInstanceError):
        Trial().note = "x"  # type: ignore[misc]
    units = ("_mm", "_g", "_days", "_c", "_grams", "_percent", "_nm", "_degrees", "_ciede2000")
    unitless = {"lab_l", "lab_a", "lab_b", "contrast_ratio", "contrast_ratio_error", "strength", "strength_error"}
    numbers = [each for kind in KINDS for each in columns(kind) if each.kind in ("number", "whole") and not each.points]
    assert [each.name for each in numbers if each.name not in unitless and not each.name.endswith(units)] == []


# Premixes that are kept.


def test_premixes_are_what_batches_left_less_what_later_ones_took(ledger: Ledger) -> None:
    made = Kept(name="blue premix 1:79", pigment="blue", base="clear", part="A", whole=80, grams=6.0, lot="B-142")
    old = replace(made, name="white premix 1:1", pigment="white", whole=2, made_on="2024-12-01")
    first = add(ledger, Batch(base="clear", premixes=(made, old)))
    today = date.fromisoformat(entries(ledger, Batch)[0].added_utc[:10])
    there = replace(made, made_on=today.isoformat())
    assert premix_stock(ledger, today).usable == (there,)
    assert premix_stock(ledger, today, days=10_000).usable == (old, there)
    add(ledger, Batch(base="clear", premixes=(replace(there, grams=-6.0), replace(there, grams=1.5))))
    assert premix_stock(ledger, today).usable == (replace(there, grams=1.5),)
    add(ledger, Batch(base="clear", premixes=(replace(there, grams=-1.5),)))
    assert premix_stock(ledger, today).usable == ()
    assert premix_stock(ledger, today + timedelta(days=40)).usable == ()
    withdraw(ledger, "batch", first, reason="it was never poured")
    assert all(each.pigment == "blue" for each in premix_stock(ledger, today, days=10_000).usable)
