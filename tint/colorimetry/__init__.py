"""Spectra to colours: tristimulus weights, CIELAB, CIEDE2000, sRGB, contrast ratio."""

from tint.colorimetry.cielab import (
    adapt,
    decode,
    difference,
    difference_parts,
    difference_parts_slopes,
    encode,
    encode_signed,
    hex_code,
    hex_to_srgb,
    lab,
    lab_share_slopes,
    lab_slopes,
    lab_to_srgb,
    lab_to_xyz,
    light_to_lab,
    light_to_srgb,
    srgb_to_lab,
    xyz_to_lab,
    xyz_to_lab_slopes,
    xyz_to_light,
    xyz_to_srgb,
)
from tint.colorimetry.spectra import (
    PATCHES,
    chart_lab,
    chart_spectra,
    object_spectra,
    root_matrix,
    root_terms,
    smoothest_spectrum,
)
from tint.colorimetry.weights import OBSERVERS, Viewing, contrast_ratio, light_name, lights, viewing, xyz

__all__ = [
    "OBSERVERS", "PATCHES", "Viewing", "adapt", "chart_lab", "chart_spectra", "contrast_ratio", "decode", "difference",
    "difference_parts", "difference_parts_slopes", "encode", "encode_signed", "hex_code", "hex_to_srgb", "lab",
    "lab_share_slopes", "lab_slopes", "lab_to_srgb", "lab_to_xyz", "light_name", "light_to_lab", "light_to_srgb",
    "lights", "object_spectra", "root_matrix", "root_terms", "smoothest_spectrum", "srgb_to_lab", "viewing", "xyz",
    "xyz_to_lab", "xyz_to_lab_slopes", "xyz_to_light", "xyz_to_srgb",
]  # fmt: skip
