"""The one forward model: a blend of a palette, cast and seen, becomes spectrum, colour and opacity.

`render` works on arrays of loadings and thicknesses with no thought of error: solving and pictures use it.
`predict` answers for one blend, with its error and what a maker should know before believing it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from tint import colorimetry, forward, jsonable, notebook, uncertainty
from tint.kinds import checked
from tint.materials import Blend
from tint.optics import layer
from tint.optics.spot import Spot
from tint.palette import Palette, spot_of
from tint.setting import Setting, how_read, outside
from tint.spectra import Array

if TYPE_CHECKING:
    from matplotlib.axes import Axes

__all__ = [
    "Appearance", "Rendered", "Setting", "clarity_in_words", "how_read", "lost_beside", "outside", "predict", "render",
    "transmittance",
]  # fmt: skip


@dataclass(frozen=True, eq=False)
class Rendered:
    """Spectra of many castings, with slopes."""

    reflectance: Array  # shape (n_backings, ..., n_wavelengths) [-]
    slopes: Array  # shape (n_backings, 5, ..., n_wavelengths), by K, S, M and Q [mm] and thickness [1/mm]


def render(
    palette: Palette, shares: ArrayLike, *, base: str, setting: Setting, backings: tuple[str, ...],
    thickness_mm: ArrayLike | None = None,
) -> Rendered:  # fmt: skip
    """Spectra of castings over several backings.

    `shares` (..., n_components): the mixing law's c, as `Palette.shares` gives it.
    `base`: the base that they are of: it decides the faces.
    `backings`: names, or `none`.
    `thickness_mm` (...): in place of the setting's.
    """
    share = np.asarray(shares, dtype=float)
    d = np.asarray(setting.thickness_mm if thickness_mm is None else thickness_mm, dtype=float)[..., None]
    mixed = forward.mix(palette.coefficients, share)
    optics = palette.optics(base, geometry=setting.geometry or None, as_read=setting.as_read, finish=setting.finish)
    behind = {name: palette.backing(name) for name in backings}
    seats = {name: "air" if name == "none" else setting.seat for name in backings}
    terms = {seat: layer.terms(mixed, d, optics=optics, seat=seat) for seat in set(seats.values())}
    read, slopes = [], []
    for name in backings:
        values, by_depth = layer.over_backing(*terms[seats[name]], behind[name])
        read.append(values)
        slopes.append(layer.by_coefficients(by_depth, mixed, d))
    return Rendered(np.stack(read), np.stack(slopes))


def transmittance(
    palette: Palette, shares: ArrayLike, *, base: str, setting: Setting, thickness_mm: ArrayLike
) -> Array:
    """Total transmittance of free slabs, shape (..., n_wavelengths) [-]; arguments as of `render`."""
    mixed = forward.mix(palette.coefficients, np.asarray(shares, dtype=float))
    optics = palette.optics(base, geometry=setting.geometry or None, as_read=setting.as_read)
    return layer.transmittance(*mixed, thickness=np.asarray(thickness_mm, dtype=float)[..., None], optics=optics)


def lost_beside(palette: Palette, blend: Blend, *, setting: Setting) -> Array:
    """What the spot of the palette's instrument misses of a part, shape (n_wavelengths,) [-]; 0 where none is stated.

    A reading with this added is what the eye sees of a wide part in wide light.
    """
    if spot_of(palette.instrument) is None:
        return np.zeros(palette.wavelengths.size)
    share = palette.shares(blend.base, palette.loadings(blend))
    over = setting.behind(palette)
    wide, read = (
        render(palette, share, base=blend.base, setting=replace(setting, as_read=each), backings=(over,)).reflectance[0]
        for each in (False, True)
    )
    return np.asarray(wide - read)


@dataclass(frozen=True, kw_only=True, eq=False)
class Appearance:
    """What a blend will look like, and how far to trust it.

    Parameters
    ----------
    optics : str
        The layer model, `many-flux` or `two-flux`.
    spot : Spot, optional
        Of the instrument that it is predicted for; None for the eye, which sees a wide part in wide light.
    reflectance, transmittance : ndarray, shape (n_wavelengths,)
        Over the setting's backing; of the free slab [-].
    lab, lab_black, lab_white : ndarray, shape (3,)
        Over the setting's, the darkest and the lightest backing [-]; the last two NaN when there is but one backing.
    contrast_ratio : float
        Darkest over lightest backing [-]; NaN when there is but one.
    luminous_transmittance : float
        Y of the transmittance, 0 to 1; NaN where the castings were read in one way only [-].
    regular_transmittance : float
        What of it passes within 2.5 degrees of its way; NaN likewise [-].
    haze : float
        The rest, as a share of all that passes (ASTM D1003); NaN likewise, and for a two-flux palette, which knows no
        direction [-].
    luminous_transmittance_error, regular_transmittance_error, haze_error : float
        Half widths that hold 95 times in 100 [-].
    expected_error : float
        The CIEDE2000 within which a reading of such a casting falls 95 times in 100 [-].
    contrast_ratio_error : float
        Likewise for the contrast ratio [-].
    contrast_ratio_noise : float
        What of it the noise of the readings alone makes: no pigment mends that [-].
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
    optics: str
    spot: Spot | None
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
    luminous_transmittance_error: float
    regular_transmittance: float
    regular_transmittance_error: float
    haze: float
    haze_error: float
    expected_error: float
    contrast_ratio_error: float
    contrast_ratio_noise: float
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
        told = f", {s.finish} face" if s.finish else ""
        if self.spot:
            told += f", as a spot of {self.spot.seen_mm:g} mm in {self.spot.lit_mm:g} mm of light reads it"
        return f"{over}, {self.geometry}{told}, {s.light}, {s.observer}° observer"

    def _repr_html_(self) -> str:
        return notebook.appearance_html(self)

    def to_json(self) -> str:
        """All of it as one JSON object, with the keys that `tint predict --json` prints."""
        return jsonable.text(jsonable.appearance(self))

    @checked()
    def plot(self, *, ax: Axes | None = None, of: str = "reflectance") -> Axes:
        """Its reflectance or transmittance over wavelength; see `tint.notebook.plot_spectra`."""
        return notebook.plot_spectra(self, ax=ax, of=of)


