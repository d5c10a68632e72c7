"""A fan that is killed goes on from where it was, and its table is that of an undisturbed run."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from msgspec.structs import replace as replaced
from pypdf import PdfReader

import tint
from tint.cli import main
from tint.errors import InputError, JobError
from tint.fans import (
    Common,
    Gain,
    Row,
    Wish,
    fan_page,
    fan_pdf,
    reach,
    read_candidates,
    read_rows,
    run_fan,
    shop_table,
)  # fmt: skip
from tint.fans.page import Chip, in_groups
from tint.fans.rows import table_of
from tint.fans.run import journal
from tint.fans.solving import Chunk, here
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


@pytest.mark.parametrize(
    ("torn", "after"), [("", 0), ("", 2), ('[{"number":3,"na', 1), ("[]\n7\n", 3), ('["\xff"]\n', 2)]
)
def test_a_killed_run_goes_on_to_the_same_bytes(
    demo_palette: Palette, whole: bytes, tmp_path: Path, torn: str, after: int
) -> None:
    out = stopped(demo_palette, tmp_path, after)
    with (tmp_path / "recipes.csv.part").open("a", encoding="latin-1") as stream:
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


def test_a_cell_that_is_no_number_is_told_in_one_short_line(whole: bytes, tmp_path: Path) -> None:
    (tmp_path / "recipes.csv").write_bytes(whole.replace(b"\n1,", b"\n" + b"x" * 5000 + b",", 1))
    with pytest.raises(InputError, match="row 2: is not as it was written") as caught:
        list(read_rows(tmp_path / "recipes.csv"))
    assert len(str(caught.value)) < 500
    first = next(iter(csv.DictReader(whole.decode("utf-8-sig").splitlines())))
    (tmp_path / "recipes.csv").write_bytes(whole.replace(first["target_L"].encode(), b"1e999", 1))
    with pytest.raises(InputError, match=r"row 2: is not as it was written .*1e999 is no number"):
        list(read_rows(tmp_path / "recipes.csv"))


def test_parquet_holds_the_same_rows(demo_palette: Palette, whole: bytes, tmp_path: Path) -> None:
    parquet = pytest.importorskip("pyarrow.parquet")
    (tmp_path / "recipes.csv").write_bytes(whole)
    out = tmp_path / "recipes.parquet"
    run_fan(demo_palette, WISHES, COMMON, out)
    assert list(read_rows(out)) == list(read_rows(tmp_path / "recipes.csv"))
    table = parquet.read_table(out)
    assert table.column("reached").to_pylist() == [False, True, False, True]
    assert table.column("delta_e").null_count == 1
    good = out.read_bytes()
    for damaged in (good[:-40], good.replace(b"number", b"\xc7umber")):
        out.write_bytes(damaged)
        with pytest.raises(InputError, match="is no such table, or a damaged one"):
            list(read_rows(out))


def test_a_pigment_named_like_a_formula_is_words_in_the_table(tmp_path: Path) -> None:
    row = Row(number=1, name="lid", asked="a", base="clear", loadings={"=1+1": 0.5})
    out = tmp_path / "recipes.csv"
    out.write_bytes(b"".join(table_of([row], ["=1+1"])))
    header = out.read_text(encoding="utf-8").splitlines()[0].split(",")
    assert "'=1+1 %" in header
    assert list(read_rows(out)) == [row]


def test_two_runs_do_not_write_one_journal(demo_palette: Palette, tmp_path: Path) -> None:
    pytest.importorskip("fcntl")
    with journal(tmp_path / "recipes.csv.part"), pytest.raises(JobError, match="another run is writing it"):
        run_fan(demo_palette, WISHES, COMMON, tmp_path / "recipes.csv")


# A table that is renewed.


def test_only_what_moved_by_more_than_its_tolerance_is_renewed(
    demo_palette: Palette, whole: bytes, tmp_path: Path
) -> None:
    out = tmp_path / "recipes.csv"
    out.write_bytes(whole)
    old = list(read_rows(out))
    stronger = replace(demo_palette, k=1.2 * demo_palette.k)
    wishes = (*WISHES, Wish(name="new", fault="not told"))
    fan = run_fan(stronger, wishes, COMMON, out, old=old)
    assert fan.moved == ("grey", "new")
    grey, *others, _ = read_rows(out)
    assert others == old[1:]
    run_fan(stronger, WISHES[:1], COMMON, tmp_path / "fresh.csv")
    assert [grey] == list(read_rows(tmp_path / "fresh.csv"))


def test_a_recipe_that_lost_its_opacity_is_renewed(demo_palette: Palette, tmp_path: Path) -> None:
    wishes = [Wish(name=kind, lab=(80.0, 0.0, 0.0), tolerance=60.0, opacity=kind) for kind in ("0.9..", "any")]
    out = tmp_path / "recipes.csv"
    run_fan(demo_palette, wishes, COMMON, out)
    old = list(read_rows(out))
    assert [row.reached for row in old] == [True, True]
    fan = run_fan(replace(demo_palette, s=0.7 * demo_palette.s), wishes, COMMON, out, old=old)
    assert fan.moved == ("0.9..",)


def test_a_table_of_something_else_is_not_renewed(fitted_demo: Path, tmp_path: Path) -> None:
    out = tmp_path / "recipes.csv"
    out.write_text("name,price\nlid,3\n", encoding="utf-8")
    done = fan(fitted_demo, "--lattice", "50", "--thickness", "3", "--out", out, "--changed")
    assert done.exit_code == 2
    assert "has no column number; expected a table that `tint fan` wrote" in done.stderr
    assert out.read_text(encoding="utf-8") == "name,price\nlid,3\n"


# The page.


def row(number: int, lab: tuple[float, float, float], **more: Any) -> Row:
    told: dict[str, Any] = {"srgb": "#222222", "reached": True, "delta_e": 0.5, "contrast_ratio": 0.981} | more
    return Row(number=number, name=f"colour {number}", asked="", target=lab, **told)


def test_chips_stand_by_hue_and_from_light_to_dark() -> None:
    labs = [(40, 0, 50), (70, 0, 50), (70, 50, -1), (50, 2, 2), (70, 0, 20)]
    chips = [Chip(row(at, lab), lab, "#111111", []) for at, lab in enumerate(labs, start=1)]
    order = [(name, [each.row.number for each in held]) for name, held in in_groups(chips)]
    assert order == [("neutral", [4]), ("rose and red", [3]), ("yellow", [5, 2, 1])]


def test_a_chip_of_another_wall_than_most_says_so(demo_palette: Palette) -> None:
    thin, usual = row(1, (50, 0, 50), walls_mm=(2.0,)), row(2, (60, 0, 50), walls_mm=(3.0,))
    page = fan_page([thin, usual], demo_palette, replaced(COMMON, walls_mm=(3.0,))).decode()
    assert "2 mm, contrast ratio 0.98" in page
    assert "3 mm, contrast ratio" not in page


def test_a_page_shows_what_cannot_be_had_beside_its_nearest(demo_palette: Palette) -> None:
    rows = [row(1, (50, 0, 50)), row(2, (50, 0, 60), reached=False, delta_e=4.56)]
    gone = Row(number=3, name="lid", asked="", reason="no <colour>")
    page = fan_page([*rows, gone], replace(demo_palette, name="<Studio>"), COMMON).decode()
    assert "&lt;Studio&gt;. 1 of 2 colours can be had; for D65, 10° observer, 3 mm thick, over white, where" in page
    assert page.count("--c:#222222") == 2
    assert page.count("--c:#") == 3
    assert "≈ nearest, 4.6 CIEDE2000" in page
    assert "3 lid: no &lt;colour&gt;" in page
    assert "contrast ratio 0.98" in page


def test_a_pdf_goes_on_over_pages_and_tells_every_colour(demo_palette: Palette) -> None:
    rows = [row(at, (50, 0, 60), reached=at % 7 > 0, delta_e=14.56) for at in range(1, 101)]
    gone = row(101, (50, 0, 60), srgb="", reached=False, contrast_ratio=None, reason="no base may hold it")
    lost = Row(number=102, name="lid", asked="", reason="no colour")
    data = fan_pdf([*rows, gone, lost], demo_palette, COMMON)
    pages = [page.extract_text() for page in PdfReader(io.BytesIO(data)).pages]
    assert len(pages) > 1
    words = " ".join(" ".join(pages).split())
    assert all(f"colour {at}" in words for at in range(1, 102))
    assert words.count("nearest, 14.6 CIEDE2000 ") == 14  # no word is cut off
    assert "no base may hold it" in words
    assert "102 lid: no colour" in words


def test_a_shop_learns_colours_and_no_recipe(demo_palette: Palette, whole: bytes, tmp_path: Path) -> None:
    (tmp_path / "recipes.csv").write_bytes(whole)
    rows = {row.name: row for row in read_rows(tmp_path / "recipes.csv")}
    text = shop_table(rows.values(), demo_palette, COMMON).decode()
    told = {line["name"]: line for line in csv.DictReader(io.StringIO(text))}
    assert [line["order"] for line in told.values()] == ["1", "2", "3"]
    assert (told["pale"]["colour"], told["pale"]["can_be_had"]) == (rows["pale"].srgb, "yes")
    assert told["grey"]["can_be_had"] == "no"
    assert told["grey"]["colour"] != rows["grey"].srgb
    assert told["'=1+1"]["group"] == "orange and brown"
    assert not any(name in text for name in demo_palette.pigments)


# What can be had.


def test_reach_is_what_each_base_and_wall_meets_alone(demo_palette: Palette) -> None:
    common = replaced(COMMON, walls_mm=(8.0, 0.5), base=None, opacity="0.6..", rules=FEW)
    wishes = [*WISHES[:3], Wish(name="dark", lab=(30.0, 0.0, 0.0), tolerance=25.0, base="clear", walls_mm=(3.0,))]
    found = reach(demo_palette, wishes, common)
    assert [row.name for row in found.failed] == ["wrong, and broken"]
    assert {(each.base, each.wall_mm) for each in found.reached} == {
        (base, wall) for base in demo_palette.bases for wall in (0.5, 8.0)
    }
    for each in found.reached:
        for wish in (*wishes[:2], wishes[3]):
            alone = tint.solve(
                demo_palette, lab=wish.lab, srgb=wish.srgb, opacity="0.6..", tolerance=wish.tolerance, base=each.base,
                thickness_mm=each.wall_mm, rules=FEW,
            )  # fmt: skip
            assert (wish.name in each.names) == alone.best.reached
    anywhere = {name for each in found.reached for name in each.names}
    assert anywhere | {row.name for row in found.missed} == {"grey", "=1+1", "dark"}
    assert not anywhere & {row.name for row in found.missed}
    assert len({each.names for each in found.reached}) > 1  # walls and bases differ, or nothing was tested


def test_the_candidate_that_adds_most_comes_first(demo_palette: Palette, tmp_path: Path) -> None:
    night = Wish(name="night", lab=(20.0, 0.0, 0.0), tolerance=3.0)
    wishes = [night, Wish(name="pale", lab=(85.0, 0.0, 5.0), tolerance=15.0)]
    table = tmp_path / "candidates.csv"
    table.write_text("name;price_per_kg;note\nochre;12,5;sample of May\nblack;;\n", encoding="utf-8")
    found = reach(demo_palette, wishes, COMMON, candidates=read_candidates(table, demo_palette))
    assert [row.name for row in found.missed] == ["night"]
    assert found.gains == (
        Gain(pigment="black", price_per_kg=demo_palette.pigments["black"].price, names=("night",), reached=2),
        Gain(pigment="ochre", price_per_kg=12.5, note="sample of May", names=(), reached=1),
    )
    assert reach(demo_palette, wishes[:1], COMMON, candidates=["black"]).gains[0].reached == 1


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("name\nviolet\n", "row 2: `violet` is not a pigment here"),
        ("name\nochre\nochre\n", "row 3: `ochre` stands here twice"),
        ("name,price_per_kg\nochre,dear\n", "row 2, column price_per_kg: 'dear' is not a number"),
        ("name,price\nochre,3\n", "there is no column price"),
        ("name\n", "there is no candidate in it"),
        ("pigment\nochre\n", "no column name"),
        ("", "candidates.csv"),
    ],
)
def test_a_table_of_candidates_at_fault_is_told(demo_palette: Palette, tmp_path: Path, text: str, said: str) -> None:
    (tmp_path / "candidates.csv").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=said):
        read_candidates(tmp_path / "candidates.csv", demo_palette)


def test_a_candidate_that_is_none_is_told(demo_palette: Palette) -> None:
    with pytest.raises(InputError, match="candidate: `violet` is not a pigment here"):
        reach(demo_palette, WISHES, COMMON, candidates=["violet"])
    with pytest.raises(InputError, match="walls: none is told"):
        reach(demo_palette, WISHES, replaced(COMMON, walls_mm=()))


# The command.


def fan(folder: Path, *arguments: object) -> Result:
    told = ["fan", folder, "--optics", "two-flux", "--base", "clear", "--most-pigments", "1", *arguments]
    return CliRunner().invoke(main, [str(each) for each in told], env={"COLUMNS": "100"})


def test_the_command_writes_a_row_for_every_colour(fitted_demo: Path, tmp_path: Path) -> None:
    targets, out = tmp_path / "targets.csv", tmp_path / "recipes.csv"
    targets.write_text("name,colour\npale,#d0c8b8\nbad,#12\n", encoding="utf-8")
    asked = [targets, "--thickness", "3", "--opacity", "any", "--tolerance", "40", "--out", out]
    done = fan(fitted_demo, *asked, "--page", tmp_path / "fan.html", "--pdf", tmp_path / "fan.pdf",
               "--shop", tmp_path / "shop.csv", "--json")  # fmt: skip
    assert done.exit_code == 0, done.stderr
    assert json.loads(done.stdout) == {
        "targets": 2, "reached": 1, "out_of_reach": 0, "failed": 1, "kept": 0, "moved": [],
        "written": [str(out), *(str(tmp_path / name) for name in ("fan.html", "fan.pdf", "shop.csv"))],
    }  # fmt: skip
    pale, bad = read_rows(out)
    assert (pale.name, pale.base, pale.reached) == ("pale", "clear", True)
    assert "#12" in bad.reason
    page = (tmp_path / "fan.html").read_text(encoding="utf-8")
    assert f"--c:{pale.srgb}" in page
    assert "2 bad: " in page
    again = fan(fitted_demo, *asked, "--changed")
    assert again.exit_code == 0, again.stderr
    assert "every recipe still holds" in again.stdout
    assert again.stdout.count("Written: ") == 1


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--thickness", "3"], "targets: none or two are given"),
        (["targets.csv", "--lattice", "50", "--thickness", "3"], "targets: none or two are given"),
        (["--lattice", "50"], "--thickness: not given"),
        (["--lattice", "50", "--thickness", "3", "--opacity", "hard"], "--opacity: `hard`"),
        (["--lattice", "50", "--thickness", "3", "--over", "grey"], "--over: there is no `grey`"),
        (["nothing.csv", "--thickness", "3"], "nothing.csv: cannot be read"),
        (["recipes.csv", "--thickness", "3", "--replace"], "--out: recipes.csv is also the file of colours"),
    ],
)
def test_what_is_wrong_is_told_before_the_first_colour(
    fitted_demo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: list[str], said: str
) -> None:
    monkeypatch.chdir(tmp_path)
    done = fan(fitted_demo, *arguments, "--out", "recipes.csv")
    assert done.exit_code == 2
    assert said in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_table_without_a_colour_is_told(fitted_demo: Path, tmp_path: Path) -> None:
    (tmp_path / "targets.csv").write_text("name,colour\n", encoding="utf-8")
    done = fan(fitted_demo, tmp_path / "targets.csv", "--thickness", "3", "--out", tmp_path / "recipes.csv")
    assert done.exit_code == 2
    assert "targets.csv: there is no colour in it; expected a row for each colour" in done.stderr


def test_the_command_tells_reach_for_people_and_scripts(fitted_demo: Path, tmp_path: Path) -> None:
    targets = tmp_path / "targets.csv"
    targets.write_text("name,colour\npale,#d0c8b8\nbad,#12\n", encoding="utf-8")
    asked = [
        "reach", fitted_demo, targets, "--optics", "two-flux", "--base", "clear", "--most-pigments", "1", "--thickness",
        "3", "--wall", "8", "--opacity", "any", "--tolerance", "40", "--candidates", tmp_path / "candidates.csv",
    ]  # fmt: skip
    (tmp_path / "candidates.csv").write_text("name,price_per_kg\nochre,12.5\n", encoding="utf-8")
    done = CliRunner().invoke(main, [str(each) for each in asked])
    assert done.exit_code == 0, done.stderr
    assert "bad: " in done.stdout
    assert "12.5" in done.stdout
    told = json.loads(CliRunner().invoke(main, [*(str(each) for each in asked), "--json"]).stdout)
    assert [(each["wall_mm"], each["names"]) for each in told["reached"]] == [(3.0, ["pale"]), (8.0, ["pale"])]
    wrong = CliRunner().invoke(main, ["reach", str(fitted_demo), str(targets), "--optics", "two-flux"])
    assert (wrong.exit_code, "--thickness: not given" in wrong.stderr) == (2, True)
    wrong = CliRunner().invoke(main, [str(each) for each in asked[:-2]] + ["--candidate", "violet"])
    assert (wrong.exit_code, "--candidate: there is no `violet`" in wrong.stderr) == (2, True)
