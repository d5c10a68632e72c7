"""Light lost at the edge of a measured spot: the estimate against photons, its limits, and what is told of a folder."""

from __future__ import annotations

import sys
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from synthetic import fit_two_flux, studio

from tint.checks import examine
from tint.materials import Instrument
from tint.optics.edge_loss import spot_reflectance
from tint.optics.layer import Optics, reflectance
from tint.palette import Palette
from tint.swatches import SwatchFolder

sys.path.insert(0, str(Path(__file__).parent / "figures"))
from edge_loss import SPOTS, Slab, lost

OPTICS = Optics(model="two-flux")


# Layers of silicone that scatter, from a milky base to a hiding white.
@pytest.mark.parametrize(
    "slab",
    [
        Slab(absorption=0.01, scattering=0.4, thickness=4.0, card=0.88),
        Slab(absorption=0.01, scattering=2.0, thickness=3.0, card=0.05),
        Slab(absorption=0.05, scattering=1.0, thickness=3.0, card=0.88, seat="wet"),
        Slab(absorption=0.01, scattering=8.0, thickness=4.0, card=0.05),
    ],
)
def test_reference_photons_are_lost_as_estimated(slab: Slab) -> None:
    by_photons, estimated = lost(slab, photons=4000, seed=5).T
    # 4000 photons know a share to about 0.01; from there on the estimate is good to a fifth or so.
    np.testing.assert_allclose(estimated, by_photons, rtol=0.2, atol=0.02)
    assert by_photons[SPOTS.index((4.0, 4.0))] > by_photons[SPOTS.index((4.0, 8.0))]


def test_reference_a_clear_layer_loses_no_more_than_estimated() -> None:
    by_photons, estimated = lost(
        Slab(absorption=0.05, scattering=0.05, thickness=2.0, card=0.88), photons=4000, seed=5
    ).T
    assert np.all(estimated > by_photons - 0.02)
    assert np.all(estimated < 4.0 * by_photons + 0.1)


@cache
def at(measured: float, lit: float, k: float, s: float, thickness: float) -> float:
    layer: dict[str, Any] = {"thickness": thickness, "backing": np.array([0.85]), "optics": OPTICS}
    return float(
        spot_reflectance(np.array([k]), np.array([s]), **layer, measured_mm=measured, lit_mm=lit)[0]
        / reflectance(np.array([k]), np.array([s]), **layer)[0]
    )


@given(st.floats(2.0, 20.0), st.floats(1.0, 4.0), st.floats(0.002, 2.0), st.floats(0.01, 20.0), st.floats(0.5, 8.0))
@settings(max_examples=60, deadline=None)
def test_property_a_spot_never_reads_more_and_less_the_smaller_what_is_lit(
    measured: float, wider: float, k: float, s: float, thickness: float
) -> None:
    share = at(measured, measured * wider, k, s, thickness)
    assert 0.0 < share < 1.0 + 1e-3
    assert share > at(measured, measured, k, s, thickness) - 1e-3


def test_property_a_wide_spot_loses_nothing_and_neither_does_what_hides() -> None:
    assert at(8.0, 4000.0, 0.02, 0.5, 3.0) == pytest.approx(1.0, abs=1e-3)
    assert at(8.0, 16.0, 2.0, 50.0, 3.0) == pytest.approx(1.0, abs=1e-3)


# In a folder.


@pytest.fixture(scope="module")
def clean() -> SwatchFolder:
    return studio(seed=3)


@pytest.fixture(scope="module")
def palette(clean: SwatchFolder) -> Palette:
    return fit_two_flux(clean)


def spots(palette: Palette, aperture_mm: float | None, lit_mm: float | None = None) -> Palette:
    instrument: Instrument = replace(palette.instrument, aperture_mm=aperture_mm, lit_mm=lit_mm)
    return replace(palette, instrument=instrument)


def test_nothing_is_told_where_no_spot_is_stated(clean: SwatchFolder, palette: Palette) -> None:
    assert examine(clean, spots(palette, None)) == ()
    assert examine(clean, spots(palette, None, 8.0)) == ()


def test_a_small_spot_is_told_with_how_much_it_loses(clean: SwatchFolder, palette: Palette) -> None:
    (found,) = examine(clean, spots(palette, 8.0))
    assert found.kind == "edge_loss"
    assert "8 mm measured and 8 mm lit, an estimated" in found.words
    assert found.where.startswith("milky-5")
    assert "milky-5 (5 mm, over white)" in found.words  # the thickest that scatters
    assert "16 mm lit" in found.mend
    assert found.about == ()
    (less,) = examine(clean, spots(palette, 8.0, 16.0))
    assert share_told(less.words) < 0.8 * share_told(found.words)


def share_told(words: str) -> float:
    return float(words.split("an estimated ")[1].split(" %")[0])


def test_a_wide_spot_is_not_told(clean: SwatchFolder, palette: Palette) -> None:
    assert examine(clean, spots(palette, 50.0, 100.0)) == ()
