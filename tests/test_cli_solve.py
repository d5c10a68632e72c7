"""`tint solve` from end to end: every option, the page, the JSON, its pictures, and bad input."""

from __future__ import annotations

import functools
import io
import json
import re
import time
from pathlib import Path
from typing import Any

import click
import pytest
from click.testing import CliRunner, Result
from rich.console import Console

from tint import colorimetry
from tint.appearance import Setting
from tint.cli import main
from tint.cli.show import note_json, progress
from tint.palette import Palette
from tint.recipes import Rules, solve
from tint.swatches import read_folder
from tint.target import target_from_lab

pytestmark = pytest.mark.usefixtures("sought_once")  # most of it is told twice: as a page and as JSON

THREE = ["--base", "clear", "--thickness", "3"]
WIDE = [*THREE, "--target-lab", "62,14,32", "--opacity", "0.95..", "--most-pigments", "3"]  # within reach
OCHRE = [*WIDE, "--leave-out", "blue", "--leave-out", "green"]
VIOLET = [*THREE, "--target-lab", "50,60,-40", "--opacity", "0.98..", "--most-pigments", "2"]  # far out of it
# What is not reached is looked at again with every limit loosened, which takes most of the time.
QUICK = ["--most-pigments", "2", "--tolerance", "40"]


def run(folder: Path, *arguments: object) -> Result:
    return solved(folder, *(str(each) for each in arguments))


@functools.cache
def _once(folder: Path, *arguments: str) -> Result:
    return CliRunner().invoke(main, ["solve", str(folder), *arguments, "--optics", "two-flux"], env={"COLUMNS": "80"})


def solved(folder: Path, *arguments: str) -> Result:
    """What the command says; told once for all tests that ask the same, unless it writes a file."""
    return (_once.__wrapped__ if {"--picture", "--reach"} & set(arguments) else _once)(folder, *arguments)


def page(folder: Path, *arguments: object) -> str:
    result = run(folder, *arguments)
    assert result.exit_code == 0, result.stderr or repr(result.exception)
    assert result.stderr == ""
    return result.stdout


def told(folder: Path, *arguments: object) -> str:
    """The page as one line."""
    return " ".join(page(folder, *arguments).split())


def answer(folder: Path, *arguments: object) -> dict[str, Any]:
    content = json.loads(page(folder, *arguments, "--json"))
    assert isinstance(content, dict)
    return content


# What it returns.

KEYS = {
    "recipes", "target", "setting", "conditions", "walls_mm", "batch_g", "scale_step_g", "loosened", "refused",
    "warnings", "sets", "optics",
}  # fmt: skip
RECIPE_KEYS = {
    "base", "loadings", "delta_e", "lab", "lab_black", "lab_white", "contrast_ratio", "contrast_ratio_error",
    "luminous_transmittance", "expected_error", "limits", "reached", "opacity_miss", "metamerism", "sensitivity",
    "chance", "price_per_kg", "merits", "why", "premix", "reason", "walls", "warnings",
}  # fmt: skip


def test_json_is_the_library_s_answer(fitted_demo: Path, demo_palette: Palette) -> None:
    content = answer(fitted_demo, *OCHRE, "--set", "most_recipes=3")
    target = target_from_lab([62.0, 14.0, 32.0], contrast_ratio_min=0.95)
    same = solve(
        demo_palette,
        target,
        setting=Setting(thickness_mm=3.0),
        base="clear",
        rules=Rules(most_pigments=3, leave_out=("blue", "green"), most_recipes=3),
    )
    assert set(content) == KEYS
    assert len(content["recipes"]) == len(same.recipes)
    for written, recipe in zip(content["recipes"], same.recipes, strict=True):
        assert set(written) >= RECIPE_KEYS
        assert written["loadings"] == dict(recipe.blend.loadings)
        assert written["lab"] == recipe.appearance.lab.tolist()
        for key in ("delta_e", "opacity_miss", "metamerism", "sensitivity", "chance", "price_per_kg", "reached"):
            assert written[key] == getattr(recipe, key)
        assert written["limits"] == list(recipe.limits)
        assert written["merits"] == list(recipe.merits)
        assert written["why"] == recipe.why
    assert content["sets"] == same.sets
    assert content["target"]["contrast_ratio_min"] == 0.95
    assert content["setting"]["thickness_mm"] == 3.0
    assert content["refused"]["clear"]["rose"].startswith("not safe")


