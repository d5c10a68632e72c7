"""A table of readings as a swatch folder has them, read leniently: a row matters only when it is asked for."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from tint.errors import InputError
from tint.spectra import Array, grid_fault
from tint.swatches.declaration import read_declaration
from tint.swatches.gather import Gathered
from tint.swatches.instruments import Measurement
from tint.swatches.instruments.measurement import PERCENT_ABOVE, highest_seen
from tint.swatches.records import COLOUR_COLUMNS, PALETTE_FILE, PHOTOGRAPH, READINGS_FILE
from tint.swatches.tables import decoded, number

_LARGEST = 1.5  # a reflectance that may yet be fluorescence
_NOISE = 0.002  # by which noise may carry a dark reading below 0

Cells = tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class PlainTable:
    """Commas between columns, the header in the first row, the name in the first column.

    Parameters
    ----------
    columns : tuple of str
        The header.
    rows : tuple of (int, tuple of str)
        Number and cells of every row below it, blank ones left out.
    places : tuple of int
        The columns that hold the values.
    wavelengths : tuple of float
        Theirs [nm]; none where they are L, a, b.
    """

    file: str
    columns: Cells
    rows: tuple[tuple[int, Cells], ...]
    places: tuple[int, ...]
    wavelengths: tuple[float, ...]

    def told(self, row: Cells) -> dict[str, str]:
        """Cells of a row by column, in small letters."""
        cells = (*row, *[""] * (len(self.columns) - len(row)))
        return {column.lower(): cell for column, cell in zip(self.columns, cells, strict=False)}

    @property
    def in_percent(self) -> bool:
        """Whether at least half of the rows reach in the visible what only percent can, as where files are imported."""
        tops = []
        for _, row in self.rows:
            read = zip(self._numbers(row), self.wavelengths, strict=False)
            known = np.array([(value, nm) for value, nm in read if value is not None]).reshape(-1, 2)
            if known.size:
                tops.append(highest_seen(known[:, 0], known[:, 1]))
        return bool(tops) and sum(top > PERCENT_ABOVE for top in tops) * 2 >= len(tops)

    def measurement(self, at: int, row: Cells, *, in_percent: bool) -> Measurement:
        """A row as a measurement; reflectance as a fraction.

        Raises
        ------
        InputError
            If a cell is none, or no part of a colour.
        """
        numbers, told = self._numbers(row), self.told(row)
        values = np.array([np.nan if value is None else value for value in numbers])
        source = PHOTOGRAPH if told.get("source", "").lower() == PHOTOGRAPH else ""
        start = Measurement(name=row[0], file=self.file, place=f"row {at}", source=source)
        if not self.wavelengths:
            if np.isnan(values).any():
                raise InputError(start.where, "a cell is not a number", "a colour as L, a, b")
            light, observer = told.get("light", ""), told.get("observer", "")
            if not light and not observer:
                light, observer = _of_folder(Path(self.file))
            return replace(start, lab=values, light=light, observer=observer)
        values = values / 100.0 if in_percent else values
        if not can_be_reflectance(values):
            expected = f"numbers from 0 to {100 if in_percent else 1}"
            raise InputError(start.where, "a cell is not a reflectance", expected)
        return replace(start, wavelengths=np.array(self.wavelengths), values=np.maximum(values, 0.0))

    def _numbers(self, row: Cells) -> Iterator[float | None]:
        return (number(row[at]) if at < len(row) else None for at in self.places)


def can_be_reflectance(values: Array) -> bool:
    """Whether values are reflectance as fractions, but for noise; they may be a little above 1."""
    return bool(np.all((values >= -_NOISE) & (values <= _LARGEST)))


def plain_table(text: str, file: str) -> PlainTable:
    """The table in a text.

    Raises
    ------
    InputError
        If it has no rows, or its first holds neither a grid of wavelengths nor L, a, b.
    """
    try:
        lines = [tuple(cell.strip() for cell in row) for row in csv.reader(io.StringIO(text, newline=""))]
    except csv.Error as error:
        raise InputError(file, "is not a table in UTF-8", mend="save it as CSV, UTF-8") from error
    lines = [row for row in lines if any(row)]
    if len(lines) < 2:
        expected = "a header with wavelengths in nm, or L, a, b, then a row a reading"
        raise InputError(file, "holds no reading", expected)
    columns, rows = lines[0], tuple(enumerate(lines[1:], start=2))
    grid = [(at, nm) for at, cell in enumerate(columns) if (nm := number(cell)) is not None]
    if not grid and set(COLOUR_COLUMNS) <= set(columns):
        places = tuple(columns.index(column) for column in COLOUR_COLUMNS)
        return PlainTable(file=file, columns=columns, rows=rows, places=places, wavelengths=())
    fault = grid_fault([nm for _, nm in grid]) if grid else "no column is a wavelength in nm"
    if fault:
        raise InputError(f"{file}, row 1", fault, "wavelengths in nm as columns")
    places, wavelengths = tuple(at for at, _ in grid), tuple(nm for _, nm in grid)
    return PlainTable(file=file, columns=columns, rows=rows, places=places, wavelengths=wavelengths)


def _of_folder(file: Path) -> tuple[str, str]:
    """Light and observer of the readings of a swatch folder, which palette.toml tells."""
    declaration = file.with_name(PALETTE_FILE)
    if file.name != READINGS_FILE or not declaration.is_file():
        return "", ""
    faults = Gathered(PALETTE_FILE)
    text = decoded(declaration.read_bytes(), faults)
    declared = read_declaration(text, faults, folder_name="") if text else None
    own = declared.instrument if declared else None
    return (own.light or "", str(own.observer or "")) if own else ("", "")
