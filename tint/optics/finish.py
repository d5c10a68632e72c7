"""Faces that are not smooth: what of the mirror reflection a rough face spreads, to first order.

A face of rms height sigma keeps ``exp(-(4 pi sigma cos(theta) / lambda)^2)`` of its mirror reflection as a mirror
(Bennett, H. E. and Porteus, J. O. 1961, JOSA 51, 123; from memory), and of a beam that passes it
``exp(-(2 pi sigma (n - 1) / lambda)^2)`` as a beam; the rest is spread. What is reflected in all stays the same. The
heights that stand for the words are common practice, no source: a polished mould, a fine blasted one, a coarse one.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.errors import InputError
from tint.optics.surface import DEGREES_8, fresnel

Array = NDArray[np.float64]

HEIGHTS_UM = {"gloss": 0.0, "satin": 0.05, "matt": 0.5}
_SPELLINGS = {"matte": "matt", "smooth": "gloss", "glossy": "gloss"}
_STEP = 1e-4  # of the index, for the slope of a closed form
_HALFWAY = float(np.cos(np.radians(22.5)))  # facets so tilted send light at 45 degrees straight out


def mirrored_share(finish: str, wavelengths: ArrayLike) -> Array:
    """Share of a face's mirror reflection at 8 degrees that stays one, shape of wavelengths [nm]; 1 for `gloss`.

    Raises
    ------
    InputError
        If the finish is not known.
    """
    phase = 4.0 * np.pi * 1e3 * _height(finish) * DEGREES_8 / np.asarray(wavelengths, dtype=float)
    return np.asarray(np.exp(-(phase**2)))


def passed_share(finish: str, wavelengths: ArrayLike, refractive_index: float) -> Array:
    """Share of a beam that two such faces pass as a beam, shape of wavelengths [nm]."""
    phase = 2.0 * np.pi * 1e3 * _height(finish) * (refractive_index - 1.0) / np.asarray(wavelengths, dtype=float)
    return np.asarray(np.exp(-2.0 * phase**2))


def added(finish: str, wavelengths: ArrayLike, *, geometry: str, refractive_index: float) -> Array:
    """What a finish adds to the reading of a smooth face, shape of wavelengths [-].

    With the specular included nothing: the sphere sees spread light as well. Excluded, the gloss that is spread past
    the trap. At 45:0 the gloss of facets tilted by 22.5 degrees, as if it were spread alike every way.
    """
    spread = 1.0 - mirrored_share(finish, wavelengths)
    if geometry == "di:8":
        return np.zeros_like(spread)
    cosine = DEGREES_8 if geometry == "de:8" else _HALFWAY
    return np.asarray(float(fresnel(refractive_index, cosine)) * spread)


@dataclass(frozen=True, eq=False)
class Faces:
    """What rough faces do at each wavelength, shape (n_wavelengths,) each.

    Parameters
    ----------
    added, by_index : ndarray
        As of `added`, and its slope by the refractive index [-].
    kept : ndarray
        As of `passed_share` [-].
    """

    added: Array
    by_index: Array
    kept: Array

    def picked(self, which: slice) -> Faces:
        """At some of the wavelengths."""
        return Faces(self.added[which], self.by_index[which], self.kept[which])


def faces(finish: str, wavelengths: Array, *, geometry: str, refractive_index: float) -> Faces | None:
    """Faces of a finish, as `word_for` knows it; None for smooth ones."""
    word = word_for(finish)
    if not _height(word):
        return None
    here, above, below = (
        added(word, wavelengths, geometry=geometry, refractive_index=refractive_index + step)
        for step in (0.0, _STEP, -_STEP)
    )
    return Faces(here, (above - below) / (2.0 * _STEP), passed_share(word, wavelengths, refractive_index))


def common(finishes: Iterable[str]) -> str:
    """The one finish of those that were written; smooth where there are several or none."""
    words = {word_for(each) for each in finishes if each}
    return words.pop() if len(words) == 1 else "gloss"


def word_for(finish: str) -> str:
    """A maker's word for a face as one of `HEIGHTS_UM`; smooth where it says nothing that is known."""
    return known_word(finish) or "gloss"


def known_word(finish: str) -> str:
    """As `word_for`; empty where it says nothing that is known."""
    word = " ".join(finish.split()).casefold()
    return word if word in HEIGHTS_UM else _SPELLINGS.get(word, "")


def _height(finish: str) -> float:
    if finish not in HEIGHTS_UM:
        raise InputError("finish", f"`{finish}` is not known", ", ".join(HEIGHTS_UM))
    return HEIGHTS_UM[finish]
