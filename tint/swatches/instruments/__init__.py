"""Files of instruments: CSV, CGATS.17, CxF3 and CxF/X-4, IES TM-27-14, read into one kind of measurement."""

from tint.swatches.instruments.measurement import SCALES, Measurement
from tint.swatches.instruments.recognise import FORMATS, parse_measurements, read_measurements

__all__ = ["FORMATS", "SCALES", "Measurement", "parse_measurements", "read_measurements"]
