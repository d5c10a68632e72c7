"""The file of a ledger: opened, made, brought to this version; read, written in transactions, closed."""

from __future__ import annotations

import contextlib
import functools
import os
import sqlite3
import time
from collections.abc import Iterator
from contextlib import AbstractContextManager
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from tint.errors import InputError, JobError, TintError
from tint.files import sync_folder
from tint.ledger import schema
from tint.turns import LOG, SAY_S, half_name, turn

FILE = "ledger.sqlite3"
_WAIT_S = 10.0  # s, for another program that is writing; common practice, no source
_AGAIN_S = 0.02  # s, between two tries; no source
_HEAD = b"SQLite format 3\x00"  # every SQLite file begins so (SQLite, "Database File Format", section 1.3)


def ledger_path(folder: str | Path) -> Path:
    """Where the ledger of a swatch folder lies."""
    return Path(folder) / FILE


class Ledger:
    """An open ledger; close it, or use it in a `with` block.

    `palette_digest` is of the swatch folder as it stands, for every row that is added; None for reading only.
    """

    def __init__(self, path: Path, connection: sqlite3.Connection, palette_digest: str | None) -> None:
        self.path, self.connection, self.palette_digest = path, connection, palette_digest

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file."""
        with told(self.path):
            self.connection.close()

    def rows(self, sql: str, *values: Any) -> list[sqlite3.Row]:
        """What a statement gives; an InputError or JobError when the file is at fault, or cannot be used now."""
        with told(self.path):
            return self.connection.execute(sql, values).fetchall()

    def transaction(self) -> AbstractContextManager[None]:
        """All that is added within is added together or not at all; when this ends it is on the disk."""
        if self.palette_digest is None:
            raise InputError(str(self.path), "was opened for reading", mend="open it with open_ledger")
        return self.within("IMMEDIATE")

    def at_one_moment(self) -> AbstractContextManager[None]:
        """All that is read within is of one moment, whatever others add meanwhile."""
        return self.within("DEFERRED")

    @contextlib.contextmanager
    def within(self, kind: str) -> Iterator[None]:
        """A transaction of the kind that SQLite calls so: ended when this ends, taken back when it fails."""
        if self.connection.in_transaction:
            yield
            return
        with told(self.path):
            _begin(self.connection, kind)
            try:
                yield
                self.connection.execute("COMMIT")
            except BaseException:
                if self.connection.in_transaction:
                    with contextlib.suppress(sqlite3.Error):  # what went wrong before is what is told
                        self.connection.execute("ROLLBACK")
                raise


def _begin(connection: sqlite3.Connection, kind: str) -> None:
    """Begin a transaction; a wait for another program that is long enough to be noticed is told."""
    wait_ms, say_ms = int(connection.execute("PRAGMA busy_timeout").fetchone()[0]), int(1000 * SAY_S)
    try:
        connection.execute(f"PRAGMA busy_timeout = {min(wait_ms, say_ms)}")
        connection.execute(f"BEGIN {kind}")
    except sqlite3.OperationalError as error:
        if not _is_busy(error) or wait_ms <= say_ms:
            raise
        LOG.warning("ledger: another program is writing to it; waiting until it is done")
        connection.execute(f"PRAGMA busy_timeout = {wait_ms}")
        connection.execute(f"BEGIN {kind}")
    finally:
        connection.execute(f"PRAGMA busy_timeout = {wait_ms}")


def _is_busy(error: sqlite3.Error) -> bool:
    return getattr(error, "sqlite_errorname", "").startswith("SQLITE_BUSY")


def now_utc() -> str:
    """This moment as rows have it."""
    return datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


@functools.cache
def tint_version() -> str:
    """The version of this tint as rows have it."""
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version("tint")
    except PackageNotFoundError:
        return "from source"


def open_ledger(path: str | Path, *, palette_digest: str, wait_s: float = _WAIT_S) -> Ledger:
    """Open a ledger for adding; make it when there is none, bring an older one to this version.

    `palette_digest` is what `tint.swatches.folder_digest` says of the swatch folder. InputError if the file is no
    ledger, damaged, of a newer tint, or cannot be written; JobError if the disk is full, or another program holds the
    file for longer than `wait_s` [s].

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
        _bring_up(ledger, wait_s)
        if new:
            sync_folder(path.parent)
    return ledger


def read_ledger(path: str | Path, *, wait_s: float = _WAIT_S) -> Ledger:
    """Open a ledger for reading; in a folder that cannot be written, too. An older one is brought to this version.

    Arguments and errors are those of `open_ledger`; that there is no ledger is an InputError.
    """
    path = Path(path)
    _check_place(path)
    if not path.exists() or path.stat().st_size == 0:
        raise InputError(str(path), "there is no ledger yet", mend="`tint ledger add order FOLDER` begins one")
    writable = _writable(path)
    ledger = Ledger(path, _connect(path, "mode=rw" if writable else _frozen(path), wait_s), None)
    with _closing_on_error(ledger):
        if writable:
            _bring_up(ledger, wait_s)
        elif schema.version_of(path, ledger.connection) != schema.FORMAT:
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


