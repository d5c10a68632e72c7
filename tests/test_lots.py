"""New lots by one letdown: strength and haze are found, by two-flux theory and on the bench; hue is told."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from synthetic import CASTS, fit_two_flux, read_of, studio

from tint.errors import InputError
from tint.materials import Blend
from tint.palette import Palette
from tint.trials import Trial, TrialReading
from tint.trials.verdict import LotCheck, check_lot, rescale

ROOT = Path(__file__).resolve().parents[1]
sys.path[:0] = [str(ROOT / "swatches_demo"), str(ROOT / "tests" / "figures")]

import pour  # noqa: E402
import stock  # noqa: E402

CREAM = Blend("clear", {"white": 0.3, "yellow": 0.15})


@pytest.fixture(scope="module")
def palette() -> Palette:
    return fit_two_flux(studio(CASTS, seed=4))


def letdown(
    palette: Palette, blend: Blend, *, k: Mapping[str, float] | None = None, s: Mapping[str, float] | None = None,
    bend: Mapping[str, float] | None = None, thickness: float = 2.5, seed: int = 0,
) -> Trial:  # fmt: skip
    """A casting by two-flux theory whose components were multiplied; `bend` tilts k over the spectrum."""
    names = [*palette.bases, *palette.pigments]
    new_k, new_s = palette.k.copy(), palette.s.copy()
    for name, factor in (k or {}).items():
        new_k[names.index(name)] *= factor
    for name, factor in (s or {}).items():
        new_s[names.index(name)] *= factor
    for name, tilt in (bend or {}).items():
        new_k[names.index(name)] *= np.linspace(1.0 - tilt, 1.0 + tilt, new_k.shape[1])
    truth = replace(palette, k=new_k, s=new_s)
    read = [
        TrialReading(values=read_of(truth, blend, thickness_mm=thickness, over=over, seed=(seed, at)), over=over)
        for at, over in enumerate(("black", "white"))
    ]
    return Trial(blend=blend, thickness_mm=thickness, readings=tuple(read))


@pytest.mark.parametrize("strength", [0.7, 0.85, 1.15, 1.5])
def test_a_pigment_s_strength_is_recovered(palette: Palette, strength: float) -> None:
    found = check_lot(palette, "yellow", letdown(palette, CREAM, k={"yellow": strength}, s={"yellow": strength}))
    assert found.strength == pytest.approx(strength, rel=0.02)
    assert abs(found.strength - strength) < 3.0 * found.strength_error
    assert found.verdict == "rescale"
    assert ("weaker" if strength < 1.0 else "stronger") in found.words


@pytest.mark.parametrize("haze", [0.75, 1.3])
def test_a_base_s_haze_is_recovered(palette: Palette, haze: float) -> None:
    found = check_lot(palette, "milky", letdown(palette, Blend("milky"), s={"milky": haze}))
    assert found.strength == pytest.approx(haze, rel=0.03)
    assert found.verdict == "rescale"
    assert ("clearer" if haze < 1.0 else "hazier") in found.words


def test_an_unchanged_lot_is_the_same(palette: Palette) -> None:
    verdicts = [check_lot(palette, "yellow", letdown(palette, CREAM, seed=seed)).verdict for seed in range(10)]
    assert verdicts.count("use") >= 9


def test_another_hue_asks_for_a_new_ladder(palette: Palette) -> None:
    found = check_lot(
        palette, "blue", letdown(palette, Blend("clear", {"white": 0.3, "blue": 0.05}), bend={"blue": 0.5})
    )
    assert found.verdict == "reject"
    assert found.hue_left > found.hue_error
    assert found.strength_error > 0.03, "a strength told from another hue is not sure"


def test_a_hue_that_nobody_sees_is_let_pass(palette: Palette) -> None:
    found = check_lot(
        palette, "blue", letdown(palette, Blend("clear", {"white": 0.3, "blue": 0.05}), bend={"blue": 0.01})
    )
    assert found.verdict != "reject"


# On castings of other physics.


def poured(blend: Blend, *, strength: Mapping[str, float] | None = None, haze: float = 1.0, seed: int = 3) -> Trial:
    own = stock.BASES[blend.base]
    stock.BASES[blend.base] = replace(own, scatter=own.scatter * haze)
    try:
        doses = {name: x * (strength or {}).get(name, 1.0) for name, x in blend.loadings.items()}
        casting = pour.pour(blend.base, doses, 3.0, rng=np.random.default_rng(seed))
    finally:
        stock.BASES[blend.base] = own
    readings = (TrialReading(values=casting.black, over="black"), TrialReading(values=casting.white, over="white"))
    return Trial(blend=blend, thickness_mm=casting.thickness, readings=readings)


@pytest.mark.parametrize(
    ("pigment", "dose", "strength"), [("yellow", 0.1, 1.2), ("blue", 0.03, 0.8), ("red", 0.1, 0.75)]
)
def test_reference_strength_on_the_bench(demo_many_flux: Palette, pigment: str, dose: float, strength: float) -> None:
    blend = Blend("clear", {"white": 0.4, pigment: dose})
    found = check_lot(demo_many_flux, pigment, poured(blend, strength={pigment: strength}))
    assert found.strength == pytest.approx(strength, rel=0.05)
    assert abs(found.strength - strength) < 3.0 * found.strength_error
    assert found.verdict == "rescale"


@pytest.mark.parametrize(("base", "haze"), [("clear", 1.3), ("milky", 0.75)])
def test_reference_haze_on_the_bench(demo_many_flux: Palette, base: str, haze: float) -> None:
    found = check_lot(demo_many_flux, base, poured(Blend(base), haze=haze))
    assert found.strength == pytest.approx(haze, rel=0.06)
    assert found.verdict == "rescale"


def test_reference_another_hue_on_the_bench(demo_many_flux: Palette) -> None:
    blend = Blend("clear", {"white": 0.4, "yellow": 0.1})
    dirty = poured(Blend("clear", {"white": 0.4, "yellow": 0.095, "red": 0.005}))
    assert check_lot(demo_many_flux, "yellow", replace(dirty, blend=blend)).verdict == "reject"


# What is done with it, and bad input.


def test_rescaling_divides_by_the_strength() -> None:
    new = rescale(CREAM, {"yellow": 1.25})
    assert new.loadings == {"white": 0.3, "yellow": pytest.approx(0.12)}
    assert CREAM.loadings["yellow"] == 0.15
    with pytest.raises(InputError, match="a strength of 0 for white"):
        rescale(CREAM, {"white": 0.0})


def test_a_letdown_that_cannot_be_judged_is_told(palette: Palette) -> None:
    trial = letdown(palette, CREAM)
    with pytest.raises(InputError, match="`mauve` is not in the palette"):
        check_lot(palette, "mauve", trial)
    with pytest.raises(InputError, match="the letdown holds no blue"):
        check_lot(palette, "blue", trial)
    with pytest.raises(InputError, match="the letdown holds no milky"):
        check_lot(palette, "milky", trial)


def test_a_lot_that_one_reading_cannot_tell_is_not_called_sure(palette: Palette) -> None:
    black = letdown(palette, Blend("clear", {"white": 1.0, "blue": 1e-6}))
    found: LotCheck = check_lot(palette, "blue", black)
    assert found.strength_error > 0.3
    assert found.verdict == "unclear"
    assert "hardly shows it" in found.words
