"""What is written in a file: its bytes as text, and its cells as numbers, with decimal marks and percent signs."""

from __future__ import annotations

import contextlib
import math
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence

from tint.errors import Gathered, InputError, quoted, shown

# Bounds against files that are none of measurements: common practice, no source.
MOST_LINES = 8_000_000
LONGEST_LINE = 200_000  # characters
_UTF16_MARKS = (b"\xff\xfe", b"\xfe\xff")
_SAVE_AS_UTF8 = "save it again as text with the encoding UTF-8"
_SEEN = 2000  # bytes, from which UTF-16 without a mark shows


def encoding_of(data: bytes) -> str:
    """What a text is written in: UTF-8; UTF-16 with its mark or without; or one of the two old western code pages.

    Those differ in letters of names and in the degree sign alone, never in a digit. A Macintosh has its letters where
    the other has none but rare signs.
    """
    if data.startswith(_UTF16_MARKS):
        return "utf-16"
    even, odd = data[0:_SEEN:2], data[1:_SEEN:2]
    for zeros, others, name in ((odd, even, "utf-16-le"), (even, odd, "utf-16-be")):
        if zeros and zeros.count(0) >= 0.9 * len(zeros) and others.count(0) == 0:
            return name
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return "mac-roman" if any(byte in data for byte in (*range(0x80, 0xA0), 0xA1)) else "cp1252"
    return "utf-8-sig"


def decoded(data: bytes, faults: Gathered, *, utf8_only: bool = False) -> str | None:
    """The text of a file without its mark of order, or None when it is none with something in it.

    If `utf8_only`, no other encoding will do, as in TOML.
    """
    held = held_in(data)
    if held:
        faults.grave(f"this is {held}", expected="expected plain text", mend="export it as CSV")
        return None
    encoding = encoding_of(data)
    if utf8_only and encoding.startswith("utf-16"):
        faults.grave("the text is encoded as UTF-16", expected="expected UTF-8", mend=_SAVE_AS_UTF8)
        return None
    if utf8_only:
        encoding = "utf-8-sig"
    if encoding in ("cp1252", "mac-roman"):
        found, mend = f"the text is not UTF-8: it was read as {encoding}", "save it as UTF-8 if its letters are wrong"
        faults.warn(found, mend=mend)
    if not data.startswith(_UTF16_MARKS) and data[-9:] == bytes(9):
        data = data.rstrip(b"\x00")  # blocks that a program filled up to their length
    if not encoding.startswith("utf-16") and b"\x00" in data:
        faults.grave("the file holds zero bytes", expected="expected plain text", mend=_SAVE_AS_UTF8)
        return None
    try:
        text = data.decode(encoding).removeprefix("\ufeff").replace("\x00", "")
    except UnicodeDecodeError as error:
        what = "is not UTF-8 text" if utf8_only else f"is no text in {encoding.upper()}"
        whole, at = error.object, error.start  # without a mark of order
        found, row = f"byte 0x{whole[at]:02X} {what}", whole[:at].count(b"\n") + 1
        faults.grave(found, row=row, expected="expected UTF-8", mend=_SAVE_AS_UTF8)
        return None
    if not text.strip():
        faults.grave("the file is empty")
        return None
    # Programs differ in how they write é: as one letter, or as e and an accent. Names are told apart by their letters.
    return unicodedata.normalize("NFC", text) if _is_bounded(text, faults) else None


WORKBOOK = "a spreadsheet workbook"
_HELD_IN = {
    b"PK\x03\x04": WORKBOOK,
    b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1": "a spreadsheet workbook of the old kind (.xls)",
    b"%PDF-": "a PDF",
    b"\xff\xd8\xff": "a picture",
    b"\x89PNG": "a picture",
}


def held_in(data: bytes) -> str:
    """What a file is that holds its tables in another way than as text; empty where it is not such a file."""
    if data.startswith(b"PK") and b"opendocument" in data[:100]:
        return "a spreadsheet of another kind (.ods)"
    return next((held for begins, held in _HELD_IN.items() if data.startswith(begins)), "")


def _is_bounded(text: str, faults: Gathered) -> bool:
    """Whether lines are no more and no longer than those of a measurement file can be."""
    count, start = text.count("\n"), 0
    if count > MOST_LINES:
        faults.grave(f"{count} lines", expected=f"expected at most {MOST_LINES}", mend="export fewer measurements")
        return False
    for number in range(1, count + 2):
        end = text.find("\n", start)
        length = (len(text) if end < 0 else end) - start
        if length > LONGEST_LINE:
            found = f"a line of {length} characters"
            faults.grave(found, row=number, expected=f"expected at most {LONGEST_LINE}")
            return False
        start = end + 1
    return True


# Cells that are numbers.


LARGEST_VALUE = 1e6  # what is beyond is no number of colorimetry, in any unit; no source, chosen by eye
Marks = dict[str, tuple[int, str, str]]  # the first cell with each decimal mark: its row, column and text

_NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_PLAIN = re.compile(r"[\d.;eE+-]*", re.ASCII)
_MONTH = r"(?:jan|feb|m[aä]r|mrz|apr|ma[iy]|jun|jul|aug|sep|o[ck]t|nov|de[cz])[a-z]*\.?"
_DATE = re.compile(
    r"\d{4}-\d\d-\d\d(?:[T ].*)?|\d{1,2}([./-])\d{1,2}\1\d{2,4}"
    rf"|(?:\d{{1,2}}\.?[ -])?{_MONTH}(?:[ -]\d{{1,4}})?",
    re.IGNORECASE | re.ASCII,
)
_DIGIT = re.compile(r"\d", re.ASCII)


def number(cell: str) -> float | None:
    """The finite number written in a cell with a decimal point or comma; None when there is none."""
    cell = cell.replace("\u2212", "-")  # the minus of typesetting
    if _NUMBER.fullmatch(cell) is None:
        return None
    value = float(cell.replace(",", "."))
    return value if math.isfinite(value) else None


def without_percent(cell: str) -> str:
    """A cell without the sign of percent behind its number."""
    return cell[:-1].rstrip() if cell.endswith("%") else cell


def why_no_number(cell: str) -> tuple[str, str]:
    """For a cell without a number: what was found, and what mends it."""
    if not cell:
        return "the cell is blank", "fill it in"
    bare = cell.lstrip("+-").lower()
    if bare in ("nan", "inf", "infinity") or _NUMBER.fullmatch(cell):
        return f"{quoted(cell)} is not a finite number", "measure it, or leave the row out"
    if cell.startswith("#"):
        return f"{quoted(cell)} is a formula that failed", "mend the formula in the spreadsheet"
    if is_date(cell):
        return f"{quoted(cell)} is a date", "a spreadsheet made one of it: set the cell to number and type it again"
    if "," in cell and "." in cell:
        return f"{quoted(cell)} has two kinds of marks", "write it without thousands separators"
    if _is_number_and_words(cell):
        return f"{quoted(cell)} is more than a number", "write the number alone, without a unit"
    return f"{quoted(cell)} is not a number", "write digits with a decimal point or comma"


def is_date(cell: str) -> bool:
    """Whether a cell is a date, as spreadsheets make them of 12.5 and 3-1."""
    return _DATE.fullmatch(cell) is not None


def name_remade(name: str, known: Iterable[str]) -> str:
    """What mends a name that a spreadsheet made something else of: a date, or a number without its zeros."""
    if is_date(name):
        return "a spreadsheet made a date of a name: set its column to text and type it again"
    bare = name.lstrip("0")
    own = next((each for each in known if name.isdigit() and each.isdigit() and each.lstrip("0") == bare), "")
    return f"is it {own}? a spreadsheet drops zeros: set its column to text and type it again" if own else ""


def _is_number_and_words(cell: str) -> bool:
    """Whether a cell begins with a number and ends in something else, as `2 mm` does."""
    words = cell.lstrip("+-0123456789.,")
    return bool(words) and not _DIGIT.search(words) and _DIGIT.search(cell) is not None


def note_marks(row: int, cells: Sequence[str], places: Iterable[int], columns: Sequence[str], marks: Marks) -> None:
    """Keep the first number with each decimal mark."""
    wanted = "".join([cells[at] for at in places])
    for at in places if any(mark in wanted and mark not in marks for mark in ",.") else ():
        cell = cells[at]
        for mark in ",.":
            if mark not in marks and mark in cell and _NUMBER.fullmatch(without_percent(cell)):
                marks[mark] = (row, columns[at], cell)


def tell_marks(marks: Mapping[str, tuple[int, str, str]], faults: Gathered) -> None:
    """Tell where both decimal marks were met."""
    if len(marks) == 2:
        (early, _, early_cell), (late, column, late_cell) = sorted(marks.values())
        found = f"{quoted(late_cell)} and {quoted(early_cell)} (row {early}) mix decimal commas and points"
        mend = "set one number format for the sheet and export it again"
        faults.grave(found, row=late, column=column, expected="expected one decimal mark in the whole file", mend=mend)


def numbers(
    cells: Sequence[str], places: Sequence[int], columns: Sequence[str], *, where: str
) -> tuple[list[float], bool]:
    """The numbers of a row at some places, and whether they carry the sign of percent.

    InputError for the first that is none, or where some carry that sign and some do not.
    """
    wanted = [cells[at] for at in places]
    # A row at once where all is plain: cell by cell it takes several times as long.
    plain = ";".join(wanted).replace(",", ".")
    if _PLAIN.fullmatch(plain):
        with contextlib.suppress(ValueError):
            quick = [float(cell) for cell in plain.split(";")]
            # A cell with a semicolon of its own would pass for two.
            if len(quick) == len(places) and max(map(abs, quick)) <= LARGEST_VALUE:
                return quick, False
    read = []
    for at in places:
        value = number(without_percent(cells[at]))
        if value is None or abs(value) > LARGEST_VALUE:
            found, mend = why_no_number(cells[at])
            raise InputError(f"{where}, column {shown(columns[at])}", found, "a number", mend)
        read.append(value)
    signs = [cell.endswith("%") for cell in wanted]
    if any(signs) and not all(signs):
        at = places[signs.index(False)]
        found = f"{quoted(cells[at])} has no sign of percent, others of the row have one"
        raise InputError(f"{where}, column {shown(columns[at])}", found, "all in percent, or none")
    return read, any(signs)
