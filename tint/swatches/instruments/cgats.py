"""CGATS.17 / ISO 28178 text: tables of keywords, fields and data, cut from the file's lines.

References
----------
ANSI CGATS.17 and ISO 28178:2009, Exchange format for colour and process control data. Neither text was at hand: the
keywords are those of public files and readers, some from memory. What a field means stands in `cgats_fields`.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

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


@dataclass(frozen=True, kw_only=True)
class CgatsRow:
    """One set of data: the line that it stands in, and its text."""

    line: int
    text: str


@dataclass(frozen=True, kw_only=True)
class CgatsTable:
    """One table: its keywords in capitals, its fields, its rows, the line of its fields."""

    keywords: Mapping[str, str]
    fields: tuple[str, ...]
    rows: tuple[CgatsRow, ...]
    line: int


def is_cgats(text: str) -> bool:
    """Whether a text is laid out as CGATS: a line of its own begins the data."""
    return re.search(r"^[ \t]*BEGIN_DATA(?:_FORMAT)?\b", text, re.MULTILINE) is not None


def cgats_tables(text: str, file: str) -> list[CgatsTable]:
    """The tables of a file.

    InputError if quotation marks, marks of sections or counts are astray, or a row is not as wide as its fields.
    """
    return _Cutter(file).cut(text)


class _Cutter:
    """Goes through a file line by line and closes a table at every END_DATA."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.tables: list[CgatsTable] = []
        self.section = "keywords"
        self._renew()

    def _renew(self) -> None:
        self.keywords: dict[str, str] = {}
        self.fields: list[str] = []
        self.rows: list[CgatsRow] = []
        self.fields_line = 0

    def cut(self, text: str) -> list[CgatsTable]:
        line, seen = 0, False
        for line, content in enumerate(text.split("\n"), start=1):
            stripped = content.strip()
            if stripped and not seen:
                self.keywords["IDENTIFIER"] = stripped  # of the first table: IT8.7/1 is a chart to be shone through
            if stripped and not stripped.startswith("#"):
                # The very first line is the file's identifier, whatever word its writer chose.
                if seen or stripped.split()[0].upper().startswith(("NUMBER_OF_", "BEGIN_DATA")):
                    self._take(stripped, line)
                seen = True
        if self.section != "keywords":
            raise self._fault(line, f"the file ends within the {self.section}", "a line that ends them", "export again")
        if not self.tables:
            raise InputError(self.file, "it holds no BEGIN_DATA", "a table of data")
        return self.tables

    def _fault(self, line: int, found: str, expected: str = "", mend: str = "") -> InputError:
        return InputError(f"{self.file}, line {line}", found, expected, mend)

    def _take(self, content: str, line: int) -> None:
        head, *rest = content.split(None, 1)
        mark = head.upper()
        if mark in _MARKS:
            self._mark(mark, line)
            if rest and self.section != "keywords":
                self._take(rest[0], line)
        elif self.section == "fields":
            ended = re.search(r"\sEND_DATA_FORMAT\s*$", content, re.IGNORECASE)
            self.fields += [
                each.upper()
                for each in _tokens(content[: ended.start()] if ended else content, f"{self.file}, line {line}")
            ]
            if len(self.fields) > _MOST_FIELDS:
                raise self._fault(line, "too many fields", f"at most {_MOST_FIELDS}")
            if ended:
                self._mark("END_DATA_FORMAT", line)
        elif self.section == "data":
            self.rows.append(CgatsRow(line=line, text=content))
        else:
            self._keyword(content, line)

    def _mark(self, mark: str, line: int) -> None:
        wanted = {"BEGIN_DATA_FORMAT": "keywords", "END_DATA_FORMAT": "fields", "BEGIN_DATA": "keywords"}
        if self.section != wanted.get(mark, "data"):
            raise self._fault(line, f"{mark} within the {self.section}", "sections one after the other")
        if mark == "BEGIN_DATA_FORMAT":
            if self.fields:
                raise self._fault(line, "a second BEGIN_DATA_FORMAT in one table", f"one; line {self.fields_line}")
            self.section, self.fields_line = "fields", line
        elif mark == "END_DATA_FORMAT":
            self._check_fields(line)
            self.section = "keywords"
        elif mark == "BEGIN_DATA":
            if not self.fields:
                raise self._fault(line, "data before any BEGIN_DATA_FORMAT", "the names of the fields first")
            self.section = "data"
        else:
            self._close(line)

    def _check_fields(self, line: int) -> None:
        told = self._count("NUMBER_OF_FIELDS", line)
        if not self.fields:
            raise self._fault(line, "no field is named", "the names of the fields")
        if told is not None and told != len(self.fields) and self.section == "data" and not self.rows:
            raise self._fault(line, f"{len(self.fields)} fields are named", f"the NUMBER_OF_FIELDS, {told}")

    def _close(self, line: int) -> None:
        self._check_fields(self.fields_line)  # NUMBER_OF_FIELDS may stand behind the format too
        told = self._count("NUMBER_OF_SETS", line)
        if told is not None and told < len(self.rows):
            self.rows = _joined(self.rows, len(self.fields), told) or self.rows
        if told is not None and told != len(self.rows):
            mend = "rows are missing or too many: export it again"
            raise self._fault(line, f"the table has {len(self.rows)} rows", f"the NUMBER_OF_SETS, {told}", mend)
        table = CgatsTable(
            keywords=self.keywords, fields=tuple(self.fields), rows=tuple(self.rows), line=self.fields_line
        )
        self.tables.append(table)
        self.section = "keywords"
        self._renew()

    def _count(self, keyword: str, line: int) -> int | None:
        told = self.keywords.get(keyword)
        if told is None:
            return None
        if _COUNT.fullmatch(told) is None:
            raise self._fault(line, f"{keyword} is {quoted(told)}", "a whole number")
        return int(told)

    def _keyword(self, content: str, line: int) -> None:
        try:
            head, *rest = _tokens(content, f"{self.file}, line {line}")
        except InputError:
            if content.split()[0].upper().startswith(_NEEDED):
                raise
            return  # a mark astray in a remark or a name changes nothing that is read
        if head.upper() == "KEYWORD":
            return  # it declares a private keyword; what that says stands in a line of its own
        before, told = self.keywords.get(head.upper(), ""), " ".join(rest)
        # A keyword may stand twice with something else each time, as the two weighting functions do.
        self.keywords[head.upper()] = told if before in ("", told) or head.upper() in _COUNTS else f"{before} {told}"


def _joined(lines: Sequence[CgatsRow], width: int, count: int) -> list[CgatsRow]:
    """The rows of a table whose sets run over several lines; none unless every set ends with a line."""
    rows: list[CgatsRow] = []
    held = 0
    for each in lines:
        try:
            new = len(_tokens(each.text, ""))
        except InputError:
            return []
        if held in (0, width):
            rows.append(each)
            held = new
        else:
            rows[-1] = CgatsRow(line=rows[-1].line, text=f"{rows[-1].text} {each.text}")
            held += new
        if held > width:
            return []
    return rows if held == width and len(rows) == count else []


def cells_of(row: CgatsRow, fields: Sequence[str], file: str) -> Sequence[str]:
    """The cells of a row, one a field.

    InputError if they are more or fewer, or a quotation mark is astray.
    """
    where = f"{file}, line {row.line}"
    cells = _tokens(row.text, where)
    if len(cells) != len(fields) and "\t" in row.text:
        # Between tabs a name may hold spaces that its writer did not quote.
        by_tab = [each.strip().strip('"') for each in row.text.split("\t")]
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
