"""A ledger that is open: read, written in transactions, closed."""

from __future__ import annotations

import contextlib
import functools
import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from tint.errors import InputError
from tint.ledger.schema import told

FILE = "ledger.sqlite3"


def ledger_path(folder: str | Path) -> Path:
    """Where the ledger of a swatch folder lies."""
    return Path(folder) / FILE


class Ledger:
    """An open ledger; close it, or use it in a `with` block.

    Parameters
    ----------
    path : Path
    connection : sqlite3.Connection
    palette_digest : str or None
        Of the swatch folder as it stands, for every row that is added; None for reading only.
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
        """What a statement gives.

        Raises
        ------
        InputError, JobError
            If the file is at fault, or cannot be read or written now.
        """
        with told(self.path):
            return self.connection.execute(sql, values).fetchall()

    @contextlib.contextmanager
    def transaction(self) -> Iterator[None]:
        """All that is added within is added together or not at all; when this ends it is on the disk.

        Raises
        ------
        InputError
            If the ledger was opened for reading.
        """
        if self.palette_digest is None:
            raise InputError(str(self.path), "was opened for reading", mend="open it with open_ledger")
        if self.connection.in_transaction:
            yield
            return
        with told(self.path), transaction(self.connection, "IMMEDIATE"):
            yield

    @contextlib.contextmanager
    def at_one_moment(self) -> Iterator[None]:
        """All that is read within is of one moment, whatever others add meanwhile."""
        if self.connection.in_transaction:
            yield
            return
        with told(self.path), transaction(self.connection, "DEFERRED"):
            yield


@contextlib.contextmanager
def transaction(connection: sqlite3.Connection, kind: str) -> Iterator[None]:
    """A transaction of the kind that SQLite calls so: ended when this ends, taken back when it fails."""
    connection.execute(f"BEGIN {kind}")
    try:
        yield
        connection.execute("COMMIT")
    except BaseException:
        if connection.in_transaction:
            with contextlib.suppress(sqlite3.Error):  # what went wrong before is what is told
                connection.execute("ROLLBACK")
        raise


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
