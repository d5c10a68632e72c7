"""What the library answers, as plain values that JSON can hold: the keys that scripts may rely on stand here once.

This stands below what it describes, so that an appearance, an answer, a weigh sheet can each have a `to_json` of one
line; what is told is read by the names of its fields. `--json` of the commands prints the same.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

import numpy as np

from tint.opacity import KINDS

TARGET_BOUNDS = tuple(kind + end for kind in KINDS for end in ("", "_min", "_max"))


def text(content: Mapping[str, Any]) -> str:
    """One JSON object."""
    import msgspec  # only needed where something is written

    return msgspec.json.encode(plain(content)).decode()


def plain(value: Any) -> Any:
    """A value as JSON can hold it: arrays as lists, what is not finite as null."""
    if isinstance(value, np.ndarray | np.generic):
        return plain(value.tolist())
    if isinstance(value, Mapping):
        return {str(name): plain(each) for name, each in value.items()}
    if isinstance(value, list | tuple):
        return [plain(each) for each in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def setting(appearance: Any) -> dict[str, Any]:
    """What an appearance holds for, nothing left to a default."""
    asked = appearance.setting
    return {
        "thickness_mm": asked.thickness_mm,
        "over": appearance.over,
        "seat": asked.seat,
        "light": asked.light,
        "observer": asked.observer,
        "geometry": appearance.geometry,
    }


def summary(appearance: Any) -> dict[str, Any]:
    """All of an appearance but its spectra and setting."""
    known = np.isfinite(appearance.lab_black).all()
    return {
        "base": appearance.blend.base,
        "loadings": dict(appearance.blend.loadings),
        "lab": appearance.lab,
        "lab_black": appearance.lab_black if known else None,
        "lab_white": appearance.lab_white if known else None,
        "srgb": appearance.srgb,
        "in_gamut": appearance.in_gamut,
        "contrast_ratio": appearance.contrast_ratio,
        "contrast_ratio_error": appearance.contrast_ratio_error,
        "luminous_transmittance": appearance.luminous_transmittance,
        "luminous_transmittance_error": appearance.luminous_transmittance_error,
        "regular_transmittance": appearance.regular_transmittance,
        "regular_transmittance_error": appearance.regular_transmittance_error,
        "haze": appearance.haze,
        "haze_error": appearance.haze_error,
        "expected_error": appearance.expected_error,
        "warnings": list(appearance.warnings),
    }


def appearance(look: Any) -> dict[str, Any]:
    """The whole of an appearance."""
    return {
        **summary(look),
        "wavelengths": look.wavelengths,
        "reflectance": look.reflectance,
        "transmittance": look.transmittance,
        "setting": setting(look),
        "conditions": look.conditions,
    }


def target(wanted: Any) -> dict[str, Any]:
    """The whole of a target but its spectrum."""
    return {
        "lab": wanted.lab,
        **{name: getattr(wanted, name) for name in TARGET_BOUNDS},
        "tolerance": wanted.tolerance,
        "thickness_mm": wanted.thickness_mm,
        "also": [
            {"lab": each.lab, "over": each.over or None, "seat": each.seat or None, "thickness_mm": each.thickness_mm}
            for each in wanted.also
        ],
        "source": wanted.source,
    }


def recipe(each: Any) -> dict[str, Any]:
    """The whole of a recipe but the spectra of its appearance."""
    return summary(each.appearance) | {
        "delta_e": each.delta_e,
        "opacity_miss": each.opacity_miss,
        "limits": list(each.limits),
        "reached": each.reached,
        "reason": each.reason,
        "metamerism": each.metamerism,
        "sensitivity": each.sensitivity,
        "chance": each.chance,
        "price_per_kg": each.price_per_kg,
        "merits": list(each.merits),
        "premix": list(each.premix),
        "walls": [
            {
                "thickness_mm": wall.appearance.setting.thickness_mm,
                "delta_e": wall.delta_e,
                "contrast_ratio": wall.appearance.contrast_ratio,
                "expected_error": wall.appearance.expected_error,
                "reached": wall.reached,
            }
            for wall in each.walls
        ],
    }


def answer(given: Any) -> dict[str, Any]:
    """The whole of an answer."""
    first = given.recipes[0].appearance
    return {
        "recipes": [recipe(each) for each in given.recipes],
        "target": target(given.target),
        "setting": setting(first),
        "conditions": first.conditions,
        "walls_mm": list(given.rules.walls_mm),
        "batch_g": given.rules.batch_g,
        "scale_step_g": given.rules.scale_step_g,
        "loosened": [
            {
                "limit": each.limit,
                "value": each.value,
                "delta_e": each.delta_e,
                "reached": each.reached,
                "words": each.words,
            }
            for each in given.loosened
        ],
        "refused": given.refused,
        "warnings": list(given.warnings),
        "sets": given.sets,
    }


def sheet(weighed: Any) -> dict[str, Any]:
    """The whole of a weigh sheet."""
    return {
        "lines": [asdict(line) | {"into": line.into} for line in weighed.lines],
        "total_grams": weighed.total_grams,
        "predicted": appearance(weighed.predicted),
        "base": weighed.blend.base,
        "loadings": dict(weighed.blend.loadings),
        "rounded": dict(weighed.rounded.loadings),
        "delta_e": weighed.delta_e,
        "aim_delta_e": weighed.aim_delta_e,
        "batch_g": weighed.batch_g,
        "volume_cm3": weighed.volume_cm3,
        "batch": asdict(weighed.batch),
        "scale_step_g": weighed.scale.step_g,
        "smallest_weighing_g": weighed.scale.smallest_g,
        "dose_tolerance_percent": weighed.scale.tolerance_percent,
        "mix_error_percent": weighed.mix_error_percent,
        "naive_mix_error_percent": weighed.naive_mix_error_percent,
        "naive_part_error_percent": weighed.naive_part_error_percent,
        "premixes": [
            asdict(premix)
            | {name: getattr(premix, name) for name in ("strength", "made_g", "left_g", "pigment_g", "base_g")}
            for premix in weighed.premixes
        ],
        "cups": asdict(weighed.cups),
        "care": [asdict(each) for each in weighed.care],
        "cautions": list(weighed.cautions),
        "warnings": list(weighed.warnings),
    }
