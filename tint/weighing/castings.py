"""Grams of many small castings, weighed before there is a palette: a cup each, and premixes that they share."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from tint.materials import Base, Blend, Pigment
from tint.weighing.batch import WASTE_PERCENT, mix_density
from tint.weighing.booking import OF_PREMIXES, cautions
from tint.weighing.premix import SPARE, WHOLES, Letdown, Scale, premix_name, round_up, whole

AREA_CM2 = 25.0  # of a swatch, 5 cm by 5 cm: larger than the spot of any usual instrument; common practice, no source
_LEAST_CUP_G = 20.0  # of mix, which a hand stirs evenly; common practice, no source
_MOST_CUP_G = 100.0  # of mix for one swatch: above it a finer scale is cheaper than the rubber; no source
_ROOM = 1.4  # of what just suffices: strengths of premixes go by such steps
_MOST_STAGES = 3  # a premix of a premix of a premix
_SAVES_G = 60.0  # of rubber, for which one more premix is made; no source
_TENFOLD = 10  # of a stage that serves no casting itself


@dataclass(frozen=True, kw_only=True)
class Weighed:
    """One weighing of a casting: a part of the base, a pigment, or a premix of it [g]."""

    what: str
    grams: float


@dataclass(frozen=True, kw_only=True)
class Cup:
    """A casting's cup."""

    name: str  # of the casting
    blend: Blend  # as the rounded weights make it
    thickness_mm: float  # depth of its mould [mm]
    lines: tuple[Weighed, ...]  # in the order in which they are weighed

    @property
    def grams(self) -> float:
        """All of it [g]."""
        return whole(sum(line.grams for line in self.lines))


@dataclass(frozen=True, kw_only=True)
class CastingSheet:
    """What to weigh for a plan of castings."""

    premixes: tuple[Letdown, ...]  # in the order in which they are made
    cups: tuple[Cup, ...]  # one a casting, in the order given
    scale: Scale
    # warnings, cautions: of this plan, and always
    warnings: tuple[str, ...]
    cautions: tuple[str, ...]

    @property
    def grams(self) -> float:
        """All that the plan takes, what is left over of premixes included [g]."""
        made = {step.makes for step in self.premixes}
        poured = sum(line.grams for cup in self.cups for line in cup.lines if line.what not in made)
        return whole(poured + sum(step.base_g + (0.0 if step.what in made else step.grams) for step in self.premixes))


class _Stage(NamedTuple):
    """One of several premixes of a pigment, each weaker than the one before it."""

    makes: str
    parts: int  # that hold one of pigment
    serves: list[str]  # castings


_Taken = dict[tuple[str, str], tuple[str, int]]


@dataclass(frozen=True, kw_only=True)
class _Batch:
    """A casting before its doses are rounded: grams of mix, of each pigment, and of base free to carry a premix."""

    name: str
    blend: Blend
    depth: float
    grams: float
    doses: Mapping[str, float]
    room: float


def weigh_castings(
    castings: Iterable[tuple[str, Blend, float]],
    bases: Mapping[str, Base],
    pigments: Mapping[str, Pigment],
    *,
    scale: Scale,
    area_cm2: float = AREA_CM2,
    waste_percent: float = WASTE_PERCENT,
) -> CastingSheet:
    """Grams for castings, each a name, a blend and the depth of its mould [mm], on this scale.

    `area_cm2` is that of a swatch, `waste_percent` for what stays in the cup.

    A premix that several castings share holds one pigment in the part that takes it. Where doses differ too much for
    one, a second is made of the first. The pigment's mass belongs to no part, the base of a premix to its part, so
    that the mixing ratio holds.
    """
    batches = [
        _batch(each, bases, pigments, scale=scale, area_cm2=area_cm2, waste_percent=waste_percent) for each in castings
    ]
    premixes: list[Letdown] = []
    # Of a casting and a pigment, the premix, and parts of it that hold one of pigment.
    taken: _Taken = {}
    for base in dict.fromkeys(batch.blend.base for batch in batches):
        own = [batch for batch in batches if batch.blend.base == base]
        for pigment in dict.fromkeys(name for batch in own for name in batch.doses):
            doses = [(batch.name, batch.doses[pigment], batch.room) for batch in own if pigment in batch.doses]
            tag = f" in {base}" if len({batch.blend.base for batch in batches if pigment in batch.doses}) > 1 else ""
            stages = [_Stage(premix_name(pigment, parts) + tag, parts, names) for parts, names in _stages(doses, scale)]
            taken |= {(name, pigment): (stage.makes, stage.parts) for stage in stages for name in stage.serves}
            grams = {name: dose for name, dose, _ in doses}
            lot = pigments[pigment].lot or ""
            premixes += _letdowns(pigment, bases[base].pigment_in, stages, grams, scale, lot)
    cups = tuple(_cup(batch, bases[batch.blend.base], taken, scale) for batch in batches)
    told = _warnings(batches, taken, bases, cups, scale)
    return CastingSheet(
        premixes=tuple(premixes), cups=cups, scale=scale, warnings=told, cautions=_cautions(batches, bases, pigments)
    )


