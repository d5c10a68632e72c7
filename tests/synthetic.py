"""A studio whose truth is known: swatches from invented k and s, with errors at will.

The castings are computed by the two-flux theory that `reference` writes down for itself; it shares no line with tint
and knows nothing of the anisotropies. Those of `of_bench` were poured by radiative transfer, once, by
`tests/figures/pour_studio.py`.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
import reference
from fits import fitted_once
from numpy.typing import NDArray

from tint.materials import Base, Blend, Instrument, Pigment
from tint.palette import Palette
from tint.swatches import NO_BACKING, Reading, Swatch, SwatchFolder

Array = NDArray[np.float64]

WAVELENGTHS = np.arange(400.0, 701.0, 20.0)
INSTRUMENT = Instrument(repeatability=0.001, thickness_error_mm=0.03, dose_error_percent=0.5)

_MIX: Mapping[str, float] = {"A": 1.0, "B": 1.0}
BASES = {
    "clear": Base(
        name="clear", cure="addition", density=1.08, refractive_index=1.41, max_loading=4.0, mix=_MIX, pigment_in="A"
    ),
    "milky": Base(
        name="milky", cure="condensation", density=1.2, refractive_index=1.43, max_loading=5.0, mix=_MIX, pigment_in="A"
    ),
}
PIGMENTS = {
    "white": Pigment(name="white", max_loading=3.0, density=4.0),
    "yellow": Pigment(name="yellow", max_loading=2.0),
    "blue": Pigment(name="blue", max_loading=1.0),
}

_AT = (WAVELENGTHS - 400.0) / 300.0
TRUE_K = np.stack(
    (
        0.004 + 0.004 * (1.0 - _AT),  # clear, 1/mm
        0.006 + 0.010 * (1.0 - _AT),  # milky
        0.010 + 0.15 * np.exp(-((_AT / 0.1) ** 2)),  # white, 1/mm per percent
        0.01 + 3.0 / (1.0 + np.exp((WAVELENGTHS - 500.0) / 12.0)),  # yellow
        0.3 + 5.0 * np.exp(-(((WAVELENGTHS - 610.0) / 60.0) ** 2)),  # blue
    )
)
TRUE_S = np.stack(
    (
        0.03 + 0.02 * (1.0 - _AT),
        0.25 + 0.10 * (1.0 - _AT),
        5.0 - 1.5 * _AT,
        1.2 - 0.4 * _AT,
        0.5 + 0.2 * _AT,
    )
)
TRUE_G = np.array([0.6, 0.6, 0.58, 0.68, 0.5])  # clear, milky, white, yellow, blue
BACKINGS = {"black": 0.045 + 0.005 * _AT, "white": 0.86 + 0.03 * _AT}


class Cast(NamedTuple):
    """What was poured."""

    name: str
    base: str
    thickness_mm: float
    loadings: dict[str, float]


CASTS = (
    Cast("clear-2", "clear", 2.0, {}),
    Cast("clear-6", "clear", 6.0, {}),
    Cast("white-a", "clear", 2.0, {"white": 0.1}),
    Cast("white-b", "clear", 3.0, {"white": 0.4}),
    Cast("white-c", "clear", 1.5, {"white": 1.0}),
    Cast("yellow-a", "clear", 2.0, {"yellow": 0.1}),
    Cast("yellow-b", "clear", 3.0, {"yellow": 0.4}),
    Cast("yellow-c", "clear", 2.0, {"yellow": 1.0}),
    Cast("blue-a", "clear", 2.0, {"blue": 0.05}),
    Cast("blue-b", "clear", 2.0, {"blue": 0.2}),
    Cast("blue-c", "clear", 3.0, {"blue": 0.5}),
    Cast("cream-a", "clear", 2.0, {"white": 0.5, "yellow": 0.1}),
    Cast("cream-b", "clear", 4.0, {"white": 0.2, "yellow": 0.2}),
    Cast("sky-a", "clear", 2.0, {"white": 0.5, "blue": 0.05}),
    Cast("sky-b", "clear", 3.0, {"white": 0.2, "blue": 0.1}),
    Cast("green", "clear", 2.0, {"yellow": 0.3, "blue": 0.05}),
    Cast("milky-2", "milky", 2.0, {}),
    Cast("milky-5", "milky", 5.0, {}),
    Cast("butter", "milky", 2.0, {"yellow": 0.3}),
    Cast("mist", "milky", 3.0, {"blue": 0.05}),
)


def spectrum(
    base: str,
    loadings: Mapping[str, float],
    *,
    thickness_mm: float,
    backing: str,
    seat: str = "air",
    quantity: str = "reflectance",
    geometry: str = "di:8",
) -> Array:
    """The true spectrum of a casting, shape (n_wavelengths,)."""
    weights = mixture(base, loadings)
    return reference.two_flux(
        weights @ TRUE_K,
        weights @ TRUE_S,
        thickness_mm,
        index=BASES[base].refractive_index,
        geometry=geometry,
        seat=seat,
        backing=BACKINGS.get(backing),
        transmitted=quantity == "transmittance",
    )


def mixture(base: str, loadings: Mapping[str, float]) -> Array:
    """What each base [share] and each pigment [percent] adds to a blend, shape (n_components,)."""
    rest = 1.0 - sum(loadings.values()) / 100.0
    return np.array([rest * (name == base) for name in BASES] + [loadings.get(name, 0.0) for name in PIGMENTS])


def read_of(truth: Palette, blend: Blend, *, thickness_mm: float, over: str, seed: Sequence[int] = ()) -> Array:
    """What a casting of a two-flux palette's own coefficients reads, by `reference`; with a seed, with its noise."""
    weights = mixture(blend.base, blend.loadings)
    exact = reference.two_flux(
        weights @ truth.k, weights @ truth.s, thickness_mm, index=truth.bases[blend.base].refractive_index,
        geometry=truth.instrument.geometry, backing=truth.backings[over],
    )  # fmt: skip
    noise = np.random.default_rng(seed).standard_normal(exact.shape) if seed else 0.0
    return np.asarray(exact + truth.instrument.repeatability * noise)


