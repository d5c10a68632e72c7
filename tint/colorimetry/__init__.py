"""Spectra to colours: tristimulus weights, CIELAB, CIEDE2000, sRGB, contrast ratio."""

from tint.colorimetry.chart import PATCHES, chart_lab, chart_spectra, root_matrix, root_terms
from tint.colorimetry.cielab import (
    difference,
    difference_parts,
    difference_parts_slopes,
    lab,
    lab_share_slopes,
    lab_slopes,
    lab_to_xyz,
    xyz_to_lab,
    xyz_to_lab_slopes,
)
from tint.colorimetry.screen import (
    adapt,
    decode,
    encode,
    encode_signed,
    hex_code,
    hex_to_srgb,
    lab_to_srgb,
    srgb_to_lab,
    xyz_to_srgb,
)
from tint.colorimetry.smoothest import object_spectra, smoothest_spectrum
from tint.colorimetry.weights import OBSERVERS, Viewing, contrast_ratio, lights, viewing, xyz

__all__ = [
    "OBSERVERS",
    "PATCHES",
    "Viewing",
    "adapt",
    "chart_lab",
    "chart_spectra",
    "contrast_ratio",
    "decode",
    "difference",
    "difference_parts",
    "difference_parts_slopes",
    "encode",
    "encode_signed",
    "hex_code",
    "hex_to_srgb",
    "lab",
    "lab_share_slopes",
    "lab_slopes",
    "lab_to_srgb",
    "lab_to_xyz",
    "lights",
    "object_spectra",
    "root_matrix",
    "root_terms",
    "smoothest_spectrum",
    "srgb_to_lab",
    "viewing",
    "xyz",
    "xyz_to_lab",
    "xyz_to_lab_slopes",
    "xyz_to_srgb",
]
