"""How colour moves from wet or freshly demoulded to cured, learned from paired readings and never assumed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tint import uncertainty
from tint.colorimetry import Viewing
from tint.errors import InputError
from tint.spectra import Array
from tint.swatches.instruments import Given, Measurement
from tint.swatches.one_reading import mean_of, samples_of

STATES = ("early", "cured")
_FEWEST = 5  # pairs: fewer leave nothing to judge a shift of three numbers by; common practice, no source


@dataclass(frozen=True, kw_only=True, eq=False)
class Shift:
    """The mean move in CIELAB from an early to a cured reading, and how sure it is."""

    lab: Array  # cured less early [-]; shape (3,)
    covariance: Array  # of one further casting's shift about that mean, the mean's own error included; shape (3, 3)
    pairs: int
    # the CIEDE2000 within which a cured colour predicted from an early reading falls, 95 times in 100 [-]
    radius: float
    known: bool  # whether the mean shift stands out from the scatter of the pairs


def learn_shift(early: ArrayLike, cured: ArrayLike) -> Shift:
    """Learn a shift from castings read twice.

    `early`, `cured` (n_pairs, 3): CIELAB of the same castings, in one light, observer, backing and thickness [-].
    Raises InputError with fewer than five pairs: three coordinates' scatter cannot be told from less.

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


def read_pairs(
    file: str, view: Viewing, *, wavelengths: ArrayLike, over: str = "", geometry: str = "", said: Given | None = None
) -> tuple[Array, Array]:  # fmt: skip
    """Colours of castings read twice, from a table of readings with a column `state`.

    `file`: a table: one column names the casting, `state` holds `early` or `cured`, columns of wavelengths [nm] the
        reflectance, or L, a, b the colour in the light of `view`. Several rows of one casting and state are replicates.
    `wavelengths` (n_wavelengths,): those of `view` [nm].
    `over`: the backing wanted, where the table has a column `backing`.
    `geometry`, `said`: as of `read_one`.
    Returns `early`, `cured` (n_castings, 3): CIELAB [-].
    Raises InputError if the file cannot be read, or a casting is not there in both states.
    """
    told = {"backing": over, "quantity": "reflectance"} if over else {}
    samples = samples_of(file, said=said)

    def lab(name: str, state: str) -> Array:
        wanted = {**told, "state": state}
        where = f"{file}:{name}"
        return mean_of(where, samples, name=name, onto=wavelengths, told=wanted, geometry=geometry).seen(view)

    names = _names(file, samples, over)
    early, cured = (np.array([lab(name, state) for name in names]) for state in STATES)
    return early, cured


def _names(file: str, samples: Sequence[Measurement], over: str) -> list[str]:
    """Castings in the order of the table, each one's states checked."""
    seen: dict[str, set[str]] = {}
    for each in samples:
        if "state" not in each.told:
            raise InputError(file, "there is no column state", "it holds early or cured", "add it")
        if each.told["state"] not in STATES:
            raise InputError(f"{each.where}, column state", f"`{each.told['state']}`", "early or cured")
        if not over or each.backing in ("", over):
            seen.setdefault(each.name, set()).add(each.told["state"])
    for name, states in seen.items():
        for missing in set(STATES) - states:
            raise InputError(file, f"{name} has no {missing} reading", mend="read it, or leave it out")
    return list(seen)
