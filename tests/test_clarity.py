"""Regular transmittance and haze: closed forms, photons, slopes, and what a maker reads of them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

import tint
from tint.appearance import clarity_in_words
from tint.optics import surface
from tint.optics.layer import Optics, regular_slopes, transmittance
from tint.proofs.passing import held
from tint.trials import Trial, TrialReading, adjust

OPTICS = Optics(model="many-flux")


def test_reference_two_faces_alone_leave_what_fresnel_says() -> None:
    # (1 - r)^2 / (1 - r^2) with r = (0.41 / 2.41)^2, along the normal; at 8 degrees the same to four digits.
    passed, _ = surface.regular(0.0, 0.0, 0.0, refractive_index=1.41)
    assert float(passed) == pytest.approx(0.94375, abs=5e-5)


def test_published_optically_clear_silicone_scatters_this_little() -> None:
    # "Optically clear" is less than 4 % haze at 2.54 mm: mu_s <= -ln(0.96) / 2.54 = 0.016 /mm, all of it beyond 2.5
    # degrees (Novel wet process silica, part III, Rubber Chem. Technol.; from an abstract).
    mu_s = np.array([0.01607])
    layer = np.zeros(1), 0.75 * mu_s, 0.75 * mu_s
    regular, _ = regular_slopes(*layer, thickness=2.54, optics=OPTICS)
    total = transmittance(*layer, thickness=2.54, optics=OPTICS)
    # Some of what scatters is sent back, and so is missing from the total as well: haze comes out a little lower.
    assert 1.0 - float(regular[0] / total[0]) == pytest.approx(0.03, abs=0.011)


@pytest.mark.parametrize(
    ("mu_a", "mu_s", "g", "thickness", "total", "haze"),
    [  # photons followed by tests/figures/clarity.py, `slabs`, 2 million each; total and haze known to 0.0005
        (0.02, 0.2, 0.5, 3.0, 0.7187, 0.321),
        (0.005, 1.0, 0.85, 2.0, 0.7877, 0.8309),
        (0.2, 0.05, 0.0, 4.0, 0.3581, 0.0311),
    ],
)
def test_reference_light_passes_and_is_spread_as_photons_are(
    mu_a: float, mu_s: float, g: float, thickness: float, total: float, haze: float
) -> None:
    layer = np.array([2.0 * mu_a]), np.array([0.75 * mu_s * (1.0 - g)]), np.array([0.75 * mu_s])
    passed = float(transmittance(*layer, thickness=thickness, optics=OPTICS)[0])
    regular = float(regular_slopes(*layer, thickness=thickness, optics=OPTICS)[0][0])
    assert passed == pytest.approx(total, rel=0.01)
    assert 1.0 - regular / passed == pytest.approx(haze, abs=0.008)


@given(st.floats(0.0, 5.0), st.floats(0.001, 5.0), st.floats(0.0, 0.9), st.floats(1.28, 1.6))
def test_property_slopes_are_finite_differences(x: float, y: float, g: float, index: float) -> None:
    at = np.array([x, y, y / (1.0 - g)])
    _, slopes = surface.regular(*at, refractive_index=index)
    for number in range(3):
        step = np.zeros(3)
        step[number] = 1e-5 * max(at[number], 0.1)
        up, down = (surface.regular(*np.maximum(at + way * step, 0.0), refractive_index=index)[0] for way in (1, -1))
        width = np.maximum(at + step, 0.0)[number] - np.maximum(at - step, 0.0)[number]
        assert float(slopes[number]) == pytest.approx(float(up - down) / width, rel=2e-3, abs=2e-5)


@given(st.floats(-0.9, 0.99))
def test_property_the_whole_sphere_holds_all_that_is_scattered(g: float) -> None:
    narrow = float(surface.near_forward(g, 1.41))
    assert 0.0 < narrow < 1.0
    cosine = np.cos(np.arcsin(np.sin(np.radians(surface.WITHIN_DEGREES)) / 1.41))
    mu = np.linspace(cosine, 1.0, 4001)
    lobe = 0.5 * (1.0 - g * g) / (1.0 + g * g - 2.0 * g * mu) ** 1.5
    assert narrow == pytest.approx(float(np.trapezoid(lobe, mu)), rel=2e-3, abs=1e-6)


@pytest.fixture(scope="module")
def palette(demo_many_flux: tint.Palette) -> tint.Palette:
    return demo_many_flux


def test_a_clear_amber_and_a_milky_white_that_pass_alike_are_told_apart(palette: tint.Palette) -> None:
    amber = tint.predict(palette, {"ochre": 0.05}, base="clear", thickness_mm=3)
    milk = tint.predict(palette, {"white": 0.2}, base="clear", thickness_mm=3)
    assert amber.haze + amber.haze_error < milk.haze - milk.haze_error
    assert clarity_in_words(amber) != clarity_in_words(milk)
    told = tint.predict(palette, {}, base="clear", thickness_mm=1)
    assert 0.0 < told.regular_transmittance < told.luminous_transmittance < 1.0


def test_a_part_that_hides_has_no_light_to_speak_of(palette: tint.Palette) -> None:
    look = tint.predict(palette, {"white": 2.0}, base="clear", thickness_mm=6)
    assert "only a glow" in clarity_in_words(look)
    assert look.haze == pytest.approx(1.0, abs=1e-6)


def test_a_clear_part_is_found_for_a_colour_that_milk_could_show_too(palette: tint.Palette) -> None:
    clear = tint.solve(palette, lab=(70, 20, 40), opacity="clear", base="clear", thickness_mm=3).best
    assert clear.reached
    assert clear.appearance.haze <= 0.305
    milky = tint.solve(palette, lab=(70, 20, 40), opacity="solid", base="clear", thickness_mm=3).best
    assert milky.appearance.haze > 0.95


@pytest.mark.parametrize("finish", ["", "matt"])
def test_a_sheet_holds_a_part_against_the_haze_of_its_own_face(palette: tint.Palette, finish: str) -> None:
    blend, setting = tint.Blend("clear", {"yellow": 0.02}), tint.Setting(thickness_mm=3.0, finish=finish)
    look = tint.predict(palette, blend, setting=setting)
    wanted = tint.Target(lab=look.lab, haze=0.5)
    found = held(palette, blend, setting=setting, target=wanted, thickness_mm=[3.0])
    assert found.misses["haze"][0] == pytest.approx(look.haze - 0.5, abs=1e-9)


def test_a_haze_that_holds_the_colour_back_is_offered_to_be_given_up(palette: tint.Palette) -> None:
    clearer = tint.Target(lab=np.array([50.0, 0.0, 40.0]), haze_max=0.05)
    rules = tint.Rules(most_pigments=2)
    answer = tint.solve(palette, clearer, thickness_mm=3.0, base="clear", rules=rules, loosen=True)
    assert answer.best.limits == ("haze",)
    (freed,) = (each for each in answer.loosened if each.limit == "opacity")
    assert freed.reached
    assert freed.words == "without the opacity asked for the colour would be reached"


def test_a_matt_face_adds_its_gloss_where_it_was_excluded_and_blurs_what_lies_behind(palette: tint.Palette) -> None:
    def seen(finish: str, geometry: str) -> tint.Appearance:
        return tint.predict(palette, {"black": 0.5}, base="clear", thickness_mm=3, finish=finish, geometry=geometry)

    assert np.allclose(seen("matt", "di:8").reflectance, seen("gloss", "di:8").reflectance)
    added = seen("matt", "de:8").reflectance - seen("gloss", "de:8").reflectance
    # Excluded gloss that is spread comes back whole: the two geometries then read alike but for the lower face.
    assert np.allclose(added, ((palette.index[0] - 1.0) / (palette.index[0] + 1.0)) ** 2, atol=5e-4)
    assert 0.0 < (seen("satin", "de:8").reflectance - seen("gloss", "de:8").reflectance).mean() < added.mean()
    assert any("0.029" in told and "gloss" in told for told in seen("matt", "de:8").warnings)
    smooth, matt = (tint.predict(palette, {}, base="clear", thickness_mm=1, finish=each) for each in ("gloss", "matt"))
    assert matt.haze > 0.9 > smooth.haze
    assert "matt face" in matt.conditions


def test_a_finish_that_is_not_known_is_told(palette: tint.Palette) -> None:
    with pytest.raises(tint.InputError, match="velvet"):
        tint.predict(palette, {}, base="clear", thickness_mm=1, finish="velvet")


def test_a_correction_of_a_clear_part_is_not_held_to_a_contrast_ratio(palette: tint.Palette) -> None:
    look = tint.predict(palette, {"ochre": 0.05}, base="clear", thickness_mm=3)
    read = TrialReading(values=look.reflectance, over=look.over, seat="air")
    poured = Trial(blend=look.blend, thickness_mm=3.0, readings=(read,))
    wanted = tint.Target(lab=look.lab, haze_max=look.haze + 0.05)
    corrected = adjust(palette, wanted, [poured], setting=tint.Setting(thickness_mm=3.0))
    assert corrected.answer.target.contrast_ratio_min is None
    assert corrected.answer.target.haze_max == wanted.haze_max
