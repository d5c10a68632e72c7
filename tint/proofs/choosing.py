"""The span of a colour that was photographed without a chart, as chips on a page for the customer to choose from."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from tint.photographs.mailed import Wanted
from tint.proofs.leaf import rendered
from tint.proofs.trial import Photo

COLUMNS = 5  # of chips, as they are named


def choosing_page(wanted: Wanted, *, spot: tuple[float, float], title: str, words: str = "") -> bytes:
    """The page as HTML, self-contained.

    Parameters
    ----------
    wanted : Wanted
        With chips to choose from.
    spot : tuple of float
        The place in the photograph [px].
    title : str
        What the order is called.
    words : str
        The customer's own; may be blank.

    Raises
    ------
    InputError
        If what draws it is not installed.
    """
    chips = wanted.chips
    rows = [chips[start : start + COLUMNS] for start in range(0, len(chips), COLUMNS)]
    middle = len(rows) // 2
    return rendered(
        "choosing.html.j2",
        title=title,
        words=words,
        error=f"{wanted.error if wanted.span is None else wanted.span.error:.0f}",
        rows=[(name, each) for name, each in zip(("lighter", "as in the picture", "darker"), rows, strict=True)],
        heads=[chip.words for chip in rows[middle]],
        photo=Photo(_around(wanted.picture.pixels, spot, wanted.side), "the picture"),
    )


def _around(pixels: NDArray[np.uint8], spot: tuple[float, float], size: float) -> NDArray[np.uint8]:
    """The neighbourhood of a place, with the square that was read drawn in it."""
    height, width = pixels.shape[:2]
    wide, high = (max(min(round(share * size), most), 16) for share, most in ((9.0, width), (6.0, height)))
    left = int(np.clip(spot[0] - wide / 2, 0, width - wide))
    top = int(np.clip(spot[1] - high / 2, 0, height - high))
    shown = pixels[top : top + high, left : left + wide].copy()
    x, y = round(spot[0] - left), round(spot[1] - top)
    half, thick = round(size / 2) + 1, max(round(size / 24), 1)
    level = 0 if shown.mean() > 127.0 else 255
    rows, columns = np.abs(np.arange(high) - y)[:, None], np.abs(np.arange(wide) - x)[None, :]
    away = np.maximum(rows, columns)
    shown[(away >= half) & (away < half + thick)] = level
    return shown
