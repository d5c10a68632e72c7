"""Ctrl-C: the program ends in one line and with the status that shells have for it, wherever it is.

While it is being loaded it ends at once; later its job is unwound first. Little is imported here.
"""

from __future__ import annotations

import os
import signal
import sys

TYPE_CHECKING = False  # not from typing, which takes a while to load
if TYPE_CHECKING:
    from collections.abc import Callable

STOPPED = 130  # 128 and the number of the signal SIGINT, as shells have it
LINE = "tint: stopped before it was done\n"


def leave(*_: object) -> None:
    """End at once."""
    os.write(2, ("\n" * os.isatty(2) + LINE).encode())  # behind the ^C that a terminal shows
    os._exit(STOPPED)


def be_ready() -> None:
    """Have a Ctrl-C end the process from now on."""
    signal.signal(signal.SIGINT, leave)


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
