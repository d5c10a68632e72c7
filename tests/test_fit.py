"""The fit gives back an invented studio's truth, says how well it knows it, and names what is wrong."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import synthetic
from scipy.optimize import lsq_linear
from synthetic import BASES, CASTS, TRUE_K, TRUE_S, WAVELENGTHS, Array, Cast, fit_two_flux, studio

from tint import colorimetry
from tint.appearance import Setting, predict
from tint.errors import InputError
from tint.fit.least_squares import Normal, Prior, compress, covariance, minimise, normal_equations
from tint.fit.problem import Problem, forward, lay_out
from tint.fit.start import first_guess
from tint.materials import Blend, Instrument
from tint.optics.layer import Optics
from tint.palette import Palette

VIEW = colorimetry.viewing(WAVELENGTHS)
TRUTH = np.concatenate((TRUE_K, TRUE_S)).T
FRESH: tuple[tuple[str, dict[str, float], float], ...] = (
    ("clear", {"white": 0.3, "yellow": 0.1, "blue": 0.02}, 2.0),
    ("clear", {"yellow": 0.5}, 3.0),
    ("clear", {"blue": 0.1}, 2.0),
    ("clear", {"white": 0.7}, 2.0),
    ("clear", {}, 3.0),
    ("milky", {"yellow": 0.2, "blue": 0.03}, 4.0),
)


def problem_of(casts: tuple[Cast, ...] = CASTS, **options: object) -> Problem:
    folder = studio(casts, **options)  # type: ignore[arg-type]
    geometry = folder.instrument.geometry
    optics = tuple(Optics(refractive_index=base.refractive_index, geometry=geometry) for base in BASES.values())
    return lay_out(folder, optics)


def fitted(palette: Palette) -> Array:
    return np.concatenate((palette.k, palette.s)).T


def spread(palette: Palette) -> Array:
    return np.asarray(np.sqrt(np.einsum("wpp->wp", palette.local) + np.sum(palette.modes**2, axis=0)))


def away(palette: Palette, *, over: str = "white") -> Array:
    """CIEDE2000 between predictions of fresh blends and their truth."""
    result = []
    for base, loadings, thickness in FRESH:
        setting = Setting(thickness_mm=thickness, over=over)
        true = synthetic.spectrum(base, loadings, thickness_mm=thickness, backing=over)
        seen = predict(palette, Blend(base, loadings), setting=setting)
        result.append(colorimetry.difference(seen.lab, colorimetry.lab(true, VIEW)))
    return np.array(result)


# Without noise


@pytest.mark.parametrize("geometry", ["di:8", "de:8", "45:0"])
@pytest.mark.parametrize("seat", ["air", "wet"])
def test_perfect_readings_give_the_truth_back(geometry: str, seat: str) -> None:
    palette = fit_two_flux(studio(instrument=replace(synthetic.INSTRUMENT, geometry=geometry), seat=seat))
    assert np.allclose(fitted(palette), TRUTH, rtol=1e-6, atol=1e-9)
    assert palette.misfit == 0.0
    assert palette.undetermined == ()
    assert [swatch.name for swatch in palette.swatches] == [cast.name for cast in CASTS]
    for swatch in palette.swatches:
        assert swatch.delta_e < 1e-6
        assert swatch.suspect == ""
        assert swatch.fitted_thickness_mm == pytest.approx(swatch.thickness_mm, abs=1e-6)


@pytest.mark.parametrize(
    ("backings", "transmit"),
    [(("none",), True), (("black",), True), (("white",), True), (("none", "white"), False)],
)
def test_other_pairs_of_readings_give_the_truth_back(backings: tuple[str, ...], transmit: bool) -> None:
    palette = fit_two_flux(studio(backings=backings, transmit=transmit))
    assert np.allclose(fitted(palette), TRUTH, rtol=1e-5, atol=1e-8)


def test_one_backing_alone_still_fits() -> None:
    # Swatches of several thicknesses and loadings say over one backing what single ones cannot.
    palette = fit_two_flux(studio(backings=("white",)))
    assert np.max(away(palette)) < 0.01
    seen = predict(palette, Blend("clear", {"yellow": 0.2}), setting=Setting(thickness_mm=2.0))
    assert np.isnan(seen.contrast_ratio)
    assert np.isnan(seen.contrast_ratio_error)
    assert 0.0 < seen.expected_error < 2.0


def test_an_instrument_that_states_no_error_is_believed() -> None:
    exact = Instrument(repeatability=0.0, thickness_error_mm=0.0, dose_error_percent=0.0)
    palette = fit_two_flux(studio(instrument=exact))
    assert np.allclose(fitted(palette), TRUTH, rtol=1e-6, atol=1e-9)
    assert predict(palette, Blend("clear", {"blue": 0.1}), setting=Setting(thickness_mm=2.0)).expected_error < 0.1


@pytest.mark.parametrize("number", [1, 2])
def test_a_studio_fits_whose_castings_all_have_as_many_pigments(number: int) -> None:
    casts = tuple(cast for cast in CASTS if len(cast.loadings) == number and cast.base == "clear")
    folder = studio(casts)
    palette = fit_two_flux(folder)
    assert np.max(np.abs(palette.evidence.fitted - palette.evidence.read)) < 1e-6
    assert not [swatch.name for swatch in palette.swatches if swatch.suspect]


def test_a_studio_without_pigments_fits() -> None:
    bare = tuple(cast for cast in CASTS if not cast.loadings)
    palette = fit_two_flux(replace(studio(bare), pigments={}))
    assert np.allclose(fitted(palette), TRUTH[:, [0, 1, 5, 6]], rtol=1e-6)
    assert palette.seen["clear"].max_loading == {}


def test_a_folder_without_readings_is_told() -> None:
    with pytest.raises(InputError, match="studio: there are no readings of swatches; read at least one casting"):
        fit_two_flux(replace(studio(), readings=()))


def test_coefficients_are_never_negative() -> None:
    # A base that neither absorbs nor scatters, read with noise, would go below zero half the time.
    for seed in range(3):
        palette = fit_two_flux(studio(CASTS[:8], seed=seed, instrument=Instrument(repeatability=0.01)))
        assert fitted(palette).min() >= 0.0
        assert np.all(np.isfinite(palette.local))


# What the swatches are taken to cover


def test_what_was_cast_is_what_was_seen() -> None:
    seen = fit_two_flux(studio()).seen
    assert seen["clear"].thickness_mm == (1.5, 6.0)
    assert seen["clear"].max_loading == {"white": 1.0, "yellow": 1.0, "blue": 0.5}
    assert seen["clear"].max_total == 1.0
    assert seen["clear"].mixed == ("white", "yellow", "blue")
    assert seen["milky"].max_loading == {"yellow": 0.3, "blue": 0.05}
    assert seen["milky"].mixed == ()


def test_a_swatch_that_was_not_read_counts_for_nothing() -> None:
    folder = studio(seed=3)
    without = replace(folder, readings=tuple(r for r in folder.readings if r.swatch != "clear-6"))
    palette = fit_two_flux(without)
    assert "clear-6" not in [swatch.name for swatch in palette.swatches]
    assert palette.seen["clear"].thickness_mm == (1.5, 4.0)
    assert palette.evidence.swatch.max() == len(palette.swatches) - 1
    assert np.max(away(palette)) < 0.5


# With noise


@pytest.fixture(scope="module")
def many() -> list[Palette]:
    """Sixteen studios that differ by chance alone."""
    return [fit_two_flux(studio(seed=seed)) for seed in range(16)]


def test_the_stated_error_of_coefficients_is_their_error(many: list[Palette]) -> None:
    pulls = np.array([(fitted(palette) - TRUTH) / spread(palette) for palette in many])
    # 16 studios x 16 wavelengths x 10 coefficients, but the wavelengths of one share thickness and dose, so that there
    # are some hundred independent pulls of each coefficient: the root mean square of such is good to 10 or 20 %.
    each = np.sqrt(np.mean(pulls**2, axis=(0, 1)))
    assert np.all((each > 0.6) & (each < 1.4)), each
    assert 0.8 < np.sqrt(np.mean(pulls**2)) < 1.2
    assert np.max(np.abs(np.mean(pulls, axis=(0, 1)))) < 0.6


def test_the_expected_error_holds_for_readings_of_new_castings(many: list[Palette]) -> None:
    instrument, share = synthetic.INSTRUMENT, []
    for seed, palette in enumerate(many):
        random = np.random.default_rng(1000 + seed)
        for base, loadings, thickness in FRESH:
            seen = predict(palette, Blend(base, loadings), setting=Setting(thickness_mm=thickness, over="white"))
            dosed = {
                name: dose * (1.0 + instrument.dose_error_percent / 100.0 * random.standard_normal())
                for name, dose in loadings.items()
            }
            cast = thickness + instrument.thickness_error_mm * random.standard_normal()
            read = synthetic.spectrum(base, dosed, thickness_mm=cast, backing="white")
            read = read + instrument.repeatability * random.standard_normal(read.shape)
            share.append(colorimetry.difference(seen.lab, colorimetry.lab(read, VIEW)) / seen.expected_error)
    # 96 castings: 95 in 100 are to fall inside; fewer than 88 % would be chance once in some hundred times. And an
    # error that is twice too large would hold nearly all of them below a half.
    assert np.mean(np.array(share) <= 1.0) > 0.88
    assert np.quantile(share, 0.95) > 0.5


def test_misses_of_swatches_left_out_are_as_large_as_expected(many: list[Palette]) -> None:
    missed = np.concatenate([palette.evidence.missed for palette in many])
    expected = np.concatenate([palette.evidence.expected for palette in many])
    # 320 castings; the few that are missed most weigh most, so the mean is good to some 15 %.
    assert 0.7 < missed.mean() / expected.mean() < 1.5
    assert 0.7 < np.mean(missed / expected) < 1.5


def test_the_misfit_is_not_made_up(many: list[Palette]) -> None:
    # The readings were made by the fitted model, so noise is all there is.
    assert np.median([palette.misfit for palette in many]) < 0.001
    assert not [swatch.name for palette in many for swatch in palette.swatches if swatch.suspect]


def test_a_misfit_is_found_when_there_is_one() -> None:
    # Readings worse than the instrument is said to be count as misfit, and predictions admit it.
    folder = studio(seed=5, instrument=replace(synthetic.INSTRUMENT, repeatability=0.008))
    honest, boast = fit_two_flux(folder), fit_two_flux(replace(folder, instrument=synthetic.INSTRUMENT))
    assert honest.misfit < 0.004
    assert 0.01 < boast.misfit < 0.05
    errors = [
        predict(palette, Blend("clear", {"white": 0.5}), setting=Setting(thickness_mm=2.0)).expected_error
        for palette in (fit_two_flux(studio(seed=5)), boast)
    ]
    assert errors[1] > 2.0 * errors[0]


def test_reference_what_a_swatch_would_miss_by_is_what_a_fit_without_it_misses_by() -> None:
    folder = studio(seed=3)
    palette = fit_two_flux(folder)
    for name in ("white-a", "yellow-b", "cream-b", "clear-2", "milky-5"):
        cast = next(cast for cast in CASTS if cast.name == name)
        without = fit_two_flux(replace(folder, readings=tuple(r for r in folder.readings if r.swatch != name)))
        at = [swatch.name for swatch in palette.swatches].index(name)
        for row, over in zip(np.flatnonzero(palette.evidence.swatch == at), ("black", "white"), strict=True):
            setting = Setting(thickness_mm=cast.thickness_mm, over=over)
            really = predict(without, Blend(cast.base, cast.loadings), setting=setting).reflectance
            # To first order: the weights and the other swatches' thicknesses are not fitted anew.
            missed = np.sqrt(np.mean((palette.evidence.read[row] - really) ** 2))
            apart = np.sqrt(np.mean((palette.evidence.foretold[row] - really) ** 2))
            assert apart < 0.3 * missed, (name, over)


# What is wrong with the swatches


@pytest.mark.parametrize(("name", "written"), [("white-a", 2.5), ("yellow-a", 1.6), ("blue-b", 2.4), ("clear-2", 3.0)])
def test_a_wrong_thickness_is_named(name: str, written: float) -> None:
    true = next(cast for cast in CASTS if cast.name == name)
    said = tuple(cast._replace(thickness_mm=written) if cast.name == name else cast for cast in CASTS)
    palette = fit_two_flux(studio(said, seed=3, really={name: true}))
    named = {swatch.name: swatch for swatch in palette.swatches if swatch.suspect}
    assert list(named) == [name]
    assert "thickness" in named[name].suspect
    assert np.max(away(palette)) < 0.5


@pytest.mark.parametrize(
    "really",
    [
        Cast("cream-a", "clear", 2.0, {"white": 0.5, "blue": 0.1}),  # the wrong pigment
        Cast("cream-a", "clear", 2.0, {"white": 0.5, "yellow": 0.2}),  # twice the dose
        Cast("cream-a", "milky", 2.0, {"white": 0.1}),  # another swatch altogether
    ],
)
def test_one_bad_swatch_in_twenty_is_named_and_harms_little(really: Cast) -> None:
    good = fit_two_flux(studio(seed=3))
    palette = fit_two_flux(studio(seed=3, really={"cream-a": really}))
    named = {swatch.name: swatch for swatch in palette.swatches if swatch.suspect}
    assert list(named) == ["cream-a"]
    assert named["cream-a"].weight < 0.1
    assert named["cream-a"].suspect == "the other swatches contradict it: check blend, dose, thickness and readings"
    assert sorted(swatch.weight for swatch in palette.swatches)[2] > 0.5
    assert np.max(away(palette)) < np.max(away(good)) + 0.15


def test_a_pigment_that_was_never_cast_is_reported_and_its_predictions_are_not_believed() -> None:
    palette = fit_two_flux(studio(tuple(cast for cast in CASTS if "blue" not in cast.loadings), seed=3))
    assert palette.undetermined == ("pigment blue: no swatch of it was read, so nothing is known of it",)
    setting = Setting(thickness_mm=2.0)
    without = predict(palette, Blend("clear", {"white": 0.2}), setting=setting)
    seen = predict(palette, Blend("clear", {"white": 0.2, "blue": 0.1}), setting=setting)
    assert without.warnings == ()
    assert seen.warnings == ("blue was never cast in clear: nothing is known of it",)
    assert seen.expected_error > 10.0 * without.expected_error


def test_a_coefficient_that_nothing_pins_down_is_reported() -> None:
    # Blue only ever in a trace under a hiding white: its scattering drowns.
    casts = tuple(cast for cast in CASTS if "blue" not in cast.loadings)
    drowned = Cast("trace", "clear", 2.0, {"white": 1.0, "blue": 0.02})
    told = fit_two_flux(studio((*casts, drowned), seed=3)).undetermined
    assert any(line.startswith("pigment blue: its scattering s is loose at") for line in told), told


# The parts


def test_the_first_guess_is_of_the_right_size() -> None:
    guess = first_guess(problem_of())
    assert guess.shape == TRUTH.shape
    assert np.all(guess > 0.0)
    strong = TRUTH > 0.05
    assert np.median(np.abs(np.log(guess / TRUTH))[strong]) < 0.05


@pytest.mark.parametrize("seat", ["air", "wet"])
def test_reference_slopes_of_all_readings_are_finite_differences(seat: str) -> None:
    problem = problem_of(CASTS[7:18], seat=seat, backings=("black", "none"), transmit=True)
    random = np.random.default_rng(4)
    theta = TRUTH * random.uniform(0.7, 1.3, TRUTH.shape)
    shared = random.standard_normal(problem.n_shared)
    at = forward(problem, theta, shared)

    def literal(by_theta: Array, by_shared: Array, step: float) -> Array:
        up = forward(problem, theta + step * by_theta, shared + step * by_shared).predicted
        down = forward(problem, theta - step * by_theta, shared - step * by_shared).predicted
        return np.asarray((up - down) / (2.0 * step))

    still, held = np.zeros_like(theta), np.zeros_like(shared)
    for unknown in range(theta.shape[1]):
        moved = literal(still + np.eye(theta.shape[1])[unknown], held, 1e-6)
        assert np.allclose(at.by_theta[..., unknown].T, moved, rtol=1e-5, atol=1e-7), unknown
    for unknown in range(problem.n_shared):
        moved = literal(still, held + np.eye(problem.n_shared)[unknown], 1e-4)
        slopes = np.sum(at.by_own * (problem.own[problem.swatch] == unknown), axis=-1)
        assert np.allclose(slopes.T, moved, rtol=1e-5, atol=1e-8), unknown


GROUP = np.array([0, 0, 0, 1, 1, 1, 1, 3, 3])  # group 2 was not read
OWN = np.array([[0, 1], [2, 6], [5, 6], [3, 4]])  # 6 stands for an empty slot
N_SHARED = 6


def linear(seed: int) -> tuple[Array, Array, Array]:
    """Slopes by a wavelength's own unknowns and by slots, and readings, of 4 wavelengths."""
    random = np.random.default_rng(seed)
    return random.normal(size=(4, 9, 3)), random.normal(size=(4, 9, 2)), random.normal(size=(4, 9))


