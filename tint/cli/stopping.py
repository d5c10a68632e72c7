"""Ctrl-C: the program ends in one line and with the status that shells have for it, wherever it is."""

from __future__ import annotations

import signal
import sys
from collections.abc import Callable

from tint.loading import leave


class StoppedError(BaseException):
    """Ctrl-C; not a KeyboardInterrupt, which libraries on the way would tell in their own words."""


def interruptible(job: Callable[[], int]) -> int:
    """Do the program's job; what it returns. On Ctrl-C the job is unwound, and the process ends.

    Once the job is done a Ctrl-C changes nothing: what is left is to end.
    """
    hook, asked = sys.unraisablehook, list[int]()

    def stop(signum: int, _: object) -> None:
        asked.append(signum)
        raise StoppedError

    def unraisable(told: sys.UnraisableHookArgs) -> None:
        if asked:  # it fell into a callback, which cannot pass it on
            leave()
        hook(told)

    signal.signal(signal.SIGINT, stop)
    sys.unraisablehook = unraisable
    try:
        status = job()
        signal.signal(signal.SIGINT, signal.SIG_IGN)
    except BaseException:  # what a half-done import makes of it, too
        if not asked:
            raise
        leave()
        raise  # nobody comes here
    return status
