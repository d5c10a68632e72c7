"""Many targets, each of them solved as it would be alone, or left as it was where its recipe still holds.

That is done in this process, in several, or on a cluster: dask.distributed hands chunks of targets out, and again where
a worker dies. The palette is a task of its own: it is sent once, workers take it from each other, and where every
holder died it is made again from what the scheduler knows. A few chunks for each worker are on their way at a time, so
that memory does not grow with the number of targets; rows come back in the order of their targets.
"""

from __future__ import annotations

import contextlib
import hashlib
import itertools
import logging
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from msgspec import Struct, structs

from tint import colorimetry, verbs
from tint.appearance import predict
from tint.errors import InputError, JobError, TintError
from tint.fans.rows import Row, known, lab_of
from tint.fans.targets import Common, Wish, read_targets, wish_of
from tint.given import setting_of, verb
from tint.materials import Blend
from tint.opacity import opacity_of
from tint.palette import Palette
from tint.recipes import Answer, Rules
from tint.swatches.instruments import Given
from tint.target import Target, solid_unless_told, without_gloss

if TYPE_CHECKING:
    from distributed import Client

# What one target may fail by without stopping the others: what tint says on purpose, and arithmetic that broke down.
FAILURES = (TintError, ArithmeticError, np.linalg.LinAlgError)


@dataclass(frozen=True, kw_only=True, eq=False)
class Solved:
    """A target and what came of it."""

    number: int  # its place among all, from 1
    wish: Wish
    answer: Answer | None = None  # as `tint.solve` gives it; absent where it failed
    fault: str = ""  # why it failed, in a line; empty where it did not


@verb
def solve_many(
    palette: Palette, targets: str | Path | Iterable[Wish | Mapping[str, Any]], *,
    opacity: str | float | Sequence[float] | None = None, tolerance: float | None = None, base: str | None = None,
    thickness_mm: float | None = None, walls_mm: Sequence[float] = (), rules: Rules | None = None,
    said: Given | None = None, **seen: Any,
) -> Iterator[Solved]:  # fmt: skip
    """Recipes for many targets, in their order, each as it is found.

    Parameters
    ----------
    targets : path-like, or iterable of Wish or of mappings
        A table or a file of colours, as `tint.fans.read_targets` takes it; `tint.fans.lattice`; or any iterable, of
        which one is taken at a time.
    opacity, tolerance, base, thickness_mm, walls_mm, rules, said, **seen
        As in `tint.solve`; for the targets that do not say otherwise.

    Returns
    -------
    iterator of Solved
        The same answers as `tint.solve` gives one by one. A target that fails has its reason, and the next follows.

    Raises
    ------
    InputError
        If the file cannot be read.

    Examples
    --------
    >>> wishes = [{"name": "jar", "lab": (70, -12, 8)}, {"name": "lid", "srgb": "#e8701"}]
    >>> found = list(tint.solve_many(palette, wishes, base="clear", thickness_mm=3))
    >>> found[0].answer.best.reached, found[1].answer, found[1].wish.name
    (True, None, 'lid')
    """
    walls = tuple(walls_mm) or (() if thickness_mm is None else (thickness_mm,))
    asked = opacity if opacity is None or isinstance(opacity, str | float) else (opacity[0], opacity[1])
    common = Common(
        opacity=asked, tolerance=tolerance, walls_mm=walls, base=base, rules=rules or Rules(), seen=dict(seen)
    )
    common.setting()  # an argument that there is not is no fault of the first target
    wishes: Iterable[Wish | Mapping[str, Any]]
    wishes = read_targets(targets, palette, common, said=said) if isinstance(targets, str | Path) else targets
    return (solved(palette, wish_of(each, at), common, at) for at, each in enumerate(wishes, start=1))


