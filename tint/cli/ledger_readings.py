"""A reading as options: a row of a readings table or a colour, and the conditions that it was taken in."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import click

from tint import colorimetry
from tint.cli.ledger_options import day, lab_option
from tint.cli.options import grouped
from tint.errors import InputError
from tint.materials import GEOMETRIES, SEATS
from tint.swatches import QUANTITIES, read_folder
from tint.swatches.one_reading import read_one

_LAB = ("lab_l", "lab_a", "lab_b")


def _seen(
    reading: str | None, lab: tuple[float, ...] | None, over: str | None, seat: str | None, geometry: str | None,
    light: str | None, observer: str | None, quantity: str | None, read_on: Any,
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
    told = {name: value for name, value in seen.items() if name not in ("reading", "lab")}
    if "reading" in seen and "lab" in seen:
        raise InputError("--reading", "given together with --lab", "expected one or the other")
    if not is_read(seen):
        if told.keys() & {"light", "observer_degrees"}:
            raise InputError("--light or --observer", "given without what it is of", "expected --reading or --lab, too")
        return told
    defaults: dict[str, Any] = {"light": "D65", "observer_degrees": 10, "quantity": "reflectance"}
    defaults["read_on"] = date.today().isoformat()
    told = defaults | told
    if "lab" in seen:
        colorimetry.viewing(_ANY_GRID, light=told["light"], observer=told["observer_degrees"])  # or it is told
        return told | dict(zip(_LAB, seen["lab"], strict=True))
    return _spectrum(folder, seen["reading"], told)


_ANY_GRID = range(400, 701, 10)


def _spectrum(folder: Path, where: str, told: dict[str, Any]) -> dict[str, Any]:
    if "backing" not in told:
        raise InputError("--over", "not given", "expected what lay behind the reading, as in --over white")
    swatches = read_folder(folder)
    conditions: dict[str, str] = {name: told[name] for name in ("backing", "seat", "quantity") if name in told}
    read = read_one(where, onto=swatches.wavelengths, told=conditions)
    view = colorimetry.viewing(swatches.wavelengths, light=told["light"], observer=told["observer_degrees"])
    known = {
        "geometry": swatches.instrument.geometry,
        **told,
        **dict(zip(_LAB, read.seen(view).tolist(), strict=True)),
        "light": view.light,
        "source": where,
    }
    if read.spectrum is None:
        return known
    grid, values = tuple(swatches.wavelengths.tolist()), tuple(read.spectrum.tolist())
    return {**known, "wavelengths_nm": grid, "spectrum": values}
