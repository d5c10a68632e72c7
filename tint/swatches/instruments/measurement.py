"""A measurement as an instrument's file tells it, and the checks and the scale that all formats share."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from tint import colorimetry
from tint.colorimetry import OBSERVERS, Viewing, light_name
from tint.colorimetry.spectra import LEAST_FOR_SPRAGUE, resample_sprague, resample_wider
from tint.errors import InputError, quoted, shown
from tint.spectra import NEEDED_NM, STEP_NM, Array, resample
from tint.swatches.instruments.words import SPECULAR, WAVELENGTHS_NM, geometry_in, in_english, specular_in, with_gloss
from tint.swatches.records import COLOUR_GRID_NM
from tint.swatches.text import LARGEST_VALUE, number

# What programs write where nothing was read.
NO_VALUE = frozenset(
    {"", "-", "--", "---", "----", "–", "—", "n/a", "na", "n.a.", "nan", "#n/a", "#nv", "null", "none", "*", "***"}
)
# Bounds against files that are none of measurements: common practice, no source.
MOST_WAVELENGTHS = 5_000
MOST_MEASUREMENTS = 50_000

_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d{1,4})?", re.ASCII)
_LONGEST_NUMBER = 60  # characters; no source, chosen by eye


@dataclass(frozen=True, kw_only=True, eq=False)
class Measurement:
    """One sample as an instrument's file tells it; what the file does not tell is None or empty."""

    name: str  # what the file calls the sample
    wavelengths: Array | None = None  # shape (n,), rising, not always in equal steps [nm]
    values: Array | None = None  # shape (n,), spectrum on them [-]
    # lab, xyz: shape (3,), as they stand in the file, in its own light, observer and scale [-]
    lab: Array | None = None
    xyz: Array | None = None
    quantity: str = ""  # `reflectance`, `transmittance`, or empty
    geometry: str = ""  # `di:8`, `de:8`, `45:0`, or another in the file's own words
    specular: str = ""  # whether the mirror reflection was caught: `included`, `excluded`, or empty
    # backing, seat: what lay behind the sample, and how
    backing: str = ""
    seat: str = ""
    # instrument, light, observer: what measured it; light and observer of `lab` and `xyz`, such as `D50` and `2`
    instrument: str = ""
    light: str = ""
    observer: str = ""
    source: str = ""  # `photograph`, or empty for what an instrument read
    scale: str = ""  # `fraction` or `percent`: how the values stand in the file
    # file, place: where it was read: the file, and the row or object in it
    file: str = ""
    place: str = ""
    told: Mapping[str, str] = field(default_factory=dict)  # what further columns say, by their names in small letters
    notes: tuple[str, ...] = ()  # what was decided while reading, in words
    # why it has no values: its own numbers are at fault, and the rest of the file is not
    fault: InputError | None = None

    @property
    def where(self) -> str:
        """File and place, as an error names them."""
        return f"{self.file}, {self.place}" if self.place else self.file


_TRANSMITTED = re.compile(
    r"(?<!data )transmi(?:ttance|ssion)(?! (?:cell|holder|accessor|port|module|rate|speed|protocol))"
)
_REFLECTED = re.compile(r"reflect|remission")


def hinted(measurement: Measurement, texts: Iterable[str], whose: str) -> Measurement:
    """With the geometry, the specular component or the transmittance that words about it tell, where it tells none.

    Words that tell both of two tell neither. `whose` says for the note where the words stand.
    """
    texts = list(texts)
    geometry, specular = measurement.geometry, measurement.specular
    quantity = measurement.quantity or "transmittance" * _is_transmitted(texts)
    if quantity != "transmittance" and geometry in ("", "d:8"):
        # A ring at 45 degrees has no specular component that a text could tell.
        geometry = _one({geometry_in(text) for text in texts} - {"d:8"} if not specular else ()) or geometry
        specular = specular or SPECULAR.get(geometry) or _one(map(specular_in, texts))
        geometry = with_gloss(geometry, specular)
    told = [new for new, old in ((quantity, measurement.quantity), (geometry, measurement.geometry)) if new != old]
    notes = (*measurement.notes, f"{' and '.join(told)} by {whose}") if told else measurement.notes
    return replace(measurement, quantity=quantity, geometry=geometry, specular=specular, notes=notes)


def _is_transmitted(texts: Sequence[str]) -> bool:
    words = in_english(" ".join(texts)).lower()
    return _TRANSMITTED.search(words) is not None and _REFLECTED.search(words) is None


