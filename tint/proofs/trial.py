"""A trial beside its prediction: the casting as it was read, with the difference, and as it was photographed."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint import appearance, colorimetry
from tint.appearance import Appearance, Setting
from tint.errors import InputError
from tint.materials import Blend
from tint.palette import Palette
from tint.proofs import parts, words
from tint.proofs.facts import Shade, shades_of
from tint.proofs.parts import BODY, LEFT, RIGHT, SMALL, Part
from tint.proofs.photo import Photo
from tint.proofs.picture import DARK, QUIET, Box, Item, Raster, paragraph

Array = NDArray[np.float64]

PHOTO_SIGN = "A photograph: the camera's colours, not measured"
PHOTO_LINE = "The photograph's colours are the camera's, not measured: no number here comes from it."


@dataclass(frozen=True, kw_only=True, eq=False)
class Read:
    """What an instrument said of the trial's casting.

    Parameters
    ----------
    spectrum : ndarray, shape (n_wavelengths,)
        Over the setting's backing, in its seat [-].
    named : str
        Where it stands.
    thickness_mm : float, optional
        As read on the casting; the part's own when absent [mm].
    """

    spectrum: Array
    named: str
    thickness_mm: float | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Trial:
    """What of a trial is shown.

    Parameters
    ----------
    predicted : Appearance
        Of the recipe, at the thickness of the casting.
    as_predicted, as_read : Shade
        The second None without a reading.
    lab : ndarray, shape (3,), or None
        As read [-].
    delta_e : float
        CIEDE2000 from prediction to reading [-]; NaN without a reading.
    read : str
        Where the reading stands.
    photo : Photo or None
    """

    predicted: Appearance
    as_predicted: Shade
    as_read: Shade | None
    lab: Array | None
    delta_e: float
    read: str
    photo: Photo | None

    @property
    def chips(self) -> list[tuple[str, list[str], Shade]]:
        """Name, quiet lines and colour of what is shown flat."""
        seen = self.predicted
        where = f"{seen.setting.thickness_mm:g} mm, {words.behind(seen.over)}"
        shown = [("As predicted", [where], self.as_predicted)]
        if self.as_read is not None:
            shown.append(("As read on the trial", [self.read], self.as_read))
        return shown

    @property
    def figures(self) -> list[tuple[str, str]]:
        """Figures, each with what it means."""
        if self.as_read is None:
            return []
        error = self.predicted.expected_error
        stands = "within" if self.delta_e <= error else "more than"
        meaning = (
            f"from the prediction to the reading (CIEDE2000): {words.difference_in_words(self.delta_e)}. That is "
            f"{stands} the expected error of {error:.1f}, which 95 castings in 100 keep."
        )
        return [(f"{self.delta_e:.2f}", meaning)]

    @property
    def caption(self) -> str:
        """What is written below the photograph."""
        return "" if self.photo is None else f"As photographed: {self.photo.named}"

    @property
    def notes(self) -> list[str]:
        """What the photograph is not."""
        return [] if self.photo is None else [PHOTO_LINE]


def trial_of(
    palette: Palette, blend: Blend, *, setting: Setting, photo: Photo | None = None, read: Read | None = None
) -> Trial | None:  # fmt: skip
    """What is shown of a trial of a blend; None when there is neither a photograph nor a reading.

    Raises
    ------
    InputError
        If the reading is not on the palette's wavelengths, or blend or setting name what the palette lacks.
    """
    if photo is None and read is None:
        return None
    depth = setting.thickness_mm if read is None or read.thickness_mm is None else read.thickness_mm
    seen = appearance.predict(palette, blend, setting=replace(setting, thickness_mm=depth))
    view = setting.viewing(palette)
    lab = None if read is None else _lab(read.spectrum, palette, setting)
    return Trial(
        predicted=seen,
        as_predicted=shades_of(seen.lab[None], view)[0],
        as_read=None if lab is None else shades_of(lab[None], view)[0],
        lab=lab,
        delta_e=np.nan if lab is None else float(colorimetry.difference(seen.lab, lab)),
        read="" if read is None else read.named,
        photo=photo,
    )


def _lab(spectrum: ArrayLike, palette: Palette, setting: Setting) -> Array:
    values = np.asarray(spectrum, dtype=float)
    if values.shape != palette.wavelengths.shape:
        raise InputError(
            "trial", f"a reading of {values.size} wavelengths", f"the palette's {palette.wavelengths.size}"
        )
    return colorimetry.lab(values, setting.viewing(palette))


# The trial on a card: predicted, read and photographed, edge to edge.


_HEIGHT = 320


def trial_part(
    trial: Trial, top: int, *, left: int = LEFT, right: int = RIGHT, named: str = "The trial", height: int = _HEIGHT
) -> Part:  # fmt: skip
    """Its boxes are those of the flat colours, then that of the photograph where there is one."""
    items, top = parts.titled(f"{named} beside its prediction", left, top, right - left)
    strip = Box(left, top, right, top + height)
    columns = strip.columns(len(trial.chips) + (trial.photo is not None))
    items += parts.framed(strip)
    ends = [strip.bottom]
    for at, (box, (name, lines, shade)) in enumerate(zip(columns, trial.chips, strict=False)):
        items += parts.coloured(box, shade, at_left=at == 0)
        more, end = _said(box, name, lines)
        items += more
        ends.append(end)
    if trial.photo is not None:
        box = columns[-1]
        items.append(Raster(box, trial.photo.fitted(box.width, box.height)))
        more, end = _said(box, trial.caption, trial.notes)
        items += more
        ends.append(end)
    more, bottom = parts.figures(trial.figures, left, max(ends) + 10, right - left)
    return Part([*items, *more], bottom, columns)


def _said(under: Box, name: str, lines: list[str]) -> tuple[list[Item], int]:
    items: list[Item] = []
    top = under.bottom + 8
    for at, line in enumerate([name, *lines]):
        size, ink = (SMALL, QUIET) if at else (BODY, DARK)
        more, top = paragraph(line, left=under.left, top=top, width=under.width - 16, size=size, ink=ink)
        items += more
    return items, top
