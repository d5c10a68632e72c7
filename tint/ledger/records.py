"""What the ledger keeps: nine kinds of records, their fields with units, and what each field may hold.

A field is a column of the same name. Its type decides how it is stored: text, a number, a whole number, yes or no as 1
or 0, and JSON where the shape is open (pigments by name, spectra, lists). `schema` makes the tables from these classes.
"""

from __future__ import annotations

import dataclasses
import functools
import types
import typing
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from tint.materials import LOT_VERDICTS, USE
from tint.weighing import Kept

ABOVE_0, FROM_0 = "> 0", ">= 0"
LAB = ("lab_l", "lab_a", "lab_b")


@dataclass(frozen=True)
class Column:
    """What a field is as a column."""

    # the column, and in words what it holds, with its unit
    name: str
    about: str
    kind: str  # `text`, `number`, `whole`, `flag`, `date`, or JSON: `object`, `list`
    points: str = ""  # the kind of record that it points at by number; empty for none
    allowed: str = ""  # what SQL may say after the column's name; empty for anything
    words: tuple[str, ...] = ()  # those that it may be; empty for any text
    needed: bool = False  # whether it must be given
    default: Any = None  # when it is not


def _field(about: str, **more: Any) -> Any:
    default = more.pop("default", dataclasses.MISSING)
    return dataclasses.field(default=default, metadata={"about": about, **more})


def _words(about: str) -> Any:
    return _field(about, default="")


def _named(about: str) -> Any:
    return _field(about, needed=True)


def _one_of(about: str, *words: str, default: str) -> Any:
    return _field(f"{about}: {', '.join(w for w in words if w)}", allowed=f"IN {words}", words=words, default=default)


def _number(about: str, allowed: str = "") -> Any:
    """Also of a flag: None when it is not known."""
    return _field(about, allowed=allowed, default=None)


def _date(about: str) -> Any:
    return _field(f"{about} (YYYY-MM-DD)", kind="date", default="")


def _points(kind: str, about: str) -> Any:
    return _field(about, points=kind, default=None)


def _open(about: str) -> Any:
    return dataclasses.field(default_factory=dict, metadata={"about": about, "kind": "object"})


def _list(about: str) -> Any:
    return _field(about, kind="list", default=())


@dataclass(frozen=True, kw_only=True)
class Order:
    """What a customer asked for."""

    name: str = _named("what the order is called")
    customer: str = _words("who asked")
    customer_words: str = _words("the wish in the customer's own words")
    part: str = _words("the part to be cast")
    target: Mapping[str, Any] = _open("the colour and opacity wanted: keys lab, srgb, contrast_ratio_min ...")
    note: str = _words("anything else")


@dataclass(frozen=True, kw_only=True)
class Recipe:
    """A blend that answers an order, with what was predicted of it."""

    order_id: int | None = _points("order", "the order that it answers")
    base: str = _named("the base")
    loadings_percent: Mapping[str, float] = _open("pigment to percent by mass of the finished mix")
    lots: Mapping[str, str] = _open("pigment to the lot that the palette knew when this was solved")
    thickness_mm: float | None = _number("wall of the part, mm", ABOVE_0)
    backing: str = _words("what it is predicted over")
    seat: str = _one_of("how it meets the backing", "", "air", "wet", default="")
    light: str = _words("CIE light of the Lab")
    observer_degrees: int | None = _number("field of the observer, degrees", "IN (2, 10)")
    geometry: str = _words("as read in: di:8, de:8 or 45:0")
    optics: str = _words("the layer model that predicted it")
    lab_l: float | None = _number("L* predicted")
    lab_a: float | None = _number("a* predicted")
    lab_b: float | None = _number("b* predicted")
    expected_error_ciede2000: float | None = _number("95 of 100 castings read within it, CIEDE2000", FROM_0)
    to_target_ciede2000: float | None = _number("from the target, CIEDE2000", FROM_0)
    contrast_ratio: float | None = _number("predicted: Y over black / Y over white", FROM_0)
    contrast_ratio_error: float | None = _number("half width that holds 95 of 100", FROM_0)
    reached: bool | None = _number("whether the target is reached")
    more: Mapping[str, Any] = _open("all else that was told of the recipe when it was solved")
    note: str = _words("anything else")


