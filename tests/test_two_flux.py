"""The Kubelka-Munk body, its faces, and its inverse."""

from __future__ import annotations

from itertools import pairwise

import iadpython
import numpy as np
import pytest
import reference
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq
from tables import column, half_digit

from tint.optics import two_flux
from tint.optics.two_flux import faces

GEOMETRIES = ("di:8", "de:8", "45:0")
SEATS = ("air", "wet")

DEPTH = st.floats(1e-3, 30.0)
REFLECTANCE = st.floats(0.0, 1.0)


def body(x: float, y: float) -> tuple[float, float]:
    values, _ = two_flux.body(x, y)
    return float(values[0]), float(values[1])


def over(x: float, y: float, backing: float) -> float:
    """A body without faces on a backing."""
    R0, T = body(x, y)
    return R0 + T * T * backing / (1.0 - R0 * backing)


def test_reference_finite_layers() -> None:
    names = ("K", "S", "X", "R_inf", "R0", "T", "R_1", "R_08", "contrast_ratio")
    for K, S, X, R_inf, *printed in column("kubelka_munk_layers", *names):
        R0, T = body(K * X, S * X)
        here = (R0, T, over(K * X, S * X, 1.0), over(K * X, S * X, 0.8), R0 / over(K * X, S * X, 0.8))
        assert np.max(np.abs(np.array(here) - printed)) <= half_digit(6), (K, S, X)
        thick = body(1e6 * K, 1e6 * S)[0] if K else body(0.0, 1e9)[0]
        assert abs(thick - R_inf) <= half_digit(6)


def test_reference_reflectivity() -> None:
    for ratio, R_inf in column("reflectivity", "K_over_S", "R_inf"):
        assert abs(body(1e5 * ratio, 1e5)[0] - R_inf) <= half_digit(6), ratio


def test_reference_paper_opacity() -> None:
    # The coefficients are printed to 4 decimals, which lets R0 move by some 1e-5 and T likewise.
    for R0, _, grammage, s, k, T in column("paper_opacity", "R0", "R_inf", "grammage", "scattering", "absorption", "T"):
        assert np.allclose(body(k * grammage, s * grammage), (R0, T), rtol=0.0, atol=1e-5)


RATIOS = ("0.50", "0.80", "0.90", "0.95", "0.98")


def test_reference_scattering_power_for_a_contrast_ratio() -> None:
    for R_inf, ratio, *needed in column("contrast_ratio_scattering", "R_inf", "K_over_S", *RATIOS):
        exact = (1.0 - R_inf) ** 2 / (2.0 * R_inf)
        assert abs(exact - ratio) <= half_digit(5)
        for wanted, printed in zip(map(float, RATIOS), needed, strict=True):

            def miss(y: float, k: float = exact, c: float = wanted) -> float:
                return body(k * y, y)[0] / over(k * y, y, 0.8) - c

            assert abs(float(brentq(miss, 1e-6, 40.0, xtol=1e-10)) - printed) <= half_digit(4), (R_inf, wanted)


@pytest.mark.parametrize(
    ("x", "y"), [(0.0, 1.0), (1e-7, 3.0), (0.003, 0.3), (0.04, 0.1), (0.3, 0.02), (1.0, 1.0), (0.1, 8.0), (4.0, 0.5)]
)
def test_reference_body_is_the_integrated_two_flux_equations(x: float, y: float) -> None:
    thickness = 1.7
    assert body(x, y) == pytest.approx(reference.body(x / thickness, y / thickness, thickness), abs=1e-9)
    for backing in (0.04, 0.82, 1.0):
        read, _ = reference.body(x / thickness, y / thickness, thickness, backing)
        assert over(x, y, backing) == pytest.approx(read, abs=1e-9)


@pytest.mark.parametrize("geometry", GEOMETRIES)
@pytest.mark.parametrize("seat", SEATS)
@pytest.mark.parametrize("n", [1.0, 1.41, 1.6])
@pytest.mark.parametrize(("x", "y"), [(0.05, 0.4), (0.5, 0.05), (0.3, 4.0)])
def test_reference_faces_are_the_sum_of_all_bounces(geometry: str, seat: str, n: float, x: float, y: float) -> None:
    face = faces(n, geometry)
    (front, through, back), _ = two_flux.terms(x, y, refractive_index=n, geometry=geometry, seat=seat)
    R0, T = body(x, y)
    for backing in (0.0, 0.05, 0.85):
        literal = reference.reading(
            R0, T, enter=face.enter, leave=face.leave, gloss=face.gloss, inside=face.inside, outside=face.outside,
            backing=backing, wet=seat == "wet",
        )  # fmt: skip
        assert float(front + through * backing / (1.0 - back * backing)) == pytest.approx(literal, abs=1e-11)


