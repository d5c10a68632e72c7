"""A photograph of castings beside a 24-patch chart: their colours, with the error that the chart itself shows."""

from tint.photographs.colours import Photographed, chart_reference, photograph
from tint.photographs.picture import Picture, read_picture
from tint.photographs.places import Spot, find_arrangement, locate
from tint.photographs.tables import photo_readings, repeatability

__all__ = [
    "Photographed",
    "Picture",
    "Spot",
    "chart_reference",
    "find_arrangement",
    "locate",
    "photo_readings",
    "photograph",
    "read_picture",
    "repeatability",
]
