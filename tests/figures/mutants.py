"""Every reader of tint against broken files: nothing but one line of refusal, no warning, no hang, no flood of memory.

    python tests/figures/mutants.py [--seconds 600] [--seed 0] [--kind mesh ...]

Small good files of every kind are flipped, cut, repeated, spliced with each other, and their numbers blown up. Every
mutant must be read, or refused by one line. What lies packed in an archive is broken before it is packed as often as
after. Memory is held to 1 GB. Prints how many were which, the slowest, and the most memory.
"""

from __future__ import annotations

import argparse
import random
import re
import resource
import signal
import sys
import time
import traceback
import warnings
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

sys.path.insert(0, str(Path(__file__).parent))

import readers
from instrument_files import seeds

from tint.errors import InputError, TintError
from tint.swatches.instruments import parse_measurements

LONGEST_S = 5.0  # processor time; a pattern that backtracks takes minutes
MOST_BYTES = 1_000_000_000

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


# Every kind of file that tint reads.

FAULTS = ("tracebacks", "warnings", "hangs", "memory", "not finite", "altered")


@dataclass
class Outcome:
    """What became of the mutants of one kind of file."""

    mutants: int = 0
    read: int = 0
    faults: dict[str, int] = field(default_factory=lambda: dict.fromkeys(FAULTS, 0))
    slowest_s: float = 0.0
    told: dict[str, str] = field(default_factory=dict)

    def add(self, fault: str, error: BaseException | str, data: bytes) -> None:
        """Count a fault, and keep the first mutant of each."""
        self.faults[fault] += 1
        trace = traceback.extract_tb(error.__traceback__) if isinstance(error, BaseException) else []
        own = [f"{Path(each.filename).name}:{each.lineno}" for each in trace if "/tint/" in each.filename]
        last = [f"{Path(each.filename).name}:{each.lineno}" for each in trace[-1:]]
        kind = f"{type(error).__name__}: {error!s:.100}" if isinstance(error, BaseException) else error
        line = f"{fault}: {kind} at {' '.join(own[-2:] + last)}"
        key = re.sub(r"[0-9]+(?![0-9]*$)", "N", f"{type(error).__name__} {own[-1:]}")
        if key not in self.told:
            self.told[key] = f"{line} of {data[:200]!r}"


def judge(reader: readers.Reader, data: bytes, outcome: Outcome) -> None:
    """Have a mutant read and note what became of it."""
    outcome.mutants += 1
    start = time.process_time()
    before = signal.signal(signal.SIGPROF, _ring)
    signal.setitimer(signal.ITIMER_PROF, LONGEST_S)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            reader.read(data)
        outcome.read += 1
    except TintError as error:
        if "\n" in str(error) or len(str(error)) > 1000:
            outcome.add("tracebacks", f"an error of {len(str(error))} characters", data)
    except TooSlowError as error:
        outcome.add("hangs", error, data)
    except MemoryError as error:
        outcome.add("memory", error, data)
    except Warning as error:
        outcome.add("warnings", error, data)
    except readers.NotFiniteError as error:
        outcome.add("not finite", error, data)
    except readers.AlteredError as error:
        outcome.add("altered", error, data)
    except Exception as error:  # whatever else comes is what is looked for
        outcome.add("tracebacks", error, data)
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)
    outcome.slowest_s = max(outcome.slowest_s, time.process_time() - start)


def mutant(reader: readers.Reader, chance: random.Random, others: list[bytes]) -> bytes:
    """A good file of a reader's, broken."""
    data = chance.choice(reader.good)
    if reader.broken is not None:
        return reader.broken(data, chance)
    packed = data[:2] == b"PK" and chance.random() < 0.6
    inner = readers.unpacked(data) if packed else {"": data}
    name = chance.choice(list(inner))
    for _ in range(chance.choice((1, 1, 1, 2, 3))):
        inner[name] = chance.choice(MUTATIONS)(inner[name] or b"0", chance, others)
    broken = readers.packed(inner) if packed else inner[""]
    return reader.sealed(broken) if chance.random() < 0.5 else broken


def run(kinds: dict[str, readers.Reader], seconds: float, seed: int) -> dict[str, Outcome]:
    """Break files of every kind for so long, each kind for as long as another."""
    chance = random.Random(seed)
    outcomes = {name: Outcome() for name in kinds}
    for name, reader in kinds.items():
        others = [*reader.good, *(each for other in kinds.values() for each in other.good if len(each) < 20_000)]
        until = time.monotonic() + seconds / len(kinds)
        while time.monotonic() < until:
            judge(reader, mutant(reader, chance, others), outcomes[name])
        print(_row(name, outcomes[name]), flush=True)
    return outcomes


def _row(name: str, each: Outcome) -> str:
    faults = " ".join(f"{count:10d}" for count in each.faults.values())
    return f"{name:16s} {each.mutants:8d} {each.read:8d} {faults} {1000 * each.slowest_s:7.0f} ms {peak_mb():6.0f} MB"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seconds", type=float, default=600.0)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--kind", nargs="*", default=[])
    asked = parser.parse_args()
    with readers.all_kinds() as kinds:
        resource.setrlimit(resource.RLIMIT_DATA, (MOST_BYTES, MOST_BYTES))
        chosen = {name: kinds[name] for name in asked.kind or kinds}
        print(f"{'kind':16s} {'mutants':>8s} {'read':>8s} {' '.join(f'{each:>10s}' for each in FAULTS)} slowest   peak")
        outcomes = run(chosen, asked.seconds, asked.seed)
    print(f"{sum(each.mutants for each in outcomes.values())} mutants, seed {asked.seed}")
    told = [f"{name}: {line}" for name, each in outcomes.items() for line in each.told.values()]
    print("\n".join(told))
    sys.exit(1 if told else 0)


if __name__ == "__main__":
    main()
