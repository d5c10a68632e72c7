"""Files written whole or not at all, cells of tables, and dear arrays kept in the user's cache directory."""

from __future__ import annotations

import contextlib
import csv
import errno
import hashlib
import io
import os
import re
import shutil
import signal
import stat
import sys
import warnings
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tint.errors import ChangedError, InputError, TintError
from tint.turns import half_name, one_at_a_time, turn

Array = NDArray[np.float64]


def write_whole(path: str | Path, data: bytes | Iterable[bytes], *, was: bytes | None = None) -> None:
    """Write `data` to `path` whole or not at all; see `write_all`.

    `was` is what must still stand there, nothing for no file: whoever read it worked it into `data`. ChangedError if
    something else stands there by now.
    """
    write_all({Path(path): data}, was={} if was is None else {Path(path): was})


def write_all(contents: Mapping[Path, bytes | Iterable[bytes]], *, was: Mapping[Path, bytes] | None = None) -> None:
    """Write files, each whole, and all of them or none: beside their places first, then renamed into them.

    A link is written through to its file; a file that is there keeps its mode and, where that may be, its owner. Who
    writes has the turn of the folders. (Between two renames a killed process can leave one file new and the other old.)

    Data may come as bytes that follow each other; `was` is as in `write_whole`. InputError if a place cannot be written
    to; all is then as it was; ChangedError, JobError if a file has changed, or another writer does not come to an end.
    """
    places = {path: _place(path) for path in contents}
    if len(set(places.values())) < len(places):
        raise InputError(", ".join(map(str, places)), "are one file", "expected a name for each")
    halves: dict[Path, Path] = {}
    with turn(*(place.parent for place in places.values())):
        for path, content in (was or {}).items():
            _check_same(path, content)
        try:
            for (path, place), data in zip(places.items(), contents.values(), strict=True):
                with _told(path):
                    halves[place] = half_name(place)
                    _write_half(halves[place], place, data)
            with _told(*places), _uninterrupted():
                _rename(halves)
        finally:
            for half in halves.values():
                with contextlib.suppress(OSError):
                    half.unlink(missing_ok=True)


def bytes_of(path: str | Path, most: int = -1) -> bytes:
    """What stands in a file, or so many bytes of it; InputError if it cannot be read."""
    try:
        with Path(path).open("rb") as stream:
            return stream.read(most)
    except (OSError, ValueError) as error:
        reason = (error.strerror if isinstance(error, OSError) else None) or error
        raise InputError(str(path), f"cannot be read ({reason})", mend="check the name") from error


def bytes_within(path: str | Path, most: int, *, expected: str = "", mend: str) -> bytes:
    """What stands in a file of at most so many bytes; InputError if it holds more, or cannot be read."""
    data = bytes_of(path, most + 1)
    if len(data) > most:
        raise InputError(str(path), f"is larger than {most / 1e6:.0f} MB", expected, mend)
    return data


