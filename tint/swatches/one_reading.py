"""One reading picked from a file by name: a row of a table, or a sample of an instrument's file.

It is read as `tint import` reads it, but the cells of other rows do not matter, and any column may be asked for.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from tint import colorimetry
from tint.colorimetry import Viewing
from tint.errors import Gathered, InputError, did_you_mean, one_of
from tint.files import bytes_of
from tint.spectra import Array
from tint.swatches.declaration import read_declaration
from tint.swatches.folder import contents_of
from tint.swatches.instruments import Given, Measurement, all_measurements
from tint.swatches.instruments.measurement import as_colour, on_grid, told_view
from tint.swatches.instruments.recognise import AS_FRACTIONS, LARGEST_FILE
from tint.swatches.instruments.words import SPECULAR, disagrees, in_english
from tint.swatches.records import COLOUR_GRID_NM, PALETTE_FILE, PHOTOGRAPH, READINGS_FILE
from tint.swatches.text import decoded
from tint.swatches.workbook import BOOK_FILE

# Both reflectance, 0 to 1; common practice, no source.
_NOISE = 0.002  # by which noise may carry a dark reading below 0 (the last of three decimals that are printed)
_LARGEST = 1.5  # a reflectance that may yet be fluorescence


@dataclass(frozen=True, kw_only=True, eq=False)
class OneReading:
    """The mean of all that a file tells of one name under some conditions."""

    where: str  # `FILE[:NAME]`
    spectrum: Array | None = None  # shape (n_wavelengths,), on the grid wanted [reflectance, 0 to 1]
    lab: Array | None = None  # shape (3,), where the file tells no spectrum [-]
    # light, observer: that it holds for
    light: str = ""
    observer: int = 0
    notes: tuple[str, ...] = ()  # what was decided while reading, in words

    def seen(self, view: Viewing) -> Array:
        """Its colour in a light, shape (3,) [-].

        InputError if it is a colour that holds for another light or observer.
        """
        if self.spectrum is not None:
            return colorimetry.lab(self.spectrum, view)
        assert self.lab is not None  # a reading has one of the two
        if (self.light, self.observer) != (view.light, view.observer):
            found = f"its L*, a*, b* hold for {self.light}, {self.observer}° observer, and it has no spectrum"
            raise InputError(self.where, found, f"{view}", "ask for that light and observer, or read a spectrum")
        return self.lab


def read_one(
    where: str, *, onto: ArrayLike, told: Mapping[str, str] | None = None, geometry: str = "", said: Given | None = None
) -> OneReading:
    """One reading from a file, the mean of all of its name.

    InputError if there is no such file or reading, it does not cover the wavelengths, or it is a colour and nobody
    knows for which light and observer.

    `where` is `FILE` or `FILE:NAME`; `onto` the wavelengths wanted, shape (m,) [nm]. `told` are columns and what must
    stand in them, as `{"backing": "white"}`, where the file has them; what is empty says nothing and counts. Of
    readings with the specular reflection included and excluded, those of the folder's `geometry` are taken. `said` is
    what the user says where the file does not.
    """
    file, name = file_and_name(where)
    return mean_of(where, samples_of(file, said=said), name=name, onto=onto, told=told or {}, geometry=geometry)


def samples_of(file: str, *, said: Given | None = None) -> tuple[Measurement, ...]:
    """All that a file holds; the colours of a folder's own readings hold for the light that its palette.toml tells.

    InputError if it cannot be read.
    """
    light, observer = _of_folder(Path(file))
    said = said or Given()
    read = all_measurements(bytes_of(file, LARGEST_FILE + 1), file=file, said=Given(scale=said.scale))
    own = [replace(each, light=each.light or light, observer=each.observer or observer) for each in read]
    return tuple(map(said.taken_by, own))


def _of_folder(file: Path) -> tuple[str, str]:
    """Light and observer of a folder whose own readings the file holds."""
    if file.name not in (READINGS_FILE, BOOK_FILE):
        return "", ""
    faults, data = Gathered(PALETTE_FILE), contents_of(file.parent)[PALETTE_FILE].data
    text = decoded(data, faults, utf8_only=True) if data else None
    declared = read_declaration(text, faults, folder_name="") if text else None
    own = declared.instrument if declared else None
    return (own.light or "", str(own.observer or "")) if own else ("", "")


def mean_of(
    where: str, samples: Sequence[Measurement], *, name: str, onto: ArrayLike, told: Mapping[str, str],
    geometry: str = "",
) -> OneReading:  # fmt: skip
    """`read_one` of a file that was read already: `where` is how it is named, `name` the one that is wanted."""
    file = where.removesuffix(f":{name}")
    chosen = _fitting(file, _of_sheet(_named(file, name, samples), told.get("backing", "")), told)
    for each in chosen:
        if each.fault is not None:
            raise each.fault
    measured, in_words = _of_geometry(chosen, geometry, file)
    with_spectrum = [each for each in measured if each.values is not None]
    if not with_spectrum:
        return _colour(where, measured)
    moved = [_on_grid(each, np.asarray(onto, dtype=float)) for each in with_spectrum]
    notes = tuple(dict.fromkeys([*in_words, *(note for _, each in moved for note in each)]))
    return OneReading(where=where, spectrum=np.mean([values for values, _ in moved], axis=0), notes=notes)


def file_and_name(where: str) -> tuple[str, str]:
    """FILE[:NAME], where FILE itself may hold a colon."""
    if os.path.isfile(where) or ":" not in where:
        return where, ""
    file, _, name = where.rpartition(":")
    return file, name


def _named(file: str, name: str, samples: Sequence[Measurement]) -> list[Measurement]:
    labels = list(dict.fromkeys(each.name for each in samples))
    if not name and len(labels) > 1:
        raise InputError(file, f"it holds {len(samples)} readings", mend=f"name one, as in {file}:{labels[0]}")
    chosen = [each for each in samples if name in ("", each.name)]
    if not chosen:
        raise InputError(file, f"no reading is named `{name}`", one_of(labels), did_you_mean(name, labels))
    return chosen


def _of_sheet(samples: Sequence[Measurement], over: str) -> list[Measurement]:
    """Where several sheets hold a name: of that which names what lies behind, else of the first in each geometry."""
    sheets = [each.told.get("sheet", "") for each in samples]
    named = [
        each for each, sheet in zip(samples, sheets, strict=True) if over and over in in_english(sheet).lower().split()
    ]
    first = {each.specular: sheet for each, sheet in reversed(list(zip(samples, sheets, strict=True)))}
    return named or [each for each in samples if each.told.get("sheet", "") == first[each.specular]]


def _fitting(file: str, samples: Sequence[Measurement], told: Mapping[str, str]) -> list[Measurement]:
    """Those of which the file tells what it must, or nothing."""
    kept = list(samples)
    for column, wanted in told.items():
        cells = [_cell(each, column) for each in kept]
        fit = [each for each, cell in zip(kept, cells, strict=True) if cell.lower() in ("", wanted.lower())]
        if not fit:
            found = f"{kept[0].name} has {column} {' and '.join(sorted(set(cells)))}"
            raise InputError(file, found, f"a reading with {column} {wanted}")
        kept = fit
    return kept


def _cell(sample: Measurement, column: str) -> str:
    known = {"backing": sample.backing, "seat": sample.seat, "quantity": sample.quantity}
    return known.get(column) or sample.told.get(column, "")


def _of_geometry(measured: Sequence[Measurement], own: str, file: str) -> tuple[list[Measurement], list[str]]:
    """Those read in the folder's geometry where a name has several, and what is to be said of it."""
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


def _on_grid(measurement: Measurement, onto: Array) -> tuple[Array, tuple[str, ...]]:
    values, note = on_grid(measurement, onto)
    if not np.all((values >= -_NOISE) & (values <= _LARGEST)):
        raise InputError(measurement.where, "a value is not a reflectance", "numbers from 0 to 1")
    # That a spectrum is one of fractions is what everybody expects, and would stand in every answer.
    told = [each for each in measurement.notes if not each.startswith(AS_FRACTIONS)]
    return np.maximum(values, 0.0), (*told, *([note] if note else []))


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