@pytest.mark.parametrize("geometry", GEOMETRIES)
@pytest.mark.parametrize("seat", SEATS)
@pytest.mark.parametrize(("K", "S"), [(0.05, 0.4), (0.5, 0.05), (0.3, 4.0)])
def test_reference_castings_of_the_judge_are_those_of_its_literal_parts(
    geometry: str, seat: str, K: float, S: float
) -> None:
    index, eight = 1.41, np.radians(8.0)
    outside, inside = reference.external_diffuse(index), reference.internal_diffuse(index)
    R0, T = reference.body(K, S, 2.0)
    from_45 = geometry == "45:0"
    enter = 1.0 - (reference.fresnel(index, np.pi / 4.0) if from_45 else outside)
    leave = (1.0 - reference.fresnel(index, 0.0 if from_45 else eight)) / index**2
    gloss = reference.fresnel(index, eight) if geometry == "di:8" else 0.0
    ways = {"enter": enter, "leave": leave, "gloss": gloss, "inside": inside, "outside": outside}
    for backing in (0.05, 0.85):
        literal = reference.reading(R0, T, **ways, backing=backing, wet=seat == "wet")
        casting = reference.two_flux(
            np.array([K]), np.array([S]), 2.0, index=index, geometry=geometry, seat=seat, backing=np.array([backing])
        )
        assert float(casting[0]) == pytest.approx(literal, abs=1e-8)


def radiative_transfer(albedo: float, depth: float, g: float, n: float) -> tuple[float, float, float, float]:
    """Reflectance and transmittance of a free slab, for a beam along the normal and for Lambertian light.

    Adding-doubling by iadpython; 24 points, since from 32 on it loses its digits at index 1.
    """
    slab = iadpython.Sample(a=albedo, b=depth, g=g, n=n, quad_pts=24)
    beam_r, beam_t, diffuse_r, diffuse_t = (float(value) for value in slab.rt())
    assert beam_r + beam_t <= 1.0 + 1e-6
    assert diffuse_r + diffuse_t <= 1.0 + 1e-6
    return beam_r, beam_t, diffuse_r, diffuse_t


# Two fluxes are a diffusion theory: they must meet radiative transfer where light scatters many times before it
# leaves or is absorbed, with K = 2 mu_a and S = 3/4 mu_s (1 - g) (Gate 1974, Appl. Opt. 13, 236, from memory). The
# error left is of the skin where the light is not diffuse yet, a mean free path or so; it falls with depth. Each
# tolerance is the error seen when written, rounded up by two fifths at most.
THICK = [
    # albedo, optical depth, g, and the tolerances: Lambertian at index 1; Lambertian and beam at index 1.41
    (0.999, 10.0, 0.0, 1.1e-3, 1.1e-2, 2.2e-2),
    (0.9999, 20.0, 0.0, 3.4e-4, 3.6e-3, 1.0e-2),
    (0.9999, 50.0, 0.0, 7e-5, 8e-4, 4.2e-3),
    (0.9999, 100.0, 0.5, 8e-5, 9e-4, 4.8e-3),
    (0.99999, 200.0, 0.0, 7e-6, 7e-5, 1.1e-3),
]


@pytest.mark.parametrize(("albedo", "depth", "g", "bare", "diffuse", "beam"), THICK)
def test_reference_thick_white_layers_agree_with_radiative_transfer(
    albedo: float, depth: float, g: float, bare: float, diffuse: float, beam: float
) -> None:
    x, y = 2.0 * (1.0 - albedo) * depth, 0.75 * albedo * (1.0 - g) * depth
    _, _, R, T = radiative_transfer(albedo, depth, g, 1.0)
    assert body(x, y) == pytest.approx((R, T), abs=bare)
    beam_r, beam_t, diffuse_r, _ = radiative_transfer(albedo, depth, g, 1.41)
    (front, _, back), _ = two_flux.terms(x, y, refractive_index=1.41, geometry="di:8", seat="air")
    passed, _ = two_flux.transmitted(x, y, refractive_index=1.41)
    assert float(back) == pytest.approx(diffuse_r, abs=diffuse)
    assert float(front) == pytest.approx(beam_r, abs=beam)
    assert float(passed) == pytest.approx(beam_t, abs=beam)


