"""CGATS.17 / ISO 28178 text: tables of keywords, fields and data, cut from the file's lines.

References
----------
ANSI CGATS.17 and ISO 28178:2009, Exchange format for colour and process control data. Neither text was at hand: the
keywords are those of public files and readers, some from memory. What a field means stands in `cgats_fields`.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from tint.errors import InputError, quoted, shown
from tint.swatches.instruments.measurement import MOST_WAVELENGTHS

_MARKS = ("BEGIN_DATA_FORMAT", "END_DATA_FORMAT", "BEGIN_DATA", "END_DATA")
_TOKEN = re.compile(r'"((?:[^"]|"")*)"(?=\s|$)|([^\s"]\S*)')
# What is read of a table's keywords: the light, the geometry, the scale, the kind, the counts.
_NEEDED = (
    "NUMBER_OF", "WEIGHTING", "ILLUMIN", "OBSERVER", "MEASUREMENT", "GEOMETRY", "INSTRUMENTATION", "SPEC", "MODE",
    "QUANTITY", "DEVICE_CLASS", "BACKING", "SAMPLE_BACKING",
)  # fmt: skip
_COUNTS = ("NUMBER_OF_FIELDS", "NUMBER_OF_SETS")
_MOST_FIELDS = 2 * MOST_WAVELENGTHS + 500  # in pairs, and names beside them; no source, chosen by eye
_COUNT = re.compile(r"\d{1,9}", re.ASCII)


Row = tuple[int, str]  # a set of data: the line that it stands in, and its text


@dataclass(kw_only=True)
class CgatsTable:
    """One table: its keywords in capitals, its fields and their line, its sets of data."""

    keywords: dict[str, str] = field(default_factory=dict)
    fields: list[str] = field(default_factory=list)
    line: int = 0
    rows: list[Row] = field(default_factory=list)


def is_cgats(text: str) -> bool:
    """Whether a text is laid out as CGATS: a line of its own begins the data."""
    return re.search(r"^[ \t]*BEGIN_DATA(?:_FORMAT)?\b", text, re.MULTILINE) is not None


def cgats_tables(text: str, file: str) -> list[CgatsTable]:
    """The tables of a file.

    InputError if quotation marks, marks of sections or counts are astray, or a row is not as wide as its fields.
    """
    cutter, line, seen = _Cutter(file), 0, False
    for line, content in enumerate(map(str.strip, text.split("\n")), start=1):
        if content and not seen:
            cutter.table.keywords["IDENTIFIER"] = content  # of the first table: IT8.7/1 is a chart to be shone through
        if content and not content.startswith("#"):
            # The very first line is the file's identifier, whatever word its writer chose.
            if seen or content.split()[0].upper().startswith(("NUMBER_OF_", "BEGIN_DATA")):
                cutter.take(content, line)
            seen = True
    if cutter.section != "keywords":
        expected = "a line that ends them"
        raise cutter.fault(line, f"the file ends within the {cutter.section}", expected, "export again")
    if not cutter.tables:
        raise InputError(file, "it holds no BEGIN_DATA", "a table of data")
    return cutter.tables


class _Cutter:
    """Takes a file line by line and closes a table at every END_DATA."""

    def __init__(self, file: str) -> None:
        self.file, self.section = file, "keywords"
        self.tables: list[CgatsTable] = []
        self.table = CgatsTable()

    def fault(self, line: int, found: str, expected: str = "", mend: str = "") -> InputError:
        return InputError(f"{self.file}, line {line}", found, expected, mend)

    def take(self, content: str, line: int) -> None:
        mark, *rest = content.split(None, 1)
        fields = self.table.fields
        if mark.upper() in _MARKS:
            self._mark(mark.upper(), line)
            if rest and self.section != "keywords":
                self.take(rest[0], line)
        elif self.section == "fields":
            ended = re.search(r"\sEND_DATA_FORMAT\s*$", content, re.IGNORECASE)
            named = _tokens(content[: ended.start()] if ended else content, f"{self.file}, line {line}")
            fields += map(str.upper, named)
            if len(fields) > _MOST_FIELDS:
                raise self.fault(line, "too many fields", f"at most {_MOST_FIELDS}")
            if ended:
                self._mark("END_DATA_FORMAT", line)
        elif self.section == "data":
            self.table.rows.append((line, content))
        else:
            self._keyword(content, line)

    def _mark(self, mark: str, line: int) -> None:
        within, table = {"END_DATA_FORMAT": "fields", "END_DATA": "data"}.get(mark, "keywords"), self.table
        if self.section != within:
            raise self.fault(line, f"{mark} within the {self.section}", "sections one after the other")
        if mark == "BEGIN_DATA_FORMAT":
            if table.fields:
                raise self.fault(line, "a second BEGIN_DATA_FORMAT in one table", f"one; line {table.line}")
            self.section, table.line = "fields", line
        elif mark == "END_DATA_FORMAT":
            self._count("NUMBER_OF_FIELDS", line)
            if not table.fields:
                raise self.fault(line, "no field is named", "the names of the fields")
            self.section = "keywords"
        elif mark == "BEGIN_DATA":
            if not table.fields:
                raise self.fault(line, "data before any BEGIN_DATA_FORMAT", "the names of the fields first")
            self.section = "data"
        else:
            self._close(line)

    def _close(self, line: int) -> None:
        table, count = self.table, len(self.table.fields)
        told = self._count("NUMBER_OF_FIELDS", table.line)  # it may stand behind the format too
        if told not in (None, count) and not table.rows:
            raise self.fault(table.line, f"{count} fields are named", f"the NUMBER_OF_FIELDS, {told}")
        told = self._count("NUMBER_OF_SETS", line)
        if told is not None and told < len(table.rows):
            table.rows = _joined(table.rows, count, told) or table.rows
        if told not in (None, len(table.rows)):
            mend = "rows are missing or too many: export it again"
            raise self.fault(line, f"the table has {len(table.rows)} rows", f"the NUMBER_OF_SETS, {told}", mend)
        self.tables.append(table)
        self.table, self.section = CgatsTable(), "keywords"

    def _count(self, keyword: str, line: int) -> int | None:
        told = self.table.keywords.get(keyword)
        if told is not None and _COUNT.fullmatch(told) is None:
            raise self.fault(line, f"{keyword} is {quoted(told)}", "a whole number")
        return None if told is None else int(told)

    def _keyword(self, content: str, line: int) -> None:
        try:
            head, *rest = _tokens(content, f"{self.file}, line {line}")
        except InputError:
            if content.split()[0].upper().startswith(_NEEDED):
                raise
            return  # a mark astray in a remark or a name changes nothing that is read
        if head.upper() == "KEYWORD":
            return  # it declares a private keyword; what that says stands in a line of its own
        keywords = self.table.keywords
        before, told = keywords.get(head.upper(), ""), " ".join(rest)
        # A keyword may stand twice with something else each time, as the two weighting functions do.
        keywords[head.upper()] = told if before in ("", told) or head.upper() in _COUNTS else f"{before} {told}"


def _joined(lines: Sequence[Row], width: int, count: int) -> list[Row]:
    """The rows of a table whose sets run over several lines; none unless every set ends with a line."""
    rows: list[Row] = []
    held = width
    for line, text in lines:
        try:
            new = len(_tokens(text, ""))
        except InputError:
            return []
        if held == width:
            rows.append((line, text))
            held = new
        else:
            rows[-1] = (rows[-1][0], f"{rows[-1][1]} {text}")
            held += new
        if held > width:
            return []
    return rows if held == width and len(rows) == count else []


def cells_of(row: Row, fields: Sequence[str], file: str) -> Sequence[str]:
    """The cells of a row, one a field; InputError if they are more or fewer, or a quotation mark is astray."""
    line, text = row
    where = f"{file}, line {line}"
    cells = _tokens(text, where)
    if len(cells) != len(fields) and "\t" in text:
        # Between tabs a name may hold spaces that its writer did not quote.
        by_tab = [each.strip().strip('"') for each in text.split("\t")]
        cells = by_tab if len(by_tab) == len(fields) else cells
    if len(cells) != len(fields):
        found = f"the row of {shown(cells[0]) if cells else ''} has {len(cells)} values"
        mend = "put names with spaces in quotation marks"
        raise InputError(where, found, f"{len(fields)}, one a field", mend)
    return cells


def _tokens(content: str, where: str) -> list[str]:
    if '"' not in content:
        return content.split()
    tokens, at = [], 0
    while at < len(content):
        if content[at].isspace():
            at += 1
            continue
        match = _TOKEN.match(content, at)
        if match is None:
            found = f"a quotation mark is astray in {quoted(content[at:])}"
            raise InputError(where, found, "quotation marks in pairs around a whole value")
        tokens.append(match[2] if match[1] is None else match[1].replace('""', '"'))
        at = match.end()
    return tokens
