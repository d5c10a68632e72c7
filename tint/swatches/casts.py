"""swatches.csv: what was cast, row by row."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from tint.errors import Gathered, did_you_mean, one_of, shown, table_header
from tint.swatches.declaration import Declared
from tint.swatches.records import PALETTE_FILE, SWATCH_COLUMNS, Conditions, Swatch
from tint.swatches.tables import Row, Table, check_marks
from tint.swatches.text import number, why_no_number, without_percent

LARGEST_THICKNESS_MM = 100.0  # no source, chosen by eye
_FULL = 100.0 + 1e-9  # percent; loadings such as 33.3 are sums of rounded figures


@dataclass(frozen=True)
class Casts:
    """The good swatches, and the row of every name: a swatch at fault is still known by its name."""

    swatches: tuple[Swatch, ...]
    rows: dict[str, int]


def read_casts(table: Table, declared: Declared, faults: Gathered) -> Casts:
    """The swatches of swatches.csv, among the bases, pigments and backings that are declared."""
    table = replace(table, columns=plain_columns(table.columns, declared))
    _check_columns(table, declared, faults)
    check_marks(table, ("thickness_mm", *RANGES, *declared.pigments), faults)
    if not table.rows:
        faults.grave("there is no swatch below the header", mend="write one row for each swatch")
    rows: dict[str, int] = {}
    swatches = []
    for row in table.rows:
        is_named = _name_is_good(table.cell(row, "swatch"), row, rows, declared, faults)
        swatches.append(_swatch(row, table, declared, faults) if is_named and row.whole else None)
    return Casts(tuple(filter(None, swatches)), rows)


# What a spreadsheet may call a column, and what stands behind a number: `White [%]`, `thickness (mm)`, `2 mm`.
_UNIT = re.compile(r"\s*(?:[\[(]\s*)?(?<![^\W_])(mm|%|percent|°? ?C|days?)(?:\s*[\])])?\s*$", re.IGNORECASE)
_MILLIMETRES = re.compile(r"(?<=[\d.,])\s*mm$", re.IGNORECASE)
_OTHER_LENGTH = re.compile(r"(?<=[\d.,])\s*(cm|µm|um|inch|in|\")$", re.IGNORECASE)


def plain_columns(columns: tuple[str, ...], declared: Declared) -> tuple[str, ...]:
    """The columns by the names they must have, where a capital or a unit behind is all that differs."""
    known = {each.lower(): each for each in (*SWATCH_COLUMNS, *declared.pigments)}
    plain = {"thickness": "thickness_mm", "haze": "haze_percent"}
    known |= {short: column for short, column in plain.items() if short not in declared.pigments}
    found = []
    for column in columns:
        names = (column, column.lower(), _UNIT.sub("", column).lower())
        named = next((known[name] for name in names[1:] if name in known), column)
        found.append(column if column in known.values() or named in columns else named)
    return tuple(found) if len(set(found)) == len(set(columns)) else columns


def _check_columns(table: Table, declared: Declared, faults: Gathered) -> None:
    known = (*SWATCH_COLUMNS, *declared.pigments)
    for column in ("base", "thickness_mm"):
        if column not in table.columns:
            faults.grave(f"the column {column} is missing", row=table.header_row, mend="add it to the header")
    for column in table.columns:
        length = re.fullmatch(r"(?:thickness|depth)[ _]*[\[(]?(cm|inch|in|µm|um)[\])]?", column, re.IGNORECASE)
        if length:
            mend = "write millimetres under thickness_mm"
            faults.grave(f"the thickness is in {length[1]}", row=table.header_row, column=column, mend=mend)
        elif column and column not in known:
            declare = f"if it is a pigment, write {table_header('pigments', column)} in {PALETTE_FILE}"
            otherwise = f"{declare}; else put what it says under note, and take the column out"
            found, mend = f"{PALETTE_FILE} declares no such pigment", did_you_mean(column, known, otherwise=otherwise)
            faults.grave(found, row=table.header_row, column=column, expected=one_of(known), mend=mend)


def _name_is_good(name: str, row: Row, rows: dict[str, int], declared: Declared, faults: Gathered) -> bool:
    """Check a swatch's name, and note its row when it is the first to bear it."""
    if not name:
        faults.grave("the swatch has no name", row=row.number, column="swatch", mend="give every swatch a name")
    elif name in rows:
        found = f"{shown(name)} is already the swatch of row {rows[name]}"
        mend = "rename one of them; replicate readings belong in readings.csv"
        faults.grave(found, row=row.number, column="swatch", expected="expected a name of its own", mend=mend)
    else:
        rows[name] = row.number
        if name not in declared.backings:
            return True
        mend = "rename the swatch, for readings.csv must tell the two apart"
        faults.grave(f"{shown(name)} is the name of a backing", row=row.number, column="swatch", mend=mend)
    return False