def test_out_of_reach_is_no_error_and_says_what_would_have_to_give(fitted_demo: Path) -> None:
    content = answer(fitted_demo, *VIOLET)
    first = content["recipes"][0]
    assert first["reached"] is False
    assert first["limits"]
    assert first["reason"]
    assert content["loosened"]
    assert all(set(each) == {"limit", "value", "delta_e", "reached", "words"} for each in content["loosened"])
    out = told(fitted_demo, *VIOLET)
    assert first["reason"] in out
    for each in content["loosened"]:
        assert each["words"] in out


def test_a_target_in_reach_loosens_nothing(fitted_demo: Path) -> None:
    content = answer(fitted_demo, *OCHRE)
    assert content["recipes"][0]["reached"] is True
    assert content["loosened"] == []
    assert "What would bring it nearer" not in told(fitted_demo, *OCHRE)


def test_a_kept_pigment_that_is_refused_everywhere_is_a_job_that_cannot_be_done(fitted_demo: Path) -> None:
    result = run(fitted_demo, *OCHRE, "--keep", "rose")
    assert result.exit_code == 1
    assert result.stderr.count("\n") == 1
    assert "rose: not safe" in result.stderr


def test_weigh_reads_what_solve_writes(fitted_demo: Path) -> None:
    solved = page(fitted_demo, *OCHRE, *QUICK, "--set", "batch_g=100", "--set", "scale_step_g=0.01", "--json")
    weighed = CliRunner().invoke(
        main,
        [
            "weigh",
            str(fitted_demo),
            "--recipe",
            "-",
            "--set",
            "batch_g=100",
            "--set",
            "premix=no",
            "--optics",
            "two-flux",
            "--json",
        ],
        input=solved,
    )
    assert weighed.exit_code == 0, weighed.stderr
    doses = {line["what"]: line for line in json.loads(weighed.stdout)["lines"]}
    for name, loading in json.loads(solved)["recipes"][0]["loadings"].items():
        assert doses[name]["grams"] == pytest.approx(
            1.1 * loading, abs=0.01
        )  # waste included; within a step of the scale


# Rules.


def recipes(folder: Path, *arguments: object) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = answer(folder, *arguments)["recipes"]
    assert found
    return found


def test_pigments_are_kept_left_out_insisted_on_and_counted(fitted_demo: Path) -> None:
    for each in recipes(
        fitted_demo, *OCHRE, "--keep", "ochre", "--leave-out", "yellow", "--most-pigments", 3, "--set", "most_recipes=2"
    ):
        assert "ochre" in each["loadings"]
        assert "yellow" not in each["loadings"]
        assert len(each["loadings"]) <= 3
    assert len(recipes(fitted_demo, *OCHRE, "--set", "most_recipes=2")) <= 2
    insisted = answer(fitted_demo, *OCHRE, "--set", "insist=rose", "--keep", "rose")
    assert "rose" not in insisted["refused"].get("clear", {})
    assert any("rose" in warning for warning in insisted["warnings"])


def test_a_fixed_dose_stands(fitted_demo: Path) -> None:
    for each in recipes(fitted_demo, *OCHRE, "--fix", "white=0.3", "--fix", "ochre=0.1 %"):
        assert each["loadings"]["white"] == pytest.approx(0.3, abs=1e-9)
        assert each["loadings"]["ochre"] == pytest.approx(0.1, abs=1e-9)


