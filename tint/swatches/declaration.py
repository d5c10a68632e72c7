"""palette.toml: what the folder declares (instrument, backings, bases and pigments)."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import msgspec

from tint import colorimetry
from tint.errors import Gathered, InputError, did_you_mean, listed, quoted
from tint.materials import Base, Instrument, Pigment, Workshop
from tint.swatches.keys import (
    LIGHT,
    OBSERVER,
    BackingTable,
    BaseTable,
    InstrumentTable,
    PigmentTable,
    WorkshopTable,
    decode,
    forbid_unknown,
)
from tint.swatches.records import COLOURS, NO_BACKING, PALETTE_FILE, SWATCH_COLUMNS

FORMAT = 1
_PER_KG = {"kg": 1.0, "g": 1000.0, "100 g": 10.0, "lb": 1.0 / 0.45359237}  # of the units that prices may be for
_LEAST_ODD = 0.05  # repeatability, reflectance 0 to 1; far above any instrument or photograph, chosen by eye


@dataclass(frozen=True, kw_only=True)
class Declared:
    """What palette.toml declares; an entry at fault is None, so that its name is still known."""

    name: str
    instrument: Instrument | None
    backings: tuple[str, ...]
    bases: Mapping[str, Base | None]
    pigments: Mapping[str, Pigment | None]
    workshop: Workshop = field(default_factory=Workshop)


def read_declaration(text: str, faults: Gathered, *, folder_name: str) -> Declared | None:
    """Read palette.toml, decoded; None when not even the names in it can be told.

    `folder_name` is the name of a folder that gives itself none.
    """
    document = _parsed(text, faults)
    if document is None or not _format_is_ours(document, faults):
        return None
    forbid_unknown(document, ("format", "name", "instrument", "backings", "bases", "pigments", "workshop"), "", faults)
    kinds = {kind: _entries(document, kind, faults) for kind in ("backings", "bases", "pigments")}
    name = document.get("name", folder_name)
    if not isinstance(name, str) or not name.strip():
        faults.grave(f"found {quoted(name)}", column="name", expected="expected text in quotation marks")
    for backing, entry in (kinds["backings"] or {}).items():
        decode(entry, BackingTable, f"backings.{backing}", faults)
    instrument = _instrument(document, faults)
    workshop = _workshop(document.get("workshop", {}), faults)
    per_kg = _PER_KG[workshop.price_unit]
    bases = {base: _base(base, entry, faults, per_kg) for base, entry in (kinds["bases"] or {}).items()}
    pigments = {each: _pigment(each, entry, faults, per_kg) for each, entry in (kinds["pigments"] or {}).items()}
    if any(entries is None for entries in kinds.values()):
        return None
    _check_names(kinds, faults)
    return Declared(
        name=str(name),
        instrument=instrument,
        backings=tuple(kinds["backings"] or ()),
        bases=bases,
        pigments=pigments,
        workshop=workshop,
    )


def read_workshop(text: str) -> Workshop:
    """The workshop of a palette.toml, as far as it can be read; what is wrong in it `read_declaration` tells."""
    faults = Gathered(PALETTE_FILE)
    document = _parsed(text, faults)
    return Workshop() if document is None else _workshop(document.get("workshop", {}), faults)


def fitted_part(data: bytes) -> bytes:
    """Of palette.toml what a palette may depend on: of a sound `[workshop]` only what its prices are for.

    The whole of one that cannot be read.
    """
    faults = Gathered(PALETTE_FILE)
    try:
        document = _parsed(data.decode("utf-8-sig"), faults)
    except UnicodeDecodeError:
        return data
    if document is None:
        return data
    shop = document.pop("workshop", {})
    _workshop(shop, faults)
    return data if faults.faults else json.dumps([document, shop.get("price_unit")], default=str).encode()


def _workshop(entry: object, faults: Gathered) -> Workshop:
    keys = decode(entry, WorkshopTable, "workshop", faults)
    if keys is None:
        return Workshop()
    told = {name: value for name, value in msgspec.structs.asdict(keys).items() if value is not None}
    return Workshop(**told | {"mould_depths_mm": tuple(keys.mould_depths_mm or ())})


def _parsed(text: str, faults: Gathered) -> dict[str, Any] | None:
    try:
        return tomllib.loads(text)
    except RecursionError:
        faults.grave("brackets are nested too deeply", mend="see the example in docs/folder.md")
    except ValueError as error:  # TOMLDecodeError, and what int() and datetime refuse
        found = re.search(r"\(at line (\d+), column \d+\)", str(error))
        faults.grave(
            f"not valid TOML: {str(error)[:120]}",
            row=int(found[1]) if found else None,
            expected="expected one `key = value` on a line",
            mend="text, and names with spaces, need quotation marks; numbers a point; a key stands once",
        )
    return None


def _format_is_ours(document: Mapping[str, Any], faults: Gathered) -> bool:
    if "format" not in document:
        faults.grave("the key is missing", column="format", mend=f"write format = {FORMAT} in the first line")
        return True
    found = document["format"]
    is_number = type(found) is int  # True is none
    if is_number and found == FORMAT:
        return True
    expected = f"expected {FORMAT}, the one format this version of tint reads"
    mend = f"write format = {FORMAT}, or use the version of tint that the folder was made for"
    faults.grave(f"found {quoted(found)}", column="format", expected=expected, mend=mend)
    return not (is_number and found > FORMAT)  # a later format may mean anything by the rest


def _entries(document: Mapping[str, Any], kind: str, faults: Gathered) -> dict[str, Any] | None:
    """The named tables of one kind, or None when the file has something else in their place."""
    entries = document.get(kind, {})
    if not isinstance(entries, dict):
        faults.grave(f"found {quoted(entries)}", column=kind, expected="expected tables", mend=f"write [{kind}.NAME]")
        return None
    if not entries and kind == "bases":
        faults.grave("no base is declared", column=kind, mend="write a table [bases.NAME]")
    elif not entries and kind == "pigments":
        faults.warn("no pigment is declared", column=kind, mend="write a table [pigments.NAME] for each")
    return entries


def _instrument(document: Mapping[str, Any], faults: Gathered) -> Instrument | None:
    if "instrument" not in document:
        mend = 'write [instrument] and below it geometry = "di:8", "de:8" or "45:0"'
        faults.grave("the table is missing", column="instrument", mend=mend)
        return None
    keys = decode(document["instrument"], InstrumentTable, "instrument", faults)
    if keys is None or not _spots_are_good(keys, faults):
        return None
    if keys.repeatability > _LEAST_ODD:
        found = f"readings are said to scatter by {keys.repeatability:g}"
        expected = "expected a standard deviation in reflectance, as 0.001 for a thousandth"
        mend = "is it in percent? divide by 100"
        faults.warn(found, column="instrument.repeatability", expected=expected, mend=mend)
    try:
        light = None if keys.light is None else colorimetry.light_name(keys.light)
    except InputError as error:
        found, expected = f"found {quoted(keys.light)}", f"expected {LIGHT}"
        faults.grave(found, column="instrument.light", expected=expected, mend=error.mend)
        return None
    return Instrument(**{**msgspec.structs.asdict(keys), "light": light})


def _spots_are_good(keys: InstrumentTable, faults: Gathered) -> bool:
    if keys.lit_mm is None or keys.aperture_mm is None or keys.lit_mm >= keys.aperture_mm:
        return True
    found = f"a spot of {keys.lit_mm:g} mm is lit, and one of {keys.aperture_mm:g} mm is measured"
    expected = "expected all that is measured to be lit"
    faults.grave(found, column="instrument.lit_mm", expected=expected, mend="were the two swapped?")
    return False


def check_light(declared: Declared, kind: str, faults: Gathered) -> None:
    """Tell where the light and observer of colours are not stated, or stand beside spectra."""
    if declared.instrument is None:
        return  # its faults are told already
    for key, meant in (("light", LIGHT), ("observer", OBSERVER)):
        is_there, place = getattr(declared.instrument, key) is not None, f"instrument.{key}"
        if kind == COLOURS and not is_there:
            expected = f"expected {meant}, that the L, a, b of readings.csv hold for"
            faults.grave("the key is missing", column=place, expected=expected, mend=f"write {key} = ...")
        elif kind != COLOURS and is_there:
            found, expected = (
                "it means nothing, as the readings are spectra",
                "a spectrum holds for every light and observer",
            )
            faults.warn(found, column=place, expected=expected, mend="remove it")


def _priced(keys: BaseTable | PigmentTable, per_kg: float) -> dict[str, Any]:
    return msgspec.structs.asdict(keys) | {"price": None if keys.price is None else keys.price * per_kg}


def _base(name: str, entry: object, faults: Gathered, per_kg: float) -> Base | None:
    keys = decode(entry, BaseTable, f"bases.{name}", faults)
    if keys is None:
        return None
    if keys.pigment_in not in keys.mix:
        found = f"found {quoted(keys.pigment_in)}"
        expected = f"expected a part of mix: {listed(keys.mix)}"
        mend = did_you_mean(keys.pigment_in, keys.mix)
        faults.grave(found, column=f"bases.{name}.pigment_in", expected=expected, mend=mend)
        return None
    return Base(name=name, **_priced(keys, per_kg))


def _pigment(name: str, entry: object, faults: Gathered, per_kg: float) -> Pigment | None:
    keys = decode(entry, PigmentTable, f"pigments.{name}", faults)
    if keys is None:
        return None
    cures = None if keys.cures is None else tuple(dict.fromkeys(keys.cures))
    return Pigment(name=name, **{**_priced(keys, per_kg), "cures": cures})


def _check_names(kinds: Mapping[str, Mapping[str, Any] | None], faults: Gathered) -> None:
    for kind, entries in kinds.items():
        for name in entries or {}:
            if not name.strip() or name != name.strip() or not name.isprintable():
                found = f"the name {quoted(name)} is blank, or has spaces at its ends or invisible characters"
                mend = "choose a name that can be read"
                faults.grave(found, column=kind, mend=mend)
    for name in kinds["pigments"] or {}:
        if name in SWATCH_COLUMNS:
            faults.grave(
                "the name is that of a column of swatches.csv", column=f"pigments.{name}", mend="rename the pigment"
            )
    if NO_BACKING in (kinds["backings"] or {}):
        found = f"the name {NO_BACKING} means that nothing lies behind the swatch"
        mend = "remove the table, or rename the backing"
        faults.grave(found, column=f"backings.{NO_BACKING}", mend=mend)
