"""What a workshop's files stand: every writer killed and interrupted at any moment, two writers at once, a full disk, a
read-only folder. Prints what was done and what was left.

    python tests/figures/kills.py --kills 300 --interrupts 200

A kill falls between the start of a command and a little past its usual end, in a process that has its modules already:
so that it hits the work. After each, what stands must be whole. Interrupts are sent the same way, and as many again to
processes that only start: there Python itself comes first, and has no words of tint's, so that what is told apart is
whether tint's first line was reached.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import traceback
import zipfile
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parents[1]), str(HERE.parent)]

import numpy as np  # noqa: E402
from instrument_files import cgats, curve  # noqa: E402

from tint.cli import main  # noqa: E402
from tint.swatches import INPUT_FILES  # noqa: E402

GRID = np.arange(400.0, 701.0, 10.0)
DEMO = HERE.parents[1] / "swatches_demo"
BLEND = ("--base", "clear", "--load", "white=0.5", "--thickness", "3", "--optics", "two-flux")
ORDERED = (
    "lid.recipe.json",
    *(f"lid/{each}.pdf" for each in ("weigh", "labels", "approval")),
    *(f"lid/{each}" for each in ("weigh.csv", "expected.csv", "card.png", "approval.html")),
)
# A writer: its words, where FOLDER stands for the swatch folder and OUT for another, and the files that it writes.
WRITERS: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "import": (("import", "FOLDER", "FOLDER/again.cgats", "--seat", "air", "--replace"), ("FOLDER/readings.csv",)),
    "fit": (("fit", "FOLDER", "--optics", "two-flux"), ("FOLDER/palette.two-flux.fit",)),
    "ledger add": (("ledger", "add", "lesson", "FOLDER", "--text", "x"), ()),
    "ledger export": (("ledger", "export", "FOLDER", "--out", "OUT/tables"), ("OUT/tables/lessons.csv",)),
    "weigh": (
        ("weigh", "FOLDER", *BLEND, "--batch-g", "90", "--csv", "OUT/a.csv", "--pdf", "OUT/a.pdf", "--replace"),
        ("OUT/a.csv", "OUT/a.pdf"),
    ),
    "proof": (
        ("proof", "FOLDER", *BLEND, "--out", "OUT/p.png", "--sheet", "OUT/p.html", "--replace"),
        ("OUT/p.png", "OUT/p.html"),
    ),
    "order": (
        ("order", "FOLDER/orders/lid.toml"),
        tuple(f"FOLDER/orders/{name}" for name in ORDERED),
    ),
}
READERS: dict[str, tuple[str, ...]] = {
    "check": ("check", "FOLDER"),
    "predict": ("predict", "FOLDER", *BLEND),
    "solve": ("solve", "FOLDER", "--thickness", "3", "--target-lab", "70,20,40", "--optics", "two-flux"),
    "--help": ("--help",),
}


@dataclass(frozen=True)
class Running:
    """A process, and where its standard error is read."""

    number: int
    reading: int

    def ended(self) -> tuple[int, str]:
        """Its status, as shells count it, and what it said."""
        with open(self.reading, encoding="utf-8") as stream:
            said = stream.read()
        return os.waitstatus_to_exitcode(os.waitpid(self.number, 0)[1]), said


class Bench:
    """A swatch folder, fitted and with a ledger, and another folder to write to."""

    def __init__(self, place: Path) -> None:
        self.folder, self.out = place / "studio", place / "out"
        self.folder.mkdir()
        self.out.mkdir()
        for name in (*INPUT_FILES, "again.cgats"):
            shutil.copy(DEMO / name, self.folder)
        shutil.copytree(DEMO / "orders", self.folder / "orders")
        for told in (WRITERS["fit"][0], WRITERS["ledger add"][0], ("fit", "FOLDER")):
            assert self.run(told)[0] == 0

    def words(self, told: Sequence[str]) -> list[str]:
        return [each.replace("FOLDER", str(self.folder)).replace("OUT", str(self.out)) for each in told]

    def start(self, told: Sequence[str]) -> Running:
        """The program in a process of its own, a fork of this one."""
        reading, writing = os.pipe()
        sys.stdout.flush()
        number = os.fork()
        if number == 0:
            os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
            os.dup2(writing, 2)
            sys.argv = ["tint", *self.words(told)]
            sys.stdout, sys.stderr = (open(number, "w", encoding="utf-8") for number in (1, 2))  # noqa: SIM115
            status = 70
            try:
                main()
            except SystemExit as ended:
                status = int(ended.code or 0)
            except BaseException:
                traceback.print_exc()
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(status)
        os.close(writing)
        return Running(number, reading)

    def run(self, told: Sequence[str]) -> tuple[int, str]:
        return self.start(told).ended()

    def stopped(self, told: Sequence[str], after_s: float, by: signal.Signals) -> tuple[int, str]:
        """Status and standard error of a command that gets a signal some time after its start."""
        running = self.start(told)
        time.sleep(after_s)
        os.kill(running.number, by)
        return running.ended()

    def usual_s(self, told: Sequence[str]) -> float:
        took = []
        for _ in range(3):
            self.clean()
            began = time.perf_counter()
            status, words = self.run(told)
            assert status == 0, words  # else its refusal would be what is killed
            took.append(time.perf_counter() - began)
        return max(took[1:])

    def clean(self) -> None:
        """Ready for `ledger export`, which writes over nothing, and for an order, which makes nothing twice."""
        shutil.rmtree(self.out / "tables", ignore_errors=True)
        shutil.rmtree(self.folder / "orders" / "lid", ignore_errors=True)
        (self.folder / "orders" / "lid.recipe.json").unlink(missing_ok=True)

    def restore(self, name: str) -> None:
        """Readings and palettes as they were, after what changes them."""
        if name in ("import", "fit"):
            shutil.copy(DEMO / "readings.csv", self.folder)
            for told in (WRITERS["fit"][0], ("fit", "FOLDER")):
                assert self.run(told)[0] == 0

    def left(self) -> list[str]:
        """What is neither a file of the user's nor SQLite's log, which its next user takes up."""
        return [each.name for place in (self.folder, self.out) for each in place.rglob(".*.tint-*")]


def contents(bench: Bench, files: Sequence[str]) -> list[bytes | None]:
    places = [Path(each) for each in bench.words(files)]
    return [place.read_bytes() if place.exists() else None for place in places]


def whole(bench: Bench, files: Sequence[str]) -> bool:
    """Whether each file is there as a whole one, by its end, or not at all."""
    for name, data in zip(files, contents(bench, files), strict=True):
        end = {".pdf": b"%%EOF\n", ".png": b"IEND\xaeB`\x82", ".html": b"</html>", ".csv": b"\n", ".json": b"}"}.get(
            Path(name).suffix
        )
        if data is not None and end is not None and not data.rstrip(b"\n").endswith(end.rstrip(b"\n")):
            return False
        if name.endswith(".fit") and not (data and zipfile.is_zipfile(io.BytesIO(data))):
            return False
    return True


def ledger_sound(bench: Bench) -> tuple[bool, int]:
    """Whether the ledger is whole and holds an order no more than once, and how many lessons it holds."""
    from tint.ledger import Lesson, Order, entries, ledger_path, read_ledger

    with read_ledger(ledger_path(bench.folder)) as ledger:
        sound = [row[0] for row in ledger.rows("PRAGMA integrity_check")] == ["ok"]
        return sound and len(entries(ledger, Order)) <= 1, len(entries(ledger, Lesson))


def kills(bench: Bench, name: str, count: int, rng: random.Random) -> str:
    told, files = WRITERS[name]
    bench.clean()
    usual, done = bench.usual_s(told), Counter[str]()
    for _ in range(count):
        bench.clean()
        before, had = ledger_sound(bench)[1], set(bench.left())
        status, _ = bench.stopped(told, rng.uniform(0.0, 1.1) * usual, signal.SIGKILL)
        done["half written"] += not whole(bench, files)
        done["left over"] += bool(set(bench.left()) - had)
        done["ended first"] += status == 0
        sound, held = ledger_sound(bench)
        done["ledger unsound"] += not sound
        done["lost"] += held < before + (name == "ledger add" and status == 0)
    if name != "order":  # one that was killed goes on from where it was
        bench.clean()
    again = bench.run(told)
    done["half written"] += not whole(bench, files) or None in contents(bench, files)
    return (
        f"{name:14s} {count} kills ({done['ended first']} after its end): {done['half written']} half written, "
        f"{done['lost']} lost, {done['ledger unsound']} unsound, left-overs after {done['left over']} of them, "
        f"{len(bench.left())} after the next run (status {again[0]})"
    )


def interrupts(bench: Bench, name: str, count: int, rng: random.Random) -> tuple[str, list[str]]:
    told = WRITERS[name][0] if name in WRITERS else READERS[name]
    files = WRITERS[name][1] if name in WRITERS else ()
    bench.clean()
    usual, done, odd = bench.usual_s(told), Counter[str](), []
    for _ in range(count):
        bench.clean()
        status, words = bench.stopped(told, rng.uniform(0.0, 1.0) * usual, signal.SIGINT)
        one_line = words == "tint: stopped before it was done\n"
        kind = "one line" if (status, one_line) == (130, True) else "done" if (status, words) == (0, "") else "other"
        done[kind] += 1
        odd += [f"{status}: {words[-300:]!r}"] if kind == "other" else []
        done["half written"] += not whole(bench, files)
        done["left over"] += bool(bench.left())
    return (
        f"{name:14s} {count} interrupts: {done['one line']} with 130 and one line, {done['done']} were done, "
        f"{done['other']} other; {done['half written']} half written, {done['left over']} left over"
    ), odd


def starting(count: int, rng: random.Random) -> tuple[str, list[str]]:
    """Interrupts of processes that only start; a traceback without a line of tint is Python's, which starts first."""
    command = [sys.executable, "-m", "tint", "--help"]
    took = []
    for _ in range(5):
        began = time.perf_counter()
        subprocess.run(command, capture_output=True, check=True)
        took.append(time.perf_counter() - began)
    usual, done, odd = sorted(took)[2], Counter[str](), []
    for _ in range(count):
        process = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True)
        time.sleep(rng.uniform(0.0, 1.0) * usual)
        process.send_signal(signal.SIGINT)
        told = process.communicate()[1]
        ended = (process.returncode, told) == (130, "tint: stopped before it was done\n")
        if ended or (process.returncode, told) == (0, ""):
            done["one line" if ended else "done"] += 1
        elif f"{HERE.parents[1] / 'tint'}{os.sep}" in told:
            done["other"] += 1
            odd.append(f"{process.returncode}: {told[-300:]!r}")
        else:
            done["before tint"] += 1
    return (
        f"{'starting':14s} {count} interrupts: {done['one line']} with 130 and one line, {done['done']} were done, "
        f"{done['before tint']} before tint's first line, {done['other']} other"
    ), odd