def test_the_smallest_dose_and_the_largest_total_hold(fitted_demo: Path) -> None:
    free = recipes(fitted_demo, *OCHRE)
    assert min(min(each["loadings"].values()) for each in free) < 0.05
    for each in recipes(fitted_demo, *OCHRE, "--set", "smallest=0.05", "--tolerance", 40):
        assert min(each["loadings"].values()) >= 0.05 * (1.0 - 1e-6)
    most = 0.5 * sum(free[0]["loadings"].values())
    for each in recipes(fitted_demo, *OCHRE, "--set", f"max_total={most}", "--tolerance", 40):
        assert sum(each["loadings"].values()) <= most * (1.0 + 1e-6)


@pytest.mark.parametrize(
    ("waste", "mix"), [((), 110.0), (("--set", "waste_percent=0"), 100.0), (("--set", "waste_percent=50"), 150.0)]
)
def test_stock_holds_for_the_mix_with_its_waste(fitted_demo: Path, waste: tuple[str, ...], mix: float) -> None:
    content = answer(fitted_demo, *WIDE, "--set", "stock=white=0.4", "--set", "batch_g=100", *waste)
    assert content["batch_g"] == pytest.approx(mix)
    most = max(each["loadings"].get("white", 0.0) for each in content["recipes"])
    assert most == pytest.approx(100.0 * 0.4 / mix, rel=1e-3)  # all of it is used, for the opacity


def test_doses_are_what_the_scale_shows(fitted_demo: Path) -> None:
    content = answer(fitted_demo, *OCHRE, "--set", "batch_g=100", "--set", "scale_step_g=0.02")
    for each in content["recipes"]:
        assert not each["unweighable"]
        for name, loading in each["loadings"].items():
            steps = loading / 100.0 * content["batch_g"] / 0.02
            assert name in each["premix"] or steps == pytest.approx(round(steps), abs=1e-6)
    out = told(fitted_demo, *OCHRE, "--set", "batch_g=100", "--set", "scale_step_g=0.02")
    assert "doses in steps of 0.02 g in 110 g of mix" in out
    few = [name for each in content["recipes"] for name in each["premix"]]
    assert few
    assert few[0] in out.split("Too little to be weighed as it is")[1].split("Pigments not used")[0]


def test_the_worst_wall_counts(fitted_demo: Path) -> None:
    alone, both = answer(fitted_demo, *OCHRE), answer(fitted_demo, *OCHRE, "--wall", 1, "--wall", 5)
    assert alone["walls_mm"] == []
    assert both["walls_mm"] == [1.0, 5.0]
    first = both["recipes"][0]
    far = []
    for wall in (1, 3, 5):
        doses = [word for name, dose in first["loadings"].items() for word in ("--load", f"{name}={dose!r}")]
        arguments = ["predict", str(fitted_demo), "--base", "clear", *doses, "--thickness", str(wall), "--json"]
        look = json.loads(CliRunner().invoke(main, [*arguments, "--optics", "two-flux"]).stdout)
        far.append(float(colorimetry.difference([62.0, 14.0, 32.0], look["lab"])))
    assert first["delta_e"] == pytest.approx(max(far), abs=1e-4)
    assert "walls of 1 mm and 5 mm too" in told(fitted_demo, *OCHRE, "--wall", 1, "--wall", 5)


@pytest.mark.parametrize(("rank_by", "key"), [("price", "price_per_kg"), ("chance", "chance")])
def test_what_it_is_ranked_by_comes_first(fitted_demo: Path, rank_by: str, key: str) -> None:
    arguments = (*WIDE, "--tolerance", 3, "--set", f"rank_by={rank_by}")
    values = [each[key] for each in recipes(fitted_demo, *arguments) if each["reached"]]
    assert len(values) > 1
    best = min(values) if rank_by == "price" else max(values)
    assert values[0] == pytest.approx(best, abs=0.02)
    assert f"ranked by {rank_by}" in told(fitted_demo, *arguments)


def test_by_loading_the_leanest_comes_first(fitted_demo: Path) -> None:
    found = recipes(fitted_demo, *OCHRE, "--set", "rank_by=loading", "--set", "most_recipes=8")
    totals = [sum(each["loadings"].values()) for each in found if each["reached"]]
    assert totals[0] == min(totals)


