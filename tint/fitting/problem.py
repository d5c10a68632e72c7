"""A swatch folder as arrays."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint.fitting.priors import AnisotropyPrior, anisotropy_prior
from tint.forward import FREE, REGULAR, TRANSMITTANCE, Readings
from tint.materials import Instrument
from tint.optics.layer import Optics
from tint.optics.surface import Faces, common, faces, word_for
from tint.spectra import Array
from tint.swatches import Reading, Swatch, SwatchFolder, records

Index = NDArray[np.int64]

# Standard deviation of a rubber's index about what is stated: published values of one and the same rubber run from
# 1.397 to 1.434 at 550 nm, a spread of 0.012.
INDEX_SD = 0.012
# Standard deviation of what a spot really loses about what sharp discs of the stated sizes would, as a share: sizes are
# stated to some 0.3 of 8 mm, and discs have soft edges (common practice, no source).
SPOT_SD = 0.1
# Of a hazemeter's number, and of what the model makes of a beam (tests/figures/clarity.py): 0.5 % of haze is common
# practice, no source.
HAZE_SD = 0.006
_THROUGH = {"transmittance": TRANSMITTANCE, records.REGULAR: REGULAR}


@dataclass(frozen=True, eq=False)
class Problem:
    """What was cast and read."""

    names: tuple[str, ...]  # of the castings that were read
    loadings: Array  # shape (n_castings, n_pigments): as written [%]
    base: Index  # shape (n_castings,): number of each casting's base
    thickness: Array  # shape (n_castings,): as written [mm]
    dosed: Index  # shape (n_castings, n_slots - 1): which pigment each dose is of; any for an empty slot
    dose: Array  # shape (n_castings, n_slots - 1): as written; 0 for an empty slot [%]
    readings: Readings  # casting after casting
    read: Array  # shape (n_readings, n_wavelengths)
    optics: tuple[Optics, ...]  # one a base
    anisotropy: AnisotropyPrior
    instrument: Instrument
    index_sd: float
    wavelengths: Array  # shape (n_wavelengths,) [nm]
    # shape (n_hazes,): which readings stand for the haze of a casting (`tint.fitting.rounds`), and those hazes [-]
    haze_rows: Index
    haze: Array

    @property
    def noise(self) -> Array:
        """Standard deviation of every reading, the model's own error apart, shape (n_readings, 1)."""
        each = np.full((len(self.read), 1), self.instrument.noise)
        each[self.haze_rows] = HAZE_SD * np.sqrt(self.n_wavelengths)
        return each

    @property
    def n_components(self) -> int:
        return len(self.optics) + int(self.loadings.shape[1])

    @property
    def n_wavelengths(self) -> int:
        return int(self.read.shape[1])

    @property
    def n_slots(self) -> int:
        return 1 + int(self.dose.shape[1])

    @property
    def used(self) -> NDArray[np.bool_]:
        """Which slots of every casting hold an unknown, shape (n_castings, n_slots)."""
        return np.concatenate((np.ones((self.thickness.size, 1), bool), self.dose > 0.0), axis=1)

    @property
    def largest_depth(self) -> Array:
        """Largest share times thickness at which each component was cast, shape (n_components,) [mm, or mm %]."""
        bare = [np.max(self.thickness, initial=0.0, where=self.base == at) for at in range(len(self.optics))]
        dosed = np.max(self.loadings * self.thickness[:, None], axis=0, initial=0.0)
        return np.concatenate((bare, dosed))

    @property
    def first(self) -> Index:
        """The first reading of every casting."""
        return np.unique(self.readings.casting, return_index=True)[1]


def lay_out(folder: SwatchFolder, optics: tuple[Optics, ...], *, g: float | None = None) -> Problem:
    """A folder as arrays; castings without a reading are left out.

    `optics` is one a base; `g` one anisotropy for all, held fixed.
    """
    has = {reading.swatch for reading in folder.readings}
    swatches = [swatch for swatch in folder.swatches if swatch.name in has]
    pigments, bases = tuple(folder.pigments), tuple(folder.bases)
    loadings = np.array([[s.loadings.get(p, 0.0) for p in pigments] for s in swatches], dtype=float)
    loadings = loadings.reshape(len(swatches), len(pigments))
    number = {swatch.name: at for at, swatch in enumerate(swatches)}
    backing_number = {name: at for at, name in enumerate(folder.backings)} | {"none": FREE}
    rows = in_order(folder)
    hazes = {swatch.name: swatch.haze for swatch in swatches}
    base = np.array([bases.index(s.base) for s in swatches], dtype=np.int64)
    casting = np.array([number[r.swatch] for r in rows], dtype=np.int64)
    dosed = _dosed(loadings)
    fitted = optics[0].model == "many-flux" and g is None
    return Problem(
        names=tuple(number),
        loadings=loadings,
        base=base,
        thickness=np.array([s.thickness_mm for s in swatches]),
        dosed=dosed,
        dose=np.take_along_axis(loadings, dosed, axis=1),
        readings=Readings(
            casting=casting,
            backing=np.array(
                [_THROUGH.get(r.quantity, backing_number[r.backing]) for r in rows],
                dtype=np.int64,
            ),
            wet=np.array([r.seat == "wet" for r in rows]),
            base=base[casting],
            backings=np.array(list(folder.backings.values())).reshape(-1, folder.wavelengths.size),
            faces=_rough_faces(swatches, casting, base, folder, optics),
        ),
        read=np.array([r.values for r in rows]),
        optics=optics,
        anisotropy=anisotropy_prior(folder.bases.values(), folder.pigments.values(), folder.wavelengths, g=g),
        instrument=folder.instrument,
        index_sd=INDEX_SD if fitted else 0.0,
        wavelengths=folder.wavelengths,
        haze_rows=np.flatnonzero([r.source == records.HAZEMETER for r in rows]),
        haze=np.array([hazes[r.swatch] for r in rows if r.source == records.HAZEMETER], dtype=float),
    )


def _rough_faces(
    swatches: list[Swatch], casting: Index, base: Index, folder: SwatchFolder, optics: tuple[Optics, ...]
) -> tuple[tuple[Index, Faces], ...]:
    """Readings of castings whose faces are not smooth, by base and finish; where none is written, as the others'."""
    written = {name: common(s.conditions.finish for s in swatches if s.base == name) for name in folder.bases}
    words = np.array([word_for(s.conditions.finish or written[s.base]) for s in swatches])
    told = []
    for word, number in itertools.product(np.unique(words).tolist(), range(len(optics))):
        rubber = optics[number]
        rough = faces(word, folder.wavelengths, geometry=rubber.geometry, refractive_index=rubber.refractive_index)
        rows = np.flatnonzero((words == word)[casting] & (base[casting] == number))
        if rough is not None and rows.size:
            told.append((rows, rough))
    return tuple(told)


def in_order(folder: SwatchFolder) -> list[Reading]:
    """The readings, swatch after swatch."""
    number = {swatch.name: at for at, swatch in enumerate(folder.swatches)}
    return sorted(folder.readings, key=lambda reading: number[reading.swatch])


def _dosed(loadings: Array) -> Index:
    has = loadings > 0.0
    n_doses = int(has.sum(axis=1).max(initial=0))
    return np.argsort(~has, axis=1, kind="stable")[:, :n_doses].astype(np.int64)
