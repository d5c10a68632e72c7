"""The tables of a ledger, made from its records; its version, and the steps from older versions to this one.

Rows are only ever added: triggers refuse every change and deletion, an `INSERT OR REPLACE` too. A correction is a row
whose `corrects` names the row that it stands for from then on. The views `current_...` show what holds now.
"""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from tint.errors import InputError, JobError, TintError
from tint.ledger.records import TABLES, Column, columns

APPLICATION_ID = 0x74696E74  # "tint", in the header of the file
FORMAT = 2  # in its `user_version`

OWN = (
    ("id", "INTEGER PRIMARY KEY CHECK (id > 0)", "number of the row"),
    ("uid", "TEXT NOT NULL UNIQUE CHECK (uid <> '')", "the row's name in all ledgers, 32 hexadecimal digits"),
    ("added_utc", "TEXT NOT NULL CHECK (datetime(added_utc) IS NOT NULL)", "when, UTC: YYYY-MM-DDThh:mm:ss.sssZ"),
    ("palette_digest", "TEXT NOT NULL", "SHA-256 of the swatch folder's three input files then"),
    ("tint_version", "TEXT NOT NULL", "the tint that wrote the row"),
    ("corrects", "INTEGER UNIQUE REFERENCES {table} (id) CHECK (corrects < id)", "the row that this one stands for"),
    ("reason", "TEXT NOT NULL DEFAULT ''", "why it was corrected or withdrawn"),
    ("withdrawn", "INTEGER NOT NULL DEFAULT 0 CHECK (withdrawn IN (0, 1))", "1: it no longer holds, and nothing does"),
)

_VERSIONS = """
CREATE TABLE ledger_versions (
    version INTEGER PRIMARY KEY, -- of the tables, as in PRAGMA user_version
    since_utc TEXT NOT NULL,     -- when this file got it
    tint_version TEXT NOT NULL,  -- from which tint
    words TEXT NOT NULL          -- what it brought
);
"""

WORDS = {
    0: "The record of a workshop for pigmented silicone. Rows are only added; a correction names the row it corrects.",
    1: "Approvals have limit_samples: the samples that bound what is still accepted.",
    2: "Trials have cure_c, finish and base_lot: how they were cured, what face was read, which base they are of.",
}

# From the version named to the next, all in one transaction.
STEPS: dict[int, tuple[str, ...]] = {
    0: (
        "ALTER TABLE approvals ADD COLUMN limit_samples TEXT NOT NULL DEFAULT '[]' "
        'CONSTRAINT "limit_samples is a JSON list" '
        "CHECK (json_valid(limit_samples) AND json_type(limit_samples) = 'array')",
    ),
    1: (
        'ALTER TABLE trials ADD COLUMN cure_c REAL CONSTRAINT "cure_c BETWEEN 0 AND 300" '
        "CHECK (cure_c IS NULL OR (typeof(cure_c) = 'real' AND cure_c BETWEEN 0 AND 300))",
        "ALTER TABLE trials ADD COLUMN finish TEXT NOT NULL DEFAULT '' "
        "CONSTRAINT \"finish is text\" CHECK (typeof(finish) = 'text')",
        "ALTER TABLE trials ADD COLUMN base_lot TEXT NOT NULL DEFAULT '' "
        "CONSTRAINT \"base_lot is text\" CHECK (typeof(base_lot) = 'text')",
    ),
}


def tables() -> str:
    """The whole schema as SQL, with a comment on every column; SQLite keeps the comments."""
    return _VERSIONS + _guard("ledger_versions", "version = NEW.version") + "".join(_table(kind) for kind in TABLES)


def _table(kind: str) -> str:
    table = TABLES[kind]
    own = [(f"{name} {sql.format(table=table)}", about) for name, sql, about in OWN]
    lines = own + [(_column(column), column.about) for column in columns(kind)]
    body = "".join(
        f"    {sql}{',' if at < len(lines) else ''} -- {about}\n" for at, (sql, about) in enumerate(lines, start=1)
    )
    current = (
        f"CREATE VIEW current_{table} AS SELECT * FROM {table} WHERE withdrawn = 0\n"
        f"    AND id NOT IN (SELECT corrects FROM {table} WHERE corrects IS NOT NULL);\n"
    )
    same = "id = NEW.id OR uid = NEW.uid OR corrects = NEW.corrects"
    return f"CREATE TABLE {table} (\n{body});\n{current}{_guard(table, same)}"


def _guard(table: str, same: str) -> str:
    told = f"{table}: rows are never changed; add one that corrects it"
    refuse = f"BEGIN SELECT RAISE(ABORT, '{told}'); END;\n"
    return (
        f"CREATE TRIGGER {table}_never_changed BEFORE UPDATE ON {table} {refuse}"
        f"CREATE TRIGGER {table}_never_deleted BEFORE DELETE ON {table} {refuse}"
        f"CREATE TRIGGER {table}_never_replaced BEFORE INSERT ON {table}\n"
        f"    WHEN EXISTS (SELECT 1 FROM {table} WHERE {same}) {refuse}"
    )


_TYPES = {
    "text": "TEXT NOT NULL",
    "date": "TEXT NOT NULL DEFAULT ''",
    "number": "REAL",
    "whole": "INTEGER",
    "flag": "INTEGER",
    "object": "TEXT NOT NULL DEFAULT '{}'",
    "list": "TEXT NOT NULL DEFAULT '[]'",
}


def _column(column: Column) -> str:
    if column.points:
        return f"{column.name} INTEGER REFERENCES {TABLES[column.points]} (id)"
    words, condition = _bounds(column)
    default = f" DEFAULT '{column.default}'" if column.kind == "text" and not column.needed else ""
    return f'{column.name} {_TYPES[column.kind]}{default} CONSTRAINT "{words}" CHECK ({condition})'


def _bounds(column: Column) -> tuple[str, str]:
    """What a column must hold, in the words that a fault is told in, and in SQL."""
    name, allowed = column.name, column.allowed
    if column.kind == "date":
        # GLOB first: date('now') and its like have no place in a rule.
        shape = "[0-9][0-9][0-9][0-9]-[0-9][0-9]-[0-9][0-9]"
        return (
            f"{name} is a day YYYY-MM-DD",
            f"{name} = '' OR ({name} GLOB '{shape}' AND date({name}, '+0 days') IS {name})",
        )
    if column.kind in ("object", "list"):
        shape = "object" if column.kind == "object" else "array"
        return f"{name} is a JSON {column.kind}", f"json_valid({name}) AND json_type({name}) = '{shape}'"
    if column.kind == "text":
        allowed = allowed or ("<> ''" if column.needed else "")
        words = f"{name} is not empty" if column.needed else f"{name} {allowed or 'is text'}"
        return words, f"typeof({name}) = 'text'" + (f" AND {name} {allowed}" if allowed else "")
    stored, noun = ("real", "a number") if column.kind == "number" else ("integer", "a whole number")
    allowed = allowed or ("IN (0, 1)" if column.kind == "flag" else "")
    condition = f"typeof({name}) = '{stored}'" + (f" AND {name} {allowed}" if allowed else "")
    return f"{name} {allowed}" if allowed else f"{name} is {noun}", f"{name} IS NULL OR ({condition})"


# What SQLite cannot do, told as one line: full, locked, read-only, corrupt, or not a ledger at all.


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