# Targets.


def reading(folder: Path, name: str, backing: str) -> Any:
    return next(each for each in read_folder(folder).readings if (each.swatch, each.backing) == (name, backing))


def test_a_reading_of_a_folder_is_the_one_over_the_backing_judged_over(
    fitted_demo: Path, demo_palette: Palette
) -> None:
    view = Setting(thickness_mm=3.0).viewing(demo_palette)
    where = f"{fitted_demo / 'readings.csv'}:peach-lid"
    white = answer(fitted_demo, *THREE, "--target-reading", where, *QUICK)
    black = answer(fitted_demo, *THREE, "--target-reading", where, "--set", "target_over=black", *QUICK)
    for content, backing in ((white, "white"), (black, "black")):
        assert content["target"]["lab"] == pytest.approx(
            colorimetry.lab(reading(fitted_demo, "peach-lid", backing).values, view).tolist()
        )
        assert content["setting"]["over"] == backing
    assert white["target"]["lab"] != black["target"]["lab"]
    assert (
        black["setting"]["over"]
        == answer(
            fitted_demo, *THREE, "--target-reading", where, "--set", "target_over=black", "--over", "black", *QUICK
        )["setting"]["over"]
    )


def test_a_second_reading_over_black_brings_the_opacity(fitted_demo: Path, demo_palette: Palette) -> None:
    view = Setting(thickness_mm=3.0).viewing(demo_palette)
    where = f"{fitted_demo / 'readings.csv'}:peach-lid"
    both = (*THREE, "--target-reading", where, "--set", f"target_black={where}", *QUICK)
    content = answer(fitted_demo, *both)
    black, white = (reading(fitted_demo, "peach-lid", backing).values for backing in ("black", "white"))
    ratio = float(colorimetry.contrast_ratio(black, white, view))
    assert content["target"]["contrast_ratio"] == pytest.approx(ratio)
    (look,) = content["target"]["also"]
    assert look["over"] == "black"
    assert look["lab"] == pytest.approx(colorimetry.lab(black, view).tolist())
    first = content["recipes"][0]
    far = colorimetry.difference(look["lab"], first["lab_black"])
    assert first["delta_e"] >= float(far) - 1e-6  # the worse of the two
    assert content["warnings"] == []
    asked = answer(fitted_demo, *both, "--opacity", "0.5..")
    assert asked["target"]["contrast_ratio"] is None


def test_a_sample_of_another_thickness(fitted_demo: Path) -> None:
    content = answer(
        fitted_demo, *THREE, "--target-lab", "75,5,30", "--opacity", "0.8", "--set", "target_thickness_mm=1"
    )
    assert content["target"]["thickness_mm"] == 1.0
    assert content["setting"]["thickness_mm"] == 3.0
    first = content["recipes"][0]
    assert first["reached"] is True
    assert first["contrast_ratio"] == pytest.approx(0.8, abs=0.006)  # of the part
    look = CliRunner().invoke(
        main,
        [
            "predict", str(fitted_demo), "--base", "clear", "--thickness", "1", "--optics", "two-flux", "--json",
            *[word for name, dose in first["loadings"].items() for word in ("--load", f"{name}={dose!r}")],
        ],
    )  # fmt: skip
    lab = json.loads(look.stdout)["lab"]
    assert float(colorimetry.difference([75.0, 5.0, 30.0], lab)) == pytest.approx(first["delta_e"], abs=1e-6)


DIFFUSER = ["--base", "milky", "--thickness", "2", "--target-lab", "86,3,18", "--tolerance", "4"]
DIFFUSER += ["--most-pigments", "3"]


