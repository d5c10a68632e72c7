"""How much is mixed, and in how many cups: held to sums done by hand, and to what must always be true."""

from __future__ import annotations

import math
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tint.appearance import Setting
from tint.errors import InputError, JobError
from tint.materials import Blend
from tint.palette import Palette
from tint.weighing import Batch, Scale, Split, mix_density, weigh
from tint.weighing.batch import Plan, plan

THREE_MM = Setting(thickness_mm=3.0)
LID = Blend("clear", {"white": 0.5, "yellow": 0.3})


def planned(batch: Batch, **split: float) -> Plan:
    return plan(batch, Split(**split), density=1.0)


# How much.

SIZES: list[tuple[dict[str, Any], float]] = [
    ({"batch_g": 100.0, "waste_percent": 0.0}, 100.0),
    ({"batch_g": 100.0}, 110.0),
    ({"batch_cm3": 100.0}, 1.2 * 110.0),
    ({"part_cm3": 30.0, "count": 10, "waste_percent": 0.0}, 1.2 * 300.0),
    ({"part_cm3": 30.0, "count": 10, "sprue_cm3": 2.0}, 1.2 * 320.0 * 1.1),
    ({"part_cm3": 30.0, "count": 10, "sprue_cm3": 2.0, "moulds": 5}, 1.2 * 310.0 * 1.1),  # two parts to a mould
    ({"batch_g": 100.0, "sprue_cm3": 2.0, "waste_percent": 0.0}, 102.4),
    ({"batch_g": 100.0, "sprue_cm3": 2.0, "moulds": 4, "waste_percent": 0.0}, 109.6),
]


@pytest.mark.parametrize(("given", "grams"), SIZES)
def test_what_is_poured(given: dict[str, Any], grams: float) -> None:
    assert Batch(**given).poured_g(1.2) == pytest.approx(grams, rel=1e-12)


def test_a_batch_by_volume_fills_that_volume(demo_palette: Palette) -> None:
    sheet = weigh(demo_palette, LID, setting=THREE_MM, batch=Batch(part_cm3=25.0, count=8, waste_percent=0.0))
    assert sheet.volume_cm3 == pytest.approx(200.0, abs=0.03)
    assert sheet.batch_g == pytest.approx(200.0 * mix_density(demo_palette.bases["clear"], demo_palette.pigments, LID))
    assert sheet.cups.count == 1
    assert sheet.cups.grams == pytest.approx(sheet.total_grams)


FAULTS: list[tuple[dict[str, Any], str]] = [
    ({}, "batch: not given"),
    ({"batch_g": 1.0, "batch_cm3": 1.0}, "batch: given twice"),
    ({"batch_g": 1.0, "part_cm3": 1.0}, "batch: given twice"),
    ({"batch_g": math.inf}, "batch: inf g"),
    ({"part_cm3": -1.0}, "batch: -1 cm3"),
    ({"batch_g": 10.0, "count": 3}, "count: 3 parts of unknown volume"),
    ({"batch_g": 10.0, "waste_percent": -3.0}, "waste: -3 %"),
    ({"batch_g": 10.0, "sprue_cm3": -1.0}, "sprue: -1 cm3"),
    ({"batch_g": 10.0, "cup_loss_g": math.nan}, "cup loss: nan g"),
    ({"part_cm3": 10.0, "moulds": 0}, "batch: a count below 1"),
]


@pytest.mark.parametrize(("given", "told"), FAULTS)
def test_a_batch_that_makes_no_sense(given: dict[str, Any], told: str) -> None:
    with pytest.raises(InputError, match=told):
        Batch(**given)


def test_a_tonne_is_too_much() -> None:
    with pytest.raises(InputError, match="at most a tonne"):
        Batch(batch_g=1e6).poured_g(1.0)


# In how many cups. Density 1, so that grams are cm3.


def test_one_cup_where_nothing_is_told() -> None:
    assert planned(Batch(batch_g=1000.0)) == Plan(count=1, moulds_each=None, cups_each=1, total_g=1100.0)


def test_headroom_and_what_stays_in_a_cup_decide_how_many() -> None:
    # A cup of 400 cm3 holds 100 under vacuum at four times the mix; 5 g stay in it.
    batch = Batch(batch_g=380.0, waste_percent=0.0, cup_loss_g=5.0)
    assert planned(batch, cup_cm3=400.0) == Plan(count=4, moulds_each=None, cups_each=1, total_g=400.0)
    assert planned(batch, cup_cm3=400.0, headroom=3.0).count == 3
    assert planned(batch, cup_cm3=400.0, headroom=5.0).count == 6


def test_a_cup_fills_whole_moulds() -> None:
    # 12 moulds of 30 g; a cup holds 100 g: three moulds.
    batch = Batch(part_cm3=30.0, count=12, waste_percent=0.0)
    assert planned(batch, cup_cm3=400.0) == Plan(count=4, moulds_each=3, cups_each=1, total_g=360.0)


def test_pot_life_decides_how_many_moulds_a_cup_fills() -> None:
    # (30 - 8) / 4: five moulds in time.
    batch = Batch(part_cm3=30.0, count=15, waste_percent=0.0)
    clock = {"pot_life_min": 30.0, "minutes_to_mix": 8.0, "minutes_per_mould": 4.0}
    assert planned(batch, **clock) == Plan(count=3, moulds_each=5, cups_each=1, total_g=450.0)
    assert planned(batch, cup_cm3=400.0, **clock).moulds_each == 3


