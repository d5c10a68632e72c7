"""A target becomes ranked recipes: every useful set of pigments, each at its best within the limits."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, fields, replace

import numpy as np

from tint.appearance import Setting, predict
from tint.errors import InputError, JobError
from tint.materials import Blend
from tint.palette import ONE_WAY, Palette
from tint.recipes import binding, certainty, choice, limits, refine
from tint.recipes.aims import Problem, lay_out
from tint.recipes.answer import RANKINGS, Answer, Loosened, Recipe, Rules, from_json
from tint.recipes.candidates import Bounds, Candidates, joined
from tint.recipes.choice import Merits
from tint.recipes.judging import judge, spread
from tint.recipes.reasons import Choice
from tint.recipes.reasons import why as why_take
from tint.recipes.sets import best_of_sets, count_sets
from tint.spectra import Array, Index, Mask
from tint.target import Target
from tint.thickness import at_walls

__all__ = ["RANKINGS", "Answer", "Loosened", "Recipe", "Rules", "from_json", "solve"]

_CHANCES, _FEW_CHANCES = 32, 12  # recipes whose chance of landing is worked out before ranking: by it, by other things

Progress = Callable[[str, int, int], None]


@dataclass(frozen=True, eq=False)
class _Wanted:
    """What recipes are sought for."""

    palette: Palette
    target: Target
    setting: Setting
    rules: Rules

    @property
    def keep(self) -> list[int]:
        """Numbers of the pigments that every recipe has."""
        return limits.kept(self.palette, self.rules)


@dataclass(frozen=True, eq=False)
class _Searched:
    """One base's candidates, at their optimum, with what they were searched under."""

    wanted: _Wanted
    base: str
    problem: Problem
    bounds: Bounds
    exact: Candidates
    shown: Candidates  # as the scale can show them
    coarse: bool  # whether exact doses would reach the target, and none that the scale can show
    unrounded: Mask  # shape (n,): which reach the target with exact doses
    merits: Merits

    def blend(self, row: int) -> Blend:
        """A candidate as the scale can show it."""
        return self.wanted.palette.blend(self.base, _whole(self.shown.rows(np.array([row])), self.bounds)[0])


_Row = tuple[_Searched, int]  # one candidate


def _whole(found: Candidates, bounds: Bounds) -> Array:
    """Loadings of all pigments, shape (n, n_pigments) [%]."""
    return spread(found.sets, found.loadings, len(bounds.low))[:, :-1]


def solve(
    palette: Palette,
    target: Target,
    *,
    setting: Setting,
    base: str | None = None,
    rules: Rules | None = None,
    loosen: bool = True,
    best_only: bool = False,
    progress: Progress | None = None,
) -> Answer:
    """Recipes for a target.

    `setting`: the part's thickness, and how target and part are seen.
    `base`: every base that was cast, when absent.
    `loosen`: whether to look for what giving way would bring where a target is out of reach, which takes as long again.
    `best_only`: whether the first recipe alone is worked out, without the words that compare it with others.
    `progress`: told what is being done, how many steps are done, and of how many.
    Returns at least one recipe: a target out of reach gets the nearest ones, `reached` false, what binds, and what
        giving way would bring.
    Raises InputError if a name is unknown or the rules contradict each other.
    Raises JobError if every pigment asked for is refused, or there is none.
    """
    if not palette.pigments:
        raise JobError("solve", "the palette holds no pigment", mend="declare one in palette.toml, cast it, then fit")
    rules = (rules or Rules()).in_workshop(palette.workshop)
    limits.check_rules(palette, rules)
    mend = "read some over a second backing, then fit"
    if target.asks_opacity and not palette.pair:
        raise InputError("target", "it asks for a contrast ratio", ONE_WAY, mend)
    if target.asks_haze and palette.model != "many-flux":
        raise InputError("target", "it asks for a haze", "the many-flux model, which knows directions")
    if (target.asks_light or target.asks_haze) and not palette.tells_opacity:
        raise InputError("target", "it asks for light let through", ONE_WAY, mend)
    wanted, tell = _Wanted(palette, target, setting, rules), progress or (lambda *_: None)
    bases = [base] if base is not None else list(palette.seen)
    refused: dict[str, dict[str, str]] = {}
    searched: list[_Searched] = []
    n_sets = 0
    for number, name in enumerate(bases):
        palette.check_base(name)
        tell(f"searching {name}", number, len(bases))
        usable, refused[name] = limits.usable_pigments(palette, name, rules)
        if set(wanted.keep) <= set(usable):
            searched.append(_search(wanted, name, usable))
            n_sets += count_sets(len(usable), len(wanted.keep), rules.most_pigments)
    if not searched:
        reasons = "; ".join(f"{pigment}: {why}" for each in refused.values() for pigment, why in each.items())
        mend = "insist on it by name" if "not safe" in reasons else "keep another pigment"
        raise JobError("solve", f"a pigment to be kept is refused in every base ({reasons})", mend=mend)
    recipes = _choose(wanted, searched, best_only=best_only)
    tell("looking for what would have to give", len(bases), len(bases))
    loosened = _loosen(wanted, searched, recipes[0], base) if loosen and not recipes[0].reached else ()
    return Answer(
        target=target,
        setting=setting,
        rules=rules,
        recipes=tuple(recipes),
        refused={name: each for name, each in refused.items() if each},
        warnings=tuple(binding.warnings(palette, target, recipes)),
        loosened=loosened,
        sets=n_sets,
    )