@pytest.mark.parametrize(
    ("asked", "low", "high"),
    [
        (("--set", "transmittance=0.45"), 0.44, 0.46),
        (("--set", "transmittance=0.5.."), 0.49, 1.0),
        (("--set", "transmittance=..0.3"), 0.0, 0.31),
        (("--set", "transmittance=0.3..0.4"), 0.29, 0.41),
    ],
)
def test_light_let_through(fitted_demo: Path, asked: tuple[str, ...], low: float, high: float) -> None:
    first = answer(fitted_demo, *DIFFUSER, *asked)["recipes"][0]
    assert low <= first["luminous_transmittance"] <= high


def test_the_page_tells_the_light_that_is_asked_for(fitted_demo: Path) -> None:
    first = answer(fitted_demo, *DIFFUSER, "--set", "transmittance=0.45")["recipes"][0]
    out = page(fitted_demo, *DIFFUSER, "--set", "transmittance=0.45")
    assert re.search(r"contrast +light +chance", out)
    assert re.search(rf" {first['luminous_transmittance']:.3f} ", out)


def test_as_another_blend_looks(fitted_demo: Path) -> None:
    like = ["--base", "clear", "--thickness", "2", "--set", "as_base=milky", "--set", "as_blend=yellow=0.1"]
    content = answer(fitted_demo, *like, "--set", "as_blend=white=0.05", "--tolerance", 2)
    target, first = content["target"], content["recipes"][0]
    assert target["source"].startswith("as milky with 0.1 % yellow")
    assert [look["over"] for look in target["also"]] == ["black"]
    assert first["base"] == "clear"
    assert first["reached"] is True
    assert first["contrast_ratio"] == pytest.approx(target["contrast_ratio"], abs=0.006)
    for key, lab in (("lab_white", target["lab"]), ("lab_black", target["also"][0]["lab"])):
        assert float(colorimetry.difference(lab, first[key])) <= first["delta_e"] + 1e-6


def test_as_a_blend_looks_in_the_base_asked_for_and_finds_that_blend(fitted_demo: Path) -> None:
    content = answer(
        fitted_demo, "--base", "clear", "--thickness", 2, "--set", "as_blend=yellow=0.1", "--most-pigments", 1
    )
    assert content["recipes"][0]["loadings"] == pytest.approx({"yellow": 0.1}, rel=2e-2)
    assert content["target"]["source"] == "as clear with 0.1 % yellow looks"
    own = answer(
        fitted_demo, "--base", "clear", "--thickness", 2, "--set", "as_blend=yellow=0.1", "--opacity", "0.5..", *QUICK
    )
    assert own["target"]["also"] == []
    assert own["target"]["contrast_ratio"] is None
    bare = answer(fitted_demo, "--base", "clear", "--thickness", 2, "--set", "as_base=milky", *QUICK)
    assert bare["target"]["source"] == "as milky, uncoloured looks"


def test_a_screen_colour_says_nothing_of_opacity(fitted_demo: Path) -> None:
    arguments = (*THREE, "--target-srgb", "#c8a060", *QUICK)
    free = (*arguments, "--opacity", "any")
    assert "screen colour says nothing of opacity: ask for a contrast ratio" in told(fitted_demo, *free)
    assert "opacity" in answer(fitted_demo, *free)["warnings"][0]
    assert answer(fitted_demo, *arguments, "--opacity", "0.95")["warnings"] == []


def test_a_colour_of_which_no_opacity_is_told_is_solid(fitted_demo: Path) -> None:
    for colour in (("--target-srgb", "#c8a060"), ("--target-lab", "62,14,32")):
        content = answer(fitted_demo, *THREE, *colour, *QUICK)
        assert content["target"]["contrast_ratio_min"] == 0.98
        assert "contrast ratio at least 0.98" in told(fitted_demo, *THREE, *colour, *QUICK)


def test_a_screen_colour_is_matched_without_gloss_and_a_measured_one_as_it_was_read(fitted_demo: Path) -> None:
    arguments = (*THREE, "--target-srgb", "#1a1a1a", *QUICK)
    content = answer(fitted_demo, *arguments)
    assert content["setting"]["geometry"] == "de:8"
    assert content["recipes"][0]["reached"]
    assert answer(fitted_demo, *arguments, "--set", "geometry=di:8")["setting"]["geometry"] == "di:8"
    assert answer(fitted_demo, *THREE, "--target-lab", "62,14,32", *QUICK)["setting"]["geometry"] == "di:8"


