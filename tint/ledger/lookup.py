"""Questions to a ledger: an order by name, colours near a colour, what runs out, how a retained swatch drifted."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tint import colorimetry
from tint.errors import InputError
from tint.ledger.entries import Entry, entries, get, pointers, versions
from tint.ledger.file import Ledger
from tint.ledger.records import TABLES, Approval, Batch, Order, Reading, Recipe, Reference
from tint.weighing import Kept

Array = NDArray[np.float64]

PREMIX_DAYS = 30  # for which a premix that was kept is used again; common practice, no source
_NOTHING_G = 1e-6  # g that sums of floating-point numbers leave
WITHIN = 5.0  # CIEDE2000 around a colour in which recipes are worth a look; no source


def find_order(ledger: Ledger, order: str) -> Entry[Order]:
    """The order of a number or a name, as it now stands.

    InputError if there is none, it was withdrawn, or the name stands for several.
    """
    held = entries(ledger, Order)
    if order.isdecimal() and len(order) < 19:
        family = versions(ledger, "order", get(ledger, "order", int(order)).id)
        found = [each for each in held if each.id in family]
        if not found:
            raise InputError(f"order {order}", "was withdrawn")
    else:
        found = [each for each in held if each.content.name == order]
    if not found:
        names = ", ".join(dict.fromkeys(each.content.name for each in held[-6:]))
        raise InputError("order", f"there is none named `{order}`", f"expected one of {names}" if names else "")
    if len(found) > 1:
        numbers = ", ".join(str(each.id) for each in found)
        raise InputError("order", f"{len(found)} are named `{order}`", f"expected a number: {numbers}")
    return found[0]


def belonging(ledger: Ledger, kind: str, number: int) -> dict[str, tuple[int, ...]]:
    """What points at an entry or another version of it and holds now: kind to numbers."""
    family = versions(ledger, kind, number)
    marks = ", ".join("?" * len(family))
    found: defaultdict[str, set[int]] = defaultdict(set)
    for other, column in pointers(kind):
        rows = ledger.rows(f"SELECT id FROM current_{TABLES[other]} WHERE {column} IN ({marks})", *family)
        found[other] |= {int(row["id"]) for row in rows}
    return {other: tuple(sorted(numbers)) for other, numbers in found.items() if numbers}


# Nearness in colour.


@dataclass(frozen=True, kw_only=True, eq=False)
class Near:
    """A recipe or reading near a colour."""

    kind: str
    entry: Entry[Any]
    delta_e: float  # CIEDE2000 from the colour [-]
    lab: Array  # shape (3,): its own, in the light and for the observer asked for [-]


def search(
    ledger: Ledger, lab: ArrayLike, *, light: str = "D65", observer: int = 10, within: float = WITHIN
) -> tuple[Near, ...]:
    """Recipes (as predicted) and readings near a colour in CIELAB, the nearest first, `within` so many CIEDE2000.

    What is kept in another light or for another observer is passed over, unless its spectrum is known. InputError if
    the colour is not three finite numbers, or the light or observer is unknown.
    """
    wanted = np.asarray(lab, dtype=float)
    if wanted.shape != (3,) or not np.all(np.isfinite(wanted)):
        raise InputError("search", f"Lab {wanted.tolist()}", "expected three numbers")
    light = colorimetry.viewing(np.arange(400.0, 701.0, 10.0), light=light, observer=observer).light  # its own name
    with ledger.at_one_moment():
        held: list[tuple[str, Entry[Any]]] = [("recipe", each) for each in entries(ledger, Recipe)]
        held += [("reading", each) for each in entries(ledger, Reading) if each.content.quantity == "reflectance"]
    known = [(kind, each, own) for kind, each in held if (own := lab_in(each.content, light, observer)) is not None]
    if not known:
        return ()
    labs = np.array([own for _, _, own in known])
    apart = colorimetry.difference(wanted, labs)
    order = np.argsort(apart, kind="stable")
    return tuple(
        Near(kind=known[at][0], entry=known[at][1], delta_e=float(apart[at]), lab=labs[at])
        for at in order
        if apart[at] <= within
    )


def lab_in(content: Recipe | Reading, light: str, observer: int) -> Sequence[float] | None:
    """Lab in a light and for an observer: as kept, or from the spectrum; None when neither tells it."""
    own = (content.lab_l, content.lab_a, content.lab_b)
    if content.light == light and content.observer_degrees == observer and None not in own:
        return own  # type: ignore[return-value]  # none of them is None
    if isinstance(content, Reading) and content.spectrum:
        view = colorimetry.viewing(content.wavelengths_nm, light=light, observer=observer)
        lab: list[float] = colorimetry.lab(content.spectrum, view).tolist()
        return lab
    return None


# Premixes that are kept.


@dataclass(frozen=True, kw_only=True)
class Stock:
    """Premixes that there are, the oldest first."""

    usable: tuple[Kept, ...] = ()
    too_old: tuple[Kept, ...] = ()  # to be used again


def premix_stock(ledger: Ledger, day: date, *, days: int | None = None) -> Stock:
    """What batches left of premixes, less what later ones took of it, for use on a day; at most `days` old, else 30."""
    held: dict[tuple[str, ...], Kept] = {}
    for entry in entries(ledger, Batch):
        for change in entry.content.premixes:
            own = replace(change, made_on=change.made_on or entry.added_utc[:10])
            key = (own.name, own.base, own.part, own.lot, own.made_on)
            held[key] = replace(own, grams=own.grams + (held[key].grams if key in held else 0.0))
    there = (replace(own, grams=round(own.grams, 6)) for own in held.values())
    left = sorted((own for own in there if own.grams > _NOTHING_G), key=lambda own: own.made_on)
    first = (day - timedelta(days=PREMIX_DAYS if days is None else days)).isoformat()
    return Stock(
        usable=tuple(own for own in left if own.made_on >= first),
        too_old=tuple(own for own in left if own.made_on < first),
    )


# What runs out, and what drifts.


def due(ledger: Ledger, day: date) -> tuple[tuple[str, Entry[Any]], ...]:
    """Approvals and retained swatches that have run out by a day, kind and entry, the first to run out first."""
    held: list[tuple[str, Entry[Any]]] = [("approval", each) for each in entries(ledger, Approval)]
    held += [("reference", each) for each in entries(ledger, Reference)]
    out = [(kind, each) for kind, each in held if has_expired(each.content.expires_on, day)]
    return tuple(sorted(out, key=lambda found: found[1].content.expires_on))


def has_expired(expires_on: str, day: date) -> bool:
    """Whether that day is reached; an empty one never is."""
    return bool(expires_on) and date.fromisoformat(expires_on) <= day


@dataclass(frozen=True, kw_only=True, eq=False)
class Drift:
    """A later reading of a retained swatch beside the first one in the same conditions."""

    # of readings
    first: Entry[Reading]
    later: Entry[Reading]
    delta_e: float  # CIEDE2000 between them [-]
    change: Array  # shape (3,): of L*, a*, b* from the first to the later [-]
    days: int | None  # between them; None when a reading has no day


def drift(ledger: Ledger, number: int) -> tuple[Drift, ...]:
    """How a retained swatch drifted: every later reading against the first one of the same kind.

    Readings are compared within one backing, seat, geometry and quantity, in the light and for the observer of the
    first; one without a day counts by when it was added. InputError if there is no such retained swatch.
    """
    with ledger.at_one_moment():
        family = versions(ledger, "reference", get(ledger, "reference", number).id)
        own = [each for each in entries(ledger, Reading) if each.content.reference_id in family]
    alike: defaultdict[tuple[str, ...], list[Entry[Reading]]] = defaultdict(list)
    for each in sorted(own, key=lambda each: (each.content.read_on or each.added_utc[:10], each.id)):
        reading = each.content
        alike[(reading.backing, reading.seat, reading.geometry, reading.quantity)].append(each)
    found = [_drift(same[0], later) for same in alike.values() for later in same[1:]]
    return tuple(each for each in found if each is not None)


def _drift(first: Entry[Reading], later: Entry[Reading]) -> Drift | None:
    light, observer = first.content.light, first.content.observer_degrees
    if not light or observer is None:
        return None
    before, after = (lab_in(each.content, light, observer) for each in (first, later))
    if before is None or after is None:
        return None
    days = [each.content.read_on for each in (first, later)]
    apart = (date.fromisoformat(days[1]) - date.fromisoformat(days[0])).days if all(days) else None
    return Drift(
        first=first,
        later=later,
        delta_e=float(colorimetry.difference(before, after)),
        change=np.asarray(after, dtype=float) - np.asarray(before, dtype=float),
        days=apart,
    )