def solved(palette: Palette, wish: Wish, common: Common, place: int, *, best_only: bool = False) -> Solved:
    """One target, with its reason where it fails; `best_only` as in `tint.solve`."""
    if wish.fault:
        return Solved(number=place, wish=wish, fault=wish.fault)
    try:
        told = arguments(palette, wish, common)
        answer = verbs.solve(palette, loosen=not best_only, best_only=best_only, **told)
        return Solved(number=place, wish=wish, answer=answer)
    except FAILURES as error:
        return Solved(number=place, wish=wish, fault=str(error) or type(error).__name__)


def arguments(palette: Palette, wish: Wish, common: Common) -> dict[str, Any]:
    """The arguments of `tint.solve` that ask for one wish."""
    own = common.of(wish)
    asked = {name: getattr(own, name) for name in ("opacity", "tolerance", "base", "walls_mm", "rules")} | dict(
        own.seen
    )
    if wish.spectrum is None:
        return asked | {"lab": wish.lab, "srgb": wish.srgb}
    target = Target(lab=np.array(wish.lab), spectrum=np.array(wish.spectrum), source=wish.name)
    return asked | {"target": target if own.opacity is not None else solid_unless_told(target, palette)}


# Rows of a table: targets are handed out in chunks, to whatever works on them.

CHUNK = 8  # targets handed out, and written down, at a time; a solve takes about a second


class Task(Struct, kw_only=True, frozen=True):
    """A target with its number, and the row that it had with an earlier palette."""

    number: int
    wish: Wish
    old: Row | None = None


Chunk = tuple[Task, ...]
Engine = Callable[[Palette, Common, Iterable[Chunk]], Iterator[list[Row]]]
Tell = Callable[[str, int, int], None]


def chunks_of(tasks: Iterable[Task], size: int) -> Iterator[Chunk]:
    """Tasks in chunks of so many, each when it is asked for."""
    left = iter(tasks)
    while chunk := tuple(itertools.islice(left, size)):
        yield chunk


def here(palette: Palette, common: Common, chunks: Iterable[Chunk]) -> Iterator[list[Row]]:
    """The engine that works in this very process: the rows of each chunk, one after the other."""
    for chunk in chunks:
        yield [_row(palette, common, task) for task in chunk]


def _row(palette: Palette, common: Common, task: Task) -> Row:
    if task.old is not None and _still_holds(palette, task.old, task.wish, common):
        return structs.replace(task.old, number=task.number)
    return row_of(solved(palette, task.wish, common, task.number, best_only=True), asked_of(task.wish, common))


def asked_of(wish: Wish, common: Common) -> str:
    """A digest of all that one wish asks for."""
    return hashlib.sha256(f"{wish!r}\0{common!r}".encode()).hexdigest()[:16]


def row_of(solved: Solved, asked: str) -> Row:
    """The row of a target that was solved."""
    told: dict[str, Any] = {"number": solved.number, "name": solved.wish.name, "asked": asked}
    if solved.answer is None:
        return Row(**told, target=solved.wish.lab, reason=solved.fault)
    best = solved.answer.best
    look = best.appearance
    facts = {"contrast_ratio": look.contrast_ratio, "expected_error": look.expected_error}
    facts |= {name: getattr(best, name) for name in ("delta_e", "chance", "price_per_kg")}
    return Row(
        **told,
        target=lab_of(solved.answer.target.lab),
        base=best.blend.base,
        walls_mm=(look.setting.thickness_mm, *(wall.appearance.setting.thickness_mm for wall in best.walls)),
        loadings={name: float(dose) for name, dose in best.blend.loadings.items()},
        lab=lab_of(look.lab),
        srgb=look.srgb,
        **known(facts),
        reached=best.reached,
        reason=best.reason,
    )


