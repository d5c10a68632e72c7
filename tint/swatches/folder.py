"""The swatch folder as a whole: three files, or the sheets of a workbook, read together, every fault gathered."""

from __future__ import annotations

import hashlib
import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from tint.errors import Fault, FolderError, Gathered, shown
from tint.materials import Workshop
from tint.swatches.casts import Casts, read_casts
from tint.swatches.checks import (
    warn_dragged_depths,
    warn_dragged_values,
    warn_finishes,
    warn_thin_casts,
    warn_thin_readings,
    warn_units,
    warn_unread,
)
from tint.swatches.declaration import Declared, check_light, fitted_part, read_declaration, read_workshop
from tint.swatches.measured import Measured, read_measured
from tint.swatches.records import INPUT_FILES, PALETTE_FILE, READINGS_FILE, SPECTRA, SWATCHES_FILE, SwatchFolder
from tint.swatches.tables import Table, read_table
from tint.swatches.text import decoded, number, without_percent
from tint.swatches.values import reflectance, wavelength_of
from tint.swatches.workbook import BOOK_FILE, read_book


@dataclass(frozen=True, kw_only=True)
class Content:
    """The content of one of the three files; `file` is what messages call it, `fault` says why there is none."""

    file: str
    data: bytes | None = None
    fault: Fault | None = None
    is_missing: bool = False

    @property
    def is_sheet(self) -> bool:
        """Whether it stands in the workbook."""
        return self.file.startswith(BOOK_FILE)


def contents_of(folder: Path) -> Mapping[str, Content]:
    """What the three files of a folder hold, by their names; what stands in sheets of swatches.xlsx needs no file.

    A sheet is text between tabs; sheets of the palette are TOML.
    """
    files = {file: _file(folder, file) for file in INPUT_FILES}
    book = folder / BOOK_FILE
    if not book.is_file():
        return files
    try:
        sheets = {file: Content(file=called, data=data) for file, (called, data) in read_book(book).items()}
    except FolderError as error:
        return {file: Content(file=BOOK_FILE, fault=error.faults[0]) for file in INPUT_FILES}
    return {file: _chosen(each, sheets.get(file), folder) for file, each in files.items()}


def _file(folder: Path, file: str) -> Content:
    try:
        return Content(file=file, data=(folder / file).read_bytes())
    except FileNotFoundError:
        taken = f"`tint import {folder} FILE` takes readings over"
        begin = taken if file == READINGS_FILE else "`tint start` makes one"
        fault = Fault(file=file, found="the file is missing", expected=f"expected it in {folder}", mend=begin)
        return Content(file=file, fault=fault, is_missing=True)
    except (OSError, ValueError) as error:
        reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
        return Content(file=file, fault=Fault(file=file, found=f"it cannot be opened: {reason}"))


def _chosen(file: Content, sheet: Content | None, folder: Path) -> Content:
    """The sheet or the file; both only where they say the same."""
    if sheet is None:
        if file.is_missing:
            found = f"neither the file nor its sheet in {BOOK_FILE} is there; a hidden sheet is not read"
            return Content(file=file.file, fault=Fault(file=file.file, found=found), is_missing=True)
        return file
    if file.is_missing or _is_same(file, sheet):
        return sheet
    found = f"it contradicts {shown(sheet.file)}, which stands in {folder}"
    mend = f"keep one of the two: move {file.file} away, or clear what the workbook says of it"
    fault = Fault(file=file.file, found=found, expected="expected the same in both", mend=mend)
    return Content(file=file.file, fault=fault)


def _is_same(one: Content, two: Content) -> bool:
    """Whether two contents say the same in other spelling."""
    texts = [decoded(each.data or b"", Gathered(""), utf8_only=one.file == PALETTE_FILE) for each in (one, two)]
    if texts[0] is None or texts[1] is None:
        return False
    if one.file == PALETTE_FILE:
        try:
            return tomllib.loads(texts[0]) == tomllib.loads(texts[1])
        except (ValueError, RecursionError):  # TOMLDecodeError, and what int() and datetime refuse
            return False
    tables = [read_table(text, Gathered(""), first="swatch") for text in texts if text]
    said = [_said(table) for table in tables if table is not None]
    return len(said) == 2 and said[0] == said[1]


