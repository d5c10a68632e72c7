"""A casting plan: what to pour first, by rule, before there is a palette; its grams, and the page to print.

Few castings leave no base or pigment unknown. Each base stands alone; each pigment once by itself, so weak that the
cards show through, and once let down with white. So each is known at two loadings and two thicknesses, its absorption
apart from its scattering, and tints, which are what is ordered most, are known from one that was cast. Castings that
are left go to strong doses. From there on `tint.planning.next_swatches` knows better than any rule.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate

from tint.errors import InputError
from tint.materials import Base, Blend, Pigment
from tint.planning import MOULDS_MM
from tint.swatches.declaration import Declared
from tint.weighing import AREA_CM2, CastingSheet, Cup, weigh_castings
from tint.weighing.premix import Scale, scale_of

FIRST = 12  # castings: a day of pouring, and a palette that answers its first question
# Shares of a pigment's largest loading, chosen on workshops of their own and judged by tests/figures/first_plans.py.
_WEAK, _WEAK_BLACK, _WEAK_WHITE = 0.04, 0.006, 0.1
_STRONG, _STRONG_BLACK = 0.4, 0.1
_TINT, _TINT_BLACK, _TINT_WHITE = 0.15, 0.03, 0.3
_MOST_IN_A_TINT = 3  # colours beside the white
_WHITES = ("titanium dioxide", "zinc oxide")
_BLACKS = ("carbon black", "iron oxide black")
# A pigment whose kind nobody told is taken at its name, in a few languages.
_WHITE_WORDS = ("white", "weiss", "weiß", "blanc", "bianco", "titan")
_BLACK_WORDS = ("black", "schwarz", "noir", "nero", "negro", "carbon", "soot")


# Scatter of X, Y, Z, as a share of white's, from which two colours in one casting are better cast apart: a telephone's
# 0.004, not a colorimeter's 0.001. Five workshops of colours tell it but roughly.
_ROUGH = 0.003
_COARSE_G = 0.05  # a scale from which a finer one is to be had for little; common practice, no source
_LABELS = 2  # of each casting: one for the cup, one for the back of the casting
# A pigment that hides as weak as it is planned is stronger than any that the shares were chosen on.
_HIDING = ("A casting that is to show the cards, and hides them, is cast again with a quarter of its pigment.",)
_SPARED = 0.7  # of the rubber: what a finer scale must bring it under to be named; no source


@dataclass(frozen=True, kw_only=True)
class First:
    """A casting of the first plan."""

    name: str  # what it is called in swatches.csv
    blend: Blend
    thickness_mm: float  # depth of its mould [mm]
    reason: str


def first_swatches(
    bases: Mapping[str, Base],
    pigments: Mapping[str, Pigment],
    *,
    only: Collection[str] = (),
    moulds_mm: Collection[float] = (1.0, 2.0, 3.0, 5.0),
    apart: bool = False,
    count: int = FIRST,
) -> tuple[First, ...]:
    """The first castings of a workshop, in the order in which to pour them.

    In every base, or `only` in some, and moulds of these depths [mm]. If `apart`, no casting holds two colours, as
    three rough numbers do not tell them apart: a few castings more. There are `count` of them, more where fewer would
    leave a pigment unknown. InputError if a base is unknown, or there is nothing to choose from.
    """
    if unknown := [name for name in only if name not in bases]:
        raise InputError("base", f"there is no `{unknown[0]}`", "expected one of " + ", ".join(bases))
    shelf = _Shelf({n: b for n, b in bases.items() if not only or n in only}, pigments, tuple(sorted(set(moulds_mm))))
    if not shelf.bases or not shelf.moulds:
        raise InputError("plan", "there is nothing to cast", "a base and a mould")
    return tuple(
        First(name=f"c{at:02d}", blend=blend, thickness_mm=depth, reason=reason)
        for at, (blend, depth, reason) in enumerate(_chosen(shelf, apart=apart, count=count), start=1)
    )


@dataclass(frozen=True)
class _Shelf:
    bases: Mapping[str, Base]
    pigments: Mapping[str, Pigment]
    moulds: tuple[float, ...]

    @property
    def thin(self) -> float:
        """The mould nearest to 1 mm, from which strong castings still show their card [mm]."""
        return min(self.moulds, key=lambda depth: abs(depth - 1.0))

    @property
    def middle(self) -> float:
        """The mould nearest to 2 mm, but for the thinnest [mm]."""
        return min(self.moulds[1:] or self.moulds, key=lambda depth: abs(depth - 2.0))

    def safe_in(self, names: Sequence[str]) -> list[str]:
        """The bases that all these pigments may be cast in: those known to be safe before those nobody knows of."""
        return [
            base
            for base, each in self.bases.items()
            if all((cures := self.pigments[name].cures) is None or each.cure in cures for name in names)
        ]

    def blend(self, base: str, shares: Mapping[str, float]) -> Blend:
        """Shares of each pigment's largest loading, less where the base bears less, rounded to two digits."""
        limit = self.bases[base].max_loading
        doses = {name: share * min(limit, self.pigments[name].max_loading or limit) for name, share in shares.items()}
        excess = max(sum(doses.values()) / (0.95 * limit), 1.0)
        return Blend(base, {name: float(f"{dose / excess:.2g}") for name, dose in doses.items()})


