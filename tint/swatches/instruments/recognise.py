"""A file of measurements is recognised by its content, never by the ending of its name, and read."""

from __future__ import annotations

import os
import re
from pathlib import Path

from tint.errors import InputError
from tint.swatches.gather import Gathered, quoted
from tint.swatches.instruments.given import Given, in_fractions
from tint.swatches.instruments.measurement import Measurement
from tint.swatches.text import decoded, held_in

FORMATS = ("CSV", "CGATS.17 text (ISO 28178)", "CxF3 or CxF/X-4", "IES TM-27-14", "JCAMP-DX", "a workbook (.xlsx)")
LARGEST_FILE = 100 * 2**20  # bytes; no source, chosen by eye
_EXPECTED = "CSV with wavelengths or L, a, b, " + ", ".join(FORMATS[1:])


def read_measurements(path: str | os.PathLike[str], *, said: Given | None = None) -> tuple[Measurement, ...]:
    """Read every measurement of an instrument's file.

    Parameters
    ----------
    path : path-like
        Any of `FORMATS`.
    said : Given, optional
        What the user says where the file does not.

    Returns
    -------
    tuple of Measurement
        In the order of the file, spectra as fractions.

    Raises
    ------
    InputError
        If the file cannot be read, is none of these, or has a fault; the error names the place.
    """
    return parse_measurements(read_file(path), file=str(path), said=said)


def read_file(path: str | os.PathLike[str]) -> bytes:
    """The bytes of a file, one more than are read at most.

    Raises
    ------
    InputError
        If it cannot be read.
    """
    try:
        with Path(path).open("rb") as stream:
            return stream.read(LARGEST_FILE + 1)
    except (OSError, ValueError) as error:
        reason = (error.strerror if isinstance(error, OSError) else None) or str(error)
        raise InputError(str(path), f"cannot be read ({reason})", mend="check the name") from error


def parse_measurements(data: bytes, *, file: str, said: Given | None = None) -> tuple[Measurement, ...]:
    """`read_measurements` of bytes that are at hand; `file` is how errors name them."""
    read = all_measurements(data, file=file, said=said)
    for each in read:
        if each.fault is not None:
            raise each.fault
    return read


def all_measurements(data: bytes, *, file: str, said: Given | None = None) -> tuple[Measurement, ...]:
    """`parse_measurements`, but one whose own row is at fault keeps that as its `fault`: it may not be asked for."""
    if len(data) > LARGEST_FILE:
        mend = "export fewer measurements at a time"
        raise InputError(file, "the file is too large", f"at most {LARGEST_FILE // 2**20} MB", mend)
    said = said or Given()
    return tuple(map(said.taken_by, in_fractions(_read(data, file), said.scale)))


def _read(data: bytes, file: str) -> list[Measurement]:
    if held_in(data):
        from tint.swatches.instruments.workbook import read_workbook

        return read_workbook(data, file)
    return _xml(data, file) if _is_xml(data) else _text(data, file)


def _is_xml(data: bytes) -> bool:
    start = data[:200].removeprefix(b"\xef\xbb\xbf").removeprefix(b"\xff\xfe").removeprefix(b"\xfe\xff")
    return start.replace(b"\x00", b"").lstrip().startswith(b"<")


def _xml(data: bytes, file: str) -> list[Measurement]:
    from tint.swatches.instruments import cxf, tm27, xml_tree  # a parser of XML is not for those who read tables

    root = xml_tree.parsed(data, file)
    name = xml_tree.local(root)
    if name == cxf.ROOT:
        return cxf.read_cxf(root, file)
    if name == tm27.ROOT:
        return tm27.read_tm27(root, file)
    raise InputError(file, f"XML of the kind {quoted(name)}", f"{cxf.ROOT} (version 3) or {tm27.ROOT}")


def _text(data: bytes, file: str) -> list[Measurement]:
    from tint.swatches.instruments.cgats import is_cgats
    from tint.swatches.instruments.cgats_fields import read_cgats
    from tint.swatches.instruments.jcamp import is_jcamp, read_jcamp

    faults = Gathered(file)
    text = decoded(data, faults)
    faults.stop()
    assert text is not None  # else a fault says why
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    if is_cgats(text):
        return read_cgats(text, file)
    if is_jcamp(text):
        return read_jcamp(text, file)
    return read_text_table(text, file)


def read_text_table(text: str, file: str) -> list[Measurement]:
    """The measurements of a table in a text.

    Raises
    ------
    InputError
        If it holds none, or a row or cell is at fault.
    """
    from tint.swatches.instruments.sample_tables import read_sheet
    from tint.swatches.instruments.sheet import LEAST_COLUMNS, sheet_in
    from tint.swatches.instruments.words import wavelength_in
    from tint.swatches.text import number

    sheet = sheet_in(text, file)
    if sheet is None:
        begins = next(line for line in text.splitlines() if line.strip())
        cells = re.split(r"[,;\t]", begins[:10_000])
        count = sum(wavelength_in(cell, plain=True) is not None for cell in cells)
        if count and any(number(cell.strip()) is None for cell in cells):
            raise InputError(f"{file}, row 1", f"wavelengths name {count} of its columns", f"{LEAST_COLUMNS} or more")
        raise InputError(file, f"is no file of measurements that tint reads; it begins {quoted(begins)}", _EXPECTED)
    return read_sheet(sheet)
