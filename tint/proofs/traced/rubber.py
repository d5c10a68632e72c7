"""A blend as paths of light meet it: what absorbs, scatters and turns it, at the few wavelengths that tell its colours.

A path is followed at one wavelength. Spectra of one blend are smooth and much alike, whatever the way that the light
took: a few wavelengths with weights of their own tell their tristimulus values (as Gauss's nodes tell an integral).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import nnls

from tint import colorimetry, forward
from tint.appearance import Setting
from tint.colorimetry import Viewing
from tint.materials import Blend
from tint.optics import layer
from tint.optics.adding_doubling import BACKWARDS, lobe_at, lobes, phase_function
from tint.optics.many_flux import LOBE_ENDS, MOST_G
from tint.optics.surface import word_for
from tint.palette import Palette
from tint.spectra import Array, Index

# How wide a face spreads light, as the root mean square slope of its facets; chosen by eye, no source.
_SLOPES = {"gloss": 0.0, "satin": 0.12, "matt": 0.35}
# What `LOBE_ENDS` lets lie backwards a forward lobe can make up for below the first of these, and the second at any g.
_BACKWARDS_AT = (0.6, 1.0 / 6.0)
COSINES = np.linspace(-1.0, 1.0, 513)  # of the angle by which light turns; even, as the tracer takes them
_CLEAREST = 1e-7  # 1/mm: nothing at all cannot be followed
_FEW = (4, 8)  # wavelengths, at least and at most
_CLOSE = 0.5  # CIEDE2000 by which the worst of them may miss the whole spectra: half of what is seen with care (chosen)
_WAYS = 20  # thicknesses of the layers whose spectra they have to tell
_WHITE = 30.0  # how many spectra white counts for: greys must stay grey


@dataclass(frozen=True, kw_only=True, eq=False)
class Rubber:
    """What a path of light meets, by wavelength; arrays of shape (n_wavelengths,)."""

    absorption: Array  # mu_a [1/mm]
    scattering: Array  # mu_s [1/mm]
    forward_cosine: Array  # mean cosine of the Henyey-Greenstein lobe that scatters forwards [-]
    apart: Array  # share of the scattered light that goes into a second, smooth lobe [-]
    lobe: Array  # (n_wavelengths, n_cosines): that lobe at `COSINES`, with mean 1 over the sphere [-]
    index: float  # [-]
    slope: float  # of the facets of its faces; 0 for smooth ones [-]

    def at(self, which: Index) -> Rubber:
        """At some of the wavelengths."""
        changing = ("absorption", "scattering", "forward_cosine", "apart", "lobe")
        return replace(self, **{name: getattr(self, name)[which] for name in changing})


def rubber_of(palette: Palette, blend: Blend, *, finish: str = "") -> Rubber:
    """A blend at the palette's wavelengths.

    `finish`: of its faces; that of the swatches when empty.

    ``mu_a = K / 2``, ``mu_s = (4/3) M`` and the phase function of ``g = 1 - S / M`` and ``p_2 = Q / M``, as of the
    many-flux layer.
    """
    mixed = forward.mix(palette.coefficients, palette.shares(blend.base, palette.loadings(blend)))
    optics = palette.optics(blend.base)
    g = np.minimum(forward.anisotropy(mixed), MOST_G)
    least, most = LOBE_ENDS
    lobe = lobe_at(g, mixed[3] / np.maximum(mixed[2], 1e-12))[0]
    lobe = np.clip(lobe, least, np.where(g < _BACKWARDS_AT[0], most, _BACKWARDS_AT[1]))
    both = [lobes(*each) for each in zip(g.tolist(), np.maximum(lobe, 0.0).tolist(), strict=True)]
    return Rubber(
        absorption=np.maximum(mixed[0] / 2.0, _CLEAREST),
        scattering=4.0 / 3.0 * mixed[2],
        forward_cosine=np.array([ahead[1] for ahead, _ in both]),
        apart=np.where(lobe < 0.0, -lobe, [back[0] for _, back in both]),
        lobe=np.stack(
            [
                phase_function(COSINES, mean, -1.0) if round_ else phase_function(COSINES, BACKWARDS)
                for mean, round_ in zip(g.tolist(), (lobe < 0.0).tolist(), strict=True)
            ]
        ),
        index=optics.refractive_index,
        slope=_SLOPES[word_for(finish or palette.finish(blend.base))],
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class Few:
    """A few wavelengths that tell the colours of a blend."""

    which: Index  # (n,): among the palette's
    to_xyz: Array  # (n, 3): what is seen at them times these is XYZ, Y of white being 1 [-]
    miss: float  # how far the worst of the colours that were tried is missed [CIEDE2000]

    def light(self, seen: Array, view: Viewing) -> Array:
        """Linear sRGB, adapted to the screen's white, not clipped, of what is seen, shape (..., n) to (..., 3)."""
        return colorimetry.xyz_to_light(seen @ self.to_xyz, view.white / view.white[1])

    def lab(self, seen: Array, view: Viewing) -> Array:
        """CIELAB of what is seen, shape (..., n) to (..., 3)."""
        return np.asarray(colorimetry.xyz_to_lab(np.maximum(seen @ self.to_xyz, 0.0), view.white / view.white[1]))


