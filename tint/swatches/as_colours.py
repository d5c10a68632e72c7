"""A measurement as L*, a*, b* in the one light and observer that a folder of colours holds."""

from __future__ import annotations

import re
from collections.abc import Iterable

import numpy as np

from tint import colorimetry
from tint.colorimetry import OBSERVERS, Viewing
from tint.errors import InputError
from tint.spectra import Array
from tint.swatches.declaration import light_name
from tint.swatches.gather import quoted, shown
from tint.swatches.instruments.measurement import Measurement, on_grid
from tint.swatches.records import COLOUR_GRID_NM

_SMALL_Y = 1.2  # no light part has all its Y below, where that of a perfect white is 100
_UNTOLD = "tell it in the file, in columns light and observer, or to tint import by --light and --observer"


def as_colour(
    measurement: Measurement, view: Viewing, *, light: str = "", observer: str = ""
) -> tuple[Array, tuple[str, ...]]:
    """The colour of a measurement of reflectance, and how it came about.

    Parameters
    ----------
    view : Viewing
        The light and observer wanted, on 400, 410 ... 700 nm.
    light, observer : str
        Those of a measurement that tells none.

    Returns
    -------
    lab : ndarray, shape (3,)
        [-]
    notes : tuple of str
        In words; empty where the file tells this very colour.

    Raises
    ------
    InputError
        If it has no spectrum, and its Lab or XYZ hold for another light or observer, or nobody knows for which.
    """
    if measurement.values is not None:
        spectrum, note = on_grid(measurement, np.array(COLOUR_GRID_NM))
        made = f"L*, a*, b* made from the spectrum, for {view}"
        return colorimetry.lab(spectrum, view), (*([note] if note else []), made)
    name = shown(measurement.name)
    own = told_view(measurement, light=light, observer=observer)
    if own != (view.light, view.observer):
        found = f"the colour of {name} holds for {own[0]}, {own[1]}° observer"
        raise InputError(measurement.where, found, f"{view}", "export it for that, or export its spectrum")
    notes = [] if measurement.light and measurement.observer else [f"taken to hold for {view}, as was said"]
    if measurement.lab is not None:
        return measurement.lab, tuple(notes)
    if measurement.xyz is not None:
        return colorimetry.xyz_to_lab(measurement.xyz, view.white), (*notes, "L*, a*, b* made from X, Y, Z")
    raise InputError(measurement.where, f"{name} has neither spectrum nor colour", "one of the two")


def told_view(measurement: Measurement, *, light: str = "", observer: str = "") -> tuple[str, int]:
    """Light and observer that the Lab and XYZ of a measurement hold for.

    Parameters
    ----------
    light, observer : str
        Those of a measurement that tells none.

    Raises
    ------
    InputError
        If one of them is not told, or unknown.
    """
    words, degrees = measurement.light, measurement.observer
    both = re.fullmatch(r"([\w-]{1,20})\s*/\s*(2|10)\b.*", words[:80])  # D65/10°
    if both and not degrees:
        words, degrees = both[1], both[2]
    words, degrees = words or light, degrees or observer
    for what, told in (("light", words), ("observer", degrees)):
        if not told:
            found = f"no {what} is told for the colour of {shown(measurement.name)}"
            raise InputError(measurement.where, found, f"the {what} that it holds for", _UNTOLD)
    angle = re.fullmatch(r"0?(2|10)(?!\d).*", degrees.strip()[:80])
    if angle is None or int(angle[1]) not in OBSERVERS:
        raise InputError(measurement.where, f"the observer {quoted(degrees)} is not known", "2 or 10 (degrees)")
    try:
        return light_name(words), int(angle[1])
    except InputError as error:
        found = f"the light {quoted(words)} is not known"
        raise InputError(measurement.where, found, error.expected, error.mend) from error


def check_xyz_scale(measurements: Iterable[Measurement]) -> None:
    """Refuse X, Y, Z on a scale where those of a perfect white are about 1.

    Raises
    ------
    InputError
        If all of them that stand alone are that small.
    """
    alone = [each for each in measurements if each.values is None and each.lab is None and each.xyz is not None]
    tops = [float(each.xyz[1]) for each in alone if each.xyz is not None]
    if tops and max(tops) <= _SMALL_Y:
        found = f"no Y is above {max(tops):.3g}"
        raise InputError(alone[0].where, found, "100 for a perfect white", "export L*, a*, b*, or multiply by 100")
