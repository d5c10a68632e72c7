"""Files of instruments: tables, workbooks, CGATS.17, CxF, TM-27-14, JCAMP-DX, read into one kind of measurement."""

from tint.swatches.instruments.measurement import Measurement
from tint.swatches.instruments.recognise import (
    FORMATS,
    SCALES,
    Given,
    all_measurements,
    parse_measurements,
    read_measurements,
)

__all__ = ["FORMATS", "SCALES", "Given", "Measurement", "all_measurements", "parse_measurements", "read_measurements"]
