"""A trial in a small file: base, what was really weighed, thickness, and where its readings stand."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
from numpy.typing import NDArray

from tint import colorimetry, jsonable
from tint.appearance import Setting, predict
from tint.colorimetry import Viewing
from tint.errors import InputError
from tint.materials import SEATS, Base, Blend
from tint.palette import Palette
from tint.swatches.casts import RANGES
from tint.swatches.instruments import Given
from tint.swatches.one_reading import read_one
from tint.trials.trial import Trial, TrialReading

Array = NDArray[np.float64]

_FORM = "a trial in TOML, or the same in JSON"
_OFF_RATIO = 0.2  # share by which parts may be off their mixing ratio before it must be a slip; no source


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
    """A trial from a file.

    Parameters
    ----------
    path : str or Path
        TOML, or JSON when its name ends in .json. Keys: `base`; `loadings`, a table of pigments in percent of the
        finished mix, or `grams`, a table of the parts of the base and of pigments as weighed; `thickness_mm`;
        `readings`, tables of `file`, `name` (the row, where there are several), `over` and `seat`, and, of files that
        leave them open, `scale`, `light`, `observer` and `geometry`; and where wanted
        `days_of_cure`, `cure_c`, `mould`, `finish`, `lot` (of the base) and `note`. A reading's file is looked for
        beside the trial's.
    palette : Palette
        Its wavelengths, backings and bases.
    said : Given, optional
        What the user says of readings where neither their files nor the trial's do.

    Raises
    ------
    InputError
        If the file or a reading cannot be read, or a key is wrong.
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
    check_range(table.days_of_cure, "days", f"{where}, key days_of_cure")
    check_range(table.cure_c, "cure_c", f"{where}, key cure_c")
    blend, depth = Blend(table.base, loadings), table.thickness_mm
    readings = [
        _reading(each, Path(path), at, palette, blend, depth, said) for at, each in enumerate(table.readings, 1)
    ]
    return Trial(
        blend=blend,
        thickness_mm=depth,
        readings=tuple(readings),
        days_of_cure=table.days_of_cure,
        cure_c=table.cure_c,
        mould=table.mould,
        finish=table.finish,
        lot=table.lot,
        note=table.note,
    )


def check_range(value: float | None, name: str, where: str) -> None:
    """Raise InputError for a `cure_c` or `days` that swatches.csv would not take either."""
    least, most, unit = RANGES[name]
    if value is not None and not least <= value <= most:
        raise InputError(where, f"{value:g}", f"expected {unit} from {least:g} to {most:g}")


def loadings_of(base: Base, grams: Mapping[str, float], *, where: str) -> dict[str, float]:
    """Loadings from what was weighed.

    Parameters
    ----------
    base : Base
    grams : mapping of str to float
        Of every part of the base, by its name, and of each pigment [g].
    where : str
        What to name in an error.

    Returns
    -------
    dict of str to float
        [% by mass of the finished mix]

    Raises
    ------
    InputError
        If a part is missing, a mass is no mass, or the parts are far off the base's mixing ratio.
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
    """A reading of a trial, from a row of a readings table or a sample of an instrument's file.

    Parameters
    ----------
    where : str
        `FILE` or `FILE:NAME`. A colour will do: of all spectra that have it, the one nearest to what is foretold of
        the blend stands in for the one that was not read.
    blend : Blend
        What was poured.
    setting : Setting
        Its thickness and backing; where the file tells backing and seat, what they must be.
    said : Given, optional
        What the user says where the file does not.

    Raises
    ------
    InputError
        If there is no such file or row, or it does not cover the palette's wavelengths.
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
        text = path.read_text(encoding="utf-8-sig")
        content: Any = msgspec.json.decode(text) if path.suffix.lower() == ".json" else tomllib.loads(text)
    except OSError as error:
        raise InputError(where, f"cannot be read ({error.strerror})", mend="check the name") from error
    except RecursionError as error:
        raise InputError(where, "is nested too deeply", f"expected {_FORM}") from error
    except UnicodeDecodeError as error:
        raise InputError(where, "is not text in UTF-8", f"expected {_FORM}") from error
    except (ValueError, msgspec.DecodeError) as error:  # ValueError: TOMLDecodeError, and what int() refuses
        raise InputError(where, f"cannot be understood ({str(error)[:120]})", f"expected {_FORM}") from error
    return jsonable.converted(content, _TrialTable, where=where, form=_FORM)
