"""What SQLite cannot do, told as one line: full, locked, read-only, corrupt, or not a ledger at all."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from tint.errors import InputError, JobError, TintError

_NOTHING = "nothing was added"
# What was found and what mends it, by the head of SQLite's own name for it: jobs that cannot be done now ...
_JOBS = {
    "SQLITE_FULL": ("the disk is full", f"{_NOTHING}; free some space, then again"),
    "SQLITE_BUSY": ("another program is writing to it", f"{_NOTHING}; try again"),
    "SQLITE_LOCKED": ("another program is writing to it", f"{_NOTHING}; try again"),
    "SQLITE_IOERR": ("the disk fails it", f"{_NOTHING}; see to the disk and its space, then again"),
    "SQLITE_NOMEM": ("there is not enough memory", "close other programs, then again"),
}
# ... and files that are at fault.
_FILES = {
    "SQLITE_NOTADB": ("is not a ledger", "move it away, or bring back a copy of the ledger"),
    "SQLITE_CORRUPT": ("is damaged", "bring back a copy, or save its rows with `sqlite3 FILE .recover`"),
    "SQLITE_READONLY": ("cannot be written", "make file and folder writable, or copy the folder"),
    "SQLITE_PERM": ("cannot be opened", "make file and folder readable"),
    "SQLITE_AUTH": ("cannot be opened", "make file and folder readable"),
    "SQLITE_CANTOPEN": ("cannot be opened", "check the name, and that its folder is there and writable"),
    "SQLITE_TOOBIG": ("a value is too long for it", "shorten it"),
}


@contextlib.contextmanager
def told(path: Path) -> Iterator[None]:
    """Turn what SQLite raises about a ledger into the errors that tint tells."""
    try:
        yield
    except sqlite3.Error as error:
        raise _as_told(path, error) from error
    except UnicodeDecodeError as error:  # of what SQLite says of a damaged file, in the file's own bytes
        raise InputError(str(path), "is damaged", mend=_FILES["SQLITE_CORRUPT"][1]) from error


def _as_told(path: Path, error: sqlite3.Error) -> TintError:
    name = getattr(error, "sqlite_errorname", "") or ""
    for errors, kinds in ((JobError, _JOBS), (InputError, _FILES)):
        for head, (found, mend) in kinds.items():
            if name.startswith(head):
                return errors(str(path), f"{found} ({error})", mend=mend)
    words = str(error)
    if words.startswith("CHECK constraint failed: "):
        return InputError("ledger", "a value is out of bounds", words.removeprefix("CHECK constraint failed: "))
    if isinstance(error, sqlite3.OperationalError | sqlite3.IntegrityError):
        return InputError(str(path), words)
    return InputError(str(path), f"is damaged ({words})", mend=_FILES["SQLITE_CORRUPT"][1])