def _batch(
    casting: tuple[str, Blend, float], bases: Mapping[str, Base], pigments: Mapping[str, Pigment], *, scale: Scale,
    area_cm2: float, waste_percent: float,
) -> _Batch:  # fmt: skip
    """As much mix as the mould takes, a hand can stir, and this scale can weigh."""
    name, blend, depth = casting
    base = bases[blend.base]
    share = base.mix[base.pigment_in] / sum(base.mix.values())
    fill = area_cm2 * depth / 10.0 * mix_density(base, pigments, blend) * (1.0 + waste_percent / 100.0)
    # Every premix and what is left of its part must be weighed well; so must each part, as far as one swatch is worth.
    weighable = max((len(blend.loadings) + 1) * scale.smallest_g / share, scale.smallest_g / (1.0 - share + 1e-9))
    grams = scale.at_least(max(fill, _LEAST_CUP_G, min(_ROOM * weighable, _MOST_CUP_G)))
    doses = {pigment: grams * x / 100.0 for pigment, x in blend.loadings.items() if x > 0.0}
    tinted = (grams - sum(doses.values())) * share
    room = max(tinted - scale.smallest_g, 0.0) / max(len(doses), 1)
    return _Batch(name=name, blend=blend, depth=depth, grams=grams, doses=doses, room=room)


def _stages(doses: Sequence[tuple[str, float, float]], scale: Scale) -> list[tuple[int, list[str]]]:
    """Premixes of one pigment, each weaker than the one before: parts that hold one of pigment, and whom it serves."""
    left = [each for each in doses if each[1] < scale.least_g]
    stages: list[tuple[int, list[str]]] = []
    parts = 1
    while left and len(stages) < _MOST_STAGES:
        served = {by: _served(left, parts * by, scale) for by in WHOLES}
        by = max(WHOLES, key=lambda by: (len(served[by]), -by))
        if not served[by]:
            if not any(dose * (parts * _TENFOLD - 1) <= room for _, dose, room in left):
                break  # no cup has base for a weaker one
            by = _TENFOLD
        parts *= by
        stages.append((parts, served[by]))
        left = [each for each in left if each[0] not in served[by]]
    while stages and not stages[-1][1]:
        stages.pop()
    return list(_in_small_steps(stages, scale))


