"""A ledger as other programs read it: one JSON file, or a folder of CSV tables; and JSON taken in from elsewhere."""

from __future__ import annotations

import csv
import io
import json
import os
import shutil
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

import msgspec

from tint import jsonable
from tint.errors import InputError
from tint.files import neutral, write_all, write_whole
from tint.ledger import schema
from tint.ledger.entries import OWN, Entry, Own, entries, insert, stored
from tint.ledger.file import Ledger, now_utc, tint_version
from tint.ledger.records import KINDS, LAB, TABLES, Weighing, columns
from tint.materials import Pigment
from tint.turns import half_name, turn
from tint.weighing import changes_of

NAME = "tint ledger"  # `format` of the JSON


class _Exported(msgspec.Struct, kw_only=True):
    format: str
    version: int
    tables: dict[str, list[dict[str, Any]]]


def as_dict(entry: Entry[Any]) -> dict[str, Any]:
    """An entry as JSON has it: its own fields, then its content's."""
    content: dict[str, Any] = msgspec.to_builtins(entry.content)
    return {name: getattr(entry, name) for name in OWN} | content


def to_json(ledger: Ledger) -> bytes:
    """The whole ledger, corrected and withdrawn rows too, as JSON in UTF-8."""
    with ledger.at_one_moment():
        tables = {TABLES[kind]: [as_dict(each) for each in _all(ledger, kind)] for kind in KINDS}
    told = {
        "format": NAME,
        "version": schema.FORMAT,
        "tint_version": tint_version(),
        "exported_utc": now_utc(),
        "tables": tables,
    }
    return json.dumps(told, ensure_ascii=False, allow_nan=False, indent=1).encode()


def to_csv(ledger: Ledger) -> dict[str, bytes]:
    """The whole ledger as CSV in UTF-8: file name to content, a file a table, a column a field, JSON in open cells."""
    with ledger.at_one_moment():
        return {f"{TABLES[kind]}.csv": _csv(kind, _all(ledger, kind)) for kind in KINDS}


def export_ledger(ledger: Ledger, place: str | Path) -> list[Path]:
    """Write the whole ledger, whole or not at all: into a file that ends in `.json`, or a folder for CSV tables.

    Returns what was written. InputError if the place is taken or cannot be written.
    """
    place = Path(place)
    if os.path.lexists(place):
        raise InputError(str(place), "is there already", mend="choose another name")
    if place.suffix.lower() == ".json":
        write_whole(place, to_json(ledger))
        return [place]
    tables = to_csv(ledger)
    try:
        with turn(place.parent):
            half = half_name(place)
            try:
                half.mkdir()
                write_all({half / name: content for name, content in tables.items()})
                half.rename(place)
            finally:
                shutil.rmtree(half, ignore_errors=True)
    except InputError as error:  # of a file that is not yet in its place
        raise InputError(str(place), error.found, mend=error.mend) from error
    except OSError as error:
        raise InputError(str(place), f"cannot be written ({error.strerror})", mend="choose another place") from error
    return [place / name for name in tables]


def _all(ledger: Ledger, kind: str) -> list[Entry[Any]]:
    return sorted(entries(ledger, KINDS[kind], all_rows=True), key=lambda each: each.id)


def _csv(kind: str, held: Iterable[Entry[Any]]) -> bytes:
    stream = io.StringIO(newline="")
    table = csv.writer(stream)  # RFC 4180
    table.writerow([*OWN, *(column.name for column in columns(kind))])
    for each in held:
        own = [getattr(each, name) for name in OWN]
        cells = [int(cell) if isinstance(cell, bool) else cell for cell in own] + [*stored(each.content).values()]
        table.writerow([neutral(cell) for cell in cells])
    return stream.getvalue().encode()


# What other commands wrote as JSON, as columns: a recipe, and a weigh sheet as the batch that was weighed.

# Column to key, where they differ, of a recipe and of the setting that it was solved in.
_OF_RECIPE = {
    "loadings_percent": "loadings",
    "expected_error_ciede2000": "expected_error",
    "to_target_ciede2000": "delta_e",
}
_OF_SETTING = {"backing": "over", "observer_degrees": "observer"}


def of_recipe(
    answer: jsonable.Answer, recipe: jsonable.Recipe, pigments: Mapping[str, Pigment | None]
) -> dict[str, Any]:  # fmt: skip
    """The columns of a recipe that an answer tells of, with the lots of the `pigments` that it doses.

    What has no column stands under `more`.
    """
    names = [column.name for column in columns("recipe")]
    own, setting = (msgspec.structs.asdict(each) for each in (recipe, answer.setting or jsonable.Setting()))
    told = {name: own.get(_OF_RECIPE.get(name, name), setting.get(_OF_SETTING.get(name, name))) for name in names}
    told |= {"optics": answer.optics, **dict(zip(LAB, recipe.lab or (None, None, None), strict=True))}
    told["lots"] = {name: each.lot for name in recipe.loadings if (each := pigments.get(name)) and each.lot}
    known = (*names, *_OF_RECIPE.values(), "lab")
    told["more"] = {key: each for key, each in own.items() if key not in known and each not in (None, "", ())}
    return {name: value for name, value in told.items() if value is not None}