def whole(by_theta: Array, by_own: Array) -> Array:
    """The whole design, unknowns of all wavelengths side by side, with the prior of the shared ones below."""
    n, m, p = by_theta.shape
    rows = np.zeros((n * m + N_SHARED, n * p + N_SHARED))
    for w in range(n):
        rows[w * m : (w + 1) * m, w * p : (w + 1) * p] = by_theta[w]
        for reading in range(m):
            for slot, unknown in enumerate(OWN[GROUP[reading]]):
                if unknown < N_SHARED:
                    rows[w * m + reading, n * p + unknown] = by_own[w, reading, slot]
    rows[n * m :, n * p :] = np.eye(N_SHARED)
    return rows


@pytest.mark.parametrize("seed", range(4))
def test_reference_bounded_least_squares_is_scipy_s(seed: int) -> None:
    by_theta, by_own, read = linear(seed)
    n, _, p = by_theta.shape
    rows = whole(by_theta, by_own)

    def equations(theta: Array, shared: Array) -> Normal:
        predicted = (rows[:-N_SHARED] @ np.concatenate((theta.ravel(), shared))).reshape(read.shape)
        return normal_equations(read - predicted, by_theta, by_own, own=OWN, group=GROUP, shared=shared)

    found = minimise(equations, np.ones((n, p)), np.zeros(N_SHARED), tolerance=1e-14, most_steps=500)
    wanted = np.concatenate((read.ravel(), np.zeros(N_SHARED)))
    lower = np.concatenate((np.zeros(n * p), np.full(N_SHARED, -np.inf)))
    there = lsq_linear(rows, wanted, bounds=(lower, np.inf), tol=1e-14)
    assert np.any(found.theta == 0.0), "no bound was met: the case proves nothing"
    assert found.cost == pytest.approx(2.0 * there.cost, rel=1e-6)
    assert np.allclose(np.concatenate((found.theta.ravel(), found.shared)), there.x, rtol=0.0, atol=1e-3)


