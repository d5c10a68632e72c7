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

SWATCH_COLUMNS = ("swatch", "base", "thickness_mm", "note")  # the rest are pigments
READING_COLUMNS = ("swatch", "backing", "seat", "quantity")  # the rest are wavelengths
NO_BACKING = "none"
QUANTITIES = ("reflectance", "transmittance")


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
    row : int
        Its row in swatches.csv, counted as a spreadsheet does [-].
    """

    name: str
    base: str
    thickness_mm: float
    loadings: dict[str, float]
    note: str = ""
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
        `reflectance` or `transmittance`.
    values : ndarray, shape (n_wavelengths,)
        On the folder's wavelengths [-].
    row : int
        Its row in readings.csv, counted as a spreadsheet does [-].
    """

    swatch: str
    backing: str
    seat: str
    quantity: str
    values: Array
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
    wavelengths : ndarray, shape (n_wavelengths,)
        The grid of every spectrum in the folder [nm].
    backings : dict of str to ndarray, shape (n_wavelengths,)
        Mean of the bare readings of each backing that has some [reflectance, 0 to 1].
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
    wavelengths: Array
    backings: Mapping[str, Array]
    swatches: tuple[Swatch, ...]
    readings: tuple[Reading, ...]
    warnings: tuple[Fault, ...]
    digest: str