def studio(
    casts: Sequence[Cast] = CASTS,
    *,
    seed: int | None = None,
    instrument: Instrument = INSTRUMENT,
    backings: Sequence[str] = ("black", "white"),
    seat: str = "air",
    transmit: bool = False,
    really: Mapping[str, Cast] | None = None,
) -> SwatchFolder:
    """A folder of these castings.

    With a seed, thicknesses, doses and readings are in error as the instrument states. `really` names swatches that
    were not what the folder says.
    """
    random = np.random.default_rng(seed)
    scale = 0.0 if seed is None else 1.0
    readings: list[Reading] = []
    for cast in casts:
        true = (really or {}).get(cast.name, cast)
        thickness = true.thickness_mm + scale * instrument.thickness_error_mm * random.standard_normal()
        wrong = scale * instrument.dose_error_percent / 100.0
        loadings = {name: dose * (1.0 + wrong * random.standard_normal()) for name, dose in true.loadings.items()}
        kinds = [(backing, seat if backing != NO_BACKING else "air", "reflectance") for backing in backings]
        for backing, how, quantity in [*kinds, *[(NO_BACKING, "air", "transmittance")] * transmit]:
            values = spectrum(
                true.base, loadings, thickness_mm=thickness, backing=backing, seat=how, quantity=quantity,
                geometry=instrument.geometry,
            )  # fmt: skip
            noise = scale * instrument.repeatability * random.standard_normal(values.shape)
            readings.append(
                Reading(
                    swatch=cast.name,
                    backing=backing,
                    seat=how,
                    quantity=quantity,
                    values=values + noise,
                    row=2 + len(readings),
                )
            )
    return _folder(casts, readings, instrument, [name for name in backings if name != NO_BACKING])


BENCH = Path(__file__).parent / "data" / "studio_of_bench.csv"


def of_bench(*, transmit: bool = False) -> SwatchFolder:
    """The studio poured by radiative transfer with the anisotropies TRUE_G, and with the errors that it states."""
    with BENCH.open(encoding="utf-8") as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    readings = [
        Reading(
            swatch=each["swatch"], backing=each["backing"], seat="air", quantity=each["quantity"], row=row,
            values=np.array([float(each[f"{nm:g}"]) for nm in WAVELENGTHS]),
        )
        for row, each in enumerate(rows, 2)
        if transmit or each["quantity"] == "reflectance"
    ]  # fmt: skip
    return _folder(CASTS, readings, INSTRUMENT, list(BACKINGS))


def _folder(
    casts: Sequence[Cast], readings: Sequence[Reading], instrument: Instrument, backings: Sequence[str]
) -> SwatchFolder:
    return SwatchFolder(
        path=Path("studio"),
        name="Invented studio",
        instrument=instrument,
        bases=BASES,
        pigments=PIGMENTS,
        wavelengths=WAVELENGTHS,
        backings={name: BACKINGS[name] for name in backings},
        bare={
            name: (
                Reading(
                    swatch="", backing=name, seat="", quantity="reflectance", values=BACKINGS[name],
                    row=2 + len(readings) + at,
                ),
            )
            for at, name in enumerate(backings)
        },
        swatches=tuple(
            Swatch(
                name=cast.name, base=cast.base, thickness_mm=cast.thickness_mm, loadings=cast.loadings, row=row
            )
            for row, cast in enumerate(casts, 2)
        ),
        readings=tuple(readings),
        warnings=(),
        digest="0" * 64,
    )  # fmt: skip


def fit_two_flux(folder: SwatchFolder) -> Palette:
    """The palette of a folder under the layer model that these studios are computed with."""
    return fitted_once(folder, optics="two-flux")
