"""A fan in bulk: targets a second, growth, equality with tint.solve, killed runs, a cluster that loses members.

python tests/figures/fans.py FOLDER speed|growth|equal|killed|cluster [--most-pigments N] [--targets N]

FOLDER is a swatch folder that was fitted, such as a copy of swatches_demo; or, for speed, growth and equal, a number of
invented pigments, three castings each (growth.py). Targets are drawn evenly from a lattice of CIELAB, no two of them
alike, for base `clear`, 3 mm and solid, so that about half of them cannot be had. `cluster`, and speed and growth with
two workers, need dask.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import pickle
import random
import resource
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path

import growth as invented

import tint
from tint.fans import Common, Wish, lattice, read_rows, run_fan
from tint.fans.rows import asked_of, row_of
from tint.fans.run import engine_of
from tint.fans.targets import solved
from tint.fitting import fit_palette
from tint.palette import Palette

SEED, KILLS = 7, 30


def common_of(most: int) -> Common:
    return Common(walls_mm=(3.0,), base="clear", opacity="solid", rules=tint.Rules(most_pigments=most))


def palette_of(folder: Path) -> Palette:
    """The palette of a folder, or one of so many invented pigments."""
    if not str(folder).isdigit():
        return tint.load(folder)
    pigments = int(str(folder))
    return fit_palette(invented.folder(3 * pigments, pigments))


def wishes_of(palette: Palette, common: Common, count: int) -> list[Wish]:
    """So many targets, evenly drawn from a lattice that holds as many: steps of 8 make 1,617."""
    every = list(lattice(8.0 * min((1617 / count) ** (1 / 3), 1.0) * 0.98, palette, common))
    return [every[at * len(every) // count] for at in range(count)]


def busy() -> tuple[float, float]:
    """Processor time of this process, and of its children that have ended [s]."""
    own, below = resource.getrusage(resource.RUSAGE_SELF), resource.getrusage(resource.RUSAGE_CHILDREN)
    return own.ru_utime + own.ru_stime, below.ru_utime + below.ru_stime


def timed(palette: Palette, wishes: Sequence[Wish], common: Common, out: Path, workers: int) -> None:
    """One run, with what it took; the start of the workers stands apart."""
    began, before = time.perf_counter(), busy()
    with engine_of(workers=workers) as engine:
        started = time.perf_counter() - began
        fan = run_fan(palette, wishes, common, out, engine=engine)
        took = time.perf_counter() - began - started
    own, below = (after - since for after, since in zip(busy(), before, strict=True))
    peak = resource.getrusage(resource.RUSAGE_CHILDREN if workers > 1 else resource.RUSAGE_SELF).ru_maxrss / 1024.0
    print(
        f"{len(wishes):6} targets, {workers} workers: {took:7.1f} s, {len(wishes) / took:6.2f} targets/s, start "
        f"{started:.1f} s; processor {own:.1f} s here, {below:.1f} s in workers; {fan.reached} reached; "
        f"largest process {peak:.0f} MB; load {os.getloadavg()[0]:.1f}",
        flush=True,
    )


def speed(palette: Palette, wishes: list[Wish], common: Common, place: Path) -> None:
    """One and two workers, and a single warm solve."""
    print(f"the palette is {len(pickle.dumps(palette)) / 1e6:.2f} MB")
    few = wishes[:: max(len(wishes) // 20, 1)]
    for wish in few[:2]:
        solved(palette, wish, common, 1)
    began = time.process_time()
    found = [solved(palette, wish, common, at) for at, wish in enumerate(few, start=1)]
    print(f"a warm tint.solve: {(time.process_time() - began) / len(found):.3f} s of processor, mean of {len(found)}")
    for workers in (1, 2):
        timed(palette, wishes, common, place / f"{workers}.csv", workers)
    print("same bytes:", (place / "1.csv").read_bytes() == (place / "2.csv").read_bytes())


def growth(palette: Palette, wishes: list[Wish], common: Common, place: Path) -> None:
    """A hundredth of the targets, a tenth and all of them, with two workers."""
    for each in (wishes[::100], wishes[::10], wishes):
        timed(palette, each, common, place / f"{len(each)}.csv", 2)


def equal(palette: Palette, wishes: list[Wish], common: Common, place: Path) -> None:
    """Rows of a run against tint.solve, called with plain arguments, to the last digit."""
    run_fan(palette, wishes, common, place / "fan.csv")
    same = 0
    for at, (row, wish) in enumerate(zip(read_rows(place / "fan.csv"), wishes, strict=True), start=1):
        answer = tint.solve(palette, lab=wish.lab, opacity="solid", base="clear", thickness_mm=3.0, rules=common.rules)
        many = solved(palette, wish, common, at)
        assert many.answer is not None
        same += many.answer.to_json() == answer.to_json() and row == row_of(many, asked_of(wish, common))
    print(f"{same} of {len(wishes)} equal tint.solve, row and answer")


# What is killed.


def again(folder: Path, options: argparse.Namespace, out: Path, *, scheduler: str = "") -> subprocess.Popen[bytes]:
    """A run in a process of its own."""
    more = ["--scheduler", scheduler] if scheduler else []
    told = ["--most-pigments", str(options.most_pigments), "--targets", str(options.targets), "--out", str(out), *more]
    return subprocess.Popen([sys.executable, __file__, str(folder), "run", *told], stderr=subprocess.DEVNULL)


def killed(palette: Palette, wishes: list[Wish], common: Common, place: Path, options: argparse.Namespace) -> None:
    """A run that is killed at random moments until that was done so many times, over as many runs as it takes."""
    run_fan(palette, wishes, common, place / "whole.csv")
    whole, chance = (place / "whole.csv").read_bytes(), random.Random(SEED)
    kills = finished = same = 0
    while kills < KILLS:
        out = place / f"{finished}.csv"
        process = again(options.folder, options, out)
        try:
            process.wait(chance.uniform(1.0, 8.0))
        except subprocess.TimeoutExpired:
            process.send_signal(signal.SIGKILL)
            process.wait()
            kills += 1
        finished, same = finished + out.exists(), same + (out.exists() and out.read_bytes() == whole)
    last = place / f"{finished}.csv"
    again(options.folder, options, last).wait()
    finished, same = finished + 1, same + (last.read_bytes() == whole)
    print(f"killed {kills} times over {finished} runs; {same} of {finished} tables equal an undisturbed run's")


def cluster(palette: Palette, wishes: list[Wish], common: Common, place: Path, options: argparse.Namespace) -> None:
    """A scheduler and two workers in processes of their own: a worker is killed ten times, the scheduler once."""
    run_fan(palette, wishes, common, place / "whole.csv")
    port = 8700 + os.getpid() % 200
    address, out, chance = f"tcp://127.0.0.1:{port}", place / "out.csv", random.Random(SEED)

    def start(*words: str) -> subprocess.Popen[bytes]:
        told = {"DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "20", "OMP_NUM_THREADS": "1"}
        quiet = subprocess.DEVNULL
        return subprocess.Popen([sys.executable, "-m", *words], env=os.environ | told, stdout=quiet, stderr=quiet)

    def scheduler() -> subprocess.Popen[bytes]:
        return start("distributed.cli.dask_scheduler", "--port", str(port), "--no-dashboard")

    def worker() -> subprocess.Popen[bytes]:
        return start("distributed.cli.dask_worker", address, "--nthreads", "1", "--no-nanny", "--no-dashboard")

    members = [scheduler(), worker(), worker()]
    try:
        time.sleep(5.0)
        began = time.perf_counter()
        run, kills, lost = again(options.folder, options, out, scheduler=address), 0, 0
        while not out.exists():
            with contextlib.suppress(subprocess.TimeoutExpired):
                run.wait(chance.uniform(3.0, 6.0))
            if run.poll() is not None and not out.exists():  # its scheduler was lost
                run = again(options.folder, options, out, scheduler=address)
            elif kills < 10:
                victim = 1 + kills % 2
                members[victim].kill()
                members[victim].wait()
                members[victim] = worker()
                kills += 1
            elif not lost:
                for each in members:
                    each.kill()
                    each.wait()
                members[:] = [scheduler(), worker(), worker()]
                lost = 1
        run.wait()
    finally:
        for each in members:
            each.kill()
    rows = [row.number for row in read_rows(out)]
    print(
        f"workers killed {kills} times, scheduler {lost}: {len(rows)} rows of {len(wishes)}, each once: "
        f"{rows == list(range(1, len(wishes) + 1))}; same bytes: "
        f"{out.read_bytes() == (place / 'whole.csv').read_bytes()}; {time.perf_counter() - began:.0f} s"
    )


def run(palette: Palette, wishes: list[Wish], common: Common, options: argparse.Namespace) -> None:
    """The run that is killed: two targets a chunk."""
    with engine_of(scheduler=options.scheduler) as engine:
        run_fan(palette, wishes, common, options.out, engine=engine, chunk=2)


def main() -> None:
    """Measure what is named."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("what", choices=("speed", "growth", "equal", "killed", "cluster", "run"))
    parser.add_argument("--most-pigments", type=int, default=4)
    parser.add_argument("--targets", type=int, default=100)
    parser.add_argument("--out", type=Path, default=Path("out.csv"))
    parser.add_argument("--scheduler", default="")
    options = parser.parse_args()
    palette = palette_of(options.folder)
    common = common_of(options.most_pigments)
    wishes = wishes_of(palette, common, options.targets)
    plain: dict[str, Callable[..., None]] = {"speed": speed, "growth": growth, "equal": equal}
    with tempfile.TemporaryDirectory() as place:
        if options.what in plain:
            plain[options.what](palette, wishes, common, Path(place))
        elif options.what == "run":
            run(palette, wishes, common, options)
        else:
            {"killed": killed, "cluster": cluster}[options.what](palette, wishes, common, Path(place), options)


if __name__ == "__main__":
    main()
