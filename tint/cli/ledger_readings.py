"""A reading as options: a row of a readings table or a colour, and the conditions that it was taken in."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

import click

from tint import colorimetry
from tint.cli.ledger_options import day, lab_option, read_json
from tint.cli.options import grouped, scale_option
from tint.errors import InputError
from tint.ledger import Weighing
from tint.materials import GEOMETRIES, SEATS
from tint.swatches import QUANTITIES, read_folder
from tint.swatches.instruments import Given
from tint.swatches.one_reading import read_one

_LAB = ("lab_l", "lab_a", "lab_b")


def _seen(
    reading: str | None, lab: tuple[float, ...] | None, over: str | None, seat: str | None, geometry: str | None,
    light: str | None, observer: str | None, quantity: str | None, read_on: Any, scale: str | None,
) -> dict[str, Any]:  # fmt: skip
    told = {
        "reading": reading,
        "lab": lab,
        "backing": over,
        "seat": seat,
        "geometry": geometry,
        "light": light,
        "observer_degrees": None if observer is None else int(observer),
        "quantity": quantity,
        "read_on": None if read_on is None else read_on.isoformat(),
        "scale": scale,
    }
    return {name: value for name, value in told.items() if value is not None}


reading_options = grouped(
    "seen",
    _seen,
    click.option(
        "--reading", metavar="FILE[:NAME]", help="As measured: in a table or an instrument's file, with --over."
    ),
    lab_option("--lab", "Or the colour that the instrument told."),
    click.option("--over", metavar="BACKING", help="What lay behind, or `none`."),
    click.option("--seat", type=click.Choice(SEATS), help="How it met the backing."),
    click.option("--geometry", type=click.Choice(GEOMETRIES), help="Of the instrument.  [default: the swatches' own]"),
    click.option("--light", metavar="NAME", help="CIE light of the Lab.  [default: D65]"),
    click.option("--observer", type=click.Choice(("2", "10")), help="Degrees.  [default: 10]"),
    click.option("--quantity", type=click.Choice(QUANTITIES), help="What was measured.  [default: reflectance]"),
    click.option("--read-on", type=day("--read-on"), metavar="DAY", help="Day of the reading.  [default: today]"),
    scale_option,
)


def is_read(seen: dict[str, Any]) -> bool:
    """Whether options tell a spectrum or a colour, not merely conditions."""
    return "reading" in seen or "lab" in seen


def measured(folder: Path, seen: dict[str, Any]) -> dict[str, Any]:
    """The columns of a reading that options tell of; a spectrum's Lab is computed.

    Raises
    ------
    InputError
        If a spectrum and a colour are given, the table cannot be read, or conditions lack what they are of.
    """
    told = {name: value for name, value in seen.items() if name not in ("reading", "lab", "scale")}
    if "reading" in seen and "lab" in seen:
        raise InputError("--reading", "given together with --lab", "expected one or the other")
    if not is_read(seen):
        if told.keys() & {"light", "observer_degrees"}:
            raise InputError("--light or --observer", "given without what it is of", "expected --reading or --lab, too")
        return told
    names = {"scale": "scale", "light": "light", "observer": "observer_degrees", "geometry": "geometry"}
    said = Given(**{name: str(seen.get(column, "")) for name, column in names.items()})
    defaults: dict[str, Any] = {"light": "D65", "observer_degrees": 10, "quantity": "reflectance"}
    defaults["read_on"] = date.today().isoformat()
    told = defaults | told
    if "lab" in seen:
        colorimetry.viewing(_ANY_GRID, light=told["light"], observer=told["observer_degrees"])  # or it is told
        return told | dict(zip(_LAB, seen["lab"], strict=True))
    return _spectrum(folder, seen["reading"], told, said)


_ANY_GRID = range(400, 701, 10)


def _spectrum(folder: Path, where: str, told: dict[str, Any], said: Given) -> dict[str, Any]:
    if "backing" not in told:
        raise InputError("--over", "not given", "expected what lay behind the reading, as in --over white")
    swatches = read_folder(folder)
    conditions: dict[str, str] = {name: told[name] for name in ("backing", "seat", "quantity") if name in told}
    own = told.get("geometry", swatches.instrument.geometry)
    read = read_one(where, onto=swatches.wavelengths, told=conditions, geometry=own, said=said)
    view = colorimetry.viewing(swatches.wavelengths, light=told["light"], observer=told["observer_degrees"])
    known = {
        "geometry": own,
        **told,
        **dict(zip(_LAB, read.seen(view).tolist(), strict=True)),
        "light": view.light,
        "source": where,
    }
    if read.spectrum is None:
        return known
    grid, values = tuple(swatches.wavelengths.tolist()), tuple(read.spectrum.tolist())
    return {**known, "wavelengths_nm": grid, "spectrum": values}


# What other commands wrote as JSON, as entries of the ledger: `tint solve` a recipe, `tint weigh` a batch.


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
