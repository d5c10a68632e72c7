"""A photograph of castings beside a 24-patch chart: their colours, with the error that the chart itself shows."""

from tint.photographs.colours import Photographed, SpotColour, chart_reference, photograph
from tint.photographs.picture import Picture, read_picture
from tint.photographs.places import Places, Spot, find_arrangement, locate
from tint.photographs.squares import Found, Square, by_squares
from tint.photographs.tables import PhotoReading, photo_readings, read_squares, repeatability

__all__ = [
    "Found",
    "PhotoReading",
    "Photographed",
    "Picture",
    "Places",
    "Spot",
    "SpotColour",
    "Square",
    "by_squares",
    "chart_reference",
    "find_arrangement",
    "locate",
    "photo_readings",
    "photograph",
    "read_picture",
    "read_squares",
    "repeatability",
]