def test_reference_covariance_is_the_inverse_of_the_whole() -> None:
    by_theta, by_own, read = linear(8)
    n, _, p = by_theta.shape
    normal = normal_equations(read, by_theta, by_own, own=OWN, group=GROUP, shared=np.zeros(N_SHARED))
    local, modes = covariance(normal, Prior(np.zeros((n, p)), np.full((n, p), 1e6)))
    rows = whole(by_theta, by_own)
    there = np.linalg.inv(rows.T @ rows)[: n * p, : n * p]
    flat = modes.reshape(modes.shape[0], -1)
    here = flat.T @ flat
    for w in range(n):
        here[w * p : (w + 1) * p, w * p : (w + 1) * p] += local[w]
    # Of the shared part, half a thousandth is left out on purpose.
    assert np.allclose(here, there, rtol=0.0, atol=2e-3 * np.abs(there).max())


def test_modes_are_compressed_without_loss_that_matters() -> None:
    random = np.random.default_rng(2)
    strong = random.normal(size=(3, 5, 4))
    modes = np.concatenate((strong, 1e-6 * random.normal(size=(20, 5, 4))))
    few = compress(modes, np.ones((5, 4)))
    assert few.shape == (3, 5, 4)
    all_of_them, kept = (np.einsum("rwp,rvq->wpvq", each, each) for each in (modes, few))
    assert np.allclose(all_of_them, kept, rtol=0.0, atol=1e-6)
    assert compress(np.zeros((7, 5, 4)), np.ones((5, 4))).shape == (0, 5, 4)
    assert compress(np.zeros((0, 5, 4)), np.ones((5, 4))).shape == (0, 5, 4)
