"""The front door: `import tint` runs as the README writes it, costs next to nothing, and says what it expected."""

from __future__ import annotations

import doctest
import inspect
import json
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, cast

import numpy as np
import pandas as pd
import pytest
from click.testing import CliRunner

import tint
from tint import glossary, jsonable, opacity, recipes, verbs, weighing
from tint.cli import main
from tint.fans import solving
from tint.opacity import WORDS, opacity_of
from tint.swatches import INPUT_FILES
from tint.target import target_from_written
from tint.trials import Trial, TrialReading

ROOT = Path(__file__).parents[1]
DEMO = ROOT / "swatches_demo"
any_: Any = tint  # where what is passed is wrong on purpose
any_3: Any = 3
LIST: Any = [0.5] * 31
TWO = tint.Rules(most_pigments=2, keep=("white", "yellow"))
FEW = tint.Rules(most_pigments=3, most_recipes=1)
QUICKLY = tint.Rules(most_pigments=2, most_recipes=1)


def poured(**made: Any) -> Trial:
    """A trial, its reading a plain list."""
    own: dict[str, Any] = {"blend": tint.Blend("clear", {"white": 0.5}), "thickness_mm": 3.0}
    return Trial(**own | made, readings=(TrialReading(values=LIST, over="white"),))


@pytest.fixture(scope="module")
def palette(many_demo: Path) -> tint.Palette:
    return tint.load(many_demo)


@pytest.fixture(scope="module")
def answer(palette: tint.Palette) -> tint.Answer:
    return tint.solve(palette, lab=(70, -12, 8), opacity="solid", base="clear", thickness_mm=3)


def test_every_public_name_is_there_and_no_other() -> None:
    assert sorted(tint.__all__) == tint.__all__
    for name in tint.__all__:
        assert getattr(tint, name) is not None
    assert tint.__version__[0].isdigit()
    with pytest.raises(AttributeError, match="no attribute 'colour'"):
        tint.colour  # noqa: B018


def test_every_verb_says_what_it_takes_and_shows_an_example() -> None:
    shown = [
        name
        for name in tint.__all__
        if getattr(getattr(tint, name), "__module__", "") in ("tint.verbs", "tint.folders")
    ]
    assert len(shown) > 8
    assert [name for name in shown if ">>> " not in (inspect.getdoc(getattr(tint, name)) or "")] == []


