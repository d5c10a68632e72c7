"""What scripts over random workshops are asked on the command line, and their workshops judged in several processes."""

from __future__ import annotations

import argparse
import multiprocessing
from collections.abc import Callable, Iterable, Iterator
from typing import TypeVar

Job = TypeVar("Job")
Found = TypeVar("Found")


def parser_of(description: str | None) -> argparse.ArgumentParser:
    """A parser that takes seeds and a number of processes."""
    parser = argparse.ArgumentParser(description=description, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("seeds", type=lambda told: range(*map(int, told.split(":"))), help="FIRST:LAST")
    parser.add_argument("--jobs", type=int, default=2)
    return parser


def judged(judge: Callable[[Job], Found], jobs: Iterable[Job], processes: int) -> Iterator[Found]:
    """What `judge` says of each job, in order."""
    with multiprocessing.get_context("spawn").Pool(processes) as pool:
        yield from pool.imap(judge, jobs)
