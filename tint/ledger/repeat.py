"""A recipe poured again with today's lots: every dose divided by what its lot is stronger than the recipe's lot.

A lot's strength is told relative to another lot; strengths along a chain of lots multiply, and their errors, taken as
relative, add in squares.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from tint.errors import InputError
from tint.ledger.entries import Entry, entries, versions
from tint.ledger.file import Ledger
from tint.ledger.lookup import find_order, has_expired
from tint.ledger.records import Approval, Lot, Order, Recipe
from tint.materials import Blend
from tint.palette import Palette
from tint.uncertainty import Z95

_HUE_TOLD = 0.5  # CIEDE2000 from which what no dose can mend is told: half the usual tolerance, no source


@dataclass(frozen=True)
class Strength:
    """Per gram, relative to another lot [-], and its relative standard deviation [-]."""

    value: float
    error: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Dose:
    """A pigment of the recipe as it is to be dosed today."""

    pigment: str
    # in the recipe, and with today's lot [% by mass of the finished mix]
    was_percent: float
    percent: float
    # the recipe's, and today's; empty when nobody wrote it down
    was_lot: str
    lot: str
    strength: Strength  # of today's lot relative to the recipe's
    against_palette: Strength  # of today's lot relative to that of the swatches, for the prediction


@dataclass(frozen=True, kw_only=True)
class Repeat:
    """An order's recipe for today's lots."""

    order: Entry[Order]
    recipe: Entry[Recipe]
    # the newest word that the customer gave on the recipe; None when the recipe is merely the newest
    approval: Entry[Approval] | None
    doses: tuple[Dose, ...]
    blend: Blend  # with today's doses
    # today's lot of each pigment, and of the base, relative to that of the swatches: for the prediction
    against_palette: dict[str, Strength]
    warnings: tuple[str, ...]

    @property
    def lots(self) -> dict[str, str]:
        """Today's lot of each pigment of which one is known."""
        return {dose.pigment: dose.lot for dose in self.doses if dose.lot}


def repeat(ledger: Ledger, order: str, palette: Palette, *, today: date) -> Repeat:
    """The newest approved recipe of an order, which goes by number or name, else the newest, dosed for today's lots.

    The palette's pigments say which lots the swatches were cast with. InputError if there is no such order, or it has
    no recipe.
    """
    with ledger.at_one_moment():
        wanted = find_order(ledger, order)
        recipe, approval, told = _recipe_of(ledger, wanted, today)
        lots = entries(ledger, Lot)
    swatch_lots = {name: pigment.lot or "" for name, pigment in palette.pigments.items()}
    content = recipe.content
    doses = []
    for pigment, percent in content.loadings_percent.items():
        own = [each.content for each in lots if each.content.material == pigment]
        of_swatches = swatch_lots.get(pigment, "")
        dose, more = _dose(pigment, percent, own, was=content.lots.get(pigment, of_swatches), of_swatches=of_swatches)
        doses.append(dose)
        told += more
    haze, more = _base([each.content for each in lots if each.content.material == content.base], content.base)
    return Repeat(
        order=wanted,
        recipe=recipe,
        approval=approval,
        doses=tuple(doses),
        blend=Blend(content.base, {dose.pigment: dose.percent for dose in doses}),
        against_palette={dose.pigment: dose.against_palette for dose in doses} | {content.base: haze},
        warnings=(*told, *more),
    )


def _recipe_of(
    ledger: Ledger, order: Entry[Order], today: date
) -> tuple[Entry[Recipe], Entry[Approval] | None, list[str]]:
    """The recipe to pour, the approval it stands on, and what to know of both."""
    family = versions(ledger, "order", order.id)
    recipes = [each for each in entries(ledger, Recipe) if each.content.order_id in family]
    if not recipes:
        raise InputError(f"order {order.id} ({order.content.name})", "it has no recipe", mend="add one to the ledger")
    of_recipe = {old: each for each in recipes for old in versions(ledger, "recipe", each.id)}
    words: dict[int, Entry[Approval]] = {}  # the newest word on each recipe; the newest recipe of all spoken of last
    for each in entries(ledger, Approval):
        spoken_of = of_recipe.get(each.content.recipe_id or 0)
        if spoken_of is not None:
            words.pop(spoken_of.id, None)
            words[spoken_of.id] = each
    approved = [number for number, word in words.items() if word.content.verdict == "approved"]
    if not approved:
        newest = recipes[-1]
        refused = words.get(newest.id)
        what = f"was refused by {refused.content.approved_by}" if refused else "was never approved"
        return newest, None, [f"recipe {newest.id} {what}; no recipe of this order is approved"]
    recipe = next(each for each in recipes if each.id == approved[-1])
    return recipe, words[recipe.id], _about_approval(recipe, words[recipe.id], today)


def _about_approval(recipe: Entry[Recipe], approval: Entry[Approval], today: date) -> list[str]:
    content, told = approval.content, []
    if has_expired(content.expires_on, today):
        told.append(f"approval {approval.id} by {content.approved_by} ran out on {content.expires_on}; ask again")
    if content.recipe_id != recipe.id:
        told.append(f"approval {approval.id} was of recipe {content.recipe_id}, corrected since: {recipe.reason}")
    return told


# Lots.


def newest_lots(ledger: Ledger) -> dict[str, str]:
    """The lot in use of each pigment and base that the ledger has one of: the newest that was not rejected."""
    lots = (each.content for each in entries(ledger, Lot))
    return {lot.material: lot.lot for lot in lots if lot.verdict != "reject"}


