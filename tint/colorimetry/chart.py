"""The colour chart of 4 by 6 patches: spectra, colours in any light, and root polynomials that bring a camera to them.

References
----------
Finlayson, Mackiewicz and Hurlbert (2015), IEEE Trans. Image Process. 24, 1460: root-polynomial colour correction. The
spectra are the mean of thirty charts, as colour-science ships them under the key below.
"""

from __future__ import annotations

import functools

import numpy as np

from tint.colorimetry.cielab import lab
from tint.colorimetry.weights import from_colour_science, viewing
from tint.files import Array

COLUMNS, ROWS = 6, 4
# By row and column, the chart lying so that its row of greys is D and begins with white: A1 is at the upper left.
PATCHES = tuple(f"{row}{column}" for row in "ABCD" for column in range(1, COLUMNS + 1))
# Their key among the charts of colour-science.
_SPECTRA = "BabelColor Average"
GREYS = slice(18, 24)  # D1, white, to D6, black
DEGREES = (1, 2, 3, 4)


def _build() -> dict[str, Array]:
    import colour
    from colour.characterisation import polynomial_expansion_Finlayson2015 as expanded

    # The powers of R, G and B in each term: what it becomes where one of them is e and the others are 1.
    powers = {
        f"powers {degree}": np.log(np.stack([expanded(np.exp(unit), degree, True) for unit in np.eye(3)], axis=-1))
        for degree in DEGREES
    }
    spectra = list(colour.SDS_COLOURCHECKERS[_SPECTRA].values())
    return powers | {
        "wavelengths": np.asarray(spectra[0].wavelengths, dtype=float),
        "spectra": np.stack([np.asarray(each.values, dtype=float) for each in spectra]),
    }


@functools.lru_cache(maxsize=1)
def _tables() -> dict[str, Array]:
    return from_colour_science("chart 1", _build)


def chart_spectra() -> tuple[Array, Array]:
    """Wavelengths [nm], and the reflectances of the 24 patches in the order of `PATCHES`, shape (24, n) [0 to 1]."""
    return _tables()["wavelengths"], _tables()["spectra"]


def chart_lab(*, light: str = "D65", observer: int = 10) -> Array:
    """CIELAB of the 24 patches in a light, from their spectra, so that nothing is adapted; shape (24, 3) [-].

    Raises InputError for an unknown light or observer.
    """
    wavelengths, spectra = chart_spectra()
    return lab(spectra, viewing(wavelengths, light=light, observer=observer))


def root_terms(rgb: Array, degree: int) -> Array:
    """Root-polynomial terms of camera responses, shape (..., 3) to (..., terms) [-].

    `rgb` (..., 3): responses linear in light, above zero [-].
    `degree`: 1 (no more than a matrix) to 4.

    Every term is a product of powers that sum to one, as sqrt(RG): the terms of twice the light are twice the terms, so
    a correction that was fitted at one exposure holds at another.
    """
    return np.asarray(np.exp(np.log(rgb) @ _tables()[f"powers {degree}"].T))


def root_matrix(rgb: Array, xyz: Array, degree: int, *, use: Array | None = None) -> Array:
    """The matrix that brings root-polynomial terms nearest to XYZ, each patch's colour counting as the eye would.

    `rgb`, `xyz` (..., n, 3): responses linear in light, and the tristimulus values they stand for [-].
    `degree`: 1 to 4.
    `use` (..., n): 1 for a patch that counts, 0 for one that is left out [-].
    Returns shape (..., terms, 3): `root_terms(rgb, degree)` times this is XYZ.

    Least squares, as Finlayson and others 2015, but with each patch divided by Y^(2/3): L* follows Y^(1/3), so an equal
    difference in XYZ is worth so much more in a dark patch.
    """
    weight = np.maximum(xyz[..., 1:2], 1e-6) ** (-2.0 / 3.0)
    if use is not None:
        weight = weight * use[..., None]
    return np.asarray(np.linalg.pinv(root_terms(rgb, degree) * weight) @ (xyz * weight))
