"""Photographs whose truth is known: castings, two cards and a 24-patch chart, rendered from their spectra.

A scene is a large white card; on it lie the chart and a strip of black card, and the castings over both. Light falls
on it, a lens darkens it towards the edges and veils it, a camera sees it by three sensitivities, a maker's matrix and
tone curve make it a picture, noise and JPEG go over it. Nothing of tint is used: colours are integrated here, by
colour-science's tables.
"""

from __future__ import annotations

import functools
import io
import warnings
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

Array = NDArray[np.float64]

WAVELENGTHS = np.arange(400.0, 701.0, 10.0)
WIDE, HIGH = 400.0, 280.0  # the scene [mm]
# Measured charts of 4 by 6 patches, by their keys in colour-science: the mean of thirty that tint takes for granted,
# another print of the same colours, the one of a standard, and one of other colours.
CHARTS = {
    "usual": "BabelColor Average", "another print": "ColorChecker N Ohta", "a standard's": "ISO 17321-1",
    "other colours": "PMC",
}  # fmt: skip
CHART_AT, PITCH, PATCH = np.array([150.0, 30.0]), 20.0, 17.0  # middle of the first patch, and sizes [mm]
CASTING, APART = 20.0, 30.0
ROWS_AT = {"black": 185.0, "white": 240.0}  # y of the castings over each card
WHITE_PLACES = [
    (20, 20),
    (110, 60),
    (280, 20),
    (380, 20),
    (20, 130),
    (200, 130),
    (380, 130),
    (20, 265),
    (200, 265),
    (380, 265),
]
# Peaks and widths of invented sensitivities [nm], of red, green and blue.
INVENTED = {
    "parted": ((605.0, 32.0), (535.0, 38.0), (455.0, 26.0)),
    "close": ((588.0, 40.0), (545.0, 45.0), (462.0, 30.0)),
    "phone": ((596.0, 36.0), (527.0, 43.0), (459.0, 33.0)),
    "wide": ((600.0, 48.0), (540.0, 52.0), (450.0, 36.0)),
    "narrow": ((615.0, 22.0), (530.0, 26.0), (450.0, 18.0)),
}
MEASURED = {"first": "Nikon 5100 (NPL)", "second": "Sigma SDMerill (NPL)"}  # as colour-science ships them


@dataclass(frozen=True, kw_only=True)
class Shot:
    """How a photograph is taken.

    Parameters
    ----------
    camera, light, chart
        Names of sensitivities, of a CIE light, and of chart spectra in colour-science.
    exposure
        What a perfect white is of the sensor's range, in the middle of the picture [-].
    fall, vignette
        Share by which light falls from the left edge to the right, and by which the lens darkens corners [0 to 1].
    flare
        Veiling light, as a share of the picture's mean [0 to 1].
    noise
        Standard deviation of a pixel at the top of the range; it falls with the root of light [-].
    contrast
        Of the camera's curve, on top of sRGB; 0 for none [-].
    coding
        "srgb" or "straight": in proportion to light.
    slant
        Perspective, 0 from straight above [-].
    quality
        Of JPEG; 0 keeps the picture without loss.
    pixels_per_mm
        Size.
    seed
        Of noise.
    """

    camera: str = "parted"
    light: str = "D65"
    chart: str = "usual"
    exposure: float = 0.9
    fall: float = 0.0
    vignette: float = 0.0
    flare: float = 0.0
    noise: float = 0.01
    contrast: float = 0.0
    coding: str = "srgb"
    slant: float = 0.05
    quality: int = 92
    pixels_per_mm: float = 3.0
    seed: int = 1


@dataclass(frozen=True, kw_only=True)
class Photograph:
    """A picture, where things are in it [px], and the spectra of the castings over each card."""

    pixels: NDArray[np.uint8]
    corners: Array
    black: Array
    white: Array
    card: Array
    data: bytes


@functools.cache
def _colour() -> Any:
    with warnings.catch_warnings(), np.printoptions():
        warnings.simplefilter("ignore")
        import colour
    return colour


