"""`tint start`: a folder to begin with, and the grams of its first castings before there is a palette."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

import tint
from tint.cli import main
from tint.errors import InputError
from tint.materials import Base, Blend, Pigment
from tint.starting import base_in, pigment_in
from tint.swatches import inspect_folder, read_declared
from tint.weighing import Scale, weigh_castings

TOLD = (
    "--base", "clear=platinum,1:1,3", "--base", "milky=tin,100:5,2.5", "--pigment", "white=both", "--pigment",
    "blue=platinum", "--pigment", "rose=tin,1", "--pigment", "soot=both,1", "--pigment", "ochre",
)  # fmt: skip


def begin(folder: Path, *more: str) -> Result:
    return CliRunner().invoke(main, ["start", str(folder), *more])


def test_a_folder_is_begun_that_every_command_reads(tmp_path: Path) -> None:
    folder = tmp_path / "pots"
    assert begin(folder, *TOLD, "--mould", "1", "--mould", "3").exit_code == 0
    declared = read_declared(folder)
    assert [base.cure for base in declared.bases.values() if base] == ["addition", "condensation"]
    milky, rose, ochre = declared.bases["milky"], declared.pigments["rose"], declared.pigments["ochre"]
    assert milky is not None
    assert rose is not None
    assert ochre is not None
    assert dict(milky.mix) == {"A": 100.0, "B": 5.0}
    assert milky.max_loading == 2.5
    assert (rose.cures, rose.max_loading) == (("condensation",), 1.0)
    assert ochre.cures is None
    assert declared.workshop.mould_depths_mm == (1.0, 3.0)
    page = (folder / "casting-plan.html").read_text(encoding="utf-8")
    rows = list(csv.DictReader((folder / "swatches.csv").read_text(encoding="utf-8").splitlines()))
    assert len(rows) == 12
    assert all(row["swatch"] in page for row in rows)
    assert {row["thickness_mm"] for row in rows} == {"1", "3"}


def test_every_key_is_explained(tmp_path: Path) -> None:
    begin(tmp_path / "pots", *TOLD)
    lines = (tmp_path / "pots" / "palette.toml").read_text(encoding="utf-8").splitlines()
    keys = [line for line in lines if " = " in line and not line.startswith("name")]
    assert len(keys) > 40
    assert [line for line in keys if "# " not in line[30:]] == []


def test_what_is_there_is_left_alone(tmp_path: Path) -> None:
    folder = tmp_path / "pots"
    begin(folder, *TOLD)
    (folder / "swatches.csv").write_text("mine", encoding="utf-8")
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert begin(folder).exit_code == 0
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
    told = begin(folder, *TOLD)
    assert told.exit_code == 2
    assert "tells what there is already" in told.stderr


def test_the_library_begins_the_same(tmp_path: Path) -> None:
    begin(tmp_path / "typed" / "pots", "--base", "clear=platinum", "--pigment", "snow=both", "--white", "snow")
    begun = tint.start(tmp_path / "called" / "pots", bases=["clear=platinum"], pigments=["snow=both"], white="snow")
    assert begun.written == ("palette.toml", "swatches.csv", "casting-plan.html")
    for name in begun.written:
        assert (begun.folder / name).read_bytes() == (tmp_path / "typed" / "pots" / name).read_bytes()


@pytest.mark.parametrize("reads", ["spectrophotometer", "colorimeter"])
def test_a_workbook_says_the_same_as_the_files(tmp_path: Path, reads: str) -> None:
    pytest.importorskip("openpyxl")
    shown = begin(tmp_path / "pots", *TOLD, "--reads", reads, "--workbook", "--name", "Pots")
    assert shown.exit_code == 0, shown.stderr
    begin(tmp_path / "files", *TOLD, "--reads", reads, "--name", "Pots")
    assert {path.name for path in (tmp_path / "pots").iterdir()} == {"swatches.xlsx", "casting-plan.html"}
    assert read_declared(tmp_path / "pots") == read_declared(tmp_path / "files")
    pages = [(tmp_path / place / "casting-plan.html").read_bytes() for place in ("pots", "files")]
    assert pages[0] == pages[1]
    again = begin(tmp_path / "pots")
    assert "nothing was written" in again.stdout


def test_a_workbook_is_measured_into_and_read(tmp_path: Path) -> None:
    openpyxl = pytest.importorskip("openpyxl")
    folder = tmp_path / "pots"
    begin(folder, "--base", "clear=platinum", "--pigment", "white=both", "--pigment", "blue", "--reads", "colorimeter",
          "--workbook")  # fmt: skip
    book = openpyxl.load_workbook(folder / "swatches.xlsx")
    names = [row[0].value for row in book["swatches"].iter_rows(min_row=3) if row[0].value]
    for name, backing, level in [("black", None, 20), ("white", None, 95)]:
        book["readings"].append([name, backing, None, None, level, 0.0, 0.0])
    for at, name in enumerate(names):
        book["readings"].append([name, "black", "air", None, 30 + at, 0.5, -1.0])
        book["readings"].append([name, "white", "air", None, 70 + at, 0.5, -1.0])
    book.save(folder / "swatches.xlsx")
    read, faults = inspect_folder(folder)
    assert read is not None, faults
    assert [swatch.name for swatch in read.swatches] == names
    assert faults == ()


def test_it_never_asks_where_nobody_answers(tmp_path: Path) -> None:
    told = begin(tmp_path / "pots", "--pigment", "white")
    assert told.exit_code == 2
    assert "base: none is told" in told.stderr
    assert not (tmp_path / "pots").exists()


def test_at_a_terminal_it_asks_for_what_no_option_tells(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tint.cli.start.at_a_terminal", lambda: True)
    said = ["Pots", "clear", "gold", "platinum", "1:x", "10:1", "much", "4", "snow=x, blue", "snow, blue",
            "snow, bleu", "all", "telephone", "1mm, 3", "1, 3", "0,1 or so", "0.1", "", "snwo", "snow"]  # fmt: skip
    shown = CliRunner().invoke(main, ["start", str(tmp_path / "pots")], input="\n".join(said) + "\n")
    assert shown.exit_code == 0, shown.output
    assert "did you mean blue?" in shown.output
    assert "write 1, without the unit" in shown.output
    declared = read_declared(tmp_path / "pots")
    clear, snow = declared.bases["clear"], declared.pigments["snow"]
    assert clear is not None
    assert snow is not None
    assert dict(clear.mix) == {"A": 10.0, "B": 1.0}
    assert (snow.kind, snow.cures) == ("titanium dioxide", ("addition",))
    assert declared.workshop.scale_step_g == 0.1
    assert (tmp_path / "pots" / "readings.csv").read_text(encoding="utf-8") == "swatch,backing,seat,source,L,a,b\n"


def test_at_a_terminal_it_asks_for_the_geometry_of_an_instrument(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tint.cli.start.at_a_terminal", lambda: True)
    told = ["--base", "clear=tin", "--pigment", "white", "--mould", "2", "--card", "black", "--card", "white"]
    said = ["Pots", "spectrophotometer", "45:0", "0.01"]
    shown = CliRunner().invoke(main, ["start", str(tmp_path / "pots"), *told], input="\n".join(said) + "\n")
    assert shown.exit_code == 0, shown.output
    assert 'geometry = "45:0"' in (tmp_path / "pots" / "palette.toml").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("told", "says"),
    [
        (("--base", "clear=gold", "--pigment", "white"), "base clear: `gold` is no cure"),
        (("--base", "clear=tin,1-1", "--pigment", "white"), "`1-1` is no mixing ratio"),
        (("--base", "clear=tin", "--pigment", "white=maybe"), "expected platinum, tin, both or unknown"),
        (("--base", "clear=tin", "--pigment", "white", "--pigment", "white"), "white is given twice"),
        (("--base", "clear=tin", "--pigment", "base"), "is the name of something else"),
        (("--base", "clear=tin", "--pigment", "blue", "--white", "snow"), "there is no `snow`"),
        (("--base", "clear=tin", "--pigment", "blue", "--mould", "0"), "mould: 0 mm; expected more than 0"),
        (("--base", "clear=tin", "--pigment", "blue", "--card", "black"), "expected a dark and a light one"),
    ],
)
def test_what_makes_no_sense_is_told_before_anything_is_written(
    tmp_path: Path, told: tuple[str, ...], says: str
) -> None:
    shown = begin(tmp_path / "pots", *told)
    assert shown.exit_code == 2
    assert says in shown.stderr
    assert not (tmp_path / "pots").exists()


# Grams without a palette.


def shelf() -> tuple[dict[str, Base], dict[str, Pigment]]:
    bases = [base_in("clear=platinum,1:1,3"), base_in("milky=tin,100:5,3")]
    pigments = [pigment_in(f"{name}=both") for name in ("white", "blue", "soot")]
    return {base.name: base for base in bases}, {each.name: each for each in pigments}


BLENDS = [
    ("a", Blend("clear"), 5.0),
    ("b", Blend("clear", {"blue": 0.06}), 2.0),
    ("c", Blend("clear", {"blue": 0.6, "white": 0.9}), 1.0),
    ("d", Blend("milky", {"soot": 0.01, "white": 0.4}), 5.0),
]


@pytest.mark.parametrize("step_g", [0.1, 0.01, 0.001])
def test_property_the_grams_make_the_blend_and_keep_the_ratio(step_g: float) -> None:
    bases, pigments = shelf()
    sheet = weigh_castings(BLENDS, bases, pigments, scale=Scale(step_g=step_g))
    share = {step.makes: step.grams / step.made_g for step in sheet.premixes}  # of what goes into each
    source = {step.makes: step.what for step in sheet.premixes}

    def pigment_of(what: str) -> tuple[str, float]:
        part = 1.0
        while what in source:
            part, what = part * share[what], source[what]
        return what, part

    for (name, blend, _), cup in zip(BLENDS, sheet.cups, strict=True):
        base, held = bases[blend.base], dict.fromkeys(pigments, 0.0)
        parts = dict.fromkeys(base.mix, 0.0)
        for line in cup.lines:
            assert line.grams == pytest.approx(round(line.grams / step_g) * step_g, abs=1e-9), "the scale shows it"
            if line.what.startswith("part "):
                parts[line.what.removeprefix("part ")] += line.grams
                continue
            pigment, purity = pigment_of(line.what)
            held[pigment] += line.grams * purity
            parts[base.pigment_in] += line.grams * (1.0 - purity)
        for pigment, dose in blend.loadings.items():
            assert 100.0 * held[pigment] / cup.grams == pytest.approx(dose, rel=0.02), name
            assert 100.0 * held[pigment] / cup.grams == pytest.approx(cup.blend.loadings[pigment], rel=1e-3)
        rubber = sum(parts.values())
        for part, ratio in base.mix.items():
            assert abs(parts[part] - rubber * ratio / sum(base.mix.values())) <= 1.01 * step_g


def test_no_dose_is_too_small_for_its_scale() -> None:
    bases, pigments = shelf()
    scale = Scale(step_g=0.01)
    sheet = weigh_castings(BLENDS, bases, pigments, scale=scale)
    weighed = [line.grams for cup in sheet.cups for line in cup.lines] + [step.grams for step in sheet.premixes]
    assert min(weighed) >= 0.99 * scale.smallest_g
    assert sheet.warnings == ()


def test_all_that_is_taken_is_what_is_poured_and_what_is_left_over() -> None:
    sheet = weigh_castings(BLENDS, *shelf(), scale=Scale(step_g=0.1))
    premixes = {step.makes for step in sheet.premixes}
    used = [(line.what, line.grams) for cup in sheet.cups for line in cup.lines]
    used += [(step.what, step.grams) for step in sheet.premixes]
    left = sum(step.made_g for step in sheet.premixes) - sum(grams for what, grams in used if what in premixes)
    assert sheet.grams == pytest.approx(sum(cup.grams for cup in sheet.cups) + left)


@pytest.mark.parametrize(("step", "told"), [("0.1", True), ("0.01", False)])
def test_what_a_finer_scale_would_spare_is_told(tmp_path: Path, step: str, told: bool) -> None:
    asked = ["--base", "clear=platinum,1:1,3", "--pigment", "white=both", "--pigment", "black=both"]
    done = CliRunner().invoke(main, ["start", str(tmp_path / "shop"), *asked, "--scale-step", step])
    assert done.exit_code == 0, done.stderr
    assert ("scale of 0.01 g would do" in " ".join(done.stdout.split())) == told


def test_a_premix_is_shared_and_enough_of_it_is_made() -> None:
    bases, pigments = shelf()
    many = [(f"s{at}", Blend("clear", {"blue": 0.1 + 0.02 * at}), 2.0) for at in range(6)]
    sheet = weigh_castings(many, bases, pigments, scale=Scale(step_g=0.01))
    assert len(sheet.premixes) == 1
    used = sum(line.grams for cup in sheet.cups for line in cup.lines if line.what == sheet.premixes[0].makes)
    assert used <= sheet.premixes[0].made_g < used + 50.0


def test_a_scale_that_is_too_coarse_is_told() -> None:
    bases, pigments = shelf()
    sheet = weigh_castings(BLENDS, bases, pigments, scale=Scale(step_g=1.0))
    assert any("take a finer scale" in each for each in sheet.warnings)


def test_what_is_told_otherwise_is_refused() -> None:
    with pytest.raises(InputError, match="expected a plain name first"):
        base_in("=platinum")
    with pytest.raises(InputError, match="expected percent of the mix"):
        pigment_in("white=both,much")


@pytest.mark.parametrize("area_cm2", [-1.0, 0.0, 5000.0])
def test_an_area_that_no_swatch_has_is_refused_in_python_too(tmp_path: Path, area_cm2: float) -> None:
    with pytest.raises(InputError, match="swatch"):
        tint.start(tmp_path / "pots", bases=["clear=tin"], pigments=["white"], area_cm2=area_cm2)
    assert not (tmp_path / "pots").exists()


@pytest.mark.parametrize("code", [0xDC80, 0xD800])
def test_a_name_that_is_no_text_is_refused(tmp_path: Path, code: int) -> None:
    with pytest.raises(InputError, match="the name holds what is no letter"):
        tint.start(tmp_path / f"a{chr(code)}b", bases=["clear=tin"], pigments=["white"])


def test_a_name_that_begins_with_a_dash_is_told_how_to_be_written() -> None:
    shown = CliRunner().invoke(main, ["start", "-lids"], standalone_mode=False)
    assert "./-NAME" in shown.stderr


def test_for_scripts_it_is_one_json_object(tmp_path: Path) -> None:
    told = json.loads(begin(tmp_path / "pots", *TOLD, "--reads", "colorimeter", "--json").stdout)
    assert told["written"] == ["palette.toml", "swatches.csv", "readings.csv", "casting-plan.html"]
    assert len(told["castings"]) == 12
    assert len(told["next"]) == 3


@pytest.mark.parametrize(
    ("told", "says"),
    [
        (("--base", "clear=platinum", "--pigment", "white", "--pigment", "rose=tin"), "rose: known to be safe in none"),
        (("--base", "clear=tin", "--pigment", "white", "--mould", "2"), "all castings are 2 mm thick"),
        (("--base", "clear=tin", "--pigment", "blue", "--pigment", "red"), "no pigment is known to be white"),
    ],
)
def test_what_the_plan_cannot_teach_is_told(tmp_path: Path, told: tuple[str, ...], says: str) -> None:
    shown = json.loads(begin(tmp_path / "pots", *told, "--json").stdout)
    assert any(says in each for each in shown["warnings"])
    assert says[1:] in (tmp_path / "pots" / "casting-plan.html").read_text(encoding="utf-8")


@pytest.mark.parametrize(("reads", "most"), [("telephone", 2), ("colorimeter", 4), ("spectrophotometer", 4)])
def test_a_rough_reader_sees_one_colour_at_a_time(tmp_path: Path, reads: str, most: int) -> None:
    stock = [f"--pigment={name}" for name in ("white", "red", "green", "blue", "rose", "ochre", "yellow", "black")]
    told = json.loads(begin(tmp_path / "pots", "--base", "clear=tin", *stock, "--reads", reads, "--json").stdout)
    held = [len(each["loadings"]) for each in told["castings"]]
    assert max(held) <= most
    assert (max(held) > 2) == (most > 2)
