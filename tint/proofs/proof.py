"""A picture for approval, as a thing to look at and to save."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from tint.errors import InputError
from tint.files import write_whole


@dataclass(frozen=True)
class Proof:
    """A picture for approval: a PNG tagged sRGB."""

    png: bytes

    def save(self, path: str | Path, *, replace: bool = False) -> Path:
        """Write it to a file, whole.

        Raises
        ------
        InputError
            If the file is there already and not to be replaced, or cannot be written.
        """
        at = Path(path)
        if at.suffix.lower() != ".png":
            raise InputError(str(at), "is not the name of a PNG", "a name that ends in .png")
        if at.exists() and not replace:
            raise InputError(str(at), "is there already", mend="choose another name, or say replace=True")
        write_whole(at, self.png)
        return at

    def _repr_png_(self) -> bytes:
        return self.png
