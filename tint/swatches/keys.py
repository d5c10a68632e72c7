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

Parts = Annotated[float, Meta(gt=0, le=1000)]
Loading = Annotated[float, Meta(gt=0, le=100, description="percent above 0 and up to 100")]
Fraction = Annotated[float, Meta(ge=0, le=1, description="a fraction from 0 to 1")]
Price = Annotated[float, Meta(ge=0, le=1e9, description="a price per kg from 0 to 1e9")]
Text = Annotated[str, Meta(description="text in quotation marks")]
LIGHT = "a CIE light: D65, D50, A, FL2, FL11, LED-B3 or another"
OBSERVER = "2 or 10, in degrees"
Light = Annotated[str, Meta(description=LIGHT, extra={"mend": 'write for example "D65"'})]
Degrees = Annotated[
    Observer, Meta(description=OBSERVER, extra={"mend": "write it without quotation marks or decimals"})
]
Spot = Annotated[float, Meta(gt=0, le=100, description="a diameter above 0 and up to 100 mm")]
Density = Annotated[
    float, Meta(ge=0.1, le=25, description="g/cm3 from 0.1 to 25", extra={"mend": "1080 kg/m3 is written 1.08"})
]
Mix = Annotated[
    dict[str, Parts],
    Meta(
        min_length=1,
        description="parts by mass, each above 0 and up to 1000",
        extra={"mend": "write for example { A = 1.0, B = 1.0 }"},
    ),
]
Depths = Annotated[
    list[Annotated[float, Meta(gt=0, le=100)]],
    Meta(
        min_length=1,
        description="a list of depths, each above 0 and up to 100 mm",
        extra={"mend": "write for example [1.0, 2.0, 5.0]"},
    ),
]
Cures = Annotated[
    list[Cure],
    Meta(description="a list of addition, condensation or both", extra={"mend": 'write for example ["addition"]'}),
]
Kind = Annotated[
    str,
    Meta(
        pattern=f"^({'|'.join(map(re.escape, KINDS))})$",
        description="one of " + ", ".join(KINDS),
        extra={"words": tuple(KINDS), "mend": "leave it out where none of them fits"},
    ),
]
Anisotropy = Annotated[
    float,
    Meta(
        ge=0,
        le=MOST_STATED,
        description=f"an anisotropy from 0 to {MOST_STATED:g}",
        extra={"mend": "leave it out where nobody measured it"},
    ),
]


class InstrumentTable(Struct, kw_only=True):
    """The keys of `[instrument]`."""

    geometry: Annotated[Geometry, Meta(description="di:8, de:8 or 45:0")]
    repeatability: Annotated[
        float, Meta(ge=0, le=0.1, description="a standard deviation of reflectance from 0 to 0.1")
    ] = Instrument.repeatability
    thickness_error_mm: Annotated[float, Meta(ge=0, le=5, description="a standard deviation from 0 to 5 mm")] = (
        Instrument.thickness_error_mm
    )
    dose_error_percent: Annotated[
        float, Meta(ge=0, le=50, description="a standard deviation from 0 to 50 percent of the dose")
    ] = Instrument.dose_error_percent
    light: Light | None = None
    observer: Degrees | None = None
    aperture_mm: Spot | None = None
    lit_mm: Spot | None = None


class BackingTable(Struct, kw_only=True):
    """The keys of `[backings.NAME]`: none, as its spectrum stands in readings.csv."""


class BaseTable(Struct, kw_only=True):
    """The keys of `[bases.NAME]`."""

    cure: Annotated[Cure, Meta(description="addition or condensation")]
    density: Density
    refractive_index: Annotated[float, Meta(ge=1, le=2, description="a refractive index from 1 to 2")]
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

    scale_step_g: Annotated[float, Meta(gt=0, le=100, description="a step above 0 and up to 100 g")] | None = None
    scale_max_g: Annotated[float, Meta(gt=0, le=1e6, description="a weight above 0 and up to 1000000 g")] | None = None
    dose_tolerance_percent: (
        Annotated[float, Meta(ge=0.01, le=50, description="0.01 to 50 percent of a dose")] | None
    ) = None
    cup_cm3: Annotated[float, Meta(gt=0, le=1e6, description="a volume above 0 and up to 1000000 cm3")] | None = None
    mould_depths_mm: Depths | None = None
    waste_percent: Annotated[float, Meta(ge=0, le=200, description="0 to 200 percent of a batch")] | None = None
    currency: Text | None = None
    price_unit: Annotated[PriceUnit, Meta(description=" or ".join(get_args(PriceUnit)))] = "kg"
    price_per_hour: Annotated[float, Meta(ge=0, le=1e6, description="a price of 0 or more")] | None = None
    minutes_a_batch: Annotated[float, Meta(ge=0, le=1e5, description="0 to 100000 minutes")] | None = None
    minutes_a_part: Annotated[float, Meta(ge=0, le=1e5, description="0 to 100000 minutes")] | None = None
    margin_percent: Annotated[float, Meta(ge=0, le=1000, description="0 to 1000 percent of the cost")] | None = None


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
            expected = f"expected {_meta(field.type).description}"
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
    meta = _meta(kind)
    extra = meta.extra or {}
    inner, bad, words = _culprit(value, _annotated(kind))
    words = words or extra.get("words", ())
    near = did_you_mean(bad, filter(_is_text, words)) if isinstance(bad, str) else ""
    mend = near or extra.get("mend", "")
    faults.grave(f"found {quoted(bad)}", column=place + inner, expected=f"expected {meta.description}", mend=mend)
    return False


def _converts(value: object, kind: Any) -> bool:
    try:
        msgspec.convert(value, kind)
    except msgspec.ValidationError:
        return False
    return True


def _is_text(word: object) -> bool:
    return isinstance(word, str)


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


def _meta(kind: Any) -> Meta:
    meta: Meta = _annotated(kind).__metadata__[0]
    return meta
