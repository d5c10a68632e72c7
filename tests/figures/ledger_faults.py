"""What a ledger stands: processes killed as they write, two writers, a full disk, a folder that cannot be written, an
older version, damaged bytes, files that are no ledger. Prints what was done to it and what was left.

    python tests/figures/ledger_faults.py

As root it mounts a small tmpfs for the full disk and the read-only folder; else it limits the size of files, and the
folder's rights. A kill is not a power cut: that a transaction is on the disk when it ends rests on SQLite's synchronous
FULL, which is read back here, and on the disk.
"""

from __future__ import annotations

import contextlib
import os
import random
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parents[1]), str(HERE.parent)]

from click.testing import CliRunner  # noqa: E402
from ledger_example import DIGEST, colour, fill, recipe  # noqa: E402

from tint.cli import main  # noqa: E402
from tint.errors import TintError  # noqa: E402
from tint.ledger import (  # noqa: E402
    KINDS,
    Lesson,
    Order,
    Reading,
    add,
    entries,
    ledger_path,
    open_ledger,
    read_ledger,
)
from tint.swatches import INPUT_FILES  # noqa: E402

DEMO = HERE.parents[1] / "swatches_demo"
VERSION_0 = HERE.parent / "ledger_version_0.sql"


def writer(path: str, name: str, count: int) -> None:
    """A process that adds an order with its reading, over and over, and says so when each is confirmed."""
    with open_ledger(path, palette_digest=DIGEST) as ledger:
        print("ready", flush=True)
        sys.stdin.readline()
        for at in range(count):
            with ledger.transaction():
                order = add(ledger, Order(name=f"{name} {at}", customer_words="x" * 2000))
                add(ledger, colour(70.0, at % 50, 6.0, order_id=order))
            print(f"{name} {at}", flush=True)
            time.sleep(0.001)


def start(path: Path, name: str, count: int) -> subprocess.Popen[str]:
    command = [sys.executable, str(Path(__file__)), "--write", str(path), name, str(count)]
    process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    return process


def go(process: subprocess.Popen[str]) -> None:
    assert process.stdin is not None
    process.stdin.write("go\n")
    process.stdin.flush()


def sound(path: Path) -> bool:
    """Whether SQLite itself finds nothing wrong, every pointer included."""
    with read_ledger(path) as ledger:
        whole = [row[0] for row in ledger.rows("PRAGMA integrity_check")] == ["ok"]
        return whole and not ledger.rows("PRAGMA foreign_key_check")


def names(path: Path) -> list[str]:
    with read_ledger(path) as ledger:
        return [each.content.name for each in entries(ledger, Order)]


def halves(path: Path) -> int:
    """Orders without their reading, or readings without their order."""
    with read_ledger(path) as ledger:
        orders = {each.id for each in entries(ledger, Order)}
        return len(orders ^ {each.content.order_id for each in entries(ledger, Reading)})


def killed_while_writing(folder: Path, rng: random.Random, *, kills: int = 60) -> str:
    path, confirmed = folder / "killed.sqlite3", []
    for at in range(kills):
        process = start(path, f"run {at}", 10_000)
        go(process)
        time.sleep(rng.uniform(0.0, 0.1))
        process.send_signal(signal.SIGKILL)
        confirmed += process.communicate()[0].splitlines()
    held = names(path)
    lost = set(confirmed) - set(held)
    return (
        f"{kills} kills among {len(confirmed)} confirmed writes: {len(lost)} lost, {halves(path)} half written, "
        f"{len(set(held) - set(confirmed))} whole but not yet confirmed; sound: {sound(path)}"
    )


def killed_while_opening(folder: Path, rng: random.Random, *, old: bool, kills: int = 60) -> str:
    """Kill a process that makes a ledger, or brings one to this version, at a moment from its start to past its end."""
    outcome: Counter[str] = Counter()
    for at in range(kills):
        path = folder / f"{'old' if old else 'new'} {at}.sqlite3"
        if old:
            make_version_0(path)
        code = "import sys; sys.path.insert(0, sys.argv[1]); from tint.ledger import open_ledger; print(flush=True); " \
               "open_ledger(sys.argv[2], palette_digest='d')"  # fmt: skip
        command = [sys.executable, "-c", code, str(HERE.parents[1]), str(path)]
        process = subprocess.Popen(command, stdout=subprocess.PIPE)
        assert process.stdout is not None
        process.stdout.readline()
        time.sleep(rng.uniform(0.0, 0.15))
        process.send_signal(signal.SIGKILL)
        process.wait()
        process.stdout.close()
        version = version_of(path)
        with open_ledger(path, palette_digest=DIGEST) as ledger:
            rows = len(entries(ledger, Order, all_rows=True))
            add(ledger, Lesson(text="still writable"))
        kept = len(list(folder.glob(f"{path.stem}.version-0.*.sqlite3")))
        whole = sound(path) and rows == (1 if old else 0) and (kept >= 1 or not old)
        outcome[f"left at version {version}" if whole else "BROKEN"] += 1
    return f"{kills} kills: {dict(sorted(outcome.items()))}, then opened and added to"


