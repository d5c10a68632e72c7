"""How colour moves from wet or freshly demoulded to cured, learned from paired readings and never assumed."""

from __future__ import annotations

import csv
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint import uncertainty
from tint.colorimetry import Viewing
from tint.errors import InputError
from tint.swatches.one_reading import read_one

Array = NDArray[np.float64]

STATES = ("early", "cured")
_FEWEST = 5


@dataclass(frozen=True, kw_only=True, eq=False)
class Shift:
    """The mean move in CIELAB from an early to a cured reading, and how sure it is.

    Parameters
    ----------
    lab : ndarray, shape (3,)
        Cured less early [-].
    covariance : ndarray, shape (3, 3)
        Of one further casting's shift about that mean, the mean's own error included.
    pairs : int
    radius : float
        The CIEDE2000 within which a cured colour foretold from an early reading falls, 95 times in 100 [-].
    known : bool
        Whether the mean shift stands out from the scatter of the pairs.
    """

    lab: Array
    covariance: Array
    pairs: int
    radius: float
    known: bool


def learn_shift(early: ArrayLike, cured: ArrayLike) -> Shift:
    """Learn a shift from castings read twice.

    Parameters
    ----------
    early, cured : array_like, shape (n_pairs, 3)
        CIELAB of the same castings, in one light, observer, backing and thickness [-].

    Raises
    ------
    InputError
        With fewer than five pairs: three coordinates' scatter cannot be told from less.

    Notes
    -----
    A further casting's shift lies about the mean of n with the scatter of the pairs times ``1 + 1/n``. That scatter is
    itself known from n - 1 degrees of freedom only: Student's t against the normal, taken as ``(n - 1) / (n - 3)``
    on the variance, which is that of t.
    """
    before, after = np.asarray(early, dtype=float), np.asarray(cured, dtype=float)
    if before.shape != after.shape or before.ndim != 2 or before.shape[1] != 3:
        raise InputError("shift", f"{before.shape} against {after.shape}", "as many cured as early colours, L*, a*, b*")
    n = len(before)
    if n < _FEWEST:
        mend = "read further castings fresh and again when cured"
        raise InputError("shift", f"{n} pairs", f"{_FEWEST} or more", mend)
    moved = after - before
    mean = moved.mean(axis=0)
    scatter = np.cov(moved, rowvar=False)
    widened = scatter * (1.0 + 1.0 / n) * (n - 1.0) / (n - 3.0)
    return Shift(
        lab=mean,
        covariance=widened,
        pairs=n,
        radius=float(uncertainty.radius(after.mean(axis=0), widened)),
        known=_stands_out(mean, scatter, n),
    )


def _stands_out(mean: Array, scatter: Array, n: int) -> bool:
    """Hotelling's T-squared test of the mean against none, at 95 % (Hotelling 1931, Ann. Math. Stat. 2, 360)."""
    from scipy.stats import f  # 0.5 s to import; a shift is learned seldom

    squared = n * mean @ np.linalg.pinv(scatter + 1e-9 * np.eye(3)) @ mean
    return bool((n - 3.0) / (3.0 * (n - 1.0)) * squared > f.ppf(0.95, 3, n - 3))


def read_pairs(file: str, view: Viewing, *, wavelengths: ArrayLike, over: str = "") -> tuple[Array, Array]:
    """Colours of castings read twice, from a table of readings with a column `state`.

    Parameters
    ----------
    file : str
        A CSV: the first column names the casting, `state` holds `early` or `cured`, columns of wavelengths [nm] the
        reflectance, or L, a, b the colour in the light of `view`. Several rows of one casting and state are replicates.
    wavelengths : array_like, shape (n_wavelengths,)
        Those of `view` [nm].
    over : str
        The backing wanted, where the table has a column `backing`.

    Returns
    -------
    early, cured : ndarray, shape (n_castings, 3)
        CIELAB [-].

    Raises
    ------
    InputError
        If the file cannot be read, or a casting is not there in both states.
    """
    told = {"backing": over, "quantity": "reflectance"} if over else {}
    names = _names(file, over)
    labs = []
    for state in STATES:
        read = [read_one(f"{file}:{name}", onto=wavelengths, told={**told, "state": state}) for name in names]
        labs.append(np.array([each.seen(view) for each in read]))
    return labs[0], labs[1]


def _names(file: str, over: str) -> list[str]:
    """Castings in the order of the table, each one's states checked."""
    try:
        with open(file, encoding="utf-8-sig", newline="") as stream:
            header, *rows = [[cell.strip() for cell in row] for row in csv.reader(stream) if any(row)] or [[]]
            header = [name.lower() for name in header]
    except OSError as error:
        raise InputError(file, f"cannot be read ({error.strerror})", mend="check the name") from error
    except (UnicodeDecodeError, csv.Error) as error:
        raise InputError(file, "is not a table in UTF-8", mend="save it as CSV, UTF-8") from error
    if "state" not in header:
        raise InputError(f"{file}, row 1", "there is no column state", "it holds early or cured", "add it")
    state, backing = header.index("state"), header.index("backing") if "backing" in header else None
    seen: dict[str, set[str]] = {}
    for number, row in enumerate(rows, start=2):
        cells = [*row, *[""] * (len(header) - len(row))]
        if cells[state] not in STATES:
            raise InputError(f"{file}, row {number}, column state", f"`{cells[state]}`", "early or cured")
        if backing is None or not over or cells[backing] in ("", over):
            seen.setdefault(cells[0], set()).add(cells[state])
    for name, states in seen.items():
        for missing in set(STATES) - states:
            raise InputError(file, f"{name} has no {missing} reading", mend="read it, or leave it out")
    return list(seen)
