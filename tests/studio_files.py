"""The invented studio (`synthetic`) as a colorimeter reads it, and as the files of a swatch folder."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np

from tint import colorimetry
from tint.colorimetry import lab_to_xyz, xyz_to_lab
from tint.materials import Base, Instrument, Pigment
from tint.spectra import Array
from tint.swatches import COLOURS, Reading, SwatchFolder

GRID = np.arange(400.0, 701.0, 10.0)
ONES = np.ones(3)


def every_second(folder: SwatchFolder) -> SwatchFolder:
    """A folder of spectra at every second of its wavelengths: for what no wavelength tells alone, in half the time."""

    def thinned(readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
        return tuple(replace(each, values=each.values[::2]) for each in readings)

    return replace(
        folder,
        wavelengths=folder.wavelengths[::2],
        readings=thinned(folder.readings),
        backings={name: values[::2] for name, values in folder.backings.items()},
        bare={name: thinned(readings) for name, readings in folder.bare.items()},
    )


def as_colours(
    folder: SwatchFolder, *, seed: int | None = None, light: str = "D65", observer: int = 10, photographs: int = 0
) -> SwatchFolder:
    """A folder of spectra in L*, a*, b*; with a seed, X, Y and Z are as noisy as the instrument states.

    The first so many readings of castings are said to be off a photograph.
    """
    view = colorimetry.viewing(folder.wavelengths, light=light, observer=observer)
    random = np.random.default_rng(seed)

    def read(reading: Reading) -> Reading:
        shares = lab_to_xyz(colorimetry.lab(np.maximum(reading.values, 0.0), view), ONES)
        if seed is not None:
            shares = np.maximum(shares + folder.instrument.repeatability * random.standard_normal(3), 1e-4)
        return replace(reading, values=xyz_to_lab(shares, ONES))

    bare = {name: tuple(map(read, readings)) for name, readings in folder.bare.items()}
    readings = map(read, folder.readings)
    return replace(
        folder,
        kind=COLOURS,
        wavelengths=GRID,
        instrument=replace(folder.instrument, light=light, observer=observer),
        readings=tuple(replace(r, source="photograph" * (at < photographs)) for at, r in enumerate(readings)),
        bare=bare,
        backings={name: np.mean([each.values for each in read], axis=0) for name, read in bare.items()},
    )


def write_folder(folder: SwatchFolder, path: Path) -> Path:
    """The three files of a folder, of spectra or of colours."""
    path.mkdir()
    (path / "palette.toml").write_text(_declared(folder), "utf-8")
    _table(
        path / "swatches.csv",
        ["swatch", "base", "thickness_mm", *folder.pigments],
        [[s.name, s.base, s.thickness_mm, *(s.loadings.get(p, "") for p in folder.pigments)] for s in folder.swatches],
    )
    bare = [replace(each, swatch=each.backing, backing="") for read in folder.bare.values() for each in read]
    coloured = folder.kind == COLOURS
    values = list("Lab") if coloured else [f"{nm:g}" for nm in folder.wavelengths]
    _table(
        path / "readings.csv",
        ["swatch", "backing", "seat", "source" if coloured else "quantity", *values],
        [
            [
                *(r.swatch, r.backing, r.seat, r.source if coloured else r.quantity),
                *(f"{x:.3f}" if coloured else f"{x:.6f}" for x in r.values),
            ]
            for r in (*bare, *folder.readings)
        ],
    )
    return path


def write_lab(path: Path, *, light: str = "D65", observer: int = 10, **samples: Array) -> Path:
    """A table of single colours, by name."""
    rows: list[list[object]] = [[name, *(f"{x:.4f}" for x in lab), light, observer] for name, lab in samples.items()]
    _table(path, ["name", "L", "a", "b", "light", "observer"], rows)
    return path


def _table(path: Path, header: list[str], rows: list[list[object]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([header, *rows])


def _declared(folder: SwatchFolder) -> str:
    bases = "".join(_of_base(each) for each in folder.bases.values())
    pigments = "".join(_of_pigment(each) for each in folder.pigments.values())
    backings = "".join(f"[backings.{name}]\n" for name in folder.backings)
    instrument = _of_instrument(folder.instrument, coloured=folder.kind == COLOURS)
    return f'format = 1\nname = "{folder.name}"\n\n{instrument}\n{backings}\n{bases}{pigments}'


def _of_instrument(instrument: Instrument, *, coloured: bool) -> str:
    seen = f'light = "{instrument.light}"\nobserver = {instrument.observer}\n' if coloured else ""
    return (
        f'[instrument]\ngeometry = "{instrument.geometry}"\n{seen}repeatability = {instrument.repeatability}\n'
        f"thickness_error_mm = {instrument.thickness_error_mm}\n"
        f"dose_error_percent = {instrument.dose_error_percent}\n"
    )


def _of_base(base: Base) -> str:
    mix = ", ".join(f"{part} = {share}" for part, share in base.mix.items())
    return (
        f'[bases.{base.name}]\ncure = "{base.cure}"\ndensity = {base.density}\n'
        f"refractive_index = {base.refractive_index}\nmax_loading = {base.max_loading}\nmix = {{ {mix} }}\n"
        f'pigment_in = "{base.pigment_in}"\n\n'
    )


def _of_pigment(pigment: Pigment) -> str:
    density = f"density = {pigment.density}\n" if pigment.density is not None else ""
    return f"[pigments.{pigment.name}]\nmax_loading = {pigment.max_loading}\n{density}\n"