# A haze from which print behind the part is no longer read, and from which nothing has an outline: the scope of ASTM
# D1003-13 ends at 0.30; the others are common practice, no source.
_CLEAR, _BLURRED, _ONLY_GLOW = 0.30, 0.80, 0.97
_DARK = 0.005  # of the light let through: less is not seen beside a lit room (common practice, no source)


def clarity_in_words(look: Appearance) -> str:
    """What one sees through the part, in a few words; empty where the palette cannot tell."""
    if not np.isfinite(look.haze):
        return ""
    if look.luminous_transmittance < _DARK:
        return "next to no light comes through"
    if look.haze <= _CLEAR:
        return "print close behind the part can be read"
    if look.haze <= _BLURRED:
        return "shapes behind the part are seen, blurred"
    return "only bright outlines are seen through it" if look.haze <= _ONLY_GLOW else "only a glow comes through"


def predict(palette: Palette, blend: Blend, *, setting: Setting) -> Appearance:
    """What a blend will look like; InputError if blend or setting name what the palette does not have."""
    loadings = palette.loadings(blend)
    view = setting.viewing(palette)
    setting = replace(setting, light=view.light)  # `f2` is FL2 in what is shown
    over = setting.behind(palette)
    shares = palette.shares(blend.base, loadings)
    pair = palette.pair
    drawn = render(palette, shares, base=blend.base, setting=setting, backings=(over, *pair))
    optics = palette.optics(
        blend.base, geometry=setting.geometry or None, as_read=setting.as_read, finish=setting.finish
    )
    mixed = forward.mix(palette.coefficients, shares)
    passed, by_passed = layer.transmittance_slopes(*mixed, thickness=setting.thickness_mm, optics=optics)
    regular, by_regular = layer.regular_slopes(*mixed, thickness=setting.thickness_mm, optics=optics)
    labs = colorimetry.lab(drawn.reflectance, view)
    error = uncertainty.of_colour(
        palette, blend.base, loadings, drawn.reflectance, drawn.slopes, thickness_mm=setting.thickness_mm, view=view,
        has_pair=bool(pair),
    )  # fmt: skip
    light = uncertainty.of_light(
        palette, blend.base, loadings, (passed, regular), (by_passed, by_regular),
        thickness_mm=setting.thickness_mm, view=view,
    )  # fmt: skip
    srgb, in_gamut = colorimetry.lab_to_srgb(labs[0], view)
    nothing = np.full(3, np.nan)
    ratio = colorimetry.contrast_ratio(drawn.reflectance[1], drawn.reflectance[2], view) if pair else np.array(np.nan)
    return Appearance(
        blend=blend,
        setting=setting,
        over=over,
        geometry=optics.geometry,
        optics=optics.model,
        spot=optics.spot,
        wavelengths=palette.wavelengths,
        reflectance=drawn.reflectance[0],
        transmittance=passed,
        lab=labs[0],
        lab_black=labs[1] if pair else nothing,
        lab_white=labs[2] if pair else nothing,
        srgb=colorimetry.hex_code(srgb),
        in_gamut=bool(in_gamut),
        contrast_ratio=float(ratio),
        luminous_transmittance=light.total,
        luminous_transmittance_error=light.total_error,
        regular_transmittance=light.regular,
        regular_transmittance_error=light.regular_error,
        haze=light.haze,
        haze_error=light.haze_error,
        expected_error=error.radius,
        contrast_ratio_error=error.contrast_ratio,
        contrast_ratio_noise=error.of_reading,
        scatter=error.scatter,
        covariance=error.covariance,
        warnings=(
            *how_read(palette, over=over, light=setting.light, observer=setting.observer),
            *outside(palette, blend, setting=setting),
            *(("how far the colour may be off is not known",) if error.radius >= uncertainty.UNKNOWN else ()),
        ),
    )