def version_of(path: Path) -> str:
    """As SQLite alone reads it: whole states only."""
    if not path.exists() or path.stat().st_size == 0:
        return "none"
    with contextlib.closing(sqlite3.connect(path)) as connection:
        made = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
        return str(connection.execute("PRAGMA user_version").fetchone()[0]) if made else "none"


def make_version_0(path: Path) -> None:
    with contextlib.closing(sqlite3.connect(path)) as connection:
        connection.executescript(VERSION_0.read_text(encoding="utf-8"))


def two_at_once(folder: Path, *, writers: int = 2, count: int = 150) -> str:
    path = folder / "shared.sqlite3"
    running = [start(path, f"writer {at}", count) for at in range(writers)]
    began = time.perf_counter()
    for process in running:
        go(process)
    told = [process.communicate()[0].splitlines() for process in running]
    took = time.perf_counter() - began
    held = names(path)
    confirmed = sorted(line for lines in told for line in lines)
    good = all(process.returncode == 0 for process in running) and sorted(held) == confirmed
    changes = sum(one.split()[1] != two.split()[1] for one, two in pairwise(held))
    return (
        f"{writers} writers, {count} writes each: {len(held)} there, all confirmed: {good}, writer changes {changes} "
        f"times, {halves(path)} half written, sound: {sound(path)}, {took:.1f} s"
    )


@contextlib.contextmanager
def small_disk(at: Path, size: str) -> Iterator[None]:
    at.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(at)], check=True)
    try:
        yield
    finally:
        subprocess.run(["umount", str(at)], check=True)


def fill_until_told(path: Path) -> tuple[int, str]:
    """Add until it is refused: how many were confirmed, and the words."""
    confirmed = 0
    try:
        with open_ledger(path, palette_digest=DIGEST) as ledger:
            while confirmed < 5000:
                add(ledger, Lesson(text=f"{confirmed} " + "x" * 3000))
                confirmed += 1
    except TintError as error:
        return confirmed, f"{type(error).__name__}: {str(error).replace(str(path), path.name)}"
    return confirmed, "never told"


def kept(path: Path) -> int:
    with read_ledger(path) as ledger:
        return len(entries(ledger, Lesson))


def full_disk(folder: Path) -> Iterator[str]:
    disk = folder / "disk"
    with small_disk(disk, "2m"):
        spare, path = disk / "spare", disk / "ledger.sqlite3"
        spare.write_bytes(bytes(500_000))
        confirmed, words = fill_until_told(path)
        yield f"tmpfs of 2 MB: {words}"
        spare.unlink()
        held, whole = kept(path), sound(path)
        with open_ledger(path, palette_digest=DIGEST) as ledger:
            add(ledger, Lesson(text="once there is room"))
        yield f"    {confirmed} confirmed, {held} there, sound: {whole}; added to once there was room"
        (disk / "filler").write_bytes(bytes(max(0, os.statvfs(disk).f_bavail * os.statvfs(disk).f_frsize)))
        yield f"    a new ledger on a full disk: {fill_until_told(disk / 'second.sqlite3')[1]}"


def limited_file(folder: Path) -> Iterator[str]:
    path = folder / "limited.sqlite3"
    code = (
        "import sys, resource; sys.path[:0] = sys.argv[1:3]\n"
        "from pathlib import Path; from ledger_faults import fill_until_told\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE, (600_000, 600_000))\n"
        "print(*fill_until_told(Path(sys.argv[3])))"
    )
    command = [sys.executable, "-c", code, str(HERE), str(HERE.parents[1]), str(path)]
    confirmed, _, words = subprocess.run(command, capture_output=True, text=True, check=True).stdout.partition(" ")
    yield f"files of 600 kB at most: {words.strip()}"
    yield f"    {confirmed} confirmed, {kept(path)} there, sound: {sound(path)}"


def command_line(*arguments: object) -> str:
    """How a command ends: `done`, or its line; anything else shows as what it was."""
    result = CliRunner().invoke(main, [str(each) for each in arguments])
    if result.exit_code == 0 and isinstance(result.exception, SystemExit | None):
        return "done"
    if isinstance(result.exception, SystemExit) and result.stderr.count("\n") == 1:
        return f"[{result.exit_code}] {result.stderr.strip()}"
    return f"DEFECT {result.exception!r}"


def swatches(folder: Path) -> Path:
    folder.mkdir(exist_ok=True)
    for file in INPUT_FILES:
        (folder / file).write_bytes((DEMO / file).read_bytes())
    return folder


