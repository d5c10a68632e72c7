"""The journal of finished rows of a fan that is being made.

It lies beside the output, so that a killed run goes on from it. Its first line says what the rows are made with; each
further line holds a chunk of them. A line counts when it is whole and its rows answer the targets as they now are; what
comes after the first that is not is cut off.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import BinaryIO

import msgspec

from tint.errors import InputError, JobError
from tint.fans.rows import Row

try:
    import fcntl
except ImportError:  # Windows: two runs into one file are then the user's to avoid
    fcntl = None  # type: ignore[assignment]  # mypy reads this as on POSIX

_rows = msgspec.json.Decoder(list[Row])
_encoder = msgspec.json.Encoder()


class Journal:
    """An open journal, to be had from `journal`."""

    def __init__(self, stream: BinaryIO) -> None:
        self._stream = stream

    def begin(self, made_with: str) -> None:
        """Keep what is there if it was made with the same; else begin anew."""
        head = made_with.encode() + b"\n"
        self._stream.seek(0)
        if self._stream.readline() != head:
            self._stream.seek(0)
            self._stream.truncate()
            self._write(head)
        self._start = len(head)

    def keep(self, asked: Iterable[str]) -> int:
        """Cut off what does not answer targets of these digests; how many rows are left."""
        wanted, done, end = iter(asked), 0, self._start
        for rows, after in self._chunks():
            if [next(wanted, None) for _ in rows] != [row.asked for row in rows]:
                break
            done, end = done + len(rows), after
        self._stream.truncate(end)
        return done

    def add(self, rows: Sequence[Row]) -> None:
        """A chunk of rows, on the disk when this returns."""
        self._stream.seek(0, os.SEEK_END)
        self._write(_encoder.encode(rows) + b"\n")

    def rows(self) -> Iterator[Row]:
        """All of them, in their order."""
        for rows, _ in self._chunks():
            yield from rows

    def _chunks(self) -> Iterator[tuple[list[Row], int]]:
        """The whole lines, and where each ends."""
        at = self._start
        while True:
            self._stream.seek(at)
            line = self._stream.readline()
            if not line.endswith(b"\n"):  # of a run that was killed while it wrote
                return
            try:
                rows = _rows.decode(line)
            except (UnicodeDecodeError, msgspec.DecodeError):
                return
            at += len(line)
            yield rows, at

    def _write(self, data: bytes) -> None:
        self._stream.write(data)
        self._stream.flush()
        os.fsync(self._stream.fileno())


def journal_path(out: Path) -> Path:
    """Where the journal of an output lies."""
    return out.with_name(f"{out.name}.part")


@contextlib.contextmanager
def journal(path: Path) -> Iterator[Journal]:
    """A journal for oneself; whoever is done with its rows removes it.

    InputError if it cannot be written; JobError if another run is writing it.
    """
    try:
        stream = os.fdopen(os.open(path, os.O_RDWR | os.O_CREAT, 0o666), "r+b")
    except OSError as error:
        raise InputError(str(path), f"cannot be written ({error.strerror})", mend="choose another place") from error
    with stream:
        if fcntl is not None:
            try:
                fcntl.flock(stream.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError as error:
                raise JobError(str(path), "another run is writing it", mend="wait until it has ended") from error
            except OSError:  # a file system without locks
                pass
        yield Journal(stream)