def test_examples_of_the_verbs_run(
    many_demo: Path, palette: tint.Palette, answer: tint.Answer, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(many_demo.parent)
    for module in (verbs, opacity, glossary, solving):
        given = {"tint": tint, "palette": palette, "answer": answer}
        run = doctest.testmod(module, extraglobs=given, optionflags=doctest.NORMALIZE_WHITESPACE)
        assert run.attempted > 0
        assert run.failed == 0


def test_a_check_holds_castings_against_each_other_as_the_command_does(demo_folder: Path) -> None:
    path = demo_folder / "swatches.csv"
    rows = path.read_text().split("\n")
    at = next(at for at, row in enumerate(rows) if row.startswith("red-0.2-"))
    name, base, thickness, *rest = rows[at].split(",")
    path.write_text(
        "\n".join([*rows[:at], ",".join([name, base, f"{2.0 * float(thickness):g}", *rest]), *rows[at + 1 :]])
    )
    assert tint.check(demo_folder, quick=True) == ()
    (found,) = tint.check(demo_folder)
    assert (found.kind, found.where) == ("thickness", name)


SEEN_WET = ("--base", "milky", "--seat", "wet", "--light", "A", "--observer", "2")
AS_SEEN_WET: dict[str, Any] = {"base": "milky", "seat": "wet", "light": "A", "observer": 2}
QUICK = ("--most-pigments", "2", "--set", "most_recipes=1")


@pytest.mark.parametrize(
    ("words", "verb", "more"),
    [
        (
            ("predict", "--load", "white=0.1", "--thickness", "2", "--over", "black", *SEEN_WET),
            lambda p: tint.predict(p, {"white": 0.1}, thickness_mm=2, over="black", **AS_SEEN_WET),
            {"lab_from_behind", "srgb_from_behind", "hides_at_mm"},
        ),
        (
            ("solve", "--base", "clear", "--target-srgb", "#e8701a", "--thickness", "2", "--wall", "8", *QUICK),
            lambda p: tint.solve(p, srgb="#e8701a", base="clear", walls_mm=(2, 8), rules=QUICKLY),
            set(),
        ),
        (
            ("solve", "--base", "clear", "--target-lab", "70,-12,8", "--thickness", "3", "--opacity", "milky", *QUICK),
            lambda p: tint.solve(p, lab=(70, -12, 8), base="clear", thickness_mm=3, opacity="milky", rules=QUICKLY),
            set(),
        ),
        (
            ("weigh", "--base", "clear", "--load", "white=0.5", "--thickness", "3", "--batch-g", "120"),
            lambda p: tint.weigh(p, {"white": 0.5}, base="clear", thickness_mm=3, batch_g=120),
            set(),
        ),
    ],
    ids=lambda value: value[0] if isinstance(value, tuple) else "",
)
def test_a_verb_tells_what_its_command_tells(
    many_demo: Path, palette: tint.Palette, words: tuple[str, ...], verb: Any, more: set[str]
) -> None:
    name, *told = words
    printed = CliRunner().invoke(main, [name, str(many_demo), *told, "--json"])
    assert printed.exit_code == 0, printed.stderr
    of_command, of_verb = json.loads(printed.stdout), json.loads(verb(palette).to_json())
    assert set(of_command) - set(of_verb) == more
    assert {key: of_command[key] for key in of_verb} == of_verb


def test_importing_costs_no_more_than_a_lazy_table() -> None:
    script = "import sys; import tint; print(len([m for m in sys.modules if m.startswith(('tint.', 'numpy'))]))"
    told = subprocess.run([sys.executable, "-c", script], check=True, capture_output=True, text=True)
    assert told.stdout.strip() == "0"


def test_what_is_answered_is_json_and_a_table(palette: tint.Palette, answer: tint.Answer, tmp_path: Path) -> None:
    best = answer.best
    assert json.loads(answer.to_json())["recipes"][0] == json.loads(best.to_json())
    look = tint.predict(palette, best)
    assert json.loads(look.to_json())["lab"] == pytest.approx(best.appearance.lab.tolist())
    for told in (look, answer, tint.weigh(palette, best, batch_g=120).predicted):
        assert json.loads(told.to_json())["optics"] == "many-flux"
    sheet = tint.weigh(palette, best, batch_g=120, scale_step_g=0.1)
    assert json.loads(sheet.to_json())["total_grams"] == sheet.total_grams
    frame = answer.to_frame()
    assert len(frame) == len(answer.recipes)
    assert frame["white %"].iloc[0] == pytest.approx(best.blend.loadings["white"])
    saved = tint.proof(palette, best, title="lid").save(tmp_path / "lid.png")
    assert saved.read_bytes()[1:4] == b"PNG"
    with pytest.raises(tint.InputError, match="is there already"):
        tint.proof(palette, best).save(saved)
    with pytest.raises(tint.InputError, match="not the name of a PNG"):
        tint.proof(palette, best).save(tmp_path / "lid.pdf")


def test_walls_are_judged_together_the_thinnest_first(palette: tint.Palette) -> None:
    answer = tint.solve(palette, srgb="#b08850", opacity="solid", walls_mm=[8, 2], base="clear", rules=FEW)
    assert answer.best.reached
    assert answer.setting.thickness_mm == 2
    assert answer.rules.walls_mm == (8.0,)
    assert answer.target.contrast_ratio_min == WORDS["solid"]["contrast_ratio"][0]


def test_what_was_written_is_read_back_as_it_was(palette: tint.Palette, answer: tint.Answer) -> None:
    read = recipes.from_json(answer.to_json())
    assert json.loads(jsonable.text(read)) == json.loads(answer.to_json())
    assert target_from_written(read.target or jsonable.Target(lab=(0.0, 0.0, 0.0))).in_words == answer.target.in_words
    told = {} if read.setting is None else read.setting.told
    again = tint.predict(palette, read.recipes[0], **told)
    np.testing.assert_allclose(again.reflectance, answer.best.appearance.reflectance)
    sheet = tint.weigh(palette, answer.best, batch_g=120, scale_step_g=0.1)
    assert json.loads(jsonable.text(weighing.from_json(sheet.to_json()))) == json.loads(sheet.to_json())


def test_a_reading_may_be_a_plain_list(palette: tint.Palette, answer: tint.Answer) -> None:
    assert not tint.adjust(palette, answer, poured()).leave


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("{", "old.json: is not JSON"),
        ("[]", "old.json: found a list; expected a table, what `tint solve --json` writes"),
        ("{}", "old.json, key recipes: the key is missing"),
        ('{"recipes": []}', "old.json: holds no recipe"),
        ('{"recipes": [{"base": "clear"}]}', "old.json, key recipes[1].loadings: the key is missing"),
        ('{"recipes": [{"base": 3, "loadings": {}}]}', "key recipes[1].base: found a number; expected text"),
        (
            '{"recipes": [{"base": "a", "loadings": {"b": ""}}]}',
            "key recipes[1].loadings: found text; expected a number",
        ),
        (
            '{"recipes": [{"base": "a", "loadings": {}}], "target": {"lab": [1, 2]}}',
            "old.json, key target.lab: expected a list of length 3, got 2",
        ),
    ],
)
def test_what_cannot_be_read_back_is_told_by_file_and_key(text: str, told: str) -> None:
    with pytest.raises(tint.InputError) as error:
        recipes.from_json(text, where="old.json")
    assert told in str(error.value)
    assert "\n" not in str(error.value)


