"""Pour the invented demo swatches: the workshop, its instrument and the two tables of this folder.

Everything here is invented: the studio, its pastes, their spectra and every reading. No real silicone,
pigment or firm is described. stock.py holds the colours; slab.py lets iadpython compute the castings, because
it shares no code with tint: what tint learns here it learns from other physics.

Run `python swatches_demo/pour.py [FOLDER]` to write swatches.csv and readings.csv again, from plan.txt.
palette.toml is kept by hand.
"""

from __future__ import annotations

import csv
import sys
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from slab import slab_terms
from stock import BACKINGS, BASES, PIGMENTS, WAVELENGTHS, coefficients

Array = NDArray[np.float64]

FOLDER = Path(__file__).resolve().parent
SEED = 20


@dataclass(frozen=True, kw_only=True)
class Workshop:
    """How well the studio works, as standard deviations, and what it gets wrong throughout.

    Attributes
    ----------
    repeatability
        Of each value of a reading [reflectance].
    drift
        Common to all values of one reading [share].
    thickness_mm
        Of a thickness reading [mm].
    mould_mm
        Of a mould's depth [mm].
    dose_percent
        Of a pigment's dose [percent of the dose].
    index_offset
        The rubber's refractive index less the one in palette.toml [-].
    back_lobe
        Share of the scattered light that is thrown backwards, at the same mean cosine [0 to 1].
    """

    repeatability: float = 0.001
    drift: float = 0.0005
    thickness_mm: float = 0.03
    mould_mm: float = 0.05
    dose_percent: float = 0.5
    index_offset: float = 0.0
    back_lobe: float = 0.0


STUDIO = Workshop()


@dataclass(frozen=True, kw_only=True)
class Casting:
    """A casting's written thickness [mm] and its reflectance and transmittance, shape (wavelengths,).

    `none` is its reflectance before a light trap, `transmittance` the whole of the light that comes through.
    """

    thickness: float
    black: Array
    white: Array
    none: Array
    transmittance: Array


def cast(
    base: str,
    loadings: Mapping[str, float],
    thickness_mm: float,
    *,
    seat: str = "air",
    rng: np.random.Generator | None = None,
    workshop: Workshop = STUDIO,
) -> Casting:
    """Pour one casting and say exactly what it does to light.

    Parameters
    ----------
    base, loadings
        The blend [percent by mass of the mix].
    thickness_mm
        Depth of the mould [mm].
    seat
        How it lies on the backings, "air" or "wet".
    rng
        The workshop's luck; None works without error: the blend and the thickness are those asked for.
    workshop
        How large its errors are. `index_offset` and `back_lobe` hold even without luck.
    """
    thickness, written, doses = thickness_mm, thickness_mm, dict(loadings)
    if rng is not None:
        thickness += workshop.mould_mm * rng.standard_normal()
        written = round(thickness + workshop.thickness_mm * rng.standard_normal(), 2)
        doses = {k: c * (1 + workshop.dose_percent / 100 * rng.standard_normal()) for k, c in doses.items()}
    mu_a, mu_s, phase = coefficients(base, doses, back_lobe=workshop.back_lobe)
    n = BASES[base].n + workshop.index_offset
    seated = free = slab_terms(mu_a * thickness, mu_s * thickness, phase=phase, n=n)
    if seat == "wet":
        seated = slab_terms(mu_a * thickness, mu_s * thickness, phase=phase, n=n, seat="wet")
    return Casting(
        thickness=written,
        black=seated.over(BACKINGS["black"]),
        white=seated.over(BACKINGS["white"]),
        none=free.r1,
        transmittance=free.t1,
    )


def read(spectrum: Array, *, rng: np.random.Generator | None, workshop: Workshop = STUDIO) -> Array:
    """Read a spectrum with the instrument: a common gain, then noise at each wavelength; never below zero."""
    if rng is None:
        return spectrum
    gain = 1 + workshop.drift * rng.standard_normal()
    return np.maximum(gain * spectrum + workshop.repeatability * rng.standard_normal(spectrum.shape), 0.0)