def test_nobody_is_given_more_black_than_hides(fitted_demo: Path) -> None:
    first = answer(fitted_demo, "--thickness", "2", "--target-lab", "20,0,0", "--opacity", "0.99..", *QUICK)["recipes"][
        0
    ]
    assert first["reached"]
    assert sum(first["loadings"].values()) < 0.1


def test_the_target_s_tolerance_decides_what_counts_as_reached(fitted_demo: Path) -> None:
    assert answer(fitted_demo, *THREE, "--target-lab", "50,100,-90", "--tolerance", 500)["recipes"][0]["reached"]


# The page.

PAGES = {
    "in reach": OCHRE,
    "out of reach": VIOLET,
    "every base": [*OCHRE[2:], "--set", "most_recipes=8"],
    "scale": [
        *OCHRE,
        "--set",
        "batch_g=600",
        "--set",
        "scale_step_g=0.01",
        "--wall",
        "2.5",
        "--set",
        "rank_by=chance",
        "--tolerance",
        "3",
    ],
    "light": [*DIFFUSER, "--set", "transmittance=0.45"],
    "as a blend": [
        "--base",
        "clear",
        "--thickness",
        "2",
        "--set",
        "as_base=milky",
        "--set",
        "as_blend=yellow=0.3",
        *QUICK,
    ],
    "one pigment": [*VIOLET, "--most-pigments", "1", "--set", "insist=rose"],
}


@pytest.mark.parametrize("arguments", PAGES.values(), ids=PAGES)
def test_a_page_fits_eighty_columns(fitted_demo: Path, arguments: list[str]) -> None:
    lines = page(fitted_demo, *arguments).split("\n")
    assert max(len(line) for line in lines) <= 80
    assert [line for line in lines if line != line.rstrip()] == []
    assert "…" not in "".join(lines)


def test_the_page_tells_every_recipe_with_units_and_conditions(fitted_demo: Path) -> None:
    content = answer(fitted_demo, *OCHRE)
    out = page(fitted_demo, *OCHRE)
    assert "3 mm, over white, air seat, di:8, D65, 10° observer; two-flux" in out
    for rank, each in enumerate(content["recipes"], start=1):
        largest = max(each["loadings"], key=lambda name: each["loadings"][name])
        own = (
            rf"{rank} +clear +{each['loadings'][largest]:.4f} +{largest} +{each['delta_e']:.2f} "
            rf"+{each['expected_error']:.2f} +{each['contrast_ratio']:.3f} ± {each['contrast_ratio_error']:.3f} "
            rf"+{100 * each['chance']:.0f} % +{'yes' if each['reached'] else 'no'}"
        )
        assert re.search(own, out)
        beside = (
            rf"{rank} +{sum(each['loadings'].values()):.3f} % +{each['price_per_kg']:.2f} "
            rf"+{each['sensitivity']:.2f}"
        )
        assert re.search(beside, out)
        assert each["why"] in " ".join(out.split())
    flat = " ".join(out.split())
    assert f"Searched: {content['sets']} sets of pigments. Cure a small cup" in flat
    assert "rose in clear: not safe" in flat


def test_what_holds_for_several_recipes_is_said_once(fitted_demo: Path) -> None:
    out = told(fitted_demo, *VIOLET)
    reasons = [each["reason"] for each in recipes(fitted_demo, *VIOLET)]
    for reason in reasons:
        assert out.count(reason) == 1


# Pictures.


