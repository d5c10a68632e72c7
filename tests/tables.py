"""Tables of numbers to judge by, each a .csv whose header says where it comes from and how each column was seen.

What was seen in print or through somebody's library lies in `published`; what was only computed again from a published
equation lies in `recomputed`.
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

PUBLISHED, RECOMPUTED = (Path(__file__).parent / name for name in ("published", "recomputed"))

Array = NDArray[np.float64]


def header_of(name: str) -> list[str]:
    """The lines that tell the source."""
    return [line.removeprefix("# ") for line in _lines(name) if line.startswith("#")]


def rows_of(name: str) -> list[dict[str, str]]:
    """The rows as text, so that printed digits can be counted."""
    return list(csv.DictReader(line for line in _lines(name) if not line.startswith("#")))


def _lines(name: str) -> list[str]:
    (path,) = (folder / f"{name}.csv" for folder in (PUBLISHED, RECOMPUTED) if (folder / f"{name}.csv").exists())
    return path.read_text(encoding="utf-8").splitlines()


def column(name: str, *columns: str) -> Array:
    """One column, shape (n,), or several, shape (n, n_columns), as numbers."""
    values = np.array([[float(row[each]) for each in columns] for row in rows_of(name)])
    return values[:, 0] if len(columns) == 1 else values


def half_digit(decimals: int) -> float:
    """Half a unit of the last printed decimal, and a hair for its binary form."""
    return 0.5 * 10.0**-decimals + 1e-12
