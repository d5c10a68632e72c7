"""How a part is cast, laid and looked at."""

from __future__ import annotations

from dataclasses import dataclass

from tint import colorimetry
from tint.colorimetry import Viewing
from tint.errors import InputError
from tint.materials import GEOMETRIES, SEATS
from tint.optics.finish import HEIGHTS_UM
from tint.palette import Palette


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
        if not 0.0 < self.thickness_mm <= 100.0:
            raise InputError("thickness", f"{self.thickness_mm:g} mm", "more than 0 and at most 100 mm")
        if self.seat not in SEATS:
            raise InputError("seat", f"`{self.seat}` is not known", " or ".join(SEATS))
        if self.geometry and self.geometry not in GEOMETRIES:
            raise InputError("geometry", f"`{self.geometry}` is not known", ", ".join(GEOMETRIES))

        if self.finish and self.finish not in HEIGHTS_UM:
            raise InputError("finish", f"`{self.finish}` is not known", ", ".join(HEIGHTS_UM))

    def behind(self, palette: Palette) -> str:
        """The backing it is judged over: the palette's lightest, or `none`, where none is named."""
        return self.over or (palette.white if palette.backings else "none")

    def viewing(self, palette: Palette) -> Viewing:
        """Light and observer on the palette's wavelengths."""
        return colorimetry.viewing(palette.wavelengths, light=self.light, observer=self.observer)
