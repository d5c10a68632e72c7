"""Files written whole or not at all, and arrays that are dear to compute kept in the user's cache directory."""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tint.errors import InputError

Array = NDArray[np.float64]


def write_whole(path: str | Path, data: bytes) -> None:
    """Write `data` to `path` whole or not at all: temporary file beside it, fsync, rename.

    Raises
    ------
    InputError
        If the folder cannot be written to; nothing is left behind.
    """
    path = Path(path)
    try:
        handle, temporary = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    except OSError as error:
        raise InputError(str(path), f"cannot be written ({error.strerror})", mend="choose another place") from error
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(temporary, 0o666 & ~_umask())
        os.replace(temporary, path)
    except OSError as error:
        raise InputError(str(path), f"cannot be written ({error.strerror})", mend="choose another place") from error
    finally:
        with contextlib.suppress(FileNotFoundError):
            os.unlink(temporary)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


_SEAL = hashlib.sha256().digest_size


def arrays_to_bytes(arrays: dict[str, Array], *, key: str = "") -> bytes:
    """The arrays as the bytes of an uncompressed .npz (the open format of NumPy), with a digest of them at its end.

    Parameters
    ----------
    key : str
        What the arrays are of; it enters the digest, and is asked for when they are read.
    """
    stream = io.BytesIO()
    np.savez(stream, **arrays)  # type: ignore[arg-type]  # the stubs mistake the names for options
    return stream.getvalue() + _seal(stream.getvalue(), key)


def _seal(data: bytes, key: str) -> bytes:
    return hashlib.sha256(key.encode() + b"\0" + data).digest()


def arrays_from_bytes(data: bytes, *, key: str = "") -> dict[str, Array]:
    """Read what `arrays_to_bytes` wrote.

    Raises
    ------
    ValueError
        If a byte is another than was written, or the arrays are of another key: nothing is unpacked before that is
        known.
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
    built again; a cache that cannot be written costs only time. Two processes that build at once write the same bytes,
    each whole, and the last rename wins.
    """
    path = _cached_at(key)
    try:
        return arrays_from_bytes(path.read_bytes(), key=key)
    except (OSError, ValueError):
        arrays = build()
    with contextlib.suppress(OSError, InputError):
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, arrays_to_bytes(arrays, key=key))
    return arrays
