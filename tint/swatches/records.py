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
    """How a casting was cured and kept: what its colour and gloss hold for. What nobody wrote is None or empty.

    Parameters
    ----------
    cure_c : float, optional
        Temperature of the cure [degrees Celsius].
    days : float, optional
        From the end of the cure to the reading [days].
    mould, finish : str
        What the mould is made of, and the surface that the casting was read on.
    lot : str
        Lot of the base.
    """

    cure_c: float | None = None
    days: float | None = None
    mould: str = ""
    finish: str = ""
    lot: str = ""


@dataclass(frozen=True, kw_only=True)
class Swatch:
    """A cast, cured sample of a known blend and thickness.

    Parameters
    ----------
    name, base : str
        Its own name, and that of the base it was cast in.
    thickness_mm : float
        [mm]
    loadings : dict of str to float
        Percent of each pigment in it [% by mass of the finished mix]; a pigment that is not in it is absent.
    haze : float, optional
        As a hazemeter reads it, of ASTM D1003 [0 to 1].
    row : int
        Its row in swatches.csv, counted as a spreadsheet does [-].
    """

    name: str
    base: str
    thickness_mm: float
    loadings: dict[str, float]
    note: str = ""
    conditions: Conditions = Conditions()
    haze: float | None = None
    row: int

    @property
    def blend(self) -> Blend:
        """What it was cast from."""
        return Blend(self.base, self.loadings)


@dataclass(frozen=True, kw_only=True, eq=False)
class Reading:
    """One spectrum measured on a swatch; replicates are readings of their own.

    Parameters
    ----------
    swatch : str
        Name of the swatch.
    backing : str
        Name of the backing behind it, or `none`.
    seat : str
        `air` or `wet`; `air` where there is no backing.
    quantity : str
        `reflectance`, `transmittance` (total) or `regular transmittance`.
    values : ndarray, shape (n_wavelengths,) or (3,)
        On the folder's wavelengths [-]; L*, a*, b* in a folder of colours [-].
    source : str
        `photograph`, or empty for what an instrument read.
    row : int
        Its row in readings.csv, counted as a spreadsheet does [-].
    """

    swatch: str
    backing: str
    seat: str
    quantity: str
    values: Array
    source: str = ""
    row: int


@dataclass(frozen=True, kw_only=True, eq=False)
class SwatchFolder:
    """A swatch folder without grave faults.

    Parameters
    ----------
    path : Path
        Where it was read.
    name : str
        What its owner calls it.
    instrument : Instrument
        How the readings were taken.
    bases, pigments : dict
        By name, in the order of palette.toml.
    kind : str
        `spectra` or `colours`: what its readings are.
    wavelengths : ndarray, shape (n_wavelengths,)
        The grid of every spectrum in the folder; of a folder of colours, the one that it is fitted on [nm].
    backings : dict of str to ndarray, shape (n_wavelengths,) or (3,)
        Mean of the bare readings of each backing that has some [reflectance, 0 to 1, or L*, a*, b*].
    bare : dict of str to tuple of Reading
        Those readings one by one; their `swatch` is blank.
    swatches, readings : tuple
        In the order of their files.
    warnings : tuple of Fault
        What is thin or odd in the folder, though it can be used.
    digest : str
        As of `folder_digest`, of the very bytes that were read.
    """

    path: Path
    name: str
    instrument: Instrument
    bases: Mapping[str, Base]
    pigments: Mapping[str, Pigment]
    kind: str = SPECTRA
    wavelengths: Array
    backings: Mapping[str, Array]
    bare: Mapping[str, tuple[Reading, ...]]
    swatches: tuple[Swatch, ...]
    readings: tuple[Reading, ...]
    warnings: tuple[Fault, ...]
    digest: str
