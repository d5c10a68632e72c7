"""The fitted palette, and the mixing law, which stands here once.

``K = sum c_i k_i``, ``S = sum c_i s_i``, ``M = sum c_i m_i`` and ``Q = sum c_i q_i`` over the base and its pigments,
the loadings of the pigments in percent and the base's share ``1 - total / 100``. m = s / (1 - g) is all that a
component scatters, s the part that turns light round, q is m times the second moment of its phase function.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint import notebook
from tint.errors import InputError, did_you_mean
from tint.kinds import checked
from tint.materials import Base, Blend, Instrument, Pigment, Workshop
from tint.optics.layer import Optics
from tint.optics.spot import Spot
from tint.optics.surface import common, faces
from tint.palette.evidence import Evidence, Seen, Surprise, SwatchFit

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Array = NDArray[np.float64]

ONE_WAY = "castings read over two backings, a black and a white one"  # what telling opacity takes


def spot_of(instrument: Instrument) -> Spot | None:
    """The discs that an instrument sees and lights; None where it does not state what it sees."""
    if instrument.aperture_mm is None:
        return None
    return Spot(seen_mm=instrument.aperture_mm, lit_mm=instrument.lit_mm or instrument.aperture_mm)


@dataclass(frozen=True, kw_only=True, eq=False)
class Palette:
    """Fitted bases and pigments of one swatch folder, under one layer model.

    Components are the bases, then the pigments, each in the folder's order.

    Parameters
    ----------
    read_as : str
        `spectra`, `colours` (a colorimeter's L*, a*, b*) or `photographs` (colours of which some are off a picture).
    k, s : ndarray, shape (n_components, n_wavelengths)
        Absorption and scattering: of a base [1/mm], of a pigment [1/mm per % of loading].
    g : ndarray, shape (n_components, n_wavelengths)
        Anisotropy of scattering, the mean cosine [-].
    g_error : ndarray, shape (n_components,)
        Standard deviation of g at 550 nm [-].
    second_moment : ndarray, shape (n_components, n_wavelengths)
        The second Legendre moment of the phase function, g^2 for one Henyey-Greenstein lobe [-].
    index : ndarray, shape (n_bases,)
        Refractive index as fitted, near what the base states [-].
    index_error : ndarray, shape (n_bases,)
        Its standard deviation [-].
    spot_share : float
        Of what the instrument's spot loses by its stated sizes, how much the castings show [-].
    local : ndarray, shape (n_wavelengths, 2 n_components, 2 n_components)
        Covariance of (k, s) at each wavelength, apart from what wavelengths share.
    modes : ndarray, shape (n_modes, n_wavelengths, 4 n_components)
        Errors of (k, s, m, q) common to all wavelengths (thickness, doses, g): their covariance is the sum of the outer
        products.
    model_error : float
        What the model leaves in the readings beyond their noise, as a share of reflectance^(2/3) [-].
    surprises : dict of str to Surprise
        What leaving out taught of each way in which a blend may lie outside what was cast (`bold`), and of one inside.
    workshop : Workshop
        Scale and habits as the folder states them: what is taken for granted where nothing else is told. They are
        those of the folder that it was loaded from, and are not kept with it.
    """

    name: str
    read_as: str
    instrument: Instrument
    bases: dict[str, Base]
    pigments: dict[str, Pigment]
    backings: dict[str, Array]
    wavelengths: Array
    model: str
    k: Array
    s: Array
    g: Array
    g_error: Array
    second_moment: Array
    index: Array
    index_error: Array
    spot_share: float
    local: Array
    modes: Array
    model_error: float
    evidence: Evidence
    surprises: dict[str, Surprise]
    seen: dict[str, Seen]
    swatches: tuple[SwatchFit, ...]
    undetermined: tuple[str, ...]
    digest: str
    workshop: Workshop = field(default_factory=Workshop)

    @property
    def read_as_beam(self) -> NDArray[np.bool_]:
        """Which components were in castings whose regular transmittance was read, shape (n_components,)."""
        read = {name for seen in self.seen.values() for name in seen.beams}
        return np.array([name in read for name in (*self.bases, *self.pigments)])

    @property
    def coefficients(self) -> Array:
        """k, s, m and q of every component, shape (4, n_components, n_wavelengths)."""
        return np.stack((self.k, self.s, *(self.s * self.by_s)))

    @property
    def by_s(self) -> Array:
        """Slopes of m and q by s where the phase function is known, shape (2, n_components, n_wavelengths)."""
        m = 1.0 / (1.0 - self.g)
        return np.stack((m, m * self.second_moment))

    @checked()
    def finish(self, base: str) -> str:
        """The finish of a base's castings, as far as it was written and is one; else smooth: `gloss`."""
        return common(self.seen[base].circumstances.finishes) if base in self.seen else "gloss"

    @checked()
    def optics(self, base: str, *, geometry: str | None = None, as_read: bool = False, finish: str = "") -> Optics:
        """The layer model of a base, in the palette's own geometry or another.

        Parameters
        ----------
        as_read : bool
            As the palette's instrument reads a casting, with what its spot loses; else a wide casting in wide light,
            as the eye sees it.
        finish : str
            Of the faces; that of the castings when empty.
        """
        rubber = self.bases[self._declared(base)]
        index = float(self.index[tuple(self.bases).index(base)])
        geometry = geometry or self.instrument.geometry
        spot = spot_of(self.instrument) if as_read else None
        return Optics(
            model=self.model,
            refractive_index=index,
            geometry=geometry,
            k1=rubber.k1,
            k2=rubber.k2,
            spot=replace(spot, share=self.spot_share) if spot else None,
            faces=faces(finish or self.finish(base), self.wavelengths, geometry=geometry, refractive_index=index),
        )

    @checked()
    def shares(self, base: str, loadings: ArrayLike) -> Array:
        """The mixing law's c: loadings, shape (..., n_pigments) [%], to shape (..., n_components)."""
        return shares(tuple(self.bases).index(self._declared(base)), len(self.bases), np.asarray(loadings, dtype=float))

    @checked()
    def gains(self, base: str) -> Array:
        """What a percent of each pigment adds to K, S, M and Q of a base, less the base that it displaces.

        Shape (4, n_pigments, n_wavelengths) [1/mm per %].
        """
        coefficients, n_bases = self.coefficients, len(self.bases)
        own = tuple(self.bases).index(self._declared(base))
        return coefficients[:, n_bases:] - coefficients[:, own, None] / 100.0

    @checked()
    def loadings(self, blend: Blend) -> Array:
        """A blend's loadings as a vector, shape (n_pigments,) [%].

        Raises
        ------
        InputError
            If the blend names a base or pigment that the palette lacks, or a loading below 0 or above 100.
        """
        self.check_base(blend.base)
        for name, loading in blend.loadings.items():
            if name not in self.pigments:
                raise _unknown("blend", name, self.pigments, "pigment ")
            if not 0.0 <= loading <= 100.0:
                raise InputError("blend", f"{loading:g} % of {name}", "a loading from 0 to 100 %")
        vector = np.array([blend.loadings.get(name, 0.0) for name in self.pigments], dtype=float)
        if vector.sum() > 100.0:
            raise InputError("blend", f"the loadings sum to {vector.sum():g} %", "at most 100 %")
        return vector

    @checked()
    def blend(self, base: str, loadings: ArrayLike) -> Blend:
        """A vector of loadings, shape (n_pigments,) [%], as a blend of those that are not zero."""
        vector = np.asarray(loadings, dtype=float)
        if vector.shape != (len(self.pigments),):
            raise InputError("loadings", f"of shape {vector.shape}", f"one for each of {len(self.pigments)} pigments")
        return Blend(base, {name: float(x) for name, x in zip(self.pigments, vector, strict=True) if x > 0.0})

    @checked()
    def check_base(self, base: str) -> None:
        """Raise InputError unless the palette has this base, cast at least once."""
        if self._declared(base) not in self.seen:
            raise InputError("base", f"no swatch of `{base}` was ever cast", mend="cast it uncoloured, then fit again")

    def _declared(self, base: str) -> str:
        if base not in self.bases:
            raise _unknown("base", base, self.bases)
        return base

    @checked()
    def backing(self, name: str) -> Array | None:
        """Reflectance of a backing by name, shape (n_wavelengths,); None for `none`."""
        if name == "none":
            return None
        if name not in self.backings:
            raise _unknown("backing", name, [*self.backings, "none"])
        return self.backings[name]

    @property
    def pair(self) -> tuple[str, str] | tuple[()]:
        """The darkest and the lightest backing, which a contrast ratio stands on; empty where none can be told."""
        return (self.black, self.white) if len(self.backings) > 1 and self.tells_opacity else ()

    @property
    def tells_opacity(self) -> bool:
        """Whether any casting was read in two ways: over two backings, say, or in transmittance too.

        Over one backing alone a part that lets light through and one that does not can read the same.
        """
        ways = set(zip(self.evidence.swatch.tolist(), self.evidence.backing.tolist(), strict=True))
        return len(ways) > len({swatch for swatch, _ in ways})

    @property
    def read_over(self) -> tuple[str, ...]:
        """The backings that castings were read over; `none` among them for reflectance with nothing behind."""
        behind = set(self.evidence.backing.tolist())
        names = tuple(name for at, name in enumerate(self.backings) if at in behind)
        return (*names, "none") if -1 in behind else names

    def _repr_html_(self) -> str:
        return notebook.palette_html(self)

    @checked()
    def plot(self, *, ax: Axes | None = None, of: str = "absorption") -> Axes:
        """Absorption or scattering of every base and pigment over wavelength; see `tint.notebook.plot_spectra`."""
        return notebook.plot_spectra(self, ax=ax, of=of)

    @property
    def black(self) -> str:
        """The darkest backing."""
        return min(self.backings, key=lambda name: float(self.backings[name].mean()))

    @property
    def white(self) -> str:
        """The lightest backing."""
        return max(self.backings, key=lambda name: float(self.backings[name].mean()))


def shares(base: int, n_bases: int, loadings: Array) -> Array:
    """The mixing law's c, shape (..., n_components), from loadings, shape (..., n_pigments) [%]."""
    of_bases = np.zeros((*loadings.shape[:-1], n_bases))
    of_bases[..., base] = 1.0 - loadings.sum(axis=-1) / 100.0
    return np.concatenate((of_bases, loadings), axis=-1)


def _unknown(where: str, name: str, known: Collection[str], kind: str = "") -> InputError:
    found = f"{kind}`{name}` is not in the palette"
    return InputError(where, found, "one of " + ", ".join(known), did_you_mean(name, known))