@pytest.mark.parametrize(
    ("asked", "tolerance"),
    [
        ({}, 0.4),
        ({"opacity": "solid"}, 0.4),
        ({"opacity": "solid", "tolerance": 2.0}, 2.0),
        ({"tolerance": 2.0}, 2.0),
    ],
)
def test_a_target_keeps_its_own_tolerance_unless_one_is_given(
    palette: tint.Palette, asked: dict[str, Any], tolerance: float
) -> None:
    look = tint.predict(palette, {"white": 1.5, "yellow": 0.2}, base="clear", thickness_mm=3)
    own = tint.Target(lab=look.lab, tolerance=0.4)
    answer = tint.solve(palette, own, base="clear", thickness_mm=3, rules=TWO, **asked)
    assert answer.target.tolerance == tolerance
    assert answer.target.asks_opacity == ("opacity" in asked)


def test_an_opacity_stands_in_place_of_the_targets_own(palette: tint.Palette) -> None:
    look = tint.predict(palette, {"white": 1.5, "yellow": 0.2}, base="clear", thickness_mm=3)
    own = tint.Target(lab=look.lab, contrast_ratio=0.9)
    answer = tint.solve(palette, own, opacity="solid", base="clear", thickness_mm=3, rules=TWO)
    assert (answer.target.contrast_ratio, answer.target.contrast_ratio_min) == (None, 0.98)


def test_a_colour_without_a_tolerance_is_to_come_within_one(palette: tint.Palette) -> None:
    answer = tint.solve(palette, lab=(85, 2, 40), base="clear", thickness_mm=3, rules=TWO)
    assert answer.target.tolerance == 1.0


