"""Whether a trial is to be corrected: each thing that was asked, against what pouring and reading alone scatter."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tint import colorimetry
from tint.appearance import Appearance, Setting, lost_beside, predict
from tint.optics.surface import known_word
from tint.palette import Palette
from tint.recipes import Recipe
from tint.spectra import Array
from tint.target import Look, Target
from tint.trials.trial import Trial

COLOUR, CONTRAST, LIGHT, HAZE = "colour", "contrast ratio", "transmittance", "haze"
# Of a scatter that is added to what remains: there only one side of it counts, 1.645 standard deviations for 1.96.
_ONE_SIDE = 0.84
_LIGHT_SCATTER = 0.02  # luminous transmittance, for which no error is known: lamps vary by more; no source
_ROUNDING_MM = 1e-9  # mm, of floating-point numbers
_SAME_WALL = 2.0  # standard deviations of a thickness within which two are the same; common practice, no source


@dataclass(frozen=True, kw_only=True)
class Miss:
    """One thing that was asked, and by how much the last trial misses it."""

    what: str  # `colour`, `colour over BACKING`, `contrast ratio` or `transmittance`
    value: float  # CIEDE2000; else trial less what was asked, signed [-]
    scatter: float  # what pouring and reading the same again would scatter, 95 times in 100 [the same]
    as_read: bool  # whether the trial was read so; else it is what the corrected palette says of it
    remains: float = 0.0  # what the corrected recipe would still miss, unsigned [the same]
    # whether a bound is missed. Recipes keep room to a bound, so that scatter seldom takes a pour beyond it: what is
    # beyond it is corrected.
    firm: bool = False

    @property
    def leave(self) -> bool:
        """Whether it is no more than what would remain anyway and the scatter do together."""
        if self.firm and self.remains == 0.0:
            return self.value == 0.0
        return abs(self.value) <= max(self.scatter, self.remains + _ONE_SIDE * self.scatter)

    @property
    def words(self) -> str:
        """Both numbers, in a clause."""
        if self.what.startswith(COLOUR):
            where = self.what.removeprefix(COLOUR)
            return f"{self.value:.2f} CIEDE2000 from the target{where} (scatter {self.scatter:.2f})"
        return f"{abs(self.value):.3f} {'above' if self.value > 0 else 'below'} the {self.what} (± {self.scatter:.3f})"


def misses(
    palette: Palette, target: Target, trial: Trial, *, setting: Setting, predicted: Appearance, recipe: Recipe
) -> list[Miss]:
    """All that a target asks of a trial; the colour in the setting comes first.

    `predicted` is what the palette, as it is now believed to be, says of the trial's blend; `recipe` the corrected one.
    """
    first = Look(lab=target.lab, thickness_mm=target.thickness_mm)
    looks = [replace(each, thickness_mm=each.thickness_mm or target.thickness_mm) for each in (first, *target.also)]
    told = [replace(_colour(palette, look, trial, setting, predicted), remains=recipe.delta_e) for look in looks]
    remains = abs(recipe.opacity_miss)
    asks_ratio = target.asks_opacity and bool(np.isfinite(predicted.contrast_ratio))
    read = _read_ratio(palette, trial, setting) if asks_ratio else None
    ratio = predicted.contrast_ratio if read is None else read
    seen = (
        (CONTRAST, asks_ratio, ratio, predicted.contrast_ratio_error),
        (HAZE, target.asks_haze, predicted.haze, predicted.haze_error),
        (LIGHT, target.asks_light, predicted.luminous_transmittance, _LIGHT_SCATTER),
    )
    for what, asked, value, scatter in seen:
        if asked:
            is_ratio, miss = what == CONTRAST, float(target.miss(what.replace(" ", "_"), value))
            firm = is_ratio and target.contrast_ratio is None
            as_read = is_ratio and read is not None
            told.append(Miss(what=what, value=miss, scatter=scatter, as_read=as_read, remains=remains, firm=firm))
    return told


def _colour(palette: Palette, look: Look, trial: Trial, setting: Setting, predicted: Appearance) -> Miss:
    own = replace(
        setting,
        over=look.over or predicted.over,
        seat=look.seat or setting.seat,
        thickness_mm=look.thickness_mm or setting.thickness_mm,
    )
    seen = predicted if own == replace(setting, over=predicted.over) else predict(palette, trial.blend, setting=own)
    read = _read(palette, trial, own)
    lab = seen.lab if read is None else colorimetry.lab(read, setting.viewing(palette))
    return Miss(
        what=COLOUR + (f" over {look.over}" if look.over else ""),
        value=float(colorimetry.difference(look.lab, lab)),
        scatter=seen.scatter,
        as_read=read is not None,
    )


def _read(palette: Palette, trial: Trial, asked: Setting) -> Array | None:
    """The mean of the readings taken as the colour is asked for, as the eye sees it, on a part of the finish that is
    asked for; None when there is none."""
    own = palette.instrument
    same_wall = abs(trial.thickness_mm - asked.thickness_mm) <= _SAME_WALL * own.thickness_error_mm + _ROUNDING_MM
    same_geometry = asked.geometry in ("", own.geometry)
    alike = [r.values for r in trial.readings if r.over == asked.over and (r.seat == asked.seat or r.over == "none")]
    if not (alike and same_wall and same_geometry):
        return None
    faces = [palette.optics(trial.blend.base, finish=each).faces for each in (asked.finish, known_word(trial.finish))]
    part, cast = (0.0 if each is None else each.added for each in faces)
    return np.asarray(np.mean(alike, axis=0)) + lost_beside(palette, trial.blend, setting=asked) + part - cast


def _read_ratio(palette: Palette, trial: Trial, setting: Setting) -> float | None:
    black, white = (_read(palette, trial, replace(setting, over=name)) for name in (palette.black, palette.white))
    if black is None or white is None:
        return None
    return float(colorimetry.contrast_ratio(black, white, setting.viewing(palette)))


def verdict(found: Sequence[Miss], tolerance: float, *, again: bool = False) -> str:
    """What to do, in a sentence; `again` if the recipe itself is right, and it was the pour that went wrong."""
    colours = [miss.value for miss in found if miss.what.startswith(COLOUR)]
    within = max(colours) <= tolerance
    if all(miss.leave for miss in found):
        if any(abs(miss.value) > miss.scatter for miss in found):
            nearest = "; ".join(f"{miss.what} {miss.remains:.2g}" for miss in found if miss.remains)
            return f"Leave it: {_listed(found)}, and no recipe found would miss clearly less ({nearest})."
        beyond = "" if within else f"; that is more than the {tolerance:g} asked for, and only steadier work will help"
        return f"Leave it: {_listed(found)}, which weighing, thickness and reading alone would do{beyond}."
    told = [miss for miss in found if not miss.leave]
    missed = " and ".join(miss.words for miss in told)
    colour_only = all(miss.what.startswith(COLOUR) for miss in told)
    good = f"; it is within the {tolerance:g} asked for, so this pour may pass" if within and colour_only else ""
    if again:
        return f"Pour it again as it stands: the trial is {missed}, but its recipe is not."
    return f"Correct it: the trial is {missed}{good}."


def _listed(found: Sequence[Miss]) -> str:
    return "the trial is " + " and ".join(miss.words for miss in found if miss.value or miss.what == COLOUR)