def _in_small_steps(stages: Iterable[tuple[int, list[str]]], scale: Scale) -> Iterator[tuple[int, list[str]]]:
    """The same, with a stage between where that saves more rubber than the work is worth."""
    before = 1
    for parts, served in stages:
        by = parts // before
        ways = [(a - 1 + by // a - 1, a) for a in WHOLES if by % a == 0 and by // a > 1]
        if ways and (by - 1 - min(ways)[0]) * scale.smallest_g >= _SAVES_G:
            yield before * min(ways)[1], []
        yield parts, served
        before = parts


def _served(doses: Sequence[tuple[str, float, float]], parts: int, scale: Scale) -> list[str]:
    return [name for name, dose, room in doses if dose * parts >= scale.least_g and dose * (parts - 1) <= room]


def _letdowns(
    pigment: str, part: str, stages: Sequence[_Stage], doses: Mapping[str, float], scale: Scale, lot: str
) -> list[Letdown]:  # fmt: skip
    """How the premixes are made, each with something to spare; sized from the last to the first."""
    made: list[Letdown] = []
    needed = 0.0  # of the stage by the one after it
    for at in reversed(range(len(stages))):
        stage = stages[at]
        what, before, own = (stages[at - 1].makes, stages[at - 1].parts, "") if at else (pigment, 1, lot)
        by = stage.parts // before
        used = sum(doses[name] for name in stage.serves) * stage.parts
        needed = round_up(max(scale.smallest_g, (used * SPARE + needed) / by), scale)
        base_g = whole(needed * (by - 1))
        made.insert(0, Letdown(makes=stage.makes, what=what, part=part, grams=needed, base_g=base_g, lot=own))
    return made


def _cup(batch: _Batch, base: Base, taken: _Taken, scale: Scale) -> Cup:
    """Its weighings as the scale can show them: the tinted part first, then the rest."""
    mix = sum(base.mix.values())
    held: dict[str, float] = {}
    carried = 0.0
    lines = []
    for pigment, dose in sorted(batch.doses.items(), key=lambda each: -each[1]):
        what, parts = taken.get((batch.name, pigment), (pigment, 1))
        grams = scale.nearest(dose * parts)
        held[pigment] = grams / parts
        carried += grams - grams / parts
        lines.append(Weighed(what=what, grams=grams))
    rubber = batch.grams - sum(held.values())
    shares = {part: rubber * share / mix for part, share in base.mix.items()}
    shares[base.pigment_in] -= carried
    rest = {part: scale.nearest(grams) for part, grams in shares.items()}
    first = Weighed(what=f"part {base.pigment_in}", grams=rest.pop(base.pigment_in))
    lines = [first, *lines, *(Weighed(what=f"part {part}", grams=grams) for part, grams in rest.items())]
    total = sum(line.grams for line in lines)
    loadings = {name: float(f"{100.0 * held[name] / total:.4g}") for name in batch.doses if held[name] > 0.0}
    blend = Blend(batch.blend.base, loadings)
    return Cup(name=batch.name, blend=blend, thickness_mm=batch.depth, lines=tuple(lines))


def _warnings(
    batches: Sequence[_Batch], taken: _Taken, bases: Mapping[str, Base], cups: Sequence[Cup], scale: Scale
) -> tuple[str, ...]:  # fmt: skip
    """Weighings that this scale does not do well, the worst of each kind."""
    told = []
    rough = [
        (scale.error_percent(grams), pigment, batch.name)
        for batch in batches
        for pigment, dose in batch.doses.items()
        if (grams := dose * taken.get((batch.name, pigment), (pigment, 1))[1]) < scale.least_g
    ]
    if rough:
        error, pigment, name = max(rough)
        told.append(
            f"{len(rough)} doses are too small for a scale of {scale.step_g:g} g, {pigment} of {name} by up to "
            f"{min(error, 100.0):.0f} %: take a finer scale, or write down what was really weighed"
        )
    parts = {f"part {part}" for base in bases.values() for part in base.mix}
    ratio = [
        (scale.error_percent(line.grams), line.what, cup.name)
        for cup in cups
        for line in cup.lines
        if line.what in parts and 0.0 < line.grams < scale.least_g
    ]
    if ratio:
        error, what, name = max(ratio)
        told.append(f"{what} of {name} is weighed to {error:.0f} %, and so is the mixing ratio: take a finer scale")
    return tuple(told)


def _cautions(batches: Sequence[_Batch], bases: Mapping[str, Base], pigments: Mapping[str, Pigment]) -> tuple[str, ...]:
    """The usual ones for each base and all that goes into it, each once."""
    told: dict[str, None] = {}
    for base in dict.fromkeys(batch.blend.base for batch in batches):
        names = {name: 0.0 for batch in batches if batch.blend.base == base for name in batch.doses}
        told |= dict.fromkeys(cautions(bases[base], pigments, Blend(base, names)))
    return (*told, *OF_PREMIXES)
