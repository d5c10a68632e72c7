"""JCAMP-DX spectra: labelled records, their ordinates written out as plain numbers.

References
----------
McDonald, R. S. and Wilks, P. A. (1988), JCAMP-DX: a standard form for exchange of infrared spectra in computer readable
form, Appl. Spectrosc. 42, 151 (from memory). The compressed forms of ordinates are not read.
"""

from __future__ import annotations

import re

import numpy as np

from tint.errors import InputError, quoted
from tint.swatches.instruments.measurement import Measurement, checked_wavelengths, needed_number
from tint.swatches.instruments.words import quantity_in
from tint.swatches.text import LARGEST_VALUE

_RECORD = re.compile(r"^##([^=\n]*)=", re.MULTILINE)
_NOTE = re.compile(r"\$\$.*")
_NUMBERS = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_CELL = re.compile(r"[\d.eE+\-,;\s]*", re.ASCII)
# No source, chosen by eye: so that a number times its factor is one, too.
_COMMAS = "if its commas are decimal marks, export it with decimal points"
_LARGEST = 1e12  # a number before its factor: ordinates are often whole numbers of ten digits
_FACTORS = (1e-15, 1e6)  # between which one lies, but for its sign


def is_jcamp(text: str) -> bool:
    """Whether a text is laid out as JCAMP-DX."""
    return re.search(r"^##\s*JCAMP-?DX\s*=", text[:20_000], re.MULTILINE | re.IGNORECASE) is not None


def read_jcamp(text: str, file: str) -> list[Measurement]:
    """The spectra of a file; a file may hold several, each from its ##TITLE to its ##END.

    InputError if a record is missing or no number, its wavelengths are not in nanometres, or its ordinates are
    compressed.
    """
    read = [_measurement(block, file) for block in re.split(r"^##END=.*$", text, flags=re.MULTILINE) if "##" in block]
    found = [each for each in read if each is not None]
    if not found:
        raise InputError(file, "no record of it holds a spectrum", "##XYDATA=(X++(Y..Y)) or ##XYPOINTS=(XY..XY)")
    return found


def _measurement(block: str, file: str) -> Measurement | None:
    records = _records(block)
    name = " ".join(records.get("TITLE", "").split()) or "spectrum"
    where = f"{file}, {name[:40]}"
    data = next((label for label in ("XYDATA", "XYPOINTS", "PEAKTABLE") if label in records), "")
    if not data:
        return None
    units = records.get("XUNITS", "").strip().upper()
    if units not in ("NANOMETERS", "NM", "NANOMETRES"):
        raise InputError(
            where, f"its XUNITS are {quoted(units or 'not told')}", "nanometres", "export it over nanometres"
        )
    form, _, body = records[data].partition("\n")
    try:
        x, y = _ordinates(body, records, where) if "++" in form else _pairs(body, where)
        checked_wavelengths(np.sort(x).tolist(), where)
    except InputError as error:
        has_commas = "." not in body and re.search(r"\d,\d", body) is not None
        raise InputError(error.where, error.found, error.expected, _COMMAS if has_commas else error.mend) from error
    told = records.get("YUNITS", "").lower()
    x, y = x * _factor(records, "XFACTOR", where), y * _factor(records, "YFACTOR", where)
    if not np.all(np.abs(y) <= LARGEST_VALUE):
        raise InputError(where, f"a value of {y[int(np.argmax(np.abs(y)))]:g}", "numbers that a measurement can be")
    kind = quantity_in(told)[0] or "transmittance" * ("transmi" in told) or "reflectance" * ("reflect" in told)
    if kind not in ("", "reflectance", "transmittance") or "absorb" in told or "kubelka" in told:
        raise InputError(where, f"its YUNITS are {quoted(told.strip())}", "reflectance or transmittance")
    order = np.argsort(x, kind="stable")
    return Measurement(
        name=name,
        wavelengths=checked_wavelengths(x[order].tolist(), where),
        values=y[order],
        quantity=kind,
        instrument=" ".join(records.get("SPECTROMETER/DATASYSTEM", "").split()),
        scale="percent" if "%" in told or "percent" in told else "",
        file=file,
        place=name[:40],
    )


def _records(block: str) -> dict[str, str]:
    """The records of a spectrum by their labels, remarks left out."""
    starts = list(_RECORD.finditer(block))
    ends = [*(match.start() for match in starts), len(block)][1:]
    return {
        re.sub(r"[\s_-]", "", match[1]).upper(): _NOTE.sub("", block[match.end() : end]).strip()
        for match, end in zip(starts, ends, strict=True)
    }


def _factor(records: dict[str, str], label: str, where: str) -> float:
    """What the numbers are to be multiplied by; 1 where nothing is told."""
    value = needed_number(records.get(label, "1"), f"{where}, {label}")
    if not _FACTORS[0] <= abs(value) <= _FACTORS[1]:
        raise InputError(
            f"{where}, {label}", f"{quoted(records[label])} is no factor", "what numbers are multiplied by"
        )
    return value


def _plain(line: str, where: str) -> list[float]:
    numbers = [float(each) for each in _NUMBERS.findall(line)]
    if _CELL.fullmatch(line) is None or any(abs(each) > _LARGEST for each in numbers):
        raise InputError(where, f"{quoted(line[:40])} is no row of plain numbers", mend="export it uncompressed (AFFN)")
    return numbers


def _ordinates(body: str, records: dict[str, str], where: str) -> tuple[np.ndarray, np.ndarray]:
    """Rows of a wavelength and the values from it on, in equal steps."""
    lines = [numbers for line in body.splitlines() if len(numbers := _plain(line, where)) > 1]
    values = [x for numbers in lines for x in numbers[1:]]
    first, last = (needed_number(records.get(label, ""), f"{where}, {label}") for label in ("FIRSTX", "LASTX"))
    factor = _factor(records, "XFACTOR", where)
    told = records.get("NPOINTS")
    if told is not None and int(needed_number(told, f"{where}, NPOINTS")) != len(values):
        raise InputError(where, f"{len(values)} values", f"the NPOINTS, {told.strip()}")
    grid = np.linspace(first, last, len(values)) / factor
    starts = np.cumsum([0, *(len(numbers) - 1 for numbers in lines)])[:-1]
    off = np.abs(grid[starts] - [numbers[0] for numbers in lines]) if lines else np.zeros(1)
    if off.max() > 0.5 * abs(grid[1] - grid[0] if grid.size > 1 else 1.0):
        raise InputError(
            where, f"a row begins at {lines[int(off.argmax())][0]:g}", f"{grid[starts][int(off.argmax())]:g}"
        )
    return grid, np.array(values)


def _pairs(body: str, where: str) -> tuple[np.ndarray, np.ndarray]:
    numbers = [x for line in body.splitlines() if line.strip() for x in _plain(line, where)]
    if len(numbers) % 2:
        raise InputError(where, f"{len(numbers)} numbers", "pairs of a wavelength and a value")
    points = np.array(numbers).reshape(-1, 2)
    return points[:, 0], points[:, 1]
