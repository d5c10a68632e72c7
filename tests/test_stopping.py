"""Ctrl-C ends the program in one line, with the status that shells have for it."""

from __future__ import annotations

import signal
import subprocess
import sys
from pathlib import Path

LINE = "tint: stopped before it was done\n"

# Each sends the signal at a moment that is known: the program's own code is in the way of it then.
READY = """
import os, signal, sys
def ring(*_):
    os.kill(os.getpid(), signal.SIGINT)
"""
MOMENTS = {
    "as tint is loaded": """
class Ringing:
    def find_spec(self, name, *_):
        if name == "click":
            ring()
sys.meta_path.insert(0, Ringing())
""",
    "as a command is loaded": """
class Ringing:
    def find_spec(self, name, *_):
        if name == "tint.cli.check":
            ring()
sys.meta_path.insert(0, Ringing())
""",
    "in a callback that passes nothing on": """
class Falling:
    def __del__(self):
        ring()
class Ringing:
    def find_spec(self, name, *_):
        if name == "tint.cli.check":
            Falling()
sys.meta_path.insert(0, Ringing())
""",
}
RUN = """
from tint.cli import main
sys.argv = ["tint", "check", sys.argv[1]]
main()
"""


def stopped(moment: str, folder: Path) -> tuple[int, str]:
    command = [sys.executable, "-c", READY + MOMENTS[moment] + RUN, str(folder)]
    ended = subprocess.run(command, capture_output=True, text=True, check=False)
    return ended.returncode, ended.stderr


def test_as_tint_is_loaded(demo_folder: Path) -> None:
    assert stopped("as tint is loaded", demo_folder) == (130, LINE)


def test_as_a_command_is_loaded(demo_folder: Path) -> None:
    assert stopped("as a command is loaded", demo_folder) == (130, LINE)


def test_in_a_callback_that_passes_nothing_on(demo_folder: Path) -> None:
    assert stopped("in a callback that passes nothing on", demo_folder) == (130, LINE)


def test_while_it_waits_for_another_writer_and_nothing_is_left(demo_folder: Path) -> None:
    """It is waiting once it says so."""
    from tint.turns import turn

    with turn(demo_folder):
        command = [sys.executable, "-m", "tint", "fit", str(demo_folder), "--optics", "two-flux"]
        process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        assert process.stderr is not None
        assert "waiting until it is done" in process.stderr.readline()
        process.send_signal(signal.SIGINT)
        assert process.communicate()[1] == LINE
    assert process.returncode == 130
    assert not [each for each in demo_folder.iterdir() if each.name.endswith(".fit") or ".tint-" in each.name]
