"""The file of a ledger: opened, made, brought to this version; an older one is copied first."""

from __future__ import annotations

import contextlib
import os
import sqlite3
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import TypeVar

from tint.errors import InputError
from tint.ledger import schema
from tint.ledger.schema import told
from tint.ledger.store import Ledger, now_utc, tint_version, transaction

T = TypeVar("T")

_WAIT_S = 10.0  # for another program that is writing
_HEAD = b"SQLite format 3\x00"  # every SQLite file begins so (SQLite, "Database File Format", section 1.3)


def open_ledger(path: str | Path, *, palette_digest: str, wait_s: float = _WAIT_S) -> Ledger:
    """Open a ledger for adding; make it when there is none, bring an older one to this version.

    Parameters
    ----------
    path : path-like
        Of the file; `ledger_path` names that of a folder.
    palette_digest : str
        `tint.swatches.folder_digest` of the swatch folder.
    wait_s : float
        How long to wait for another program that is writing [s].

    Raises
    ------
    InputError
        If the file is no ledger, damaged, of a newer tint, or cannot be written.
    JobError
        If the disk is full, or another program holds the file for longer than `wait_s`.

    Notes
    -----
    An older ledger is copied to `ledger.version-N.TIME.sqlite3` beside it before it is changed. With the write-ahead
    log and synchronous FULL a transaction is on the disk when it ends (SQLite, "Write-Ahead Logging", section 2.3).
    """
    path = Path(path)
    _check_place(path)
    if not _writable(path):
        raise InputError(str(path), "cannot be written", "expected a folder that can", "copy the swatch folder")
    new = not path.exists()
    ledger = Ledger(path, _connect(path, "mode=rwc", wait_s), palette_digest)
    with _closing_on_error(ledger):
        _bring_up(path, ledger.connection, wait_s)
        if new:
            _sync_folder(path.parent)
    return ledger


def read_ledger(path: str | Path, *, wait_s: float = _WAIT_S) -> Ledger:
    """Open a ledger for reading; in a folder that cannot be written, too. An older one is brought to this version.

    Raises
    ------
    InputError
        As `open_ledger`, and if there is no ledger.
    JobError
        As `open_ledger`.
    """
    path = Path(path)
    _check_place(path)
    if not path.exists() or path.stat().st_size == 0:
        raise InputError(str(path), "there is no ledger yet", mend="`tint ledger add order FOLDER` begins one")
    writable = _writable(path)
    ledger = Ledger(path, _connect(path, "mode=rw" if writable else _frozen(path), wait_s), None)
    with _closing_on_error(ledger):
        if writable:
            _bring_up(path, ledger.connection, wait_s)
        elif _version(path, ledger.connection) != schema.FORMAT:
            mend = "make the folder writable, or copy it: the ledger is then brought to this version"
            raise InputError(str(path), "is of an older version, and cannot be written", mend=mend)
    return ledger


@contextlib.contextmanager
def _closing_on_error(ledger: Ledger) -> Iterator[None]:
    try:
        with told(ledger.path):
            yield
    except BaseException:
        ledger.connection.close()
        raise


def _writable(path: Path) -> bool:
    return os.access(path.parent, os.W_OK) and (not path.exists() or os.access(path, os.W_OK))


def _frozen(path: Path) -> str:
    """How to open what nobody can write: without a log to read, SQLite needs none beside it."""
    log = path.with_name(path.name + "-wal")
    return "mode=ro" if log.exists() and log.stat().st_size else "mode=ro&immutable=1"


def _head(path: Path) -> bytes:
    with path.open("rb") as stream:
        return stream.read(len(_HEAD))


def _check_place(path: Path) -> None:
    """Refuse what SQLite would take for an empty database, or tell less plainly."""
    if path.is_dir():
        raise InputError(str(path), "is a folder", "expected the file of a ledger")
    if not path.parent.is_dir():
        raise InputError(str(path.parent), "there is no such folder", mend="check the name")
    try:
        head = _head(path) if path.exists() else b""
    except OSError as error:
        raise InputError(str(path), f"cannot be read ({error.strerror})", mend="make it readable") from error
    if head not in (b"", _HEAD):
        raise InputError(str(path), "is not a ledger", mend="move it away, or bring back a copy of the ledger")


