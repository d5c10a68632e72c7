"""How a casting was cured and kept, from optional columns of swatches.csv."""

from __future__ import annotations

from tint.materials import Base
from tint.swatches.gather import Gathered
from tint.swatches.records import Conditions
from tint.swatches.tables import Row, Table, number, why_no_number

RANGES = {"cure_c": (0.0, 300.0, "degrees Celsius"), "days": (0.0, 10000.0, "days")}
_MENDS = {
    "cure_c": "write the temperature of the cure in degrees Celsius, or clear the cell",
    "days": "write the days from the end of the cure to the reading, or clear the cell",
}


def read_conditions(row: Row, table: Table, base: Base | None, faults: Gathered) -> Conditions | None:
    """The conditions of a row's casting; None when a number among them is bad.

    Parameters
    ----------
    row : Row
    table : Table
        swatches.csv.
    base : Base or None
        Of the casting: its lot holds where the row names none.
    faults : Gathered
        Takes what is wrong.
    """
    numbers = {}
    good = True
    for column, (least, most, unit) in RANGES.items():
        cell = table.cell(row, column)
        value = number(cell) if cell else None
        if cell and (value is None or not least <= value <= most):
            found, mend = why_no_number(cell) if value is None else (f"{column} {value:g}", _MENDS[column])
            expected = f"expected {unit} from {least:g} to {most:g}, or a blank cell"
            faults.grave(found, row=row.number, column=column, expected=expected, mend=mend)
            good = False
        numbers[column] = value
    if not good:
        return None
    return Conditions(
        cure_c=numbers["cure_c"],
        days=numbers["days"],
        mould=table.cell(row, "mould"),
        finish=table.cell(row, "finish"),
        lot=table.cell(row, "lot") or (base.lot if base is not None else None) or "",
    )
