"""What a swatch folder holds once it is read: swatches, readings, and the folder that keeps them together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from tint.errors import Fault
from tint.materials import Base, Blend, Instrument, Pigment
from tint.spectra import Array

PALETTE_FILE = "palette.toml"
SWATCHES_FILE = "swatches.csv"
READINGS_FILE = "readings.csv"
INPUT_FILES = (PALETTE_FILE, SWATCHES_FILE, READINGS_FILE)

SWATCH_COLUMNS = ("swatch", "base", "thickness_mm", "note", "cure_c", "days", "mould", "finish", "lot", "haze_percent")
# ... the rest are pigments
READING_COLUMNS = ("swatch", "backing", "seat", "quantity", "source")  # the rest are wavelengths, or ...
COLOUR_COLUMNS = ("L", "a", "b")  # ... these three, where a colorimeter or a photograph tells no more
NO_BACKING = "none"
REGULAR = "regular transmittance"  # within 2.5 degrees of the beam that came in
THROUGH = ("transmittance", REGULAR)  # read with nothing behind
QUANTITIES = ("reflectance", *THROUGH)
HAZEMETER = "hazemeter"  # the source of a reading that a fit makes of a casting's haze
SPECTRA, COLOURS = "spectra", "colours"
PHOTOGRAPH = "photograph"
COLOUR_GRID_NM = tuple(float(nm) for nm in range(400, 701, 10))  # on which a folder of colours is fitted


@dataclass(frozen=True, kw_only=True)
class Conditions:
    """How a casting was cured and kept: what its colour and gloss hold for. What nobody wrote is None or empty."""

    cure_c: float | None = None  # temperature of the cure [degrees Celsius]
    days: float | None = None  # from the end of the cure to the reading [days]
    # mould, finish: what the mould is made of, and the surface that the casting was read on
    mould: str = ""
    finish: str = ""
    lot: str = ""  # lot of the base


@dataclass(frozen=True, kw_only=True)
class Swatch:
    """A cast, cured sample of a known blend and thickness."""

    # name, base: its own name, and that of the base it was cast in
    name: str
    base: str
    thickness_mm: float  # [mm]
    # percent of each pigment in it [% by mass of the finished mix]; a pigment that is not in it is absent
    loadings: dict[str, float]
    note: str = ""
    conditions: Conditions = Conditions()
    haze: float | None = None  # as a hazemeter reads it, of ASTM D1003 [0 to 1]
    row: int  # its row in swatches.csv, counted as a spreadsheet does [-]

    @property
    def blend(self) -> Blend:
        """What it was cast from."""
        return Blend(self.base, self.loadings)


@dataclass(frozen=True, kw_only=True, eq=False)
class Reading:
    """One spectrum measured on a swatch; replicates are readings of their own."""

    swatch: str  # name of the swatch
    backing: str  # name of the backing behind it, or `none`
    seat: str  # `air` or `wet`; `air` where there is no backing
    quantity: str  # `reflectance`, `transmittance` (total) or `regular transmittance`
    # shape (n_wavelengths,) or (3,), on the folder's wavelengths [-]; L*, a*, b* in a folder of colours [-]
    values: Array
    source: str = ""  # `photograph`, or empty for what an instrument read
    row: int  # its row in readings.csv, counted as a spreadsheet does [-]


@dataclass(frozen=True, kw_only=True, eq=False)
class SwatchFolder:
    """A swatch folder without grave faults."""

    path: Path  # where it was read
    name: str  # what its owner calls it
    instrument: Instrument  # how the readings were taken
    # bases, pigments: by name, in the order of palette.toml
    bases: Mapping[str, Base]
    pigments: Mapping[str, Pigment]
    kind: str = SPECTRA  # `spectra` or `colours`: what its readings are
    # shape (n_wavelengths,), the grid of every spectrum in the folder; of a folder of colours, the one that it is
    # fitted on [nm]
    wavelengths: Array
    # shape (n_wavelengths,) or (3,), mean of the bare readings of each backing that has some [reflectance, 0 to 1, or
    # L*, a*, b*]
    backings: Mapping[str, Array]
    bare: Mapping[str, tuple[Reading, ...]]  # those readings one by one; their `swatch` is blank
    # swatches, readings: in the order of their files
    swatches: tuple[Swatch, ...]
    readings: tuple[Reading, ...]
    warnings: tuple[Fault, ...]  # what is thin or odd in the folder, though it can be used
    digest: str  # as of `folder_digest`, of the very bytes that were read
