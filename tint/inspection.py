"""A reading against an approved reference: what differs, in the words of the trade, and whether it passes.

The verdict keeps a guard band of the instrument's own scatter about each limit: what lies inside the band is too
close to call, and is to be read again.

References
----------
ASTM D2244, Calculation of color tolerances and color differences from instrumentally measured color coordinates: the
parts and the words (from memory). JCGM 106:2012, The role of measurement uncertainty in conformity assessment: guard
bands.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tint import colorimetry, uncertainty
from tint.colorimetry import Viewing
from tint.errors import InputError
from tint.spectra import Array
from tint.swatches import COLOURS, NO_BACKING, SwatchFolder
from tint.swatches.instruments import Given
from tint.swatches.one_reading import OneReading, read_one

PASS, FAIL, TOO_CLOSE = "pass", "fail", "too close to call"
_FLAT = 0.05  # a part this small is not worth a word, in CIELAB
_FLAT_RATIO = 0.005  # the same of a contrast ratio
_GREY = 5.0  # chroma below which a hue is no more than a tinge (common practice, no source)


@dataclass(frozen=True, kw_only=True)
class Tolerance:
    """What was agreed for one colour."""

    delta_e: float  # CIEDE2000 [-]
    lightness: float | None = None  # a tighter limit for the lightness part alone (CIELAB L*) [-]
    contrast_ratio: float | None = None  # for the difference in contrast ratio [-]

    def __post_init__(self) -> None:
        for name in ("delta_e", "lightness", "contrast_ratio"):
            value = getattr(self, name)
            if value is not None and not 0.0 < value < np.inf:
                told = {"delta_e": "colour"}.get(name, name.replace("_", " "))
                raise InputError(f"tolerance, {told}", f"{value:g}", "more than 0")


@dataclass(frozen=True, kw_only=True)
class Check:
    """One limit, and how a reading stands to it."""

    what: str  # `colour` (CIEDE2000), `lightness` (CIELAB L*) or `contrast ratio`
    # the size of the difference, and what was agreed [-]
    value: float
    limit: float
    error: float  # standard deviation of the value, from reading both [-]
    # by how much noise alone makes the value larger than it is: a distance is never shorter for being blurred [-]
    lean: float = 0.0

    @property
    def band(self) -> float:
        """Half width of the guard band: a difference of just the limit leaves it to either side 1 time in 20."""
        return float(uncertainty.Z95_ONE_SIDED * self.error)

    @property
    def verdict(self) -> str:
        """`pass`, `fail` or `too close to call`."""
        if self.value + self.band <= self.limit:
            return PASS
        return FAIL if self.value - self.lean - self.band > self.limit else TOO_CLOSE


@dataclass(frozen=True, kw_only=True)
class Inspection:
    """How a reading differs from its reference."""

    delta_e: float  # CIEDE2000 [-]
    delta_e_error: float  # standard deviation of it from reading both [-]
    # CIELAB differences, reading less reference: dL*, dC*, dH* [-]
    lightness: float
    chroma: float
    hue: float
    # da*, db* [-]
    redness: float
    yellowness: float
    contrast_ratio: float | None  # difference, reading less reference [-]
    checks: tuple[Check, ...]  # each limit that was agreed
    words: tuple[str, ...]  # the difference in words, the largest part first

    @property
    def verdict(self) -> str:
        """`fail` when any limit is left, `pass` when all are kept, else `too close to call`."""
        verdicts = [check.verdict for check in self.checks]
        return FAIL if FAIL in verdicts else TOO_CLOSE if TOO_CLOSE in verdicts else PASS


def inspect_reading(
    reading: ArrayLike,
    reference: ArrayLike,
    *,
    view: Viewing,
    tolerance: Tolerance,
    repeatability: float,
    readings: int = 1,
    reference_readings: int = 1,
    over_black: tuple[ArrayLike, ArrayLike] | None = None,
    of_colours: bool = False,
    moves: ArrayLike = (0.0, 0.0, 0.0),
    moves_covariance: ArrayLike | None = None,
) -> Inspection:
    """Compare a reading with its reference.

    `reading`, `reference` (n_wavelengths,): both over the same backing, in the same geometry; the lightest, where
        `over_black` is given [-].
    `repeatability`: standard deviation of one reading: of every reflectance, or with `of_colours` of X, Y and Z, each
        as a share of the perfect white's [-].
    `readings`, `reference_readings`: how many each is the mean of.
    `over_black` (n_wavelengths,): the part and the reference over the darkest backing [-].
    `of_colours`: whether a colorimeter read them, and the spectra but stand for its colours.
    `moves`, `moves_covariance` (3,) and (3, 3): by what the part's CIELAB will still move until it is cured, as
        `tint.shift` learns it [-].
    Raises InputError if the spectra do not fit each other, or a contrast ratio is to be judged that was not read.
    """
    pairs = np.array([_spectra(reference, reading, view)])
    if over_black is not None:
        pairs = np.stack((pairs[0], _spectra(over_black[1], over_black[0], view)))
    elif tolerance.contrast_ratio is not None:
        raise InputError("tolerance, contrast ratio", "nothing was read over black", mend="read both over black too")
    lab, slopes = colorimetry.lab_slopes(pairs[0], view)
    lab[1] += np.asarray(moves, dtype=float)
    shares = 1.0 / max(reference_readings, 1), 1.0 / max(readings, 1)
    by_noise = colorimetry.lab_share_slopes(pairs[0, 1], view)[1] if of_colours else slopes[1]
    covariance = repeatability**2 * sum(shares) * by_noise @ by_noise.T
    if moves_covariance is not None:
        covariance = covariance + np.asarray(moves_covariance, dtype=float)
    delta_e, error, lean = _delta_e(lab, covariance)
    d_lightness, d_red, d_yellow = (float(x) for x in lab[1] - lab[0])
    chroma = np.hypot(lab[:, 1], lab[:, 2])
    d_chroma = float(chroma[1] - chroma[0])
    # dH* of CIELAB, positive when the hue angle has risen.
    turned = np.sqrt(max(d_red**2 + d_yellow**2 - d_chroma**2, 0.0))
    d_hue = float(np.copysign(turned, lab[0, 1] * lab[1, 2] - lab[0, 2] * lab[1, 1]))
    noise = repeatability * (view.white[1] if of_colours else float(np.linalg.norm(view.weights[:, 1])))
    opacity, opacity_error = _opacity(pairs, view, noise, shares) if over_black is not None else (None, 0.0)
    checks = [Check(what="colour", value=delta_e, limit=tolerance.delta_e, error=error, lean=lean)]
    if tolerance.lightness is not None:
        own = float(np.sqrt(covariance[0, 0]))
        checks.append(Check(what="lightness", value=abs(d_lightness), limit=tolerance.lightness, error=own))
    if tolerance.contrast_ratio is not None and opacity is not None:
        limit = tolerance.contrast_ratio
        checks.append(Check(what="contrast ratio", value=abs(opacity), limit=limit, error=opacity_error))
    words = _words(lab, covariance, d_chroma, d_hue)
    if opacity is not None and abs(opacity) > max(_FLAT_RATIO, uncertainty.Z95_ONE_SIDED * opacity_error):
        words.append(f"{'more opaque' if opacity > 0 else 'more see-through'} by {abs(opacity):.2f} in contrast ratio")
    return Inspection(
        delta_e=delta_e,
        delta_e_error=error,
        lightness=d_lightness,
        chroma=d_chroma,
        hue=d_hue,
        redness=d_red,
        yellowness=d_yellow,
        contrast_ratio=opacity,
        checks=tuple(checks),
        words=tuple(words) or ("no difference that can be told",),
    )


def _spectra(reference: ArrayLike, reading: ArrayLike, view: Viewing) -> Array:
    """Both as one array, shape (2, n_wavelengths)."""
    one, two = np.asarray(reference, dtype=float), np.asarray(reading, dtype=float)
    size = view.weights.shape[0]
    if one.shape != two.shape or one.shape != (size,):
        raise InputError("inspect", f"{two.size} wavelengths against {one.size}", f"two spectra of {size}")
    return np.stack((one, two))


def _delta_e(lab: Array, covariance: Array) -> tuple[float, float, float]:
    """CIEDE2000, its standard deviation along the difference, and how much the noise across it adds [-]."""
    colour = lab[1].copy()
    if np.hypot(colour[1], colour[2]) < 1e-3:
        colour[1] += 2e-3  # grey has no hue to take slopes along, so it is given the faintest one
    parts, by_colour = colorimetry.difference_parts_slopes(lab[0], colour)
    form = by_colour @ covariance @ by_colour.T
    size = float(np.linalg.norm(parts))
    direction = parts / size if size > 1e-2 else np.linalg.eigh(form)[1][:, -1]
    along = max(float(direction @ form @ direction), 0.0)
    lean = min((float(np.trace(form)) - along) / (2.0 * max(size, 1e-2)), size)
    return float(colorimetry.difference(lab[0], lab[1])), float(np.sqrt(along)), lean


def _opacity(pairs: Array, view: Viewing, noise: float, shares: tuple[float, float]) -> tuple[float, float]:
    """Difference in contrast ratio, reading less reference, and its standard deviation where Y has that noise [-]."""
    white, black = pairs @ view.weights[:, 1]
    ratio = black / white
    variance = noise**2 * (1.0 + ratio**2) / white**2
    return float(ratio[1] - ratio[0]), float(np.sqrt(variance @ np.asarray(shares)))


def _words(lab: Array, covariance: Array, d_chroma: float, d_hue: float) -> list[str]:
    """Parts that stand out of the scatter, the largest first."""
    d_lightness, d_red, d_yellow = (float(x) for x in lab[1] - lab[0])
    parts = [(d_lightness, np.array([1.0, 0.0, 0.0]), "lighter" if d_lightness > 0 else "darker", "")]
    redder, yellower = "redder" if d_red > 0 else "greener", "yellower" if d_yellow > 0 else "bluer"
    if float(np.hypot(lab[:, 1], lab[:, 2]).min()) < _GREY:
        parts += [(d_red, np.array([0.0, 1.0, 0.0]), redder, ""), (d_yellow, np.array([0.0, 0.0, 1.0]), yellower, "")]
    else:
        out = lab.mean(axis=0)[1:] / np.linalg.norm(lab.mean(axis=0)[1:])
        across = np.copysign(1.0, d_hue) * np.array([-out[1], out[0]])
        # Hue is told by the axis that the turn alone leans to, whatever the chroma does.
        toward = "redder" if across[0] > 0 else "greener"
        if abs(across[1]) > abs(across[0]):
            toward = "yellower" if across[1] > 0 else "bluer"
        strength = "more chromatic" if d_chroma > 0 else "less chromatic"
        parts += [(d_chroma, np.append(0.0, out), strength, ""), (d_hue, np.append(0.0, across), toward, " in hue")]
    told = []
    for size, axis, word, where in sorted(parts, key=lambda part: -abs(part[0])):
        if abs(size) > max(_FLAT, uncertainty.Z95_ONE_SIDED * float(np.sqrt(axis @ covariance @ axis))):
            told.append(f"{word}{where} by {abs(size):.1f}")
    return told


# What is compared, as files tell it.


def darkest_first(folder: SwatchFolder) -> list[str]:
    """The backings of a folder, from the darkest to the lightest."""
    place = 0 if folder.kind == COLOURS else slice(None)  # L* of a colour, the mean of a spectrum
    return sorted(folder.backings, key=lambda name: float(np.mean(folder.backings[name][place])))


def read_part(
    where: str, folder: SwatchFolder, *, over: str, seat: str, said: Given | None = None
) -> OneReading:  # fmt: skip
    """A reading of a part over a backing, as the folder's instrument reads; `where` as of `read_one`."""
    told = {"backing": over, "seat": "air" if over == NO_BACKING else seat, "quantity": "reflectance"}
    return read_one(where, onto=folder.wavelengths, told=told, geometry=folder.instrument.geometry, said=said)


def part_spectrum(read: OneReading, view: Viewing) -> Array:
    """As read; the smoothest one where only a colour was, for colours are all that is compared."""
    return read.spectrum if read.spectrum is not None else colorimetry.smoothest_spectrum(read.seen(view), view)