def read_only(folder: Path, *, log_left: bool) -> Iterator[str]:
    place = folder / ("still, log left" if log_left else "still")
    with small_disk(place, "64m") if os.geteuid() == 0 else contextlib.nullcontext():
        swatches(place)
        with open_ledger(ledger_path(place), palette_digest=DIGEST) as ledger:
            fill(ledger)
        if log_left:  # by a writer that was killed
            process = start(ledger_path(place), "killed", 10_000)
            go(process)
            time.sleep(0.1)
            process.kill()
            process.communicate()
            assert Path(f"{ledger_path(place)}-wal").stat().st_size > 0
        if os.geteuid() == 0:
            subprocess.run(["mount", "-o", "remount,ro", str(place)], check=True)
        else:
            place.chmod(0o555)
        what = "read-only folder with a killed writer's log" if log_left else "read-only folder"
        listed = command_line("ledger", "list", place, "order").replace(str(place), "FOLDER")
        added = command_line("ledger", "add", "lesson", place, "--text", "x").replace(str(place), "FOLDER")
        yield f"{what}: list {listed}; add {added}"
        if os.geteuid() != 0:
            place.chmod(0o755)


def older(folder: Path) -> str:
    place = swatches(folder / "older")
    make_version_0(ledger_path(place))
    before = dump(ledger_path(place))
    told = command_line("ledger", "list", place)
    copies = list(place.glob("ledger.version-0.*.sqlite3"))
    same = len(copies) == 1 and dump(copies[0]) == before
    with read_ledger(ledger_path(place)) as ledger:
        rows = sum(len(entries(ledger, record, all_rows=True)) for record in KINDS.values())
    return f"version 0: list {told}, copy the same as before: {same}, {rows} entries in this version"


def dump(path: Path) -> list[str]:
    with contextlib.closing(sqlite3.connect(path)) as connection:
        return list(connection.iterdump())


def not_a_ledger(folder: Path) -> Iterator[str]:
    place = swatches(folder / "strange")
    path = ledger_path(place)
    for what, data in {
        "text": b"lid: 0.5 % white\n" * 200,
        "half a header": b"SQLite format 3\x00" + b"\xff" * 90,
    }.items():
        path.write_bytes(data)
        told = command_line("ledger", "add", "lesson", place, "--text", "x").replace(str(place), "FOLDER")
        yield f"{what}: {told}; left as it was: {path.read_bytes() == data}"
    path.unlink()
    with contextlib.closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE recipes (id INTEGER)")
    before = path.read_bytes()
    told = command_line("ledger", "add", "lesson", place, "--text", "x").replace(str(place), "FOLDER")
    yield f"another database: {told}; left as it was: {path.read_bytes() == before}"


def damaged(folder: Path, rng: random.Random, *, times: int = 300) -> str:
    place = swatches(folder / "damaged")
    path = ledger_path(place)
    with open_ledger(path, palette_digest=DIGEST) as ledger:
        for _ in range(20):
            fill(ledger)
    whole, outcome, defects = path.read_bytes(), Counter[str](), set[str]()
    for _ in range(times):
        at, length = rng.randrange(len(whole)), rng.choice((1, 8, 64, 512, 4096))
        path.write_bytes(whole[:at] + rng.randbytes(length) + whole[at + length :])
        for arguments in (("list", place, "--all"), ("add", "lesson", place, "--text", "x"), ("due", place)):
            told = command_line("ledger", *arguments)
            outcome["done" if told == "done" else "one line" if told.startswith("[") else "defect"] += 1
            defects |= {told} if told.startswith("DEFECT") else set()
        for log in (path.with_name(path.name + "-wal"), path.with_name(path.name + "-shm")):
            log.unlink(missing_ok=True)
    return f"{times} damages, 3 commands each: {dict(outcome)}" + "".join(f"\n    {each}" for each in sorted(defects))


def main_figures() -> None:
    rng = random.Random(20250301)
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        with open_ledger(folder / "settings.sqlite3", palette_digest=DIGEST) as ledger:
            told = {
                name: ledger.rows(f"PRAGMA {name}")[0][0] for name in ("journal_mode", "synchronous", "foreign_keys")
            }
            add(ledger, recipe())
        print(f"SQLite {sqlite3.sqlite_version}, {told} (synchronous 2 is FULL)")
        print("killed while writing: ", killed_while_writing(folder, rng))
        print("killed while making:  ", killed_while_opening(folder, rng, old=False))
        print("killed while upgrading:", killed_while_opening(folder, rng, old=True))
        print(two_at_once(folder))
        for line in limited_file(folder):
            print(line)
        if os.geteuid() == 0:
            for line in full_disk(folder):
                print(line)
        for line in (*read_only(folder, log_left=False), *read_only(folder, log_left=True)):
            print(line)
        print(older(folder))
        for line in not_a_ledger(folder):
            print(line)
        print(damaged(folder, rng))


if __name__ == "__main__":
    if sys.argv[1:2] == ["--write"]:
        writer(sys.argv[2], sys.argv[3], int(sys.argv[4]))
    else:
        main_figures()
