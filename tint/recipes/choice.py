"""Of many recipes the few worth pouring: what each is worth beyond its colour, and those that no other beats."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, fields, replace

import numpy as np

from tint import colorimetry
from tint.appearance import Setting, render
from tint.opacity import FAIR
from tint.palette import Palette
from tint.recipes.aims import Problem
from tint.recipes.judging import Judged, judge, met, spread
from tint.recipes.reasons import UNBEATEN, Choice, gains, same_recipe
from tint.recipes.refine import ALIKE, UNSEEN, exchanged
from tint.spectra import Array, Index, Mask
from tint.target import Target

TEST_LIGHTS = ("A", "FL11", "LED-B3")  # a lamp, a shop's fluorescent tube, a warm LED
# Differences that nobody would act on, by which merits are counted: a recipe is beaten only by a clear margin.
_GRAIN = {"miss": 0.1, "metamerism": 0.2, "price": 0.05, "loading": 0.05, "sensitivity": 0.02}
_EQUAL = 1e-6  # CIEDE2000, of floating-point numbers
_FAR = 2.0  # a recipe that much farther from the target than the best is not worth showing
_WEIGHTS = {"pigments": 0.05, "metamerism": 0.05, "sensitivity": 0.2, "loading": 0.02, "unsure": 0.1}


@dataclass(frozen=True, eq=False)
class Merits:
    """What recipes are compared by, each of shape (n,), the less the better."""

    delta_e: Array  # the worst CIEDE2000 asked for
    opacity: Array  # the largest miss in contrast ratio or transmittance, signed
    miss: Array  # both together, an opacity of 0.01 counting as one CIEDE2000
    # metamerism, sensitivity, price, loading, pigments: as in `Recipe`; price is NaN where it is not known
    metamerism: Array
    sensitivity: Array
    price: Array
    loading: Array
    pigments: Array
    unsure: Array  # how many pigments are not known to be safe with the cure
    lacking: Array  # what is missing of the room to the opacity's bound that the stated error asks for, as CIEDE2000

    def rows(self, chosen: Index) -> Merits:
        """Some of them."""
        return Merits(*(getattr(self, each.name)[chosen] for each in fields(self)))

    @property
    def wanting(self) -> Array:
        """How far from what was asked: colour, opacity, and the room that the opacity lacks."""
        return np.asarray(np.hypot(self.miss, self.lacking))

    def met(self, tolerance: float) -> Mask:
        """Which of them reach what was asked."""
        return met(tolerance, self.delta_e, self.opacity)

    @property
    def score(self) -> Array:
        """Closeness first, the rest as far as it decides between equals."""
        return np.asarray(
            self.wanting
            + _WEIGHTS["pigments"] * self.pigments
            + _WEIGHTS["metamerism"] * self.metamerism
            + _WEIGHTS["sensitivity"] * self.sensitivity
            + _WEIGHTS["loading"] * self.loading
            + _WEIGHTS["unsure"] * self.unsure
        )


def merits_of(
    palette: Palette, problem: Problem, setting: Setting, base: str, sets: Index, loadings: Array,
    lights: Sequence[str] = TEST_LIGHTS,
) -> Merits:  # fmt: skip
    """Merits of blends, shape (n, m) pigments and loadings; metamerism is the worst over `lights`."""
    judged = judge(problem, sets, loadings)
    delta_e, opacity, miss = closeness(judged)
    unsure = np.array([p.cures is None for p in palette.pigments.values()] + [False])
    price, of_base = prices_of(palette, base)
    return Merits(
        delta_e=delta_e,
        opacity=opacity,
        miss=miss,
        metamerism=_metamerism(palette, problem.target, setting, base, sets, loadings, lights),
        # Colour moved by doses 1 % off; the first colour's three parts stand for all.
        sensitivity=np.linalg.norm(judged.colour_slopes * (0.01 * loadings)[:, None, :], axis=(1, 2)),
        price=of_base + np.sum(np.where(loadings > 0.0, (price[sets] - of_base) * loadings / 100.0, 0.0), axis=1),
        loading=loadings.sum(axis=1),
        pigments=np.sum(loadings > 0.0, axis=1).astype(float),
        unsure=np.sum(unsure[sets] & (loadings > 0.0), axis=1).astype(float),
        lacking=np.zeros(len(sets)),
    )


def prices_of(palette: Palette, base: str) -> tuple[Array, float]:
    """Price of a kilogram of each pigment, shape (n_pigments + 1,), the empty slot last, and of the base.

    NaN where it is not known. Where no base has a price, pigments alone are counted, and the base is free.
    """
    pigments = [np.nan if p.price is None else p.price for p in palette.pigments.values()]
    own = palette.bases[base].price
    unknown = np.nan if any(each.price is not None for each in palette.bases.values()) else 0.0
    return np.array([*pigments, unknown if own is None else own]), unknown if own is None else own


def worth_sparing(palette: Palette, base: str) -> Array:
    """What a percent of each pigment costs beyond the base that it displaces, shape (n_pigments + 1,), the dearest 1.

    What has no price counts as the dearest; where nothing has one, all alike.
    """
    prices, of_base = prices_of(palette, base)
    beyond = np.nan_to_num(prices[:-1] - of_base, nan=-np.inf)
    beyond = np.where(np.isfinite(beyond), beyond, np.max(beyond, initial=0.0))
    dearest = float(np.max(np.abs(beyond)))
    return np.append(beyond / dearest if dearest > 0.0 else np.ones_like(beyond), 0.0)


def closeness(judged: Judged) -> tuple[Array, Array, Array]:
    """`delta_e`, `opacity` and `miss` of `Merits`."""
    misses = np.concatenate((judged.opacity, np.zeros((len(judged.opacity), 1))), axis=1)
    opacity = np.take_along_axis(misses, np.abs(misses).argmax(axis=1)[:, None], axis=1)[:, 0]
    return judged.worst, opacity, np.asarray(np.hypot(judged.worst, opacity / FAIR))


def _metamerism(
    palette: Palette, target: Target, setting: Setting, base: str, sets: Index, loadings: Array, lights: Sequence[str]
) -> Array:
    """The largest change over the test lights, shape (n,).

    For a measured target: the special metamerism index for a change of illuminant (CIE 15:2004, 9.2; from memory),
    the pair brought to match under the reference light by the ratio of its tristimulus values. For a mere colour: how
    far the recipe's own colour drifts, adapted by CAT16.
    """
    over = setting.behind(palette)
    shares = palette.shares(base, spread(sets, loadings, len(palette.pigments) + 1)[:, :-1])
    spectra = render(palette, shares, base=base, setting=setting, backings=(over,)).reflectance[0]
    view = setting.viewing(palette)
    here = colorimetry.xyz(spectra, view)
    worst = np.zeros(len(sets))
    for light in lights:
        if light == view.light:
            continue
        other = colorimetry.viewing(palette.wavelengths, light=light, observer=view.observer)
        there = colorimetry.xyz(spectra, other)
        if target.spectrum is not None:
            wanted, wanted_here = colorimetry.xyz(target.spectrum, other), colorimetry.xyz(target.spectrum, view)
            there = there * wanted_here / here
            change = colorimetry.difference(
                colorimetry.xyz_to_lab(wanted, other.white), colorimetry.xyz_to_lab(there, other.white)
            )
        else:
            adapted = colorimetry.adapt(there, other.white, to=view.white)
            change = colorimetry.difference(
                colorimetry.xyz_to_lab(here, view.white), colorimetry.xyz_to_lab(adapted, view.white)
            )
        worst = np.maximum(worst, change)
    return worst


def unbeaten(merits: Merits, met: Mask | None = None) -> Mask:
    """Which recipes no other beats: as good in everything that counts, and better in something, shape (n,)."""
    grain = np.stack(
        (
            np.floor(merits.wanting / _GRAIN["miss"]),
            np.floor(merits.metamerism / _GRAIN["metamerism"]),
            _by_share(merits.price, _GRAIN["price"]),
            _by_share(merits.loading, _GRAIN["loading"]),
            np.floor(merits.sensitivity / _GRAIN["sensitivity"]),
            merits.pigments,
            merits.unsure,
            np.zeros(len(merits.miss)) if met is None else ~met,  # what reaches the target is beaten only by such
        ),
        axis=1,
    )
    no_worse = np.all(grain[:, None, :] <= grain[None, :, :], axis=2)
    better = np.any(grain[:, None, :] < grain[None, :, :], axis=2)
    return np.asarray(~np.any(no_worse & better, axis=0))


def _by_share(value: Array, grain: float) -> Array:
    """Steps of a share above the least that is more than nothing: the same in any currency. Unknown is the most."""
    least = np.min(value, initial=np.inf, where=np.nan_to_num(value) > 0.0)
    if not np.isfinite(least):
        return np.where(np.isnan(value), np.inf, 0.0)
    with np.errstate(divide="ignore"):
        return np.nan_to_num(np.floor(np.log(value / least) / grain), nan=np.inf, neginf=-np.inf)


def pick(
    merits: Merits, tolerance: float, rank_by: str, chance: Array | None, most: int,
    choices: Callable[[int], Choice] | None = None,
) -> list[tuple[int, list[str]]]:  # fmt: skip
    """The few to show, best first, each with what it is the best in.

    Of those that are near enough to be poured, the best of each merit is shown though its score be lower.

    `choices`: what recipes are compared by, by row: then of recipes that nobody would tell apart only one is shown, and
        none that gains nothing over the first.
    """
    near = merits.miss <= _near_enough(merits, tolerance)
    merits = _surest_or_nearest(merits, tolerance)
    order = _order(merits, rank_by, chance, tolerance)
    standing = unbeaten(merits, merits.met(tolerance))
    champions = _champions(merits, near, chance)
    shown = [int(at) for at in order if standing[at] and near[at]]
    first = shown[:1] or [int(order[0])]
    rest = [at for at in shown if at not in first]
    rest.sort(key=lambda at: at not in champions)  # stable: champions first, each in its rank
    worth = [int(at) for at in order if merits.wanting[at] <= merits.wanting[first[0]] + _FAR]
    spare = [at for at in worth if at not in first and at not in rest]
    chosen = (first + rest + spare)[:most] if choices is None else _different(first + rest + spare, choices, most)
    rank = {int(at): place for place, at in enumerate(order)}
    chosen.sort(key=lambda at: rank[at])
    return [(at, champions.get(at, [UNBEATEN] if standing[at] else [])) for at in chosen]


def leader(merits: Merits, tolerance: float, rank_by: str) -> int | None:
    """Which recipe `pick` puts first, if that can be told before any chance is known."""
    if rank_by == "chance":
        return None
    merits = _surest_or_nearest(merits, tolerance)
    first = int(_order(merits, rank_by, None, tolerance)[0])
    return first if unbeaten(merits, merits.met(tolerance))[first] else None


def _surest_or_nearest(merits: Merits, tolerance: float) -> Merits:
    """Where nothing meets the target the nearest is wanted, not the surest."""
    return merits if merits.met(tolerance).any() else replace(merits, lacking=np.zeros(len(merits.miss)))


def _different(rows: list[int], choices: Callable[[int], Choice], most: int) -> list[int]:
    """The first rows that are truly different choices."""
    shown = {rows[0]: choices(rows[0])}
    for row in rows[1:]:
        if len(shown) >= most:
            break
        own = choices(row)
        if gains(own, shown[rows[0]]) and not any(same_recipe(own, each) for each in shown.values()):
            shown[row] = own
    return list(shown)


def _order(merits: Merits, rank_by: str, chance: Array | None, tolerance: float) -> Index:
    """Recipes, best first: what is near enough to be poured, then by what was asked for, then by score."""
    near, reached = merits.miss <= _near_enough(merits, tolerance), merits.met(tolerance)
    best = reached if reached.any() else near
    asked: tuple[Array, ...] = ()
    if rank_by == "chance" and chance is not None:
        return np.lexsort((merits.score, -chance))
    if rank_by == "price":  # what has no price comes after all that has one, whatever the currency
        asked = (np.nan_to_num(merits.price), np.isnan(merits.price).astype(float))
    if rank_by == "loading":
        asked = (merits.loading,)
    if asked:
        unsafe = merits.lacking > float(merits.lacking[best].min()) + ALIKE
        return np.lexsort((merits.score, *asked, unsafe, ~best, ~near))
    # What no eye tells apart counts as equally near: of those the least pigment comes first, then the fewest. The room
    # to the bound of an opacity is not exchanged for it; and where nothing meets the target, the nearest is wanted.
    nearest = int(np.where(best, merits.wanting, np.inf).argmin())
    beyond = merits.wanting - merits.wanting[nearest]
    alike = best & (beyond <= (UNSEEN if reached.any() else ALIKE))
    alike &= merits.lacking <= merits.lacking[nearest] + ALIKE
    spent = np.where(alike, exchanged(merits.loading, beyond), np.nan)
    loading = np.where(alike, _by_share(spent, _GRAIN["loading"]), 0.0)
    return np.lexsort((merits.score, np.where(alike, merits.pigments, 0.0), loading, ~alike, ~best, ~near))


def pool(merits: Merits, tolerance: float) -> str:
    """Of what recipes the best of each merit is told, in words."""
    if float(merits.miss.min()) > tolerance + _EQUAL:
        return "of those found that come nearest"
    return f"of all found within {_near_enough(merits, tolerance):.2g} CIEDE2000"


def _near_enough(merits: Merits, tolerance: float) -> float:
    """What a recipe may miss and be poured."""
    return max(tolerance, float(merits.miss.min()) + 0.3) + _EQUAL


def _champions(merits: Merits, near: Mask, chance: Array | None) -> dict[int, list[str]]:
    told = {
        "the nearest colour": merits.delta_e,
        "the fewest pigments": merits.pigments + 1e-3 * merits.miss,
        "the least pigment": merits.loading,
        "the cheapest": merits.price,
        "the most stable across lights": merits.metamerism,
        "the least sensitive to weighing errors": merits.sensitivity,
    }
    if chance is not None:
        told["the most likely to land"] = -chance
    champions: dict[int, list[str]] = {}
    for words, value in told.items():
        ranked = np.where(near & np.isfinite(value), value, np.inf)
        decides = words != "the most stable across lights" or np.ptp(value[near]) >= _GRAIN["metamerism"]
        if np.isfinite(ranked.min()) and decides:
            champions.setdefault(int(ranked.argmin()), []).append(words)
    return champions
