"""What to know before weighing: the usual cautions, and weighings that the scale cannot do well."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint import colorimetry
from tint.appearance import Setting
from tint.materials import Base, Blend, Pigment
from tint.palette import Palette
from tint.weighing.booking import Line
from tint.weighing.cups import Cups
from tint.weighing.premix import Premix
from tint.weighing.rounding import Scale, Weighings, looks


def cautions(base: Base, pigments: Mapping[str, Pigment], blend: Blend) -> tuple[str, ...]:
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


def of_premixes(premixes: Mapping[str, Premix]) -> list[str]:
    """How to treat premixes that are made."""
    if not premixes:
        return []
    return ["Premixes: label them with lot and date, stir before each use, keep them no longer than their part keeps."]


def too_heavy(lines: Sequence[Line], scale: Scale) -> list[str]:
    """What the scale does not carry at once."""
    most = scale.max_g
    if most is None:
        return []
    heavy = [f"{line.what}, {scale.shown(line.grams)}" for line in lines if line.grams > most]
    return (
        [f"more than the {most:g} g that the scale carries: {'; '.join(heavy)}: weigh it in portions"] if heavy else []
    )


def too_small(lines: Sequence[Line], scale: Scale, *, premix: bool, cups: Cups) -> list[str]:
    """Weighings that the scale does not do well.

    Parameters
    ----------
    premix : bool
        Whether premixes were looked for: a dose that is still too small could not have one.
    """
    doses = [line for line in lines if line.pigment and line.what == line.pigment]
    told = [words for line in doses if (words := _of_dose(line, scale, premix=premix))]
    weights = {line.part: line.grams for line in lines if not line.pigment} | dict(cups.rest_g)
    each = " a cup" if cups.count > 1 else ""
    told += [
        f"part {part}: {grams:g} g{each} is less than {_trusted(scale)}: the mixing ratio may be off by "
        f"{scale.error_percent(grams):.1f} %; make more at a time, or take a finer scale"
        for part, grams in weights.items()
        if 0.0 < grams < scale.smallest_g * (1.0 - 1e-9)
    ]
    return told


def _of_dose(line: Line, scale: Scale, *, premix: bool) -> str:
    exact, step = line.exact_grams, f"{scale.step_g:g} g"
    if exact >= scale.smallest_g * (1.0 - 1e-9):
        return ""
    if premix:
        mend = "a premix would take more base than there is; a finer scale or a larger batch would hold it better"
    else:
        mend = "a finer scale, a larger batch or a premix would hold it better"
    if line.grams == 0.0:
        mend = "weigh a larger batch" if premix else "make a premix"
        return f"{line.what}: {exact:.2g} g does not show on a scale of {step}; {mend}"
    off = 100.0 * abs(line.grams - exact) / exact
    found = f"{line.grams:g} g is few steps of {step} (rounded by {off:.1f} %), less than {_trusted(scale)}"
    return f"{line.what}: {found}; {mend}"


def _trusted(scale: Scale) -> str:
    return f"the {scale.smallest_g:.2g} g that it weighs to {scale.tolerance_percent:g} %"


# Which weighing must be done most carefully: what one step of the scale does to the colour.


Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Care:
    """One weighing, and how much hangs on it.

    Parameters
    ----------
    what, into : str
        What is weighed, and what it goes into.
    step_g : float
        By which it is off: a step of the scale, in every cup where it is weighed cup by cup [g].
    delta_e : float
        CIEDE2000 that one step too much or too little makes, whichever makes more [-].
    """

    what: str
    into: str
    step_g: float
    delta_e: float


def care(
    palette: Palette, base: str, weighings: Weighings, grams: Array, *, setting: Setting,
    names: Sequence[tuple[str, str]], premixes: Sequence[Premix], step_g: float,
) -> tuple[Care, ...]:  # fmt: skip
    """Every weighing of a sheet, the most delicate first.

    Parameters
    ----------
    grams : ndarray, shape (n_lines,)
        As rounded [g].
    names : sequence of (str, str)
        What each line is and what it goes into.
    premixes : sequence of Premix
        Their own weighings of pigment are judged too.
    """
    pigments = grams @ weighings.pigment
    by_line = weighings.steps[:, None] * weighings.pigment
    rows, totals, told = list(by_line), list(weighings.steps), [*zip(names, weighings.steps, strict=True)]
    for premix in premixes:
        at = list(palette.pigments).index(premix.pigment)
        for letdown in premix.steps:
            row = np.zeros_like(pigments)
            row[at] = pigments[at] * step_g / letdown.grams
            rows.append(row)
            totals.append(0.0)
            told.append(((letdown.what, letdown.makes), step_g))
    change, total = np.array(rows), np.array(totals)
    labs = [
        looks(palette, base, _loadings(pigments + sign * change, grams.sum() + sign * total), setting=setting)[0]
        for sign in (1.0, -1.0)
    ]
    own = looks(palette, base, weighings.loadings(grams)[None], setting=setting)[0]
    off = np.max([colorimetry.difference(own, each) for each in labs], axis=0)
    listed = [
        Care(what=what, into=into, step_g=float(step), delta_e=float(delta_e))
        for ((what, into), step), delta_e in zip(told, off, strict=True)
    ]
    return tuple(sorted(listed, key=lambda each: -each.delta_e))


def _loadings(pigments: Array, totals: Array) -> Array:
    return 100.0 * np.maximum(pigments, 0.0) / np.maximum(totals, 1e-12)[:, None]
