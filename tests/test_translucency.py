"""Translucency against thickness: hiding thickness, translucency parameter, light from behind."""

from __future__ import annotations

import numpy as np
import pytest

from tint import colorimetry
from tint.appearance import Setting, predict
from tint.errors import InputError
from tint.materials import Blend
from tint.palette import Palette
from tint.thickness import hiding_thickness, translucency

LID = Blend("clear", {"white": 0.5, "yellow": 0.2})
SETTING = Setting(thickness_mm=3.0)


def test_property_hiding_thickness_is_where_the_contrast_ratio_is_reached(demo_palette: Palette) -> None:
    for wanted in (0.6, 0.9, 0.98):
        depth = hiding_thickness(demo_palette, LID, setting=SETTING, contrast_ratio=wanted)
        assert depth is not None
        at = predict(demo_palette, LID, setting=Setting(thickness_mm=depth))
        assert at.contrast_ratio == pytest.approx(wanted, abs=1e-5)


def test_clear_base_never_hides(demo_palette: Palette) -> None:
    assert hiding_thickness(demo_palette, Blend("clear"), setting=SETTING, contrast_ratio=0.9999) is None


def test_property_thicker_is_less_see_through(demo_palette: Palette) -> None:
    depths = np.arange(0.5, 6.1, 0.5)
    sheet = translucency(demo_palette, LID, setting=SETTING, thickness_mm=depths)
    ratios = np.array([each.contrast_ratio for each in sheet.appearances])
    assert np.all(np.diff(ratios) > 0.0)
    assert np.all(np.diff(sheet.translucency_parameter) < 0.0)
    assert np.all(np.diff(sheet.lab_from_behind[:, 0]) < 0.0)
    assert np.array_equal(sheet.thickness_mm, depths)


def test_translucency_parameter_is_the_difference_of_the_two_predictions(demo_palette: Palette) -> None:
    sheet = translucency(demo_palette, LID, setting=SETTING, thickness_mm=[2.0])
    over = {
        name: predict(demo_palette, LID, setting=Setting(thickness_mm=2.0, over=name)).lab
        for name in ("black", "white")
    }
    assert sheet.translucency_parameter[0] == pytest.approx(float(colorimetry.difference(over["black"], over["white"])))
    assert sheet.translucency_parameter_ab[0] == pytest.approx(float(np.linalg.norm(over["black"] - over["white"])))


def test_light_from_behind_is_the_transmitted_spectrum(demo_palette: Palette) -> None:
    sheet = translucency(demo_palette, LID, setting=SETTING, thickness_mm=[1.0])
    seen = predict(demo_palette, LID, setting=Setting(thickness_mm=1.0))
    view = colorimetry.viewing(demo_palette.wavelengths)
    assert sheet.lab_from_behind[0] == pytest.approx(colorimetry.lab(seen.transmittance, view))
    luminance = float(colorimetry.xyz(seen.transmittance, view)[1]) / 100.0
    assert seen.luminous_transmittance == pytest.approx(luminance)


@pytest.mark.parametrize("thickness", [[], 2.0, [[1.0, 2.0]]])
def test_no_list_of_thicknesses_is_told(demo_palette: Palette, thickness: object) -> None:
    with pytest.raises(InputError, match="thickness"):
        translucency(demo_palette, LID, setting=SETTING, thickness_mm=thickness)  # type: ignore[arg-type]
