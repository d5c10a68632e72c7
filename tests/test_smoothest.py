"""Spectra that stand in for colours, and those of the real objects that say which are likely."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from functools import partial

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import NonlinearConstraint, minimize

from tint.colorimetry import Viewing, lab, lab_to_xyz, object_spectra, smoothest_spectrum, viewing, xyz
from tint.spectra import Array

GRID = np.arange(400.0, 701.0, 10.0)
OBJECTS = object_spectra(GRID)
VIEWS = tuple(viewing(GRID, light=light, observer=observer) for light in ("D65", "A", "FL11") for observer in (2, 10))
D65 = viewing(GRID)


def z_of(reflectance: Array) -> Array:
    return np.asarray(np.arctanh(2.0 * reflectance - 1.0))


def roughness(z: Array) -> float:
    return float(np.sum(np.diff(z) ** 2))


@st.composite
def spectra(draw: Callable[[st.SearchStrategy[float]], float]) -> Array:
    """Reflectances as smooth as those of things: a level, a slope, a step and a band."""
    number = partial(st.floats, allow_nan=False)
    at = (GRID - 400.0) / 300.0
    z = draw(number(-1.5, 1.5)) + draw(number(-1.0, 1.0)) * at
    z = z + draw(number(-1.5, 1.5)) * np.tanh((at - draw(number(0.0, 1.0))) / 0.1)
    z = z + draw(number(-1.0, 1.0)) * np.exp(-(((at - draw(number(0.0, 1.0))) / 0.15) ** 2))
    return np.asarray(0.5 * (1.0 + np.tanh(z)))


@pytest.mark.parametrize("view", VIEWS, ids=str)
def test_property_the_colours_of_real_objects_are_met_exactly(view: Viewing) -> None:
    wanted = lab(OBJECTS, view)
    found = smoothest_spectrum(wanted, view)
    assert found.shape == OBJECTS.shape
    assert np.abs(lab(found, view) - wanted).max() < 1e-8
    assert np.all((found > 0.0) & (found < 1.0))


@given(spectra(), st.sampled_from(VIEWS))
def test_property_any_smooth_spectrum_s_colour_is_met_exactly(values: Array, view: Viewing) -> None:
    wanted = lab(values, view)
    found = smoothest_spectrum(wanted, view)
    assert np.abs(lab(found, view) - wanted).max() < 1e-8
    assert np.all((found > 0.0) & (found < 1.0))
    # It is smoother than the one that the colour was of, or that very one.
    assert roughness(z_of(found)) <= roughness(z_of(values)) + 1e-9


@given(spectra(), spectra(), st.sampled_from(VIEWS))
def test_property_a_near_spectrum_is_bent_to_the_colour_and_no_more(values: Array, near: Array, view: Viewing) -> None:
    same = smoothest_spectrum(lab(near, view), view, near=near)
    assert np.abs(same - near).max() < 1e-7
    wanted = lab(values, view)
    bent = smoothest_spectrum(wanted, view, near=near)
    assert np.abs(lab(bent, view) - wanted).max() < 1e-8
    # No more than by becoming the spectrum that the colour was of.
    assert roughness(z_of(bent) - z_of(near)) <= roughness(z_of(values) - z_of(near)) + 1e-9


@pytest.mark.parametrize("number", [3, 21, 40, 77])
@pytest.mark.parametrize("near", [None, OBJECTS[10]], ids=["alone", "near another"])
def test_property_no_other_spectrum_of_the_colour_is_smoother(number: int, near: Array | None) -> None:
    wanted = D65.weights.T @ OBJECTS[number]
    z = z_of(smoothest_spectrum(lab(OBJECTS[number], D65), D65, near=near))
    kept = np.zeros_like(z) if near is None else z_of(near)
    random = np.random.default_rng(number)
    rougher = []
    for size in (1e-3, 1e-2, 0.1, 0.3) * 25:
        other = z + size * random.standard_normal() * np.cumsum(random.standard_normal(z.size)) / 3.0
        for _ in range(30):  # back to the colour, by the shortest way
            slope = D65.weights.T * (0.5 / np.cosh(other) ** 2)
            other = other - np.linalg.pinv(slope) @ (D65.weights.T @ (0.5 * (1.0 + np.tanh(other))) - wanted)
        if np.abs(D65.weights.T @ (0.5 * (1.0 + np.tanh(other))) - wanted).max() < 1e-9:
            rougher.append(roughness(other - kept) - roughness(z - kept))
    assert len(rougher) > 70
    assert min(rougher) > -1e-12


@pytest.mark.parametrize("number", [5, 60])
def test_reference_scipy_finds_the_same_spectrum(number: int) -> None:
    wanted = D65.weights.T @ OBJECTS[number]
    colour = NonlinearConstraint(lambda z: (D65.weights.T @ (0.5 * (1.0 + np.tanh(z))) - wanted) / 100.0, 0.0, 0.0)
    options = {"maxiter": 500, "ftol": 1e-12}
    there = minimize(roughness, np.zeros(GRID.size), method="SLSQP", constraints=colour, options=options)  # type: ignore[call-overload]
    assert there.success
    found = smoothest_spectrum(lab(OBJECTS[number], D65), D65)
    assert np.abs(found - 0.5 * (1.0 + np.tanh(there.x))).max() < 1e-4


def test_grey_is_flat() -> None:
    grey = smoothest_spectrum([[20.0, 0.0, 0.0], [53.4, 0.0, 0.0], [97.0, 0.0, 0.0]], D65)
    luminance = lab_to_xyz([[20.0, 0.0, 0.0], [53.4, 0.0, 0.0], [97.0, 0.0, 0.0]], D65.white)[:, 1:2]
    assert np.abs(grey - luminance / 100.0).max() < 1e-9


def test_impossible_colours_stay_finite_and_harm_no_others() -> None:
    wild = [[50.0, 120.0, -120.0], [100.0, 60.0, 60.0], [130.0, 0.0, 0.0], [0.0, 0.0, 0.0], [100.4, 0.1, -0.1]]
    good = lab(OBJECTS[4], D65)
    found = smoothest_spectrum(np.array([*wild, good]), D65)
    assert np.all(np.isfinite(found))
    assert np.all((found >= 0.0) & (found <= 1.0))
    assert np.abs(lab(found[-1], D65) - good).max() < 1e-8
    bent = smoothest_spectrum(wild, D65, near=np.broadcast_to(OBJECTS[4], (5, GRID.size)))
    assert np.all(np.isfinite(bent))


def test_axes_lead_and_nothing_gives_nothing() -> None:
    wanted = lab(OBJECTS[:6], D65)
    flat = smoothest_spectrum(wanted, D65)
    assert np.allclose(smoothest_spectrum(wanted.reshape(2, 3, 3), D65), flat.reshape(2, 3, -1), rtol=0.0, atol=1e-12)
    assert np.allclose(smoothest_spectrum(wanted[2], D65), flat[2], rtol=0.0, atol=1e-12)
    assert smoothest_spectrum(np.zeros((0, 3)), D65).shape == (0, GRID.size)


# The objects


def test_reference_the_objects_are_colour_science_s_own() -> None:
    with warnings.catch_warnings(), np.printoptions():
        warnings.simplefilter("ignore")
        import colour
        from colour.quality.cfi2017 import load_TCS_CIE2017

        theirs = load_TCS_CIE2017(colour.SpectralShape(380, 780, 5))
    grid = np.arange(380.0, 781.0, 5.0)
    assert object_spectra(grid).shape == (99, 81)
    assert np.allclose(object_spectra(grid).T, theirs.values, rtol=0.0, atol=1e-12)
    between = object_spectra(np.array([402.5]))[:, 0]
    assert np.allclose(between, theirs.values[4:6].mean(axis=0), rtol=0.0, atol=1e-12)


def test_the_objects_are_reflectances_of_many_colours() -> None:
    assert OBJECTS.shape == (99, 31)
    assert np.all((OBJECTS > 0.0) & (OBJECTS < 1.0))
    colours = lab(OBJECTS, D65)
    hues = np.degrees(np.arctan2(colours[:, 2], colours[:, 1])) % 360.0
    assert np.all(np.histogram(hues, bins=8, range=(0.0, 360.0))[0] >= 5)  # even in hue, as they were chosen to be
    assert np.ptp(xyz(OBJECTS, D65)[:, 1]) > 60.0
