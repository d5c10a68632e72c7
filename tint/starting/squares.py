"""Label squares of a folder: which number stands for which casting on which card, and the page to cut them from."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from tint.errors import InputError
from tint.files import write_all
from tint.photographs.squares import CASTING, CELLS, MARGIN, NUMBERS, SQUARES_FILE, Square, cells_of
from tint.photographs.tables import read_squares, squares_csv
from tint.swatches.folder import read_cast
from tint.weighing import AREA_CM2

SQUARES_PAGE = "squares.html"

# Places of a bare card: of the white one as many as tell light that falls off along a curve, of another two.
_BARE_WHITE, _BARE = 8, 2
_SEAT = "air"  # castings lie on the cards, nothing between


def squares_for(
    castings: Sequence[str], cards: Sequence[str], *, name: str, kept: Sequence[Square] = ()
) -> tuple[Square, ...]:  # fmt: skip
    """A square for each casting on each card, and for the bare cards; those that there are stay as they are.

    Parameters
    ----------
    castings : sequence of str
        As swatches.csv calls them.
    cards : sequence of str
        The white one last.
    name : str
        Of the workshop. Its squares begin at a number of its own, so that squares of another folder, laid by mistake,
        are mostly none of this one.
    kept : sequence of Square
        Those that were printed before.

    Raises
    ------
    InputError
        If there are more castings than numbers.
    """
    wanted = [(casting, card, _SEAT) for casting in castings for card in cards]
    have = [(each.name, each.backing, each.seat) for each in kept]
    new = [each for each in wanted if each not in have]
    for card in cards:
        count = _BARE_WHITE if card == cards[-1] else _BARE
        new += [(card, "", "")] * (count - have.count((card, "", "")))
    used = {each.number for each in kept}
    first = int(hashlib.sha256(name.encode()).hexdigest(), 16) % NUMBERS
    free = [number for step in range(NUMBERS) if (number := (first + step) % NUMBERS) not in used]
    if len(new) > len(free):
        found = f"{len(new) + len(used)} are needed for {len(castings)} castings"
        raise InputError("squares", found, f"{NUMBERS} at most", "name the places with `tint photograph --spots`")
    made = [
        Square(number=number, name=casting, backing=card, seat=seat)
        for number, (casting, card, seat) in zip(free, new, strict=False)
    ]
    return (*kept, *made)


@dataclass(frozen=True, kw_only=True)
class Labels:
    """The label squares of a folder."""

    squares: tuple[Square, ...]
    new: int  # how many of them were not printed before
    told: dict[str, object]  # what the sheet of them is filled in with

    @property
    def table(self) -> bytes:
        """squares.csv."""
        return squares_csv(self.squares)


def check_area(area_cm2: float) -> None:
    """Refuse what is no area of a swatch [cm2]."""
    if not 1.0 <= area_cm2 <= 1000.0:
        raise InputError("swatch", f"{area_cm2:g} cm2", "1 to 1000 cm2")


def labels_for(
    folder: Path, castings: Sequence[str], cards: Sequence[str], *, name: str, area_cm2: float = AREA_CM2
) -> Labels:
    """The label squares of a folder, with those that it has already.

    Parameters
    ----------
    area_cm2 : float
        Of a swatch, which the squares are sized by [cm2].
    castings, cards, name
        As of `squares_for`.

    Raises
    ------
    InputError
        If OpenCV is missing, which draws them, squares.csv is at fault, or there are more castings than numbers.
    """
    check_area(area_cm2)
    kept = tuple(read_squares(folder).values()) if (folder / SQUARES_FILE).exists() else ()
    squares = squares_for(castings, cards, name=name, kept=kept)
    side_mm = 10.0 * area_cm2**0.5 / CASTING
    told: dict[str, object] = {
        "labels": [(each, _path(each.number)) for each in squares],
        "wide_mm": f"{(1.0 + 2.0 * MARGIN) * side_mm:.1f}",
        "casting_mm": f"{10.0 * area_cm2**0.5:.0f}",
        "folder": str(folder),
        "on": list(cards),
    }
    return Labels(squares=squares, new=len(squares) - len(kept), told=told)


def _path(number: int) -> str:
    """The black cells of a square as a path, a cell wide one, from its upper left corner."""
    white = cells_of(number)
    return "".join(f"M{x} {y}h1v1h-1z" for y, x in np.argwhere(~white) + round(MARGIN * CELLS))


def print_squares(folder: Path, *, area_cm2: float = AREA_CM2) -> Labels:
    """Write squares.csv and squares.html for all castings of a folder; squares that were printed before stay.

    Raises
    ------
    InputError
        As `labels_for`, or the typeface of the page is not installed.
    FolderError
        If palette.toml or swatches.csv is at fault.
    """
    from tint.proofs.leaf import rendered  # pages are for those who print

    declared, casts = read_cast(folder)
    names = [swatch.name for swatch in casts.swatches]
    labels = labels_for(folder, names, declared.backings, name=declared.name, area_cm2=area_cm2)
    page = rendered("squares.html.j2", title=declared.name, squares=labels.told)
    write_all({folder / SQUARES_FILE: labels.table, folder / SQUARES_PAGE: page})
    return labels
