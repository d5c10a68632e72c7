"""A blend at other thicknesses: how its colour deepens, from where it hides, how a lamp shines through; every wall."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from tint import colorimetry
from tint.appearance import Appearance, Setting, how_read, outside, predict, render, transmittance
from tint.colorimetry import Viewing
from tint.errors import InputError
from tint.materials import Blend
from tint.opacity import FAIR
from tint.palette import ONE_WAY, Palette
from tint.spectra import Array, Mask
from tint.target import Target

HIDING = 0.98  # contrast ratio from which a layer counts as hiding (ASTM D2805; from memory) [-]
_THINNEST_MM, _THICKEST_MM = 0.02, 200.0  # between which it is looked for: a film and a block; common practice


@dataclass(frozen=True, kw_only=True, eq=False)
class Course:
    """How a blend runs with thickness, without errors: what curves and bands are drawn from."""

    thickness_mm: Array  # [mm], shape (n,)
    # over the darkest and the lightest backing; of the light that comes through, against the bare lamp [-]; shape (n,
    # 3)
    lab_black: Array
    lab_white: Array
    lab_from_behind: Array
    # [-], shape (n,)
    contrast_ratio: Array
    luminous_transmittance: Array


@dataclass(frozen=True, kw_only=True, eq=False)
class Translucency:
    """One blend at several thicknesses."""

    blend: Blend
    # one a thickness: colour over the setting's, the darkest and the lightest backing, contrast ratio, error
    appearances: tuple[Appearance, ...]
    thickness_mm: Array  # [mm], shape (n,)
    # CIEDE2000 between the casting over the darkest and over the lightest backing [-]; shape (n,)
    translucency_parameter: Array
    translucency_parameter_ab: Array  # the same as Euclidean distance in CIELAB, the older form [-]; shape (n,)
    # of the light that comes through, against the bare lamp as white: lit from behind [-]; shape (n, 3)
    lab_from_behind: Array
    srgb_from_behind: tuple[str, ...]  # likewise, on a screen
    # the thickness from which the contrast ratio is 0.98; None when no part is that thick [mm]
    hides_at_mm: float | None
    warnings: tuple[str, ...]  # where the predictions leave the ground that the swatches cover

    @property
    def conditions(self) -> str:
        """Everything the numbers hold for, in one line."""
        thin, thick = self.thickness_mm.min(), self.thickness_mm.max()
        return f"{thin:g} to {thick:g} mm, {self.appearances[0].viewed}"


def translucency(palette: Palette, blend: Blend, *, setting: Setting, thickness_mm: ArrayLike) -> Translucency:
    """Colour and opacity of a blend against thickness, with their errors.

    `setting`: its own thickness is not used.
    `thickness_mm` (n,) [mm]
    Raises InputError if there is no thickness, or the palette has fewer than two backings.

    The translucency parameter is the colour difference of one casting over a black and over a white backing (Johnston,
    Ma and Kienle 1995, Int. J. Prosthodont. 8, 79; from memory), here by CIEDE2000.
    """
    depths = _checked(palette, thickness_mm)
    appearances = tuple(predict(palette, blend, setting=replace(setting, thickness_mm=float(d))) for d in depths)
    black, white = (np.array([getattr(a, name) for a in appearances]) for name in ("lab_black", "lab_white"))
    view = setting.viewing(palette)
    behind, screen = lit_from_behind([a.transmittance for a in appearances], view)
    return Translucency(
        blend=blend,
        appearances=appearances,
        thickness_mm=depths,
        translucency_parameter=colorimetry.difference(black, white),
        translucency_parameter_ab=np.linalg.norm(black - white, axis=-1),
        lab_from_behind=behind,
        srgb_from_behind=screen,
        hides_at_mm=hiding_thickness(palette, blend, setting=setting),
        warnings=(
            *how_read(palette, over=appearances[0].over, light=view.light, observer=view.observer),
            *outside(palette, blend, setting=setting, thickness_mm=depths.tolist()),
        ),
    )


def course(palette: Palette, blend: Blend, *, setting: Setting, thickness_mm: ArrayLike) -> Course:
    """Colour and opacity of a blend against thickness, without errors and all at once; arguments as `translucency`."""
    depths = _checked(palette, thickness_mm)
    share, view = palette.shares(blend.base, palette.loadings(blend)), setting.viewing(palette)
    drawn = render(
        palette,
        np.broadcast_to(share, (depths.size, share.size)),
        base=blend.base,
        setting=setting,
        backings=(palette.black, palette.white),
        thickness_mm=depths,
    )
    passed = transmittance(palette, share, base=blend.base, setting=setting, thickness_mm=depths)
    labs = colorimetry.lab(drawn.reflectance, view)
    return Course(
        thickness_mm=depths,
        lab_black=labs[0],
        lab_white=labs[1],
        lab_from_behind=lit_from_behind(passed, view)[0],
        contrast_ratio=colorimetry.contrast_ratio(drawn.reflectance[0], drawn.reflectance[1], view),
        luminous_transmittance=colorimetry.xyz(passed, view)[:, 1] / 100.0,
    )


def lit_from_behind(transmittance: ArrayLike, view: Viewing) -> tuple[Array, tuple[str, ...]]:
    """Colours of the light that comes through, against the bare lamp as white.

    `transmittance` (n, n_wavelengths): total, of the free slab [-].
    Returns `lab` (n, 3) [-]
    Returns `srgb`: the nearest that a screen can show.
    """
    behind = colorimetry.lab(transmittance, view)
    screen, _ = colorimetry.lab_to_srgb(behind, view)
    return behind, tuple(colorimetry.hex_code(each) for each in screen)


def hiding_thickness(
    palette: Palette, blend: Blend, *, setting: Setting, contrast_ratio: float = HIDING
) -> float | None:
    """The thickness from which a blend reaches a contrast ratio [mm]; None when it would take more than 200 mm.

    `contrast_ratio`: between 0 and 1 [-].
    """

    def hides(depths: Array) -> Mask:
        run = course(palette, blend, setting=setting, thickness_mm=depths)
        return np.asarray(run.contrast_ratio >= contrast_ratio)

    found = first_thickness(hides, _THINNEST_MM, _THICKEST_MM)
    return None if found is None else found[1]


def first_thickness(
    holds: Callable[[Array], Mask], start_mm: float, end_mm: float
) -> tuple[float, float] | None:  # fmt: skip
    """Where something first holds on the way from one thickness to another: the last without, and the first with it.

    `holds`: asked of many thicknesses at once [mm].
    `start_mm`, `end_mm`: more than 0; the end may be the thinner [mm].
    Returns both thicknesses, within a hundredth of a percent of each other [mm]; None where it nowhere holds.
    """
    for _ in range(4):  # each sweep narrows the bracket forty times
        depths = np.geomspace(start_mm, end_mm, 41)
        found = np.flatnonzero(holds(depths))
        if found.size == 0:
            return None
        first = int(found[0])
        start_mm, end_mm = float(depths[max(first - 1, 0)]), float(depths[first])
    return start_mm, end_mm


def hiding_in_words(palette: Palette, base: str, hides_at_mm: float | None) -> str:
    """From where a blend hides, and whether any swatch was so thick."""
    if hides_at_mm is None:
        return f"does not hide (contrast ratio {HIDING:g}), not even {_THICKEST_MM:g} mm thick"
    return (
        f"hides from {hides_at_mm:.3g} mm on (contrast ratio {HIDING:g}){against_swatches(palette, base, hides_at_mm)}"
    )


def against_swatches(palette: Palette, base: str, thickness_mm: float | None) -> str:
    """Words to add where a thickness is beyond the swatches of a base; empty where it is not."""
    thin, thick = palette.seen[base].thickness_mm
    if thickness_mm is None or thin <= thickness_mm <= thick:
        return ""
    return f", {'thicker' if thickness_mm > thick else 'thinner'} than any swatch of {base}"


def _checked(palette: Palette, thickness_mm: ArrayLike) -> Array:
    depths = np.asarray(thickness_mm, dtype=float)
    if depths.ndim != 1 or depths.size == 0:
        raise InputError("thickness", "there is none", "one or more, in mm")
    if not palette.pair:
        raise InputError("translucency", "the palette cannot tell it", ONE_WAY, "read some over a second backing")
    return depths


# Every wall of a part: what each shows, the worst first.


@dataclass(frozen=True, kw_only=True, eq=False)
class Wall:
    """One wall of a part."""

    appearance: Appearance  # of the part there; its setting tells the thickness
    delta_e: float  # CIEDE2000 to the target; NaN without one [-]
    opacity_miss: float  # of the contrast ratio asked for, signed; 0 where it is met or none is asked for [-]
    reached: bool  # whether colour and contrast ratio are met there, as far as they are asked for

    @property
    def words(self) -> str:
        """The same as a clause."""
        ratio = self.appearance.contrast_ratio
        told = [f"{self.delta_e:.2f} away"] if np.isfinite(self.delta_e) else []
        told += [f"contrast ratio {ratio:.3f}"] if np.isfinite(ratio) else []
        short = "" if self.reached else "; not met"
        return f"at {self.appearance.setting.thickness_mm:g} mm {', '.join(told)}{short}"


def at_walls(
    palette: Palette, target: Target | None, look: Appearance, *, walls_mm: Sequence[float]
) -> tuple[Wall, ...]:
    """A blend at the wall it was predicted for and at further ones, the worst first; empty for a part of one wall.

    `target`: what every wall is judged by; without one the most see-through wall is the worst.
    `look`: at the wall of its setting.
    `walls_mm`: further walls [mm].
    """
    setting = look.setting
    more = sorted({float(wall) for wall in walls_mm} - {setting.thickness_mm})
    if not more or (target is not None and target.thickness_mm is not None):
        return ()
    looks = [look, *(predict(palette, look.blend, setting=replace(setting, thickness_mm=wall)) for wall in more)]

    def how_bad(wall: Wall) -> tuple[float, float]:
        """Colour and opacity together; of equals the more see-through one."""
        missed = float(np.hypot(np.nan_to_num(wall.delta_e), wall.opacity_miss / FAIR))
        return round(missed, 3), -wall.appearance.contrast_ratio

    return tuple(sorted((_wall(target, each) for each in looks), key=how_bad, reverse=True))


def _wall(target: Target | None, look: Appearance) -> Wall:
    if target is None:
        return Wall(appearance=look, delta_e=np.nan, opacity_miss=0.0, reached=True)
    delta_e = float(colorimetry.difference(target.lab, look.lab))
    asked = target.asks_opacity and bool(np.isfinite(look.contrast_ratio))
    miss = float(target.opacity_miss(look.contrast_ratio)) if asked else 0.0
    reached = bool(target.met(delta_e, contrast_ratio=look.contrast_ratio))
    return Wall(appearance=look, delta_e=delta_e, opacity_miss=miss, reached=reached)