def test_load_takes_the_fitted_palette_while_it_is_fresh(tmp_path: Path, palette: tint.Palette) -> None:
    from tint.palette import fit_path, write_palette

    for name in INPUT_FILES:
        shutil.copy(DEMO / name, tmp_path / name)
    write_palette(palette, fit_path(tmp_path, "many-flux"))
    loaded = tint.load(tmp_path)
    np.testing.assert_array_equal(loaded.k, palette.k)


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda _: any_.fit(3), "folder: 3; expected the path of a swatch folder"),
        (lambda _: any_.predict("swatches_demo", {}, thickness_mm=3), "palette: 'swatches_demo'; expected a Palette"),
        (lambda p: any_.predict(p, [0.5], base="clear", thickness_mm=3), "blend: a list; expected loadings by pigment"),
        (
            lambda p: any_.predict(p, {"white": "much"}, base="clear", thickness_mm=3),
            "blend, white: 'much'; expected a number",
        ),
        (
            lambda p: any_.predict(p, {"white": 0.5}, thickness_mm=3),
            "base: no base is named; expected one of clear, milky",
        ),
        (lambda p: any_.predict(p, {"white": 0.5}, base="clear"), "thickness: not given"),
        (
            lambda p: any_.predict(p, {"white": 0.5}, base="clear", thickness_mm="3"),
            "thickness_mm: '3'; expected the wall thickness",
        ),
        (lambda p: any_.predict(p, {}, base="clear", thickness_mm=3, lamp="A"), "lamp: there is no such argument"),
        (lambda p: any_.predict(p, {}, base="clear", thickness=3), "did you mean thickness_mm?"),
        (lambda p: any_.predict(p, {"whit": 1}, base="clear", thickness_mm=3), "did you mean white?"),
        (lambda p: any_.solve(p, thickness_mm=3), "target: nothing is asked for"),
        (lambda p: any_.solve(p, (70, -12, 8), thickness_mm=3), "target: a tuple; expected a Target, or lab="),
        (lambda p: any_.solve(p, lab=(1, 2, 3), srgb="#ffffff", thickness_mm=3), "lab and srgb are given together"),
        (lambda p: any_.solve(p, lab="red", thickness_mm=3), "lab: 'red'; expected three numbers"),
        (lambda p: any_.solve(p, lab=(70, 0, 0), thickness_mm=3, walls_mm=[2, 8]), "given together with a thickness"),
        (lambda p: any_.solve(p, lab=(70, 0, 0), thickness_mm=3, opacity="dense"), "opacity: `dense`; expected solid"),
        (lambda p: any_.weigh(p, {"white": 0.5}, base="clear", thickness_mm=3), "batch: not given"),
        (
            lambda p: any_.weigh(p, {"white": 0.5}, base="clear", thickness_mm=3, batch_g="120"),
            "batch_g: '120'; expected a number",
        ),
        (lambda p: any_.weigh(p, {}, base="clear", thickness_mm=3, batch=120), "batch: 120; expected a Batch"),
        (
            lambda p: any_.weigh(p, {}, base="clear", thickness_mm=3, batch_g=9, scale=0.1),
            "scale: 0.1; expected a Scale",
        ),
        (lambda p: p.plot(ax=pd.Series([1.0])), "ax: a Series; expected the axes of a figure"),
        (lambda p: any_.predict(p, {}, base="clear", walls_mm=3), "walls_mm: 3; expected wall thicknesses in mm"),
        (
            lambda p: any_.predict(p, {}, base="clear", thickness_mm=3, light=None),
            "light: None; expected text",
        ),
        (
            lambda p: any_.solve(p, lab=(70, 0, 0), thickness_mm=3, tolerance="1"),
            "tolerance: '1'; expected CIEDE2000",
        ),
        (lambda p: any_.solve(p, lab=(70, 0, 0), thickness_mm=3, rules={"keep": "white"}), "rules: a dict"),
        (lambda _: any_.Rules(most_pigments="2"), "most_pigments: '2'; expected a whole number"),
        (lambda _: any_.read_order(None), "path: None; expected the path of a file or folder"),
        (
            lambda p: any_.adjust(p, tint.Target(lab=np.array([70, 0, 0])), {"white": 1}, thickness_mm=3),
            "trials: a dict; expected a Trial, or several",
        ),
        (
            lambda p: any_.adjust(
                p, tint.Target(lab=np.array([70, 0, 0])), poured(blend={"white": 0.5}), thickness_mm=3
            ),
            "trial 1: a dict; expected a Blend",
        ),
        (lambda _: TrialReading(values=any_, over="white"), "reading: a module; expected a reflectance for each"),
    ],
)
def test_what_is_of_the_wrong_kind_is_told_in_one_line(
    palette: tint.Palette, call: Callable[[Any], object], match: str
) -> None:
    with pytest.raises(tint.InputError) as error:
        call(palette)
    assert match in str(error.value)
    assert "\n" not in str(error.value)


