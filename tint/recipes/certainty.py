"""How sure recipes are: the chance that a pour lands, and the room that a bound needs for its prediction's error."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from tint import colorimetry, uncertainty
from tint.appearance import Appearance, Setting, predict, render
from tint.materials import Blend
from tint.opacity import KINDS, depth
from tint.palette import Palette
from tint.spectra import Array, Mask
from tint.target import Target

SAFE = 0.99  # chance with which a recipe is to keep a bound
_Z = 2.326348  # standard deviations that a normal error stays under with that chance, one-sided


def landing(palette: Palette, target: Target, look: Appearance) -> float:
    """The chance of landing on the target's own colour and the opacity of the part; further looks do not count."""
    if not target.met(0.0, transmittance=look.luminous_transmittance, haze=look.haze):
        return 0.0
    seen = look
    if target.thickness_mm is not None:  # the colour is judged on a casting of the sample's thickness
        seen = predict(palette, look.blend, setting=replace(look.setting, thickness_mm=target.thickness_mm))
    return _landing(target, seen.lab, look.contrast_ratio, seen.covariance)


def _landing(target: Target, lab: Array, contrast_ratio: float, covariance: Array) -> float:
    return uncertainty.chance(lab, contrast_ratio, covariance, target.lab, target.tolerance, target.opacity_miss)


def chances(palette: Palette, target: Target, blends: Sequence[Blend], needed: Mask, *, setting: Setting) -> Array:
    """`landing` of those needed, else NaN; of a mere colour and contrast ratio all of a base at once."""
    told = np.full(len(blends), np.nan)
    if target.asks_light or target.asks_haze or target.thickness_mm is not None:
        for row in np.flatnonzero(needed).tolist():
            told[row] = landing(palette, target, predict(palette, blends[row], setting=setting))
        return told
    view, backings = setting.viewing(palette), (setting.behind(palette), *palette.pair)
    for base in {blend.base for blend in blends}:
        rows = [row for row, blend in enumerate(blends) if blend.base == base]
        loadings = np.array([palette.loadings(blends[row]) for row in rows])
        seen = render(palette, palette.shares(base, loadings), base=base, setting=setting, backings=backings)
        for at, row in enumerate(rows):  # those not needed are drawn too, so that the others keep their last digit
            if needed[row]:
                values, slopes = seen.reflectance[:, at], seen.slopes[:, :, at]
                error = uncertainty.of_colour(
                    palette, base, loadings[at], values, slopes, thickness_mm=setting.thickness_mm, view=view,
                    has_pair=bool(palette.pair),
                )  # fmt: skip
                ratio = float(colorimetry.contrast_ratio(values[1], values[2], view)) if palette.pair else math.nan
                told[row] = _landing(target, colorimetry.lab(values[0], view), ratio, error.covariance)
    return told


# Room to the bounds of an opacity.


def kept(target: Target, look: Appearance) -> float:
    """The chance that a casting keeps all that is asked beside the colour, 0 to 1; of several the least."""
    told = [(target.within(kind), predicted(look, kind)) for kind in KINDS if target.asks(kind)]
    return min((_between(*ends, *found) for ends, found in told if np.isfinite(found).all()), default=1.0)


def _between(least: float, most: float, value: float, error: float) -> float:
    width = max(error, 1e-9) * math.sqrt(2.0)
    return 0.5 * (math.erf((most - value) / width) - math.erf((least - value) / width))


def predicted(look: Appearance, kind: str) -> tuple[float, float]:
    """What a part will have, and the standard deviation of that: the part's own, without the noise of a reading."""
    name = "luminous_transmittance" if kind == "transmittance" else kind
    value, width = float(getattr(look, name)), float(getattr(look, f"{name}_error"))
    noise = look.contrast_ratio_noise if kind == "contrast_ratio" else 0.0
    return value, math.sqrt(max(width**2 - noise**2, 0.0)) / uncertainty.Z95


def room(palette: Palette, target: Target, *, setting: Setting, base: str, loadings: Array) -> Array:
    """The room to their bounds that recipes of these loadings need, as of `aims.Problem`.

    `loadings` (n, n_pigments) [%]
    """
    needed = np.zeros((len(loadings), len(KINDS)))
    if target.asks_light or target.asks_haze:
        for row, own in enumerate(loadings):
            look = predict(palette, palette.blend(base, own), setting=setting)
            needed[row] = [of_depth(kind, *predicted(look, kind)) for kind in KINDS]
        return needed
    # Of the contrast ratio alone the error is cheaper to have than all of an appearance.
    view, shares = setting.viewing(palette), palette.shares(base, loadings)
    seen = render(palette, shares, base=base, setting=setting, backings=palette.pair)
    errors = uncertainty.of_contrast_ratios(
        palette, base, loadings, seen.reflectance, seen.slopes, thickness_mm=setting.thickness_mm, view=view
    )
    black, white = seen.reflectance
    ratios = colorimetry.contrast_ratio(black, white, view)
    needed[:, 0] = [of_depth(KINDS[0], *each) for each in zip(ratios.tolist(), errors.tolist(), strict=True)]
    return needed


def of_depth(kind: str, value: float, error: float) -> float:
    """The room that a prediction needs to keep a bound with chance `SAFE`, as a share of its optical depth."""
    if not math.isfinite(value + error):
        return 0.0
    own = float(depth(kind, value))
    return _Z * error * math.exp(own) / own