def test_more_cups_are_taken_where_that_saves_mix() -> None:
    # 10 moulds, at most four to a cup: three cups would be mix for 12, five cups of two are mix for 10.
    batch = Batch(part_cm3=30.0, count=10, waste_percent=0.0)
    clock = {"pot_life_min": 16.0, "minutes_per_mould": 4.0}
    assert planned(batch, **clock) == Plan(count=5, moulds_each=2, cups_each=1, total_g=300.0)
    lossy = Batch(part_cm3=30.0, count=10, waste_percent=0.0, cup_loss_g=40.0)
    assert planned(lossy, **clock) == Plan(count=3, moulds_each=4, cups_each=1, total_g=480.0)


def test_a_mould_larger_than_a_cup_takes_several() -> None:
    batch = Batch(part_cm3=250.0, count=2, waste_percent=0.0)
    assert planned(batch, cup_cm3=400.0) == Plan(count=6, moulds_each=1, cups_each=3, total_g=500.0)


def test_what_cannot_be_split() -> None:
    with pytest.raises(InputError, match="holds no more than what stays in it"):
        planned(Batch(batch_g=100.0, cup_loss_g=50.0), cup_cm3=200.0)
    with pytest.raises(InputError, match="number of moulds is not told"):
        planned(Batch(batch_g=100.0), pot_life_min=30.0, minutes_per_mould=4.0)
    with pytest.raises(JobError, match="pot life: 30 min are over before the first mould is full"):
        planned(Batch(part_cm3=10.0), pot_life_min=30.0, minutes_to_mix=28.0, minutes_per_mould=4.0)
    with pytest.raises(InputError, match="only one of pot life and minutes a mould"):
        Split(pot_life_min=30.0)
    with pytest.raises(InputError, match=r"headroom: 0\.5 times"):
        Split(cup_cm3=100.0, headroom=0.5)


@settings(deadline=None)
@given(
    part=st.floats(1.0, 200.0),
    count=st.integers(1, 40),
    loss=st.floats(0.0, 10.0),
    cup=st.floats(200.0, 3000.0),
    headroom=st.floats(3.0, 5.0),
    pot_life=st.floats(10.0, 90.0),
    each=st.floats(0.5, 10.0),
)
def test_property_cups_keep_to_their_rules(
    part: float, count: int, loss: float, cup: float, headroom: float, pot_life: float, each: float
) -> None:
    batch = Batch(part_cm3=part, count=count, cup_loss_g=loss)
    rules = Split(cup_cm3=cup, headroom=headroom, pot_life_min=pot_life, minutes_per_mould=each)
    made = plan(batch, rules, density=1.1)
    assert made.total_g / made.count / 1.1 * headroom <= cup * (1.0 + 1e-9)
    assert made.total_g - made.count * loss >= batch.poured_g(1.1) * (1.0 - 1e-9)
    assert made.moulds_each is not None
    assert made.moulds_each * each <= pot_life + 1e-6
    assert made.count * made.moulds_each >= count * made.cups_each


# The cups of a sheet.


@pytest.mark.parametrize("base", ["clear", "milky"])
def test_cups_are_alike_and_add_up(demo_palette: Palette, base: str) -> None:
    blend = Blend(base, {"white": 0.5, "ochre": 0.02})
    sheet = weigh(
        demo_palette, blend, setting=THREE_MM, batch=Batch(part_cm3=40.0, count=9, cup_loss_g=4.0),
        split=Split(cup_cm3=600.0), scale=Scale(step_g=0.05), premix=True,
    )  # fmt: skip
    cups, mix = sheet.cups, demo_palette.bases[base].mix
    assert cups.count > 2
    tinted = sum(line.grams for line in sheet.lines if line.part == "A")
    assert -1e-9 <= tinted - cups.count * cups.tinted_g < cups.count * 0.05
    part_b = next(line for line in sheet.lines if line.what == "part B")
    assert cups.rest_g == {"B": pytest.approx(part_b.grams / cups.count, abs=1e-9)}
    for grams in (cups.tinted_g, *cups.rest_g.values()):
        assert grams / 0.05 == pytest.approx(round(grams / 0.05), abs=1e-6)
    assert cups.grams == pytest.approx(cups.tinted_g + cups.rest_g["B"])
    assert cups.least_cup_cm3 <= 600.0 * 1.001
    pigment = sum(line.pigment_g for line in sheet.lines) / tinted
    base_a, base_b = cups.tinted_g * (1.0 - pigment), cups.rest_g["B"]
    wanted = mix["B"] / (mix["A"] + mix["B"])
    share = base_b / (base_a + base_b)
    off = 100.0 * max(abs(share / wanted - 1.0), abs((1.0 - share) / (1.0 - wanted) - 1.0))
    assert cups.mix_error_percent == pytest.approx(off, abs=1e-9)


def test_minutes_are_mixing_and_pouring(demo_palette: Palette) -> None:
    sheet = weigh(
        demo_palette, LID, setting=THREE_MM, batch=Batch(part_cm3=40.0, count=9),
        split=Split(pot_life_min=30.0, minutes_to_mix=6.0, minutes_per_mould=5.0),
    )  # fmt: skip
    assert (sheet.cups.count, sheet.cups.moulds_each, sheet.cups.minutes) == (3, 3, 21.0)
