"""Which of many colours each base reaches at each wall, and which pigment would reach most of the rest."""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Collection, Sequence

import msgspec
from msgspec import Struct

from tint.errors import InputError
from tint.fans.rows import Row
from tint.fans.run import CHUNK, Engine, Task, Tell, chunks_of, here
from tint.fans.targets import Common, Wish
from tint.palette import Palette
from tint.recipes import Rules

Place = tuple[str, float]  # a base and a wall [mm]


class Reached(Struct, kw_only=True, frozen=True):
    """What one base reaches at one wall."""

    base: str
    wall_mm: float
    names: tuple[str, ...]  # of the colours whose colour and opacity are met


class Gain(Struct, kw_only=True, frozen=True):
    """What a pigment that is not in stock would add."""

    pigment: str
    # of the colours that nothing in stock reaches in any base at any wall, and that recipes with it do
    names: tuple[str, ...]


class Reach(Struct, kw_only=True, frozen=True):
    """Which of many colours can be had."""

    targets: int  # how many there are
    missed: tuple[Row, ...]  # those that are met in no base at no wall, each as the nearest recipe has it
    failed: tuple[Row, ...]  # those that told no colour, with their reasons
    reached: tuple[Reached, ...]  # for every base and wall
    gains: tuple[Gain, ...] = ()  # for every candidate, the one that adds most first


def reach(
    palette: Palette, wishes: Sequence[Wish], common: Common, *, candidates: Collection[str] = (),
    engine: Engine = here, progress: Tell | None = None,
) -> Reach:  # fmt: skip
    """Try every colour in every base at every wall.

    InputError if no wall is told, or a candidate is no pigment of the palette or must be in every recipe.

    Parameters
    ----------
    wishes : sequence of Wish
        Their own bases and walls do not count here.
    common : Common
        Its `walls_mm` are each tried alone; its `base` is the only one, or every base where it is None.
    candidates : collection of str
        Pigments that were measured and are not in stock: recipes go without them, and then each is tried alone on
        what was missed.
    engine : callable
        As in `run_fan`.
    progress : callable, optional
        Told in words which base, wall and candidate are tried, how many colours are done, and of how many.
    """
    _check(palette, common, candidates)
    bases = tuple(palette.bases) if common.base is None else (common.base,)
    places = list(itertools.product(bases, sorted(set(common.walls_mm))))
    plain = [msgspec.structs.replace(wish, base=None, walls_mm=()) for wish in wishes]

    def tried(place: Place, at: Sequence[int], pigment: str = "") -> list[Row]:
        base, wall = place
        rules = _rules(common.rules, candidates, pigment)
        there = msgspec.structs.replace(common, base=base, walls_mm=(wall,), rules=rules)
        tasks = (Task(number=number, wish=plain[each]) for number, each in enumerate(at, start=1))
        rows: list[Row] = []
        for row in itertools.chain.from_iterable(engine(palette, there, chunks_of(tasks, CHUNK))):
            rows.append(row)
            if progress is not None:
                progress(f"{base}, {wall:g} mm" + (f", with {pigment}" if pigment else ""), len(rows), len(at))
        return rows

    every = {place: tried(place, range(len(plain))) for place in places}
    nearest = [min(rows, key=_distance) for rows in zip(*every.values(), strict=True)]
    missed = [at for at, row in enumerate(nearest) if row.base and not row.reached]
    gains = []
    for pigment in candidates:
        had: set[int] = set()
        for place in places:
            left = [at for at in missed if at not in had]
            had |= {at for at, row in zip(left, tried(place, left, pigment), strict=True) if row.reached}
        gains.append(Gain(pigment=pigment, names=tuple(nearest[at].name for at in sorted(had))))
    return Reach(
        targets=len(plain),
        missed=tuple(nearest[at] for at in missed),
        failed=tuple(row for row in nearest if not row.base),
        reached=tuple(
            Reached(base=base, wall_mm=wall, names=tuple(row.name for row in rows if row.reached))
            for (base, wall), rows in every.items()
        ),
        gains=tuple(sorted(gains, key=lambda gain: -len(gain.names))),
    )


def _check(palette: Palette, common: Common, candidates: Collection[str]) -> None:
    if not common.walls_mm:
        raise InputError("walls", "none is told", "the wall thicknesses of the parts in mm")
    for name in candidates:
        if name not in palette.pigments:
            raise InputError("candidate", f"`{name}` is not a pigment here", "one of " + ", ".join(palette.pigments))
        if name in common.rules.keep or name in common.rules.fixed:
            raise InputError("candidate", f"`{name}` is also to be in every recipe", mend="choose one")


def _rules(rules: Rules, candidates: Collection[str], pigment: str) -> Rules:
    """With one candidate in every recipe, which is then needed, or with none."""
    out = [*rules.leave_out, *(name for name in candidates if name != pigment)]
    return dataclasses.replace(rules, leave_out=out, keep=[*rules.keep, *([pigment] if pigment else [])])


def _distance(row: Row) -> tuple[bool, bool, float]:
    """Least for a row that is met; then by the colour of its recipe; most for one without."""
    return not row.reached, not row.base, row.delta_e or 0.0
