"""A fan that is killed goes on from where it was, and its table is that of an undisturbed run."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import tint
from tint.cli import main
from tint.errors import JobError
from tint.fans import Common, Row, Wish, read_rows, run_fan
from tint.fans.journal import journal
from tint.fans.run import Chunk, here
from tint.palette import Palette

FEW = tint.Rules(most_pigments=1, most_recipes=1)
COMMON = Common(walls_mm=(3.0,), rules=FEW, base="clear", opacity="any")
WISHES = (
    Wish(name="grey", lab=(50.0, 0.0, 0.0)),
    Wish(name="=1+1", srgb="#e8701a", tolerance=40.0),
    Wish(name="wrong, and broken", fault="no colour"),
    Wish(name="pale", lab=(80.0, 2.0, 5.0), tolerance=40.0),
)


def counting(taken: list[int]) -> Callable[[Palette, Common, Iterable[Chunk]], Iterator[list[Row]]]:
    """The engine of this process, which notes the numbers of the targets that it works on."""

    def engine(palette: Palette, common: Common, chunks: Iterable[Chunk]) -> Iterator[list[Row]]:
        for chunk in chunks:
            taken.extend(task.number for task in chunk)
            yield from here(palette, common, [chunk])

    return engine


def killed(after: int) -> Callable[[Palette, Common, Iterable[Chunk]], Iterator[list[Row]]]:
    """An engine that stops the run when so many chunks are done."""

    def engine(palette: Palette, common: Common, chunks: Iterable[Chunk]) -> Iterator[list[Row]]:
        for at, rows in enumerate(here(palette, common, chunks)):
            if at == after:
                raise KeyboardInterrupt
            yield rows

    return engine


@pytest.fixture(scope="module")
def whole(demo_palette: Palette, tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """The table of an undisturbed run."""
    out = tmp_path_factory.mktemp("whole") / "recipes.csv"
    fan = run_fan(demo_palette, WISHES, COMMON, out)
    assert (fan.targets, fan.reached, fan.out_of_reach, fan.failed, fan.kept) == (4, 2, 1, 1, 0)
    return out.read_bytes()


def stopped(palette: Palette, folder: Path, after: int) -> Path:
    """Where the table is to be, of a run that was stopped after so many targets."""
    out = folder / "recipes.csv"
    with pytest.raises(KeyboardInterrupt):
        run_fan(palette, WISHES, COMMON, out, engine=killed(after), chunk=1)
    assert not out.exists()
    return out


@pytest.mark.parametrize(("torn", "after"), [("", 0), ("", 2), ('[{"number":3,"na', 1), ("[]\n7\n", 3)])
def test_a_killed_run_goes_on_to_the_same_bytes(
    demo_palette: Palette, whole: bytes, tmp_path: Path, torn: str, after: int
) -> None:
    out = stopped(demo_palette, tmp_path, after)
    with (tmp_path / "recipes.csv.part").open("a") as stream:
        stream.write(torn)
    taken: list[int] = []
    fan = run_fan(demo_palette, WISHES, COMMON, out, engine=counting(taken), chunk=3)
    assert out.read_bytes() == whole
    assert fan.kept == after
    assert taken == [1, 2, 3, 4][after:]
    assert [each.name for each in tmp_path.iterdir()] == ["recipes.csv"]


def test_rows_that_answer_other_targets_are_found_again(demo_palette: Palette, whole: bytes, tmp_path: Path) -> None:
    out = stopped(demo_palette, tmp_path, 3)
    taken: list[int] = []
    wishes = (WISHES[0], Wish(name="lid", fault="none"), *WISHES[2:])
    run_fan(demo_palette, wishes, COMMON, out, engine=counting(taken))
    assert taken == [2, 3, 4]
    assert [row.name for row in read_rows(out)] == ["grey", "lid", "wrong, and broken", "pale"]
    assert out.read_bytes() != whole


def test_another_palette_begins_anew(demo_palette: Palette, tmp_path: Path) -> None:
    out = stopped(demo_palette, tmp_path, 3)
    taken: list[int] = []
    run_fan(replace(demo_palette, k=1.01 * demo_palette.k), WISHES, COMMON, out, engine=counting(taken))
    assert taken == [1, 2, 3, 4]


def test_rows_are_the_recipes_of_solve_and_are_read_back_whole(
    demo_palette: Palette, whole: bytes, tmp_path: Path
) -> None:
    out = tmp_path / "recipes.csv"
    out.write_bytes(whole)
    grey, lid, wrong, _ = read_rows(out)
    best = tint.solve(demo_palette, lab=(50, 0, 0), opacity="any", base="clear", thickness_mm=3, rules=FEW).best
    assert grey.loadings == dict(best.blend.loadings)
    assert grey.lab == tuple(best.appearance.lab)
    assert (grey.reached, grey.reason, grey.delta_e) == (False, best.reason, best.delta_e)
    assert (lid.name, lid.reached, lid.reason) == ("=1+1", True, "")
    assert (wrong.name, wrong.base, wrong.reason) == ("wrong, and broken", "", "no colour")
    assert b"'=1+1" in whole  # a spreadsheet does not work it out


def test_two_runs_do_not_write_one_journal(demo_palette: Palette, tmp_path: Path) -> None:
    pytest.importorskip("fcntl")
    with journal(tmp_path / "recipes.csv.part"), pytest.raises(JobError, match="another run is writing it"):
        run_fan(demo_palette, WISHES, COMMON, tmp_path / "recipes.csv")


# The command.


def fan(folder: Path, *arguments: object) -> Result:
    told = ["fan", folder, "--optics", "two-flux", "--base", "clear", "--most-pigments", "1", *arguments]
    return CliRunner().invoke(main, [str(each) for each in told], env={"COLUMNS": "100"})


def test_the_command_writes_a_row_for_every_colour(fitted_demo: Path, tmp_path: Path) -> None:
    targets, out = tmp_path / "targets.csv", tmp_path / "recipes.csv"
    targets.write_text("name,colour\npale,#d0c8b8\nbad,#12\n", encoding="utf-8")
    done = fan(
        fitted_demo, targets, "--thickness", "3", "--opacity", "any", "--tolerance", "40", "--out", out, "--json"
    )
    assert done.exit_code == 0, done.stderr
    assert json.loads(done.stdout) == {
        "out": str(out), "targets": 2, "reached": 1, "out_of_reach": 0, "failed": 1, "kept": 0,
    }  # fmt: skip
    pale, bad = read_rows(out)
    assert (pale.name, pale.base, pale.reached) == ("pale", "clear", True)
    assert "#12" in bad.reason


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--thickness", "3"], "targets: none or two are given"),
        (["targets.csv", "--lattice", "50", "--thickness", "3"], "targets: none or two are given"),
        (["--lattice", "50"], "--thickness: not given"),
        (["--lattice", "50", "--thickness", "3", "--opacity", "hard"], "--opacity: `hard`"),
        (["--lattice", "50", "--thickness", "3", "--over", "grey"], "--over: there is no `grey`"),
        (["nothing.csv", "--thickness", "3"], "nothing.csv: cannot be read"),
    ],
)
def test_what_is_wrong_is_told_before_the_first_colour(
    fitted_demo: Path, tmp_path: Path, arguments: list[str], said: str
) -> None:
    done = fan(fitted_demo, *arguments, "--out", tmp_path / "recipes.csv")
    assert done.exit_code == 2
    assert said in done.stderr
    assert list(tmp_path.iterdir()) == []
