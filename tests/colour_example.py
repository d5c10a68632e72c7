"""A small good swatch folder of colours (invented)."""

from __future__ import annotations

from folder_example import PALETTE, SWATCHES, Change, Files, every, raw, replace

COLOUR_PALETTE = PALETTE.replace('geometry = "di:8"\n', 'geometry = "di:8"\nlight = "D50"\nobserver = 2\n')
COLOUR_READINGS = """\
swatch,backing,seat,quantity,source,L,a,b
black,,,,,24.31,0.12,-0.40
white,,,,,95.02,-0.61,1.85
white,,,,,95.06,-0.59,1.87
clear-2,black,air,,,37.5,0.1,-1.2
clear-2,white,air,,,91.2,0.3,2.4
clear-4,black,wet,reflectance,,29.1,0.2,-1.4
clear-4,white,wet,,,87.4,0.4,3.1
milky-2,black,air,,,61.2,-0.5,-3.1
milky-2,white,air,,,81.7,0.2,0.4
yellow-1,black,air,,photograph,47.76,-4.1,38.35
yellow-1,white,air,,photograph,74.15,2.05,61.2
yellow-2,black,air,,,45.2,-3.1,40.6
yellow-2,white,air,,,72.1,3.6,68.8
blue-1,black,air,,,31.2,2.2,-18.9
blue-1,white,air,,,44.6,-3.4,-31.4
green-1,black,air,,,40.4,-18.1,12.2
green-1,white,air,,,46.9,-22.7,16.6
"""


def colour_files() -> Files:
    texts = {"palette.toml": COLOUR_PALETTE, "swatches.csv": SWATCHES, "readings.csv": COLOUR_READINGS}
    return {file: text.encode() for file, text in texts.items()}


def with_colours(change: Change) -> Files:
    files = colour_files()
    change(files)
    return files


def readings(text: str) -> Change:
    """Another readings.csv."""
    return raw("readings.csv", text.encode())


def without(*keys: str) -> Change:
    """Palette.toml without some of its keys."""
    lines = {key: next(each for each in COLOUR_PALETTE.splitlines() if each.startswith(f"{key} =")) for key in keys}
    return every(*(replace("palette.toml", f"{line}\n", "") for line in lines.values()))