def _said(table: Table) -> list[dict[str, float | str]]:
    """The cells of a table that hold something, row by row, as numbers where they are."""
    held = [zip(table.columns, row.cells, strict=True) for row in table.rows]
    return [{column: _as_said(cell, table.with_unit(column)) for column, cell in cells if cell} for cells in held]


def _as_said(cell: str, column: str) -> float | str:
    """A reading as a fraction, any other number as it stands, or the words."""
    nm = wavelength_of(column.removesuffix(" [%]"))
    value = number(without_percent(cell)) if nm is None else reflectance(cell, column)
    return cell if value is None else round(value, 9)


def read_folder(path: str | os.PathLike[str]) -> SwatchFolder:
    """Read a swatch folder: palette.toml, swatches.csv and readings.csv, or swatches.xlsx.

    What is thin in it stands in its `warnings`. FolderError with every grave fault of all three files, when there is
    one.
    """
    folder, faults = inspect_folder(path)
    if folder is None:
        raise FolderError(str(path), [fault for fault in faults if fault.grave])
    return folder


def inspect_folder(path: str | os.PathLike[str]) -> tuple[SwatchFolder | None, tuple[Fault, ...]]:
    """Read a swatch folder and tell all that is wrong or thin in it, whether or not it can be used.

    The folder is None when any fault is grave; faults are of palette.toml, then swatches.csv, then readings.csv.
    """
    try:
        contents = _contents(path)
    except FolderError as error:
        return None, error.faults
    return inspect_contents(Path(path), contents)


def inspect_contents(place: Path, contents: Mapping[str, Content]) -> tuple[SwatchFolder | None, tuple[Fault, ...]]:
    """As `inspect_folder`, of what the three files of a folder hold or would hold."""
    gathered = _gathered(contents)
    declared, casts = _cast(contents, gathered, place)
    table = _table(contents[READINGS_FILE], gathered[READINGS_FILE])
    measured: Measured | None = None
    if declared is not None and table is not None:
        measured = read_measured(table, declared, casts.rows if casts else None, gathered[READINGS_FILE])
        check_light(declared, measured.kind, gathered[PALETTE_FILE])
    if declared is not None:
        _warn_of_thinness(declared, casts, measured, gathered)
    faults = tuple(fault for each in gathered.values() for fault in each.faults)
    if any(fault.grave for fault in faults):
        return None, faults
    assert declared is not None  # else a fault says why, as of the others
    assert declared.instrument is not None
    assert casts is not None
    assert measured is not None
    folder = SwatchFolder(
        path=place,
        name=declared.name,
        instrument=declared.instrument,
        bases={name: base for name, base in declared.bases.items() if base is not None},
        pigments={name: pigment for name, pigment in declared.pigments.items() if pigment is not None},
        kind=measured.kind,
        wavelengths=measured.wavelengths,
        backings=measured.backings,
        bare=measured.bare,
        swatches=casts.swatches,
        readings=measured.readings,
        warnings=faults,
        digest=_digest(contents),
    )
    return folder, faults


def read_declared(path: str | os.PathLike[str]) -> Declared:
    """What palette.toml declares, for a folder that may hold nothing else yet.

    FolderError if the folder or that file is at fault.
    """
    contents = _contents(path)
    faults = _gathered(contents)[PALETTE_FILE]
    declared = _declared(contents[PALETTE_FILE], Path(path), faults)
    _stop(path, faults)
    assert declared is not None
    return declared


def read_cast(path: str | os.PathLike[str]) -> tuple[Declared, Casts]:
    """What palette.toml declares and swatches.csv says was cast, for a folder that may hold no readings yet.

    FolderError with all faults of the two.
    """
    contents = _contents(path)
    gathered = _gathered(contents)
    declared, casts = _cast(contents, gathered, Path(path))
    _stop(path, gathered[PALETTE_FILE], gathered[SWATCHES_FILE])
    assert declared is not None
    assert casts is not None
    return declared, casts