def two_imports(bench: Bench, rounds: int) -> str:
    """Two processes that each add one reading, over and over."""
    rows = (bench.folder / "readings.csv").read_text(encoding="utf-8").count("\n")
    confirmed, said = 0, 0
    for at in range(rounds):
        running = []
        for who in range(2):
            file = bench.out / f"{who}.cgats"
            file.write_text(cgats({"grey-thick": curve(2 * at + who, GRID)}, wavelengths=GRID), encoding="utf-8")
            told = ("import", "FOLDER", str(file), "--backing", "white", "--seat", "air", "--add")
            running.append(bench.start(told))
        for each in running:
            status, words = each.ended()
            confirmed += status == 0
            said += "meanwhile" in words or "waiting" in words
            if status:
                print("   ", words.strip()[:200])
    there = (bench.folder / "readings.csv").read_text(encoding="utf-8").count("\n") - rows
    return f"two imports at once, {rounds} times: {confirmed} readings confirmed, {there} there; {said} said so"


@contextlib.contextmanager
def small_disk(at: Path, size: str) -> Iterator[None]:
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(at)], check=True)
    try:
        yield
    finally:
        subprocess.run(["umount", str(at)], check=True)


def full_disk(bench: Bench) -> Iterator[str]:
    """OUT on a disk with hardly room for one of the files."""
    with small_disk(bench.out, "128k"):
        (bench.out / "a.csv").write_text("before\n", encoding="utf-8")
        (bench.out / "filler").write_bytes(bytes(122_000))
        for name in ("weigh", "proof", "ledger export"):
            status, words = bench.run(WRITERS[name][0])
            names = sorted(each.name for each in bench.out.iterdir())
            told = words.strip().replace(str(bench.out), "OUT")
            kept = (bench.out / "a.csv").read_text(encoding="utf-8") == "before\n"
            yield f"full disk, {name}: [{status}] {told}; there: {', '.join(names)}; as before: {kept}"