FUNCTIONS = [name for name in tint.__all__ if inspect.isfunction(getattr(tint, name))]
STRUCTS: dict[str, dict[str, Any]] = {
    "Blend": {"base": "clear"}, "Rules": {}, "Setting": {"thickness_mm": 3}, "Target": {"lab": (70, 0, 0)},
}  # fmt: skip


def needed(palette: tint.Palette, answer: tint.Answer) -> dict[str, Any]:
    """What some function cannot do without, by the name of the argument."""
    text = ("folder", "path", "word", "reading", "reference", "verdict", "base")
    things = {"palette": palette, "blend": {}, "recipe": {}, "answer": answer, "trials": [], "targets": []}
    return things | dict.fromkeys(text, "white")


@pytest.mark.parametrize("name", FUNCTIONS)
def test_property_every_argument_of_a_wrong_kind_is_named(
    palette: tint.Palette, answer: tint.Answer, name: str
) -> None:
    function, held = getattr(any_, name), needed(palette, answer)
    every = inspect.signature(function).parameters
    told = [each for each in every.values() if each.kind is not each.VAR_KEYWORD]
    assert told
    for wrong in told:
        rest = {each.name: held[each.name] for each in told if each.default is each.empty and each is not wrong}
        setting = {"thickness_mm": 3} if name == "adjust" and wrong.name != "thickness_mm" else {}
        with pytest.raises(tint.InputError, match=f"^{wrong.name}: an object; expected "):
            function(**rest, **setting, **{wrong.name: object()})


@pytest.mark.parametrize("name", STRUCTS)
def test_property_every_field_of_a_wrong_kind_is_named(name: str) -> None:
    for field in inspect.signature(getattr(any_, name)).parameters:
        with pytest.raises(tint.InputError, match=f"^{field}: an object; expected "):
            getattr(any_, name)(**STRUCTS[name] | {field: object()})


@pytest.mark.parametrize(
    ("call", "match"),
    [
        (lambda: any_.Rules(leave_out=None), "leave_out: None; expected several, each text"),
        (lambda: any_.Rules(leave_out="white"), "leave_out: 'white'; expected several, each text"),
        (lambda: any_.Rules(max_total="3"), "max_total: '3'; expected a number"),
        (lambda: any_.Rules(fixed={"white": "much"}), "fixed, white: 'much'; expected a number"),
        (lambda: any_.Rules(walls_mm=(2, None)), "walls_mm, number 2: None; expected a number"),
        (lambda: any_.Rules(batch_g=float("nan")), "batch_g: nan, which is not finite; expected a number"),
        (lambda: any_.Rules(batch_g=10**400), "batch_g: 0x"),
        (lambda: any_.Setting(thickness_mm=True), "thickness_mm: true; expected a number"),
        (lambda: any_.explain(None), "word: None; expected a word, as in tint.explain('haze')"),
        (lambda: any_.Proof(b"").save(None), "path: None; expected the name of a PNG"),
        (lambda: any_.Target(lab=(70, 0, 0)).bounds("gloss"), "`gloss` cannot be asked for; expected one of"),
        (lambda: any_.read_folder("a\0b"), r"path: 'a\x00b'; expected the path of a file or folder"),
    ],
)
def test_the_wrong_kind_in_a_struct_or_a_thing_is_told_in_one_line(call: Callable[[], object], match: str) -> None:
    with pytest.raises(tint.InputError) as error:
        call()
    assert match in str(error.value)
    assert "\n" not in str(error.value)


