"""How a part is cast, laid and looked at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from tint import colorimetry
from tint.colorimetry import Viewing
from tint.errors import InputError
from tint.kinds import check_fields, checked
from tint.materials import GEOMETRIES, SEATS, Blend
from tint.optics import surface
from tint.optics.surface import HEIGHTS_UM
from tint.palette import Palette

_GLOSS = {geometry: "with gloss" if geometry == "di:8" else "without gloss" for geometry in GEOMETRIES}


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
    as_read : bool
        As the palette's instrument reads the part, with what its spot loses of a see-through one; else as the eye sees
        a wide part in wide light.
    finish : str
        Of the part's faces: `gloss`, `satin` or `matt`; that of the swatches when empty.
    """

    thickness_mm: float
    over: str = ""
    seat: str = "air"
    light: str = "D65"
    observer: int = 10
    geometry: str = ""
    as_read: bool = False
    finish: str = ""

    def __post_init__(self) -> None:
        check_fields(self)
        if not 0.0 < self.thickness_mm <= 100.0:
            raise InputError("thickness", f"{self.thickness_mm:g} mm", "more than 0 and at most 100 mm")
        if self.seat not in SEATS:
            raise InputError("seat", f"`{self.seat}` is not known", " or ".join(SEATS))
        if self.geometry and self.geometry not in GEOMETRIES:
            raise InputError("geometry", f"`{self.geometry}` is not known", ", ".join(GEOMETRIES))
        if self.finish and self.finish not in HEIGHTS_UM:
            raise InputError("finish", f"`{self.finish}` is not known", ", ".join(HEIGHTS_UM))

    @checked()
    def behind(self, palette: Palette) -> str:
        """The backing it is judged over: the palette's lightest, or `none`, where none is named."""
        return self.over or (palette.white if palette.backings else "none")

    @checked()
    def viewing(self, palette: Palette) -> Viewing:
        """Light and observer on the palette's wavelengths."""
        return colorimetry.viewing(palette.wavelengths, light=self.light, observer=self.observer)


_NO_CHANGE = 0.0005  # of a reading, which is told to 0.001
_SLACK = 1.02  # a reading of 2.04 mm stands for 2 mm


def outside(
    palette: Palette, blend: Blend, *, setting: Setting, thickness_mm: Sequence[float] | None = None
) -> list[str]:
    """Say where a blend and setting leave the range of the swatches: loading, thickness, mixture, geometry.

    `thickness_mm`: in place of the setting's, one or many.
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
        own = palette.instrument.geometry
        told.append(
            f"the swatches were read {_GLOSS[own]} ({own}); this is predicted {_GLOSS[setting.geometry]} "
            f"({setting.geometry})"
        )
    return told + _another_finish(palette, blend.base, setting)


def _another_finish(palette: Palette, base: str, setting: Setting) -> list[str]:
    """Say by how much a part's faces read otherwise than those of the swatches, where they do."""
    own = palette.finish(base)
    if setting.finish in ("", own):
        return []
    optics = palette.optics(base, geometry=setting.geometry or None)
    seen: dict[str, Any] = {"geometry": optics.geometry, "refractive_index": optics.refractive_index}
    part, cast = (
        float(np.mean(surface.added_by_finish(each, palette.wavelengths, **seen))) for each in (setting.finish, own)
    )
    if abs(part - cast) < _NO_CHANGE:
        return []
    mirror = 100.0 * (1.0 - float(np.mean(surface.mirrored_share(setting.finish, palette.wavelengths))))
    return [
        f"a {setting.finish} face spreads about {mirror:.0f} % of its gloss: beside the {own} faces of the swatches "
        f"that adds {part - cast:.3f} to a reading in {optics.geometry}, and to the eye a veil that moves with light"
    ]


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


def how_read(palette: Palette, *, over: str, light: str = "", observer: int = 0) -> list[str]:
    """Say what the readings behind a palette cannot carry: colours for spectra, a photograph for an instrument.

    `over`, `light` and `observer` are those that a prediction is for.
    """
    told = []
    if palette.read_as == "photographs":
        told.append("the swatches were read off photographs: a camera is no colorimeter, and no spectrum was measured")
    own = palette.instrument
    if palette.read_as != "spectra" and light and (light, observer) != (own.light, own.observer):
        told.append(
            f"the swatches were read as colours in {own.light} for the {own.observer}° observer: "
            f"what they look like in {light} for the {observer}° observer rests on likely spectra"
        )
    if not palette.tells_opacity:
        told.append("castings were read in one way only: nothing is known of how they hide what lies behind them")
    if not palette.tells_opacity and over not in palette.read_over:
        known = " and ".join(_behind(name) for name in palette.read_over) or "in transmittance"
        told.append(f"no swatch was read {_behind(over)}, only {known}: the error stated does not cover that")
    return told


def _behind(over: str) -> str:
    return "as a free slab" if over == "none" else f"over {over}"
