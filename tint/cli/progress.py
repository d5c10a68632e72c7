"""How far a long job has come, on a terminal and nowhere else."""

from __future__ import annotations

import contextlib
import sys
import threading
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console

Tell = Callable[[str, int, int], None]

PATIENCE_S = 1.0  # a job that is done sooner shows nothing


@contextlib.contextmanager
def progress(*, quiet: bool = False, on: Console | None = None, patience_s: float = PATIENCE_S) -> Iterator[Tell]:
    """Something to tell steps to: what is being done, how many are done, of how many.

    Parameters
    ----------
    quiet : bool
        Show nothing at all.
    on : Console, optional
        In place of standard error, which is used only when it is a terminal.
    patience_s : float
        How long to wait before anything is shown [s].
    """
    if quiet or (on is None and not sys.stderr.isatty()):
        yield lambda *_: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn

    columns = (TextColumn("{task.description}", markup=False), BarColumn())
    bar = Progress(*columns, console=on or Console(stderr=True), transient=True)
    task = bar.add_task("")
    starting = threading.Timer(patience_s, bar.start)
    starting.start()
    try:
        yield lambda words, done, of: bar.update(task, description=words, completed=done, total=of)
    finally:
        starting.cancel()
        starting.join()
        if bar.live.is_started:
            bar.stop()
