"""What a blend looks like, how far that may be off, and what is said where the swatches no longer carry it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import synthetic
from synthetic import BACKINGS, CASTS, WAVELENGTHS, Array, fit_two_flux, studio

from tint import colorimetry, uncertainty
from tint.appearance import Setting, outside, predict, render
from tint.errors import InputError
from tint.materials import Blend
from tint.palette import Palette, Surprise

VIEW = colorimetry.viewing(WAVELENGTHS)
GREEN = Blend("clear", {"yellow": 0.3, "blue": 0.05})
PLAIN = Setting(thickness_mm=2.0)


@pytest.fixture(scope="module")
def palette() -> Palette:
    return fit_two_flux(studio(seed=3))


@pytest.fixture(scope="module")
def perfect() -> Palette:
    return fit_two_flux(studio())


# The prediction


@pytest.mark.parametrize("over", ["black", "white", "none"])
@pytest.mark.parametrize("seat", ["air", "wet"])
@pytest.mark.parametrize("geometry", ["di:8", "45:0"])
def test_a_perfect_palette_predicts_the_truth(perfect: Palette, over: str, seat: str, geometry: str) -> None:
    blend = Blend("milky", {"yellow": 0.2, "blue": 0.04})
    setting = Setting(thickness_mm=2.5, over=over, seat=seat, geometry=geometry, light="A", observer=2)
    seen = predict(perfect, blend, setting=setting)

    def true(backing: str, how: str, quantity: str = "reflectance") -> Array:
        return synthetic.spectrum(
            "milky", blend.loadings, thickness_mm=2.5, backing=backing, seat=how, geometry=geometry, quantity=quantity
        )

    view = colorimetry.viewing(WAVELENGTHS, light="A", observer=2)
    mine = true(over, "air" if over == "none" else seat)
    black, white, passed = true("black", seat), true("white", seat), true("none", "air", "transmittance")
    # The fit's faint belief that scattering runs smoothly moves even perfect readings by a few in the seventh digit.
    assert np.allclose(seen.reflectance, mine, rtol=0.0, atol=1e-6)
    assert np.allclose(seen.transmittance, passed, rtol=0.0, atol=1e-6)
    assert seen.lab == pytest.approx(colorimetry.lab(mine, view), abs=1e-4)
    assert seen.lab_black == pytest.approx(colorimetry.lab(black, view), abs=1e-4)
    assert seen.lab_white == pytest.approx(colorimetry.lab(white, view), abs=1e-4)
    assert seen.contrast_ratio == pytest.approx(float(colorimetry.contrast_ratio(black, white, view)), abs=1e-6)
    assert seen.luminous_transmittance == pytest.approx(float(colorimetry.xyz(passed, view)[1]) / 100.0, abs=1e-6)
    srgb, in_gamut = colorimetry.lab_to_srgb(seen.lab, view)
    assert (seen.srgb, seen.in_gamut) == (colorimetry.hex_code(srgb), bool(in_gamut))


def test_the_lightest_backing_is_taken_when_none_is_named(palette: Palette) -> None:
    seen = predict(palette, GREEN, setting=PLAIN)
    assert seen.over == "white"
    assert np.array_equal(seen.lab, seen.lab_white)
    dark = predict(palette, GREEN, setting=replace(PLAIN, over="black"))
    assert np.array_equal(dark.lab, dark.lab_black)
    assert dark.contrast_ratio == seen.contrast_ratio


def test_conditions_are_told_in_one_line(palette: Palette) -> None:
    seen = predict(palette, GREEN, setting=replace(PLAIN, seat="wet", light="f2", observer=2))
    assert seen.conditions == "2 mm, over white, wet seat, di:8, FL2, 2° observer"
    free = predict(palette, GREEN, setting=replace(PLAIN, over="none", geometry="45:0"))
    assert free.conditions == "2 mm, a free slab, 45:0, D65, 10° observer"


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"thickness_mm": 0.0}, "thickness: 0 mm; expected more than 0 and at most 100 mm"),
        ({"thickness_mm": -1.0}, "thickness: -1 mm"),
        ({"thickness_mm": 101.0}, "thickness: 101 mm"),
        ({"thickness_mm": float("nan")}, "thickness_mm: nan, which is not finite; expected a number"),
        ({"thickness_mm": 2.0, "seat": "dry"}, "seat: `dry` is not known; expected air or wet"),
        ({"thickness_mm": 2.0, "geometry": "8:di"}, "geometry: `8:di` is not known; expected di:8, de:8, 45:0"),
    ],
)
def test_a_setting_that_cannot_be_is_told(options: dict[str, object], words: str) -> None:
    with pytest.raises(InputError, match=words):
        Setting(**options)  # type: ignore[arg-type]


def test_what_the_palette_does_not_have_is_told(palette: Palette) -> None:
    with pytest.raises(InputError, match="backing: `grey` is not in the palette; expected one of black, white, none"):
        predict(palette, GREEN, setting=replace(PLAIN, over="grey"))
    with pytest.raises(InputError, match="light: `moon` is not known"):
        predict(palette, GREEN, setting=replace(PLAIN, light="moon"))
    with pytest.raises(InputError, match="blend: pigment `pink` is not in the palette"):
        predict(palette, Blend("clear", {"pink": 1.0}), setting=PLAIN)


def test_many_are_rendered_at_once(palette: Palette) -> None:
    loadings = np.random.default_rng(1).uniform(0.0, 0.3, (4, 5, 3))
    thickness = np.linspace(1.0, 5.0, 5)
    shares = palette.shares("clear", loadings)
    backings = ("white", "none", "black")
    drawn = render(palette, shares, base="clear", setting=PLAIN, backings=backings, thickness_mm=thickness)
    assert drawn.reflectance.shape == (3, 4, 5, WAVELENGTHS.size)
    assert drawn.slopes.shape == (3, 5, 4, 5, WAVELENGTHS.size)
    for at, over in enumerate(backings):
        blend = palette.blend("clear", loadings[2, 3])
        one = predict(palette, blend, setting=Setting(thickness_mm=float(thickness[3]), over=over))
        assert np.allclose(drawn.reflectance[at, 2, 3], one.reflectance, rtol=0.0, atol=1e-14)


def test_reference_slopes_of_rendering_are_finite_differences(palette: Palette) -> None:
    share = palette.shares("clear", palette.loadings(GREEN))
    backings = ("black", "white", "none")
    setting = replace(PLAIN, seat="wet")
    drawn = render(palette, share, base="clear", setting=setting, backings=backings)

    def beside(by_k: float, by_s: float, by_d: float) -> Array:
        # The clear base has a share of nearly 1: moving its coefficients moves K and S, and M and Q along with S.
        moved = replace(
            palette,
            k=palette.k + by_k / share[0] * (np.arange(5) == 0)[:, None],
            s=palette.s + by_s / share[0] * (np.arange(5) == 0)[:, None],
        )
        thickness = replace(setting, thickness_mm=setting.thickness_mm + by_d)
        return render(moved, share, base="clear", setting=thickness, backings=backings).reflectance

    by_k, by_s, by_m, by_q, by_d = np.moveaxis(drawn.slopes, 1, 0)
    for at, slope in enumerate((by_k, by_s + by_m * palette.by_s[0, 0] + by_q * palette.by_s[1, 0], by_d)):
        step = 1e-5 * np.eye(3)[at]
        literal = (beside(*step) - beside(*-step)) / 2e-5
        assert np.allclose(slope, literal, rtol=1e-6, atol=1e-8)


# How far it may be off


COLOURS = [[50.0, 0.0, 0.0], [90.0, 5e-4, 0.0], [20.0, 0.5, -0.5], [80.0, 20.0, 60.0], [30.0, 10.0, -40.0]]
COVARIANCES = [
    0.04 * np.eye(3),
    np.diag([0.2, 0.001, 0.001]),
    np.diag([0.01, 0.01, 0.3]),
    0.3 * np.array([[1.0, 0.9, 0.0], [0.9, 1.0, 0.0], [0.0, 0.0, 0.3]]),
]


@pytest.mark.parametrize("lab", COLOURS, ids=str)
@pytest.mark.parametrize("covariance", COVARIANCES, ids=["even", "lightness", "b", "together"])
def test_reference_the_radius_holds_95_of_100_draws(lab: list[float], covariance: Array) -> None:
    draws = np.random.default_rng(11).multivariate_normal(lab, covariance, 20000)
    quantile = float(np.quantile(colorimetry.difference(lab, draws), 0.95))
    # The quantile of 20000 draws is itself good to 1 %.
    assert float(uncertainty.radius(lab, covariance)) == pytest.approx(quantile, rel=0.05)


def test_the_radius_keeps_leading_axes_and_of_no_error_is_zero() -> None:
    labs = np.tile([50.0, 10.0, 10.0], (4, 2, 1))
    many = uncertainty.radius(labs, np.broadcast_to(0.04 * np.eye(3), (4, 2, 3, 3)))
    assert many.shape == (4, 2)
    assert many[3, 1] == pytest.approx(float(uncertainty.radius(labs[0, 0], 0.04 * np.eye(3))), rel=1e-12)
    assert float(uncertainty.radius(labs[0, 0], np.zeros((3, 3)))) == 0.0


def test_reference_the_palette_s_share_of_the_error_is_that_of_drawn_palettes(palette: Palette) -> None:
    base, loadings = "clear", palette.loadings(GREEN)
    share = palette.shares(base, loadings)
    drawn = render(palette, share, base=base, setting=PLAIN, backings=("white",))
    lab, by_reading = colorimetry.lab_slopes(drawn.reflectance[0], VIEW)
    along = by_reading[:, None, :] * drawn.slopes[0]
    here = uncertainty.of_palette(palette, along[:, :4], share)

    random = np.random.default_rng(6)
    root = np.linalg.cholesky(palette.local)
    n_components, labs = len(share), []
    for _ in range(3000):
        own = np.einsum("wpq,wq->wp", root, random.standard_normal(palette.local.shape[:2]))
        common = np.einsum("rwp,r->wp", palette.modes, random.standard_normal(palette.modes.shape[0]))
        by_k, by_s, by_m, by_q = (common.T[at * n_components :][:n_components] for at in range(4))
        k, s = palette.k + own.T[:n_components] + by_k, palette.s + own.T[n_components:] + by_s
        m, q = (palette.s + own.T[n_components:]) * palette.by_s + np.stack((by_m, by_q))
        other = replace(palette, k=k, s=s, g=1.0 - s / m, second_moment=q / m)
        read = render(other, share, base=base, setting=PLAIN, backings=("white",)).reflectance[0]
        labs.append(colorimetry.lab(read, VIEW))
    there = np.cov(np.array(labs).T)
    # 3000 draws give variances to 2.6 %, and the colour is not quite linear in the coefficients.
    assert np.allclose(np.sqrt(np.diag(here)), np.sqrt(np.diag(there)), rtol=0.08)
    size = np.sqrt(np.outer(np.diag(there), np.diag(there)))
    assert np.max(np.abs(here - there) / size) < 0.16
    assert np.allclose(lab, np.mean(labs, axis=0), rtol=0.0, atol=0.02)


def test_a_worse_workshop_has_larger_errors(palette: Palette) -> None:
    error = predict(palette, GREEN, setting=PLAIN).expected_error
    for change in ({"thickness_error_mm": 0.3}, {"dose_error_percent": 10.0}):
        worse = replace(palette, instrument=replace(palette.instrument, **change))  # type: ignore[arg-type]
        assert predict(worse, GREEN, setting=PLAIN).expected_error > 1.5 * error


def test_the_error_grows_where_castings_are_thinner_than_the_swatches(palette: Palette) -> None:
    errors = [
        predict(palette, GREEN, setting=Setting(thickness_mm=thickness)).expected_error
        for thickness in (2.0, 1.0, 0.5, 0.25)
    ]
    assert errors == sorted(errors)
    assert errors[-1] > 3.0 * errors[0]


def test_the_error_grows_where_loadings_leave_the_swatches(palette: Palette) -> None:
    weak = fit_two_flux(studio(tuple(cast for cast in CASTS if cast.loadings.get("white", 0.0) <= 0.1), seed=3))

    def error(of: Palette, loading: float) -> float:
        return predict(of, Blend("clear", {"white": loading}), setting=PLAIN).expected_error

    errors = [error(weak, loading) for loading in (0.1, 0.4, 1.0, 2.0)]
    assert errors == sorted(errors)
    assert errors[2] > 2.0 * errors[0]
    assert errors[2] > 2.0 * error(palette, 1.0), "swatches of the strong white would have told more"


THICK = Setting(thickness_mm=9.0)  # thicker than anything cast


def taught(palette: Palette, **ratios: float) -> Palette:
    """What leaving a hundred castings out in each of these ways would have taught."""
    surprises = {way: Surprise(ratio=ratio, castings=100) for way, ratio in ratios.items()}
    return replace(palette, surprises={**palette.surprises, **surprises})


def test_ways_of_lying_outside_that_were_missed_enlarge_the_error_there(palette: Palette) -> None:
    # Let castings left out as the thickest were have been missed by three times what was expected.
    even, worse = taught(palette, inside=1.0, thickness=1.0), taught(palette, inside=1.0, thickness=9.0)
    inside, outside_it = (
        predict(worse, GREEN, setting=setting).expected_error / predict(even, GREEN, setting=setting).expected_error
        for setting in (PLAIN, THICK)
    )
    assert inside == pytest.approx(1.0, rel=1e-12)
    assert 2.5 < outside_it < 3.0


def test_luck_among_the_swatches_is_no_ground_for_confidence(palette: Palette) -> None:
    lucky, even = (taught(palette, inside=ratio) for ratio in (0.0, 0.9))
    one, other = (predict(each, GREEN, setting=PLAIN) for each in (lucky, even))
    assert one.expected_error == pytest.approx(other.expected_error, rel=1e-12)


def test_a_folder_that_never_rehearsed_it_is_believed_to_miss_more(palette: Palette) -> None:
    silent = replace(palette, surprises={})
    sure = taught(palette, inside=1.0, thickness=1.0)
    usual, known = (
        [predict(each, GREEN, setting=setting).expected_error for setting in (PLAIN, THICK)] for each in (silent, sure)
    )
    assert usual[0] > known[0]
    assert usual[1] / usual[0] > known[1] / known[0]


def test_transmittances_alone_predict_with_an_error() -> None:
    palette = fit_two_flux(studio(seed=3, backings=(), transmit=True))
    seen = predict(palette, GREEN, setting=PLAIN)
    assert seen.over == "none"
    assert np.isfinite(seen.expected_error)
    assert seen.expected_error > 0.0
    assert np.isnan(seen.contrast_ratio)
    true = synthetic.spectrum("clear", GREEN.loadings, thickness_mm=2.0, backing="none", quantity="transmittance")
    assert np.max(np.abs(seen.transmittance - true)) < 0.01


# What is said outside the swatches


def told(palette: Palette, blend: Blend, **options: object) -> list[str]:
    return outside(palette, blend, setting=Setting(**{"thickness_mm": 2.0, **options}))  # type: ignore[arg-type]


def test_inside_the_swatches_nothing_is_said(palette: Palette) -> None:
    for blend in (GREEN, Blend("clear", {}), Blend("clear", {"white": 1.0}), Blend("milky", {"yellow": 0.3})):
        assert told(palette, blend) == []
        assert predict(palette, blend, setting=PLAIN).warnings == ()
    assert told(palette, GREEN, thickness_mm=6.1) == []  # a reading of 6.1 mm stands for 6
    assert told(palette, GREEN, geometry="di:8", over="none", seat="wet") == []


@pytest.mark.parametrize("thickness", [1.4, 6.5])
def test_a_thickness_outside_is_said(palette: Palette, thickness: float) -> None:
    assert told(palette, GREEN, thickness_mm=thickness) == [
        f"{thickness:g} mm is outside the 1.5 to 6 mm at which clear was cast"
    ]


def test_a_loading_above_is_said(palette: Palette) -> None:
    assert told(palette, Blend("clear", {"blue": 0.8})) == ["0.8 % blue is more than the 0.5 % that was cast in clear"]
    assert told(palette, Blend("clear", {"blue": 0.505})) == []


def test_a_sum_above_is_said(palette: Palette) -> None:
    assert told(palette, Blend("clear", {"white": 0.9, "yellow": 0.9})) == [
        "1.8 % in all is more than the 1 % that was cast in clear"
    ]


def test_a_pigment_from_another_base_is_said(palette: Palette) -> None:
    assert told(palette, Blend("milky", {"white": 0.2})) == [
        "white was never cast in milky: what it does there is taken from clear"
    ]


def test_a_mixture_of_what_was_only_cast_alone_is_said(palette: Palette) -> None:
    (line,) = told(palette, Blend("milky", {"yellow": 0.1, "blue": 0.02}))
    assert line == "yellow and blue were only ever cast alone in milky, never in a mixture"


def test_another_geometry_is_said(palette: Palette) -> None:
    assert told(palette, GREEN, geometry="45:0") == [
        "the swatches were read with gloss (di:8); this is predicted without gloss (45:0)"
    ]


def test_everything_is_said_at_once(palette: Palette) -> None:
    blend = Blend("milky", {"white": 2.0, "blue": 0.2})
    lines = predict(palette, blend, setting=Setting(thickness_mm=9.0, geometry="de:8")).warnings
    assert len(lines) == 6
    assert len(set(lines)) == 6


def test_the_studio_s_backings_reach_the_palette(palette: Palette) -> None:
    for name, spectrum in BACKINGS.items():
        assert np.array_equal(palette.backings[name], spectrum)


def test_the_stated_error_grows_far_beyond_the_loadings_cast(demo_palette: Palette) -> None:
    cast = demo_palette.seen["clear"].max_loading["white"]
    setting = Setting(thickness_mm=3.0)
    # Of L*; the error that is shown ends at black against white.
    errors = [
        predict(demo_palette, Blend("clear", {"white": times * cast}), setting=setting).covariance[0, 0] ** 0.5
        for times in (1.9, 4.0, 8.0)
    ]
    assert errors[1] > 1.5 * errors[0]
    assert errors[2] > 1.5 * errors[1]


def test_an_error_that_says_nothing_is_capped_and_told(demo_palette: Palette) -> None:
    look = predict(demo_palette, Blend("clear", {"white": 100.0}), setting=Setting(thickness_mm=3.0))
    assert look.expected_error == 100.0
    assert look.contrast_ratio_error <= 1.0
    assert look.warnings[-1] == "how far the colour may be off is not known"
