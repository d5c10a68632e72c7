"""A row of a fan, as a line of a table and back."""

from __future__ import annotations

import csv
import io
import itertools
import math
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from msgspec import Struct

from tint.errors import InputError
from tint.files import csv_table, restored

_DOSE = " %"  # behind the name of a pigment, in the header
_GROUP = 4096  # rows of a Parquet file that are held at a time; no source
_FORM = "a table that `tint fan` wrote"
Lab = tuple[float, float, float]


class Row(Struct, kw_only=True, frozen=True):
    """One target of a fan and its best recipe."""

    number: int  # its place among the targets, from 1
    name: str
    asked: str  # a digest of all that was asked: equal digests ask for the same
    target: Lab | None = None  # CIELAB asked for [-]
    base: str = ""  # empty where there is no recipe
    walls_mm: tuple[float, ...] = ()  # thinnest first; empty likewise [mm]
    loadings: dict[str, float] = {}  # [% by mass of the finished mix]
    lab: Lab | None = None  # CIELAB of the recipe [-]
    srgb: str = ""  # the same as `#rrggbb`, for a screen
    # as in `tint.Recipe`; None where nobody can tell
    contrast_ratio: float | None = None
    delta_e: float | None = None
    expected_error: float | None = None
    chance: float | None = None
    price_per_kg: float | None = None
    reached: bool = False  # whether colour and opacity are met; else the recipe is the nearest
    reason: str = ""  # why they are not, or why there is no recipe


_FACTS = ("contrast_ratio", "delta_e", "expected_error", "chance", "price_per_kg")
_LAB = ("L", "a", "b")
_HEAD = ("number", "name", *(f"target_{axis}" for axis in _LAB), "base", "walls_mm")
_TAIL = (*_LAB, "srgb", *_FACTS, "reached", "reason", "asked")


def lab_of(values: Iterable[float]) -> Lab:
    """CIELAB as a row has it."""
    light, red, yellow = map(float, values)
    return light, red, yellow


def known(facts: Mapping[str, float | None]) -> dict[str, Any]:
    """Facts as a row has them: None where nobody can tell."""
    return {name: None if x is None or not math.isfinite(x) else float(x) for name, x in facts.items()}


Written = Callable[[Iterable[Row], Iterable[str]], bytes | Iterable[bytes]]


def writer_of(path: Path) -> Written:
    """What makes a table of that name: Parquet or comma-separated values.

    InputError if pyarrow is not installed for a file `.parquet`.
    """
    if path.suffix != ".parquet":
        return table_of
    _arrow()
    return parquet_of


def table_of(rows: Iterable[Row], pigments: Iterable[str]) -> Iterator[bytes]:
    """Rows as comma-separated values in UTF-8, a header first, a column for every pigment; a line at a time.

    Numbers have all their digits: what is read back is what was found.
    """
    names = list(pigments)
    yield csv_table([_columns(names)])
    for row in rows:
        yield csv_table([[_cell(value) for value in _values(row, names)]])


def parquet_of(rows: Iterable[Row], pigments: Iterable[str]) -> bytes:
    """The same columns as a Parquet file: numbers are numbers, and empty where nobody can tell.

    InputError if pyarrow is not installed.
    """
    arrow, parquet = _arrow()
    names = list(pigments)
    text = ("name", "base", "walls_mm", "srgb", "reason", "asked")
    kinds = {"number": arrow.int64(), "reached": arrow.bool_(), **dict.fromkeys(text, arrow.string())}
    schema = arrow.schema([(name, kinds.get(name, arrow.float64())) for name in _columns(names)])
    out, left = io.BytesIO(), iter(rows)
    with parquet.ParquetWriter(out, schema) as writer:
        while some := [_values(row, names) for row in itertools.islice(left, _GROUP)]:
            writer.write_table(arrow.table([list(each) for each in zip(*some, strict=True)], schema=schema))
    return out.getvalue()


def _columns(pigments: Sequence[str]) -> list[str]:
    return [*_HEAD, *(f"{name}{_DOSE}" for name in pigments), *_TAIL]