@dataclass(frozen=True, kw_only=True)
class Weighing:
    """One weighing: a pigment or a part of the base, the part that it goes into, and grams."""

    what: str
    grams: float
    part: str = ""


@dataclass(frozen=True, kw_only=True)
class Batch:
    """A mix that was weighed."""

    order_id: int | None = _points("order", "the order that it is for")
    recipe_id: int | None = _points("recipe", "the recipe that it follows")
    base: str = _named("the base")
    batch_g: float | None = _number("mix that was planned, waste included, g", ABOVE_0)
    total_grams: float | None = _number("sum of all weighings, g", ABOVE_0)
    weighed: tuple[Weighing, ...] = _list("weighings in order, each with what, part and grams")
    premixes: tuple[Kept, ...] = _list(
        "premixes: left of those made (grams above 0), taken of those kept (below), each with name, pigment, base, "
        "part, whole (parts that hold one of pigment), grams, lot and made_on"
    )
    lots: Mapping[str, str] = _open("pigment or part of the base to the lot that was taken")
    temperature_c: float | None = _number("of the workshop, degrees Celsius", "BETWEEN -50 AND 100")
    note: str = _words("anything else")


@dataclass(frozen=True, kw_only=True)
class Trial:
    """A casting that was judged: what was really weighed, how it was cast and cured. Its readings point at it."""

    recipe_id: int | None = _points("recipe", "the recipe that was tried")
    batch_id: int | None = _points("batch", "the batch that it was cast from")
    weighed: tuple[Weighing, ...] = _list("what was really weighed, each with what, part and grams")
    thickness_mm: float | None = _number("as measured, mm", ABOVE_0)
    cure_days: float | None = _number("between pouring and reading, days", FROM_0)
    mould: str = _words("the mould that it was cast in")
    cure_c: float | None = _number("temperature of its cure, degrees Celsius", "BETWEEN 0 AND 300")
    finish: str = _words("the surface that was read, such as smooth or satin")
    base_lot: str = _words("lot of the base")
    note: str = _words("anything else")


@dataclass(frozen=True, kw_only=True)
class Reference:
    """A retained swatch. Its readings, the first and all later ones, point at it."""

    name: str = _named("what is written on the swatch")
    recipe_id: int | None = _points("recipe", "the recipe that it shows")
    batch_id: int | None = _points("batch", "the batch that it was cast from")
    trial_id: int | None = _points("trial", "the trial that it is")
    kept_at: str = _words("where it is kept")
    thickness_mm: float | None = _number("as measured, mm", ABOVE_0)
    made_on: str = _date("day it was cast")
    expires_on: str = _date("day from which it is no longer trusted")
    note: str = _words("anything else")


@dataclass(frozen=True, kw_only=True)
class Reading:
    """A colour or spectrum measured on something."""

    order_id: int | None = _points("order", "the order whose sample was measured")
    trial_id: int | None = _points("trial", "the trial that was measured")
    reference_id: int | None = _points("reference", "the retained swatch that was measured")
    name: str = _words("as the reading is called in its file")
    source: str = _words("the file that it came from")
    read_on: str = _date("day of the reading")
    quantity: str = _one_of("what was measured", "reflectance", "transmittance", default="reflectance")
    backing: str = _words("what lay behind; none for a free slab")
    seat: str = _one_of("how it met the backing", "", "air", "wet", default="")
    geometry: str = _words("of the instrument: di:8, de:8 or 45:0")
    light: str = _words("CIE light of the Lab")
    observer_degrees: int | None = _number("field of the observer, degrees", "IN (2, 10)")
    lab_l: float | None = _number("L*")
    lab_a: float | None = _number("a*")
    lab_b: float | None = _number("b*")
    wavelengths_nm: tuple[float, ...] = _list("grid of the spectrum, nm; empty when only Lab is known")
    spectrum: tuple[float, ...] = _list("the reading at each wavelength, 0 to 1")
    note: str = _words("anything else")