def pour(
    base: str,
    loadings: Mapping[str, float],
    thickness_mm: float,
    *,
    seat: str = "air",
    rng: np.random.Generator | None = None,
    workshop: Workshop = STUDIO,
) -> Casting:
    """Pour one casting and read it once in each way; the arguments are those of `cast`."""
    exact = cast(base, loadings, thickness_mm, seat=seat, rng=rng, workshop=workshop)
    black, white, none, transmittance = (
        read(spectrum, rng=rng, workshop=workshop)
        for spectrum in (exact.black, exact.white, exact.none, exact.transmittance)
    )
    return Casting(thickness=exact.thickness, black=black, white=white, none=none, transmittance=transmittance)


@dataclass(frozen=True, kw_only=True)
class Order:
    """One line of plan.txt: what to pour, and how often to read it over each backing."""

    name: str
    base: str
    mould_mm: float
    loadings: dict[str, float]
    readings: int = 1
    transmittance: bool = False
    note: str = ""


def plan(path: Path = FOLDER / "plan.txt") -> list[Order]:
    """Read the plan: `name base mm [pigment=percent ...] [xN] [T] [# note]`, a line a casting."""
    lines = path.read_text(encoding="utf-8").splitlines()
    return [_order(line) for line in lines if line.partition("#")[0].strip()]


def _order(line: str) -> Order:
    order, _, note = line.partition("#")
    name, base, mould, *rest = order.split()
    doses = (word.partition("=") for word in rest if "=" in word)
    return Order(
        name=name,
        base=base,
        mould_mm=float(mould),
        loadings={pigment: float(percent) for pigment, _, percent in doses},
        readings=next((int(word[1:]) for word in rest if word[0] == "x"), 1),
        transmittance="T" in rest,
        note=note.strip(),
    )


def fill(order: Order, *, seed: int = SEED, workshop: Workshop = STUDIO) -> tuple[list[str], list[list[str]]]:
    """Pour an order; returns its row of swatches.csv and its rows of readings.csv.

    Its luck hangs on the seed and its own name: a new line in the plan leaves every other casting as it was.
    """
    rng = np.random.default_rng([seed, zlib.crc32(order.name.encode())])
    exact = cast(order.base, order.loadings, order.mould_mm, rng=rng, workshop=workshop)
    doses = [f"{order.loadings[pigment]:g}" if pigment in order.loadings else "" for pigment in PIGMENTS]
    swatch = [order.name, order.base, f"{exact.thickness:.2f}", *doses, order.note]
    rows = [("black", "", exact.black), ("white", "", exact.white)] * order.readings
    if order.transmittance:
        rows += [("none", "", exact.none), ("none", "transmittance", exact.transmittance)]
    return swatch, [
        [order.name, backing, "air", quantity, *_printed(read(spectrum, rng=rng, workshop=workshop))]
        for backing, quantity, spectrum in rows
    ]


def _backing_rows(*, seed: int, workshop: Workshop) -> Iterator[list[str]]:
    """Three bare readings of each card."""
    rng = np.random.default_rng(seed)
    for name, spectrum in BACKINGS.items():
        for _ in range(3):
            yield [name, "", "", "", *_printed(read(spectrum, rng=rng, workshop=workshop))]


def _printed(spectrum: Array) -> list[str]:
    return [f"{value:.5f}" for value in spectrum]


def write_folder(folder: Path, *, seed: int = SEED, workshop: Workshop = STUDIO) -> None:
    """Pour the whole plan and write swatches.csv and readings.csv into an existing `folder`."""
    filled = [fill(order, seed=seed, workshop=workshop) for order in plan()]
    readings = [*_backing_rows(seed=seed, workshop=workshop), *(row for _, rows in filled for row in rows)]
    _write(folder / "swatches.csv", SWATCH_COLUMNS, [swatch for swatch, _ in filled])
    _write(folder / "readings.csv", READING_COLUMNS, readings)


SWATCH_COLUMNS = ["swatch", "base", "thickness_mm", *PIGMENTS, "note"]
READING_COLUMNS = ["swatch", "backing", "seat", "quantity", *(f"{w:.0f}" for w in WAVELENGTHS)]


def _write(path: Path, columns: list[str], rows: list[list[str]]) -> None:
    part = path.with_suffix(".part")
    with part.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file, lineterminator="\n").writerows([columns, *rows])
    part.replace(path)


def main() -> None:
    """Write the folder named on the command line, or this one."""
    write_folder(Path(sys.argv[1]) if len(sys.argv) > 1 else FOLDER)


if __name__ == "__main__":
    main()
