"""A new lot, judged by one letdown pour: how strong it is, what hue is left over, and what becomes of old recipes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from tint import colorimetry
from tint.appearance import Setting, predict
from tint.errors import InputError
from tint.materials import REJECT, RESCALE, USE, Blend
from tint.palette import Palette
from tint.trials.trial import SURE, Doubts, Trial, check_trial
from tint.trials.update import Posterior, learn

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
