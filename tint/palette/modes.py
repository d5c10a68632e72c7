"""Errors that wavelengths share, held as few modes."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


def compress(modes: Array, scale: Array, *, kept: float = 0.9995) -> Array:
    """Fewest modes, shape (r, ...), whose outer products sum to (nearly) those of all, measured in `scale`."""
    if not modes.any():  # no thickness or dose is in doubt
        return modes[:0]
    flat = (modes / scale).reshape(modes.shape[0], -1)
    values, vectors = np.linalg.eigh(flat @ flat.T)
    order = np.argsort(values)[::-1]
    share = np.cumsum(values[order]) / max(values.sum(), 1e-300)
    count = int(np.searchsorted(share, kept)) + 1
    turned = vectors[:, order[:count]].T @ modes.reshape(modes.shape[0], -1)
    return np.asarray(turned.reshape(count, *modes.shape[1:]))