def _stop(path: str | os.PathLike[str], *gathered: Gathered) -> None:
    if grave := [fault for each in gathered for fault in each.faults if fault.grave]:
        raise FolderError(str(path), grave)


def workshop_of(path: str | os.PathLike[str]) -> Workshop:
    """What stands under `[workshop]` in a folder, as far as it can be read; reading the folder tells what is wrong."""
    data = contents_of(Path(path))[PALETTE_FILE].data or b""
    try:
        return read_workshop(data.decode("utf-8-sig")) if data else Workshop()
    except UnicodeDecodeError:
        return Workshop()


def folder_digest(path: str | os.PathLike[str]) -> str:
    """SHA-256, in hexadecimal digits, of all in the three input files that a palette may depend on.

    The habits under `[workshop]` do not count, nor how palette.toml is spelled.
    FolderError if the folder or one of the files cannot be read.
    """
    contents = _contents(path)
    faults = [each.fault for each in contents.values() if each.fault]
    if faults:
        raise FolderError(str(path), faults)
    return _digest(contents)


def _contents(path: str | os.PathLike[str]) -> Mapping[str, Content]:
    """The three files of a folder; FolderError where there is no such folder."""
    place = Path(path)
    try:
        if place.is_dir():
            return contents_of(place)
        found = "this is a file, not a folder" if place.exists() else "there is no such folder"
    except (OSError, ValueError) as error:
        found = f"it cannot be opened: {(error.strerror if isinstance(error, OSError) else None) or error}"
    mend = f"name the folder that holds {', '.join(INPUT_FILES)}"
    raise FolderError(str(path), [Fault(file=str(place), found=found, mend=mend)])


def _gathered(contents: Mapping[str, Content]) -> dict[str, Gathered]:
    """The faults of each file, of which the first may be that there is none."""
    gathered = {file: Gathered(each.file) for file, each in contents.items()}
    for file, each in contents.items():
        gathered[file].faults += [each.fault] if each.fault else []
    return gathered


def _cast(
    contents: Mapping[str, Content], gathered: Mapping[str, Gathered], place: Path
) -> tuple[Declared | None, Casts | None]:
    declared = _declared(contents[PALETTE_FILE], place, gathered[PALETTE_FILE])
    table = _table(contents[SWATCHES_FILE], gathered[SWATCHES_FILE])
    if declared is None or table is None:
        return declared, None
    return declared, read_casts(table, declared, gathered[SWATCHES_FILE])


def _declared(content: Content, place: Path, faults: Gathered) -> Declared | None:
    text = None if content.data is None else decoded(content.data, faults, utf8_only=True)
    return None if text is None else read_declaration(text, faults, folder_name=place.resolve().name)


def _table(content: Content, faults: Gathered) -> Table | None:
    text = None if content.data is None else decoded(content.data, faults)
    return None if text is None else read_table(text, faults, first="swatch")


def _warn_of_thinness(
    declared: Declared, casts: Casts | None, measured: Measured | None, gathered: Mapping[str, Gathered]
) -> None:
    """Say what is thin in each file that is whole: what a faulty one lacks, its faults may hide."""
    of_swatches, of_readings = gathered[SWATCHES_FILE], gathered[READINGS_FILE]
    readings_whole = not of_readings.any_grave
    if casts is not None and not of_swatches.any_grave:
        warn_thin_casts(casts.swatches, declared, of_swatches)
        for warn in (warn_units, warn_finishes, warn_dragged_depths):
            warn(casts.swatches, of_swatches)
        if measured is not None and measured.named:
            warn_unread(casts, measured.named, of_swatches)
    if measured is not None and readings_whole:
        warn_thin_readings(measured, declared, of_readings)
        if measured.kind == SPECTRA:
            warn_dragged_values(measured.readings, measured.wavelengths, of_readings)


def _digest(contents: Mapping[str, Content]) -> str:
    digest = hashlib.sha256()
    for file, each in contents.items():
        content = fitted_part(each.data or b"") if file == PALETTE_FILE else each.data or b""
        # Names and lengths keep a byte that moves from one file to the next from going unnoticed.
        digest.update(f"{file} {len(content)}\n".encode())
        digest.update(content)
    return digest.hexdigest()
