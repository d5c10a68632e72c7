"""One target of many as plain values, and what holds for all of them: what a row of a table or a worker is handed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
from msgspec import Struct, field

from tint import colorimetry, jsonable
from tint.appearance import Setting
from tint.errors import InputError
from tint.given import setting_of
from tint.palette import Palette
from tint.recipes import Rules
from tint.target import Target, solid_unless_told

_FORM = "name, and lab or srgb; opacity, tolerance, walls_mm, base as in tint.solve"
_LEAST_STEP = 1.0  # CIELAB: a finer lattice has more than 800,000 colours


class Wish(Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """One target of many."""

    name: str = ""
    lab: tuple[float, float, float] | None = None  # CIELAB in the light and observer of all; or `srgb`
    srgb: str | None = None  # a screen colour `#rrggbb`, matched with the specular reflection excluded
    # beside `lab`, of a colour that was measured: reflectance on the palette's wavelengths [-]
    spectrum: tuple[float, ...] | None = None
    # as in `tint.solve`; what holds for all when absent
    opacity: str | float | tuple[float, float] | None = None
    tolerance: float | None = None
    walls_mm: tuple[float, ...] = ()  # wall thicknesses of the part; those of all when empty [mm]
    base: str | None = None
    fault: str = ""  # why it cannot be solved, where its row says nothing that could be


class Common(Struct, kw_only=True, frozen=True):
    """What holds for every target that does not say otherwise; fields are the arguments of `tint.solve`."""

    opacity: str | float | tuple[float, float] | None = None
    tolerance: float | None = None
    walls_mm: tuple[float, ...] = ()
    base: str | None = None
    rules: Rules = field(default_factory=Rules)
    seen: Mapping[str, Any] = field(default_factory=dict)  # `over`, `seat`, `light`, `observer`, `geometry`

    def setting(self) -> Setting:
        """The light and the backing of all; its thickness is the first wall, or 1 mm where each row has its own."""
        return setting_of(None, min(self.walls_mm, default=1.0), self.seen)


def wish_of(given: Wish | Mapping[str, Any], number: int) -> Wish:
    """A wish as given, or from its fields by name.

    Raises
    ------
    InputError
        If a field is unknown or of the wrong kind.
    """
    if isinstance(given, Wish):
        return given
    if not isinstance(given, Mapping):
        raise InputError(f"target {number}", f"a {type(given).__name__}", _FORM)
    wish: Wish = jsonable.converted(dict(given), Wish, where=f"target {number}", form=_FORM)
    return wish


def arguments(palette: Palette, wish: Wish, common: Common) -> dict[str, Any]:
    """The arguments of `tint.solve` that ask for one wish."""
    opacity = common.opacity if wish.opacity is None else wish.opacity
    asked: dict[str, Any] = {
        "opacity": opacity,
        "tolerance": common.tolerance if wish.tolerance is None else wish.tolerance,
        "base": wish.base or common.base,
        "walls_mm": wish.walls_mm or common.walls_mm,
        "rules": common.rules,
        **common.seen,
    }
    if wish.spectrum is None:
        return asked | {"lab": wish.lab, "srgb": wish.srgb}
    target = Target(lab=np.array(wish.lab), spectrum=np.array(wish.spectrum), source=wish.name)
    return asked | {"target": target if opacity is not None else solid_unless_told(target, palette)}


def lattice(spacing: float, palette: Palette, common: Common) -> Iterator[Wish]:
    """CIELAB at equal distances, as far as a screen can show it in the light of `common`, by rising lightness.

    Parameters
    ----------
    spacing : float
        Between neighbours in L*, a* and b* [-].

    Raises
    ------
    InputError
        If the spacing is less than 1 or more than 50.
    """
    if not _LEAST_STEP <= spacing <= 50.0:
        raise InputError("lattice", f"a spacing of {spacing:g}", "from 1 to 50 units of CIELAB")
    view = common.setting().viewing(palette)
    n = int(130 // spacing)
    side = spacing * np.arange(-n, n + 1)
    for level in spacing * np.arange(1, int(100 // spacing) + 1):
        plane = np.stack(np.meshgrid([level], side, side, indexing="ij"), axis=-1).reshape(-1, 3)
        _, shown = colorimetry.lab_to_srgb(plane, view)
        for light, red, yellow in plane[shown].tolist():
            yield Wish(name=f"{light:g} {red:g} {yellow:g}", lab=(light, red, yellow))