def few_wavelengths(palette: Palette, blend: Blend, *, setting: Setting, upto_mm: float) -> Few:
    """The fewest wavelengths that tell the colours of layers up to a thickness, on and before whatever there is."""
    view = setting.viewing(palette)
    spectra = _ways_of_light(palette, blend, setting=setting, upto_mm=upto_mm)
    white = np.ones_like(palette.wavelengths)
    wanted = colorimetry.xyz(np.vstack((spectra, white)), view) / view.white[1]
    # As lightness weighs them: by the slope of a cube root.
    weight = np.append(np.maximum(wanted[:-1, 1], 3e-3) ** (-2.0 / 3.0), _WHITE)
    rows = np.vstack((spectra, white)) * weight[:, None]

    def fit(which: list[int]) -> tuple[Array, float]:
        """Weights, none of them negative so that noise is not blown up, and what they leave."""
        found = [nnls(rows[:, which], each * weight) for each in wanted.T]
        return np.stack([each for each, _ in found], axis=-1), float(sum(left**2 for _, left in found))

    def with_best(beside: list[int]) -> list[int]:
        """Some, and the one that serves best beside them."""
        free = (at for at in range(white.size) if at not in beside)
        return [*beside, min(free, key=lambda at: fit([*beside, at])[1])]

    which: list[int] = []
    while True:
        which = with_best(which)
        for place in range(len(which)):  # each is moved to where it serves better
            which = with_best(which[:place] + which[place + 1 :])
        few = Few(which=np.array(sorted(which)), to_xyz=fit(sorted(which))[0], miss=np.inf)
        exact = colorimetry.xyz_to_lab(wanted[:-1], view.white / view.white[1])
        few = replace(few, miss=float(np.max(colorimetry.difference(few.lab(spectra[:, few.which], view), exact))))
        if len(which) == _FEW[1] or (len(which) >= _FEW[0] and few.miss < _CLOSE):
            return few


def _ways_of_light(palette: Palette, blend: Blend, *, setting: Setting, upto_mm: float) -> Array:
    """Spectra such as a part shows: of layers on each backing and on none, through one of them and through two."""
    mixed = forward.mix(palette.coefficients, palette.shares(blend.base, palette.loadings(blend)))
    optics = palette.optics(blend.base, geometry=setting.geometry or None)
    depth = np.geomspace(0.02, 1.5, _WAYS)[:, None] * upto_mm
    passed = layer.transmittance(*mixed, thickness=depth, optics=optics)
    behind = [None, *(card for card in palette.backings.values())]
    shown = [layer.reflectance(*mixed, thickness=depth, backing=card, optics=optics) for card in behind]
    twice = [one * other for one, other in itertools.combinations_with_replacement((passed[::4], shown[0][::4]), 2)]
    cards = [np.stack([card, card * 0.5]) for card in palette.backings.values()]
    return np.asarray(np.maximum(np.vstack([passed, *shown, *twice, *cards]), 0.0))
