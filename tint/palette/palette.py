"""The fitted palette: what each base and pigment adds to absorption and scattering, and how well that is known.

The mixing law stands here, once: ``K = sum c_i k_i`` and ``S = sum c_i s_i`` over the base and its pigments, the
loadings of the pigments in percent and the base's share ``1 - total / 100``.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import msgspec
import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint.errors import InputError
from tint.files import arrays_from_bytes, arrays_to_bytes, write_whole
from tint.materials import Base, Blend, Instrument, Pigment
from tint.optics.layer import Optics

Array = NDArray[np.float64]

FORMAT = 1  # of the file; raise it with any change to what is written


@dataclass(frozen=True, kw_only=True)
class SwatchFit:
    """How one swatch agrees with the palette.

    Parameters
    ----------
    delta_e : float
        Mean CIEDE2000 of its reflectance readings against the fit (D65, 10 degrees) [-]; NaN for transmittance alone.
    residual : float
        Root mean square residual of all its readings [reflectance].
    thickness_mm, fitted_thickness_mm : float
        As written and as the readings would have it [mm].
    weight : float
        1 for a swatch that counts fully; less for one that the others contradict [-].
    suspect : str
        Why it does not fit, in words; empty for a good one.
    """

    name: str
    base: str
    delta_e: float
    residual: float
    thickness_mm: float
    fitted_thickness_mm: float
    weight: float
    suspect: str = ""


@dataclass(frozen=True, kw_only=True)
class Seen:
    """What the swatches of one base covered: the ground that predictions stand on.

    Parameters
    ----------
    thickness_mm : tuple of float
        Thinnest and thickest [mm].
    max_loading : dict of str to float
        Largest loading cast of each pigment; a pigment that was never cast is absent [%].
    max_total : float
        Largest sum of loadings cast [%].
    mixed : tuple of str
        The pigments that were cast together with at least one other.
    """

    thickness_mm: tuple[float, float]
    max_loading: dict[str, float]
    max_total: float
    mixed: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class Evidence:
    """Every reading beside what the fit says of it; what predictions near it learn their misfit from.

    Parameters
    ----------
    read, fitted : ndarray, shape (n_readings, n_wavelengths)
        [-]
    foretold : ndarray, shape (n_readings, n_wavelengths)
        What a fit without that swatch would have said of it [-].
    swatch : ndarray of int, shape (n_readings,)
        Index into `Palette.swatches`.
    backing : ndarray of int, shape (n_readings,)
        Index into the palette's backings; -1 for a free slab, -2 for a transmittance.
    missed, expected : ndarray, shape (n_readings,)
        Squared CIEDE2000 between foretold and read (D65, 10 degrees), and the mean square that covariance, thickness,
        doses and noise lead one to expect [-].
    """

    read: Array
    fitted: Array
    foretold: Array
    swatch: NDArray[np.int64]
    backing: NDArray[np.int64]
    missed: Array
    expected: Array


@dataclass(frozen=True, kw_only=True, eq=False)
class Palette:
    """Fitted bases and pigments of one swatch folder, under one layer model.

    Components are the bases, then the pigments, each in the folder's order.

    Parameters
    ----------
    k, s : ndarray, shape (n_components, n_wavelengths)
        Absorption and scattering: of a base [1/mm], of a pigment [1/mm per % of loading].
    local : ndarray, shape (n_wavelengths, 2 n_components, 2 n_components)
        Covariance of (k, s) at each wavelength, apart from what wavelengths share.
    modes : ndarray, shape (n_modes, n_wavelengths, 2 n_components)
        Errors common to all wavelengths (thickness, doses): their covariance is the sum of the outer products.
    misfit : float
        What the model leaves in the readings beyond their noise, as a share of reflectance^(2/3) [-].
    """

    name: str
    instrument: Instrument
    bases: dict[str, Base]
    pigments: dict[str, Pigment]
    backings: dict[str, Array]
    wavelengths: Array
    model: str
    g: float
    k: Array
    s: Array
    local: Array
    modes: Array
    misfit: float
    evidence: Evidence
    seen: dict[str, Seen]
    swatches: tuple[SwatchFit, ...]
    undetermined: tuple[str, ...]
    digest: str

    def optics(self, base: str, *, geometry: str | None = None) -> Optics:
        """The layer model of a base, in the palette's own geometry or another."""
        rubber = self.bases[base]
        return Optics(
            model=self.model,
            refractive_index=rubber.refractive_index,
            geometry=geometry or self.instrument.geometry,
            g=self.g,
            k1=rubber.k1,
            k2=rubber.k2,
        )

    def shares(self, base: str, loadings: ArrayLike) -> Array:
        """The mixing law's c: loadings, shape (..., n_pigments) [%], to shape (..., n_components)."""
        return shares(tuple(self.bases).index(base), len(self.bases), np.asarray(loadings, dtype=float))

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
                raise InputError(
                    "blend", f"pigment `{name}` is not in the palette", "one of " + ", ".join(self.pigments)
                )
            if not 0.0 <= loading <= 100.0:
                raise InputError("blend", f"{loading:g} % of {name}", "a loading from 0 to 100 %")
        vector = np.array([blend.loadings.get(name, 0.0) for name in self.pigments], dtype=float)
        if vector.sum() > 100.0:
            raise InputError("blend", f"the loadings sum to {vector.sum():g} %", "at most 100 %")
        return vector

    def blend(self, base: str, loadings: ArrayLike) -> Blend:
        """A vector of loadings, shape (n_pigments,) [%], as a blend of those that are not zero."""
        vector = np.asarray(loadings, dtype=float)
        return Blend(base, {name: float(x) for name, x in zip(self.pigments, vector, strict=True) if x > 0.0})

    def check_base(self, base: str) -> None:
        """Raise InputError unless the palette has this base, cast at least once."""
        if base not in self.bases:
            raise InputError("base", f"`{base}` is not in the palette", "one of " + ", ".join(self.bases))
        if base not in self.seen:
            raise InputError("base", f"no swatch of `{base}` was ever cast", mend="cast it uncoloured, then fit again")

    def backing(self, name: str) -> Array | None:
        """Reflectance of a backing by name, shape (n_wavelengths,); None for `none`."""
        if name == "none":
            return None
        if name not in self.backings:
            raise InputError(
                "backing", f"`{name}` is not in the palette", "one of " + ", ".join([*self.backings, "none"])
            )
        return self.backings[name]

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


