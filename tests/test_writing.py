"""Files are written whole, all or none, by one writer at a time; links, modes and left-overs are seen to."""

from __future__ import annotations

import contextlib
import logging
import os
import stat
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from folder_example import good_files, write
from instrument_files import cgats, curve

from tint.cli import main
from tint.errors import ChangedError, InputError, JobError
from tint.files import write_all, write_whole
from tint.swatches.import_plan import Doubles, Import, Naming
from tint.swatches.importing import plan_import, write_import
from tint.swatches.instruments import parse_measurements
from tint.turns import half_name, turn

GRID = np.arange(400.0, 701.0, 20.0)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return write(tmp_path / "studio", good_files())


def scan(at: int) -> bytes:
    """An instrument's file with one reading, another for each `at`."""
    return cgats({"blue-1": curve(at, GRID)}, wavelengths=GRID).encode()


def plan(folder: Path, at: int) -> Import:
    measurements = parse_measurements(scan(at), file="scan")
    return plan_import(
        folder, measurements, naming=Naming(backing="black", seat="air"), doubles=Doubles(add=True)
    )  # fmt: skip


# Two writers.


def test_a_reading_that_another_program_added_meanwhile_is_not_lost(folder: Path) -> None:
    first, second = plan(folder, 1), plan(folder, 2)
    write_import(first)
    with pytest.raises(ChangedError, match=r"readings\.csv: was changed by another program meanwhile"):
        write_import(second)
    assert (folder / "readings.csv").read_bytes() == first.data


def test_two_imports_at_once_keep_all_readings(folder: Path, tmp_path: Path) -> None:
    before = (folder / "readings.csv").read_text(encoding="utf-8").count("\n")
    running = []
    for at in range(4):
        file = tmp_path / f"{at}.cgats"
        file.write_bytes(scan(at))
        told = ["import", str(folder), str(file), "--add", "--backing", "black", "--seat", "air"]
        running.append(subprocess.Popen([sys.executable, "-m", "tint", *told], stdout=subprocess.DEVNULL))
    assert [process.wait() for process in running] == [0] * 4
    assert (folder / "readings.csv").read_text(encoding="utf-8").count("\n") == before + 4


@contextlib.contextmanager
def another(folder: Path, until: threading.Event) -> Iterator[None]:
    """Somebody else has the folder's turn, until they are told to go."""
    taken = threading.Event()

    def hold() -> None:
        with turn(folder):
            taken.set()
            until.wait(20.0)

    holder = threading.Thread(target=hold)
    holder.start()
    assert taken.wait(20.0)
    yield
    holder.join()


def test_a_writer_waits_for_another_and_says_so(tmp_path: Path, caplog: pytest.LogCaptureFixture) -> None:
    go = threading.Event()
    with another(tmp_path, go):
        found = r"another tint has been writing in it for 0\.5 s"
        with pytest.raises(JobError, match=found), turn(tmp_path, wait_s=0.5):
            pass
        go.set()
        write_whole(tmp_path / "a.txt", b"mine")
    assert caplog.messages == [f"{tmp_path}: another tint is writing in it; waiting until it is done"]
    assert (tmp_path / "a.txt").read_bytes() == b"mine"


def test_the_command_line_says_that_it_waits(folder: Path, tmp_path: Path) -> None:
    (tmp_path / "scan.cgats").write_bytes(scan(1))
    log, go = logging.getLogger("tint"), threading.Event()
    told = ["import", str(folder), str(tmp_path / "scan.cgats"), "--add", "--backing", "black", "--seat", "air"]

    def free(_: logging.LogRecord) -> bool:  # once the wait is told
        go.set()
        return True

    log.addFilter(free)
    with another(folder, go):
        result = CliRunner().invoke(main, told)
    log.removeFilter(free)
    assert result.exit_code == 0
    assert result.stderr == f"tint: {folder}: another tint is writing in it; waiting until it is done\n"


# The user's files.