def _swatch(row: Row, table: Table, declared: Declared, faults: Gathered) -> Swatch | None:
    base = table.cell(row, "base")
    has_base = "base" in table.columns
    if has_base and base not in declared.bases:
        found = f"{shown(base)} is not a base of {PALETTE_FILE}" if base else "the cell is blank"
        mend = did_you_mean(base, declared.bases) if base else ""
        faults.grave(found, row=row.number, column="base", expected=one_of(declared.bases), mend=mend)
    thickness = _thickness(row, table, faults)
    loadings = _loadings(row, table, declared, faults)
    numbers = optional_numbers(row, table, faults)
    if not has_base or base not in declared.bases or thickness is None or loadings is None or numbers is None:
        return None
    haze, own = numbers["haze_percent"], declared.bases.get(base)  # its lot holds where the row names none
    swatch = Swatch(
        name=table.cell(row, "swatch"),
        base=base,
        thickness_mm=thickness,
        loadings=loadings,
        note=table.cell(row, "note"),
        conditions=Conditions(
            cure_c=numbers["cure_c"],
            days=numbers["days"],
            mould=table.cell(row, "mould"),
            finish=table.cell(row, "finish"),
            lot=table.cell(row, "lot") or (own.lot if own is not None else None) or "",
        ),
        haze=None if haze is None else haze / 100.0,
        row=row.number,
    )
    _warn_of_limits(swatch, declared, faults)
    return swatch


def _thickness(row: Row, table: Table, faults: Gathered) -> float | None:
    if "thickness_mm" not in table.columns:
        return None
    cell = _MILLIMETRES.sub("", table.cell(row, "thickness_mm"))
    expected = f"expected millimetres above 0 and up to {LARGEST_THICKNESS_MM:g}"
    value = number(cell)
    if value is None:
        found, mend = why_no_number(cell)
        other = _OTHER_LENGTH.search(cell)
        mend = f"it says {other[1]}: write it in millimetres" if other else mend
        faults.grave(found, row=row.number, column="thickness_mm", expected=expected, mend=mend)
    elif not 0 < value <= LARGEST_THICKNESS_MM:
        mend = "is it in µm? write it in mm" if value > LARGEST_THICKNESS_MM else "measure the swatch again, in mm"
        faults.grave(f"thickness {value:g}", row=row.number, column="thickness_mm", expected=expected, mend=mend)
    else:
        return value
    return None


_FROM_GRAMS = "divide the grams by those of the whole mix, times 100"


def _loadings(row: Row, table: Table, declared: Declared, faults: Gathered) -> dict[str, float] | None:
    loadings = {}
    good = True
    expected = "expected percent by mass of the finished mix, from 0 to 100"
    for pigment in declared.pigments:
        cell = table.cell(row, pigment)
        if not cell:
            continue
        value = number(without_percent(cell))
        if value is None:
            found, mend = why_no_number(cell)
            mend = _FROM_GRAMS if re.search(r"\d\s*(?:g|grams?|gr\.?)$", cell, re.IGNORECASE) else mend
            faults.grave(found, row=row.number, column=pigment, expected=expected, mend=mend)
            good = False
        elif not 0 <= value <= 100:
            faults.grave(f"loading {value:g}", row=row.number, column=pigment, expected=expected, mend="correct it")
            good = False
        elif value > 0:
            loadings[pigment] = value
    total = sum(loadings.values())
    if good and total > _FULL:
        found, rest = f"the loadings add up to {total:g} percent", "expected at most 100, the rest being base"
        faults.grave(found, row=row.number, expected=rest, mend="correct the loadings")
        good = False
    return loadings if good else None


def _warn_of_limits(swatch: Swatch, declared: Declared, faults: Gathered) -> None:
    """Warn of a cast past a declared limit: it teaches all the same, but the declaration may be wrong."""
    base, total, correct = declared.bases[swatch.base], swatch.blend.total, "correct the one or the other"
    if base is not None and total > base.max_loading * (1 + 1e-9):
        found = f"the loadings add up to {total:g} percent"
        expected = f"base {shown(base.name)} declares max_loading {base.max_loading:g}"
        faults.warn(found, row=swatch.row, expected=expected, mend=correct)
    for name, loading in swatch.loadings.items():
        pigment = declared.pigments[name]
        if pigment is None:
            continue
        if pigment.max_loading is not None and loading > pigment.max_loading * (1 + 1e-9):
            expected = f"the pigment declares max_loading {pigment.max_loading:g}"
            faults.warn(f"loading {loading:g}", row=swatch.row, column=name, expected=expected, mend=correct)
        if base is not None and pigment.cures is not None and base.cure not in pigment.cures:
            found = f"cast in {shown(base.name)}, a base of {base.cure} cure"
            expected = "the pigment is not declared safe with that cure"
            mend = f"add it to cures in {PALETTE_FILE} if the swatch cured well"
            faults.warn(found, row=swatch.row, column=name, expected=expected, mend=mend)


# What optional columns say of a casting: how it was cured and kept, and its haze.

RANGES = {
    "cure_c": (0.0, 300.0, "degrees Celsius"),
    "days": (0.0, 10000.0, "days"),
    "haze_percent": (0.0, 100.0, "percent"),
}
_MENDS = {
    "cure_c": "write the temperature of the cure in degrees Celsius, or clear the cell",
    "days": "write the days from the end of the cure to the reading, or clear the cell",
    "haze_percent": "write the haze in percent, or clear the cell",
}


def optional_numbers(row: Row, table: Table, faults: Gathered) -> dict[str, float | None] | None:
    """The numbers of a row's columns of RANGES, None where nothing is written; None in all when one is bad."""
    numbers = {}
    good = True
    for column, (least, most, unit) in RANGES.items():
        cell = table.cell(row, column)
        value = number(without_percent(cell)) if cell else None
        if cell and (value is None or not least <= value <= most):
            found, mend = why_no_number(cell) if value is None else (f"{column} {value:g}", _MENDS[column])
            expected = f"expected {unit} from {least:g} to {most:g}, or a blank cell"
            faults.grave(found, row=row.number, column=column, expected=expected, mend=mend)
            good = False
        numbers[column] = value
    return numbers if good else None
