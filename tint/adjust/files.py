"""A trial in a small file: base, what was really weighed, thickness, and where its readings stand."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import msgspec

from tint import spectra
from tint.adjust.trial import Trial, TrialReading
from tint.errors import InputError
from tint.materials import SEATS, Base, Blend
from tint.palette import Palette

_FORM = "a trial in TOML, or the same in JSON"
_OFF_RATIO = 0.2  # share by which the parts may be off their mixing ratio before it must be a slip
_KINDS = {"str": "text", "float": "a number", "int": "a number", "object": "a table", "array": "a list", "bool": "true"}


class _ReadingTable(msgspec.Struct, kw_only=True, forbid_unknown_fields=True):
    file: str
    over: str
    name: str = ""
    seat: str = "air"


class _TrialTable(msgspec.Struct, kw_only=True, forbid_unknown_fields=True):
    base: str
    thickness_mm: float
    readings: list[_ReadingTable]
    loadings: dict[str, float] | None = None
    grams: dict[str, float] | None = None
    days_of_cure: float | None = None
    mould: str = ""
    note: str = ""


def read_trial(path: str | Path, palette: Palette) -> Trial:
    """A trial from a file.

    Parameters
    ----------
    path : str or Path
        TOML, or JSON when its name ends in .json. Keys: `base`; `loadings`, a table of pigments in percent of the
        finished mix, or `grams`, a table of the parts of the base and of pigments as weighed; `thickness_mm`;
        `readings`, tables of `file`, `name` (the row, where there are several), `over` and `seat`; and where wanted
        `days_of_cure`, `mould` and `note`. A reading's file is looked for beside the trial's.
    palette : Palette
        Its wavelengths, backings and bases.

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
    days = table.days_of_cure
    if days is not None and not 0.0 <= days < math.inf:
        raise InputError(f"{where}, key days_of_cure", f"{days:g}", "0 days or more")
    return Trial(
        blend=Blend(table.base, loadings),
        thickness_mm=table.thickness_mm,
        readings=tuple(_reading(each, Path(path), number, palette) for number, each in enumerate(table.readings, 1)),
        days_of_cure=days,
        mould=table.mould,
        note=table.note,
    )


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


def read_reading(where: str, palette: Palette, *, over: str, seat: str) -> TrialReading:
    """A reading of a trial, from a row of a readings table.

    Parameters
    ----------
    where : str
        `FILE` or `FILE:NAME`.
    over, seat : str
        Where the table has columns `backing` and `seat`, what must stand in them.

    Raises
    ------
    InputError
        If there is no such file or row, or it does not cover the palette's wavelengths.
    """
    told = {"backing": over, "seat": "air" if over == "none" else seat, "quantity": "reflectance"}
    values = spectra.read_spectrum(where, onto=palette.wavelengths, told=told)
    return TrialReading(values=values, over=over, seat=told["seat"])


def _reading(table: _ReadingTable, trial: Path, number: int, palette: Palette) -> TrialReading:
    where = f"{trial}, key readings[{number}]"
    if table.over not in (*palette.backings, "none"):
        raise InputError(f"{where}.over", f"`{table.over}`", "one of " + ", ".join([*palette.backings, "none"]))
    if table.seat not in SEATS:
        raise InputError(f"{where}.seat", f"`{table.seat}`", " or ".join(SEATS))
    file = str(trial.parent / table.file)
    return read_reading(f"{file}:{table.name}" if table.name else file, palette, over=table.over, seat=table.seat)


def _decoded(path: Path) -> _TrialTable:
    where = str(path)
    try:
        text = path.read_text(encoding="utf-8-sig")
        content: Any = msgspec.json.decode(text) if path.suffix.lower() == ".json" else tomllib.loads(text)
    except OSError as error:
        raise InputError(where, f"cannot be read ({error.strerror})", mend="check the name") from error
    except UnicodeDecodeError as error:
        raise InputError(where, "is not text in UTF-8", f"expected {_FORM}") from error
    except (tomllib.TOMLDecodeError, msgspec.DecodeError) as error:
        raise InputError(where, f"cannot be understood ({error})", f"expected {_FORM}") from error
    try:
        return msgspec.convert(content, _TrialTable)
    except msgspec.ValidationError as error:
        raise _bad_key(where, str(error)) from error


def _bad_key(where: str, told: str) -> InputError:
    """An error of decoding in our words: which key, what was found, what was expected."""
    message, _, path = told.partition(" - at `$")
    key = re.sub(r"\[(\d+)\]", lambda found: f"[{int(found[1]) + 1}]", path.rstrip("`").removeprefix("."))
    named = [word.removesuffix(" | null") for word in re.findall(r"`([^`]*)`", message)]
    if message.startswith("Object") and named:
        whole = ".".join(filter(None, (key, named[-1])))
        known = ", ".join(_TrialTable.__struct_fields__ if not key else _ReadingTable.__struct_fields__)
        missing = "missing" in message
        found, expected = ("the key is missing", "") if missing else ("there is no such key", f"one of {known}")
        return InputError(f"{where}, key {whole}", found, expected)
    if len(named) == 2:
        expected, found = (" or ".join(_KINDS.get(kind, kind) for kind in each.split(" | ")) for each in named)
        return InputError(where if not key else f"{where}, key {key}", f"found {found}", expected)
    return InputError(where if not key else f"{where}, key {key}", message[:1].lower() + message[1:], _FORM)
