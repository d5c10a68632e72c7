"""A fan from its targets to its table: chunk by chunk, with a journal that a killed run goes on from.

A table that is made again with a palette that has changed (a new lot, further swatches) keeps the recipes that still
hold. Chunks may go to several processes or machines.

The journal of finished rows lies beside the table. Its first line says what the rows are made with; each further line
holds a chunk of them. A line counts when it is whole and its rows answer the targets as they now are; what comes after
the first that is not is cut off.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import time
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path
from typing import BinaryIO

import msgspec
from msgspec import Struct

from tint.errors import InputError, JobError
from tint.fans.rows import Row, writer_of
from tint.fans.solving import CHUNK, Engine, Task, Tell, asked_of, chunks_of, here
from tint.fans.targets import Common, Wish
from tint.files import write_whole
from tint.palette import Palette

try:
    import fcntl
except ImportError:  # Windows: two runs into one file are then the user's to avoid
    fcntl = None  # type: ignore[assignment]  # mypy reads this as on POSIX


class Fan(Struct, kw_only=True, frozen=True):
    """What became of the targets of a run."""

    out: Path  # the table
    # how many there are in all, and of each kind
    targets: int
    reached: int
    out_of_reach: int
    failed: int
    kept: int  # how many of them an earlier run that was stopped had done
    # of a table that was renewed: names of the targets whose rows are other than they were, or new
    moved: tuple[str, ...] = ()


def run_fan(
    palette: Palette, wishes: Sequence[Wish], common: Common, out: str | Path, *, old: Sequence[Row] | None = None,
    engine: Engine = here, chunk: int = CHUNK, progress: Tell | None = None,
) -> Fan:  # fmt: skip
    """Solve many targets into a table, on from where a run of the same was stopped.

    The table is Parquet where its name ends in `.parquet` and else CSV; finished rows lie in `OUT.part` until all are
    there, and it is then written at once. Where a table is to be renewed, `old` are its rows: one that answers the same
    and whose recipe still holds stays as it is. `progress` is told in words how far it is, how many targets are done,
    and of how many. InputError, JobError if the files cannot be written, or another run is writing them.
    """
    out = Path(out)
    table = writer_of(out)
    tell = progress or (lambda *_: None)
    kinds: Counter[str] = Counter()
    moved: list[str] = []
    # Of several rows that answer the same, the first.
    before = None if old is None else {row.asked: row for row in reversed(old)}
    with journal(journal_path(out)) as book:
        book.begin(made_with(palette, old))
        kept = book.keep(asked_of(each, common) for each in wishes)
        done, begun = kept, time.monotonic()
        left = enumerate(wishes[kept:], start=kept + 1)
        tasks = (Task(number=at, wish=each, old=(before or {}).get(asked_of(each, common))) for at, each in left)
        for rows in engine(palette, common, chunks_of(tasks, chunk)):
            book.add(rows)
            done += len(rows)
            tell(_in_words(done, kept, len(wishes), time.monotonic() - begun), done, len(wishes))
        write_whole(out, table(_counted(book.rows(), kinds, before, moved), palette.pigments))
        journal_path(out).unlink(missing_ok=True)
    return Fan(
        out=out, targets=len(wishes), reached=kinds["reached"], out_of_reach=kinds["out_of_reach"],
        failed=kinds["failed"], kept=kept, moved=tuple(moved),
    )  # fmt: skip


def _counted(
    rows: Iterable[Row], kinds: Counter[str], before: Mapping[str, Row] | None, moved: list[str]
) -> Iterator[Row]:  # fmt: skip
    """The same rows; what they are is counted, and in a table that is renewed which are other than before is noted."""
    for row in rows:
        was = None if before is None else before.get(row.asked)
        if before is not None and (was is None or row != msgspec.structs.replace(was, number=row.number)):
            moved.append(row.name)
        kinds["reached" if row.reached else "out_of_reach" if row.base else "failed"] += 1
        yield row


def made_with(palette: Palette, old: Sequence[Row] | None) -> str:
    """What all rows of a run share: tint, the palette to its last digit, and the rows that are renewed."""
    tint = ""
    with contextlib.suppress(PackageNotFoundError):  # run from its source
        tint = version("tint")
    found = hashlib.sha256(f"{tint} {palette.model} {palette.digest}".encode())
    for row in old or ():
        found.update(repr(row).encode())
    for values in (palette.k, palette.s, palette.g, palette.second_moment):
        found.update(values.tobytes())
    return f"tint fan 1 {found.hexdigest()}"


def _in_words(done: int, kept: int, of: int, took_s: float) -> str:
    """How far it is, and how long the rest will take at the pace so far."""
    left_s = took_s / max(done - kept, 1) * (of - done)
    hours, minutes = divmod(round(left_s / 60.0), 60)
    left = f"{hours} h {minutes} min" if hours else f"{minutes} min" if minutes else f"{left_s:.0f} s"
    return f"{done} of {of} colours, {left} left"


# The journal.


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
        self._write(msgspec.json.encode(rows) + b"\n")

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
                rows = msgspec.json.decode(line, type=list[Row])
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