def _check_place(path: Path) -> None:
    """Refuse what SQLite would take for an empty database, or tell less plainly."""
    if path.is_dir():
        raise InputError(str(path), "is a folder", "expected the file of a ledger")
    if not path.parent.is_dir():
        raise InputError(str(path.parent), "there is no such folder", mend="check the name")
    try:
        with path.open("rb") if path.exists() else contextlib.nullcontext() as stream:
            head = stream.read(len(_HEAD)) if stream else b""
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


def _bring_up(ledger: Ledger, wait_s: float) -> None:
    """Make the tables or bring them to this version, and have the file written safely."""
    path, connection = ledger.path, ledger.connection
    version = schema.version_of(path, connection)  # before anything is written: it may be someone else's file
    mode = _write_ahead(connection, wait_s)
    # Where the file system has no shared memory the old journal stays; it then needs EXTRA for the same promise.
    connection.execute(f"PRAGMA synchronous = {'FULL' if mode == 'wal' else 'EXTRA'}")
    connection.execute("PRAGMA fullfsync = ON")  # macOS: past the disk's own cache
    if version == schema.FORMAT:
        return
    with ledger.within("IMMEDIATE"):
        version = schema.version_of(path, connection)  # another program may have been first
        if version is not None and version < schema.FORMAT:
            _copy(path, version)
        schema.bring_up(connection, version, since_utc=now_utc(), tint_version=tint_version())


def _write_ahead(connection: sqlite3.Connection, wait_s: float) -> str:
    """Ask for the write-ahead log, again and again: SQLite itself does not wait for a change of journal."""
    until = time.monotonic() + wait_s
    while True:
        try:
            return str(connection.execute("PRAGMA journal_mode = WAL").fetchone()[0])
        except sqlite3.OperationalError as error:
            if not _is_busy(error) or time.monotonic() > until:
                raise
            time.sleep(_AGAIN_S)


def _copy(path: Path, version: int) -> None:
    """Copy the ledger beside itself, whole or not at all; the caller keeps others from writing meanwhile."""
    moment = datetime.now(UTC).strftime("%Y%m%dT%H%M%S.%fZ")
    kept = path.with_name(f"{path.stem}.version-{version}.{moment}{path.suffix}")
    with turn(path.parent), contextlib.ExitStack() as after:
        half = half_name(kept)
        after.callback(half.unlink, missing_ok=True)
        with (
            contextlib.closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=rw", uri=True)) as source,
            contextlib.closing(sqlite3.connect(half)) as copy,
        ):
            copy.execute("PRAGMA synchronous = FULL")
            source.backup(copy)
            copy.execute("PRAGMA journal_mode = DELETE")  # one file, with no log beside it
        half.replace(kept)
        sync_folder(path.parent)


# What SQLite cannot do, told as one line: by the head of SQLite's own name for it, the error, what was found, its mend.

_DAMAGED = "bring back a copy, or save its rows with `sqlite3 FILE .recover`"
_FAULTS: dict[tuple[str, ...], tuple[type[TintError], str, str]] = {
    ("SQLITE_FULL",): (JobError, "the disk is full", "nothing was added; free some space, then again"),
    ("SQLITE_BUSY", "SQLITE_LOCKED"): (JobError, "another program is writing to it", "nothing was added; try again"),
    ("SQLITE_IOERR",): (JobError, "the disk fails it", "nothing was added; see to the disk and its space, then again"),
    ("SQLITE_NOMEM",): (JobError, "there is not enough memory", "close other programs, then again"),
    ("SQLITE_NOTADB",): (InputError, "is not a ledger", "move it away, or bring back a copy of the ledger"),
    ("SQLITE_CORRUPT",): (InputError, "is damaged", _DAMAGED),
    ("SQLITE_READONLY",): (InputError, "cannot be written", "make file and folder writable, or copy the folder"),
    ("SQLITE_PERM", "SQLITE_AUTH"): (InputError, "cannot be opened", "make file and folder readable"),
    ("SQLITE_CANTOPEN",): (InputError, "cannot be opened", "check the name, and that its folder is there and writable"),
    ("SQLITE_TOOBIG",): (InputError, "a value is too long for it", "shorten it"),
}


@contextlib.contextmanager
def told(path: Path) -> Iterator[None]:
    """Turn what SQLite raises about a ledger into the errors that tint tells."""
    try:
        yield
    except sqlite3.Error as error:
        raise _as_told(path, error) from error
    except UnicodeDecodeError as error:  # of what SQLite says of a damaged file, in the file's own bytes
        raise InputError(str(path), "is damaged", mend=_DAMAGED) from error


def _as_told(path: Path, error: sqlite3.Error) -> TintError:
    name, words = getattr(error, "sqlite_errorname", "") or "", str(error)[:200]
    for heads, (kind, found, mend) in _FAULTS.items():
        if name.startswith(heads):
            return kind(str(path), f"{found} ({words})", mend=mend)
    if words.startswith("CHECK constraint failed: "):
        return InputError("ledger", "a value is out of bounds", words.removeprefix("CHECK constraint failed: "))
    if isinstance(error, sqlite3.OperationalError | sqlite3.IntegrityError):
        return InputError(str(path), words)
    return InputError(str(path), f"is damaged ({words})", mend=_DAMAGED)