def _connect(path: Path, how: str, wait_s: float) -> sqlite3.Connection:
    with told(path):
        connection = sqlite3.connect(f"{path.resolve().as_uri()}?{how}", uri=True, timeout=wait_s, isolation_level=None)
        connection.row_factory = sqlite3.Row
        connection.execute("PRAGMA foreign_keys = ON")
        return connection


def _bring_up(path: Path, connection: sqlite3.Connection, wait_s: float) -> None:
    """Make the tables or bring them to this version, and have the file written safely."""
    version = _version(path, connection)  # before anything is written: it may be someone else's file
    mode = _patiently(lambda: connection.execute("PRAGMA journal_mode = WAL").fetchone()[0], wait_s)
    # Where the file system has no shared memory the old journal stays; it then needs EXTRA for the same promise.
    connection.execute(f"PRAGMA synchronous = {'FULL' if mode == 'wal' else 'EXTRA'}")
    connection.execute("PRAGMA fullfsync = ON")  # macOS: past the disk's own cache
    if version != schema.FORMAT:
        with transaction(connection, "IMMEDIATE"):
            _upgrade(path, connection)


def _upgrade(path: Path, connection: sqlite3.Connection) -> None:
    version = _version(path, connection)  # another program may have been first
    if version is None:
        _run(connection, schema.tables())
        connection.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
        _note_versions(connection, 0, schema.FORMAT)
    elif version < schema.FORMAT:
        _copy(path, version)
        for step in range(version, schema.FORMAT):
            for statement in schema.STEPS[step]:
                connection.execute(statement)
        _note_versions(connection, version + 1, schema.FORMAT)
    connection.execute(f"PRAGMA user_version = {schema.FORMAT}")


def _run(connection: sqlite3.Connection, script: str) -> None:
    """Statement by statement: `executescript` would end the transaction."""
    statement = ""
    for line in script.splitlines(keepends=True):
        statement += line
        if sqlite3.complete_statement(statement):
            connection.execute(statement)
            statement = ""


def _note_versions(connection: sqlite3.Connection, first: int, last: int) -> None:
    rows = [(version, now_utc(), tint_version(), schema.WORDS[version]) for version in range(first, last + 1)]
    connection.executemany("INSERT INTO ledger_versions VALUES (?, ?, ?, ?)", rows)


def _version(path: Path, connection: sqlite3.Connection) -> int | None:
    """The schema's version; None for an empty file.

    Raises
    ------
    InputError
        If it is not a ledger, or of a newer tint.
    """
    ours = int(connection.execute("PRAGMA application_id").fetchone()[0])
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    empty = not connection.execute("SELECT 1 FROM sqlite_master LIMIT 1").fetchall()
    if empty and ours in (0, schema.APPLICATION_ID):
        return None
    if ours != schema.APPLICATION_ID:
        raise InputError(str(path), "is a database, but not a ledger", mend="move it away")
    if not 0 <= version <= schema.FORMAT:
        expected = f"expected at most version {schema.FORMAT}"
        raise InputError(str(path), f"is of version {version}, from a newer tint", expected, "update tint")
    return version


def _copy(path: Path, version: int) -> None:
    """Copy the ledger beside itself, whole or not at all; the caller keeps others from writing meanwhile."""
    moment = datetime.now(UTC).strftime("%Y%m%dT%H%M%S.%fZ")
    kept = path.with_name(f"{path.stem}.version-{version}.{moment}{path.suffix}")
    half = kept.with_name(f".{kept.name}.half")
    try:
        with (
            contextlib.closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=rw", uri=True)) as source,
            contextlib.closing(sqlite3.connect(half)) as copy,
        ):
            copy.execute("PRAGMA synchronous = FULL")
            source.backup(copy)
            copy.execute("PRAGMA journal_mode = DELETE")  # one file, with no log beside it
        half.replace(kept)
        _sync_folder(path.parent)
    finally:
        half.unlink(missing_ok=True)


def _patiently(job: Callable[[], T], wait_s: float) -> T:
    """Try again while another program holds the file: SQLite itself does not wait for a change of journal."""
    until = time.monotonic() + wait_s
    while True:
        try:
            return job()
        except sqlite3.OperationalError as error:
            if not getattr(error, "sqlite_errorname", "").startswith("SQLITE_BUSY") or time.monotonic() > until:
                raise
            time.sleep(0.02)


def _sync_folder(folder: Path) -> None:
    """Have a new file's name on the disk, too; Windows has no such call and needs none."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
