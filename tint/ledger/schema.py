"""The tables of a ledger, made from its records; its version, and the steps from older versions to this one.

Rows are only ever added: triggers refuse every change and deletion, an `INSERT OR REPLACE` too. A correction is a row
whose `corrects` names the row that it stands for from then on. The views `current_...` show what holds now.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path

from tint.errors import InputError
from tint.ledger.records import TABLES, Column, columns

APPLICATION_ID = 0x74696E74  # "tint", in the header of the file
FORMAT = 3  # in its `user_version`

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
    3: "Batches have premixes: what is left of those that they made, and what they took of those that were kept.",
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


# The version of a file, and the way to this one.


def _added(kind: str, *names: str) -> tuple[str, ...]:
    own = {column.name: column for column in columns(kind)}
    return tuple(f"ALTER TABLE {TABLES[kind]} ADD COLUMN {_column(own[name])}" for name in names)


# From the version named to the next, all in one transaction.
STEPS: dict[int, tuple[str, ...]] = {
    0: _added("approval", "limit_samples"),
    1: _added("trial", "cure_c", "finish", "base_lot"),
    2: _added("batch", "premixes"),
}


def version_of(path: Path, connection: sqlite3.Connection) -> int | None:
    """The version of a ledger's tables; None for an empty file.

    InputError if it is not a ledger, or of a newer tint.
    """
    ours = int(connection.execute("PRAGMA application_id").fetchone()[0])
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    empty = not connection.execute("SELECT 1 FROM sqlite_master LIMIT 1").fetchall()
    if empty and ours in (0, APPLICATION_ID):
        return None
    if ours != APPLICATION_ID:
        raise InputError(str(path), "is a database, but not a ledger", mend="move it away")
    if not 0 <= version <= FORMAT:
        raise InputError(
            str(path),
            f"is of version {version}, from a newer tint",
            f"expected at most version {FORMAT}",
            "update tint",
        )
    return version


def bring_up(connection: sqlite3.Connection, version: int | None, *, since_utc: str, tint_version: str) -> None:
    """Make the tables, or change those of an older version; within a transaction."""
    if version is None:
        _run(connection, tables())
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    else:
        for step in range(version, FORMAT):
            for statement in STEPS[step]:
                connection.execute(statement)
    first = 0 if version is None else version + 1
    rows = [(each, since_utc, tint_version, WORDS[each]) for each in range(first, FORMAT + 1)]
    connection.executemany("INSERT INTO ledger_versions VALUES (?, ?, ?, ?)", rows)
    connection.execute(f"PRAGMA user_version = {FORMAT}")


def _run(connection: sqlite3.Connection, script: str) -> None:
    """Statement by statement: `executescript` would end the transaction."""
    statement = ""
    for line in script.splitlines(keepends=True):
        statement += line
        if sqlite3.complete_statement(statement):
            connection.execute(statement)
            statement = ""
