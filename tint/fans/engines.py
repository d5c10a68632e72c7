"""Where a fan is worked out: in this process, in several, or on a cluster.

dask.distributed hands chunks of targets out, and again where a worker dies. The palette is a task of its own: it is
sent once, workers take it from each other, and where every holder died it is made again from what the scheduler knows.
A few chunks for each worker are on their way at a time, so that memory does not grow with the number of targets; rows
come back in the order of their targets.
"""

from __future__ import annotations

import contextlib
import itertools
import logging
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import msgspec
import numpy as np
from msgspec import Struct

from tint import colorimetry
from tint.appearance import predict
from tint.errors import InputError, JobError, TintError
from tint.fans.rows import Row, asked_of, row_of
from tint.fans.solving import solved
from tint.fans.targets import Common, Wish
from tint.given import setting_of
from tint.materials import Blend
from tint.opacity import opacity_of
from tint.palette import Palette
from tint.target import Target, solid_unless_told, without_gloss

if TYPE_CHECKING:
    from distributed import Client

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


def rows_of(palette: Palette, common: Common, chunk: Chunk) -> list[Row]:
    """The rows of a chunk, one after the other: what a worker does."""
    return [_row(palette, common, task) for task in chunk]


def _row(palette: Palette, common: Common, task: Task) -> Row:
    if task.old is not None and still_holds(palette, task.old, task.wish, common):
        return msgspec.structs.replace(task.old, number=task.number)
    return row_of(solved(palette, task.wish, common, task.number, best_only=True), asked_of(task.wish, common))


def here(palette: Palette, common: Common, chunks: Iterable[Chunk]) -> Iterator[list[Row]]:
    """The engine that works in this very process."""
    for chunk in chunks:
        yield rows_of(palette, common, chunk)


def still_holds(palette: Palette, row: Row, wish: Wish, common: Common) -> bool:
    """Whether a recipe still gives nearly the colour that its row tells, and the opacity where it was met.

    Parameters
    ----------
    palette : Palette
        As it now stands.
    row : Row
        As it was found with another palette.
    wish : Wish
        What the row answers.

    Returns
    -------
    bool
        False where there was no recipe, the palette lacks what it is made of, its colour has moved by more than the
        tolerance (CIEDE2000), or some wall no longer has the opacity that was met.
    """
    if not row.base or row.lab is None or row.target is None:
        return False
    seen = (without_gloss(palette) if wish.srgb is not None else {}) | dict(common.seen)
    first, *walls = sorted(wish.walls_mm or common.walls_mm)
    setting = setting_of(None, first, seen)
    try:
        blend = Blend(row.base, row.loadings)
        looks = [predict(palette, blend, setting=replace(setting, thickness_mm=wall)) for wall in (first, *walls)]
    except TintError:
        return False
    target = _target(palette, row, wish, common)
    moved = float(colorimetry.difference(looks[0].lab, np.array(row.lab)))
    if moved > target.tolerance:
        return False
    met = [
        bool(target.met(0.0, contrast_ratio=x.contrast_ratio, transmittance=x.luminous_transmittance, haze=x.haze))
        for x in looks
    ]
    return all(met) or not row.reached


def _target(palette: Palette, row: Row, wish: Wish, common: Common) -> Target:
    opacity = common.opacity if wish.opacity is None else wish.opacity
    tolerance = common.tolerance if wish.tolerance is None else wish.tolerance
    told: dict[str, Any] = {} if tolerance is None else {"tolerance": tolerance}
    target = Target(lab=np.array(row.target), **told, **({} if opacity is None else opacity_of(opacity)))
    return target if opacity is not None else solid_unless_told(target, palette)


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

        def engine(palette: Palette, common: Common, chunks: Iterable[Chunk]) -> Iterator[list[Row]]:
            return _through(client, palette, common, chunks)

        yield engine


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
    return rows_of(*shared, chunk)
