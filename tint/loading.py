"""Ctrl-C while the program is being loaded: it ends at once, in one line."""

from __future__ import annotations

import os
import signal

STOPPED = 130  # 128 and the number of the signal SIGINT, as shells have it
LINE = "tint: stopped before it was done\n"


def leave(*_: object) -> None:
    """End at once."""
    os.write(2, ("\n" * os.isatty(2) + LINE).encode())  # behind the ^C that a terminal shows
    os._exit(STOPPED)


def be_ready() -> None:
    """Have a Ctrl-C end the process from now on."""
    signal.signal(signal.SIGINT, leave)
