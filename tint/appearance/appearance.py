"""The one forward model: a blend of a palette, cast and seen, becomes spectrum, colour and opacity.

`render` works on arrays of loadings and thicknesses with no thought of error: solving and pictures use it.
`predict` answers for one blend, with its error and what a maker should know before believing it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint import colorimetry, uncertainty
from tint.colorimetry import Viewing
from tint.errors import InputError
from tint.materials import GEOMETRIES, SEATS, Blend
from tint.optics import layer
from tint.palette import Palette

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Setting:
    """How a part is cast, laid and looked at.

    Parameters
    ----------
    thickness_mm : float
        Wall thickness [mm].
    over : str
        The backing it is judged over, or `none`; the palette's lightest when empty.
    seat : str
        `air` or `wet`.
    light : str
        A CIE illuminant.
    observer : int
        2 or 10 [degrees].
    geometry : str
        `di:8`, `de:8` or `45:0`; the palette's own when empty.
    """

    thickness_mm: float
    over: str = ""
    seat: str = "air"
    light: str = "D65"
    observer: int = 10
    geometry: str = ""

    def __post_init__(self) -> None:
        if not 0.0 < self.thickness_mm <= 100.0:
            raise InputError("thickness", f"{self.thickness_mm:g} mm", "more than 0 and at most 100 mm")
        if self.seat not in SEATS:
            raise InputError("seat", f"`{self.seat}` is not known", " or ".join(SEATS))
        if self.geometry and self.geometry not in GEOMETRIES:
            raise InputError("geometry", f"`{self.geometry}` is not known", ", ".join(GEOMETRIES))

    def viewing(self, palette: Palette) -> Viewing:
        """Light and observer on the palette's wavelengths."""
        return colorimetry.viewing(palette.wavelengths, light=self.light, observer=self.observer)


@dataclass(frozen=True, eq=False)
class Rendered:
    """Spectra of many castings, with slopes.

    Parameters
    ----------
    reflectance : ndarray, shape (n_backings, ..., n_wavelengths)
        [-]
    slopes : ndarray, shape (n_backings, 3, ..., n_wavelengths)
        By K [mm], S [mm] and thickness [1/mm].
    """

    reflectance: Array
    slopes: Array


def render(
    palette: Palette, shares: ArrayLike, *, base: str, setting: Setting, backings: tuple[str, ...],
    thickness_mm: ArrayLike | None = None,
) -> Rendered:  # fmt: skip
    """Spectra of castings over several backings.

    Parameters
    ----------
    shares : array_like, shape (..., n_components)
        The mixing law's c, as `Palette.shares` gives it.
    base : str
        The base that they are of: it decides the faces.
    backings : tuple of str
        Names, or `none`.
    thickness_mm : array_like, shape (...), optional
        In place of the setting's [mm].
    """
    share = np.asarray(shares, dtype=float)
    d = np.asarray(setting.thickness_mm if thickness_mm is None else thickness_mm, dtype=float)[..., None]
    K, S = share @ palette.k, share @ palette.s
    optics = palette.optics(base, geometry=setting.geometry or None)
    behind = {name: palette.backing(name) for name in backings}
    seats = {name: "air" if name == "none" else setting.seat for name in backings}
    terms = {seat: optics.terms(K * d, S * d, seat=seat) for seat in set(seats.values())}
    read, slopes = [], []
    for name in backings:
        values, by_depth = layer.over_backing(*terms[seats[name]], behind[name])
        read.append(values)
        slopes.append(
            np.stack(np.broadcast_arrays(by_depth[0] * d, by_depth[1] * d, by_depth[0] * K + by_depth[1] * S))
        )
    return Rendered(np.stack(read), np.stack(slopes))


@dataclass(frozen=True, kw_only=True, eq=False)
class Appearance:
    """What a blend will look like, and how far to trust it.

    Parameters
    ----------
    reflectance, transmittance : ndarray, shape (n_wavelengths,)
        Over the setting's backing; of the free slab [-].
    lab, lab_black, lab_white : ndarray, shape (3,)
        Over the setting's, the darkest and the lightest backing [-]; the last two NaN when there is but one backing.
    contrast_ratio : float
        Darkest over lightest backing [-]; NaN when there is but one.
    luminous_transmittance : float
        Y of the transmittance, 0 to 1 [-].
    expected_error : float
        The CIEDE2000 within which a reading of such a casting falls 95 times in 100 [-].
    contrast_ratio_error : float
        Likewise for the contrast ratio [-].
    scatter : float
        The CIEDE2000 within which casting and reading the very same blend again falls, 95 times in 100 [-].
    covariance : ndarray, shape (4, 4)
        Of L*, a*, b* and contrast ratio, which both errors come from.
    warnings : tuple of str
        Where the prediction leaves the ground that the swatches cover.
    """

    blend: Blend
    setting: Setting
    over: str
    geometry: str
    wavelengths: Array
    reflectance: Array
    transmittance: Array
    lab: Array
    lab_black: Array
    lab_white: Array
    srgb: str
    in_gamut: bool
    contrast_ratio: float
    luminous_transmittance: float
    expected_error: float
    contrast_ratio_error: float
    scatter: float
    covariance: Array
    warnings: tuple[str, ...]

    @property
    def conditions(self) -> str:
        """Everything the numbers hold for, in one line."""
        return f"{self.setting.thickness_mm:g} mm, {self.viewed}"

    @property
    def viewed(self) -> str:
        """The conditions but for the thickness."""
        s = self.setting
        over = "a free slab" if self.over == "none" else f"over {self.over}, {s.seat} seat"
        return f"{over}, {self.geometry}, {s.light}, {s.observer}° observer"