def _still_holds(palette: Palette, row: Row, wish: Wish, common: Common) -> bool:
    """Whether a recipe of an earlier palette still gives nearly the colour that its row tells, and the opacity it met.

    Nearly is within the tolerance, and the opacity is asked of every wall. A recipe that there was not, or of what the
    palette lacks, does not hold.
    """
    if not row.base or row.lab is None or row.target is None:
        return False
    own = common.of(wish)
    first, *walls = sorted(own.walls_mm)
    seen = (without_gloss(palette) if wish.srgb is not None else {}) | dict(own.seen)
    setting = setting_of(None, first, seen)
    try:
        blend = Blend(row.base, row.loadings)
        looks = [predict(palette, blend, setting=replace(setting, thickness_mm=wall)) for wall in (first, *walls)]
    except TintError:
        return False
    told: dict[str, Any] = {} if own.tolerance is None else {"tolerance": own.tolerance}
    target = Target(lab=np.array(row.target), **told, **({} if own.opacity is None else opacity_of(own.opacity)))
    if own.opacity is None:
        target = solid_unless_told(target, palette)
    if float(colorimetry.difference(looks[0].lab, np.array(row.lab))) > target.tolerance:
        return False
    return not row.reached or all(
        target.met(0.0, contrast_ratio=x.contrast_ratio, transmittance=x.luminous_transmittance, haze=x.haze)
        for x in looks
    )


# Several processes, or a cluster.

_AHEAD = 3  # chunks for each thread of the workers that are on their way, so that none waits; no source
_LOCAL = {
    # Workers that may die over one chunk before it is given up; no source.
    "distributed.scheduler.allowed-failures": 10,
    # dask has its workers remember, second by second for an hour, at which line they were: up to 0.4 MB a second.
    "distributed.worker.profile.enabled": False,
    # dask has its workers give memory back at once; they then fetch it again for every array, a third more time.
    "distributed.nanny.pre-spawn-environ": dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"), "1"),
}
_GO_ON = "finished rows are kept: run the same again to go on"


@contextlib.contextmanager
def engine_of(*, workers: int = 1, scheduler: str = "") -> Iterator[Engine]:
    """The engine that works in so many processes of this machine, or on the cluster of a scheduler.

    One worker is this very process, and needs no dask. `scheduler` is where a running one listens, as
    `tcp://host:8786`; its workers need tint, too. InputError if dask is not installed, or no scheduler answers there.
    """
    if workers == 1 and not scheduler:
        yield here
        return
    try:
        import distributed
    except ImportError as error:
        where = "--scheduler" if scheduler else "--workers"
        raise InputError(where, "dask is not installed", mend="run `pip install 'tint[fan]'`") from error
    with contextlib.ExitStack() as held:
        if not scheduler:
            from dask import config

            held.enter_context(config.set(_LOCAL))
            cluster = distributed.LocalCluster(
                n_workers=workers, threads_per_worker=1, processes=True, dashboard_address=None,
                silence_logs=logging.CRITICAL,
            )  # fmt: skip
            held.enter_context(cluster)
        try:
            client = distributed.Client(scheduler or cluster)
        except (OSError, ValueError) as error:
            expected = "a running scheduler, as tcp://host:8786"
            raise InputError("--scheduler", f"nothing answers at {scheduler}", expected) from error
        held.enter_context(client)
        yield partial(_through, client)


def _through(client: Client, palette: Palette, common: Common, chunks: Iterable[Chunk]) -> Iterator[list[Row]]:
    from distributed import CancelledError, KilledWorker

    left, pending = iter(chunks), deque[Any]()
    shared = client.submit(_same, (palette, common), pure=False)
    try:
        while True:
            ahead = _AHEAD * max(sum(client.nthreads().values()), 1)
            while len(pending) < ahead and (chunk := next(left, None)) is not None:
                pending.append(client.submit(_rows, shared, chunk, pure=False))
            if not pending:
                return
            yield pending.popleft().result()
    except KilledWorker as error:
        raise JobError("fan", "workers died over the same colours again and again", mend=_GO_ON) from error
    except ImportError as error:
        found = f"its workers lack what tint needs ({error})"
        raise JobError("--scheduler", found, mend="install tint there") from error
    except (CancelledError, OSError) as error:
        raise JobError("fan", "the scheduler was lost", mend=_GO_ON) from error


def _same(shared: tuple[Palette, Common]) -> tuple[Palette, Common]:
    return shared


def _rows(shared: tuple[Palette, Common], chunk: Chunk) -> list[Row]:
    (rows,) = here(*shared, (chunk,))
    return rows
