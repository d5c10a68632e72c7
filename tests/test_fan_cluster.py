"""A fan on several processes: the rows of one process, in order, also when a worker is killed over them."""

from __future__ import annotations

import os
import signal
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import pytest

import tint
from tint.errors import InputError
from tint.fans import Common, Row, Wish, run_fan
from tint.fans.solving import Chunk, Task, engine_of
from tint.palette import Palette

COMMON = Common(walls_mm=(3.0,), rules=tint.Rules(most_pigments=1, most_recipes=1), base="clear", opacity="any")
WISHES = [Wish(name=str(light), lab=(float(light), 0.0, 0.0), tolerance=60.0) for light in range(40, 90, 5)]


def test_a_killed_worker_costs_no_row_and_doubles_none(demo_palette: Palette, tmp_path: Path) -> None:
    pytest.importorskip("distributed")
    psutil = pytest.importorskip("psutil")
    run_fan(demo_palette, WISHES, COMMON, tmp_path / "one.csv")
    victims: list[int] = []
    with engine_of(workers=2) as engine:

        def unlucky(palette: Palette, common: Common, chunks: Iterable[Chunk]) -> Iterator[list[Row]]:
            for rows in engine(palette, common, chunks):
                if not victims:
                    below = psutil.Process().children(recursive=True)
                    victims.extend(each.pid for each in below if "spawn_main" in " ".join(each.cmdline()))
                    os.kill(victims[0], signal.SIGKILL)
                yield rows

        fan = run_fan(demo_palette, WISHES, COMMON, tmp_path / "two.csv", engine=unlucky, chunk=1)
    assert len(victims) == 2
    assert fan.reached == len(WISHES)
    assert (tmp_path / "two.csv").read_bytes() == (tmp_path / "one.csv").read_bytes()


def test_workers_keep_no_diary_that_grows(demo_palette: Palette) -> None:
    distributed = pytest.importorskip("distributed")

    def diary(dask_worker: Any) -> int:
        return int(dask_worker.profile_recent["count"]) + len(dask_worker.profile_history)

    with engine_of(workers=2) as engine:
        tasks = tuple(Task(number=at, wish=wish) for at, wish in enumerate(WISHES[:4], start=1))
        assert len(list(engine(demo_palette, COMMON, [tasks[:2], tasks[2:]]))) == 2
        assert list(distributed.default_client().run(diary).values()) == [0, 0]


def test_no_dask_is_needed_for_one_process_and_told_for_two(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(__import__("sys").modules, "distributed", None)
    with engine_of() as engine:
        assert list(engine(None, COMMON, [])) == []  # type: ignore[arg-type]  # nothing is asked of it
    with pytest.raises(InputError, match=r"--workers: dask is not installed; run `pip install 'tint\[fan\]'`"):
        engine_of(workers=2).__enter__()