def _search(wanted: _Wanted, base: str, usable: list[int], *, farther: bool = False) -> _Searched:
    """One base's candidates; `farther` is for where the scale weighs none of the near ones."""
    palette, target, setting, rules = wanted.palette, wanted.target, wanted.setting, wanted.rules
    bounds = limits.bounds(palette, base, rules)
    problem = lay_out(palette, target, setting=setting, base=base, largest=bounds.largest[:-1], walls_mm=rules.walls_mm)
    nearest = best_of_sets(
        problem, usable=usable, keep=wanted.keep, most=rules.most_pigments, bounds=bounds, farther=farther
    )

    def needed(rows: Index) -> Array:
        loadings = _whole(nearest.rows(rows), bounds)
        return certainty.room(palette, target, setting=setting, base=base, loadings=loadings)

    nearest = refine.with_margin(problem, nearest, bounds, needed)
    exact = refine.leaner(problem, nearest, bounds, tolerance=target.tolerance)
    if rules.rank_by in ("price", "loading"):
        worth = choice.worth_sparing(palette, base) if rules.rank_by == "price" else None
        spared = refine.leaner(problem, exact, bounds, tolerance=target.tolerance, worth=worth, within=True)
        exact = joined((spared, exact))
    shown, coarse = exact, False
    if rules.batch_g is not None and rules.scale_step_g is not None:
        step = 100.0 * rules.scale_step_g / rules.batch_g
        alone = limits.to_round(palette, base, exact.loadings, rules)
        held = replace(problem, room=exact.room)
        rounded = limits.best_roundings(held, exact.sets, exact.loadings, step, bounds, alone)
        reaches = [judge(problem, exact.sets, x).met(target.tolerance).any() for x in (exact.loadings, rounded)]
        coarse = reaches == [True, False]
        shown = replace(exact, loadings=rounded)
        _, first = np.unique(np.round(_whole(shown, bounds), 9), axis=0, return_index=True)
        exact, shown = exact.rows(np.sort(first)), shown.rows(np.sort(first))  # of blends made equal only the first
    lights = (rules.also_light,) if rules.also_light else choice.TEST_LIGHTS
    merits = choice.merits_of(palette, problem, setting, base, shown.sets, shown.loadings, lights)
    merits = replace(merits, lacking=refine.lacking(problem, shown))
    unrounded = merits.met(target.tolerance)
    if shown is not exact:
        unrounded = judge(problem, exact.sets, exact.loadings).met(target.tolerance)
    found = _Searched(wanted, base, problem, bounds, exact, shown, coarse, unrounded, merits)
    if not farther and not _able(wanted, [(found, row) for row in range(len(shown.sets))]).size:
        return _search(wanted, base, usable, farther=True)
    return found


def _choose(wanted: _Wanted, searched: list[_Searched], *, best_only: bool) -> list[Recipe]:
    target, rules = wanted.target, wanted.rules
    merits = Merits(*(np.concatenate([getattr(s.merits, f.name) for s in searched]) for f in fields(Merits)))
    owner = [(each, row) for each in searched for row in range(len(each.shown.sets))]
    able = _able(wanted, owner)
    if able.size:  # where the scale can weigh none, all of them
        owner, merits = [owner[at] for at in able], merits.rows(able)
    count = _CHANCES if rules.rank_by == "chance" else _FEW_CHANCES
    hopeful = np.argsort(merits.score, kind="stable")[:count]
    chance = np.full(len(owner), np.nan)
    first = choice.leader(merits, target.tolerance, rules.rank_by) if best_only else None
    needed = np.full(len(hopeful), True) if first is None else hopeful == first
    blends = [owner[at][0].blend(owner[at][1]) for at in hopeful]
    chance[hopeful] = certainty.chances(wanted.palette, target, blends, needed, setting=wanted.setting)
    if first is not None:
        return [_recipe(*owner[first], chance=float(chance[first]), merits=[])]

    def told(at: int) -> Choice:
        return _told(*owner[at], chance=float(chance[at]))

    picked = choice.pick(merits, target.tolerance, rules.rank_by, np.nan_to_num(chance), rules.most_recipes, told)
    found = []
    for at, words in picked:
        recipe = _recipe(*owner[at], chance=float(chance[at]), merits=words)
        found.append((recipe, replace(told(at), chance=recipe.chance)))
    found.sort(key=lambda each: not each[0].reached)
    pool, best = choice.pool(merits, target.tolerance), found[0][1]
    return [replace(recipe, why=why_take(own, best, recipe.merits, pool=pool)) for recipe, own in found]


