"""Rows of the ledger: records added, corrected and withdrawn, and read back as they were added."""

from __future__ import annotations

import json
import math
import sqlite3
import uuid
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import date, datetime, timedelta
from typing import Any, Generic, TypeVar

import msgspec

from tint import kinds
from tint.errors import InputError
from tint.ledger.file import Ledger, now_utc, tint_version
from tint.ledger.records import KINDS, TABLES, Record, columns, kind_of

R = TypeVar("R", bound=Record)

_LARGEST = 2**63 - 1  # SQLite, "Datatypes", section 2: an INTEGER has 8 bytes at most


class Own(msgspec.Struct, kw_only=True, frozen=True):
    """What every entry has of its own, in a file that may be damaged."""

    id: int  # its number in this file
    uid: str  # its name in all ledgers
    # when, with which swatches, by which tint
    added_utc: str
    palette_digest: str
    tint_version: str
    # the number of the entry that this one stands for, why it was corrected or withdrawn, and whether it no longer
    # holds; what a row of an earlier version may lack
    corrects: int | None = None
    reason: str = ""
    withdrawn: bool = False


class Entry(Own, Generic[R], kw_only=True, frozen=True):
    """A record as it stands in the ledger."""

    content: R


OWN = Own.__struct_fields__


def add(
    ledger: Ledger, record: Record, *, corrects: int | None = None, reason: str = "", withdrawn: bool = False
) -> int:
    """Add a record; when this returns it is on the disk, unless a transaction of the caller's is open.

    `corrects` is the entry of the same kind that it stands for from now on, or that it says is `withdrawn`. Returns the
    entry's number. InputError if a value is out of bounds, it points at what is not there, or was corrected before;
    JobError if the disk is full or another program holds the ledger.
    """
    kind = kind_of(record)
    values = stored(record)
    with ledger.transaction():
        for column in columns(kind):
            if column.points and values[column.name] is not None:
                _check_there(ledger, column.points, values[column.name], f"{kind}, {column.name}")
        if corrects is not None:
            _check_newest(ledger, kind, corrects)
        if not withdrawn:
            _check_days(ledger, kind, values)
        own = {
            "uid": uuid.uuid4().hex,
            "added_utc": now_utc(),
            "palette_digest": ledger.palette_digest,
            "tint_version": tint_version(),
            "corrects": corrects,
            "reason": _text(reason, f"{kind}, reason"),
            "withdrawn": int(withdrawn),
        }
        return insert(ledger, kind, own | values)


def correct(ledger: Ledger, kind: str, number: int, *, reason: str = "", **changes: Any) -> int:
    """Add an entry that stands for another from now on: the same but for the changes; InputError, JobError as `add`."""
    with ledger.transaction():
        return add(ledger, replace(get(ledger, kind, number).content, **changes), corrects=number, reason=reason)


def withdraw(ledger: Ledger, kind: str, number: int, *, reason: str) -> int:
    """Say that an entry no longer holds, and that nothing stands for it; InputError, JobError as `add`."""
    with ledger.transaction():
        content = get(ledger, kind, number).content
        return add(ledger, content, corrects=number, reason=reason, withdrawn=True)


def get(ledger: Ledger, kind: str, number: int) -> Entry[Any]:
    """The entry of a kind and number; InputError if there is none."""
    _check_there(ledger, kind, number, kind)
    return entry_of(ledger, kind, ledger.rows(f"SELECT * FROM {TABLES[kind]} WHERE id = ?", number)[0])


def entries(ledger: Ledger, record: type[R], *, all_rows: bool = False) -> list[Entry[R]]:
    """Entries of a kind, in the order in which they were entered: those that hold now, or all that were ever added.

    A clock may have been set back, so the numbers tell the order, not the times. A correction takes the place of the
    entry that it stands for: who mends a word on an old lot does not make it the newest.
    """
    kind = record.__name__.lower()
    table, held = TABLES[kind], TABLES[kind] if all_rows else f"current_{TABLES[kind]}"
    first = (
        f"WITH RECURSIVE first (id, place) AS (SELECT id, id FROM {table} WHERE corrects IS NULL"
        f" UNION ALL SELECT t.id, first.place FROM {table} t JOIN first ON t.corrects = first.id)"
    )
    sql = f"{first} SELECT held.* FROM {held} held LEFT JOIN first USING (id) ORDER BY coalesce(place, id), id"
    return [entry_of(ledger, kind, row) for row in ledger.rows(sql)]


def versions(ledger: Ledger, kind: str, number: int) -> tuple[int, ...]:
    """Numbers of an entry and of all that it corrects or that correct it, oldest first."""
    table = TABLES[kind]
    back = f"SELECT t.id, t.corrects FROM {table} t JOIN back ON t.id = back.corrects"
    forth = f"SELECT t.id, t.corrects FROM {table} t JOIN forth ON t.corrects = forth.id"
    start = f"SELECT id, corrects FROM {table} WHERE id = ?1"
    rows = ledger.rows(
        f"WITH RECURSIVE back (id, corrects) AS ({start} UNION {back}), forth (id, corrects) AS ({start} UNION {forth})"
        " SELECT id FROM back UNION SELECT id FROM forth ORDER BY id",
        number,
    )
    return tuple(int(row["id"]) for row in rows)


# To and from the columns.


def stored(record: Record) -> dict[str, Any]:
    """The values of a record as its columns hold them.

    InputError if a value is of the wrong type, not finite, or text that is not Unicode.
    """
    kind = kind_of(record)
    try:
        # By name: what stands at its default is left out of a record's own dict.
        told = msgspec.to_builtins({column.name: getattr(record, column.name) for column in columns(kind)})
        msgspec.convert(told, type(record))
    except (msgspec.MsgspecError, UnicodeEncodeError, TypeError) as error:
        raise InputError(kind, str(error)) from error
    return {column.name: _stored(told[column.name], column.kind, f"{kind}, {column.name}") for column in columns(kind)}