def _dose(pigment: str, percent: float, lots: Sequence[Lot], *, was: str, of_swatches: str) -> tuple[Dose, list[str]]:
    usable = [each for each in lots if each.verdict != "reject"]
    now = usable[-1].lot if usable else was
    told = _about_lot(pigment, usable[-1]) if usable else []
    if lots and lots[-1].verdict == "reject" and lots[-1].lot != now:
        told.append(f"{pigment}: lot {lots[-1].lot} was rejected; the doses are for lot {now or 'of the recipe'}")
    strength, against = relative_strength(lots, now, to=was), relative_strength(lots, now, to=of_swatches)
    if strength is None:
        told.append(f"{pigment}: how strong lot {now or '?'} is beside lot {was or '?'} is not known; dose unchanged")
    if against is None:
        told.append(
            f"{pigment}: how strong lot {now or '?'} is beside the swatches' lot {of_swatches or '?'} is not known; "
            "the predicted look is that of the swatches' lot"
        )
    strength, against = strength or Strength(1.0), against or Strength(1.0)
    dose = Dose(
        pigment=pigment,
        was_percent=percent,
        percent=percent / strength.value,
        was_lot=was,
        lot=now,
        strength=strength,
        against_palette=against,
    )
    return dose, told


def _base(lots: Sequence[Lot], base: str) -> tuple[Strength, list[str]]:
    """Haze of the base's lot relative to that of the swatches, and what to know of it: no dose is changed for it."""
    usable = [each for each in lots if each.verdict != "reject"]
    if not usable:
        return Strength(1.0), []
    now, told = usable[-1].lot, _about_lot(base, usable[-1])
    haze = relative_strength(usable, now, to=usable[0].relative_to_lot)
    if haze is None:
        return Strength(1.0), [*told, f"{base}: how hazy lot {now} is beside that of the swatches is not known"]
    if abs(haze.value - 1.0) > Z95 * haze.error:
        told.append(
            f"{base}: lot {now} has {haze.value:.3g} times the haze; the look is predicted for it, doses are not"
        )
    return haze, told


def _about_lot(material: str, lot: Lot) -> list[str]:
    hue = lot.hue_left_over_ciede2000
    if hue is None or hue < _HUE_TOLD:
        return []
    return [f"{material}: lot {lot.lot} differs by {hue:.2g} CIEDE2000 that no dose mends; pour a trial"]


def relative_strength(lots: Sequence[Lot], lot: str, *, to: str) -> Strength | None:
    """Strength of one lot of a pigment relative to another, along what was written down; None when nothing links them.

    `lots` are of one pigment, oldest first: of two words on the same pair of lots the later counts.
    """
    links: dict[str, dict[str, Strength]] = {}
    for each in lots:
        if each.strength is not None and each.lot != each.relative_to_lot:
            error = (each.strength_error or 0.0) / (Z95 * each.strength)
            links.setdefault(each.lot, {})[each.relative_to_lot] = Strength(each.strength, error)
            links.setdefault(each.relative_to_lot, {})[each.lot] = Strength(1.0 / each.strength, error)
    reached, waiting = {lot: Strength(1.0)}, deque([lot])
    while waiting:
        here = waiting.popleft()
        for there, step in links.get(here, {}).items():
            if there not in reached:
                error = math.hypot(reached[here].error, step.error)
                reached[there] = Strength(reached[here].value * step.value, error)
                waiting.append(there)
    return reached.get(to)


def with_lots(palette: Palette, strengths: Mapping[str, Strength], *, lots: Mapping[str, str] | None = None) -> Palette:
    """The palette as other lots make it, for what a lot's strength says and how well it is known.

    `strengths` are of the lot of a pigment or base relative to that of the swatches; of a base its haze. `lots`
    are what those of the pigments are called: a weigh sheet names them, and takes kept premixes of no other.

    Notes
    -----
    A pigment's lot of strength f has k and s times f, so that its swatches tell of loadings 1/f as large; a base's has
    s times f. The error of f is common to all wavelengths: each lot brings one mode, what it changes times its error.
    """
    n_bases, n = len(palette.bases), len(palette.k)
    told = [strengths.get(name, Strength(1.0)) for name in (*palette.bases, *palette.pigments)]
    of_s = np.array([strength.value for strength in told])
    of_k = np.where(np.arange(n) < n_bases, 1.0, of_s)
    k, s, both = palette.k * of_k[:, None], palette.s * of_s[:, None], np.concatenate((of_k, of_s, of_s, of_s))
    m, q = s * palette.by_s
    unsure = [(at, strength.error) for at, strength in enumerate(told) if strength.error > 0.0]
    modes = np.zeros((len(unsure), palette.wavelengths.size, 4 * n))
    for mode, (at, error) in zip(modes, unsure, strict=True):
        mode[:, n + at], mode[:, 2 * n + at], mode[:, 3 * n + at] = error * s[at], error * m[at], error * q[at]
        if at >= n_bases:
            mode[:, at] = error * k[at]
    factors = dict(zip(palette.pigments, of_s[n_bases:].tolist(), strict=True))
    seen = {
        base: replace(each, max_loading={name: x / factors[name] for name, x in each.max_loading.items()})
        for base, each in palette.seen.items()
    }
    called = lots or {}
    pigments = {name: replace(each, lot=called.get(name, each.lot)) for name, each in palette.pigments.items()}
    return replace(
        palette,
        pigments=pigments,
        k=k,
        s=s,
        local=palette.local * both[: 2 * n, None] * both[: 2 * n],
        modes=np.concatenate((palette.modes * both, modes)),
        seen=seen,
    )
