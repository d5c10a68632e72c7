"""What goes wrong, and how it is told: one line that says where, what was found, what was expected, what mends it.

TintError            everything tint raises on purpose
  InputError         wrong usage or bad input (exit status 2)
    FolderError      a swatch folder with faults, all of them gathered
  JobError           the input is good but the job cannot be done (exit status 1)
    ChangedError   a file was changed by another program between being read and being written
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


def _one_line(where: str, *clauses: str) -> str:
    told = "; ".join(clause for clause in clauses if clause)
    return " ".join(f"{where}: {told}".split()) if where else " ".join(told.split())


def _expected(what: str) -> str:
    return what if not what or what.startswith("expected") else f"expected {what}"


class TintError(Exception):
    """Base of every error that tint raises on purpose; `str()` is one line."""

    def __init__(self, where: str, found: str, expected: str = "", mend: str = "") -> None:
        super().__init__(_one_line(where, found, _expected(expected), mend))
        self.where, self.found, self.expected, self.mend = where, found, expected, mend


class InputError(TintError):
    """Wrong usage or bad input."""


class JobError(TintError):
    """Good input, but the job cannot be done with it."""


class ChangedError(JobError):
    """A file that another program changed between being read and being written; doing it again mends it."""


@dataclass(frozen=True, kw_only=True)
class Fault:
    """One thing wrong (or, when not `grave`, merely thin) in a user's file; rows count as a spreadsheet does."""

    file: str
    row: int | None = None
    column: str | None = None
    found: str
    expected: str = ""
    mend: str = ""
    grave: bool = True

    @property
    def where(self) -> str:
        row = f", row {self.row}" if self.row is not None else ""
        place = "key" if self.file.endswith(".toml") else "column"
        column = f", {place} {self.column}" if self.column is not None else ""
        return f"{self.file}{row}{column}"

    def __str__(self) -> str:
        return _one_line(self.where, self.found, self.expected, self.mend)


class FolderError(InputError):
    """A swatch folder that cannot be read as it stands; `faults` holds every reason."""

    def __init__(self, path: str, faults: Sequence[Fault]) -> None:
        first, more = faults[0], len(faults) - 1
        rest = f"and {more} more: run `tint check {path}` to see all" if more else ""
        super().__init__(first.where, _join(first.found, first.expected), mend=_join(first.mend, rest))
        self.faults = tuple(faults)


def _join(*parts: str) -> str:
    return "; ".join(part for part in parts if part)
