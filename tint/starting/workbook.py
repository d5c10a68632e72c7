"""The same in one workbook: swatches.xlsx with the planned castings, in place of palette.toml and swatches.csv."""

from __future__ import annotations

from tint.starting.answers import Answers
from tint.starting.declared import instrument_keys
from tint.starting.plan import CastingPlan
from tint.swatches.blank_workbook import blank_workbook


def begun_workbook(answers: Answers, plan: CastingPlan) -> bytes:
    """What the workshop has and what it pours first, as the bytes of swatches.xlsx.

    Raises
    ------
    InputError
        If openpyxl is missing.
    """
    shop = answers.workshop
    keys = {"name": answers.name, **instrument_keys(answers), "scale_step_g": shop.scale_step_g}
    keys["mould_depths_mm"] = ", ".join(f"{depth:g}" for depth in shop.mould_depths_mm)
    if shop.scale_max_g:
        keys["scale_max_g"] = shop.scale_max_g
    bases = {
        name: {
            "cure": base.cure, "density": base.density, "refractive_index": base.refractive_index,
            "max_loading": base.max_loading, "pigment_in": base.pigment_in,
            **{f"mix_{part}": share for part, share in base.mix.items()},
        }
        for name, base in answers.bases.items()
    }  # fmt: skip
    pigments = {
        name: {
            "cures": None if each.cures is None else ", ".join(each.cures),
            "max_loading": each.max_loading,
            "kind": each.kind,
        }
        for name, each in answers.pigments.items()
    }
    castings = [
        {
            "swatch": cup.name, "base": cup.blend.base, "thickness_mm": cup.thickness_mm, **cup.blend.loadings,
            "note": f"planned: {casting.reason}",
        }
        for casting, cup in zip(plan.castings, plan.sheet.cups, strict=True)
    ]  # fmt: skip
    return blank_workbook(
        keys=keys, bases=bases, pigments=pigments, backings=answers.cards, castings=castings, colours=plan.colours
    )
