"""Ctrl-C ends the program in one line, with the status that shells have for it."""

from __future__ import annotations

import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tint.turns import turn

LINE = "tint: stopped before it was done\n"

# Sends the signal as a module is looked for: a moment that is known, with the code of others in between.
RING = """
import os, signal, sys
def ring():
    os.kill(os.getpid(), signal.SIGINT)
class Falling:
    def __del__(self):
        ring()
class Ringing:
    def find_spec(self, name, *_):
        if name == "{module}":
            {ring}()
sys.meta_path.insert(0, Ringing())
"""
RUN = """
from tint.cli import main
main()
"""


@pytest.mark.parametrize(
    ("module", "ring"),
    [
        pytest.param("click", "ring", id="as tint is loaded"),
        pytest.param("tint.cli.check", "ring", id="as a command is loaded"),
        pytest.param("tint.cli.check", "Falling", id="in a callback, which passes nothing on"),
    ],
)
def test_it_ends_in_one_line(module: str, ring: str, demo_folder: Path, tmp_path: Path) -> None:
    program = tmp_path / "tint"  # as the installed command is called
    program.write_text(RING.format(module=module, ring=ring) + RUN, encoding="utf-8")
    ended = subprocess.run(
        [sys.executable, str(program), "check", str(demo_folder)], capture_output=True, text=True, check=False
    )
    assert (ended.returncode, ended.stderr) == (130, LINE)


def test_while_it_waits_for_another_writer_and_nothing_is_left(small_folder: Path) -> None:
    """It is waiting once it says so."""
    with turn(small_folder):
        command = [sys.executable, "-m", "tint", "fit", str(small_folder), "--optics", "two-flux"]
        process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        assert process.stderr is not None
        assert "waiting until it is done" in process.stderr.readline()
        process.send_signal(signal.SIGINT)
        assert process.communicate()[1] == LINE
    assert process.returncode == 130
    assert not [each for each in small_folder.iterdir() if each.name.endswith(".fit") or ".tint-" in each.name]


def test_the_ctrl_c_of_a_program_that_imports_tint_is_its_own() -> None:
    code = """
import signal
signal.signal(signal.SIGINT, signal.default_int_handler)  # what started this may have it ignored
import tint
print(signal.getsignal(signal.SIGINT).__name__)
"""
    command = [sys.executable, "-c", code]
    assert subprocess.run(command, capture_output=True, text=True, check=True).stdout == "default_int_handler\n"
