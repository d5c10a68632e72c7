"""A file of measurements is recognised by its content, never by the ending of its name, and read."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path, PurePath

import numpy as np

from tint.errors import Gathered, InputError, listed, quoted, shown
from tint.files import bytes_of
from tint.spectra import Array
from tint.swatches.instruments.measurement import Measurement, hinted
from tint.swatches.instruments.words import SPECULAR, specular_in, statistic_in, wavelength_in
from tint.swatches.text import decoded, held_in, number
from tint.swatches.workbook import sheet_name, sheets_of

FORMATS = ("CSV", "CGATS.17 text (ISO 28178)", "CxF3 or CxF/X-4", "IES TM-27-14", "JCAMP-DX", "a workbook (.xlsx)")
LARGEST_FILE = 100 * 2**20  # bytes; no source, chosen by eye
_EXPECTED = "CSV with wavelengths or L, a, b, " + ", ".join(FORMATS[1:])


def read_measurements(path: str | Path, *, said: Given | None = None) -> tuple[Measurement, ...]:
    """Read every measurement of an instrument's file.

    They come in the order of the file, spectra as fractions. InputError if the file cannot be read, is none of these,
    or has a fault; the error names the place.

    The file is any of `FORMATS`; `said` is what the user says where it does not.
    """
    return parse_measurements(bytes_of(path, LARGEST_FILE + 1), file=str(path), said=said)


def parse_measurements(data: bytes, *, file: str, said: Given | None = None) -> tuple[Measurement, ...]:
    """`read_measurements` of bytes that are at hand; `file` is how errors name them."""
    read = all_measurements(data, file=file, said=said)
    for each in read:
        if each.fault is not None:
            raise each.fault
    return read


def all_measurements(data: bytes, *, file: str, said: Given | None = None) -> tuple[Measurement, ...]:
    """`parse_measurements`, but one whose own row is at fault keeps that as its `fault`: it may not be asked for."""
    if len(data) > LARGEST_FILE:
        mend = "export fewer measurements at a time"
        raise InputError(file, "the file is too large", f"at most {LARGEST_FILE // 2**20} MB", mend)
    said = said or Given()
    read = [hinted(each, [each.name], "the sample's name") for each in _measured(_read(data, file))]
    return tuple(map(said.taken_by, in_fractions(read, said.scale)))


def _read(data: bytes, file: str) -> list[Measurement]:
    if held_in(data):
        return _workbook(data, file)
    if not _is_xml(data):
        return _text(data, file)
    from tint.swatches.instruments.xml_formats import read_xml  # a parser of XML is not for those who read tables

    return read_xml(data, file)


def _measured(read: list[Measurement]) -> list[Measurement]:
    """Without deviations and extremes, which stand among readings as if they were some."""
    kept = [each for each in read if statistic_in(each.name, each.told) != "deviation"]
    if len(kept) in (0, len(read)):
        return read
    note = f"{len(read) - len(kept)} that say they are a deviation, a least or a largest value were passed over"
    return [replace(each, notes=(*each.notes, note)) for each in kept]


def _is_xml(data: bytes) -> bool:
    start = data[:200].removeprefix(b"\xef\xbb\xbf").removeprefix(b"\xff\xfe").removeprefix(b"\xfe\xff")
    return start.replace(b"\x00", b"").lstrip().startswith(b"<")


def _text(data: bytes, file: str) -> list[Measurement]:
    from tint.swatches.instruments.cgats import is_cgats
    from tint.swatches.instruments.cgats_fields import read_cgats
    from tint.swatches.instruments.jcamp import is_jcamp, read_jcamp
    from tint.swatches.instruments.layouts import read_sheet
    from tint.swatches.instruments.sheet import LEAST_COLUMNS, sheet_in

    faults = Gathered(file)
    text = decoded(data, faults)
    faults.stop()
    assert text is not None  # else a fault says why
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    if is_cgats(text):
        return read_cgats(text, file)
    if is_jcamp(text):
        return read_jcamp(text, file)
    sheet = sheet_in(text, file)
    if sheet is not None:
        return read_sheet(sheet)
    begins = next(line for line in text.splitlines() if line.strip())
    cells = re.split(r"[,;\t]", begins[:10_000])
    count = sum(wavelength_in(cell, plain=True) is not None for cell in cells)
    if count and any(number(cell.strip()) is None for cell in cells):
        found = f"wavelengths name {count} of its columns"
        raise InputError(f"{file}, row 1", found, f"{LEAST_COLUMNS} or more, in rising or falling order")
    raise InputError(file, f"is no file of measurements that tint reads; it begins {quoted(begins)}", _EXPECTED)


def _workbook(data: bytes, file: str) -> list[Measurement]:
    """The measurements of the first sheet that holds some, spectra before colours; which one it was is noted.

    Sheets that are named by the specular component, as `SCI` and `SCE`, are all taken.
    """
    from tint.swatches.instruments.layouts import read_sheet
    from tint.swatches.instruments.sheet import sheet_in

    found = ((title, sheet_in(text, sheet_name(file, title))) for title, text in sheets_of(data, file))
    held = [(title, sheet) for title, sheet in found if sheet is not None]
    if not held:
        raise InputError(file, "no sheet has a table of measurements", "wavelengths in nm, or L, a, b, as columns")
    spectral = [each for each in held if each[1].is_spectral] or held
    chosen = [each for each in spectral if specular_in(each[0])] or spectral[:1]
    if len(chosen) == 1:  # others that are laid out as it is hold more of the same
        chosen = [each for each in spectral if each[1].header.cells == chosen[0][1].header.cells]
    left = [title for title, _ in held if title not in [title for title, _ in chosen]]
    rest = f"; not from {listed(left)}, where tables stand too" if left else ""
    read = []
    for title, sheet in chosen:
        note = f"taken from the sheet {shown(title)}{rest}"
        for each in read_sheet(sheet):
            name = title if len(chosen) > 1 and each.name == PurePath(file).stem else each.name
            told = {**each.told, "sheet": title}
            own = replace(each, name=name, told=told, notes=(note, *each.notes))
            read.append(hinted(own, [title], "the sheet's name"))
    return read


# What the user says of a file that leaves it open, and the scale of its spectra where nobody says it.

AS_FRACTIONS = "taken as fractions"
SCALES = ("fraction", "percent")
# Common practice, no source: these four.
VISIBLE_NM = (380.0, 780.0)  # where the scale is told: beyond it an instrument may read noise of any size
FRACTION_UP_TO = 1.2  # what is above is no fraction, fluorescence apart; up to PERCENT_ABOVE it may be a dark percent
_LOW_PERCENT = f"percent, as the file says, though no value is above {FRACTION_UP_TO:g}: are they fractions?"
PERCENT_ABOVE = 2.0  # no reflectance factor of a part comes near; in percent only a light trap stays below
# A black among percent is written as coarsely as they are, and flat; fractions have more decimals. Chosen by eye.
_COARSE = 2  # decimals
_FLAT = 0.25  # percent, from its lowest to its highest value
_EXACT = 1e-9  # by which a number in binary differs from its decimals
_MANY = 3  # values, from which one alone does not tell the scale


@dataclass(frozen=True, kw_only=True)
class Given:
    """What the user says of a file that leaves it open; what the file says itself must not contradict it."""

    scale: str = ""  # `fraction` or `percent`, of its spectra
    geometry: str = ""  # `di:8`, `de:8` or `45:0`, of its reflectances
    # light, observer: of its Lab and XYZ
    light: str = ""
    observer: str = ""

    def __post_init__(self) -> None:
        if self.scale and self.scale not in SCALES:
            raise InputError("scale", f"{quoted(self.scale)} is none", " or ".join(SCALES))

    def taken_by(self, measurement: Measurement) -> Measurement:
        """A measurement with what the user says where its file says nothing.

        InputError if its file says something else.
        """
        told = measurement.geometry
        if measurement.quantity == "transmittance" or not self.geometry:
            pass
        elif told in ("", self.geometry) or (told == "d:8" and self.geometry in ("di:8", "de:8")):
            specular = SPECULAR.get(self.geometry, "")
            if measurement.specular not in ("", specular):
                raise _contradicts(measurement, "--set geometry=", self.geometry, f"specular {measurement.specular}")
            measurement = replace(measurement, geometry=self.geometry, specular=specular)
        else:
            raise _contradicts(measurement, "--set geometry=", self.geometry, told)
        if measurement.lab is None and measurement.xyz is None:
            return measurement
        light, _, observer = (part.strip() for part in measurement.light.partition("/"))
        for name, own, given in (
            ("light", light, self.light),
            ("observer", measurement.observer or observer, self.observer),
        ):
            if own and given and measurement.values is None and not _is_same(own, given):
                raise _contradicts(measurement, f"--{name} ", given, own)
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
        measurement.where, f"the file says {own}, {option}{given}", "the file's own word", f"leave {option[:-1]} out"
    )


def in_fractions(measurements: Sequence[Measurement], scale: str = "") -> tuple[Measurement, ...]:
    """All spectra of one file as fractions, by the file's or the user's scale, else by the highest value.

    InputError if the user contradicts the file, or the values leave it open.
    """
    spectra = [each for each in measurements if each.values is not None]
    odd = next((each for each in spectra if scale and each.scale not in ("", scale)), None)
    if odd is not None:
        raise _contradicts(odd, "--set scale=", scale, odd.scale)
    open_ones = [each for each in spectra if not (scale or each.scale)]
    decided, note = _decided(open_ones) if open_ones else ("", "")
    of_percent = [each for each in spectra if each.scale == "percent" and each.quantity != "transmittance"]
    tops = [highest_seen(each.values, each.wavelengths) for each in of_percent if each.values is not None]
    doubt = (_LOW_PERCENT,) if tops and max(tops) <= FRACTION_UP_TO else ()
    read = []
    for each in measurements:
        if each.values is None:
            read.append(each)
            continue
        own = each.scale or scale or decided
        values = each.values / 100.0 if own == "percent" else each.values
        if own == "percent" and not (scale or each.scale):
            each = _open_beside_percent(each)
        notes = (*each.notes, *doubt) if scale or each.scale else (*each.notes, note)
        read.append(replace(each, values=values, scale=own, notes=notes))
    return tuple(read)


def _decided(measurements: Sequence[Measurement]) -> tuple[str, str]:
    tops = np.array([highest_seen(each.values, each.wavelengths) for each in measurements if each.values is not None])
    highest = float(tops.max())
    odd = measurements[int(np.argmax(tops))]
    mend = "say which they are with --set scale=percent or --set scale=fraction"
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
    mend = "if it is percent too, say --set scale=percent; if not, export it in percent"
    return replace(measurement, fault=InputError(measurement.where, found, "all in percent or all in fractions", mend))


def highest_seen(values: Array, wavelengths: Array | None) -> float:
    """The highest value in the visible, by which the scale is told; of all values where none is there [-].

    Of many values the highest but one: a single cell may be a slip.
    """
    if wavelengths is not None:
        seen = (wavelengths >= VISIBLE_NM[0]) & (wavelengths <= VISIBLE_NM[1])
        values = values[seen] if seen.any() else values
    return float(np.sort(values)[-2 if values.size >= _MANY else -1])