def limited(bench: Bench) -> str:
    before = contents(bench, WRITERS["import"][1])
    was = resource.getrlimit(resource.RLIMIT_FSIZE)
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, was[1]))
    status, words = bench.run(WRITERS["import"][0])
    resource.setrlimit(resource.RLIMIT_FSIZE, was)
    same = contents(bench, WRITERS["import"][1]) == before
    told = words.strip().replace(str(bench.folder), "FOLDER")
    return f"files of 20 kB at most, import: [{status}] {told}; as before: {same}; left over: {bench.left()}"


def read_only(bench: Bench) -> Iterator[str]:
    with small_disk(bench.out, "8m"):
        subprocess.run(["mount", "-o", "remount,ro", str(bench.out)], check=True)
        for name in ("weigh", "ledger export"):
            status, words = bench.run(WRITERS[name][0])
            yield f"read-only, {name}: [{status}] {words.strip().replace(str(bench.out), 'OUT')}"


def figures() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--kills", type=int, default=300)
    parser.add_argument("--interrupts", type=int, default=200)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", nargs="*", default=[], help="of the commands, in place of all")
    asked = parser.parse_args()
    rng = random.Random(asked.seed)
    with tempfile.TemporaryDirectory() as place:
        bench = Bench(Path(place))
        print(two_imports(bench, 12), flush=True)
        shutil.copy(DEMO / "readings.csv", bench.folder)
        assert bench.run(WRITERS["fit"][0])[0] == 0
        print(limited(bench), flush=True)
        if os.geteuid() == 0:
            for line in (*full_disk(bench), *read_only(bench)):
                print(line, flush=True)
        line, odd = starting(asked.interrupts, rng)
        print(line, flush=True)
        several = [name for name in (*WRITERS, *READERS) if not asked.only or name in asked.only]
        for name in several:
            line, more = interrupts(bench, name, -(-asked.interrupts // len(several)), rng)
            print(line, flush=True)
            odd += more
            bench.restore(name)
        writers = [name for name in several if name in WRITERS]
        for name in writers:
            print(kills(bench, name, asked.kills // len(writers), rng), flush=True)
            bench.restore(name)
        print("\n".join(odd))


if __name__ == "__main__":
    figures()
