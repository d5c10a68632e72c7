"""A row of a fan: what was asked, the best recipe and what it will look like, as a line of a table and back."""

from __future__ import annotations

import csv
import hashlib
import io
import math
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

import msgspec
from msgspec import Struct

from tint.errors import InputError
from tint.fans.solving import Solved
from tint.fans.wish import Common, Wish
from tint.files import neutral, restored

_DOSE = " %"  # behind the name of a pigment, in the header
Lab = tuple[float, float, float]


class Row(Struct, kw_only=True, frozen=True):
    """One target of a fan and its best recipe.

    Parameters
    ----------
    number : int
        Its place among the targets, from 1.
    name : str
    target : tuple of float, optional
        CIELAB asked for [-].
    base : str
        Empty where there is no recipe.
    loadings : dict of str to float
        [% by mass of the finished mix]
    lab : tuple of float, optional
        CIELAB of the recipe [-].
    srgb : str
        The same as `#rrggbb`, for a screen.
    contrast_ratio, delta_e, expected_error, chance, price_per_kg : float, optional
        As in `tint.Recipe`; None where nobody can tell.
    reached : bool
        Whether colour and opacity are met; else the recipe is the nearest.
    reason : str
        Why they are not, or why there is no recipe.
    asked : str
        A digest of all that was asked: equal digests ask for the same.
    """

    number: int
    name: str
    asked: str
    target: Lab | None = None
    base: str = ""
    loadings: dict[str, float] = {}
    lab: Lab | None = None
    srgb: str = ""
    contrast_ratio: float | None = None
    delta_e: float | None = None
    expected_error: float | None = None
    chance: float | None = None
    price_per_kg: float | None = None
    reached: bool = False
    reason: str = ""


_FACTS = ("contrast_ratio", "delta_e", "expected_error", "chance", "price_per_kg")
_LAB = ("L", "a", "b")
_HEAD = ("number", "name", *(f"target_{axis}" for axis in _LAB), "base")
_TAIL = (*_LAB, "srgb", *_FACTS, "reached", "reason", "asked")


def asked_of(wish: Wish, common: Common) -> str:
    """A digest of all that one wish asks for."""
    return hashlib.sha256(f"{wish!r}\0{common!r}".encode()).hexdigest()[:16]


def row_of(solved: Solved, asked: str) -> Row:
    """The row of a target that was solved."""
    told: dict[str, Any] = {"number": solved.number, "name": solved.wish.name, "asked": asked}
    if solved.answer is None:
        return Row(**told, target=solved.wish.lab, reason=solved.fault)
    best = solved.answer.best
    look = best.appearance
    facts: dict[str, float | None] = {
        "contrast_ratio": look.contrast_ratio,
        "delta_e": best.delta_e,
        "expected_error": look.expected_error,
        "chance": best.chance,
        "price_per_kg": best.price_per_kg,
    }
    return Row(
        **told,
        target=_lab(solved.answer.target.lab),
        base=best.blend.base,
        loadings={name: float(dose) for name, dose in best.blend.loadings.items()},
        lab=_lab(look.lab),
        srgb=look.srgb,
        **_numbers(facts),
        reached=best.reached,
        reason=best.reason,
    )


def _lab(values: Iterable[float]) -> Lab:
    light, red, yellow = map(float, values)
    return light, red, yellow


def _numbers(facts: Mapping[str, float | None]) -> dict[str, Any]:
    return {name: None if x is None or not math.isfinite(x) else float(x) for name, x in facts.items()}


def table_of(rows: Iterable[Row], pigments: Iterable[str]) -> Iterator[bytes]:
    """Rows as comma-separated values in UTF-8, a header first, a column for every pigment; a line at a time.

    Numbers have all their digits: what is read back is what was found.
    """
    names = list(pigments)
    yield _line([*_HEAD, *(f"{name}{_DOSE}" for name in names), *_TAIL])
    for row in rows:
        doses = [row.loadings.get(name, "") for name in names]
        yield _line([*_head(row), *doses, *_tail(row)])


def _head(row: Row) -> list[object]:
    return [row.number, row.name, *(row.target or ("", "", "")), row.base]


def _tail(row: Row) -> list[object]:
    facts = [getattr(row, name) for name in _FACTS]
    told = ["" if value is None else value for value in facts]
    return [*(row.lab or ("", "", "")), row.srgb, *told, "yes" if row.reached else "no", row.reason, row.asked]


def _line(cells: Iterable[object]) -> bytes:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerow([neutral(cell) for cell in cells])
    return out.getvalue().encode()


def read_rows(path: Path) -> Iterator[Row]:
    """The rows of a table that `table_of` wrote, one at a time.

    Raises
    ------
    InputError
        If it is another table.
    """
    form = "a table that `tint fan` wrote"
    try:
        with path.open(encoding="utf-8-sig", newline="") as stream:
            table = csv.DictReader(stream)
            missing = [name for name in (*_HEAD, *_TAIL) if name not in (table.fieldnames or ())]
            if missing:
                raise InputError(str(path), f"has no column {missing[0]}", form)
            for cells in table:
                where = f"{path}, row {table.line_num}"
                try:
                    yield _row({name: restored(cell or "") for name, cell in cells.items() if name})
                except (ValueError, msgspec.ValidationError) as error:
                    raise InputError(where, f"is not as it was written ({error})", form) from error
    except (UnicodeDecodeError, csv.Error) as error:
        raise InputError(str(path), f"is no such table ({error})", form) from error
    except OSError as error:
        raise InputError(str(path), f"cannot be read ({error.strerror})", mend="check the name") from error


def _row(cells: Mapping[str, str]) -> Row:
    doses = {name.removesuffix(_DOSE): cell for name, cell in cells.items() if name.endswith(_DOSE) and cell}
    return Row(
        number=int(cells["number"]),
        name=cells["name"],
        asked=cells["asked"],
        target=_three(cells, "target_"),
        base=cells["base"],
        loadings={name: float(cell) for name, cell in doses.items()},
        lab=_three(cells, ""),
        srgb=cells["srgb"],
        **_numbers({name: float(cells[name]) if cells[name] else None for name in _FACTS}),
        reached=cells["reached"] == "yes",
        reason=cells["reason"],
    )


def _three(cells: Mapping[str, str], before: str) -> Lab | None:
    told = [cells[before + axis] for axis in _LAB]
    return _lab(map(float, told)) if all(told) else None