def test_pictures_are_written_and_never_over_one_that_is_there(fitted_demo: Path, tmp_path: Path) -> None:
    picture, reach = tmp_path / "answer.png", tmp_path / "reach.png"
    arguments = (*OCHRE, *QUICK, "--set", "most_recipes=2", "--picture", picture, "--reach", reach)
    out = page(fitted_demo, *arguments)
    assert f"Written:{picture}" in "".join(out.split())
    drawn = picture.read_bytes(), reach.read_bytes()
    assert all(each.startswith(b"\x89PNG\r\n") for each in drawn)
    picture.write_bytes(b"approved")
    for option, path in (("--picture", picture), ("--reach", reach)):
        kept = path.read_bytes()
        result = run(fitted_demo, *OCHRE, option, path)
        assert (result.exit_code, result.stdout) == (2, "")
        assert f"{option} {path}: is there already" in result.stderr
        assert path.read_bytes() == kept
    content = answer(fitted_demo, *arguments, "--replace")
    assert content["written"] == [str(picture), str(reach)]
    assert (picture.read_bytes(), reach.read_bytes()) == drawn


def test_no_picture_is_left_when_the_other_cannot_be_drawn(
    fitted_demo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*arguments: object, **options: object) -> bytes:
        raise OSError(28, "No space left on device", "reach.png")

    monkeypatch.setattr("tint.proofs.draw_reach", fail)
    result = run(fitted_demo, *OCHRE, "--picture", tmp_path / "a.png", "--reach", tmp_path / "b.png")
    assert result.exit_code == 2
    assert list(tmp_path.iterdir()) == []


# Progress.


def test_progress_shows_only_what_takes_its_time() -> None:
    shown = {}
    for patience in (0.0, 60.0):
        out = io.StringIO()
        with progress(on=Console(file=out, force_terminal=True, width=60), patience_s=patience) as tell:
            tell("searching [clear]", 1, 2)
            time.sleep(0.3)
        shown[patience] = out.getvalue()
    assert "searching [clear]" in shown[0.0]
    assert shown[60.0] == ""


def test_progress_of_a_job_whose_length_nobody_knows_shows_no_share() -> None:
    out = io.StringIO()
    with progress(on=Console(file=out, force_terminal=True, width=60), patience_s=0.0) as tell:
        for words, done, of in (("weighing", 0, 0), ("tracing", 3, 4), ("drawing", 0, 0)):
            tell(words, done, of)
            time.sleep(0.3)
    assert all(words in out.getvalue() for words in ("weighing", "tracing", "drawing"))


def test_progress_is_silent_off_a_terminal_and_when_told(capsys: pytest.CaptureFixture[str]) -> None:
    out = io.StringIO()
    with progress(patience_s=0.0) as tell:
        tell("searching", 1, 2)
    with click.Context(main) as context:
        note_json(context, context.command.params[0], True)
        with progress(on=Console(file=out, force_terminal=True), patience_s=0.0) as tell:
            tell("searching", 1, 2)
    time.sleep(0.05)
    assert capsys.readouterr() == ("", "")
    assert out.getvalue() == ""


# Bad input: arguments after the folder, and what the one line must say. HERE is an empty folder.

