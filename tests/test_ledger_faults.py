"""What may befall a ledger's file: kills, two writers, full disks, older versions, damage, files that are no ledger.

tests/figures/ledger_faults.py does the same at length.
"""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import closing
from functools import partial
from pathlib import Path

import pytest
from ledger_example import DIGEST, fill

from tint.errors import InputError, JobError
from tint.ledger import (
    FORMAT,
    TABLES,
    Approval,
    Ledger,
    Lesson,
    Lot,
    Order,
    Reading,
    Recipe,
    Trial,
    add,
    correct,
    entries,
    get,
    import_json,
    open_ledger,
    read_ledger,
    schema,
)
from tint.ledger.file import told as in_words

TESTS = Path(__file__).parent
VERSION_0 = TESTS / "ledger_version_0.sql"


OPENERS: tuple[Callable[[Path], Ledger], ...] = (partial(open_ledger, palette_digest=DIGEST), read_ledger)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "ledger.sqlite3"


def make_version_0(path: Path) -> None:
    with closing(sqlite3.connect(path)) as connection:
        connection.executescript(VERSION_0.read_text(encoding="utf-8"))


def dump(path: Path) -> list[str]:
    with closing(sqlite3.connect(path)) as connection:
        return list(connection.iterdump())


def test_an_older_ledger_is_copied_then_brought_to_this_version(path: Path) -> None:
    make_version_0(path)
    before = dump(path)
    with open_ledger(path, palette_digest=DIGEST) as ledger:
        assert ledger.rows("PRAGMA user_version")[0][0] == FORMAT
        assert [row["version"] for row in ledger.rows("SELECT version FROM ledger_versions")] == [0, 1, 2, 3]
        (word,) = entries(ledger, Approval)
        assert (word.content.approved_by, word.content.limit_samples) == ("the customer", ())
        correct(ledger, "approval", word.id, limit_samples=("R-1",))
        assert entries(ledger, Approval)[0].content.limit_samples == ("R-1",)
        with pytest.raises(InputError, match="rows are never changed"):
            ledger.rows("UPDATE approvals SET limit_samples = '[]'")
        cured = add(ledger, Trial(cure_c=60.0, finish="satin", base_lot="B-12"))
        assert get(ledger, "trial", cured).content == Trial(cure_c=60.0, finish="satin", base_lot="B-12")
    (copy,) = path.parent.glob("ledger.version-0.*.sqlite3")
    assert dump(copy) == before
    with open_ledger(path, palette_digest=DIGEST):
        assert list(path.parent.glob("ledger.version-0.*.sqlite3")) == [copy]


def test_an_older_ledger_has_the_columns_of_a_new_one_in_the_end(path: Path, tmp_path: Path) -> None:
    make_version_0(path)
    tables = [*TABLES.values(), *(f"current_{table}" for table in TABLES.values()), "ledger_versions"]
    with (
        open_ledger(path, palette_digest=DIGEST) as old,
        open_ledger(tmp_path / "new.sqlite3", palette_digest=DIGEST) as new,
    ):
        for table in tables:
            shown = [
                sorted(tuple(row)[1:5] for row in ledger.rows(f"PRAGMA table_info({table})")) for ledger in (old, new)
            ]
            assert shown[0] == shown[1]


