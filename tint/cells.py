"""Cells of CSV tables: words that a spreadsheet would take for a formula get an apostrophe before them.

A cell that begins with `=`, `+`, `-`, `@`, a tabulator or a line end is worked out by spreadsheets. Behind an
apostrophe it is words. A cell that begins with apostrophes and such a sign gets one more, so that what is read back is
what was written.
"""

from __future__ import annotations

import re

_FORMULA = re.compile("'*[-=+@\t\r\n\uff0b\uff0d\uff1d\uff20]")  # the last four are the signs in full width


def neutral(cell: object) -> object:
    """A cell as it is to be written; numbers and what is no formula stay as they are."""
    return f"'{cell}" if isinstance(cell, str) and _FORMULA.match(cell) else cell


def restored(cell: str) -> str:
    """What was given to `neutral`."""
    return cell[1:] if cell.startswith("'") and _FORMULA.match(cell) else cell