def is_light(pigment: Pigment) -> bool:
    """Whether tints are made with it: by its kind, or by its name where that is not told."""
    if pigment.kind:
        return pigment.kind in _WHITES
    return any(word in pigment.name.lower() for word in _WHITE_WORDS)


def _is_dark(pigment: Pigment) -> bool:
    if pigment.kind:
        return pigment.kind in _BLACKS
    return any(word in pigment.name.lower() for word in _BLACK_WORDS)


_Cast = tuple[Blend, float, str]


def _chosen(shelf: _Shelf, *, apart: bool, count: int) -> list[_Cast]:
    castable = [name for name in shelf.pigments if shelf.safe_in([name])]
    white = next((name for name in castable if is_light(shelf.pigments[name])), None)
    others = [name for name in castable if name != white]
    must = [(Blend(base), shelf.moulds[-1], f"{base} itself, thick") for base in shelf.bases]
    must += [_alone(shelf, name, _WEAK, shelf.middle, "so weak that the cards show through") for name in castable]
    left = max(count - len(must), 1)
    group = 1 if apart else min(max(-(-len(others) // left), 1), _MOST_IN_A_TINT)
    must += _tints(shelf, others, white, group)
    return (must + list(_more(shelf, white, others)))[: max(count, len(must))]


def _alone(shelf: _Shelf, name: str, share: float, depth: float, why: str) -> _Cast:
    pigment = shelf.pigments[name]
    if share == _WEAK:
        share = _WEAK_WHITE if is_light(pigment) else _WEAK_BLACK if _is_dark(pigment) else _WEAK
    elif _is_dark(pigment):
        share = _STRONG_BLACK
    return shelf.blend(shelf.safe_in([name])[0], {name: share}), depth, f"{name}, {why}"


def _tints(shelf: _Shelf, others: Sequence[str], white: str | None, group: int) -> list[_Cast]:
    """Each colour once with the white, several of them together where there are more than castings."""
    tints: list[_Cast] = []
    poured: Counter[str] = Counter()
    for names in _groups(shelf, others, white, group):
        held = [*names, *([white] if white else [])]
        homes = shelf.safe_in(held)
        if not homes:  # no base takes both: the colour shows its second loading alone
            tints.append(_alone(shelf, names[0], _STRONG, shelf.thin, "strong"))
            continue
        shares = {n: _TINT_BLACK if _is_dark(shelf.pigments[n]) else _TINT for n in names}
        shares |= {white: _TINT_WHITE} if white else {}
        base = min(reversed(homes), key=poured.__getitem__)  # the last base first: it has been cast but bare, and thick
        depth = shelf.moulds[-1] if white and poured[base] % 2 else shelf.thin
        poured[base] += 1
        why = f"let down with {white}" if white else "strong" if len(names) == 1 else "together"
        tints.append((shelf.blend(base, shares), depth, f"{' and '.join(names)} {why}"))
    return tints


def _groups(shelf: _Shelf, others: Sequence[str], white: str | None, size: int) -> Iterator[list[str]]:
    """Colours that share a tint: every so-manyth of them, so that no two neighbours in the list hide each other."""
    count = -(-len(others) // size) if others else 0
    for at in range(count):
        names = list(others[at::count])
        whole = shelf.safe_in([*names, *([white] if white else [])])
        yield from [names] if whole or len(names) == 1 else [[name] for name in names]


def _more(shelf: _Shelf, white: str | None, others: Sequence[str]) -> Iterator[_Cast]:
    """What is cast where there is room: strong doses, and bases thin."""
    if white:
        yield _alone(shelf, white, _STRONG, shelf.thin, "strong")
    for name in others if white else ():
        yield _alone(shelf, name, _STRONG, shelf.thin, "strong")
    for base in shelf.bases:
        if shelf.thin < shelf.moulds[-1]:
            yield Blend(base), shelf.thin, f"{base} itself, thin"


@dataclass(frozen=True, kw_only=True)
class CastingPlan:
    """What to pour first, and what to weigh for it."""

    castings: tuple[First, ...]  # as planned
    sheet: CastingSheet  # a cup each, in the same order, with the loadings that the rounded weights make
    area_cm2: float  # of a swatch [cm2]
    colours: bool  # whether three numbers are going to be read and no spectrum
    photographed: bool  # whether they are that rough, as a telephone's are
    cards: tuple[str, ...]
    warnings: tuple[str, ...]  # what the plan leaves out, and weighings that the scale does not do well


def plan_castings(
    declared: Declared,
    *,
    bases: Collection[str] = (),
    moulds_mm: Collection[float] = (),
    count: int = FIRST,
    area_cm2: float = AREA_CM2,
) -> CastingPlan:
    """The first castings of a folder that declares what the workshop has.

    Only in these `bases`, and in moulds of these depths in place of the workshop's [mm]; `count` of them, where so many
    leave nothing unknown; `area_cm2` is that of a swatch [cm2].
    """
    shop, instrument = declared.workshop, declared.instrument
    shelf = {name: base for name, base in declared.bases.items() if base is not None}
    pigments = {name: pigment for name, pigment in declared.pigments.items() if pigment is not None}
    colours = instrument is not None and (instrument.light is not None or instrument.observer is not None)
    rough = colours and instrument is not None and instrument.repeatability >= _ROUGH
    castings = first_swatches(
        shelf, pigments, only=bases, moulds_mm=list(moulds_mm) or shop.mould_depths_mm or MOULDS_MM, apart=rough,
        count=count,
    )  # fmt: skip
    rows = [(each.name, each.blend, each.thickness_mm) for each in castings]

    def weighed(scale: Scale) -> CastingSheet:
        return weigh_castings(rows, shelf, pigments, scale=scale, area_cm2=area_cm2)

    sheet = weighed(scale_of(shop, None))
    return CastingPlan(
        castings=castings, sheet=sheet, area_cm2=area_cm2, colours=colours, photographed=rough, cards=declared.backings,
        warnings=(*_left_out(castings, pigments, bases or shelf), *sheet.warnings, *_finer(sheet, weighed)),
    )  # fmt: skip


def _finer(sheet: CastingSheet, weighed: Callable[[Scale], CastingSheet]) -> Iterator[str]:
    """What a scale of a tenth of the step would spare, where that is a good part of the rubber."""
    finer = replace(sheet.scale, step_g=0.1 * sheet.scale.step_g, sd_g=None)
    if sheet.scale.step_g >= _COARSE_G and (other := weighed(finer)).grams < _SPARED * sheet.grams:
        yield (
            f"a scale of {finer.step_g:g} g would do with {len(other.premixes)} premixes in place of "
            f"{len(sheet.premixes)}, and with {other.grams:.0f} g of rubber in place of {sheet.grams:.0f} g"
        )


def _left_out(castings: Sequence[First], pigments: Mapping[str, Pigment], bases: Collection[str]) -> Iterator[str]:
    """What these castings cannot teach."""
    cast = {name for each in castings for name in each.blend.loadings}
    if unsafe := [name for name in pigments if name not in cast]:
        yield f"{' and '.join(unsafe)}: known to be safe in none of {', '.join(bases)}, and left out"
    if len({each.thickness_mm for each in castings}) == 1:
        yield (
            f"all castings are {castings[0].thickness_mm:g} mm thick: parts of other thickness are unproved; make a "
            "mould of twice or half the depth"
        )
    if len(pigments) > 1 and not any(map(is_light, pigments.values())):
        yield (
            'no pigment is known to be white, so no tints are planned: give the white kind = "titanium dioxide" in '
            "palette.toml"
        )


def plan_page(plan: CastingPlan, *, title: str, squares: dict[str, object] | None = None) -> bytes:
    """The plan as HTML, self-contained, for a printer: premixes, a cup each, labels, where to read, cautions.

    `squares`: the label squares, as `squares_told` tells them; none where absent.
    """
    from tint.proofs.leaf import rendered  # pages are for those who print

    sheet, shown = plan.sheet, plan.sheet.scale.shown
    return rendered(
        "castings.html.j2",
        title=title,
        premixes=[(step, shown(step.grams), shown(step.base_g)) for step in sheet.premixes],
        cups=[(each, cup, _lines(cup, sheet.scale)) for each, cup in zip(plan.castings, sheet.cups, strict=True)],
        labels=[cup for cup in sheet.cups for _ in range(_LABELS)],
        premix_labels=[step.makes for step in sheet.premixes],
        side_mm=f"{10.0 * plan.area_cm2**0.5:.0f}",
        scale=f"{sheet.scale.step_g:g} g",
        cards=list(plan.cards),
        reads="L*, a*, b*" if plan.colours else "reading",
        warnings=list(plan.warnings),
        cautions=(*sheet.cautions, *_HIDING),
        total=f"{sheet.grams:.0f}",
        squares=squares,
    )


def _lines(cup: Cup, scale: Scale) -> list[tuple[str, str, str]]:
    """What, how much, and what the scale shows then were it not set to zero."""
    running = accumulate(line.grams for line in cup.lines)
    return [
        (line.what, scale.shown(line.grams), scale.shown(total)) for line, total in zip(cup.lines, running, strict=True)
    ]
