"""One recipe in several lights: how it looks in each, how far it moves, and whether it still meets its target."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.appearance import Appearance
from tint.colorimetry import Viewing
from tint.proofs.facts import Shade, shades_of
from tint.target import Target

Array = NDArray[np.float64]

LIGHTS = ("D65", "A", "LED-B3", "FL11")
_NAMES = {
    "D65": "Daylight",
    "D50": "Warm daylight",
    "A": "Filament lamp",
    "LED-B3": "White LED",
    "FL11": "Shop tube",
    "FL2": "Office tube",
}


@dataclass(frozen=True)
class InLight:
    """A recipe in one light.

    Parameters
    ----------
    light : str
        A CIE illuminant.
    shade : Shade
        Adapted to the screen's white: as it looks to an eye that is used to that light.
    wanted : Shade or None
        The target, likewise; None when its spectrum is not known.
    moved : float
        CIEDE2000 from how it looks in the light it was agreed in, the eye being used to each [-].
    from_target : float
        CIEDE2000 from the target in this light [-]; NaN when the target's spectrum is not known.
    """

    light: str
    shade: Shade
    wanted: Shade | None
    moved: float
    from_target: float

    @property
    def named(self) -> str:
        """The light in plain words, with its code."""
        return named(self.light)


def named(light: str) -> str:
    """A light in plain words, with its code."""
    return f"{_NAMES[light]} ({light})" if light in _NAMES else light


def in_lights(
    appearance: Appearance, *, target: Target | None = None, lights: Sequence[str] = LIGHTS
) -> tuple[InLight, ...]:
    """A predicted recipe in the light it was agreed in, then in others.

    Notes
    -----
    `moved` is a colour inconstancy: XYZ in the other light, adapted to the first one's white by CAT16, against XYZ in
    the first (the idea of the index of Luo, Li, Hunt, Rigg and Smith 2003, Color. Technol. 119, 281, from memory; there
    with CAT02 and the CMC formula). `from_target` under a second light is the special metamerism index for change in
    illuminant of CIE 15:2018, with CIEDE2000 and no correction for a pair that does not match in the first light.
    """
    own = appearance.setting.light
    views = {
        light: colorimetry.viewing(appearance.wavelengths, light=light, observer=appearance.setting.observer)
        for light in dict.fromkeys((own, *lights))
    }
    spectrum = None if target is None else target.spectrum
    return tuple(_in(appearance, view, agreed=views[own], wanted=spectrum) for view in views.values())


def _in(appearance: Appearance, view: Viewing, *, agreed: Viewing, wanted: Array | None) -> InLight:
    lab = colorimetry.lab(appearance.reflectance, view)
    seen = colorimetry.adapt(colorimetry.xyz(appearance.reflectance, view), view.white, to=agreed.white)
    moved = colorimetry.difference(appearance.lab, colorimetry.xyz_to_lab(seen, agreed.white))
    other = None if wanted is None else colorimetry.lab(wanted, view)
    return InLight(
        light=view.light,
        shade=shades_of(lab[None], view)[0],
        wanted=None if other is None else shades_of(other[None], view)[0],
        moved=float(moved),
        from_target=np.nan if other is None else float(colorimetry.difference(other, lab)),
    )