def test_a_link_is_written_through_and_the_mode_kept(folder: Path, tmp_path: Path) -> None:
    real, link = tmp_path / "elsewhere.csv", folder / "readings.csv"
    link.rename(real)
    real.chmod(0o600)
    link.symlink_to(real)
    made = plan(folder, 1)
    write_import(made)
    assert link.is_symlink()
    assert real.read_bytes() == made.data
    assert stat.S_IMODE(real.stat().st_mode) == 0o600


def test_a_new_file_has_the_usual_mode(tmp_path: Path) -> None:
    (tmp_path / "usual").touch()
    write_whole(tmp_path / "new", b"")
    assert (tmp_path / "new").stat().st_mode == (tmp_path / "usual").stat().st_mode


@pytest.mark.parametrize("more", [[], ["--replace"]])
def test_a_link_to_nothing_is_not_written_over(fitted_demo: Path, tmp_path: Path, more: list[str]) -> None:
    link = tmp_path / "sheet.csv"
    link.symlink_to(tmp_path / "gone.csv")
    told = ["weigh", str(fitted_demo), "--base", "clear", "--load", "white=0.5", "--thickness", "3", "--batch-g", "50"]
    result = CliRunner().invoke(main, [*told, "--optics", "two-flux", "--csv", str(link), *more])
    assert result.exit_code == 2
    assert result.stderr.startswith(f"tint: --csv {link}: is a link to what is not there; remove the link")
    assert os.readlink(link) == str(tmp_path / "gone.csv")
    with pytest.raises(InputError, match="is a link to what is not there"):
        write_whole(link, b"")


def test_all_files_are_written_or_none(tmp_path: Path) -> None:
    there, new, folder = tmp_path / "there", tmp_path / "new", tmp_path / "folder"
    there.write_bytes(b"before")
    folder.mkdir()
    with pytest.raises(InputError, match=r"folder: cannot be written \(Is a directory\)"):
        write_all({there: b"after", new: b"after", folder: b"after"})
    assert sorted(each.name for each in tmp_path.iterdir()) == ["folder", "there"]
    assert there.read_bytes() == b"before"
    write_all({there: b"after", new: b"after"})
    assert (there.read_bytes(), new.read_bytes()) == (b"after", b"after")
    assert sorted(each.name for each in tmp_path.iterdir()) == ["folder", "new", "there"]


def test_what_was_renamed_is_taken_back_when_the_next_cannot_be(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    there, new, third = (tmp_path / name for name in ("there", "new", "third"))
    there.write_bytes(b"before")
    replace = Path.replace

    def failing(self: Path, target: Path) -> Path:
        if target == third:
            raise OSError(5, "Input/output error")
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", failing)
    with pytest.raises(InputError, match=r"cannot be written \(Input/output error\)"):
        write_all({there: b"after", new: b"after", third: b"after"})
    assert [each.name for each in tmp_path.iterdir()] == ["there"]
    assert there.read_bytes() == b"before"


def test_one_file_under_two_names_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a").touch()
    (tmp_path / "b").symlink_to(tmp_path / "a")
    with pytest.raises(InputError, match="are one file; expected a name for each"):
        write_all({tmp_path / "a": b"1", tmp_path / "b": b"2"})


def test_the_next_writer_clears_what_a_dead_one_left_and_nothing_else(tmp_path: Path) -> None:
    left, left_folder = half_name(tmp_path / "a.csv"), half_name(tmp_path / "tables")
    left.write_bytes(b"half")
    left_folder.mkdir()
    (left_folder / "orders.csv").write_bytes(b"half")
    others = [".a.csv.bak", ".a.csv.x1y2z3w4", "a.tint-0123abcd", ".tint-0123abcde"]
    for name in others:
        (tmp_path / name).write_bytes(b"theirs")
    write_whole(tmp_path / "b.csv", b"whole")
    assert sorted(each.name for each in tmp_path.iterdir()) == sorted([*others, "b.csv"])
