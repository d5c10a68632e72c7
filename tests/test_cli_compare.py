"""`tint proof --pick 1,3`: recipes of a file beside its target or another, and what does not go together with it."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from tint.cli import main
from tint.materials import Blend

pytest.importorskip("jinja2", reason="the page is drawn with jinja2")
pytest.importorskip("fpdf", reason="the PDF is drawn with fpdf2")
pytest.importorskip("font_source_serif_pro", reason="both are set in it")

BLENDS = (Blend("clear", {"white": 0.25, "green": 0.05}), Blend("milky", {"green": 0.05}), Blend("clear", {}))


def shown_words(page: str) -> str:
    page = re.sub(r"<(style|script)\b.*?</\1>", " ", page, flags=re.DOTALL)
    return " ".join(re.sub(r"<[^>]*>", " ", page).split())


def run(*arguments: object) -> Result:
    named = [str(each) for each in arguments]
    return CliRunner().invoke(main, [*named, "--optics", "two-flux"], env={"COLUMNS": "100"})


@pytest.fixture(scope="module")
def solved(fitted_demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An answer in a file: three recipes for a colour of its own."""
    wanted = ("--target-lab", "60,-12,22", "--opacity", "0.6..", "--tolerance", 1.5)
    result = run("solve", fitted_demo, "--thickness", 2.6, *wanted, "--set", "most_recipes=3", "--json")
    assert result.exit_code == 0, result.stderr
    path = tmp_path_factory.mktemp("answer") / "answer.json"
    path.write_text(result.stdout, encoding="utf-8")
    return path


def test_the_command_compares_the_recipes_of_a_file(fitted_demo: Path, solved: Path, tmp_path: Path) -> None:
    files = [tmp_path / name for name in ("c.png", "c.html", "c.pdf")]
    result = run(
        "proof", fitted_demo, "--recipe", solved, "--pick", "1,3", "--set", "title=Lichen",
        "--out", files[0], "--sheet", files[1], "--pdf", files[2], "--json",
    )  # fmt: skip
    assert result.exit_code == 0, result.stderr
    told = json.loads(result.stdout)
    written = json.loads(solved.read_text("utf-8"))["recipes"]
    assert [each["rank"] for each in told["recipes"]] == [1, 3]
    for each in told["recipes"]:
        own = written[each["rank"] - 1]
        assert each["loadings"] == own["loadings"]
        assert each["delta_e"] == pytest.approx(own["delta_e"], abs=1e-6)
        assert each["price_per_kg"] == pytest.approx(own["price_per_kg"])
    page = shown_words(files[1].read_text("utf-8"))
    assert "Lichen" in page
    assert "Wanted: Lab 60, -12, 22" in page
    assert "contrast ratio at least 0.6, within 1.5 CIEDE2000" in page
    assert [file.read_bytes()[:4] for file in files] == [b"\x89PNG", b"<!do", b"%PDF"]


def test_a_target_named_stands_in_place_of_the_file_s(fitted_demo: Path, solved: Path, tmp_path: Path) -> None:
    page = tmp_path / "c.html"
    more = ("--target-lab", "50,0,0", "--light", "A")
    result = run("proof", fitted_demo, "--recipe", solved, "--pick", "all", "--sheet", page, *more)
    assert result.exit_code == 0, result.stderr
    assert "Wanted: Lab 50, 0, 0" in shown_words(page.read_text("utf-8"))
    assert "3 recipes" in " ".join(result.stdout.split())  # wherever the line is broken


def test_without_any_target_recipes_are_compared_all_the_same(fitted_demo: Path, tmp_path: Path) -> None:
    blends = [{"base": each.base, "loadings": dict(each.loadings)} for each in BLENDS]
    (tmp_path / "r.json").write_text(json.dumps({"recipes": blends}), encoding="utf-8")
    arguments = ("--recipe", tmp_path / "r.json", "--pick", "all", "--thickness", 2.6, "--out", tmp_path / "c.png")
    result = run("proof", fitted_demo, *arguments, "--json")
    assert result.exit_code == 0, result.stderr
    assert [each["delta_e"] for each in json.loads(result.stdout)["recipes"]] == [None] * 3


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (
            ("--pick", "all", "--light", "A"),
            "--light: A, but the target in the file holds for D65; name a target for it",
        ),
        (("--pick", "1,9"), "--pick: 9; expected 1 to 3, the recipes in"),
        (("--pick", "1;2"), "--pick: `1;2` is not a number; expected whole numbers of at least 1"),
        (("--pick", "0,1"), "--pick: `0,1`; expected whole numbers of at least 1, as in 1,3"),
        (
            ("--pick", "all", "--set", "approver=Ada"),
            "--set approver: a comparison of several recipes does not show it; --pick one recipe",
        ),
        (("--pick", "all", "--show", "wedge"), "--show: a comparison of several recipes does not show it"),
        (("--pick", "1,2", "--trace", "window"), "--trace: a comparison of several recipes does not show it"),
        (("--pick", "all", "--base", "clear"), "--recipe: given together with --base or --load; expected one"),
    ],
)
def test_what_does_not_go_together_is_said(
    fitted_demo: Path, solved: Path, tmp_path: Path, options: tuple[str, ...], told: str
) -> None:
    result = run("proof", fitted_demo, "--recipe", solved, "--out", tmp_path / "c.png", *options)
    assert result.exit_code == 2
    assert result.stderr.startswith(f"tint: {told}")
    assert result.stderr.count("\n") == 1
