"""An empty swatches.xlsx to fill in: a sheet each, names to choose from, units below the headers, and what it means."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Literal, get_args

import msgspec
import numpy as np
from numpy.typing import ArrayLike

from tint.errors import InputError
from tint.materials import SEATS
from tint.swatches.keys import BaseTable, Cure, Geometry, InstrumentTable, PigmentTable, PriceUnit, WorkshopTable, meta
from tint.swatches.records import COLOUR_COLUMNS, NO_BACKING, QUANTITIES, READING_COLUMNS, SWATCH_COLUMNS
from tint.swatches.workbook import MIX

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

_ROWS = 1000  # that have drop-downs; common practice, no source
_UNITS = {
    "thickness_mm": "mm", "cure_c": "°C", "days": "days", "max_loading": "%", "density": "g/cm3", "repeatability":
    "reflectance, 0 to 1", "thickness_error_mm": "mm", "dose_error_percent": "%", "aperture_mm": "mm", "lit_mm": "mm",
    "scale_step_g": "g", "scale_max_g": "g", "dose_tolerance_percent": "%", "cup_cm3": "cm3", "mould_depths_mm": "mm",
    "waste_percent": "%", "haze_percent": "%",
}  # fmt: skip
_WORDS = {"geometry": get_args(Geometry), "cure": get_args(Cure), "price_unit": get_args(PriceUnit)}
_ABOUT = (
    "This workbook is a swatch folder for tint: leave it in a folder of its own under the name swatches.xlsx.",
    "palette: the instrument and the workshop, a key and its value in a row; what is not known stays blank.",
    "backings: the cards that castings are read over, a name in a row.",
    "bases: the uncoloured rubbers. mix_A and mix_B are parts by mass; add a column mix_C for a third part.",
    "pigments: a name in a row. cures: addition (platinum), condensation (tin), or both with a comma between.",
    "swatches: what was cast, a row each. Every pigment has a column; its cells are percent by mass of the whole mix, "
    "0.5 for half a percent. A blank cell is none.",
    "readings: what was measured, a row each. A card read bare has its name under swatch, backing and seat blank. "
    "Values are reflectance from 0 to 1, or percent where the row of units says %.",
    "Row 2 of swatches and readings holds the units; it may stay or go. Sheets of other names are not read.",
    "Decimal commas are understood, thousands separators are not. Do not keep swatches.csv or readings.csv beside it.",
    "tint check FOLDER names what is wrong by sheet, row and column. tint import FOLDER FILE --into-workbook writes "
    "readings into it; close it first.",
)


def blank_workbook(
    *,
    keys: Mapping[str, Any] | None = None,
    bases: Mapping[str, Mapping[str, Any]] | None = None,
    pigments: Mapping[str, Mapping[str, Any]] | None = None,
    backings: Sequence[str] = ("black", "white"),
    castings: Sequence[Mapping[str, Any]] = (),
    wavelengths: ArrayLike | None = None,
    colours: bool = False,
) -> bytes:
    """A workbook to fill in, as the bytes of swatches.xlsx; InputError if openpyxl is missing.

    What is known stands in it already: `keys` of `[instrument]` and `[workshop]`, and `name`; those of `bases` and
    `pigments` by their names, a part of the mix as `mix_A`; names of the cards; rows of `swatches`, a cell by column.
    `readings` has columns of wavelengths, by default 400 to 700 nm in steps of 10 [nm]; or of L*, a*, b*, if `colours`.
    """
    try:
        from openpyxl import Workbook
    except ImportError:
        mend = 'run pip install "tint[workbook]"'
        raise InputError("swatches.xlsx", "writing a workbook needs openpyxl", mend=mend) from None
    keys, bases, pigments = keys or {}, bases or {}, pigments or {}
    grid = np.arange(400.0, 701.0, 10.0) if wavelengths is None else np.asarray(wavelengths, dtype=float)
    book = Workbook()
    about = book.active
    about.title = "about"
    for line in _ABOUT:
        about.append([line])
    about.column_dimensions["A"].width = 120
    _palette(book.create_sheet("palette"), keys)
    _entries(book.create_sheet("backings"), ["name"], {name: {} for name in backings})
    _entries(book.create_sheet("bases"), ["name", *_base_columns(bases)], bases)
    _entries(book.create_sheet("pigments"), ["name", *PigmentTable.__struct_fields__], pigments)
    _swatches(book.create_sheet("swatches"), tuple(pigments), castings)
    values = dict.fromkeys(COLOUR_COLUMNS, "") if colours else {f"{nm:.10g}": "0 to 1" for nm in grid}
    _readings(book.create_sheet("readings"), backings, values)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _base_columns(bases: Mapping[str, Mapping[str, Any]]) -> list[str]:
    parts = dict.fromkeys([f"{MIX}A", f"{MIX}B", *(key for base in bases.values() for key in base if MIX in key)])
    columns = BaseTable.__struct_fields__
    at = columns.index("mix")
    return [*columns[:at], *parts, *columns[at + 1 :]]


def _palette(sheet: Worksheet, keys: Mapping[str, Any]) -> None:
    fields = [each for struct in (InstrumentTable, WorkshopTable) for each in msgspec.structs.fields(struct)]
    rows = [
        ("name", "", "text"),
        *((each.name, _UNITS.get(each.name, ""), meta(each.type).description) for each in fields),
    ]
    for cells in (("key", "value", "unit", "what is expected"), *((key, keys.get(key), *rest) for key, *rest in rows)):
        sheet.append(list(cells))
    for at, (key, *_) in enumerate(rows, start=2):
        if key in _WORDS:
            _choose(sheet, f"B{at}", ",".join(_WORDS[key]))
    _dressed(sheet, units=False, widths=(28, 20, 20, 60))


def _entries(sheet: Worksheet, columns: Sequence[str], entries: Mapping[str, Mapping[str, Any]]) -> None:
    sheet.append(list(columns))
    units = [_UNITS.get(column, "") for column in columns]
    if any(units):
        sheet.append(["", *units[1:]])
    for name, cells in entries.items():
        sheet.append([name, *(cells.get(column) for column in columns[1:])])
    for column, words in _WORDS.items():
        if column in columns:
            _choose(sheet, _below(sheet, columns.index(column)), ",".join(words))
    _dressed(sheet, units=any(units), widths=[16] * len(columns))


def _swatches(sheet: Worksheet, pigments: Sequence[str], castings: Sequence[Mapping[str, Any]]) -> None:
    columns = (*SWATCH_COLUMNS[:3], *pigments, *SWATCH_COLUMNS[3:])
    sheet.append(list(columns))
    sheet.append([_UNITS.get(column, "%" if column in pigments else "") for column in columns])
    for cells in castings:
        sheet.append([cells.get(column) for column in columns])
    _choose(sheet, _below(sheet, 1), f"=bases!$A$3:$A${_ROWS}")
    _within(sheet, _below(sheet, 2), 0.0, 100.0, "millimetres above 0 and up to 100")
    for at in range(len(pigments)):
        _within(sheet, _below(sheet, 3 + at), 0.0, 100.0, "percent of the whole mix, 0 to 100")
    _dressed(sheet, units=True, widths=[20, *[14] * (len(columns) - 1)])


def _readings(sheet: Worksheet, backings: Sequence[str], values: Mapping[str, str]) -> None:
    """A column for each value, with its unit below."""
    columns = [*READING_COLUMNS[:4], *values]
    sheet.append([int(each) if each.isdigit() else each for each in columns])
    sheet.append([*[""] * 4, *values.values()])
    # Castings and bare cards both: another name than a casting's is asked about, not refused.
    _choose(sheet, _below(sheet, 0), f"=swatches!$A$3:$A${_ROWS}", style="warning")
    for at, words in enumerate(([*backings, NO_BACKING], SEATS, QUANTITIES), start=1):
        _choose(sheet, _below(sheet, at), ",".join(words))
    _dressed(sheet, units=True, widths=[20, *[12] * 3, *[8] * len(values)])


# Drop-downs, bounds and looks.


def _below(sheet: Worksheet, at: int) -> str:
    """The cells of a column below its header and units."""
    letter = sheet.cell(1, at + 1).column_letter
    return f"{letter}3:{letter}{_ROWS}"


def _choose(sheet: Worksheet, cells: str, words: str, *, style: Literal["stop", "warning"] = "stop") -> None:
    from openpyxl.worksheet.datavalidation import DataValidation

    formula = words.removeprefix("=") if words.startswith("=") else f'"{words}"'
    error = "Choose one of the names in the list." if style == "stop" else "This is no casting: is it a card?"
    told = {"error": error, "errorStyle": style, "showErrorMessage": True}
    sheet.add_data_validation(DataValidation(sqref=cells, type="list", formula1=formula, allow_blank=True, **told))


def _within(sheet: Worksheet, cells: str, low: float, high: float, words: str) -> None:
    from openpyxl.worksheet.datavalidation import DataValidation

    told = {"error": f"Expected {words}.", "prompt": words, "showErrorMessage": True, "showInputMessage": True}
    bounds = {"operator": "between", "formula1": f"{low:g}", "formula2": f"{high:g}"}
    sheet.add_data_validation(DataValidation(sqref=cells, type="decimal", allow_blank=True, **bounds, **told))


def _dressed(sheet: Worksheet, *, units: bool, widths: Sequence[float]) -> None:
    from openpyxl.styles import Font, PatternFill

    for cell in sheet[1]:
        cell.font = Font(bold=True)
    for cell in sheet[2] if units else ():
        cell.font = Font(italic=True, color="666666")
        cell.fill = PatternFill("solid", fgColor="EEEEEE")
    sheet.freeze_panes = "B3" if units else "B2"
    for at, width in enumerate(widths, start=1):
        sheet.column_dimensions[sheet.cell(1, at).column_letter].width = width
