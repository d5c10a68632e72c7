"""What goes wrong, and how it is told: one line that says where, what was found, what was expected, what mends it.

TintError            everything tint raises on purpose
  InputError         wrong usage or bad input (exit status 2)
    FolderError      a swatch folder with faults, all of them gathered
  JobError           the input is good but the job cannot be done (exit status 1)
    ChangedError   a file was changed by another program between being read and being written
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import partialmethod

_SHOWN = 40  # characters of a cell or a name that a message repeats
# Of a place, and of what was found or expected: the beginning, and the reason; no source, by eye.
_FIRST, _LAST = 250, 150


def _one_line(where: str, found: str, expected: str, mend: str) -> str:
    # What mends it may hold a command with a path, which must stay whole; the rest may hold whatever a file did.
    told = "; ".join(filter(None, (shortened(found), shortened(expected), mend)))
    return " ".join(f"{shortened(where)}: {told}".split()) if where else " ".join(told.split())


def shortened(text: str, first: int = _FIRST, last: int = _LAST) -> str:
    """A text without its middle, where it is longer than so many characters at its beginning and its end."""
    left_out = len(text) - first - last
    return text if left_out <= 0 else f"{text[:first]} ... ({left_out} characters left out) ... {text[-last:]}"


def _expected(what: str) -> str:
    return what if not what or what.startswith("expected") else f"expected {what}"


class TintError(Exception):
    """Base of every error that tint raises on purpose; `str()` is one line."""

    def __init__(self, where: str, found: str, expected: str = "", mend: str = "") -> None:
        super().__init__(_one_line(where, found, _expected(expected), mend))
        self.where, self.found, self.expected, self.mend = where, found, expected, mend


class InputError(TintError):
    """Wrong usage or bad input."""

    def at(self, where: str) -> InputError:
        """The same of another place."""
        return InputError(where, self.found, self.expected, self.mend)


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

    @property
    def error(self) -> InputError:
        """The fault as an error of its own."""
        return InputError(self.where, self.found, self.expected, self.mend)

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


_KINDS: dict[type, str] = {dict: "table", list: "list"}


class Gathered:
    """The faults of one file, in the order they were met."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.faults: list[Fault] = []

    def note(
        self, found: str, *, grave: bool, row: int | None = None, column: str | None = None, expected: str = "",
        mend: str = "",
    ) -> None:  # fmt: skip
        """Note a fault that keeps the folder from being used, or what is merely thin or odd."""
        place = None if column is None else shown(column)
        self.faults.append(
            Fault(file=self.file, row=row, column=place, found=found, expected=expected, mend=mend, grave=grave)
        )

    grave = partialmethod(note, grave=True)
    warn = partialmethod(note, grave=False)

    @property
    def any_grave(self) -> bool:
        """Whether something here keeps the folder from being used."""
        return any(fault.grave for fault in self.faults)

    def stop(self) -> None:
        """Raise the first fault that is grave.

        Raises
        ------
        InputError
        """
        for fault in self.faults:
            if fault.grave:
                raise fault.error


def shown(name: str) -> str:
    """A name as a message may repeat it: bare when that is safe, else quoted; never long, never two lines."""
    plain = name.isprintable() and name == name.strip() and 0 < len(name) <= _SHOWN
    return name if plain else quoted(name)


def quoted(value: object) -> str:
    """A value as it stands in the file, cut to a readable length; text in quotation marks."""
    if isinstance(value, str):
        return repr(_cut(value))
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int):
        return _cut(f"{value:#x}" if value.bit_length() > 256 else str(value))  # str() refuses huge integers
    return f"a {_KINDS[type(value)]}" if type(value) in _KINDS else _cut(str(value))


def _cut(text: str) -> str:
    return text if len(text) <= _SHOWN else text[: _SHOWN - 3] + "..."


def table_header(kind: str, name: str) -> str:
    """The line that opens a named table of palette.toml."""
    bare = re.fullmatch(r"[A-Za-z0-9_-]+", name) is not None
    return f"[{kind}.{name}]" if bare else f'[{kind}."{shown(name)}"]'


def listed(names: Iterable[str]) -> str:
    """Names in a row for a message: the first eight, then how many more."""
    every = [shown(name) for name in names]
    more = f" and {len(every) - 8} more" if len(every) > 8 else ""
    return ", ".join(every[:8]) + more


def one_of(names: Iterable[str]) -> str:
    """What was expected, where a few names are allowed."""
    every = list(names)
    if not every:
        return "none is declared"
    return f"expected {listed(every)}" if len(every) == 1 else f"expected one of {listed(every)}"


def did_you_mean(name: str, known: Iterable[str], *, otherwise: str = "") -> str:
    """The nearest known name as a question, or what to do when none is near."""
    by_lower = {candidate.lower(): candidate for candidate in known}
    near = get_close_matches(name.lower()[:200], list(by_lower), n=1, cutoff=0.6)
    return f"did you mean {shown(by_lower[near[0]])}?" if near else otherwise