def test_an_upgrade_that_fails_leaves_the_old_version(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    make_version_0(path)
    before = dump(path)
    monkeypatch.setitem(schema.STEPS, 0, (*schema.STEPS[0], "ALTER TABLE nowhere ADD COLUMN x"))
    with pytest.raises(InputError, match="no such table: nowhere"):
        open_ledger(path, palette_digest=DIGEST)
    assert dump(path) == before
    monkeypatch.undo()
    with read_ledger(path) as ledger:
        assert len(entries(ledger, Approval)) == 1


def test_a_newer_ledger_is_left_alone(path: Path) -> None:
    open_ledger(path, palette_digest=DIGEST).close()
    with closing(sqlite3.connect(path)) as connection:
        connection.execute(f"PRAGMA user_version = {FORMAT + 1}")
    for job in OPENERS:
        with pytest.raises(InputError, match=f"is of version {FORMAT + 1}, from a newer tint"):
            job(path)


WRITER = """
import sys
sys.path[:0] = sys.argv[1:3]
from ledger_example import DIGEST, colour
from tint.ledger import Order, add, open_ledger
with open_ledger(sys.argv[3], palette_digest=DIGEST) as ledger:
    print("ready", flush=True)
    sys.stdin.readline()
    for at in range(int(sys.argv[5])):
        with ledger.transaction():
            add(ledger, colour(70.0, 1.0, 2.0, order_id=add(ledger, Order(name=f"{sys.argv[4]} {at}"))))
        print(f"{sys.argv[4]} {at}", flush=True)
"""


def writer(path: Path, name: str, count: int) -> subprocess.Popen[str]:
    command = [sys.executable, "-c", WRITER, str(TESTS.parent), str(TESTS), str(path), name, str(count)]
    process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    return process


def test_what_was_confirmed_outlives_a_kill_and_nothing_is_half_there(path: Path) -> None:
    confirmed = []
    for at in range(4):
        process = writer(path, f"run {at}", 10_000)
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdin.write("go\n")
        process.stdin.flush()
        confirmed += [process.stdout.readline().strip() for _ in range(1 + 3 * at)]
        process.send_signal(signal.SIGKILL)
        # Not by communicate(), which passes over what readline() has taken into its buffer.
        confirmed += process.stdout.read().splitlines()
        process.communicate()
    with open_ledger(path, palette_digest=DIGEST) as ledger:
        held = {each.content.name for each in entries(ledger, Order)}
        assert set(confirmed) <= held
        assert len(held) <= len(confirmed) + 4
        assert {each.content.order_id for each in entries(ledger, Reading)} == {e.id for e in entries(ledger, Order)}
        assert [tuple(row) for row in ledger.rows("PRAGMA integrity_check")] == [("ok",)]


def test_two_processes_write_at_once(path: Path) -> None:
    running = [writer(path, f"writer {at}", 25) for at in range(2)]
    told = [each.communicate("go\n")[0].splitlines() for each in running]
    assert [each.returncode for each in running] == [0, 0]
    with read_ledger(path) as ledger:
        assert sorted(each.content.name for each in entries(ledger, Order)) == sorted([*told[0], *told[1]])
        assert len(told[0]) == len(told[1]) == 25


def test_a_ledger_that_another_holds_is_told_after_a_wait(path: Path) -> None:
    open_ledger(path, palette_digest=DIGEST).close()
    with open_ledger(path, palette_digest=DIGEST) as holder, holder.transaction():
        add(holder, Order(name="lid"))
        with (
            open_ledger(path, palette_digest=DIGEST, wait_s=0.05) as ledger,
            pytest.raises(JobError, match=r"another program is writing to it.*; nothing was added; try again"),
        ):
            add(ledger, Order(name="lamp"))
        with read_ledger(path) as reader:
            assert entries(reader, Order) == []
    with read_ledger(path) as ledger:
        assert [each.content.name for each in entries(ledger, Order)] == ["lid"]


LIMITED = """
import resource, sys
sys.path.insert(0, sys.argv[1])
from tint.errors import JobError
from tint.ledger import Lesson, add, open_ledger
resource.setrlimit(resource.RLIMIT_FSIZE, (400_000, 400_000))
with open_ledger(sys.argv[2], palette_digest="d") as ledger:
    for at in range(1000):
        try:
            add(ledger, Lesson(text="x" * 3000))
        except JobError as error:
            sys.exit(f"{at} {error}")
"""


@pytest.mark.skipif(os.name == "nt", reason="there is no limit to set")
def test_a_full_disk_is_told_and_nothing_lost(path: Path) -> None:
    command = [sys.executable, "-c", LIMITED, str(TESTS.parent), str(path)]
    told = subprocess.run(command, capture_output=True, text=True).stderr
    count, _, words = told.partition(" ")
    assert "nothing was added" in words
    assert words.count("\n") == 1
    with open_ledger(path, palette_digest=DIGEST) as ledger:
        assert len(entries(ledger, Lesson)) == int(count) > 0
        assert add(ledger, Lesson(text="there is room")) == int(count) + 1


NOT_LEDGERS = {
    "text": b"lid: 0.5 % white\n" * 100,
    "torn": b"SQLite format 3\x00" + b"\xff" * 100,
    "short": b"\x00",
}


@pytest.mark.parametrize("data", NOT_LEDGERS.values(), ids=list(NOT_LEDGERS))
def test_a_file_that_is_no_ledger_is_told_and_left_alone(path: Path, data: bytes) -> None:
    path.write_bytes(data)
    for job in OPENERS:
        with pytest.raises(InputError, match=r"ledger.sqlite3: is not a ledger.*; move it away"):
            job(path)
    assert path.read_bytes() == data


def test_another_database_is_told_and_left_alone(path: Path) -> None:
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE orders (id INTEGER)")
    before = path.read_bytes()
    with pytest.raises(InputError, match="is a database, but not a ledger"):
        open_ledger(path, palette_digest=DIGEST)
    assert path.read_bytes() == before


def test_no_file_no_folder_and_a_folder_in_its_place(path: Path, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="there is no ledger yet; `tint ledger add"):
        read_ledger(path)
    assert not path.exists()
    path.touch()
    with pytest.raises(InputError, match="there is no ledger yet"):
        read_ledger(path)
    with pytest.raises(InputError, match="none: there is no such folder"):
        open_ledger(tmp_path / "none" / "ledger.sqlite3", palette_digest=DIGEST)
    with pytest.raises(InputError, match="is a folder"):
        open_ledger(tmp_path, palette_digest=DIGEST)


def test_a_damaged_ledger_is_told(path: Path) -> None:
    with open_ledger(path, palette_digest=DIGEST) as ledger:
        for _ in range(5):
            fill(ledger)
    whole = bytearray(path.read_bytes())
    whole[4096:] = bytes(len(whole) - 4096)
    path.write_bytes(whole)
    with pytest.raises(InputError, match="is damaged"), read_ledger(path) as ledger:
        entries(ledger, Order)


@pytest.mark.parametrize("kind", [sqlite3.DatabaseError, sqlite3.OperationalError])
def test_what_sqlite_says_of_a_damaged_file_is_told_in_few_words(path: Path, kind: type[sqlite3.Error]) -> None:
    # Of a schema that is damaged it repeats up to a page of 4096 bytes.
    with pytest.raises(InputError) as caught, in_words(path):
        raise kind(f"malformed database schema - unrecognized token: {4000 * '9'}")
    assert len(str(caught.value)) < 500 + len(str(path))


def test_a_damaged_value_is_told_with_its_row(path: Path) -> None:
    with open_ledger(path, palette_digest=DIGEST) as ledger:
        fill(ledger)
    whole = path.read_bytes()
    assert whole.count(b'{"white":0.5,') == 1
    path.write_bytes(whole.replace(b'{"white":0.5,', b'{"white":0.5;'))
    with read_ledger(path) as ledger, pytest.raises(InputError, match=r"ledger.sqlite3, recipes 1: is damaged"):
        entries(ledger, Recipe)


def test_a_table_that_was_changed_by_hand_is_told(path: Path) -> None:
    with open_ledger(path, palette_digest=DIGEST) as ledger:
        fill(ledger)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("ALTER TABLE lessons RENAME COLUMN text TO words")
        connection.execute("DROP VIEW current_lots")
        connection.commit()
    with read_ledger(path) as ledger:
        with pytest.raises(InputError, match="its table lessons has no column text; bring back a copy"):
            entries(ledger, Lesson)
        with pytest.raises(InputError, match="no such table: current_lots"):
            entries(ledger, Lot)


@pytest.fixture
def still(tmp_path: Path) -> Iterator[Path]:
    """A folder that cannot be written, with a ledger in it."""
    folder = tmp_path / "still"
    folder.mkdir()
    with open_ledger(folder / "ledger.sqlite3", palette_digest=DIGEST) as ledger:
        fill(ledger)
    folder.chmod(0o555)
    if os.access(folder, os.W_OK):  # root may write anywhere but where nobody can
        pytest.skip("this user can write to it all the same")
    yield folder / "ledger.sqlite3"
    folder.chmod(0o755)


def test_a_folder_that_cannot_be_written_can_be_read(still: Path) -> None:
    with read_ledger(still) as ledger:
        assert len(entries(ledger, Order)) == 1
    with pytest.raises(InputError, match="cannot be written; expected a folder that can"):
        open_ledger(still, palette_digest=DIGEST)


def test_what_nobody_can_write_is_opened_as_it_stands(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same for root, who may write everywhere: the question is answered no."""
    with open_ledger(path, palette_digest=DIGEST) as ledger:
        fill(ledger)
    monkeypatch.setattr("os.access", lambda *_: False)
    before = sorted(path.parent.iterdir())
    with read_ledger(path) as ledger:
        assert len(entries(ledger, Order)) == 1
        with pytest.raises(InputError, match="cannot be written"):
            ledger.rows("INSERT INTO ledger_versions VALUES (9, '', '', '')")
    assert sorted(path.parent.iterdir()) == before
    with pytest.raises(InputError, match="cannot be written; expected a folder that can"):
        open_ledger(path, palette_digest=DIGEST)
    path.unlink()
    make_version_0(path)
    with pytest.raises(InputError, match="is of an older version, and cannot be written"):
        read_ledger(path)


def test_a_damaged_day_is_told(path: Path) -> None:
    with open_ledger(path, palette_digest=DIGEST) as ledger:
        add(ledger, Lot(material="white", lot="W-1", received_on="2025-03-14"))
    whole = path.read_bytes()
    assert whole.count(b"2025-03-14") == 1
    path.write_bytes(whole.replace(b"2025-03-14", b"2025-0\x1f-14"))
    with read_ledger(path) as ledger, pytest.raises(InputError, match=r"ledger.sqlite3, lots 1: is damaged"):
        entries(ledger, Lot)


def nested(levels: int) -> object:
    """A list in a list in a list, and so on."""
    inner: list[object] = []
    for _ in range(levels):
        inner = [inner]
    return inner


@pytest.mark.parametrize("levels", [100, 900])
def test_what_is_nested_too_deeply_is_not_taken_in(path: Path, levels: int) -> None:
    with open_ledger(path, palette_digest=DIGEST) as ledger:
        with pytest.raises(InputError, match="is nested too deeply; expected at most 64 levels"):
            add(ledger, Recipe(base="clear", loadings_percent={}, more={"a": nested(levels)}))
        assert not entries(ledger, Recipe)


@pytest.mark.parametrize("levels", [900, 5_000, 100_000])
def test_json_nested_too_deeply_is_told(path: Path, levels: int) -> None:
    row = b'{"more":' + b"[" * levels + b"]" * levels + b"}"
    told = b'{"format":"tint ledger","version":1,"tables":{"recipes":[' + row + b"]}}"
    with open_ledger(path, palette_digest=DIGEST) as ledger, pytest.raises(InputError, match=r"there\.json"):
        import_json(ledger, told, where="there.json")
