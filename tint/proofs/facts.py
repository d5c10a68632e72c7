"""The colours and numbers that a proof shows: of a recipe from the forward model, and of a trial beside it.

A trial is a casting as it was read, with the difference from its prediction, and as it was photographed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from tint import appearance, colorimetry
from tint.appearance import Appearance, Setting
from tint.colorimetry import Viewing
from tint.errors import InputError
from tint.materials import Blend
from tint.palette import Palette
from tint.proofs import words
from tint.proofs.render import bare_spectrum
from tint.spectra import Array
from tint.target import Target

if TYPE_CHECKING:
    from tint.proofs.photo import Photo


THICKNESSES_MM = (0.5, 1.0, 2.0, 3.0, 4.0, 6.0)  # walls of cast parts [mm]; common practice, no source
_SAME = 0.1  # a usual thickness this near the part's own, as a share of it, gives way to it; two steps would look alike


@dataclass(frozen=True)
class Shade:
    """A colour as a screen shows it."""

    rgb: tuple[int, int, int]  # sRGB levels, 0 to 255 [-]
    exact: bool  # False where the screen cannot show the colour and this is the nearest that it can


@dataclass(frozen=True, kw_only=True, eq=False)
class Chip:
    """One or two colours edge to edge, or a photograph, with what stands below, wherever it is drawn."""

    name: str
    shades: tuple[Shade, ...] = ()
    labels: tuple[str, ...] = ()  # what each colour is, for those who cannot see it
    told: tuple[str, ...] = ()  # quiet lines below the name
    photo: Photo | None = None
    strong: bool = True  # whether the name is set in bold


@dataclass(frozen=True, kw_only=True, eq=False)
class Row:
    """Chips side by side, with what is said of all of them."""

    title: str
    chips: tuple[Chip, ...]
    notes: tuple[str, ...] = ()
    # `joined`, edge to edge; `apart`; or `stacked`, edge to edge with the colours of each chip above one another
    layout: str = "joined"

    @property
    def exact(self) -> bool:
        """Whether a screen can show all of its colours."""
        return all(shade.exact for chip in self.chips for shade in chip.shades)


@dataclass(frozen=True)
class Step:
    """One thickness of the wedge."""

    thickness_mm: float  # [mm]
    own: bool  # whether it is the part's own
    beyond: str  # `thin` or `thick` where no swatch of the base is so; else empty
    shades: tuple[Shade, ...]  # one over each of `Facts.behind`
    contrast_ratio: float  # [-]; NaN when there is but one backing


@dataclass(frozen=True, eq=False)
class Facts:
    """What a proof shows."""

    appearance: Appearance
    target: Target | None
    wanted: Shade | None
    recipe: Shade
    behind: tuple[str, ...]  # darkest and lightest backing; the setting's own where there are not two
    bare: tuple[Shade, ...]  # those backings with nothing on them
    over: tuple[Shade, ...]  # the recipe over them
    wedge: tuple[Step, ...]
    delta_e: float  # CIEDE2000 from the target [-]; NaN without one
    warnings: tuple[str, ...]  # where the prediction leaves the ground of the swatches

    @property
    def has_pair(self) -> bool:
        """Whether opacity can be told."""
        return len(self.behind) > 1


def gather(palette: Palette, blend: Blend, *, setting: Setting, target: Target | None, show_recipe: bool) -> Facts:
    """Everything that a proof of a blend shows."""
    seen = appearance.predict(palette, blend, setting=setting)
    view = setting.viewing(palette)
    behind = palette.pair or (seen.over,)
    over = (seen.lab_black, seen.lab_white) if palette.pair else (seen.lab,)
    return Facts(
        appearance=seen,
        target=target,
        wanted=shade_of(target.lab, view) if target else None,
        recipe=shade_of(seen.lab, view),
        behind=behind,
        bare=bare_shades(palette, behind, view),
        over=shades_of(np.stack(over), view),
        wedge=_wedge(palette, blend, setting=setting, behind=behind),
        delta_e=float(colorimetry.difference(target.lab, seen.lab)) if target else np.nan,
        warnings=seen.warnings if show_recipe else _discreet(palette, seen),
    )


def shades_of(lab: ArrayLike, view: Viewing) -> tuple[Shade, ...]:
    """Colours as a screen shows them, shape (n, 3)."""
    signal, exact = colorimetry.lab_to_srgb(lab, view)
    levels = np.rint(255.0 * signal).astype(int)
    return tuple(Shade((int(r), int(g), int(b)), bool(ok)) for (r, g, b), ok in zip(levels, exact, strict=True))


def shade_of(lab: ArrayLike, view: Viewing) -> Shade:
    """One colour as a screen shows it, shape (3,)."""
    return shades_of(np.asarray(lab)[None], view)[0]


def bare_shades(palette: Palette, names: tuple[str, ...], view: Viewing) -> tuple[Shade, ...]:
    """Backings with nothing on them; `none` is dark."""
    return shades_of(colorimetry.lab(np.stack([bare_spectrum(palette, name) for name in names]), view), view)


def _wedge(palette: Palette, blend: Blend, *, setting: Setting, behind: tuple[str, ...]) -> tuple[Step, ...]:
    own = setting.thickness_mm
    thicknesses = sorted([*(usual for usual in THICKNESSES_MM if abs(usual - own) > _SAME * own), own])
    shares = palette.shares(blend.base, palette.loadings(blend))
    view = setting.viewing(palette)
    spectra = appearance.render(
        palette, shares, base=blend.base, setting=setting, backings=behind, thickness_mm=thicknesses
    ).reflectance
    shades = zip(*(shades_of(colorimetry.lab(rows, view), view) for rows in spectra), strict=True)
    nothing = np.full(len(thicknesses), np.nan)
    ratios = colorimetry.contrast_ratio(spectra[0], spectra[1], view) if len(behind) > 1 else nothing
    return tuple(
        Step(d, d == own, beyond_swatches(palette, blend.base, d), each, float(ratio))
        for d, each, ratio in zip(thicknesses, shades, ratios, strict=True)
    )


def beyond_swatches(palette: Palette, base: str, thickness_mm: float) -> str:
    """`thin` or `thick` where no swatch of a base is so; else empty."""
    # Of the bare base in the palette's own geometry, thickness is all that can be outside.
    if not appearance.outside(palette, Blend(base, {}), setting=Setting(thickness_mm=thickness_mm)):
        return ""
    return "thin" if thickness_mm < palette.seen[base].thickness_mm[0] else "thick"


def plain_warnings(palette: Palette, base: str, setting: Setting) -> tuple[str, ...]:
    """How the swatches were read, and where a prediction leaves their ground, without telling the recipe."""
    over = setting.behind(palette)
    light = setting.viewing(palette).light
    return (
        *appearance.how_read(palette, over=over, light=light, observer=setting.observer),
        *appearance.outside(palette, Blend(base, {}), setting=setting),
    )


def _discreet(palette: Palette, seen: Appearance) -> tuple[str, ...]:
    """The warnings, without those that would tell pigments or loadings of a recipe that is not to be shown."""
    base = seen.blend.base
    plain = plain_warnings(palette, base, seen.setting)
    kept = tuple(warning for warning in seen.warnings if warning in plain)
    beyond = f"the recipe goes beyond the swatches that were cast in {base}: trust it less, and pour a trial"
    return kept if len(kept) == len(seen.warnings) else (*kept, beyond)


def seen_in(palette: Palette, setting: Setting) -> str:
    """All that a colour holds for but for thickness and backing."""
    geometry = setting.geometry or palette.instrument.geometry
    return f"{setting.seat} seat, {geometry}, {setting.viewing(palette).light}, {setting.observer}° observer"


def cautions(palette: Palette, blend: Blend, setting: Setting) -> list[str]:
    """How the swatches were read, and where the prediction leaves their ground, without telling the recipe."""
    return [f"Take care: {each}." for each in plain_warnings(palette, blend.base, setting)]


# A trial beside its prediction.

PHOTO_SIGN = "A photograph: the camera's colours, not measured"
PHOTO_LINE = "The photograph's colours are the camera's, not measured: no number here comes from it."


@dataclass(frozen=True, kw_only=True, eq=False)
class Read:
    """What an instrument said of the trial's casting."""

    spectrum: Array  # (n_wavelengths,): over the setting's backing, in its seat [-]
    named: str  # where it stands
    thickness_mm: float | None = None  # as read on the casting; the part's own when absent [mm]


