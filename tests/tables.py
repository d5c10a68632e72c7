"""Tables of numbers from outside, each a .csv in `published` whose header says where it comes from."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

PUBLISHED = Path(__file__).parent / "published"

Array = NDArray[np.float64]


def header_of(name: str) -> list[str]:
    """The lines that tell the source."""
    lines = (PUBLISHED / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    return [line.removeprefix("# ") for line in lines if line.startswith("#")]


def rows_of(name: str) -> list[dict[str, str]]:
    """The rows as text, so that printed digits can be counted."""
    lines = (PUBLISHED / f"{name}.csv").read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))


def column(name: str, *columns: str) -> Array:
    """One column, shape (n,), or several, shape (n, n_columns), as numbers."""
    values = np.array([[float(row[each]) for each in columns] for row in rows_of(name)])
    return values[:, 0] if len(columns) == 1 else values


def half_digit(decimals: int) -> float:
    """Half a unit of the last printed decimal, and a hair for its binary form."""
    return 0.5 * 10.0**-decimals + 1e-12
