"""Which of many colours each base reaches at each wall, and which pigment would reach most of the rest."""

from __future__ import annotations

import dataclasses
import itertools
import math
from collections.abc import Collection, Sequence
from pathlib import Path

import msgspec
from msgspec import Struct

from tint.errors import Gathered, InputError, did_you_mean, listed
from tint.fans.rows import Row
from tint.fans.solving import CHUNK, Engine, Task, Tell, chunks_of, here
from tint.fans.targets import Common, Wish, number_of
from tint.files import bytes_of
from tint.palette import Palette
from tint.recipes import Rules
from tint.swatches.tables import read_table
from tint.swatches.text import decoded

Place = tuple[str, float]  # a base and a wall [mm]
_MEASURE = "cast and measure it, and add it to the folder of swatches"


class Reached(Struct, kw_only=True, frozen=True):
    """What one base reaches at one wall."""

    base: str
    wall_mm: float
    names: tuple[str, ...]  # of the colours whose colour and opacity are met


class Candidate(Struct, kw_only=True, frozen=True):
    """A pigment that was measured and is not in stock."""

    pigment: str  # as the palette calls it
    price_per_kg: float | None = None  # in the currency of the palette
    note: str = ""


class Gain(Candidate, kw_only=True, frozen=True):
    """What a candidate would add."""

    # of the colours that nothing in stock reaches in any base at any wall, and that recipes with it do
    names: tuple[str, ...]
    reached: int  # how many colours are then reached in all


class Reach(Struct, kw_only=True, frozen=True):
    """Which of many colours can be had."""

    targets: int  # how many there are
    missed: tuple[Row, ...]  # those that are met in no base at no wall, each as the nearest recipe has it
    failed: tuple[Row, ...]  # those that told no colour, with their reasons
    reached: tuple[Reached, ...]  # for every base and wall
    gains: tuple[Gain, ...] = ()  # for every candidate, the one that adds most first, the cheaper of equals


_COLUMNS = ("name", "price_per_kg", "note")


def read_candidates(path: str | Path, palette: Palette) -> list[Candidate]:
    """The candidates of a table: pigments of the palette by `name`; it may have `price_per_kg` and `note`.

    A price that the table does not tell is the palette's. InputError if the table cannot be read, or names what
    was not measured.
    """
    file, faults = str(path), Gathered(str(path))
    text = decoded(bytes_of(path), faults)
    table = None if text is None else read_table(text, faults, first="name")
    faults.stop()
    if table is None or not table.rows:
        raise InputError(file, "there is no candidate in it", "a row for each pigment")
    candidates: dict[str, Candidate] = {}
    for column in table.columns:
        if column and column not in _COLUMNS:
            raise InputError(file, f"there is no column {column}", listed(_COLUMNS), did_you_mean(column, _COLUMNS))
    for row in table.rows:
        name, price = table.cell(row, "name"), table.cell(row, "price_per_kg")
        where = f"{file}, row {row.number}"
        if name not in palette.pigments:
            raise InputError(where, f"`{name}` is not a pigment here", listed(palette.pigments), _MEASURE)
        if name in candidates:
            raise InputError(where, f"`{name}` stands here twice", mend="remove one")
        known = number_of(price, row, "price_per_kg", file) if price else None
        candidates[name] = Candidate(pigment=name, price_per_kg=known, note=table.cell(row, "note"))
    return list(candidates.values())


def reach(
    palette: Palette, wishes: Sequence[Wish], common: Common, *, candidates: Collection[str | Candidate] = (),
    engine: Engine = here, progress: Tell | None = None,
) -> Reach:  # fmt: skip
    """Try every colour in every base at every wall that `common` tells, whatever base and walls its wish has.

    Candidates are pigments that were measured and are not in stock: recipes go without them, and then each is tried
    alone on what was missed. `progress` is told in words which base, wall and candidate are tried, how many colours are
    done, and of how many. InputError if no wall is told, or a candidate is no pigment of the palette or must be in
    every recipe.
    """
    told = [each if isinstance(each, Candidate) else Candidate(pigment=each) for each in candidates]
    names = [each.pigment for each in told]
    _check(palette, common, names)
    bases = tuple(palette.bases) if common.base is None else (common.base,)
    places = list(itertools.product(bases, sorted(set(common.walls_mm))))
    plain = [msgspec.structs.replace(wish, base=None, walls_mm=()) for wish in wishes]

    def tried(place: Place, at: Sequence[int], pigment: str = "") -> list[Row]:
        base, wall = place
        rules = _rules(common.rules, names, pigment)
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
    without, gains = sum(row.reached for row in nearest), []
    for each in told:
        had: set[int] = set()
        for place in places:
            left = [at for at in missed if at not in had]
            had |= {at for at, row in zip(left, tried(place, left, each.pigment), strict=True) if row.reached}
        added = tuple(nearest[at].name for at in sorted(had))
        facts = msgspec.structs.asdict(each)
        if each.price_per_kg is None:
            facts["price_per_kg"] = palette.pigments[each.pigment].price
        gains.append(Gain(**facts, names=added, reached=without + len(added)))
    return Reach(
        targets=len(plain),
        missed=tuple(nearest[at] for at in missed),
        failed=tuple(row for row in nearest if not row.base),
        reached=tuple(
            Reached(base=base, wall_mm=wall, names=tuple(row.name for row in rows if row.reached))
            for (base, wall), rows in every.items()
        ),
        gains=tuple(sorted(gains, key=lambda gain: (-len(gain.names), gain.price_per_kg or math.inf))),
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