def _told(searched: _Searched, row: int, *, chance: float) -> Choice:
    """What a row is compared by in words."""
    own = searched.merits
    return Choice(
        base=searched.base,
        doses=dict(searched.blend(row).loadings),
        delta_e=float(own.delta_e[row]),
        opacity=abs(float(own.opacity[row])),
        metamerism=float(own.metamerism[row]),
        sensitivity=float(own.sensitivity[row]),
        price=float(own.price[row]),
        chance=chance,
    )


def _able(wanted: _Wanted, owner: list[_Row]) -> Index:
    """Of candidates those that the scale can weigh."""
    if limits.scale_of(wanted.rules) is None:
        return np.arange(len(owner))
    return np.flatnonzero(
        [not limits.unweighable(wanted.palette, each.blend(row), wanted.rules) for each, row in owner]
    )


def _recipe(searched: _Searched, row: int, *, chance: float, merits: list[str]) -> Recipe:
    """A candidate as it is shown; `chance` is NaN where it is not known yet."""
    wanted = searched.wanted
    palette, target, rules = wanted.palette, wanted.target, wanted.rules
    exact, own = searched.exact, searched.merits
    look = predict(palette, searched.blend(row), setting=wanted.setting)
    delta_e, miss = float(own.delta_e[row]), float(own.opacity[row])
    loadings, pull = (
        spread(exact.sets[[row]], each[[row]], len(searched.bounds.low))[0] for each in (exact.loadings, exact.pull)
    )
    reached = bool(own.met(target.tolerance)[row])
    binds: tuple[str, ...] = ("scale_step",)
    if reached or not (searched.coarse or searched.unrounded[row]):
        gain = pull / max(float(np.sqrt(exact.cost[row])), 0.1)
        binds = binding.binding(
            palette, searched.bounds, loadings, gain, target, look, missed=miss != 0.0, reached=reached
        )
    walls = at_walls(palette, target, look, walls_mm=rules.walls_mm)
    return Recipe(
        blend=look.blend,
        appearance=look,
        delta_e=delta_e,
        opacity_miss=miss,
        metamerism=float(own.metamerism[row]),
        sensitivity=float(own.sensitivity[row]),
        chance=chance if math.isfinite(chance) else certainty.landing(palette, target, look),
        price_per_kg=None if np.isnan(own.price[row]) else float(own.price[row]),
        limits=binds,
        reached=reached,
        reason=""
        if reached
        else binding.why_not(palette, searched.base, searched.bounds, binds, delta_e, miss, target),
        merits=tuple(merits),
        opacity_chance=min(certainty.kept(target, each) for each in (look, *(wall.appearance for wall in walls))),
        premix=limits.too_small(palette.blend(searched.base, loadings[:-1]), rules),
        unweighable=limits.unweighable(palette, look.blend, rules),
        walls=walls,
    )


def _loosen(wanted: _Wanted, searched: list[_Searched], best: Recipe, only: str | None) -> tuple[Loosened, ...]:
    palette, target = wanted.palette, wanted.target
    own = next(each for each in searched if each.base == best.blend.base)
    told = list(binding.loosen(own.problem, own.exact, own.bounds, best, list(palette.pigments)))
    told += _larger_batch(wanted, searched, best)
    if only is not None:
        for name in palette.seen:
            usable, _ = limits.usable_pigments(palette, name, wanted.rules)
            if name != only and set(wanted.keep) <= set(usable):
                other = _search(wanted, name, usable)
                told += binding.nearer(f"base:{name}", None, other.merits, target, best, f"in {name} it", "be reached")
    return tuple(told)


def _larger_batch(wanted: _Wanted, searched: list[_Searched], best: Recipe) -> list[Loosened]:
    """The nearest recipe that only a larger batch makes weighable."""
    nearest = min(searched, key=lambda each: float(each.merits.miss.min()))
    at = int(nearest.merits.miss.argmin())
    batch_g = limits.least_batch(wanted.palette, nearest.blend(at), wanted.rules)
    if batch_g is None:
        return []
    said = f"this scale does not weigh nearer recipes; {batch_g:.3g} g of mix, or a finer scale,"
    return binding.nearer("batch", batch_g, nearest.merits, wanted.target, best, said, "reach it")