def test_reference_the_error_against_radiative_transfer_falls_with_depth() -> None:
    errors = []
    for depth in (4.0, 16.0, 64.0, 256.0):
        albedo = 1.0 - 0.001 / depth
        *_, R, _ = radiative_transfer(albedo, depth, 0.0, 1.41)
        (_, _, back), _ = two_flux.terms(
            2.0 * (1.0 - albedo) * depth, 0.75 * albedo * depth, refractive_index=1.41, geometry="di:8", seat="air"
        )
        errors.append(abs(float(back) - R))
    assert all(later < 0.4 * earlier for earlier, later in pairwise(errors)), errors


def test_reference_half_space_is_met_where_little_is_absorbed() -> None:
    table = column("thick_isotropic", "albedo", "diffuse")
    for albedo, exact in table:
        assert reference.isotropic_half_space(albedo) == pytest.approx(exact, abs=half_digit(6))
    for albedo, exact in [each for each in table if each[0] >= 0.9]:
        # The two theories part in proportion to 1 - albedo here: 0.13 to 0.16 of it when written.
        thick, _ = body(2e6 * (1.0 - albedo), 0.75e6 * albedo)
        assert abs(thick - exact) < 0.2 * (1.0 - albedo), albedo


@given(DEPTH, DEPTH)
@settings(deadline=None)
def test_property_the_identity_of_kubelka_holds(x: float, y: float) -> None:
    R0, T = body(x, y)
    a = (x + y) / y
    # T^2 = (a - R0)^2 - b^2; against the size of the terms that cancel.
    assert abs(T**2 - ((a - R0) ** 2 - (a * a - 1.0))) < 1e-13 * a * a + 1e-14


@given(st.floats(0.01, 5.0), st.floats(0.05, 5.0), st.floats(0.05, 1.0))
@settings(deadline=None)
def test_property_a_follows_from_one_backing(x: float, y: float, backing: float) -> None:
    R0, _ = body(x, y)
    R = over(x, y, backing)
    # The formula divides a difference by R0, so it is only as good as R0 is different from R.
    exact = (x + y) / y
    assert 0.5 * (R + (R0 - R + backing) / (R0 * backing)) == pytest.approx(exact, rel=1e-12 / (R0 * backing))


@given(st.floats(0.0, 20.0), st.floats(0.0, 20.0), st.floats(0.01, 5.0), st.floats(0.01, 5.0))
@settings(deadline=None)
def test_property_two_bodies_add_to_one(K: float, S: float, upper: float, lower: float) -> None:
    # Kubelka 1954, JOSA 44, 330.
    (R1, T1), (R2, T2) = body(K * upper, S * upper), body(K * lower, S * lower)
    whole = body(K * (upper + lower), S * (upper + lower))
    assert whole == pytest.approx((R1 + T1**2 * R2 / (1.0 - R1 * R2), T1 * T2 / (1.0 - R1 * R2)), abs=1e-12)


@given(st.floats(0.0, 1e4))
@settings(max_examples=50, deadline=None)
def test_property_the_limits_of_a_white_and_of_a_dye_are_exact(depth: float) -> None:
    assert body(0.0, depth) == pytest.approx((depth / (1.0 + depth), 1.0 / (1.0 + depth)), rel=1e-14, abs=1e-300)
    assert body(depth, 0.0) == pytest.approx((0.0, np.exp(-depth)), rel=1e-12, abs=1e-300)


@given(st.floats(0.0, 1.0), st.floats(0.0, 20.0))
@settings(max_examples=50, deadline=None)
def test_property_the_limits_are_reached_smoothly(small: float, depth: float) -> None:
    tiny = 1e-9 * small
    assert body(tiny, depth) == pytest.approx(body(0.0, depth), abs=1e-6 * small + 1e-14)
    assert body(depth, tiny) == pytest.approx(body(depth, 0.0), abs=1e-8 * small + 1e-14)


def test_the_series_and_the_closed_form_meet() -> None:
    # They change over where q^2 = x (x + 2 y) = 0.01.
    y = 0.3
    x = -y + np.sqrt(y * y + 0.01)
    values, slopes = two_flux.body(x * np.array([1.0 - 1e-9, 1.0 + 1e-9]), y)
    assert np.allclose(values[:, 0], values[:, 1], rtol=0.0, atol=1e-10)
    assert np.allclose(slopes[..., 0], slopes[..., 1], rtol=1e-8, atol=0.0)


