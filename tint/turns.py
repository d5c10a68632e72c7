"""Writers of a folder take turns, and clear away what writers that were killed left in it.

A turn is a lock on the folder itself (flock): it leaves no file behind, and the system lets go of it when its holder
ends, however it ends. So whatever half-written file stands in a folder whose turn one has, its writer is dead. Windows
and some network shares have no such lock: there everyone writes when he comes, and nothing is cleared away.
"""

from __future__ import annotations

import contextlib
import logging
import os
import re
import secrets
import shutil
import time
from collections.abc import Iterator
from pathlib import Path

from tint.errors import JobError

try:
    import fcntl
except ImportError:  # Windows
    fcntl = None  # type: ignore[assignment]  # mypy reads this as on POSIX

LOG = logging.getLogger("tint")
WAIT_S = 30.0  # s, for others that write; a write takes well under one; no source
SAY_S = 0.2  # s, from which a wait is told; no source
_AGAIN_S = 0.01  # s, between two tries; no source
_HALF = re.compile(r"\..*\.tint-[0-9a-f]{8}(-journal|-wal|-shm)?", re.DOTALL)  # the last are SQLite's


def half_name(path: Path) -> Path:
    """A name beside a file, to write it under until it is whole."""
    return path.with_name(f".{path.name[:60]}.tint-{secrets.token_hex(4)}")


@contextlib.contextmanager
def turn(*folders: Path, wait_s: float = WAIT_S) -> Iterator[None]:
    """Have folders for oneself, as far as other writers of tint go; not to be taken again by who has it.

    Raises
    ------
    JobError
        If others write there for longer than `wait_s` [s].
    """
    with contextlib.ExitStack() as held:
        for folder in sorted({each.resolve() for each in folders}):  # in one order, so that no two wait for each other
            if held.enter_context(_locked(folder, wait_s)):
                _clear(folder)
        yield


@contextlib.contextmanager
def one_at_a_time(place: Path) -> Iterator[None]:
    """Make a file that takes long while no other process makes it: who comes second waits, however long it takes.

    The lock is a file beside `place`. It goes when it is done: who waited finds what was made. Where there can be no
    lock nobody waits.
    """
    lock = place.with_name(f"{place.name}.lock")
    try:
        handle = os.open(lock, os.O_RDWR | os.O_CREAT)
    except OSError:
        yield
        return
    try:
        if fcntl is not None:
            with contextlib.suppress(OSError):  # a file system without locks
                fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        with contextlib.suppress(OSError):
            lock.unlink()
        os.close(handle)


@contextlib.contextmanager
def _locked(folder: Path, wait_s: float) -> Iterator[bool]:
    """Whether the lock could be had; where it could not, he who writes tells what is wrong with the folder."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        yield False
        return
    try:
        yield _lock(handle, folder, wait_s)
    finally:
        os.close(handle)


def _lock(handle: int, folder: Path, wait_s: float) -> bool:
    begun, said = time.monotonic(), False
    while fcntl is not None:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            return True
        except BlockingIOError:
            waited = time.monotonic() - begun
        except OSError:  # a file system without locks
            return False
        if waited > wait_s:
            found = f"another tint has been writing in it for {wait_s:g} s"
            raise JobError(str(folder), found, mend="nothing was written; try again when it has ended")
        if waited > SAY_S and not said:
            LOG.warning("%s: another tint is writing in it; waiting until it is done", folder)
            said = True
        time.sleep(_AGAIN_S)
    return False


def _clear(folder: Path) -> None:
    """Remove what dead writers left; what cannot be removed harms nobody."""
    with contextlib.suppress(OSError):
        for each in [each for each in os.scandir(folder) if _HALF.fullmatch(each.name)]:
            if each.is_dir(follow_symlinks=False):
                shutil.rmtree(each.path, ignore_errors=True)
            else:
                with contextlib.suppress(OSError):
                    os.unlink(each.path)
