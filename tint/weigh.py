"""A recipe and a batch become grams to weigh, rounded to what the scale shows and predicted again as rounded."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tint.appearance import Appearance, Setting, predict
from tint.errors import InputError
from tint.materials import Base, Blend, Pigment
from tint.palette import Palette

_TRUSTED_STEPS = 20  # a dose of fewer scale steps is off by up to 2.5 % from rounding alone


@dataclass(frozen=True, kw_only=True)
class Line:
    """One weighing.

    Parameters
    ----------
    what : str
        A pigment, or the base's part.
    part : str
        The part of the base that it is, or goes into.
    grams, exact_grams : float
        As the scale can show it, and before rounding [g].
    percent : float
        Of the finished mix, as rounded [%].
    """

    what: str
    part: str
    grams: float
    exact_grams: float
    percent: float


@dataclass(frozen=True, kw_only=True, eq=False)
class WeighSheet:
    """What to weigh, in order, for one batch.

    Parameters
    ----------
    blend, rounded : Blend
        As asked, and as the rounded weights make it.
    predicted : Appearance
        Of the rounded blend.
    batch_g, total_grams : float
        Asked for with its allowance, and the sum of all weighings [g].
    mix_error_percent : float
        How far the parts as rounded are from the base's mixing ratio: the largest relative error of a part [%].
    naive_mix_error_percent : float
        How far they would be if the pigment were taken for its part: the same, were its mass not booked apart [%].
    """

    lines: tuple[Line, ...]
    blend: Blend
    rounded: Blend
    predicted: Appearance
    batch_g: float
    total_grams: float
    volume_cm3: float
    scale_step_g: float
    mix_error_percent: float
    naive_mix_error_percent: float
    cautions: tuple[str, ...]
    warnings: tuple[str, ...]


def weigh(
    palette: Palette,
    blend: Blend,
    *,
    setting: Setting,
    batch_g: float | None = None,
    batch_cm3: float | None = None,
    waste_percent: float = 10.0,
    scale_step_g: float = 0.01,
) -> WeighSheet:
    """Grams for a batch.

    Parameters
    ----------
    palette : Palette
    blend : Blend
    setting : Setting
        For the prediction of the rounded blend.
    batch_g, batch_cm3 : float
        What the moulds hold: one of the two [g] or [cm3].
    waste_percent : float
        Allowance for what stays in cup and sprue [% of the batch].
    scale_step_g : float
        The smallest step of the scale [g].

    Raises
    ------
    InputError
        If the batch is not given once, or a quantity makes no sense.

    Notes
    -----
    The pigment's mass belongs to no part: both parts are weighed for the base alone, so its mixing ratio holds.
    """
    loadings = palette.loadings(blend)
    base = palette.bases[blend.base]
    _check(waste_percent, scale_step_g)
    density = mix_density(base, palette.pigments, blend)
    total = _batch_grams(batch_g, batch_cm3, density) * (1.0 + waste_percent / 100.0)
    parts = sum(base.mix.values())
    base_grams = total * (1.0 - float(loadings.sum()) / 100.0)
    doses = [(name, base.pigment_in, total * blend.loadings[name] / 100.0) for name in _in_order(blend)]
    portions = [(f"part {part}", part, base_grams * share / parts) for part, share in base.mix.items()]
    # Pigments go into their part before the other part, so that the clock starts last.
    portions.sort(key=lambda portion: portion[1] != base.pigment_in)
    weighings = [portions[0], *doses, *portions[1:]]
    grams = [round(round(exact / scale_step_g) * scale_step_g, 10) for _, _, exact in weighings]
    poured = sum(grams)
    if poured <= 0.0:
        raise InputError("weigh", f"nothing of {total:g} g shows on a scale of {scale_step_g:g} g", mend="make more")
    lines = tuple(
        Line(what=what, part=part, grams=shown, exact_grams=exact, percent=100.0 * shown / poured)
        for (what, part, exact), shown in zip(weighings, grams, strict=True)
    )
    rounded = Blend(blend.base, {line.what: line.percent for line in lines if line.what in blend.loadings})
    return WeighSheet(
        lines=lines,
        blend=blend,
        rounded=rounded,
        predicted=predict(palette, rounded, setting=setting),
        batch_g=total,
        total_grams=round(poured, 10),
        volume_cm3=poured / density,
        scale_step_g=scale_step_g,
        mix_error_percent=_mix_error(base, {line.part: line.grams for line in lines if line.what.startswith("part ")}),
        naive_mix_error_percent=_naive_mix_error(base, float(loadings.sum())),
        cautions=cautions(base, palette.pigments, blend),
        warnings=tuple(_too_small(lines, rounded, scale_step_g)),
    )


def mix_density(base: Base, pigments: dict[str, Pigment], blend: Blend) -> float:
    """Density of the finished mix, volumes adding up; a pigment of unknown density counts as base [g/cm3]."""
    densities = {name: pigments[name].density or base.density for name in blend.loadings}
    rest = 100.0 - blend.total
    return 100.0 / (rest / base.density + sum(x / densities[name] for name, x in blend.loadings.items()))


def cautions(base: Base, pigments: dict[str, Pigment], blend: Blend) -> tuple[str, ...]:
    """The usual cautions for what is about to be weighed; data sheets, local rules and licensed practice rule."""
    told = []
    unknown = [name for name in blend.loadings if pigments[name].cures is None]
    unsafe = [n for n in blend.loadings if (cures := pigments[n].cures) is not None and base.cure not in cures]
    if unsafe:
        told.append(f"{' and '.join(unsafe)}: not safe with {base.cure} cure; it may stay soft or tacky")
    if unknown:
        told.append(f"{' and '.join(unknown)}: not known to be safe with {base.cure} cure")
    told.append("Cure a small cup of this very mix before you pour the batch.")
    told.append("Powders: weigh without raising dust, with extraction or a respirator. Wear nitrile gloves, not latex.")
    if base.cure == "condensation":
        told.append("Tin catalysts harm health: keep off skin, and not for skin or food contact unless certified.")
    else:
        told.append("Sulphur, tin and amines stop addition cure: keep tools, moulds and gloves free of them.")
    told.append("Vacuum: a cup of 3 to 5 times the volume, a rated chamber, eye protection.")
    told.append("Supplier's data sheets, local rules and licensed practice come before this sheet.")
    return tuple(told)


def _check(waste_percent: float, scale_step_g: float) -> None:
    if not 0.0 <= waste_percent <= 200.0:
        raise InputError("waste", f"{waste_percent:g} %", "0 to 200 % of the batch")
    if not 0.0 < scale_step_g <= 100.0:
        raise InputError("scale step", f"{scale_step_g:g} g", "more than 0 and at most 100 g")


def _batch_grams(batch_g: float | None, batch_cm3: float | None, density: float) -> float:
    if (batch_g is None) == (batch_cm3 is None):
        raise InputError("batch", "given twice" if batch_g is not None else "not given", "grams or cm3, one of the two")
    grams = batch_g if batch_g is not None else float(batch_cm3 or 0.0) * density
    if not 0.0 < grams <= 1e6 or not np.isfinite(grams):
        raise InputError("batch", f"{grams:g} g", "more than 0 and at most a tonne")
    return grams


def _in_order(blend: Blend) -> list[str]:
    """Pigments from the largest dose to the smallest, so that a slip is made while little has been spent."""
    return sorted((name for name, x in blend.loadings.items() if x > 0.0), key=lambda name: -blend.loadings[name])


def _mix_error(base: Base, grams: dict[str, float]) -> float:
    poured, parts = sum(grams.values()), sum(base.mix.values())
    return max(
        100.0 * abs(grams[part] / poured / (share / parts) - 1.0) for part, share in base.mix.items()
    ) if poured else 100.0  # fmt: skip


def _naive_mix_error(base: Base, total_loading: float) -> float:
    """Were the pigment weighed as if it were its part: that part's share of base falls by the pigment."""
    share = base.mix[base.pigment_in] / sum(base.mix.values())
    left = max(share - total_loading / 100.0, 0.0)
    others = 1.0 - share
    true_share = left / (left + others) if left + others else 0.0
    return 100.0 * abs(true_share / share - 1.0)


def _too_small(lines: tuple[Line, ...], rounded: Blend, step: float) -> list[str]:
    told = []
    for line in lines:
        if line.what not in rounded.loadings:
            continue
        if line.grams == 0.0:
            told.append(f"{line.what}: {line.exact_grams:.2g} g does not show on a scale of {step:g} g; make a premix")
        elif line.grams < _TRUSTED_STEPS * step:
            off = 100.0 * abs(line.grams - line.exact_grams) / line.exact_grams
            told.append(
                f"{line.what}: {line.grams:g} g is few steps of {step:g} g (rounded by {off:.1f} %); "
                "a finer scale, a larger batch or a premix would hold it better"
            )
    return told