@dataclass(frozen=True, kw_only=True, eq=False)
class Trial:
    """What of a trial is shown."""

    predicted: Appearance  # of the recipe, at the thickness of the casting
    as_predicted: Shade
    as_read: Shade | None  # None without a reading
    lab: Array | None  # (3,): as read [-]
    delta_e: float  # CIEDE2000 from prediction to reading [-]; NaN without a reading
    read: str  # where the reading stands
    photo: Photo | None

    @property
    def row(self) -> Row:
        """Predicted, read and photographed, side by side."""
        seen = self.predicted
        where = f"{seen.setting.thickness_mm:g} mm, {words.behind(seen.over)}"
        cast = [("As predicted", where, self.as_predicted), ("As read on the trial", self.read, self.as_read)]
        chips = [Chip(name=n, shades=(shade,), labels=(n,), told=(told,)) for n, told, shade in cast if shade]
        if self.photo is not None:
            chips.append(Chip(name=PHOTO_SIGN, told=(self.photo.named,), photo=self.photo))
        notes = tuple(f"{figure} {meaning}" for figure, meaning in self.figures)
        return Row(title="The trial", chips=tuple(chips), notes=notes)

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
    def notes(self) -> list[str]:
        """What the photograph is not."""
        return [] if self.photo is None else [PHOTO_LINE]


def trial_of(
    palette: Palette, blend: Blend, *, setting: Setting, photo: Photo | None = None, read: Read | None = None
) -> Trial | None:  # fmt: skip
    """What is shown of a trial of a blend; None when there is neither a photograph nor a reading.

    Raises InputError if the reading is not on the palette's wavelengths, or blend or setting name what the palette
        lacks.
    """
    if photo is None and read is None:
        return None
    if read is not None and read.spectrum.shape != palette.wavelengths.shape:
        found = f"a reading of {read.spectrum.size} wavelengths"
        raise InputError("trial", found, f"the palette's {palette.wavelengths.size}")
    depth = (read and read.thickness_mm) or setting.thickness_mm
    seen = appearance.predict(palette, blend, setting=replace(setting, thickness_mm=depth))
    view = setting.viewing(palette)
    lab = None if read is None else colorimetry.lab(read.spectrum, view)
    return Trial(
        predicted=seen,
        as_predicted=shade_of(seen.lab, view),
        as_read=None if lab is None else shade_of(lab, view),
        lab=lab,
        delta_e=np.nan if lab is None else float(colorimetry.difference(seen.lab, lab)),
        read="" if read is None else read.named,
        photo=photo,
    )
