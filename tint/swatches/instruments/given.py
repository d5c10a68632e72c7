"""What the user says of a file that leaves it open, and the scale of its spectra where nobody says it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tint.errors import InputError
from tint.spectra import Array
from tint.swatches.gather import quoted, shown
from tint.swatches.instruments.measurement import Measurement
from tint.swatches.instruments.words import SPECULAR

AS_FRACTIONS = "taken as fractions"
SCALES = ("fraction", "percent")
# Common practice, no source: these four.
VISIBLE_NM = (380.0, 780.0)  # where the scale is told: beyond it an instrument may read noise of any size
FRACTION_UP_TO = 1.2  # what is above is no fraction, fluorescence apart; up to PERCENT_ABOVE it may be a dark percent
PERCENT_ABOVE = 2.0  # no reflectance factor of a part comes near; in percent only a light trap stays below
# A black among percent is written as coarsely as they are, and flat; fractions have more decimals. Chosen by eye.
_COARSE = 2  # decimals
_FLAT = 0.25  # percent, from its lowest to its highest value
_EXACT = 1e-9  # by which a number in binary differs from its decimals
_MANY = 3  # values, from which one alone does not tell the scale


@dataclass(frozen=True, kw_only=True)
class Given:
    """What the user says of a file that leaves it open; what the file says itself must not contradict it.

    Parameters
    ----------
    scale : str
        `fraction` or `percent`, of its spectra.
    geometry : str
        `di:8`, `de:8` or `45:0`, of its reflectances.
    light, observer : str
        Of its Lab and XYZ.
    """

    scale: str = ""
    geometry: str = ""
    light: str = ""
    observer: str = ""

    def __post_init__(self) -> None:
        if self.scale and self.scale not in SCALES:
            raise InputError("scale", f"{quoted(self.scale)} is none", " or ".join(SCALES))

    def taken_by(self, measurement: Measurement) -> Measurement:
        """A measurement with what the user says where its file says nothing.

        Raises
        ------
        InputError
            If its file says something else.
        """
        told = measurement.geometry
        if measurement.quantity == "transmittance" or not self.geometry:
            pass
        elif told in ("", self.geometry) or (told == "d:8" and self.geometry in ("di:8", "de:8")):
            specular = SPECULAR.get(self.geometry, "")
            if measurement.specular not in ("", specular):
                raise _contradicts(measurement, "--geometry", self.geometry, f"specular {measurement.specular}")
            measurement = replace(measurement, geometry=self.geometry, specular=specular)
        else:
            raise _contradicts(measurement, "--geometry", self.geometry, told)
        if measurement.lab is None and measurement.xyz is None:
            return measurement
        light, _, observer = (part.strip() for part in measurement.light.partition("/"))
        for name, own, given in (
            ("light", light, self.light),
            ("observer", measurement.observer or observer, self.observer),
        ):
            if own and given and measurement.values is None and not _is_same(own, given):
                raise _contradicts(measurement, f"--{name}", given, own)
        light = measurement.light or self.light
        observer = measurement.observer or ("" if observer else self.observer)
        if measurement.values is None and (light, observer) != (measurement.light, measurement.observer):
            note = f"taken to hold for {light.upper()}, {observer}° observer, as was said"
            measurement = replace(measurement, notes=(*measurement.notes, note))
        return replace(measurement, light=light, observer=observer)


def _is_same(own: str, given: str) -> bool:
    """Whether two words mean one light or observer: `D65` and `CIE-D65`, `10` and `10 degrees`."""
    one, two = ("".join(each for each in word.lower().removeprefix("cie") if each.isalnum()) for word in (own, given))
    return one == two or (two.isdigit() and re.fullmatch(rf"0?{two}(?:deg.*)?", one) is not None)


def _contradicts(measurement: Measurement, option: str, given: str, own: str) -> InputError:
    return InputError(
        measurement.where, f"the file says {own}, {option} {given}", "the file's own word", f"leave {option} out"
    )


def in_fractions(measurements: Sequence[Measurement], scale: str = "") -> tuple[Measurement, ...]:
    """All spectra as fractions, from the scale that the file or the user tells, else from the highest value.

    Parameters
    ----------
    measurements : sequence of Measurement
        Those of one file, values as they stand in it.
    scale : str
        `fraction` or `percent`: the user's word, or empty.

    Raises
    ------
    InputError
        If the user contradicts the file, or the values leave it open.
    """
    spectra = [each for each in measurements if each.values is not None]
    odd = next((each for each in spectra if scale and each.scale not in ("", scale)), None)
    if odd is not None:
        raise _contradicts(odd, "--scale", scale, odd.scale)
    open_ones = [each for each in spectra if not (scale or each.scale)]
    decided, note = _decided(open_ones) if open_ones else ("", "")
    read = []
    for each in measurements:
        if each.values is None:
            read.append(each)
            continue
        own = each.scale or scale or decided
        values = each.values / 100.0 if own == "percent" else each.values
        if own == "percent" and not (scale or each.scale):
            each = _open_beside_percent(each)
        notes = each.notes if scale or each.scale else (*each.notes, note)
        read.append(replace(each, values=values, scale=own, notes=notes))
    return tuple(read)


def _decided(measurements: Sequence[Measurement]) -> tuple[str, str]:
    tops = np.array([highest_seen(each.values, each.wavelengths) for each in measurements if each.values is not None])
    highest = float(tops.max())
    odd = measurements[int(np.argmax(tops))]
    mend = "say which they are with --scale percent or --scale fraction"
    if highest <= FRACTION_UP_TO:
        low, high = VISIBLE_NM
        found = f"no value of the file from {low:g} to {high:g} nm is above {FRACTION_UP_TO:g}"
        return "fraction", f"{AS_FRACTIONS}: {found}"
    if highest <= PERCENT_ABOVE:
        found = f"its highest value is {highest:g} ({shown(odd.name)}), high for a fraction and low for percent"
        raise InputError(odd.file, found, "one of the two", mend)
    if np.count_nonzero(tops > PERCENT_ABOVE) * 2 < tops.size:
        found = f"{shown(odd.name)} reaches {highest:g}, but most spectra of the file stay below {PERCENT_ABOVE:g}"
        raise InputError(odd.where, found, "all in percent or all in fractions", mend)
    top = max(float(each.values.max()) for each in measurements if each.values is not None)
    return "percent", f"taken as percent: the highest value of the file is {top:g}"


def _open_beside_percent(measurement: Measurement) -> Measurement:
    """A spectrum that may be a black in percent or fractions, where others of its file are percent, is at fault."""
    assert measurement.values is not None
    highest = highest_seen(measurement.values, measurement.wavelengths)
    coarse = bool(np.all(np.abs(measurement.values - measurement.values.round(_COARSE)) < _EXACT))
    is_black = coarse and float(np.ptp(measurement.values)) <= _FLAT
    if highest > FRACTION_UP_TO or is_black or measurement.fault is not None:
        return measurement
    found = f"{shown(measurement.name)} stays below {FRACTION_UP_TO:g} in a file of percent: a black, or fractions"
    mend = "if it is percent too, say --scale percent; if not, export it in percent"
    return replace(measurement, fault=InputError(measurement.where, found, "all in percent or all in fractions", mend))


def highest_seen(values: Array, wavelengths: Array | None) -> float:
    """The highest value in the visible, by which the scale is told; of all values where none is there [-].

    Of many values the highest but one: a single cell may be a slip.
    """
    if wavelengths is not None:
        seen = (wavelengths >= VISIBLE_NM[0]) & (wavelengths <= VISIBLE_NM[1])
        values = values[seen] if seen.any() else values
    return float(np.sort(values)[-2 if values.size >= _MANY else -1])