def _one(words: Iterable[str]) -> str:
    """The one word among blanks; blank where there are several."""
    told = set(words) - {""}
    return told.pop() if len(told) == 1 else ""


def number_in(text: str) -> float | None:
    """The finite number that a text is, with a decimal point; None when it is none."""
    word = text.strip()
    if len(word) > _LONGEST_NUMBER or _NUMBER.fullmatch(word) is None:
        return None
    value = float(word)
    return value if abs(value) <= LARGEST_VALUE else None


def needed_number(text: str, where: str) -> float:
    """`number_in`, or an InputError that says what stands there instead."""
    value = number_in(text)
    if value is None:
        mend = "write it with a decimal point" if re.fullmatch(r"[+-]?\d*,\d+", text.strip()) else ""
        found = f"{quoted(text.strip())} is no number that a measurement can be" if text.strip() else "no number"
        raise InputError(where, found, "a number with a decimal point", mend)
    return value


def is_spare(cell: str) -> bool:
    """Whether a cell is a wavelength beyond what is needed."""
    nm = number(cell)
    return nm is not None and not NEEDED_NM[0] <= nm <= NEEDED_NM[1]


def without_gaps(cells: Sequence[str], places: Sequence[int], grid: Array) -> tuple[Sequence[int], Array]:
    """Where a spectrum stands in a row, and its wavelengths, without the cells beyond what is needed that are blank."""
    low, high = NEEDED_NM
    kept = [at for at, nm in enumerate(grid) if low <= nm <= high or cells[places[at]].lower() not in NO_VALUE]
    return (places, grid) if len(kept) == len(grid) else ([places[at] for at in kept], grid[kept])


def check_count(count: int, where: str) -> None:
    """Refuse fewer than two wavelengths, or far too many, before a spectrum is read number by number."""
    if not 2 <= count <= MOST_WAVELENGTHS:
        raise InputError(where, f"a spectrum of {count} wavelengths", f"2 to {MOST_WAVELENGTHS}")


def checked_wavelengths(wavelengths: Sequence[float], where: str) -> Array:
    """Wavelengths [nm] that rise and are light's, shape (n,).

    InputError if they are too few, too many, out of range or do not rise.
    """
    check_count(len(wavelengths), where)
    grid = np.array(wavelengths, dtype=np.float64)
    low, high = WAVELENGTHS_NM
    outside = ~((grid >= low) & (grid <= high))
    if outside.any():
        raise InputError(where, f"a wavelength of {grid[outside][0]:g} nm", f"{low:g} to {high:g} nm")
    falls = np.diff(grid) <= 0
    if falls.any():
        at = int(np.argmax(falls))
        raise InputError(where, f"{grid[at + 1]:g} nm comes after {grid[at]:g} nm", "wavelengths that rise")
    return grid


# A measurement brought onto the wavelengths of a folder, by the means that its own steps call for.


_SAME = 1e-6  # nm


def on_grid(measurement: Measurement, wavelengths: Array) -> tuple[Array, str]:
    """Values on a grid of equal steps, shape (m,) [-], and how they came there: empty where all were measured on it.

    InputError if there is no spectrum, it does not reach over the grid, or its steps are wider than 20 nm.
    """
    old, values = measurement.wavelengths, measurement.values
    if old is None or values is None:
        mend = "export the spectra too; colours alone go into a folder of colours, see docs/folder.md"
        raise InputError(measurement.where, "it holds Lab or XYZ only", "a spectrum", mend)
    steps = np.diff(old)
    if steps.max() > STEP_NM[1] + _SAME:
        found = f"a step of {steps.max():g} nm"
        raise InputError(measurement.where, found, f"at most {STEP_NM[1]:g} nm", "export the spectrum in finer steps")
    step = float(wavelengths[1] - wavelengths[0])
    is_even = bool(np.ptp(steps) <= 1e-6 * steps.max()) and old.size >= LEAST_FOR_SPRAGUE
    try:
        return _moved(values, old, wavelengths, step=step, is_even=is_even)
    except InputError as error:
        raise error.at(measurement.where) from error


