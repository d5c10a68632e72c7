"""Whether a trial is to be corrected, and a new lot to be used: against what pouring and reading alone scatter.

Of a trial each thing that was asked is judged. Of a lot one letdown pour says how strong it is, what hue is left over,
and what becomes of old recipes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tint import colorimetry
from tint.appearance import Appearance, Setting, lost_beside, predict
from tint.errors import InputError
from tint.materials import REJECT, RESCALE, USE, Blend
from tint.optics.surface import known_word
from tint.palette import Palette
from tint.recipes import Recipe
from tint.spectra import Array
from tint.target import Look, Target
from tint.trials.trial import SURE, Doubts, Trial, check_trial
from tint.trials.update import Posterior, learn

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


# A new lot.

_ANY_STRENGTH = 60.0  # %, prior standard deviation of a lot that nothing is known of; wide on purpose, no source
_HELD = 1e-3  # %, the same of all that is known to be as it was: so small that it cannot move
_UNCLEAR = 0.25  # of a strength: known no better, it is not known to be the old one; chosen by eye
UNCLEAR = "unclear"  # the letdown hardly shows the lot
_OFTEN_SEEN = 0.8  # CIEDE2000 half of lookers perceive (Paravina and others 2015, J. Esthet. Restor. Dent. 27 S1)


@dataclass(frozen=True, kw_only=True)
class LotCheck:
    """What one letdown says of a lot."""

    what: str  # the pigment or base
    # by which its absorption and scattering are multiplied against the lot of the swatches; of a base, its haze [-]
    strength: float
    strength_error: float  # standard deviation of the strength [-]
    # CIEDE2000 between the letdown as read and as predicted at that strength: what strength cannot explain [-]
    hue_left: float
    hue_error: float  # what casting and reading alone would leave, 95 times in 100 [-]
    verdict: str  # `use`, `rescale` or `reject`, as the ledger has it; or `unclear`
    words: str


def check_lot(palette: Palette, what: str, letdown: Trial) -> LotCheck:
    """Strength and hue of a new lot of a pigment or base, all else in the letdown being of the lots of the swatches.

    A pigment is let down with white or in the clear. InputError if the letdown holds none of it.
    """
    check_trial(palette, letdown, 1)
    is_base = what in palette.bases
    if not is_base and what not in palette.pigments:
        raise InputError("lot", f"`{what}` is not in the palette", "a pigment or base of it")
    if (is_base and letdown.blend.base != what) or (not is_base and not letdown.blend.loadings.get(what)):
        raise InputError("lot", f"the letdown holds no {what}", mend="cast one with it")
    at = [*palette.bases, *palette.pigments].index(what)
    in_doubt = np.full(len(palette.k), _HELD)  # only this one lot
    in_doubt[at] = _ANY_STRENGTH
    learned = learn(palette, [letdown], Doubts(only=tuple(in_doubt.tolist())))
    place = at + len(palette.k) if is_base else at
    factor, error = float(learned.factors[place]), float(learned.factor_errors[place])
    left, scatter = _hue_left(palette, learned, letdown)
    return _judged(what, factor, factor * error, left, scatter, is_base=is_base)


def _hue_left(palette: Palette, learned: Posterior, letdown: Trial) -> tuple[float, float]:
    """The worst reading against the prediction at the lot's strength, and what casting and reading scatter."""
    view = colorimetry.viewing(palette.wavelengths)
    worst, scatter = 0.0, 0.0
    for reading in letdown.readings:
        setting = Setting(
            thickness_mm=letdown.thickness_mm + float(learned.thickness_mm[0]),
            over=reading.over,
            seat=reading.seat,
            as_read=True,
        )
        said = predict(learned.palette, letdown.blend, setting=setting)
        away = float(colorimetry.difference(said.lab, colorimetry.lab(reading.values, view)))
        if away >= worst:
            worst, scatter = away, said.scatter
    return worst, scatter


def _judged(what: str, strength: float, error: float, left: float, scatter: float, *, is_base: bool) -> LotCheck:
    percent = 100.0 * (strength - 1.0)
    measure = "hazier" if percent > 0 else "clearer"
    if not is_base:
        measure = "stronger" if percent > 0 else "weaker"
    if left > max(scatter, _OFTEN_SEEN):
        verdict = REJECT
        words = (
            f"its hue is off by {left:.1f} CIEDE2000 at equal strength: reject it for the recipes there are; "
            "to match with it, cast its ladder again"
        )
    elif abs(strength - 1.0) > SURE * error:
        verdict = RESCALE
        words = f"it is {abs(percent):.0f} ± {100.0 * error:.0f} % {measure}: rescale old recipes"
    elif error > _UNCLEAR:
        verdict = UNCLEAR
        words = (
            f"this letdown hardly shows it: its strength is known to {100.0 * error:.0f} % only; read it over black "
            "and over white, or cast one that shows it more"
        )
    else:
        verdict = USE
        words = f"no change beyond its error of {100.0 * error:.0f} %: use it as the old one"
    return LotCheck(
        what=what,
        strength=strength,
        strength_error=error,
        hue_left=left,
        hue_error=scatter,
        verdict=verdict,
        words=f"{what}: {words}",
    )


def rescale(blend: Blend, strengths: Mapping[str, float]) -> Blend:
    """A recipe for other lots: each loading divided by the strength of its present lot.

    Raises InputError if a strength is not above 0.
    """
    for name, strength in strengths.items():
        if not strength > 0.0:
            raise InputError("lot", f"a strength of {strength:g} for {name}", "more than 0")
    return replace(
        blend, loadings={name: loading / strengths.get(name, 1.0) for name, loading in blend.loadings.items()}
    )
