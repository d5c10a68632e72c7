"""A file of measurements is recognised by its content, never by the ending of its name, and read."""

from __future__ import annotations

import os
from pathlib import Path

from tint.errors import InputError
from tint.swatches.gather import quoted
from tint.swatches.instruments.measurement import SCALES, Measurement, in_fractions

FORMATS = ("CSV", "CGATS.17 text (ISO 28178)", "CxF3 or CxF/X-4", "IES TM-27-14")
LARGEST_FILE = 8 * 2**20  # bytes; thirty thousand spectra
MOST_LINES = 200_000
LONGEST_LINE = 200_000  # characters
_EXPECTED = "CSV with wavelengths or L, a, b, " + ", ".join(FORMATS[1:])


def read_measurements(path: str | os.PathLike[str], *, scale: str = "") -> tuple[Measurement, ...]:
    """Read every measurement of an instrument's file.

    Parameters
    ----------
    path : path-like
        CSV (a row a spectrum, or a row a wavelength), CGATS.17 text, CxF3 or CxF/X-4, or IES TM-27-14.
    scale : str
        `fraction` or `percent`, where the file does not make it plain.

    Returns
    -------
    tuple of Measurement
        In the order of the file, spectra as fractions.

    Raises
    ------
    InputError
        If the file cannot be read, is none of these, or has a fault; the error names the place.
    """
    return parse_measurements(read_file(path), file=str(path), scale=scale)


def read_file(path: str | os.PathLike[str]) -> bytes:
    """The bytes of a file, one more than `parse_measurements` takes at most.

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


def is_no_plain_text(data: bytes) -> bool:
    """Whether bytes are of a kind that shows by itself: XML, CGATS, a workbook, or text with the mark of UTF-16."""
    from tint.swatches.instruments.cgats import is_cgats

    is_marked = data.startswith((b"PK\x03\x04", b"\xff\xfe", b"\xfe\xff"))
    return is_marked or _is_xml(data) or is_cgats(data.decode("utf-8", errors="replace").replace("\r", "\n"))


def parse_measurements(data: bytes, *, file: str, scale: str = "") -> tuple[Measurement, ...]:
    """`read_measurements` of bytes that are at hand; `file` is how errors name them."""
    if scale and scale not in SCALES:
        raise InputError("scale", f"{quoted(scale)} is none", " or ".join(SCALES))
    if len(data) > LARGEST_FILE:
        mend = "export fewer measurements at a time"
        raise InputError(file, "the file is too large", f"at most {LARGEST_FILE // 2**20} MB", mend)
    read = _xml(data, file) if _is_xml(data) else _text(data, file)
    return in_fractions(read, scale)


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
    from tint.swatches.instruments.csv_tables import read_long, read_wide
    from tint.swatches.instruments.jcamp import is_jcamp, read_jcamp
    from tint.swatches.instruments.sheet import read_sheet

    text = decoded_text(data, file)
    if is_cgats(text):
        return read_cgats(text, file)
    if is_jcamp(text):
        return read_jcamp(text, file)
    sheet = read_sheet(text, file)
    if sheet is None:
        begins = next(line for line in text.splitlines() if line.strip())
        raise InputError(file, f"is no file of measurements that tint reads; it begins {quoted(begins)}", _EXPECTED)
    return read_wide(sheet) if sheet.wide else read_long(sheet)


def _encoding(data: bytes) -> str:
    """What a text is written in: UTF-8; UTF-16 with its mark or without; or one of the two old western code pages.

    Those differ in letters of names and in the degree sign alone, never in a digit. A Macintosh has its letters where
    the other has none but rare signs.
    """
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    even, odd = data[0:2000:2], data[1:2000:2]
    for zeros, others, name in ((odd, even, "utf-16-le"), (even, odd, "utf-16-be")):
        if zeros and zeros.count(0) >= 0.9 * len(zeros) and others.count(0) == 0:
            return name
    try:
        data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return "mac-roman" if any(0x80 <= byte <= 0x9F or byte == 0xA1 for byte in data) else "cp1252"
    return "utf-8-sig"


def decoded_text(data: bytes, file: str) -> str:
    """The text of a file, its lines ended by a newline each.

    Raises
    ------
    InputError
        If it is empty, no text, a workbook, or has lines beyond reason.
    """
    if data.startswith(b"PK\x03\x04"):
        raise InputError(file, "this is a spreadsheet workbook", _EXPECTED, "export it as CSV")
    data = data.rstrip(b"\x00") if not data.startswith((b"\xff\xfe", b"\xfe\xff")) and data[-9:] == bytes(9) else data
    encoding = _encoding(data)
    if not encoding.startswith("utf-16") and b"\x00" in data:
        raise InputError(file, "the file holds zero bytes", _EXPECTED, "export it as text")
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        row = data[: error.start].count(b"\n") + 1
        found, mend = f"byte 0x{data[error.start]:02X} is not UTF-8 text", "save it as text with the encoding UTF-8"
        raise InputError(f"{file}, line {row}", found, _EXPECTED, mend) from error
    text = text.replace("\r\n", "\n").replace("\r", "\n").replace("\x00", "")
    if not text.strip():
        raise InputError(file, "the file is empty", _EXPECTED)
    _check_lines(text, file)
    return text


def _check_lines(text: str, file: str) -> None:
    if text.count("\n") > MOST_LINES:
        raise InputError(file, "too many lines", f"at most {MOST_LINES}", "export fewer measurements at a time")
    for number, line in enumerate(text.split("\n"), start=1):
        if len(line) > LONGEST_LINE:
            found = f"a line of {len(line)} characters"
            raise InputError(f"{file}, line {number}", found, f"at most {LONGEST_LINE}")
