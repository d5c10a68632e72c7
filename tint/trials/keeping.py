"""A trial that was read and measured, taken into the swatch folder as a swatch: the palette learns from it too."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from tint import colorimetry
from tint.errors import FolderError, Gathered, InputError
from tint.files import write_all
from tint.palette import Palette
from tint.swatches.casts import plain_columns, read_casts
from tint.swatches.contents import BOOK_FILE, Content, contents_of
from tint.swatches.declaration import Declared, read_declaration
from tint.swatches.measured import read_measured
from tint.swatches.records import COLOURS, PALETTE_FILE, PHOTOGRAPH, READINGS_FILE, SWATCHES_FILE
from tint.swatches.rewriting import Written, as_written, cells_of, rewritten, with_column
from tint.swatches.tables import read_table
from tint.swatches.text import decoded
from tint.trials.trial import Trial, TrialReading


def keep_as_swatch(folder: str | Path, trial: Trial, palette: Palette, *, name: str) -> tuple[Path, Path]:
    """Write a trial into swatches.csv and its readings into readings.csv, both or neither.

    Parameters
    ----------
    folder : path-like
    trial : Trial
        As it was weighed, measured and read.
    palette : Palette
        Of the folder: the grid that the trial's readings are on.
    name : str
        What the swatch is called.

    Returns
    -------
    tuple of Path
        The two files. The palette has to be fitted again.

    Raises
    ------
    InputError
        If the tables stand in a workbook, the name is taken, the readings are of another kind than the folder's, or
        another program has written meanwhile.
    FolderError
        If the folder is at fault, or would be.
    """
    place = Path(folder)
    contents = contents_of(place)
    if any(contents[file].is_sheet for file in (SWATCHES_FILE, READINGS_FILE)):
        found = "the tables stand in this workbook, which is written to by `tint import --into-workbook` alone"
        raise InputError(
            str(place / BOOK_FILE), found, mend="put the row into its sheet swatches, and import the reading"
        )
    declared = _declared(place, contents)
    cast, read = (as_written(_bytes(place, contents[file]), file, folder=str(place)) for file in _TABLES)
    data = {
        place / SWATCHES_FILE: _with_cast(cast, trial, declared, name),
        place / READINGS_FILE: _with_readings(read, trial, palette, name),
    }
    _check(place, declared, *data.values())
    write_all(data, was={place / SWATCHES_FILE: cast.data, place / READINGS_FILE: read.data})
    return place / SWATCHES_FILE, place / READINGS_FILE


_TABLES = (SWATCHES_FILE, READINGS_FILE)


def _bytes(place: Path, content: Content) -> bytes:
    if content.fault is not None or content.data is None:
        raise FolderError(str(place), [content.fault] if content.fault else [])
    return content.data


def _declared(place: Path, contents: Mapping[str, Content]) -> Declared:
    faults = Gathered(PALETTE_FILE)
    text = decoded(_bytes(place, contents[PALETTE_FILE]), faults, utf8_only=True)
    declared = None if text is None else read_declaration(text, faults, folder_name=place.resolve().name)
    if declared is None or any(fault.grave for fault in faults.faults):
        raise FolderError(str(place), [fault for fault in faults.faults if fault.grave])
    return declared


def _with_cast(written: Written, trial: Trial, declared: Declared, name: str) -> bytes:
    """swatches.csv with a row more; columns that it lacks are put behind the others."""
    table = written.table
    taken = [row.number for row in table.rows if table.cell(row, "swatch") == name]
    if taken:
        raise InputError(f"{SWATCHES_FILE}, row {taken[0]}", f"{name} is there already", mend="choose another name")
    told = {
        "swatch": name, "base": trial.blend.base, "thickness_mm": f"{trial.thickness_mm:.6g}",
        **{pigment: f"{loading:.6g}" for pigment, loading in trial.blend.loadings.items() if loading},
        "cure_c": "" if trial.cure_c is None else f"{trial.cure_c:g}",
        "days": "" if trial.days_of_cure is None else f"{trial.days_of_cure:g}",
        "mould": trial.mould, "finish": trial.finish, "lot": trial.lot, "note": trial.note,
    }  # fmt: skip
    plain = dict(zip(plain_columns(table.columns, declared), table.columns, strict=True))
    cells: dict[str, str] = {}
    for column, cell in told.items():
        if not cell:
            continue
        own = plain.get(column, column)
        written = with_column(written, own)
        is_number = column not in ("swatch", "base", "mould", "finish", "lot", "note")
        cells[own] = cell.replace(".", written.decimal) if is_number else cell
    return rewritten(written, {}, [cells])


def _with_readings(written: Written, trial: Trial, palette: Palette, name: str) -> bytes:
    """readings.csv with the trial's readings behind the others."""
    table = written.table
    photographed = [table.cell(row, "source") == PHOTOGRAPH for row in table.rows]
    source = PHOTOGRAPH if photographed and all(photographed) else ""
    rows = []
    for reading in trial.readings:
        seat = "" if reading.over == "none" else reading.seat
        label = {"swatch": name, "backing": reading.over, "seat": seat, "source": source}
        rows.append(cells_of(written, label, _values(written, reading, palette, name)))
    return rewritten(written, {}, rows)


def _values(written: Written, reading: TrialReading, palette: Palette, name: str) -> np.ndarray:
    """As the folder holds them: a spectrum in the order of its columns, or a colour."""
    own = palette.instrument
    if written.kind == COLOURS:
        light, observer = own.colours_for
        view = colorimetry.viewing(palette.wavelengths, light=light, observer=observer)
        return colorimetry.lab(reading.values, view)
    if reading.noise > 1.0:
        found = "the trial was read as a colour, but the folder holds spectra"
        raise InputError(name, found, mend="read its spectrum")
    grid = np.array(list(written.wavelengths.values()))
    return np.asarray(reading.values[np.abs(palette.wavelengths - grid[:, None]).argmin(axis=1)])


def _check(place: Path, declared: Declared, swatches: bytes, readings: bytes) -> None:
    """Raise FolderError for what `tint check` would refuse."""
    of_casts, of_readings = Gathered(SWATCHES_FILE), Gathered(READINGS_FILE)
    texts = decoded(swatches, of_casts), decoded(readings, of_readings)
    cast = read_table(texts[0] or "", of_casts, first="swatch")
    read = read_table(texts[1] or "", of_readings, first="swatch")
    if cast is not None and read is not None:
        casts = read_casts(cast, declared, of_casts)
        read_measured(read, declared, casts.rows, of_readings)
    grave = [fault for fault in (*of_casts.faults, *of_readings.faults) if fault.grave]
    if grave:
        raise FolderError(str(place), grave)
