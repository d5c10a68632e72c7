"""A fan that is worked out in several processes, or on a cluster.

dask.distributed hands chunks of targets out, and again where a worker dies. The palette is a task of its own: it is
sent once, workers take it from each other, and where every holder died it is made again from what the scheduler knows.
A few chunks for each worker are on their way at a time, so that memory does not grow with the number of targets; rows
come back in the order of their targets.
"""

from __future__ import annotations

import contextlib
import logging
from collections import deque
from collections.abc import Iterable, Iterator
from functools import partial
from typing import TYPE_CHECKING, Any

from tint.errors import InputError, JobError
from tint.fans.rows import Row
from tint.fans.solving import Chunk, Engine, here
from tint.fans.targets import Common
from tint.palette import Palette

if TYPE_CHECKING:
    from distributed import Client

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