def predict(palette: Palette, blend: Blend, *, setting: Setting) -> Appearance:
    """What a blend will look like.

    Parameters
    ----------
    palette : Palette
    blend : Blend
    setting : Setting

    Returns
    -------
    Appearance

    Raises
    ------
    InputError
        If blend or setting name what the palette does not have.
    """
    loadings = palette.loadings(blend)
    view = setting.viewing(palette)
    setting = replace(setting, light=view.light)  # `f2` is FL2 in what is shown
    over = setting.over or (palette.white if palette.backings else "none")
    shares = palette.shares(blend.base, loadings)
    pair = (palette.black, palette.white) if len(palette.backings) > 1 else ()
    drawn = render(palette, shares, base=blend.base, setting=setting, backings=(over, *pair))
    K, S = shares @ palette.k, shares @ palette.s
    optics = palette.optics(blend.base, geometry=setting.geometry or None)
    passed = layer.transmittance(K, S, thickness=setting.thickness_mm, optics=optics)
    labs = colorimetry.lab(drawn.reflectance, view)
    error = uncertainty.of_colour(
        palette, blend.base, loadings, drawn.reflectance, drawn.slopes, view=view, has_pair=bool(pair)
    )
    srgb, in_gamut = colorimetry.lab_to_srgb(labs[0], view)
    nothing = np.full(3, np.nan)
    ratio = colorimetry.contrast_ratio(drawn.reflectance[1], drawn.reflectance[2], view) if pair else np.array(np.nan)
    return Appearance(
        blend=blend,
        setting=setting,
        over=over,
        geometry=optics.geometry,
        wavelengths=palette.wavelengths,
        reflectance=drawn.reflectance[0],
        transmittance=passed,
        lab=labs[0],
        lab_black=labs[1] if pair else nothing,
        lab_white=labs[2] if pair else nothing,
        srgb=colorimetry.hex_code(srgb),
        in_gamut=bool(in_gamut),
        contrast_ratio=float(ratio),
        luminous_transmittance=float(passed @ view.weights[:, 1]) / 100.0,
        expected_error=error.radius,
        contrast_ratio_error=error.contrast_ratio,
        scatter=error.scatter,
        covariance=error.covariance,
        warnings=tuple(outside(palette, blend, setting=setting)),
    )


_SLACK = 1.02  # a reading of 2.04 mm stands for 2 mm


def outside(
    palette: Palette, blend: Blend, *, setting: Setting, thickness_mm: Sequence[float] | None = None
) -> list[str]:
    """Say where a blend and setting leave the range of the swatches: loading, thickness, mixture, geometry.

    Parameters
    ----------
    thickness_mm : sequence of float, optional
        In place of the setting's, one or many [mm].
    """
    seen = palette.seen[blend.base]
    told = _beyond(palette, blend.base, [setting.thickness_mm] if thickness_mm is None else thickness_mm)
    doses = {name: loading for name, loading in blend.loadings.items() if loading > 0.0}
    for name, loading in doses.items():
        if name not in seen.max_loading:
            elsewhere = [base for base, other in palette.seen.items() if name in other.max_loading]
            known = (
                f"what it does there is taken from {' and '.join(elsewhere)}" if elsewhere else "nothing is known of it"
            )
            told.append(f"{name} was never cast in {blend.base}: {known}")
        elif loading > seen.max_loading[name] * _SLACK:
            told.append(
                f"{loading:.3g} % {name} is more than the {seen.max_loading[name]:g} % that was cast in {blend.base}"
            )
    total = sum(doses.values())
    if total > seen.max_total * _SLACK and total > max(doses.values(), default=0.0):
        told.append(f"{total:.3g} % in all is more than the {seen.max_total:g} % that was cast in {blend.base}")
    alone = [name for name in doses if name in seen.max_loading and name not in seen.mixed]
    if len(doses) > 1 and alone:
        verb = "were" if len(alone) > 1 else "was"
        told.append(f"{' and '.join(alone)} {verb} only ever cast alone in {blend.base}, never in a mixture")
    told += _over_limits(palette, blend.base, doses)
    if setting.geometry and setting.geometry != palette.instrument.geometry:
        told.append(f"the swatches were read in {palette.instrument.geometry}, not in {setting.geometry}")
    return told


def _beyond(palette: Palette, base: str, thickness_mm: Sequence[float]) -> list[str]:
    """Say which thicknesses no swatch of a base had."""
    thin, thick = palette.seen[base].thickness_mm
    thinner = [depth for depth in thickness_mm if depth < thin / _SLACK]
    thicker = [depth for depth in thickness_mm if depth > thick * _SLACK]
    sides = [(min(side), max(side)) for side in (thinner, thicker) if side]
    if not sides:
        return []
    which = " and ".join(f"{a:g} mm" if a == b else f"{a:g} to {b:g} mm" for a, b in sides)
    verb = "is" if len(thinner) + len(thicker) == 1 else "are"
    return [f"{which} {verb} outside the {thin:g} to {thick:g} mm at which {base} was cast"]


def _over_limits(palette: Palette, base: str, doses: dict[str, float]) -> list[str]:
    """Say which loadings are more than the pigment or the rubber takes."""
    largest = {name: palette.pigments[name].max_loading for name in doses}
    told = [
        f"{doses[name]:.3g} % {name} is more than its largest loading of {most:g} %"
        for name, most in largest.items()
        if most is not None and doses[name] > most * _SLACK
    ]
    total, most = sum(doses.values()), palette.bases[base].max_loading
    if total > most * _SLACK:
        told.append(f"{total:.3g} % in all is more than the {most:g} % that {base} takes")
    return told