def _values(row: Row, pigments: Sequence[str]) -> list[Any]:
    """What stands in the columns of a row, None where it is empty."""
    nothing = (None, None, None)
    head = [row.number, row.name, *(row.target or nothing), row.base, " ".join(map(str, row.walls_mm))]
    doses = [row.loadings.get(name) for name in pigments]
    facts = [getattr(row, name) for name in _FACTS]
    return [*head, *doses, *(row.lab or nothing), row.srgb, *facts, row.reached, row.reason, row.asked]


def _cell(value: object) -> object:
    return "" if value is None else ("yes" if value else "no") if isinstance(value, bool) else value


def read_rows(path: Path) -> Iterator[Row]:
    """The rows of a table that `table_of` or `parquet_of` wrote, one at a time.

    InputError if it is another table, or pyarrow is not installed for a file `.parquet`.
    """
    try:
        yield from _read_parquet(path) if path.suffix == ".parquet" else _read_csv(path)
    except OSError as error:
        raise InputError(str(path), f"cannot be read ({error.strerror or error})", mend="check the name") from error


def _read_csv(path: Path) -> Iterator[Row]:
    try:
        with path.open(encoding="utf-8-sig", newline="") as stream:
            table = csv.DictReader(stream)
            _check(path, table.fieldnames or ())
            for cells in table:
                values = {restored(name): restored(cell or "") for name, cell in cells.items() if name}
                yield _row(f"{path}, row {table.line_num}", values | {"reached": values["reached"] == "yes"})
    except (UnicodeDecodeError, csv.Error) as error:
        raise InputError(str(path), f"is no such table ({error})", _FORM) from error


def _read_parquet(path: Path) -> Iterator[Row]:
    arrow, parquet = _arrow()
    try:
        with parquet.ParquetFile(path) as file:
            _check(path, file.schema_arrow.names)
            rows = (row for batch in file.iter_batches(batch_size=_GROUP) for row in batch.to_pylist())
            for number, values in enumerate(rows, start=1):
                yield _row(f"{path}, row {number}", {k: "" if v is None else v for k, v in values.items()})
    except (arrow.ArrowException, UnicodeDecodeError) as error:
        raise InputError(str(path), "is no such table, or a damaged one", _FORM) from error


def _arrow() -> tuple[Any, Any]:
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError as error:
        raise InputError(".parquet", "pyarrow is not installed", mend="run `pip install 'tint[parquet]'`") from error
    return pyarrow, pyarrow.parquet


def _check(path: Path, columns: Collection[str]) -> None:
    missing = [name for name in (*_HEAD, *_TAIL) if name not in columns]
    if missing:
        raise InputError(str(path), f"has no column {missing[0]}", _FORM)


def _row(where: str, values: Mapping[str, Any]) -> Row:
    """A row from its cells; an empty text is a number that is not there."""
    doses = {name.removesuffix(_DOSE): cell for name, cell in values.items() if name.endswith(_DOSE) and cell != ""}
    try:
        return Row(
            number=int(values["number"]),
            target=_three(values, "target_"),
            walls_mm=tuple(map(_finite, str(values["walls_mm"]).split())),
            loadings={name: _finite(cell) for name, cell in doses.items()},
            lab=_three(values, ""),
            **known({name: None if values[name] == "" else float(values[name]) for name in _FACTS}),
            **{name: values[name] for name in ("name", "asked", "base", "srgb", "reached", "reason")},
        )
    except (ValueError, TypeError) as error:
        raise InputError(where, f"is not as it was written ({error!s:.80})", _FORM) from error


def _three(values: Mapping[str, Any], before: str) -> Lab | None:
    told = [values[before + axis] for axis in _LAB]
    return None if "" in told else lab_of(map(_finite, told))


def _finite(cell: str | float) -> float:
    number = float(cell)
    if not math.isfinite(number):
        raise ValueError(f"{cell!s:.20} is no number")
    return number
