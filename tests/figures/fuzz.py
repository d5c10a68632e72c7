"""The readers of instruments' files against broken files: nothing but an InputError, no hang, no flood of memory.

    python tests/figures/fuzz.py [--count 200000] [--seed 0]

Small good files of every format are flipped, cut, repeated, spliced with each other, and their numbers blown up. Every
mutant must be read, or refused by one line that names the file. Prints how many were which, and the slowest.
"""

from __future__ import annotations

import argparse
import random
import re
import resource
import signal
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from instrument_files import seeds

from tint.errors import InputError
from tint.swatches.instruments import parse_measurements

LONGEST_S = 10.0  # processor time; a pattern that backtracks takes minutes
MOST_MB = 500.0

_NUMBER = re.compile(rb"\d+(?:\.\d+)?")
_BLOWN = (
    b"0", b"-1", b"-0", b"1e308", b"1e-308", b"1e999", b"9" * 30, b"9" * 5000, b"nan", b"inf", b"0x10", b"1_000",
    b"1,5", b"1e5", b"2147483648", b"99999999999999999999", b"", b"1.2.3", b"\xd9\xa3", b"5e-324",
)  # fmt: skip
_WORDS = (
    b'"', b'""', b"'", b",", b";", b"\t", b"\n", b"\r", b"\x00", b"#", b"BEGIN_DATA\n", b"END_DATA\n", b"KEYWORD ",
    b"BEGIN_DATA_FORMAT\n", b"END_DATA_FORMAT\n", b"NUMBER_OF_SETS 999999999\n", b"SPECTRAL_NM ", b"<a>", b"</a>",
    b"<![CDATA[", b"]]>", b"&amp;", b"&x;", b"&#0;", b"&#x10FFFF;", b"<!DOCTYPE x>", b"<?x?>", b"<!--", b"nm",
    b"wavelength", b"\xff\xfe", b"\xef\xbb\xbf", b"\xc3\x28", "µ".encode(), b'Increment="1e-9"',
    b'StartWL="1e9"', b"PK\x03\x04",
)  # fmt: skip

Mutation = Callable[[bytes, random.Random, list[bytes]], bytes]


def flipped(data: bytes, chance: random.Random, others: list[bytes]) -> bytes:
    """A few bytes are others."""
    mutant = bytearray(data)
    kinds = range(256) if chance.random() < 0.2 else range(32, 127)
    for _ in range(chance.randint(1, 4)):
        mutant[chance.randrange(len(mutant))] = chance.choice(kinds)
    return bytes(mutant)


def cut(data: bytes, chance: random.Random, others: list[bytes]) -> bytes:
    """It ends early, or begins late."""
    at = chance.randrange(len(data))
    return data[:at] if chance.random() < 0.7 else data[at:]


def without(data: bytes, chance: random.Random, others: list[bytes]) -> bytes:
    """A piece is missing."""
    first, last = sorted(chance.randrange(len(data)) for _ in range(2))
    return data[:first] + data[last:]


def repeated(data: bytes, chance: random.Random, others: list[bytes]) -> bytes:
    """A piece stands often, now and then very often."""
    first = chance.randrange(len(data))
    piece = data[first : first + chance.randint(1, 400)]
    times = chance.choice((2, 2, 3, 10, 100)) if chance.random() < 0.995 else 2_000_000 // len(piece)
    return data[:first] + piece * times + data[first + len(piece) :]


def spliced(data: bytes, chance: random.Random, others: list[bytes]) -> bytes:
    """It goes on as another file, or holds a piece of one."""
    other = chance.choice(others)
    first, begin = chance.randrange(len(data)), chance.randrange(len(other))
    if chance.random() < 0.5:
        return data[:first] + other[begin:]
    return data[:first] + other[begin : begin + chance.randint(1, 300)] + data[first:]


def blown_up(data: bytes, chance: random.Random, others: list[bytes]) -> bytes:
    """A few numbers are none, or beyond all measure."""
    found = list(_NUMBER.finditer(data))
    chosen = sorted(chance.sample(found, min(len(found), chance.randint(1, 4))), key=lambda each: -each.start())
    for each in chosen:
        data = data[: each.start()] + chance.choice(_BLOWN) + data[each.end() :]
    return data