def _stored(value: Any, kind: str, where: str) -> Any:
    if kind in ("object", "list"):
        if not kinds.is_shallow(value):
            raise InputError(where, "is nested too deeply", f"expected at most {kinds.MOST_NESTED} levels")
        try:
            return _text(json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":")), where)
        except ValueError as error:
            raise InputError(where, f"cannot be kept ({error})", "expected finite numbers and text") from error
    if isinstance(value, str):
        return _day(value, where) if kind == "date" else _text(value, where)
    if isinstance(value, float | int) and not math.isfinite(value):
        raise InputError(where, f"{value}", "expected a finite number")
    return int(value) if isinstance(value, bool) else value


def _day(value: str, where: str) -> str:
    try:
        return value and date.fromisoformat(value).isoformat()
    except ValueError:
        raise InputError(where, f"`{value:.40}` is not a day", "expected YYYY-MM-DD") from None


def _text(value: str, where: str) -> str:
    if "\x00" in value or value != value.encode("utf-8", "ignore").decode("utf-8"):
        raise InputError(where, "holds what is not text", "expected Unicode text without NUL")
    return value


def entry_of(ledger: Ledger, kind: str, row: sqlite3.Row) -> Entry[Any]:
    """A row of a kind's table as an entry; InputError if it does not hold what it should: the file is damaged."""
    lacking = [name for name in (*OWN, *(column.name for column in columns(kind))) if name not in row.keys()]  # noqa: SIM118
    if lacking:
        found = f"its table {TABLES[kind]} has no column {lacking[0]}"
        raise InputError(str(ledger.path), found, mend="bring back a copy")
    own = {name: row[name] for name in OWN} | {"withdrawn": bool(row["withdrawn"])}
    try:
        msgspec.convert(own, Own)
        datetime.fromisoformat(own["added_utc"])
        told = {column.name: _restored(row[column.name], column.kind) for column in columns(kind)}
        return Entry(content=msgspec.convert(told, KINDS[kind]), **own)
    except (msgspec.MsgspecError, ValueError, TypeError, RecursionError) as error:
        where = f"{ledger.path}, {TABLES[kind]} {row['id']}"
        raise InputError(where, f"is damaged ({error!s:.200})", mend="bring back a copy") from error


def _restored(value: Any, kind: str) -> Any:
    if kind in ("object", "list"):
        return json.loads(value)
    if kind == "date" and value:
        date.fromisoformat(value)
    return bool(value) if kind == "flag" and value is not None else value


def insert(ledger: Ledger, kind: str, values: Mapping[str, Any]) -> int:
    """Insert a row as its columns hold it; within a transaction."""
    for name, value in values.items():
        if isinstance(value, int) and abs(value) > _LARGEST:
            raise InputError(TABLES[kind], f"{name} is {str(value)[:20]} ... and too large", "18 digits at most")
    names, marks = ", ".join(values), ", ".join("?" * len(values))
    ledger.rows(f"INSERT INTO {TABLES[kind]} ({names}) VALUES ({marks})", *values.values())
    return int(ledger.rows("SELECT last_insert_rowid()")[0][0])


def _check_there(ledger: Ledger, kind: str, number: int, where: str) -> None:
    table = TABLES[kind]
    if 0 < number <= _LARGEST and ledger.rows(f"SELECT 1 FROM {table} WHERE id = ?", number):
        return
    last = ledger.rows(f"SELECT max(id) FROM {table}")[0][0]
    if not last:
        raise InputError(where, f"there is no {kind} yet", mend=f"add one: tint ledger add {kind} FOLDER")
    raise InputError(where, f"there is no {kind} {number}", f"expected 1 to {last}")


def _check_newest(ledger: Ledger, kind: str, number: int) -> None:
    _check_there(ledger, kind, number, f"{kind}, corrects")
    later = ledger.rows(f"SELECT id FROM {TABLES[kind]} WHERE corrects = ?", number)
    if later:
        newest = versions(ledger, kind, number)[-1]
        raise InputError(f"{kind} {number}", f"was corrected by {later[0]['id']}", mend=f"correct {newest}")


# Days of what a record says has happened; a record has one of them at most.
_HAPPENED = ("made_on", "read_on", "received_on", "approved_on")


def _check_days(ledger: Ledger, kind: str, values: Mapping[str, Any]) -> None:
    """What has happened is not yet to come, nor older than the swatch that it tells of, nor run out on its day."""
    name = next((each for each in _HAPPENED if values.get(each)), "")
    if not name:
        return
    day, where, today = values[name], f"{kind}, {name}", date.today()
    if day > (today + timedelta(days=1)).isoformat():  # a day more, for who is east of this computer
        raise InputError(where, f"{day} is yet to come", f"a day up to {today}", "correct it, or this computer's clock")
    ends = values.get("expires_on")
    if ends and ends <= day:
        raise InputError(f"{kind}, expires_on", f"{ends} is not after {name} {day}", "a later day")
    swatch = values.get("reference_id")
    made = get(ledger, "reference", swatch).content.made_on if swatch else ""
    if day < made:
        raise InputError(where, f"{day} is before reference {swatch} was made, {made}", "a day from then on")


def pointers(kind: str) -> Iterator[tuple[str, str]]:
    """Every kind and column that point at a kind."""
    for other in KINDS:
        for column in columns(other):
            if column.points == kind:
                yield other, column.name