RED = "--thickness 3 --target-lab 50,60,40"
LIKE = "--thickness 2 --base clear --set as_blend=yellow=0.1"
FAULTS = [
    (f"{RED} --fix white", "--fix: `white`; expected PIGMENT=PERCENT, as in white=0.5"),
    (f"{RED} --fix wite=1", "--fix: there is no `wite`"),
    (f"{RED} --fix white=101", "--fix white: 101 %; expected a loading from 0 to 100 %"),
    (f"{RED} --fix white=1 --fix white=2", "--fix: white is given twice"),
    (f"{RED} --fix white=0", "fix: 0 % of white; expected more than 0"),
    (f"{RED} --fix red=1 --leave-out red", "red is also to be left out"),
    (f"{RED} --keep red --keep white --most-pigments 1", "keep: 2 pigments"),
    (f"{RED} --set stock=white=20", "stock: the batch is not told; give the batch in grams too"),
    (f"{RED} --set stock=white=-2 --set batch_g=100", "--set stock=white: -2 g; expected an amount 0 g or more"),
    (f"{RED} --set stock=white=2,5 --set batch_g=100", "`2,5` has a comma; expected an amount in grams"),
    (f"{RED} --set stock=rouge=2 --set batch_g=100", "--set stock: there is no `rouge`"),
    (f"{RED} --set scale_step_g=0.01", "scale step: "),
    (f"{RED} --set waste_percent=5", "--set waste_percent: the batch is not told; give batch_g too"),
    (f"{RED} --set waste_percent=-5 --set batch_g=100", "--set waste_percent: -5 %; expected 0 to 200 % of the batch"),
    (f"{RED} --set batch_g=0", "batch: 0;"),
    (f"{RED} --set smallest=-1", "smallest dose: -1 %"),
    (f"{RED} --set smallest=tiny", "--set smallest: `tiny` is not a number; expected percent of the mix"),
    (f"{RED} --set max_total=0", "total: 0; expected more than 0"),
    (f"{RED} --wall 0", "wall: 0 mm;"),
    (f"{RED} --wall thin", "--wall: `thin` is not a number; expected a wall thickness in mm"),
    (f"{RED} --set rank_by=beauty", "'beauty' is not one of 'closeness', 'chance', 'price', 'loading'"),
    (f"{RED} --most-pigments 9", "most pigments: 9; expected 1 to 5"),
    (f"{RED} --set transmittance=45", "--set transmittance: `45`; expected a luminous transmittance, more than 0"),
    (f"{RED} --set transmittance=0.4..0.3", "--set transmittance: at least 0.4 and at most 0.3; swap them"),
    (f"{RED} --set target_over=balck", "--set target_over: there is no `balck`; expected one of black, white, none"),
    (f"{RED} --set target_over=black --over white", "--set target_over: black, but --over white; expected one"),
    (f"{RED} --set target_thickness_mm=0", "target, thickness: 0 mm"),
    (f"{RED} --set target_black=HERE/none.csv", "HERE/none.csv: cannot be read"),
    (f"{RED} --set target_over=black --set target_black=FOLDER/readings.csv:peach-lid", "target over black: the"),
    (f"{RED} --set as_blend=white=1", "--set as_blend: given together with --target-lab; expected one or the other"),
    (f"{LIKE} --set target_thickness_mm=3", "--set as_blend: given together with --set target_thickness_mm"),
    (f"{LIKE} --set as_blend=wite=1", "--set as_blend: there is no `wite`"),
    (f"{LIKE} --set as_base=rubber", "--set as_base: there is no `rubber`; expected one of clear, milky"),
    ("--thickness 2 --set as_blend=yellow=0.1", "--set as_base: no base is named; expected one of clear, milky"),
    ("--thickness 2 --set transmittance=0.4", "target: an opacity or tolerance without a colour; expected"),
    ("--thickness 2", "target: no colour is named; expected --target-lab"),
    ("--thickness 2 --target-reading FOLDER/readings.csv:clear-3mm --seat wet", "clear-3mm has seat air; expected a"),
    (f"{RED} --picture HERE/a.jpg", "--picture HERE/a.jpg: is not the name of a PNG"),
    (f"{RED} --picture HERE/a.png --reach HERE/a.png", "is the name for --picture too; expected two names"),
    (f"{RED} --tolerance 90 --opacity any --most-pigments 1 --reach HERE/none/a.png", "cannot be written"),
]  # fmt: skip


@pytest.mark.parametrize(("arguments", "words"), FAULTS)
def test_bad_input_is_one_line(arguments: str, words: str, fitted_demo: Path, tmp_path: Path) -> None:
    for word, place in {"FOLDER": str(fitted_demo), "HERE": str(tmp_path)}.items():
        arguments, words = arguments.replace(word, place), words.replace(word, place)
    result = run(fitted_demo, *arguments.split(" "))
    assert isinstance(result.exception, SystemExit), repr(result.exception)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.startswith("tint: ")
    assert result.stderr.count("\n") == 1
    assert words in result.stderr
    assert list(tmp_path.iterdir()) == []
