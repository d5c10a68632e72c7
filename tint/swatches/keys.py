"""The keys of palette.toml: each table is a Struct here, the one place that knows its ranges and defaults.

A table is decoded key by key, so that every bad key is told and not just the first.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Annotated, Any, Literal, TypeVar, get_args, get_origin

import msgspec
from msgspec import Meta, Struct

from tint.errors import Gathered, did_you_mean, listed, quoted
from tint.materials import KINDS, MOST_STATED, Instrument

Cure = Literal["addition", "condensation"]
Geometry = Literal["di:8", "de:8", "45:0"]
Observer = Literal[2, 10]

PriceUnit = Literal["kg", "g", "100 g", "lb"]
LIGHT = "a CIE light: D65, D50, A, FL2, FL11, LED-B3 or another"
OBSERVER = "2 or 10, in degrees"


def _told(description: str, mend: str = "", words: Iterable[str] = (), **bounds: Any) -> Meta:
    """The bounds of a key, what messages say is expected, what mends it, and the words that it may be."""
    return Meta(description=description, extra={"mend": mend, "words": tuple(words)}, **bounds)


Parts = Annotated[float, Meta(gt=0, le=1000)]
Depth = Annotated[float, Meta(gt=0, le=100)]
Loading = Annotated[float, _told("percent above 0 and up to 100", gt=0, le=100)]
Fraction = Annotated[float, _told("a fraction from 0 to 1", ge=0, le=1)]
Price = Annotated[float, _told("a price per kg from 0 to 1e9", ge=0, le=1e9)]
Text = Annotated[str, _told("text in quotation marks")]
Light = Annotated[str, _told(LIGHT, 'write for example "D65"')]
Degrees = Annotated[Observer, _told(OBSERVER, "write it without quotation marks or decimals")]
Spot = Annotated[float, _told("a diameter above 0 and up to 100 mm", gt=0, le=100)]
Density = Annotated[float, _told("g/cm3 from 0.1 to 25", "1080 kg/m3 is written 1.08", ge=0.1, le=25)]
_FOR_MIX = "write for example { A = 1.0, B = 1.0 }"
Mix = Annotated[dict[str, Parts], _told("parts by mass, each above 0 and up to 1000", _FOR_MIX, min_length=1)]
_DEPTHS = "a list of depths, each above 0 and up to 100 mm"
Depths = Annotated[list[Depth], _told(_DEPTHS, "write for example [1.0, 2.0, 5.0]", min_length=1)]
Cures = Annotated[list[Cure], _told("a list of addition, condensation or both", 'write for example ["addition"]')]
_KIND = f"^({'|'.join(map(re.escape, KINDS))})$"
_NO_KIND = "leave it out where none of them fits"
Kind = Annotated[str, _told("one of " + ", ".join(KINDS), _NO_KIND, KINDS, pattern=_KIND)]
_G = f"an anisotropy from 0 to {MOST_STATED:g}"
Anisotropy = Annotated[float, _told(_G, "leave it out where nobody measured it", ge=0, le=MOST_STATED)]
Repeatability = Annotated[float, _told("a standard deviation of reflectance from 0 to 0.1", ge=0, le=0.1)]
ThicknessError = Annotated[float, _told("a standard deviation from 0 to 5 mm", ge=0, le=5)]
DoseError = Annotated[float, _told("a standard deviation from 0 to 50 percent of the dose", ge=0, le=50)]


class InstrumentTable(Struct, kw_only=True):
    """The keys of `[instrument]`."""

    geometry: Annotated[Geometry, _told("di:8, de:8 or 45:0")]
    repeatability: Repeatability = Instrument.repeatability
    thickness_error_mm: ThicknessError = Instrument.thickness_error_mm
    dose_error_percent: DoseError = Instrument.dose_error_percent
    light: Light | None = None
    observer: Degrees | None = None
    aperture_mm: Spot | None = None
    lit_mm: Spot | None = None


class BackingTable(Struct, kw_only=True):
    """The keys of `[backings.NAME]`: none, as its spectrum stands in readings.csv."""


class BaseTable(Struct, kw_only=True):
    """The keys of `[bases.NAME]`."""

    cure: Annotated[Cure, _told("addition or condensation")]
    density: Density
    refractive_index: Annotated[float, _told("a refractive index from 1 to 2", ge=1, le=2)]
    max_loading: Loading
    mix: Mix
    pigment_in: Text
    k1: Fraction | None = None
    k2: Fraction | None = None
    lot: Text | None = None
    price: Price | None = None
    kind: Kind | None = None
    g: Anisotropy | None = None


class PigmentTable(Struct, kw_only=True):
    """The keys of `[pigments.NAME]`."""

    cures: Cures | None = None
    max_loading: Loading | None = None
    density: Density | None = None
    lot: Text | None = None
    price: Price | None = None
    kind: Kind | None = None
    g: Anisotropy | None = None


class WorkshopTable(Struct, kw_only=True):
    """The keys of `[workshop]`."""

    scale_step_g: Annotated[float, _told("a step above 0 and up to 100 g", gt=0, le=100)] | None = None
    scale_max_g: Annotated[float, _told("a weight above 0 and up to 1000000 g", gt=0, le=1e6)] | None = None
    dose_tolerance_percent: Annotated[float, _told("0.01 to 50 percent of a dose", ge=0.01, le=50)] | None = None
    cup_cm3: Annotated[float, _told("a volume above 0 and up to 1000000 cm3", gt=0, le=1e6)] | None = None
    mould_depths_mm: Depths | None = None
    waste_percent: Annotated[float, _told("0 to 200 percent of a batch", ge=0, le=200)] | None = None
    premix_days: Annotated[int, _told("a whole number of days, 0 to 3650", ge=0, le=3650)] | None = None
    currency: Text | None = None
    price_unit: Annotated[PriceUnit, _told(" or ".join(get_args(PriceUnit)))] = "kg"
    price_per_hour: Annotated[float, _told("a price of 0 or more", ge=0, le=1e6)] | None = None
    minutes_a_batch: Annotated[float, _told("0 to 100000 minutes", ge=0, le=1e5)] | None = None
    minutes_a_part: Annotated[float, _told("0 to 100000 minutes", ge=0, le=1e5)] | None = None
    margin_percent: Annotated[float, _told("0 to 1000 percent of the cost", ge=0, le=1000)] | None = None


# Words of the trade for what a key expects; common practice.
_ALSO = {
    "cure": {"platinum": "addition", "tin": "condensation"},
    "geometry": {"d/8 sci": "di:8", "d/8 sce": "de:8", "sci": "di:8", "sce": "de:8", "45/0": "45:0", "0/45": "45:0",
                 "0:45": "45:0"},
}  # fmt: skip
_ALSO["cures"] = _ALSO["cure"]


def in_own_words(key: str, value: object) -> object:
    """A value with the trade's words said in those of the file: `platinum` is `addition`, `tin` `condensation`."""
    words = _ALSO.get(key)
    if words is None:
        return value
    if key == "cures" and isinstance(value, str):
        value = [part.strip() for part in value.split(",")]
    if isinstance(value, list):
        return [words.get(each.strip().lower(), each) if isinstance(each, str) else each for each in value]
    return words.get(" ".join(value.lower().split()), value) if isinstance(value, str) else value