@contextlib.contextmanager
def _told(*paths: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        where, mend = ", ".join(map(str, paths)), "choose another place"
        raise InputError(where, f"cannot be written ({error.strerror})", mend=mend) from error


def _place(path: Path) -> Path:
    """Where a file really lies."""
    if not path.is_symlink():
        return path.parent.resolve() / path.name
    try:
        return path.resolve(strict=True)
    except (OSError, RuntimeError) as error:
        mend = "remove the link, or choose another name"
        raise InputError(str(path), "is a link to what is not there", mend=mend) from error


def _check_same(path: Path, was: bytes) -> None:
    try:
        now = path.read_bytes()
    except OSError:
        now = b""
    if now != was:
        raise ChangedError(str(path), "was changed by another program meanwhile", mend="nothing was written; try again")


def _write_half(half: Path, place: Path, data: bytes | Iterable[bytes]) -> None:
    with half.open("xb") as stream:
        stream.writelines([data] if isinstance(data, bytes) else data)
        stream.flush()
        os.fsync(stream.fileno())
    if place.is_dir():
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
    if place.exists():
        before = place.stat()
        with contextlib.suppress(OSError, AttributeError):  # others' files, and Windows
            os.chown(half, before.st_uid, before.st_gid)
        half.chmod(stat.S_IMODE(before.st_mode))


def _rename(halves: Mapping[Path, Path]) -> None:
    """Put files into their places; when one cannot, those before it are taken back."""
    kept: dict[Path, Path] = {}
    done: list[Path] = []
    try:
        for place in halves if len(halves) > 1 else ():
            if place.exists():
                kept[place] = half_name(place)
                try:
                    kept[place].hardlink_to(place)
                except OSError:  # a file system without such links
                    shutil.copy2(place, kept[place])
        for place, half in halves.items():
            half.replace(place)
            done.append(place)
    except OSError:
        for place in done:
            with contextlib.suppress(OSError):
                kept[place].replace(place) if place in kept else place.unlink()
        raise
    finally:
        for each in kept.values():
            with contextlib.suppress(OSError):
                each.unlink(missing_ok=True)
    for folder in {place.parent for place in halves}:
        sync_folder(folder)


@contextlib.contextmanager
def _uninterrupted() -> Iterator[None]:
    """Hold back Ctrl-C for the moment that renaming takes; Windows cannot."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def sync_folder(folder: Path) -> None:
    """Have a new file's name on the disk, too; Windows has no such call and needs none."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


_SEAL = hashlib.sha256().digest_size


def arrays_to_bytes(arrays: dict[str, Array], *, key: str = "") -> bytes:
    """The arrays as the bytes of an uncompressed .npz (the open format of NumPy), with a digest of them at its end.

    `key` says what the arrays are of; it enters the digest, and is asked for when they are read.
    """
    stream = io.BytesIO()
    np.savez(stream, **arrays)  # type: ignore[arg-type]  # the stubs mistake the names for options
    return stream.getvalue() + _seal(stream.getvalue(), key)


def _seal(data: bytes, key: str) -> bytes:
    return hashlib.sha256(key.encode() + b"\0" + data).digest()


def arrays_from_bytes(data: bytes, *, key: str = "") -> dict[str, Array]:
    """Read what `arrays_to_bytes` wrote.

    ValueError if a byte is another than was written, or the arrays are of another key: nothing is unpacked before that
    is known.
    """
    whole, seal = data[:-_SEAL], data[-_SEAL:]
    if seal != _seal(whole, key):
        raise ValueError("not a whole archive of arrays")
    try:
        with np.load(io.BytesIO(whole), allow_pickle=False) as archive:
            return {name: archive[name] for name in archive.files}
    except (OSError, EOFError, KeyError, TypeError, RuntimeError, zipfile.BadZipFile) as error:
        raise ValueError(f"not a whole archive of arrays ({error})") from error


def cache_folder() -> Path:
    """Where tint keeps what it can compute again: `$TINT_CACHE`, or the platform's cache directory."""
    chosen = os.environ.get("TINT_CACHE")
    if chosen:
        return Path(chosen)
    import platformdirs  # only needed where no folder is named

    return Path(platformdirs.user_cache_dir("tint"))


def is_cached(key: str) -> bool:
    """Whether `cached_arrays` has something of that key to read."""
    return _cached_at(key).exists()


def _cached_at(key: str) -> Path:
    return cache_folder() / f"{hashlib.sha256(key.encode()).hexdigest()[:32]}.npz"


def cached_arrays(key: str, build: Callable[[], dict[str, Array]]) -> dict[str, Array]:
    """The arrays that `build` makes, from the cache when they lie there whole.

    `key` names everything the arrays depend on. A file that is not byte for byte what was written under that key is
    built again; a cache that cannot be written costs only time. Of several processes one builds, and the others wait.
    """
    path = _cached_at(key)
    found = _cached(path, key)
    if found is not None:
        return found
    with contextlib.suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
    with one_at_a_time(path):
        found = _cached(path, key)  # somebody else may have built it meanwhile
        if found is not None:
            return found
        arrays = build()
        with contextlib.suppress(OSError, TintError):
            write_whole(path, arrays_to_bytes(arrays, key=key))
        return arrays


def _cached(path: Path, key: str) -> dict[str, Array] | None:
    try:
        return arrays_from_bytes(path.read_bytes(), key=key)
    except (OSError, ValueError):
        return None


@contextlib.contextmanager
def hushed() -> Iterator[None]:
    """Have libraries decode a file without a word of their own: no warnings, and nothing on standard error.

    libtiff, which is written in C, tells every fault of a TIFF there, whatever becomes of it.
    """
    with contextlib.ExitStack() as held:
        held.enter_context(warnings.catch_warnings(action="ignore"))
        with contextlib.suppress(OSError, ValueError):  # a program may have closed its standard error
            sys.stderr.flush()
            kept, nowhere = os.dup(2), os.open(os.devnull, os.O_WRONLY)
            held.callback(os.close, kept)
            held.callback(os.dup2, kept, 2)
            os.dup2(nowhere, 2)
            os.close(nowhere)
        yield


# Cells of CSV tables. One that begins with `=`, `+`, `-`, `@`, a tabulator or a line end is worked out by spreadsheets;
# behind an apostrophe it is words. One that begins with apostrophes and such a sign gets one more, so that what is read
# back is what was written.

_FORMULA = re.compile("'*[-=+@\t\r\n\uff0b\uff0d\uff1d\uff20]")  # the last four are the signs in full width


def neutral(cell: object) -> object:
    """A cell as it is to be written; numbers and what is no formula stay as they are."""
    return f"'{cell}" if isinstance(cell, str) and _FORMULA.match(cell) else cell


def csv_table(rows: Iterable[Iterable[object]]) -> bytes:
    """Rows as comma-separated values in UTF-8, the header among them; no cell is a formula."""
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows([neutral(cell) for cell in row] for row in rows)
    return out.getvalue().encode()


def restored(cell: str) -> str:
    """What was given to `neutral`."""
    return cell[1:] if cell.startswith("'") and _FORMULA.match(cell) else cell
