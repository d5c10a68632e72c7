"""The files made of an order: written when what they are made of has changed, and never over what a maker altered."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from pathlib import Path

import msgspec

from tint.files import write_all, write_whole

STATE = "made.json"
_REMEMBERED = 4  # contents of a file that are known to be ours: the last, the one that a stopped run began, and spare


class _File(msgspec.Struct, kw_only=True):
    """Of a file: what it was last made of, and digests of what was written into it, the newest last."""

    made_of: str = ""
    ours: list[str] = []


class Made(msgspec.Struct, frozen=True, kw_only=True):
    """What a run did with the files of an order, each by its path."""

    written: tuple[Path, ...] = ()  # made now
    kept: tuple[Path, ...] = ()  # up to date already
    left: tuple[Path, ...] = ()  # altered by someone since they were made, and therefore left as they are


def digest(*parts: bytes | str) -> str:
    """One digest over several things, each with its length."""
    found = hashlib.sha256()
    for part in parts:
        data = part.encode() if isinstance(part, str) else part
        found.update(len(data).to_bytes(8, "big") + data)
    return found.hexdigest()


class Files:
    """The folder of what is made of an order, and the memory of what was written there."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._state = _read(folder / STATE)

    def is_fresh(self, path: Path, made_of: str) -> bool:
        """Whether the file stands as it was made, and was made of this."""
        known = self._state.get(path.name)
        return known is not None and known.made_of == made_of and _of(path) in known.ours[-1:]

    def made_of(self, path: Path) -> str:
        """What a file was last made of; empty where nothing is known of it."""
        known = self._state.get(path.name)
        return "" if known is None else known.made_of

    def is_ours(self, path: Path) -> bool:
        """Whether nobody has altered it: it is not there, or holds what was once written."""
        there = _of(path)
        known = self._state.get(path.name)
        return there is None or (known is not None and there in known.ours)

    def write(self, contents: Mapping[Path, tuple[str, bytes]]) -> None:
        """Write files, each with the digest of what it is made of.

        What is about to be written is remembered first: a run that is stopped halfway leaves no file that the next one
        would take for a maker's own.
        """
        for path, (made_of, data) in contents.items():
            known = self._state.get(path.name, _File())
            ours = [*(each for each in known.ours if each != digest(data)), digest(data)][-_REMEMBERED:]
            self._state[path.name] = _File(made_of=made_of, ours=ours)
        self.folder.mkdir(parents=True, exist_ok=True)
        write_whole(self.folder / STATE, msgspec.json.format(msgspec.json.encode(self._state)))
        write_all({path: data for path, (_, data) in contents.items()})


def _of(path: Path) -> str | None:
    try:
        return digest(path.read_bytes())
    except FileNotFoundError:
        return None


def _read(path: Path) -> dict[str, _File]:
    """What is remembered; nothing where the memory is lost, and then every file counts as a maker's own."""
    try:
        return msgspec.json.decode(path.read_bytes(), type=dict[str, _File])
    except (OSError, UnicodeDecodeError, msgspec.DecodeError):
        return {}
