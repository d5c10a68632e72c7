"""A trial in files: read from a small one of its own, and taken into the swatch folder as a swatch."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import msgspec
import numpy as np

from tint import colorimetry, kinds
from tint.appearance import Setting, predict
from tint.colorimetry import Viewing
from tint.errors import FolderError, InputError
from tint.files import bytes_of, write_all
from tint.materials import SEATS, Base, Blend
from tint.palette import Palette
from tint.spectra import Array
from tint.swatches.casts import RANGES, plain_columns
from tint.swatches.declaration import Declared
from tint.swatches.folder import Content, contents_of, inspect_contents, read_declared
from tint.swatches.instruments import Given
from tint.swatches.one_reading import read_one
from tint.swatches.records import COLOURS, PHOTOGRAPH, READINGS_FILE, SWATCHES_FILE
from tint.swatches.rewriting import Written, as_written, cells_of, rewritten, with_column
from tint.swatches.workbook import BOOK_FILE, with_tables
from tint.trials.trial import Trial, TrialReading

_FORM = "a trial in TOML, or the same in JSON"
_OFF_RATIO = 0.2  # share by which parts may be off their mixing ratio before it must be a slip; no source
_TABLES = (SWATCHES_FILE, READINGS_FILE)


class _ReadingTable(msgspec.Struct, kw_only=True, forbid_unknown_fields=True):
    file: str
    over: str
    name: str = ""
    seat: str = "air"
    scale: str = ""
    light: str = ""
    observer: str = ""
    geometry: str = ""


class _TrialTable(msgspec.Struct, kw_only=True, forbid_unknown_fields=True):
    base: str
    thickness_mm: float
    readings: list[_ReadingTable]
    loadings: dict[str, float] | None = None
    grams: dict[str, float] | None = None
    days_of_cure: float | None = None
    cure_c: float | None = None
    mould: str = ""
    finish: str = ""
    lot: str = ""
    note: str = ""


def read_trial(path: str | Path, palette: Palette, *, said: Given | None = None) -> Trial:
    """A trial from a file: TOML, or JSON when its name ends in .json.

    Its keys are `base`; `loadings`, a table of pigments in percent of the finished mix, or `grams`, a table of the
    parts of the base and of pigments as weighed; `thickness_mm`; `readings`, tables of `file`, `name` (the row, where
    there are several), `over` and `seat`, and, of files that leave them open, `scale`, `light`, `observer` and
    `geometry`; and where wanted `days_of_cure`, `cure_c`, `mould`, `finish`, `lot` (of the base) and `note`. A
    reading's file is looked for beside the trial's; `said` is what the user says where neither tells. InputError if the
    file or a reading cannot be read, or a key is wrong.
    """
    where = str(path)
    table = _decoded(Path(path))
    palette.check_base(table.base)
    if (table.loadings is None) == (table.grams is None):
        found = "neither loadings nor grams are there" if table.grams is None else "loadings and grams are both there"
        raise InputError(where, found, "one of the two")
    loadings = table.loadings or {}
    if table.grams is not None:
        loadings = loadings_of(palette.bases[table.base], table.grams, where=f"{where}, grams")
    if not 0.0 < table.thickness_mm <= 100.0:
        found = f"{table.thickness_mm:g} mm"
        raise InputError(f"{where}, key thickness_mm", found, "more than 0 and at most 100 mm")
    check_range(table.days_of_cure, "days", f"{where}, key days_of_cure")
    check_range(table.cure_c, "cure_c", f"{where}, key cure_c")
    blend, depth = Blend(table.base, loadings), table.thickness_mm
    readings = [
        _reading(each, Path(path), at, palette, blend, depth, said) for at, each in enumerate(table.readings, 1)
    ]
    told = {name: getattr(table, name) for name in ("days_of_cure", "cure_c", "mould", "finish", "lot", "note")}
    return Trial(blend=blend, thickness_mm=depth, readings=tuple(readings), **told)


def check_range(value: float | None, name: str, where: str) -> None:
    """Raise InputError for a `cure_c` or `days` that swatches.csv would not take either."""
    least, most, unit = RANGES[name]
    if value is not None and not least <= value <= most:
        raise InputError(where, f"{value:g}", f"expected {unit} from {least:g} to {most:g}")


def loadings_of(base: Base, grams: Mapping[str, float], *, where: str) -> dict[str, float]:
    """Loadings [% by mass of the finished mix] from grams of every part of the base, by its name, and of each pigment.

    InputError, which names `where`, if a part is missing, a mass is no mass, or the parts are far off the base's ratio.
    """
    for name, mass in grams.items():
        if not 0.0 <= mass < math.inf:
            raise InputError(where, f"{mass:g} g of {name}", "0 g or more")
    for part in base.mix:
        if not grams.get(part, 0.0) > 0.0:
            expected = "grams of " + ", ".join(f"part {name}" for name in base.mix) + " and of each pigment"
            raise InputError(where, f"there is no part {part}", expected)
    scales = [grams[part] / share for part, share in base.mix.items()]
    if max(scales) > (1.0 + _OFF_RATIO) * min(scales):
        weighed = " : ".join(f"{grams[part]:g}" for part in base.mix)
        ratio = " : ".join(f"{share:g}" for share in base.mix.values())
        raise InputError(where, f"the parts are {weighed} g", f"a ratio of {ratio} in {base.name}", "check the masses")
    total = math.fsum(grams.values())
    return {name: 100.0 * mass / total for name, mass in grams.items() if name not in base.mix}


def read_reading(
    where: str, palette: Palette, blend: Blend, *, setting: Setting, said: Given | None = None
) -> TrialReading:  # fmt: skip
    """A reading of a trial, from a row of a readings table or a sample of an instrument's file: FILE or FILE:NAME.

    A colour will do: of all spectra that have it, the one nearest to what is predicted of the blend in the setting
    stands in for the one that was not read. Where the file tells backing and seat, they must be those of the setting.
    InputError if there is no such file or row, or it does not cover the palette's wavelengths.
    """
    over = setting.over
    told = {"backing": over, "seat": "air" if over == "none" else setting.seat, "quantity": "reflectance"}
    read = read_one(where, onto=palette.wavelengths, told=told, geometry=palette.instrument.geometry, said=said)
    if read.spectrum is not None:
        return TrialReading(values=read.spectrum, over=over, seat=told["seat"])
    seen = replace(setting, light=read.light, observer=read.observer)
    view = seen.viewing(palette)
    near = predict(palette, blend, setting=seen).reflectance
    values = colorimetry.smoothest_spectrum(read.seen(view), view, near=near)
    return TrialReading(values=values, over=over, seat=told["seat"], noise=_noise(values, view))


def _noise(values: Array, view: Viewing) -> float:
    """How noisy each value must be taken to be, for its colour to be as noisy as a colorimeter tells it [-].

    A spectrum's noise is of every wavelength by itself and evens out in a colour; a colorimeter's does not.
    """
    _, by_share, by_reading = colorimetry.lab_share_slopes(values, view)
    return float(np.linalg.norm(by_share) / np.linalg.norm(by_reading))


def _reading(
    table: _ReadingTable, trial: Path, number: int, palette: Palette, blend: Blend, thickness_mm: float,
    said: Given | None,
) -> TrialReading:  # fmt: skip
    where = f"{trial}, key readings[{number}]"
    if table.over not in (*palette.backings, "none"):
        raise InputError(f"{where}.over", f"`{table.over}`", "one of " + ", ".join([*palette.backings, "none"]))
    if table.seat not in SEATS:
        raise InputError(f"{where}.seat", f"`{table.seat}`", " or ".join(SEATS))
    file = str(trial.parent / table.file)
    setting = Setting(thickness_mm=thickness_mm, over=table.over, seat=table.seat, as_read=True)
    own = {name: getattr(table, name) or getattr(said, name, "") for name in ("scale", "light", "observer", "geometry")}
    name = f"{file}:{table.name}" if table.name else file
    return read_reading(name, palette, blend, setting=setting, said=Given(**own))


def _decoded(path: Path) -> _TrialTable:
    where = str(path)
    try:
        text = bytes_of(path).decode("utf-8-sig")
        content: Any = msgspec.json.decode(text) if path.suffix.lower() == ".json" else tomllib.loads(text)
    except RecursionError as error:
        raise InputError(where, "is nested too deeply", f"expected {_FORM}") from error
    except UnicodeDecodeError as error:
        raise InputError(where, "is not text in UTF-8", f"expected {_FORM}") from error
    except (ValueError, msgspec.DecodeError) as error:  # ValueError: TOMLDecodeError, and what int() refuses
        raise InputError(where, f"cannot be understood ({str(error)[:120]})", f"expected {_FORM}") from error
    return kinds.converted(content, _TrialTable, where=where, form=_FORM)


# A trial that was read and measured becomes a swatch: the palette learns from it too.


def keep_as_swatch(
    folder: str | Path, trial: Trial, palette: Palette, *, name: str, into_workbook: bool = False
) -> tuple[Path, ...]:
    """Write a trial into swatches.csv and its readings into readings.csv, or their sheets; both or neither.

    The palette is the folder's, and has to be fitted again. Returns the files. InputError if tables stand in a workbook
    that may not be written to, the name is taken, the readings are of another kind than the folder's, or another
    program has written meanwhile; FolderError if the folder is at fault, or would be.
    """
    place = Path(folder)
    contents = contents_of(place)
    in_book = [file for file in _TABLES if contents[file].is_sheet]
    if in_book and not into_workbook:
        found = "tables stand in this workbook, which is written to on request only"
        raise InputError(str(place / BOOK_FILE), found, mend="close it and add --into-workbook")
    declared = read_declared(place)
    cast, read = (as_written(_bytes(place, contents[file]), file, folder=str(place)) for file in _TABLES)
    now = {
        SWATCHES_FILE: (cast.data, _with_cast(cast, trial, declared, name)),
        READINGS_FILE: (read.data, _with_readings(read, trial, palette, name)),
    }
    then = {file: replace(each, data=now[file][1]) if file in now else each for file, each in contents.items()}
    whole, faults = inspect_contents(place, then)
    if whole is None:  # what `tint check` would refuse
        raise FolderError(str(place), [fault for fault in faults if fault.grave])
    files = {place / file: now[file] for file in _TABLES if file not in in_book}
    if in_book:
        files[place / BOOK_FILE] = with_tables(place / BOOK_FILE, {file: now[file] for file in in_book})
    write_all({path: data for path, (_, data) in files.items()}, was={path: was for path, (was, _) in files.items()})
    return tuple(files)


def _bytes(place: Path, content: Content) -> bytes:
    if content.fault is not None or content.data is None:
        raise FolderError(str(place), [content.fault] if content.fault else [])
    return content.data


def _with_cast(written: Written, trial: Trial, declared: Declared, name: str) -> bytes:
    """swatches.csv with a row more; columns that it lacks are put behind the others."""
    table = written.table
    taken = [row.number for row in table.rows if table.cell(row, "swatch") == name]
    if taken:
        raise InputError(f"{SWATCHES_FILE}, row {taken[0]}", f"{name} is there already", mend="choose another name")
    told = {
        "swatch": name, "base": trial.blend.base, "thickness_mm": f"{trial.thickness_mm:.6g}",
        **{pigment: f"{loading:.6g}" for pigment, loading in trial.blend.loadings.items() if loading},
        "cure_c": "" if trial.cure_c is None else f"{trial.cure_c:g}",
        "days": "" if trial.days_of_cure is None else f"{trial.days_of_cure:g}",
        "mould": trial.mould, "finish": trial.finish, "lot": trial.lot, "note": trial.note,
    }  # fmt: skip
    plain = dict(zip(plain_columns(table.columns, declared), table.columns, strict=True))
    cells: dict[str, str] = {}
    for column, cell in told.items():
        if not cell:
            continue
        own = plain.get(column, column)
        written = with_column(written, own)
        is_number = column not in ("swatch", "base", "mould", "finish", "lot", "note")
        cells[own] = cell.replace(".", written.decimal) if is_number else cell
    return rewritten(written, {}, [cells])


def _with_readings(written: Written, trial: Trial, palette: Palette, name: str) -> bytes:
    """readings.csv with the trial's readings behind the others."""
    table = written.table
    photographed = [table.cell(row, "source") == PHOTOGRAPH for row in table.rows]
    source = PHOTOGRAPH if photographed and all(photographed) else ""
    rows = []
    for reading in trial.readings:
        seat = "" if reading.over == "none" else reading.seat
        label = {"swatch": name, "backing": reading.over, "seat": seat, "source": source}
        rows.append(cells_of(written, label, _values(written, reading, palette, name)))
    return rewritten(written, {}, rows)


def _values(written: Written, reading: TrialReading, palette: Palette, name: str) -> np.ndarray:
    """As the folder holds them: a spectrum in the order of its columns, or a colour."""
    own = palette.instrument
    if written.kind == COLOURS:
        light, observer = own.colours_for
        view = colorimetry.viewing(palette.wavelengths, light=light, observer=observer)
        return colorimetry.lab(reading.values, view)
    if reading.noise > 1.0:
        found = "the trial was read as a colour, but the folder holds spectra"
        raise InputError(name, found, mend="read its spectrum")
    grid = np.array(list(written.wavelengths.values()))
    return np.asarray(reading.values[np.abs(palette.wavelengths - grid[:, None]).argmin(axis=1)])