def of_sheet(sheet: jsonable.Sheet) -> dict[str, Any]:
    """The columns of a batch that a weigh sheet tells of."""
    weighed = tuple(Weighing(what=line.what, part=line.part or "", grams=line.grams) for line in sheet.lines)
    told: dict[str, Any] = {"base": sheet.base, "batch_g": sheet.batch_g, "total_grams": sheet.total_grams}
    told |= {"weighed": weighed, "premixes": changes_of(sheet, where="weigh sheet")}
    return {name: value for name, value in told.items() if value is not None}


# Taking in.


def import_json(ledger: Ledger, data: bytes, *, where: str) -> dict[str, int]:
    """Add what `to_json` wrote of another ledger, all of it or nothing; returns how many rows of each table.

    Rows keep their uid, time, digest and version; they get new numbers, and what pointed at the old ones points at the
    new. A row whose uid is here already is passed over. InputError, which calls the file `where`, if it is no such
    JSON, a row points at what is not in it, or a row is here with another content.
    """
    told = _decoded(data, where)
    added = dict.fromkeys(TABLES.values(), 0)
    numbers: dict[str, dict[int, int]] = {kind: {} for kind in KINDS}
    with ledger.transaction():
        for kind, table in TABLES.items():
            for at, row in enumerate(told.tables.get(table, ())):
                old, values = _values(kind, row, numbers, f"{where}, {table}[{at}]")
                if old in numbers[kind]:
                    raise InputError(f"{where}, {table}[{at}]", f"id {old} is there twice", "expected each once")
                known = ledger.rows(f"SELECT * FROM {table} WHERE uid = ?", values["uid"])
                if not known:
                    try:
                        numbers[kind][old] = insert(ledger, kind, values)
                    except InputError as error:
                        raise error.at(f"{where}, {table}[{at}]") from error
                    added[table] += 1
                elif dict(known[0]) != values | {"id": known[0]["id"]}:
                    found = f"row {old} is not what {table} {known[0]['id']} of this ledger is, though both are one"
                    raise InputError(f"{where}, {table}[{at}]", found, mend="one of the files was changed by hand")
                else:
                    numbers[kind][old] = int(known[0]["id"])
    return added


def _decoded(data: bytes, where: str) -> _Exported:
    expected = "expected what `tint ledger export` writes"
    try:
        told = msgspec.json.decode(data, type=_Exported)
    except RecursionError as error:
        raise InputError(where, "is nested too deeply", expected) from error
    except (msgspec.MsgspecError, ValueError) as error:
        raise InputError(where, f"is not a ledger's JSON ({str(error)[:120]})", expected) from error
    if told.format != NAME:
        raise InputError(where, f"is of the format `{told.format[:60]}`", expected)
    if not 0 <= told.version <= schema.FORMAT:
        raise InputError(where, f"is of version {told.version}, from a newer tint", mend="update tint")
    unknown = [table for table in told.tables if table not in TABLES.values()]
    if unknown:
        raise InputError(where, f"holds a table `{unknown[0]}`", "expected " + ", ".join(TABLES.values()))
    return told


def _values(
    kind: str, row: Mapping[str, Any], numbers: Mapping[str, Mapping[int, int]], where: str
) -> tuple[int, dict[str, Any]]:
    """A row's old number, and its columns with what it points at by the numbers of this ledger."""
    own_columns = {column.name for column in columns(kind)}
    unknown = [name for name in row if name not in own_columns and name not in OWN]
    if unknown:
        raise InputError(where, f"holds `{unknown[0]}`", f"no such column of a {kind}")
    try:
        own = msgspec.to_builtins(msgspec.convert({name: row[name] for name in OWN if name in row}, Own))
        content = msgspec.convert({name: row[name] for name in own_columns if name in row}, KINDS[kind])
    except msgspec.MsgspecError as error:
        raise InputError(where, str(error)) from error
    values: dict[str, Any] = own | {"withdrawn": int(own["withdrawn"])} | stored(content)
    old = values.pop("id")
    pointing = {"corrects": kind, **{each.name: each.points for each in columns(kind) if each.points}}
    for name, other in pointing.items():
        if values[name] is not None:
            if values[name] not in numbers[other]:
                raise InputError(
                    where, f"{name} is {values[name]}", f"expected the id of a row of {TABLES[other]} above it"
                )
            values[name] = numbers[other][values[name]]
    return old, values
