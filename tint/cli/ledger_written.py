"""What other commands wrote as JSON, as entries of the ledger: `tint solve` a recipe, `tint weigh` a batch."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from tint.cli.ledger_options import read_json
from tint.errors import InputError
from tint.ledger import Weighing

_SOLVED, _WEIGHED = "what `tint solve --json` writes", "what `tint weigh --json` writes"
# Column to key, of the recipe and of the setting that it was solved in.
_OF_RECIPE = {
    "base": "base",
    "loadings_percent": "loadings",
    "expected_error_ciede2000": "expected_error",
    "to_target_ciede2000": "delta_e",
    "contrast_ratio": "contrast_ratio",
    "contrast_ratio_error": "contrast_ratio_error",
    "reached": "reached",
}
_OF_SETTING = {
    "thickness_mm": "thickness_mm",
    "backing": "over",
    "seat": "seat",
    "light": "light",
    "observer_degrees": "observer",
    "geometry": "geometry",
}


def recipe_written(file: str, pick: int | None) -> dict[str, Any]:
    """The columns of a recipe, from what `tint solve --json` or `tint adjust --json` wrote.

    Parameters
    ----------
    pick : int, optional
        Which recipe of the file, counted from 1, the best.

    Raises
    ------
    InputError
        If the file cannot be read, or holds no such recipe.
    """
    content, where = read_json(file, _SOLVED), _where(file)
    recipes = content.get("recipes")
    if not isinstance(recipes, list) or not recipes:
        raise InputError(where, "holds no recipe", f"expected {_SOLVED}")
    number = 1 if pick is None else pick
    if number > len(recipes):
        raise InputError("--pick", f"{number}", f"expected 1 to {len(recipes)}, the recipes in {where}")
    recipe, setting = _object(recipes[number - 1], where), _object(content.get("setting") or {}, where)
    if not isinstance(recipe.get("base"), str) or not isinstance(recipe.get("loadings"), dict):
        raise InputError(where, "holds a recipe without base or loadings", f"expected {_SOLVED}")
    told = {column: recipe.get(key) for column, key in _OF_RECIPE.items()}
    told |= {column: setting.get(key) for column, key in _OF_SETTING.items()}
    told |= {"optics": content.get("optics"), **_lab(recipe.get("lab"))}
    told["more"] = {key: value for key, value in recipe.items() if key not in (*_OF_RECIPE.values(), "lab")}
    return {column: value for column, value in told.items() if value is not None}


def batch_written(file: str) -> dict[str, Any]:
    """The columns of a batch, from what `tint weigh --json` or `tint ledger repeat --json` wrote.

    Raises
    ------
    InputError
        If the file cannot be read, or holds no weigh sheet.
    """
    content, where = read_json(file, _WEIGHED), _where(file)
    lines = content.get("lines")
    if not isinstance(lines, list) or not isinstance(content.get("base"), str):
        raise InputError(where, "holds no weigh sheet", f"expected {_WEIGHED}")
    told = {name: content.get(name) for name in ("base", "batch_g", "total_grams")}
    told["weighed"] = tuple(_weighing(_object(line, where), where) for line in lines)
    return {column: value for column, value in told.items() if value is not None}


def _weighing(line: Mapping[str, Any], where: str) -> Weighing:
    what, part, grams = (line.get(name) for name in ("what", "part", "grams"))
    if not isinstance(what, str) or not isinstance(part, str | None) or not isinstance(grams, float | int):
        raise InputError(where, "holds a line without what or grams", f"expected {_WEIGHED}")
    return Weighing(what=what, part=part or "", grams=grams)


def _lab(lab: Any) -> dict[str, Any]:
    three = lab if isinstance(lab, list) and len(lab) == 3 else (None, None, None)
    return dict(zip(("lab_l", "lab_a", "lab_b"), three, strict=True))


def _object(value: Any, where: str) -> dict[str, Any]:
    if not isinstance(value, dict):
        raise InputError(where, f"holds `{str(value)[:40]}`", "expected an object")
    return value


def _where(file: str) -> str:
    return "standard input" if file == "-" else file