AnyTable = TypeVar("AnyTable", bound=Struct)


def decode(entry: object, table: type[AnyTable], where: str, faults: Gathered) -> AnyTable | None:
    """One table of palette.toml as its Struct, or None when any key of it is bad, missing or unknown: each is told.

    `where` is its name in the file, such as `bases.clear`.
    """
    if not isinstance(entry, dict):
        mend = "write its keys below a line of its name in brackets"
        faults.grave(f"found {quoted(entry)}", column=where, expected="expected a table", mend=mend)
        return None
    entry = {key: in_own_words(key, value) for key, value in entry.items()}
    fields = {field.name: field for field in msgspec.structs.fields(table)}
    good = forbid_unknown(entry, fields, f"{where}.", faults)
    for name, field in fields.items():
        place = f"{where}.{name}"
        if name in entry:
            good &= _is_good(entry[name], field.type, place, faults)
        elif field.required:
            expected = f"expected {meta(field.type).description}"
            faults.grave("the key is missing", column=place, expected=expected, mend=f"write {name} = ...")
            good = False
    return msgspec.convert(entry, table) if good else None


def forbid_unknown(entry: Mapping[str, Any], known: Iterable[str], where: str, faults: Gathered) -> bool:
    """Tell every key of a table that is not known; True when there is none."""
    names = list(known)
    unknown = [key for key in entry if key not in names]
    for key in unknown:
        expected = f"expected {listed(names)}" if names else "expected an empty table"
        mend = did_you_mean(key, names, otherwise="remove it")
        faults.grave("there is no such key", column=f"{where}{key}", expected=expected, mend=mend)
    return not unknown


def _is_good(value: object, kind: Any, place: str, faults: Gathered) -> bool:
    if _converts(value, kind):
        return True
    told = meta(kind)
    extra: dict[str, Any] = told.extra or {}
    inner, bad, words = _culprit(value, _annotated(kind))
    words = words or extra["words"]
    near = did_you_mean(bad, [word for word in words if isinstance(word, str)]) if isinstance(bad, str) else ""
    mend = near or extra["mend"]
    faults.grave(f"found {quoted(bad)}", column=place + inner, expected=f"expected {told.description}", mend=mend)
    return False


def _converts(value: object, kind: Any) -> bool:
    try:
        msgspec.convert(value, kind)
    except msgspec.ValidationError:
        return False
    return True


def _culprit(value: object, kind: Any) -> tuple[str, object, tuple[str, ...]]:
    """The place of the bad value inside the key, that value, and the words it may be, if words it may be."""
    inner = get_args(kind)[0]
    if get_origin(inner) is Literal:
        return "", value, get_args(inner)
    if get_origin(inner) is dict and isinstance(value, dict):
        for key, part in value.items():
            if not _converts(part, get_args(inner)[1]):
                return f".{key}", part, ()
    if get_origin(inner) is list and isinstance(value, list):
        member = get_args(inner)[0]
        for part in value:
            if not _converts(part, member):
                return "", part, get_args(member)
    return "", value, ()


def _annotated(kind: Any) -> Any:
    """The annotated type of a key, without the None of an optional one."""
    return kind if get_origin(kind) is Annotated else get_args(kind)[0]


def meta(kind: Any) -> Meta:
    """What a key's type says of itself: its bounds, and in its description what is expected."""
    told: Meta = _annotated(kind).__metadata__[0]
    return told
