"""What follows from a palette of colours: what is said of it everywhere, and the commands from end to end."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import synthetic
from click.testing import CliRunner, Result
from studio_files import as_colours, write_folder, write_lab
from synthetic import INSTRUMENT, WAVELENGTHS, Array, fit_two_flux, studio

from tint import colorimetry
from tint.appearance import Setting, how_read, predict
from tint.cli import main
from tint.errors import InputError
from tint.forward import TRANSMITTANCE
from tint.inspection import FAIL, PASS, Tolerance, inspect_reading
from tint.materials import Blend
from tint.palette import Palette, fit_path, write_palette
from tint.proofs.approval import Asked, approval
from tint.proofs.card import proof_picture
from tint.proofs.facts import cautions, gather
from tint.proofs.picture import Text
from tint.recipes import solve
from tint.swatches import read_folder
from tint.target import target_from_lab
from tint.trials.files import read_reading
from tint.trials.trial import Doubts, Trial, TrialReading
from tint.trials.update import learn

pytestmark = pytest.mark.usefixtures("sought_once")  # most of it is told twice: as a page and as JSON

VIEW = colorimetry.viewing(WAVELENGTHS)
BLEND = Blend("clear", {"white": 0.5, "yellow": 0.1})
WALL = Setting(thickness_mm=2.0)
CAST = ("--base", "clear", "--load", "white=0.5", "--load", "yellow=0.1", "--thickness", "2")
NEAR = ("--tolerance", "30")  # in reach: else it looks for what giving way would bring
PHOTOGRAPHS = "the swatches were read off photographs: a camera is no colorimeter, and no spectrum was measured"
ONE_WAY = "castings were read in one way only: nothing is known of how they hide what lies behind them"


def truth(over: str, loadings: Mapping[str, float] = BLEND.loadings) -> Array:
    return synthetic.spectrum("clear", loadings, thickness_mm=2.0, backing=over)


def lab(spectrum: Array, light: str = "D65", observer: int = 10) -> Array:
    return colorimetry.lab(spectrum, colorimetry.viewing(WAVELENGTHS, light=light, observer=observer))


def fitted(folder: Path) -> Path:
    write_palette(fit_two_flux(read_folder(folder)), fit_path(folder, "two-flux"))
    return folder


@pytest.fixture(scope="module")
def place(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("colours")


@pytest.fixture(scope="module")
def two(place: Path) -> Path:
    """Read over black and white by a colorimeter in D65."""
    return fitted(write_folder(as_colours(studio(seed=3), seed=3), place / "two"))


@pytest.fixture(scope="module")
def one(place: Path) -> Path:
    """Read over white alone."""
    return fitted(write_folder(as_colours(studio(seed=3, backings=("white",)), seed=3), place / "one"))


@pytest.fixture(scope="module")
def pictured(place: Path) -> Path:
    """Three readings of forty are off a photograph; all hold for D50 and 2 degrees."""
    folder = as_colours(studio(seed=3), seed=3, light="D50", observer=2, photographs=3)
    return fitted(write_folder(folder, place / "pictured"))


@pytest.fixture(scope="module")
def palette(two: Path) -> Palette:
    return fit_two_flux(read_folder(two))


@pytest.fixture(scope="module")
def read_once(one: Path) -> Palette:
    return fit_two_flux(read_folder(one))


def run(command: str, folder: Path, *arguments: object) -> Result:
    optics = ["--optics", "two-flux"] if command not in ("check", "inspect") else []
    result = CliRunner().invoke(main, [command, str(folder), *map(str, arguments), *optics], env={"COLUMNS": "120"})
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result


def page(command: str, folder: Path, *arguments: object) -> str:
    """The page as one line."""
    result = run(command, folder, *arguments)
    assert result.exit_code == 0, result.stderr
    return " ".join(result.stdout.split())


def answer(command: str, folder: Path, *arguments: object) -> dict[str, Any]:
    result = run(command, folder, *arguments, "--json")
    assert result.exit_code == 0, result.stderr
    content: dict[str, Any] = json.loads(result.stdout)
    return content


def refused(command: str, folder: Path, *arguments: object) -> str:
    result = run(command, folder, *arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.count("\n") == 1
    return result.stderr


# What is said of how the swatches were read


def test_another_light_than_that_of_the_readings_is_told(palette: Palette) -> None:
    assert predict(palette, BLEND, setting=WALL).warnings == ()
    for light, observer in (("A", 10), ("D65", 2)):
        told = predict(palette, BLEND, setting=replace(WALL, light=light, observer=observer)).warnings
        assert told == (
            "the swatches were read as colours in D65 for the 10° observer: "
            f"what they look like in {light} for the {observer}° observer rests on likely spectra",
        )
    # Where spectra were read, any light is as good as another.
    spectral = fit_two_flux(studio(seed=3))
    assert predict(spectral, BLEND, setting=replace(WALL, light="A", observer=2)).warnings == ()
    # A light written another way is the same one.
    assert predict(palette, BLEND, setting=replace(WALL, light="d65")).warnings == ()


def test_a_backing_that_no_casting_was_read_over_is_told(read_once: Palette, palette: Palette) -> None:
    assert how_read(read_once, over="white") == [ONE_WAY]
    free = how_read(read_once, over="none")
    assert free[1:] == ["no swatch was read as a free slab, only over white: the error stated does not cover that"]
    evidence = read_once.evidence
    through = replace(read_once, evidence=replace(evidence, backing=np.full_like(evidence.backing, TRANSMITTANCE)))
    passed = how_read(through, over="white")
    assert passed[1] == "no swatch was read over white, only in transmittance: the error stated does not cover that"
    # Who tells opacity can tell what lies behind.
    assert how_read(palette, over="none") == []
    slab = fit_two_flux(as_colours(studio(seed=3, backings=("none",)), seed=3))
    assert how_read(replace(slab, backings=palette.backings), over="black")[1].startswith(
        "no swatch was read over black, only as a free slab"
    )


def test_one_photograph_marks_the_palette(palette: Palette) -> None:
    folder = as_colours(studio(seed=3), seed=3)
    first, *rest = folder.readings
    marked = replace(folder, readings=(replace(first, source="photograph"), *rest))
    assert palette.read_as == "colours"
    assert fit_two_flux(marked).read_as == "photographs"
    assert how_read(fit_two_flux(marked), over="white", light="D65", observer=10) == [PHOTOGRAPHS]


@pytest.mark.parametrize(
    ("command", "arguments"),
    [
        ("predict", CAST),
        ("predict", (*CAST[:-1], "1:3:1")),
        ("solve", ("--base", "clear", "--thickness", "2", "--target-lab", "85,0,30", *NEAR)),
        ("weigh", (*CAST, "--batch-g", "100")),
    ],
)
def test_photographs_are_told_on_every_page_and_in_json(
    pictured: Path, command: str, arguments: tuple[str, ...]
) -> None:
    own = ("--light", "D50", "--observer", "2")
    told = page(command, pictured, *arguments, *own)
    assert PHOTOGRAPHS in told
    assert "rests on likely spectra" not in told
    assert PHOTOGRAPHS in json.dumps(answer(command, pictured, *arguments, *own), ensure_ascii=False)
    other = page(command, pictured, *arguments)
    assert PHOTOGRAPHS in other
    assert "the swatches were read as colours in D50 for the 2° observer" in other


def test_photographs_are_told_by_adjust(pictured: Path, place: Path) -> None:
    read = write_lab(place / "trial of photographs.csv", light="D50", observer=2, trial=lab(truth("white"), "D50", 2))
    arguments = (*CAST, "--read", read, "--target-lab", "85,0,30", *NEAR, "--light", "D50", "--observer", "2")
    assert PHOTOGRAPHS in page("adjust", pictured, *arguments)
    assert PHOTOGRAPHS in json.dumps(answer("adjust", pictured, *arguments))


def words_of(palette: Palette, setting: Setting = WALL, *, recipe: bool = True) -> str:
    """All that a proof card says."""
    facts = gather(palette, BLEND, setting=setting, target=None, show_recipe=recipe)
    return " ".join(item.words for item in proof_picture(facts, "", show_recipe=recipe).items if isinstance(item, Text))


def sheet_of(folder: Path, file: Path) -> str:
    page("proof", folder, *CAST, "--sheet", file)
    return " ".join(file.read_text("utf-8").split())


@pytest.mark.parametrize("recipe", [False, True])
def test_photographs_are_told_on_the_card(pictured: Path, recipe: bool) -> None:
    assert PHOTOGRAPHS in words_of(fit_two_flux(read_folder(pictured)), recipe=recipe)


def test_photographs_are_told_on_the_sheet_and_in_all_pictures(pictured: Path, place: Path) -> None:
    assert PHOTOGRAPHS in sheet_of(pictured, place / "photographs.html")
    assert PHOTOGRAPHS in cautions(fit_two_flux(read_folder(pictured)), BLEND, WALL)[0]


# Opacity that nobody can tell


def test_what_one_way_of_reading_cannot_tell_is_not_a_number(read_once: Palette) -> None:
    seen = predict(read_once, BLEND, setting=WALL)
    for value in (seen.contrast_ratio, seen.contrast_ratio_error, seen.luminous_transmittance, *seen.lab_black):
        assert np.isnan(value)
    assert np.isfinite([*seen.lab, seen.expected_error, seen.scatter]).all()
    assert seen.warnings == (ONE_WAY,)
    with pytest.raises(InputError, match="castings read over two backings"):
        solve(read_once, target_from_lab([85.0, 0.0, 30.0], contrast_ratio_min=0.9), setting=WALL)


def test_a_second_card_that_no_casting_lay_on_changes_nothing(read_once: Palette, palette: Palette) -> None:
    carded = replace(read_once, backings={"white": read_once.backings["white"], "black": palette.backings["black"]})
    # The evidence counts backings in the palette's order: white is still the first.
    assert carded.pair == ()
    assert np.isnan(predict(carded, BLEND, setting=WALL).contrast_ratio)


def test_spectra_over_one_card_cannot_tell_opacity_either() -> None:
    spectral = fit_two_flux(studio(seed=3, backings=("white",)))
    assert (spectral.read_as, spectral.tells_opacity, spectral.pair) == ("spectra", False, ())
    seen = predict(spectral, BLEND, setting=WALL)
    assert np.isnan(seen.contrast_ratio)
    assert np.isnan(seen.luminous_transmittance)
    assert seen.warnings == (ONE_WAY,)
    # One reading of the light that comes through is a second way.
    through = fit_two_flux(studio(seed=3, backings=("white",), transmit=True))
    assert through.tells_opacity
    assert 0.1 < predict(through, BLEND, setting=WALL).luminous_transmittance < 0.4


def test_commands_say_that_opacity_is_not_known(one: Path) -> None:
    told = page("predict", one, *CAST)
    assert "contrast ratio not known" in told
    assert "transmittance not known" in told
    assert "from behind" not in told
    assert "hides from" not in told
    assert ONE_WAY in told
    content = answer("predict", one, *CAST)
    for key in (
        "contrast_ratio", "contrast_ratio_error", "luminous_transmittance", "lab_black", "lab_white", "hides_at_mm",
        "lab_from_behind", "srgb_from_behind",
    ):  # fmt: skip
        assert content[key] is None, key
    weighed = page("weigh", one, *CAST, "--batch-g", "100")
    assert "contrast ratio not known" in weighed
    solved = page("solve", one, "--base", "clear", "--thickness", "2", "--target-lab", "85,0,30", *NEAR)
    assert ONE_WAY in solved
    assert "ask for a contrast ratio" not in solved  # nobody could answer


@pytest.mark.parametrize(
    ("command", "arguments"),
    [
        ("solve", ("--thickness", "2", "--target-lab", "85,0,30", "--opacity", "0.9..")),
        ("solve", ("--thickness", "2", "--target-lab", "85,0,30", "--set", "transmittance=0.2")),
        ("predict", (*CAST[:-1], "1:3:1")),
        ("proof", (*CAST, "--show", "behind", "--out", "behind.png")),
    ],
)
def test_what_needs_opacity_is_refused_in_a_line(one: Path, command: str, arguments: tuple[str, ...]) -> None:
    assert "expected castings read over two backings, a black and a white one" in refused(command, one, *arguments)


def test_card_and_sheet_say_that_hiding_is_not_known(one: Path, two: Path, read_once: Palette, place: Path) -> None:
    assert "The swatches were read over one backing only: how well it hides is not known." in words_of(read_once)
    assert ONE_WAY in words_of(read_once)
    told = sheet_of(one, place / "one.html")
    assert "How well it hides is not known: the swatches were read over one backing only." in told
    assert "with a lamp behind" not in told
    assert "of the light comes through" not in told
    known = sheet_of(two, place / "two.html")
    assert "with a lamp behind" in known
    assert "of the light comes through" in known
    likely = "Lights other than the agreed one rest on estimated spectra, because only colours were measured."
    assert likely in known


def test_a_sheet_from_spectra_says_nothing_of_likely_ones() -> None:
    spectral = fit_two_flux(studio(seed=3))
    sheet = approval(
        spectral, Blend("clear", {"white": 0.5}), setting=WALL, asked=Asked(name="Lid", made=date(2026, 3, 1))
    )
    assert not [line for line in sheet.beyond if "estimated" in line]
    of_colours = replace(sheet, palette=replace(spectral, read_as="colours"))
    assert [line for line in of_colours.beyond if "estimated" in line]


# Trials and parts that were read as colours


STRONG = {"white": 0.5, "yellow": 0.13}  # what a lot of yellow 30 % stronger makes of the same weighing


def trial_of(palette: Palette, place: Path, *, colours: bool, loadings: dict[str, float]) -> Trial:
    readings = []
    for over in ("black", "white"):
        true = truth(over, loadings)
        if colours:
            file = write_lab(place / f"trial-{over}.csv", trial=lab(true))
            readings.append(read_reading(str(file), palette, BLEND, setting=replace(WALL, over=over)))
        else:
            values = np.interp(palette.wavelengths, WAVELENGTHS, true)
            readings.append(TrialReading(values=values, over=over))
    return Trial(blend=BLEND, thickness_mm=2.0, readings=tuple(readings))


@pytest.mark.parametrize("of_spectra", [False, True])
def test_a_trial_read_as_a_colour_teaches_nearly_what_a_spectrum_does(
    palette: Palette, tmp_path: Path, of_spectra: bool
) -> None:
    swatches = fit_two_flux(studio(seed=3)) if of_spectra else palette
    after = {
        colours: learn(swatches, [trial_of(swatches, tmp_path, colours=colours, loadings=STRONG)], Doubts()).palette
        for colours in (False, True)
    }
    yellow = len(swatches.bases) + list(swatches.pigments).index("yellow")
    for blend, really in (
        (BLEND, STRONG),
        (Blend("clear", {"white": 0.3, "yellow": 0.2}), {"white": 0.3, "yellow": 0.26}),
    ):
        for over in ("black", "white"):
            true = lab(truth(over, really))
            missed = {
                name: float(colorimetry.difference(predict(each, blend, setting=replace(WALL, over=over)).lab, true))
                for name, each in (("before", swatches), ("spectrum", after[False]), ("colour", after[True]))
            }
            assert missed["before"] > 1.2
            assert missed["colour"] < 0.4 * missed["before"]
            assert missed["colour"] < missed["spectrum"] + 0.5
    strength = [float(np.median(each.k[yellow] / swatches.k[yellow])) for each in after.values()]
    assert strength == pytest.approx([1.3, 1.3], abs=0.12)


def test_a_colour_stands_for_three_numbers_whatever_the_grid(palette: Palette, tmp_path: Path) -> None:
    reading = trial_of(palette, tmp_path, colours=True, loadings=STRONG).readings[0]
    view = colorimetry.viewing(palette.wavelengths)
    # Noise of every wavelength, so much larger, makes of its colour what noise of X, Y and Z makes of it.
    random = np.random.default_rng(3)
    scattered = reading.values + 1e-4 * reading.noise * random.standard_normal((4000, reading.values.size))
    share = colorimetry.xyz(reading.values, view) / view.white + 1e-4 * random.standard_normal((4000, 3))
    own, wanted = colorimetry.lab(scattered, view), colorimetry.xyz_to_lab(share, np.ones(3))
    assert np.linalg.norm(own.std(axis=0)) == pytest.approx(np.linalg.norm(wanted.std(axis=0)), rel=0.05)
    assert np.abs(colorimetry.lab(reading.values, view) - lab(truth("black", STRONG))).max() < 1e-3
    predicted = predict(palette, BLEND, setting=replace(WALL, over="black")).reflectance
    assert np.corrcoef(np.diff(reading.values), np.diff(predicted))[0, 1] > 0.95


def test_a_colour_in_another_light_teaches_in_that_light(palette: Palette, tmp_path: Path) -> None:
    file = write_lab(tmp_path / "lamp.csv", light="A", observer=2, trial=lab(truth("white"), "A", 2))
    reading = read_reading(str(file), palette, BLEND, setting=WALL)
    view = colorimetry.viewing(palette.wavelengths, light="A", observer=2)
    assert np.abs(colorimetry.lab(reading.values, view) - lab(truth("white"), "A", 2)).max() < 1e-3


def test_a_perfect_trial_is_left_alone(two: Path, place: Path, palette: Palette) -> None:
    predicted = answer("predict", two, *CAST)["lab"]
    read = write_lab(place / "perfect.csv", trial=np.array(predicted))
    target = ",".join(f"{x:.4f}" for x in predicted)
    content = answer("adjust", two, *CAST, "--read", read, "--target-lab", target, "--opacity", "any")
    assert content["leave"] is True
    assert content["findings"] == []
    assert content["missed"] < 0.01
    # And a trial that says what was predicted changes nothing that is predicted.
    values = predict(palette, BLEND, setting=WALL).reflectance
    told = learn(
        palette, [Trial(blend=BLEND, thickness_mm=2.0, readings=(TrialReading(values=values, over="white"),))], Doubts()
    )
    assert np.allclose(told.factors, 1.0, atol=1e-4)


def test_adjust_names_the_pigment_and_mends_the_recipe(two: Path, place: Path) -> None:
    read = {
        over: write_lab(place / f"strong-{over}.csv", trial=lab(truth(over, STRONG))) for over in ("black", "white")
    }
    target = ",".join(f"{x:.3f}" for x in lab(truth("white")))
    content = answer(
        "adjust", two, *CAST, "--read", read["white"], "--read-black", read["black"], "--target-lab", target,
        "--opacity", "any",
    )  # fmt: skip
    assert content["leave"] is False
    assert content["findings"][0]["what"] == "strength:yellow"
    recipe = content["recipes"][0]["loadings"]
    assert recipe["yellow"] * 1.3 == pytest.approx(0.1, rel=0.15)  # of the stronger lot it takes less
    assert recipe["white"] == pytest.approx(0.5, rel=0.15)


def test_parts_are_inspected_by_their_colours(two: Path, place: Path) -> None:
    off = lab(truth("white", {"white": 0.45, "yellow": 0.12}))
    read = write_lab(place / "parts.csv", good=lab(truth("white")), again=lab(truth("white")), off=off)
    against = ("--reference", f"{read}:good")
    assert answer("inspect", two, "--reading", f"{read}:again", *against)["verdict"] == PASS
    content = answer("inspect", two, "--reading", f"{read}:off", *against)
    assert content["verdict"] == FAIL
    assert content["delta_e"] == pytest.approx(float(colorimetry.difference(off, lab(truth("white")))), abs=1e-3)
    # A few times what a spectrophotometer's guard would be: X, Y and Z are noisy one by one.
    view = colorimetry.viewing(np.arange(400.0, 701.0, 10.0))
    pair = colorimetry.smoothest_spectrum([off, lab(truth("white"))], view)
    known = {
        of_colours: inspect_reading(
            *pair, view=view, tolerance=Tolerance(delta_e=1.0), repeatability=0.001, of_colours=of_colours
        ).delta_e_error
        for of_colours in (False, True)
    }
    assert known[True] > 2.0 * known[False]
    assert content["delta_e_error"] == pytest.approx(known[True], rel=0.01)
    told = page("inspect", two, "--reading", f"{read}:off", *against)
    assert "Fail: the difference is outside what was agreed." in told
    assert "at 0.001 of X, Y and Z and 1 reading against 1" in told


def test_reference_the_guard_is_what_noise_of_tristimulus_values_does() -> None:
    view = VIEW
    random = np.random.default_rng(8)
    for loadings in ({"white": 0.45, "yellow": 0.12}, {"blue": 0.1}, {"yellow": 0.5}):
        wanted = lab(truth("white", loadings))
        away = wanted + np.array([0.6, 0.8, 0.8])
        pair = colorimetry.smoothest_spectrum([away, wanted], view)
        found = inspect_reading(
            *pair, view=view, tolerance=Tolerance(delta_e=1.0), repeatability=0.001, of_colours=True
        )
        read = [
            colorimetry.xyz_to_lab(
                colorimetry.lab_to_xyz(each, np.ones(3)) + INSTRUMENT.repeatability * random.standard_normal((4000, 3)),
                np.ones(3),
            )
            for each in (away, wanted)
        ]
        drawn = float(np.std(colorimetry.difference(*read)))
        assert 0.85 < found.delta_e_error / drawn < 1.15, loadings
    light, dark = truth("white"), truth("black")
    both = inspect_reading(
        light,
        light,
        view=view,
        tolerance=Tolerance(delta_e=1.0, contrast_ratio=0.02),
        repeatability=INSTRUMENT.repeatability,
        of_colours=True,
        over_black=(dark, dark),
    )
    (opacity,) = (check for check in both.checks if check.what == "contrast ratio")
    shares = [float(colorimetry.xyz(each, view)[1]) / 100.0 for each in (dark, dark, light, light)]
    noisy = np.array(shares)[:, None] + INSTRUMENT.repeatability * random.standard_normal((4, 4000))
    assert opacity.error == pytest.approx(float(np.std(noisy[0] / noisy[2] - noisy[1] / noisy[3])), rel=0.1)


def test_a_colour_in_another_light_is_refused_by_inspect(two: Path, place: Path) -> None:
    read = write_lab(place / "lamp parts.csv", light="A", good=lab(truth("white"), "A"))
    told = refused("inspect", two, "--reading", f"{read}:good", "--reference", f"{read}:good")
    assert "its L*, a*, b* hold for A, 10° observer, and it has no spectrum" in told


# From end to end


def test_fit_and_check_speak_of_the_light_of_the_readings(pictured: Path, two: Path) -> None:
    fitted_to = page("fit", pictured)
    assert "read as photographs" in fitted_to
    assert "CIEDE2000 of readings against the fit, D50, 2° observer" in fitted_to
    content = answer("fit", two)
    assert content["read_as"] == "colours"
    assert content["delta_e"]["mean"] < 0.6
    assert content["conditions"] == "di:8, D65, 10° observer"


def test_check_tells_what_colours_can_tell(pictured: Path) -> None:
    quick = page("check", pictured, "--quick")
    assert "20 castings, 40 readings (3 off photographs), L*, a*, b* in D50 for 2°, di:8." in quick
    assert "Left out" not in quick
    write_palette(  # that which `check` looks for, so that nothing need be fitted anew
        replace(fit_two_flux(read_folder(pictured)), model="many-flux"),
        fit_path(pictured, "many-flux"),
    )
    told = page("check", pictured)
    assert "0 faults, 0 warnings. 0 findings." in told
    assert "Root mean square of reflectance readings, worst first; D50, 2° observer." in told
    errors = answer("check", pictured)["left_out"]
    assert set(errors["pigments"]) == {"white", "yellow", "blue"}
    assert len(errors["swatches"]) == 20
    assert 0.1 < np.median(list(errors["swatches"].values())) < 1.5


def test_recipes_of_colours_solve_and_plan(two: Path) -> None:
    wanted = lab(truth("white"))
    target = ",".join(f"{x:.3f}" for x in wanted)
    content = answer("solve", two, "--base", "clear", "--thickness", "2", "--target-lab", target, "--opacity", "0.866")
    best = content["recipes"][0]
    assert best["reached"]
    assert best["loadings"] == pytest.approx({"white": 0.5, "yellow": 0.1}, rel=0.1)
    told = page("plan", two, "--castings", "1")
    assert re.search(r"miss its prediction by \d\.\d\d CIEDE2000", told)