def interspersed(data: bytes, chance: random.Random, others: list[bytes]) -> bytes:
    """Marks of the formats stand where they should not."""
    for _ in range(chance.randint(1, 4)):
        at = chance.randrange(len(data) + 1)
        data = data[:at] + chance.choice(_WORDS) + data[at:]
    return data


def shuffled(data: bytes, chance: random.Random, others: list[bytes]) -> bytes:
    """Two lines have changed places."""
    lines = data.split(b"\n")
    one, two = chance.randrange(len(lines)), chance.randrange(len(lines))
    lines[one], lines[two] = lines[two], lines[one]
    return b"\n".join(lines)


MUTATIONS: tuple[Mutation, ...] = (
    flipped, cut, without, repeated, spliced, blown_up, blown_up, interspersed, interspersed, shuffled,
)  # fmt: skip


class TooSlowError(Exception):
    """A reader has not come back in time."""


def _ring(signum: int, frame: FrameType | None) -> None:
    raise TooSlowError


@dataclass
class Tally:
    """What became of the mutants of one seed."""

    read: int = 0
    refused: int = 0
    slowest_s: float = 0.0
    defects: list[str] = field(default_factory=list)


def try_one(data: bytes, tally: Tally) -> None:
    """Read a mutant and note what became of it."""
    start = time.process_time()
    before = signal.signal(signal.SIGPROF, _ring)
    signal.setitimer(signal.ITIMER_PROF, LONGEST_S)
    try:
        for each in parse_measurements(data, file="mutant"):
            for array in (each.wavelengths, each.values, each.lab, each.xyz):
                assert array is None or np.all(np.isfinite(array)), "a number that is none"
            assert each.wavelengths is None or np.all(np.diff(each.wavelengths) > 0), "wavelengths that do not rise"
            assert (each.values is None) == (each.wavelengths is None), "half a spectrum"
        tally.read += 1
    except InputError as error:
        tally.refused += 1
        line = str(error)
        if "\n" in line or len(line) > 1000 or not line.startswith("mutant"):
            tally.defects.append(f"an error that is not a line of the file: {line[:300]!r}")
    except Exception as error:  # whatever else comes is what is looked for
        tally.defects.append(f"{type(error).__name__}: {error!s:.200} of {data[:2000]!r}")
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)
    taken = time.process_time() - start
    tally.slowest_s = max(tally.slowest_s, taken)
    if taken > LONGEST_S:
        tally.defects.append(f"{taken:.1f} s for {data[:300]!r}")


def fuzz(count: int, seed: int = 0) -> dict[str, Tally]:
    """Break good files `count` times and read what comes of it; by the name of the file."""
    chance = random.Random(seed)
    good = seeds()
    tallies = {name: Tally() for name in good}
    names, others = list(good), list(good.values())
    for at in range(count):
        name = names[at % len(names)]
        data = good[name]
        for _ in range(chance.choice((1, 1, 1, 2, 3))):
            data = chance.choice(MUTATIONS)(data or b"0", chance, others)
        try_one(data, tallies[name])
    return tallies


def peak_mb() -> float:
    """The most memory that this process has held."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / (1024.0 if sys.platform != "darwin" else 1024.0**2)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--count", type=int, default=200_000)
    parser.add_argument("--seed", type=int, default=0)
    asked = parser.parse_args()
    start = time.perf_counter()
    tallies = fuzz(asked.count, asked.seed)
    print(f"{'file':28s} {'read':>8s} {'refused':>8s} {'defects':>8s} {'slowest':>9s}")
    for name, each in tallies.items():
        row = f"{each.read:8d} {each.refused:8d} {len(each.defects):8d} {1000 * each.slowest_s:6.0f} ms"
        print(f"{name:28s} {row}")
    defects = [each for tally in tallies.values() for each in tally.defects]
    print(f"{asked.count} mutants in {time.perf_counter() - start:.0f} s, peak memory {peak_mb():.0f} MB")
    print("\n".join(defects[:20]))
    sys.exit(1 if defects or peak_mb() > MOST_MB else 0)


if __name__ == "__main__":
    main()