def test_no_layer_is_too_thin_or_too_thick() -> None:
    x, y = np.meshgrid([0.0, 1e-300, 1e-12, 1.0, 500.0, 1e6], [0.0, 1e-300, 1e-12, 1.0, 500.0, 1e6])
    with np.errstate(over="raise", invalid="raise", divide="raise"):
        values, slopes = two_flux.body(x, y)
        for seat in SEATS:
            seen, by_depth = two_flux.terms(x, y, refractive_index=1.41, geometry="di:8", seat=seat)
            assert np.all(np.isfinite(seen))
            assert np.all(np.isfinite(by_depth))
    assert np.all(np.isfinite(values))
    assert np.all(np.isfinite(slopes))
    # b S d of 500 and more: only R infinity is left, and nothing comes through.
    thick, _ = two_flux.body(np.array([500.0, 5e4]), np.array([500.0, 5e4]))
    assert np.allclose(thick[0], 2.0 - np.sqrt(3.0), rtol=0.0, atol=1e-15)
    assert np.all(thick[1] < 1e-300)


@given(st.floats(0.0, 50.0), st.floats(0.0, 50.0))
@settings(deadline=None)
def test_property_no_light_is_made(x: float, y: float) -> None:
    R0, T = body(x, y)
    assert 0.0 <= R0 <= 1.0
    assert 0.0 <= T <= 1.0
    assert R0 + T <= 1.0 + 1e-15
    assert sum(body(0.0, y)) == pytest.approx(1.0, abs=1e-15)


@given(DEPTH, DEPTH, REFLECTANCE, REFLECTANCE, st.sampled_from(GEOMETRIES), st.sampled_from(SEATS))
@settings(deadline=None)
def test_property_a_lighter_backing_never_darkens(
    x: float, y: float, one: float, other: float, geometry: str, seat: str
) -> None:
    (front, through, back), _ = two_flux.terms(x, y, refractive_index=1.41, geometry=geometry, seat=seat)
    dark, light = (front + through * g / (1.0 - back * g) for g in sorted((one, other)))
    assert light >= dark
    assert light <= 1.0 + 1e-12 or geometry != "di:8"  # only a sphere sees all that comes back


@given(st.floats(0.01, 5.0), st.floats(0.1, 10.0), st.floats(0.02, 0.98))
@settings(deadline=None)
def test_property_thickness_leads_to_reflectivity_from_any_backing(K: float, S: float, backing: float) -> None:
    R_inf = 1.0 + K / S - np.sqrt((K / S) ** 2 + 2.0 * K / S)
    apart = [abs(over(K * d, S * d, backing) - R_inf) for d in (0.0, 0.5, 1.0, 2.0, 4.0, 5000.0)]
    assert all(later <= earlier + 1e-13 for earlier, later in pairwise(apart))
    assert apart[-1] < 1e-9


@pytest.mark.parametrize("x", [0.0, 1e-4, 0.05, 0.4, 3.0])
@pytest.mark.parametrize("y", [0.0, 1e-4, 0.05, 0.4, 3.0, 40.0])
def test_reference_slopes_of_the_body_are_finite_differences(x: float, y: float) -> None:
    _, slopes = two_flux.body(x, y)
    assert np.allclose(slopes, differences(lambda x, y: two_flux.body(x, y)[0], x, y), rtol=3e-6, atol=1e-8)


def differences(function: object, x: float, y: float, step: float = 2e-5) -> np.ndarray:
    """Slopes by x and y: central where there is room, else one-sided to second order, since depths are not negative."""
    assert callable(function)
    columns = []
    for at, direction in ((x, (step, 0.0)), (y, (0.0, step))):

        def value(times: float, along: tuple[float, float] = direction) -> np.ndarray:
            return np.asarray(function(x + times * along[0], y + times * along[1]))

        if at > step:
            columns.append((value(1.0) - value(-1.0)) / (2.0 * step))
        else:
            columns.append((4.0 * value(1.0) - 3.0 * value(0.0) - value(2.0)) / (2.0 * step))
    return np.stack(columns, axis=1 if np.asarray(columns[0]).ndim else 0)


@pytest.mark.parametrize("geometry", GEOMETRIES)
@pytest.mark.parametrize("seat", SEATS)
@pytest.mark.parametrize("n", [1.0, 1.41])
@pytest.mark.parametrize(("x", "y"), [(0.0, 0.3), (0.002, 0.01), (0.1, 0.6), (0.5, 0.0), (0.4, 5.0)])
def test_reference_slopes_with_faces_are_finite_differences(
    geometry: str, seat: str, n: float, x: float, y: float
) -> None:
    def values(x: float, y: float) -> np.ndarray:
        return two_flux.terms(x, y, refractive_index=n, geometry=geometry, seat=seat)[0]

    _, slopes = two_flux.terms(x, y, refractive_index=n, geometry=geometry, seat=seat)
    assert np.allclose(slopes, differences(values, x, y), rtol=3e-6, atol=1e-8)