@dataclass(frozen=True, kw_only=True)
class Lot:
    """A new lot of a pigment or base, judged against the old one."""

    material: str = _named("the pigment or base, as the palette calls it")
    lot: str = _named("the lot as its label calls it")
    received_on: str = _date("day it came")
    relative_to_lot: str = _words("the lot that it is compared with: that of the swatches")
    strength: float | None = _number("per gram, of a base its haze, relative to that lot: 0.8 is less", ABOVE_0)
    strength_error: float | None = _number("half width of the strength that holds 95 of 100", FROM_0)
    hue_left_over_ciede2000: float | None = _number("what no dose can mend, CIEDE2000", FROM_0)
    verdict: str = _one_of("what was decided", *LOT_VERDICTS, default=USE)
    reading_id: int | None = _points("reading", "the reading that it was judged by")
    note: str = _words("anything else")


@dataclass(frozen=True, kw_only=True)
class Approval:
    """A customer's word on a swatch."""

    order_id: int | None = _points("order", "the order")
    recipe_id: int | None = _points("recipe", "the recipe that was shown")
    reference_id: int | None = _points("reference", "the retained swatch that was shown")
    approved_by: str = _named("who said so")
    verdict: str = _one_of("what was said", "approved", "refused", default="approved")
    swatch: str = _words("what was shown, in words")
    limit_samples: tuple[str, ...] = _list("samples that bound what is still accepted, in words")
    light: str = _words("the light that it was judged in")
    approved_on: str = _date("day of the verdict")
    expires_on: str = _date("day from which it must be asked for again")
    note: str = _words("anything else")


@dataclass(frozen=True, kw_only=True)
class Lesson:
    """What was learnt, tied to anything."""

    text: str = _named("what was learnt")
    order_id: int | None = _points("order", "about this order")
    recipe_id: int | None = _points("recipe", "about this recipe")
    batch_id: int | None = _points("batch", "about this batch")
    trial_id: int | None = _points("trial", "about this trial")
    reading_id: int | None = _points("reading", "about this reading")
    reference_id: int | None = _points("reference", "about this retained swatch")
    lot_id: int | None = _points("lot", "about this lot")
    approval_id: int | None = _points("approval", "about this approval")
    material: str = _words("about this pigment or base")


Record = Order | Recipe | Batch | Trial | Reference | Reading | Lot | Approval | Lesson

# In an order in which each points only at those before it.
KINDS: dict[str, type[Record]] = {each.__name__.lower(): each for each in typing.get_args(Record)}
# `references` is a word of SQL.
TABLES = {kind: f"{kind}s" for kind in KINDS} | {"batch": "batches", "reference": "reference_swatches"}


def kind_of(record: Record | type[Record]) -> str:
    """The kind's name: `order`, `recipe` ..."""
    return (record if isinstance(record, type) else type(record)).__name__.lower()


@functools.cache
def columns(kind: str) -> tuple[Column, ...]:
    """The columns of a kind's own, in order."""
    record = KINDS[kind]
    hints = typing.get_type_hints(record)
    return tuple(_column(each, hints[each.name]) for each in dataclasses.fields(record))


_STORED = {str: "text", float: "number", int: "whole", bool: "flag"}


def _column(field: dataclasses.Field[Any], hint: Any) -> Column:
    told = dict(field.metadata)
    plain = next((each for each in typing.get_args(hint) if each is not types.NoneType), hint)
    told.setdefault("kind", _STORED.get(plain if isinstance(hint, types.UnionType) else hint))
    default = None if field.default is dataclasses.MISSING else field.default
    return Column(name=field.name, default=default, **told)