def chart_spectra(name: str) -> Array:
    patches = list(_colour().SDS_COLOURCHECKERS[CHARTS[name]].values())
    return np.array([np.interp(WAVELENGTHS, patch.wavelengths, patch.values) for patch in patches])


def sensitivities(camera: str) -> Array:
    if camera in INVENTED:
        return np.stack([np.exp(-0.5 * ((WAVELENGTHS - at) / wide) ** 2) for at, wide in INVENTED[camera]], axis=-1)
    known = _colour().MSDS_CAMERA_SENSITIVITIES[MEASURED[camera]]
    return np.stack([np.interp(WAVELENGTHS, known.wavelengths, each, right=0.0) for each in known.values.T], axis=-1)


def light_power(light: str) -> Array:
    known = _colour().SDS_ILLUMINANTS[light]
    return np.asarray(np.interp(WAVELENGTHS, known.wavelengths, known.values), dtype=np.float64)


def true_lab(spectra: Array, light: str = "D65", observer: int = 10) -> Array:
    """CIELAB of spectra, by sums over 1 nm of what is drawn smoothly between the readings."""
    from scipy.interpolate import CubicSpline

    colour = _colour()
    name = f"CIE {1964 if observer == 10 else 1931} {observer} Degree Standard Observer"
    fine = np.arange(360.0, 781.0)
    observers = colour.MSDS_CMFS[name]
    matching = np.stack([np.interp(fine, observers.wavelengths, each) for each in observers.values.T], axis=-1)
    lamp = colour.SDS_ILLUMINANTS[light]
    power = np.interp(fine, lamp.wavelengths, lamp.values)[:, None] * matching
    drawn = CubicSpline(WAVELENGTHS, spectra, axis=-1)(np.clip(fine, 400.0, 700.0))
    white = power.sum(axis=0)
    xyz = drawn @ power / white[1]
    xy = white[:2] / white.sum()
    return np.asarray(colour.XYZ_to_Lab(xyz, xy), dtype=np.float64)


def _perspective(slant: float) -> Array:
    return np.array(
        [[1.0, 0.35 * slant, 0.0], [-0.1 * slant, 1.0, 0.0], [0.5 * slant / WIDE, -0.6 * slant / HIGH, 1.0]]
    )


def _placed(points: Array, shot: Shot) -> Array:
    lifted = np.concatenate((points, np.ones((len(points), 1))), axis=-1) @ _perspective(shot.slant).T
    return shot.pixels_per_mm * lifted[:, :2] / lifted[:, 2:] * 0.95