_ARRAYS = ("wavelengths", "k", "s", "local", "modes")
_EVIDENCE = ("read", "fitted", "foretold", "swatch", "backing", "missed", "expected")
_PLAIN = (
    "name",
    "instrument",
    "bases",
    "pigments",
    "model",
    "g",
    "misfit",
    "seen",
    "swatches",
    "undetermined",
    "digest",
)


class _Header(msgspec.Struct, kw_only=True):
    """What of a palette is not an array, as JSON."""

    format: int
    name: str
    instrument: Instrument
    bases: dict[str, Base]
    pigments: dict[str, Pigment]
    backings: list[str]
    model: str
    g: float
    misfit: float
    seen: dict[str, Seen]
    swatches: tuple[SwatchFit, ...]
    undetermined: tuple[str, ...]
    digest: str


def fit_path(folder: str | Path, model: str) -> Path:
    """Where `tint fit` keeps the palette of a folder under a layer model."""
    return Path(folder) / f"palette.{model}.fit"


def write_palette(palette: Palette, path: str | Path) -> None:
    """Write a palette whole or not at all: an .npz of its arrays, with the rest as JSON inside it."""
    plain = {name: getattr(palette, name) for name in _PLAIN}
    header = _Header(format=FORMAT, backings=list(palette.backings), **plain)
    arrays = {name: getattr(palette, name) for name in _ARRAYS}
    arrays |= {f"evidence {name}": getattr(palette.evidence, name) for name in _EVIDENCE}
    arrays["backings"] = np.stack(list(palette.backings.values())) if palette.backings else np.zeros((0, 0))
    arrays["header"] = np.frombuffer(msgspec.json.encode(header), dtype=np.uint8)
    write_whole(path, arrays_to_bytes(arrays))


def read_palette(path: str | Path, *, digest: str | None = None) -> Palette:
    """Read what `write_palette` wrote.

    Parameters
    ----------
    digest : str, optional
        Of the swatch folder as it stands; a palette fitted to other swatches is refused.

    Raises
    ------
    InputError
        If the file is missing, broken, of another format, or fitted to other swatches.
    """
    path = Path(path)
    again = f"run `tint fit {path.parent}`"
    try:
        palette = _decode(arrays_from_bytes(path.read_bytes()))
    except FileNotFoundError:
        raise InputError(str(path), "there is no fitted palette yet", mend=again) from None
    except OSError as error:
        raise InputError(str(path), f"cannot be read ({error.strerror})") from error
    except (ValueError, KeyError, TypeError, msgspec.MsgspecError) as error:
        raise InputError(str(path), "is broken or of another version", mend=again) from error
    if digest is not None and palette.digest != digest:
        raise InputError(str(path), "was fitted to other swatches than now stand in the folder", mend=again)
    return palette


def _decode(arrays: dict[str, Array]) -> Palette:
    header = msgspec.json.decode(arrays["header"].tobytes(), type=_Header)
    if header.format != FORMAT:
        raise ValueError(f"format {header.format}")
    evidence = Evidence(**{name: arrays[f"evidence {name}"] for name in _EVIDENCE})  # type: ignore[arg-type]
    return Palette(
        **{name: getattr(header, name) for name in _PLAIN},
        **{name: arrays[name] for name in _ARRAYS},  # type: ignore[arg-type]  # by name, each of its own type
        backings=dict(zip(header.backings, arrays["backings"], strict=True)),
        evidence=evidence,
    )