def _moved(values: Array, old: Array, wavelengths: Array, *, step: float, is_even: bool) -> tuple[Array, str]:
    if not is_even and float(np.diff(old).max()) < step - _SAME:
        note = f"its steps differ, so the means under triangles {step:g} nm wide at half their height were taken"
        return _means_under_triangles(values, old, wavelengths, step), note
    if not is_even:
        return resample(values, old, onto=wavelengths), "brought onto the grid by a cubic spline: its steps differ"
    own = float(old[1] - old[0])
    if own < step - _SAME:
        note = f"from {own:g} to {step:g} nm as means under triangles {step:g} nm wide at half their height"
        return resample_wider(values, old, onto=wavelengths), note
    at = np.rint((wavelengths - old[0]) / own)
    is_on_it = np.allclose(old[0] + at * own, wavelengths, rtol=0.0, atol=_SAME)
    how = f"from {own:g} to {step:g} nm" if own > step + _SAME else "shifted between its own wavelengths"
    note = "" if is_on_it else f"{how} by Sprague's polynomial (CIE 167)"
    return resample_sprague(values, old, onto=wavelengths), note


def _means_under_triangles(values: Array, old: Array, wavelengths: Array, step: float) -> Array:
    """Means over the bandwidth of the grid, each value counted for the width that it stands for.

    A spline through steps finer than the grid would carry the noise of single values into it.
    """
    if old[0] > wavelengths[0] + 0.5 * step or old[-1] < wavelengths[-1] - 0.5 * step:
        found = f"a spectrum from {old[0]:g} to {old[-1]:g} nm"
        raise InputError("", found, f"one that covers {wavelengths[0]:g} to {wavelengths[-1]:g} nm")
    width = np.gradient(old)
    # Towards an end of the measured range the triangle narrows, evenly on both sides.
    room = np.minimum(wavelengths - old[0], old[-1] - wavelengths)
    half = np.clip(room, float(np.diff(old).max()), step)[:, None]
    weight = np.maximum(1.0 - np.abs(wavelengths[:, None] - old) / half, 0.0) * width
    return np.asarray(weight @ values / weight.sum(axis=1))


# A measurement as a colour in the one light and observer that a folder of colours holds.


# On the scale where a perfect white is 100; common practice, no source.
_SMALL_Y = 1.2  # no light part has all its Y below, where that of a perfect white is 100
_UNTOLD = "tell it in the file, in columns light and observer, or by --light and --observer"


def as_colour(measurement: Measurement, view: Viewing) -> tuple[Array, tuple[str, ...]]:
    """The colour of a measurement of reflectance, shape (3,) [-], and how it came about: empty where its file tells it.

    `view` is the light and observer wanted, on 400, 410 ... 700 nm. InputError if it has no spectrum, and its Lab or
    XYZ hold for another light or observer, or nobody knows for which.
    """
    if measurement.values is not None:
        spectrum, note = on_grid(measurement, np.array(COLOUR_GRID_NM))
        made = f"L*, a*, b* made from the spectrum, for {view}"
        return colorimetry.lab(spectrum, view), (*([note] if note else []), made)
    name = shown(measurement.name)
    own = told_view(measurement)
    if own != (view.light, view.observer):
        found = f"the colour of {name} holds for {own[0]}, {own[1]}° observer"
        raise InputError(measurement.where, found, f"{view}", "export it for that, or export its spectrum")
    if measurement.lab is not None:
        return measurement.lab, measurement.notes
    if measurement.xyz is not None:
        made = "L*, a*, b* made from X, Y, Z"
        return colorimetry.xyz_to_lab(measurement.xyz, view.white), (*measurement.notes, made)
    raise InputError(measurement.where, f"{name} has neither spectrum nor colour", "one of the two")


def told_view(measurement: Measurement) -> tuple[str, int]:
    """Light and observer that the Lab and XYZ of a measurement hold for.

    InputError if one of them is not told, or unknown.
    """
    words, degrees = measurement.light, measurement.observer
    both = re.fullmatch(r"([\w-]{1,20})\s*/\s*(2|10)\b.*", words[:80])  # D65/10°
    if both and not degrees:
        words, degrees = both[1], both[2]
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

    InputError if all of them that stand alone are that small.
    """
    alone = [each for each in measurements if each.values is None and each.lab is None and each.xyz is not None]
    tops = [float(each.xyz[1]) for each in alone if each.xyz is not None]
    if tops and max(tops) <= _SMALL_Y:
        found = f"no Y is above {max(tops):.3g}"
        raise InputError(alone[0].where, found, "100 for a perfect white", "export L*, a*, b*, or multiply by 100")