@functools.lru_cache(maxsize=8)
def _materials(castings: int, slant: float, pixels_per_mm: float) -> NDArray[np.intp]:
    """What lies at each pixel: 0 white card, 1 black card, 2 the chart's frame, 3.. patches, 27.. castings."""
    width, height = (int(side * pixels_per_mm) for side in (WIDE, HIGH))
    x, y = np.meshgrid(np.arange(width) + 0.0, np.arange(height) + 0.0)
    back = np.linalg.inv(_perspective(slant))
    lifted = np.stack((x, y, np.full_like(x, 0.95 * pixels_per_mm)), axis=-1) @ back.T
    at = lifted[..., :2] / lifted[..., 2:]
    found = np.zeros(x.shape, dtype=np.intp)

    def lay(middle: tuple[float, float], size: tuple[float, float], what: int) -> None:
        inside = (np.abs(at - np.array(middle)) <= 0.5 * np.array(size)).all(axis=-1)
        found[inside] = what

    lay((WIDE / 2, ROWS_AT["black"]), (WIDE, 44.0), 1)
    first = CHART_AT
    lay((first[0] + 2.5 * PITCH, first[1] + 1.5 * PITCH), (6.4 * PITCH, 4.4 * PITCH), 2)
    for patch in range(24):
        lay((first[0] + patch % 6 * PITCH, first[1] + patch // 6 * PITCH), (PATCH, PATCH), 3 + patch)
    for each in range(castings):
        for row, height_at in enumerate(ROWS_AT.values()):
            lay((30.0 + APART * each, height_at), (CASTING, CASTING), 27 + 2 * each + row)
    return found


def photograph(shot: Shot, *, over_black: Array, over_white: Array, cards: tuple[Array, Array]) -> Photograph:
    """Photograph up to twelve castings, shape (n, 31) over each card; `cards` are the black and the white one."""
    rng = np.random.default_rng(shot.seed)
    frame = np.full((1, WAVELENGTHS.size), 0.035)
    castings = np.stack((over_black, over_white), axis=1).reshape(-1, WAVELENGTHS.size)
    stuff = np.concatenate((cards[1][None], cards[0][None], frame, chart_spectra(shot.chart), castings))
    sees = sensitivities(shot.camera) * light_power(shot.light)[:, None]
    raw = (stuff @ sees) / sees.sum(axis=0)
    scene = raw[_materials(len(over_black), shot.slant, shot.pixels_per_mm)] * _light(shot)[..., None]
    scene = shot.exposure * (scene + shot.flare * scene.mean(axis=(0, 1)))
    scene = scene + shot.noise * np.sqrt(np.maximum(scene, 1e-3)) * rng.standard_normal(scene.shape)
    coded = _coded(np.clip(scene, 0.0, 1.0) @ _makers_matrix(shot), shot)
    pixels = np.rint(255.0 * coded).astype(np.uint8)
    pixels, data = _filed(pixels, shot.quality)
    at = np.array([30.0 + APART * each for each in range(len(over_black))])
    rows = {name: np.stack((at, np.full_like(at, y)), axis=-1) for name, y in ROWS_AT.items()}
    corners = CHART_AT + PITCH * np.array([[0, 0], [5, 0], [5, 3], [0, 3]])
    return Photograph(
        pixels=pixels,
        corners=_placed(corners, shot),
        black=_placed(rows["black"], shot),
        white=_placed(rows["white"], shot),
        card=_placed(np.array(WHITE_PLACES, dtype=float), shot),
        data=data,
    )


def _light(shot: Shot) -> Array:
    width, height = (int(side * shot.pixels_per_mm) for side in (WIDE, HIGH))
    x, y = np.meshgrid(np.linspace(-1, 1, width), np.linspace(-1, 1, height) * HIGH / WIDE)
    corner = 1.0 + (HIGH / WIDE) ** 2
    return np.asarray((1.0 - 0.5 * shot.fall * (x + 1.0)) * (1.0 - shot.vignette * (x * x + y * y) / corner))


@functools.cache
def _makers_matrix(shot: Shot) -> Array:
    """What a camera's maker would have chosen: least squares over the chart, white staying white; to linear sRGB."""
    sees = sensitivities(shot.camera) * light_power(shot.light)[:, None]
    spectra = chart_spectra("a standard's")
    raw = (spectra @ sees) / sees.sum(axis=0)
    colour = _colour()
    lab = true_lab(spectra, "D65", 2)
    linear = colour.XYZ_to_RGB(
        colour.Lab_to_XYZ(lab, colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]), "sRGB"
    )
    found = np.linalg.lstsq(raw, linear, rcond=None)[0]
    return np.asarray(found / found.sum(axis=0))


def _coded(linear: Array, shot: Shot) -> Array:
    linear = np.clip(linear, 0.0, 1.0)
    if shot.coding == "straight":
        return linear
    coded = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    # A contrast curve as camera makers like it: steeper in the middle, flat at the ends.
    return np.asarray(np.clip(coded + shot.contrast * np.sin(2 * np.pi * (coded - 0.5)) / (2 * np.pi), 0.0, 1.0))


def _filed(pixels: NDArray[np.uint8], quality: int) -> tuple[NDArray[np.uint8], bytes]:
    held = io.BytesIO()
    image = Image.fromarray(pixels)
    image.save(held, **({"format": "JPEG", "quality": quality} if quality else {"format": "PNG"}))
    with Image.open(io.BytesIO(held.getvalue())) as again:
        return np.asarray(again.convert("RGB")), held.getvalue()
