"""One reading picked from a file by name: a row of a table, or a sample of an instrument's file.

A table of readings as a swatch folder has them is read leniently: cells of other rows do not matter, and any column may
be asked for. Whatever else is taken as `tint import` takes it.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from tint import colorimetry
from tint.colorimetry import Viewing
from tint.errors import InputError
from tint.spectra import Array, resample
from tint.swatches.as_colours import as_colour, told_view
from tint.swatches.instruments import Measurement, parse_measurements
from tint.swatches.instruments.geometry import SPECULAR, disagrees
from tint.swatches.instruments.measurement import on_grid
from tint.swatches.plain_table import PlainTable, can_be_reflectance, plain_table
from tint.swatches.records import COLOUR_GRID_NM, PHOTOGRAPH


@dataclass(frozen=True, kw_only=True, eq=False)
class OneReading:
    """The mean of all that a file tells of one name under some conditions.

    Parameters
    ----------
    where : str
        `FILE[:NAME]`.
    spectrum : ndarray, shape (n_wavelengths,), optional
        On the grid wanted [reflectance, 0 to 1].
    lab : ndarray, shape (3,), optional
        Where the file tells no spectrum [-].
    light, observer : str, int
        That it holds for.
    notes : tuple of str
        What was decided while reading, in words.
    """

    where: str
    spectrum: Array | None = None
    lab: Array | None = None
    light: str = ""
    observer: int = 0
    notes: tuple[str, ...] = ()

    def seen(self, view: Viewing) -> Array:
        """Its colour in a light, shape (3,) [-].

        Raises
        ------
        InputError
            If it is a colour that holds for another light or observer.
        """
        if self.spectrum is not None:
            return colorimetry.lab(self.spectrum, view)
        assert self.lab is not None  # a reading has one of the two
        if (self.light, self.observer) != (view.light, view.observer):
            found = f"its L*, a*, b* hold for {self.light}, {self.observer}° observer, and it has no spectrum"
            raise InputError(self.where, found, f"{view}", "ask for that light and observer, or read a spectrum")
        return self.lab


@dataclass(frozen=True, kw_only=True)
class _Sample:
    """One of what a file holds, its values not looked at as yet."""

    name: str
    told: Mapping[str, str]
    measured: Callable[[], Measurement]


def read_one(
    where: str, *, onto: ArrayLike, told: Mapping[str, str] | None = None, geometry: str = ""
) -> OneReading:  # fmt: skip
    """One reading from a file, the mean of all of its name.

    Parameters
    ----------
    where : str
        `FILE` or `FILE:NAME`. A CSV whose columns are wavelengths [nm] or L, a, b, named by its first column; or a file
        of an instrument, as `tint.swatches.instruments` reads it.
    onto : array_like, shape (m,)
        [nm]
    told : mapping of str to str, optional
        Columns and what must stand in them, as `{"backing": "white"}`, where the file has them: of a file of an
        instrument `backing`, `seat` and `quantity`. What is empty says nothing and counts.
    geometry : str
        That of the folder: of readings with the specular reflection included and excluded, those of it are taken.

    Raises
    ------
    InputError
        If there is no such file or reading, it does not cover the wavelengths, or it is a colour and nobody knows for
        which light and observer.
    """
    file, name = _split(where)
    samples, table = _samples(file)
    chosen = _fitting(file, _named(file, name, samples), told or {})
    measured, in_words = _of_geometry([each.measured() for each in chosen], geometry, file)
    with_spectrum = [each for each in measured if each.values is not None]
    if not with_spectrum:
        return _colour(where, measured)
    if table is not None:
        spectrum = _resampled(with_spectrum, table, onto)
        in_words += ["taken as percent: most rows of the table reach above 2"] if table.in_percent else []
        return OneReading(where=where, spectrum=spectrum, notes=tuple(in_words))
    moved = [_on_grid(each, np.asarray(onto, dtype=float)) for each in with_spectrum]
    notes = tuple(dict.fromkeys([*in_words, *(note for _, each in moved for note in each)]))
    return OneReading(where=where, spectrum=np.mean([values for values, _ in moved], axis=0), notes=notes)


def read_spectrum(where: str, *, onto: ArrayLike, told: Mapping[str, str] | None = None) -> Array:
    """`read_one` where nothing but a spectrum will do: that, shape (m,) [reflectance, 0 to 1].

    Raises
    ------
    InputError
        As `read_one`; and if the file tells no spectrum.
    """
    read = read_one(where, onto=onto, told=told)
    if read.spectrum is None:
        raise InputError(where, "it holds L*, a*, b* only", "a spectrum", "read it with a spectrophotometer")
    return read.spectrum


def _split(where: str) -> tuple[str, str]:
    """FILE[:NAME], where FILE itself may hold a colon."""
    if Path(where).is_file() or ":" not in where:
        return where, ""
    file, _, name = where.rpartition(":")
    return file, name


def _samples(file: str) -> tuple[list[_Sample], PlainTable | None]:
    """All that a file holds, and the table where it is a plain one."""
    from tint.swatches.instruments.recognise import decoded_text, is_no_plain_text, read_file
    from tint.swatches.instruments.sheet import read_sheet

    data = read_file(file)
    if is_no_plain_text(data):
        return _of_instrument(data, file), None
    text = decoded_text(data, file)
    try:
        table = plain_table(text, file)
    except InputError:
        if read_sheet(text, file) is None:
            raise
        return _of_instrument(data, file), None
    in_percent = table.in_percent

    def sample(at: int, row: tuple[str, ...]) -> _Sample:
        return _Sample(
            name=row[0],
            told=table.told(row),
            measured=lambda: table.measurement(at, row, in_percent=in_percent),
        )

    return [sample(at, row) for at, row in table.rows], table


def _of_instrument(data: bytes, file: str) -> list[_Sample]:
    def sample(each: Measurement) -> _Sample:
        told = {"backing": each.backing, "seat": each.seat, "quantity": each.quantity}
        return _Sample(name=each.name, told=told, measured=lambda: each)

    return [sample(each) for each in parse_measurements(data, file=file)]


def _named(file: str, name: str, samples: Sequence[_Sample]) -> list[_Sample]:
    labels = list(dict.fromkeys(each.name for each in samples))
    if not name and len(labels) > 1:
        raise InputError(file, f"it holds {len(samples)} readings", mend=f"name one, as in {file}:{labels[0]}")
    chosen = [each for each in samples if name in ("", each.name)]
    if not chosen:
        near = difflib.get_close_matches(name, labels, n=1)
        mend = f"did you mean {near[0]}?" if near else ""
        known = ", ".join(labels[:6]) + (" ..." if len(labels) > 6 else "")
        raise InputError(file, f"no reading is named `{name}`", f"one of {known}", mend)
    return chosen


def _fitting(file: str, samples: Sequence[_Sample], told: Mapping[str, str]) -> list[_Sample]:
    """Those of which the file tells what it must, or nothing."""
    kept = list(samples)
    for column, wanted in told.items():
        cells = [each.told.get(column, "") for each in kept]
        fit = [each for each, cell in zip(kept, cells, strict=True) if cell.lower() in ("", wanted.lower())]
        if not fit:
            found = f"{kept[0].name} has {column} {' and '.join(sorted(set(cells)))}"
            raise InputError(file, found, f"a reading with {column} {wanted}")
        kept = fit
    return kept


def _of_geometry(measured: Sequence[Measurement], own: str, file: str) -> tuple[list[Measurement], list[str]]:
    """Those read in the folder's geometry where a name has several, and what is to be said of it.

    Raises
    ------
    InputError
        If the file tells several, and none is the folder's, or it is not known which that is.
    """
    told = {each.geometry or each.specular for each in measured}
    of_own = SPECULAR[own] if own in ("di:8", "de:8") else ""
    if len(told) > 1:
        kept = [
            each for each in measured if own and (each.geometry == own or (each.specular and each.specular == of_own))
        ]
        if not kept or len({each.geometry or each.specular for each in kept}) > 1:
            found = f"{measured[0].name} was read as {' and '.join(sorted(filter(None, told)))}"
            raise InputError(file, found, f"{own} alone" if own else "one of them", "export one of the two")
        return kept, [f"of several geometries that of the folder was taken, {own}"]
    off = [each.geometry for each in measured if own and disagrees(each.geometry, own, each.quantity)]
    notes = [f"it was read as {each}, the folder's readings as {own}: they differ by the gloss" for each in off[:1]]
    return list(measured), notes


def _resampled(rows: Sequence[Measurement], table: PlainTable, onto: ArrayLike) -> Array:
    mean = np.mean([each.values for each in rows if each.values is not None], axis=0)
    try:
        return resample(mean, table.wavelengths, onto=onto)
    except InputError as error:
        raise InputError(table.file, error.found, error.expected, error.mend) from error


def _on_grid(measurement: Measurement, onto: Array) -> tuple[Array, tuple[str, ...]]:
    values, note = on_grid(measurement, onto)
    if not can_be_reflectance(values):
        raise InputError(measurement.where, "a value is not a reflectance", "numbers from 0 to 1")
    return np.maximum(values, 0.0), (*measurement.notes, *([note] if note else []))


def _colour(where: str, measured: Sequence[Measurement]) -> OneReading:
    views = list(dict.fromkeys(told_view(each) for each in measured))
    if len(views) > 1:
        found = " and ".join(f"{light}, {observer}° observer" for light, observer in views)
        raise InputError(where, f"its colours hold for {found}", "one light and observer")
    light, observer = views[0]
    view = colorimetry.viewing(COLOUR_GRID_NM, light=light, observer=observer)
    read = [as_colour(each, view) for each in measured]
    off = ["read off a photograph"] * any(each.source == PHOTOGRAPH for each in measured)
    notes = tuple(dict.fromkeys([*off, *(note for _, each in read for note in each)]))
    lab = np.mean([lab for lab, _ in read], axis=0)
    return OneReading(where=where, lab=lab, light=light, observer=observer, notes=notes)
