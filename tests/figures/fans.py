"""A fan in bulk: targets a second, memory, equality with tint.solve, killed runs, a cluster that loses members.

python tests/figures/fans.py FOLDER bulk --targets 10000 --workers 1 2
python tests/figures/fans.py 20 bulk --targets 1000 --workers 1 2
python tests/figures/fans.py FOLDER single --targets 20
python tests/figures/fans.py FOLDER equal|killed|cluster [--targets N] [--most-pigments N]

FOLDER is a swatch folder that was fitted, such as a copy of swatches_demo; or, for bulk, single and equal, a number of
invented pigments, three castings each (growth.py). Targets are drawn evenly from a lattice of CIELAB, no two of them
alike, for base `clear`, 3 mm and solid, so that about half of them cannot be had. `cluster`, and bulk with two workers,
need dask.
"""

from __future__ import annotations

import argparse
import contextlib
import itertools
import os
import pickle
import random
import resource
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import growth as invented

import tint
from tint.fans import Common, Wish, lattice, read_rows, run_fan
from tint.fans.solving import CHUNK, asked_of, engine_of, row_of, solved
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


def spent() -> tuple[float, float]:
    """Processor time of this process so far [s], and the most memory that it has held [MB]."""
    own = resource.getrusage(resource.RUSAGE_SELF)
    return own.ru_utime + own.ru_stime, own.ru_maxrss / 1024.0


def of_workers(workers: int) -> list[tuple[float, float]]:
    """The same of each worker; one worker is this process."""
    if workers == 1:
        return [spent()]
    from distributed import default_client

    return list(default_client().run(spent).values())


def single(palette: Palette, wishes: list[Wish], common: Common) -> None:
    """A warm `tint.solve` beside the row of a fan, each of the same targets in this process."""
    print(f"the palette is {len(pickle.dumps(palette)) / 1e6:.2f} MB")
    for wish in wishes[:2]:
        solved(palette, wish, common, 1)
    for what, alone in (("tint.solve", False), ("a row of a fan", True)):
        began = spent()[0]
        for at, wish in enumerate(wishes, start=1):
            solved(palette, wish, common, at, best_only=alone)
        print(
            f"{what}, warm: {(spent()[0] - began) / len(wishes):.3f} s of processor, mean of {len(wishes)}", flush=True
        )


def bulk(palette: Palette, wishes: list[Wish], common: Common, place: Path, options: argparse.Namespace) -> None:
    """A hundredth of the targets, a tenth and all of them: a row each, and the memory of each worker on the way."""
    for workers, each in itertools.product(options.workers, (wishes[::100], wishes[::10], wishes)):
        tell = watching(workers, options.every)
        began = time.perf_counter()
        with engine_of(workers=workers) as engine:
            before, started = of_workers(workers), time.perf_counter()
            fan = run_fan(palette, each, common, place / f"{workers} {len(each)}.csv", engine=engine, progress=tell)
            took, after = time.perf_counter() - started, of_workers(workers)
        busy = sum(now - then for (now, _), (then, _) in zip(after, before, strict=True)) / len(each)
        print(
            f"{len(each):6} targets, {len(palette.pigments)} pigments, {workers} workers: {took:.1f} s, "
            f"{len(each) / took:.2f} targets/s, start {started - began:.1f} s; {busy:.3f} s of processor a target; "
            f"most memory of a worker {megabytes(after)}, of this process {spent()[1]:.0f} MB; {fan.reached} reached; "
            f"load {os.getloadavg()[0]:.1f}",
            flush=True,
        )


def watching(workers: int, every: int) -> Callable[[str, int, int], None]:
    """What a run tells its progress to: prints the memory of its workers after every so many targets."""

    def tell(_: str, done: int, of: int) -> None:
        if done % every < CHUNK and done >= every:  # rows come in chunks
            print(f"  {done:6} done: most memory of a worker {megabytes(of_workers(workers))}", flush=True)

    return tell


def megabytes(of: list[tuple[float, float]]) -> str:
    return ", ".join(f"{most:.0f} MB" for _, most in of)


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
    parser.add_argument("what", choices=("bulk", "single", "equal", "killed", "cluster", "run"))
    parser.add_argument("--most-pigments", type=int, default=4)
    parser.add_argument("--targets", type=int, default=100)
    parser.add_argument("--workers", type=int, nargs="+", default=[2])
    parser.add_argument("--every", type=int, default=200, help="targets after which the memory is printed")
    parser.add_argument("--out", type=Path, default=Path("out.csv"))
    parser.add_argument("--scheduler", default="")
    options = parser.parse_args()
    palette = palette_of(options.folder)
    common = common_of(options.most_pigments)
    wishes = wishes_of(palette, common, options.targets)
    placed: dict[str, Callable[..., None]] = {"bulk": bulk, "killed": killed, "cluster": cluster}
    with tempfile.TemporaryDirectory() as place:
        if options.what == "single":
            single(palette, wishes, common)
        elif options.what == "equal":
            equal(palette, wishes, common, Path(place))
        elif options.what == "run":
            run(palette, wishes, common, options)
        else:
            placed[options.what](palette, wishes, common, Path(place), options)


if __name__ == "__main__":
    main()