def test_what_the_palette_does_not_have_is_told_in_one_line(palette: tint.Palette) -> None:
    for call in (palette.optics, palette.gains, lambda base: palette.shares(base, [0.0] * 8)):
        with pytest.raises(tint.InputError, match="`grey` is not in the palette; expected one of clear, milky"):
            call("grey")
    with pytest.raises(tint.InputError, match=r"loadings: of shape \(2,\); expected one for each of 8 pigments"):
        palette.blend("clear", [1, 2])
    with pytest.raises(tint.InputError, match="ax: 3; expected the axes"):
        palette.plot(ax=any_3)


def test_numbers_of_numpy_and_what_can_be_gone_through_are_taken(palette: tint.Palette) -> None:
    plain = tint.predict(palette, {"white": 0.5}, base="clear", walls_mm=(2, 3))
    blend: Any = pd.Series({"white": np.float64(0.5)})
    each_way: list[Any] = [
        np.array([2, 3]),
        (each for each in (2, 3)),
        pd.Series([2.0, 3.0], index=[7, 8]),
        [np.int64(2), np.float32(3)],
    ]
    for walls in each_way:
        same = tint.predict(palette, blend, base="clear", walls_mm=walls)
        assert [each.lab.tolist() for each in same] == [each.lab.tolist() for each in plain]
    names, two, wall = cast(Any, (name for name in ("white", "blue"))), cast(Any, np.int64(2)), cast(Any, np.array(2.5))
    rules = tint.Rules(leave_out=names, most_pigments=two)
    assert (rules.leave_out, rules.most_pigments) == (("white", "blue"), 2)
    assert tint.Setting(thickness_mm=wall).thickness_mm == 2.5


@pytest.mark.parametrize(
    ("asked", "bounds"),
    [
        ("solid", {"contrast_ratio_min": 0.98}),
        ("Any", {}),
        ("glows", {"transmittance_min": 0.2}),
        (0.9, {"contrast_ratio": 0.9}),
        ("0.9", {"contrast_ratio": 0.9}),
        ("0.97..", {"contrast_ratio_min": 0.97}),
        ("..0.6", {"contrast_ratio_max": 0.6}),
        ((0.6, 0.7), {"contrast_ratio_min": 0.6, "contrast_ratio_max": 0.7}),
    ],
)
def test_an_opacity_is_a_word_a_number_or_a_range(asked: Any, bounds: dict[str, float]) -> None:
    assert opacity_of(asked) == bounds


@pytest.mark.parametrize("asked", ["..", "0.7..0.6", "1.2", "-0.1..", "0.5..x", (0.5,), None])
def test_an_opacity_that_means_nothing_is_refused(asked: Any) -> None:
    with pytest.raises(tint.InputError, match="opacity"):
        opacity_of(asked)


def test_every_word_is_explained_in_sentences() -> None:
    for word, told in glossary.GLOSSARY.items():
        assert told.endswith("."), word
        assert tint.explain(word.upper()) == told
    assert "0.98" in tint.explain("solid")
    assert "scattered" in tint.explain("clear")
    assert tint.explain("di:8") == tint.explain("geometry")
    assert tint.explain("ΔE00") == tint.explain("CIEDE2000")
    with pytest.raises(tint.InputError, match="did you mean metamerism"):
        tint.explain("metamerizm")