@pytest.mark.parametrize(("k1", "k2"), [(None, None), (0.03, 0.5)])
@pytest.mark.parametrize(("x", "y"), [(0.0, 0.3), (0.1, 0.6), (0.5, 0.0), (0.4, 5.0)])
def test_reference_slopes_of_the_transmittance_are_finite_differences(
    k1: float | None, k2: float | None, x: float, y: float
) -> None:
    def value(x: float, y: float) -> np.ndarray:
        return two_flux.transmitted(x, y, refractive_index=1.41, k1=k1, k2=k2)[0]

    _, slopes = two_flux.transmitted(x, y, refractive_index=1.41, k1=k1, k2=k2)
    assert np.allclose(slopes, differences(value, x, y), rtol=3e-6, atol=1e-8)


@given(DEPTH, DEPTH, st.floats(1.0, 1.6))
@settings(deadline=None)
def test_property_a_free_slab_neither_makes_nor_loses_light(x: float, y: float, n: float) -> None:
    def all_light(absorbed: float) -> float:
        (front, _, _), _ = two_flux.terms(absorbed, y, refractive_index=n, geometry="di:8", seat="air")
        passed, _ = two_flux.transmitted(absorbed, y, refractive_index=n)
        return float(front + passed)

    assert all_light(0.0) == pytest.approx(1.0, abs=1e-12)
    assert all_light(x) <= 1.0 + 1e-12


@given(DEPTH, DEPTH)
@settings(max_examples=40, deadline=None)
def test_property_measured_constants_stand_in_for_those_of_the_index(x: float, y: float) -> None:
    face = faces(1.5, "di:8")
    plain, _ = two_flux.terms(x, y, refractive_index=1.5, geometry="di:8", seat="wet")
    given_, _ = two_flux.terms(
        x, y, refractive_index=1.5, geometry="di:8", seat="wet", k1=1.0 - face.enter, k2=face.inside
    )
    assert np.allclose(plain, given_, rtol=0.0, atol=1e-15)


def test_reference_two_backings_give_the_coefficients_back() -> None:
    # S = 5, K = 0.2, 0.5 mm, backings 0.04 and 0.82; recomputed with Kubelka 1948's form for two backings, 6 decimals.
    assert over(0.1, 2.5, 0.04) == pytest.approx(0.666554, abs=half_digit(6))
    assert over(0.1, 2.5, 0.82) == pytest.approx(0.771589, abs=half_digit(6))
    K, S = two_flux.from_black_and_white(
        0.666554, 0.771589, black=0.04, white=0.82, thickness=0.5, refractive_index=1.0
    )
    assert (float(K), float(S)) == pytest.approx((0.2, 5.0), rel=1e-4)


@given(
    st.floats(0.003, 3.0),
    st.floats(0.05, 5.0),
    st.floats(0.3, 3.0),
    st.sampled_from((1.0, 1.3, 1.41, 1.5)),
    st.sampled_from(GEOMETRIES),
    st.sampled_from(SEATS),
)
@settings(deadline=None)
def test_property_black_and_white_give_the_coefficients_back(
    x: float, y: float, thickness: float, n: float, geometry: str, seat: str
) -> None:
    black, white = 0.04, 0.86
    (front, through, back), _ = two_flux.terms(x, y, refractive_index=n, geometry=geometry, seat=seat)
    dark, light = (front + through * g / (1.0 - back * g) for g in (black, white))
    K, S = two_flux.from_black_and_white(
        dark, light, black=black, white=white, thickness=thickness, refractive_index=n, geometry=geometry, seat=seat
    )
    # Rounding in the readings is carried by how little they differ.
    loose = 1e-11 / float(light - dark) / min(x, y, 1.0)
    assert (float(K), float(S)) == pytest.approx((x / thickness, y / thickness), rel=loose + 1e-9)


def test_readings_that_no_layer_gives_are_not_a_number() -> None:
    # Lighter over black than over white, and lighter than white all over.
    K, S = two_flux.from_black_and_white(
        [0.5, 1.4], [0.3, 1.5], black=0.04, white=0.86, thickness=1.0, refractive_index=1.0
    )
    assert not np.any(np.isfinite(K) & (K >= 0.0) & np.isfinite(S))


def test_arrays_keep_their_axes() -> None:
    x, y = np.full((4, 1, 31), 0.1), np.full((2, 31), 1.0)
    values, slopes = two_flux.terms(x, y, refractive_index=1.41, geometry="di:8", seat="air")
    assert values.shape == (3, 4, 2, 31)
    assert slopes.shape == (3, 2, 4, 2, 31)
    passed, by_depth = two_flux.transmitted(x, y, refractive_index=1.41)
    assert passed.shape == (4, 2, 31)
    assert by_depth.shape == (2, 4, 2, 31)
