"""What the castings, taken together, cannot teach: thicknesses, tints, hiding ladders, loadings."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

import numpy as np

from tint.checks.finding import Finding, limit, listed
from tint.checks.readings import ways
from tint.materials import Pigment
from tint.swatches import Reading, Swatch, SwatchFolder

# Doses should differ by half and more: a strength that bends with the loading shows only then. Common practice, no
# source. Where doses are rough, by so much that the slope of log strength is known to a twentieth.
_LEAST_RATIO = 1.5
_SLOPE_ERROR = 0.05
_LEAST_SPREAD = 1.25  # thickest over thinnest: moulds of one depth differ by less; common practice, no source
_SHOWS = 0.02  # of the difference between backings: below it a casting is said to hide (contrast ratio about 0.98)
_LIGHT = 0.4  # mean reflectance over the darkest backing, from where a pigment can let others down


def of_swatches(folder: SwatchFolder) -> Iterator[Finding]:
    """All that is found in what was cast."""
    read = {reading.swatch for reading in folder.readings}
    cast = [swatch for swatch in folder.swatches if swatch.name in read]
    yield from _one_thickness(folder, cast)
    yield from _without_tint(folder, cast)
    yield from _near_hiding(folder, cast)
    yield from _close_loadings(folder, cast)


def _one_thickness(folder: SwatchFolder, cast: list[Swatch]) -> Iterator[Finding]:
    for base in folder.bases:
        thickness = [swatch.thickness_mm for swatch in cast if swatch.base == base]
        if len(thickness) < 2:
            continue
        # Twice the error of a difference: a spread that the calliper alone makes teaches nothing.
        least = 2.0 * math.sqrt(2.0) * folder.instrument.thickness_error_mm
        if max(thickness) < max(min(thickness) + least, _LEAST_SPREAD * min(thickness)):
            yield Finding(
                kind="one_thickness",
                where=base,
                words=f"its {len(thickness)} castings are all {min(thickness):.2f} to {max(thickness):.2f} mm thick, "
                f"a thickness being known to {folder.instrument.thickness_error_mm:g} mm",
                effect="parts of other thickness are foretold by the model alone, unproved by any casting",
                mend=f"pour two of its blends again at {0.5 * min(thickness):.2g} and {2.0 * max(thickness):.2g} mm",
            )


def lights(folder: SwatchFolder, cast: list[Swatch]) -> dict[str, float]:
    """The pigments that can let others down, with what their strongest casting alone reads over the darkest backing."""
    if not folder.backings:
        return {}
    dark = min(folder.backings, key=lambda name: float(folder.backings[name].mean()))
    level: dict[str, float] = {}
    for swatch in cast:
        values = [r.values for r in folder.readings if r.swatch == swatch.name and r.backing == dark]
        if len(swatch.loadings) == 1 and values:
            name = next(iter(swatch.loadings))
            level[name] = max(level.get(name, 0.0), float(np.mean(values)))
    return {name: value for name, value in level.items() if value > _LIGHT}


def _without_tint(folder: SwatchFolder, cast: list[Swatch]) -> Iterator[Finding]:
    level = lights(folder, cast)
    if not level:
        return
    light, white = set(level), max(level, key=lambda each: level[each])
    for name, pigment in folder.pigments.items():
        own = [swatch for swatch in cast if name in swatch.loadings]
        if name == white or not own or any(light & set(swatch.loadings) - {name} for swatch in own):
            continue
        if not _share_a_cure(pigment, folder.pigments[white]):
            continue
        strongest = max(swatch.loadings[name] for swatch in own)
        yield Finding(
            kind="no_tint",
            where=name,
            words=f"it was never cast together with {white}, the lightest pigment",
            effect=f"pastel blends of it are foretold from castings unlike them: its own scattering, small beside that "
            f"of {white}, and its strength let down are unproved",
            mend=f"pour {0.1 * strongest:.2g} % of {name} with 0.5 % of {white}",
        )


def _all(own: list[Swatch]) -> str:
    return f"all its {len(own)} castings" if len(own) > 1 else "its only casting"


def _share_a_cure(one: Pigment, other: Pigment) -> bool:
    return one.cures is None or other.cures is None or bool(set(one.cures) & set(other.cures))


def _near_hiding(folder: SwatchFolder, cast: list[Swatch]) -> Iterator[Finding]:
    """Swatches read in one way only are told of by the folder's own warnings, and count for nothing here."""
    read: dict[str, list[tuple[str, str, str, list[Reading]]]] = {}
    for (name, *way), group in ways(folder).items():
        read.setdefault(name, []).append((way[0], way[1], way[2], group))
    shows = {s.name: share for s in cast if (share := _shown(folder, read.get(s.name, ()))) is not None}
    sd = limit(len(cast)) * folder.instrument.noise
    for name in folder.pigments:
        own = [swatch for swatch in cast if name in swatch.loadings]
        seen = [shows[swatch.name] for swatch in own if swatch.name in shows]
        if len(seen) < max(len(own), 1):
            continue
        if max(seen) < max(_SHOWS, sd):
            thinnest = min(own, key=lambda swatch: swatch.loadings[name] * swatch.thickness_mm)
            yield Finding(
                kind="near_hiding",
                where=name,
                words=f"in {_all(own)} ({listed([swatch.name for swatch in own])}) at most "
                f"{100.0 * max(*seen, 0.0):.1f} % of the difference between the backings shows through",
                effect="hiding castings fix the ratio K/S and leave the scale of both loose: thin walls, opacity and "
                "mixtures are guesses",
                mend=f"pour {thinnest.loadings[name] / 10.0:.2g} % at {min(thinnest.thickness_mm, 1.0):.2g} mm, "
                "so that the backing shows",
            )


def _shown(folder: SwatchFolder, read: Iterable[tuple[str, str, str, list[Reading]]]) -> float | None:
    """Largest share of the difference between two backings that shows through; None when read over fewer.

    Parameters
    ----------
    read : iterable of (backing, seat, quantity, readings)
        Of one casting.
    """
    mean = {
        (seat, backing): np.mean([each.values for each in group], axis=0)
        for backing, seat, quantity, group in read
        if quantity == "reflectance" and backing in folder.backings
    }
    shares = [
        float(np.mean(mean[light] - mean[dark]) / np.mean(folder.backings[light[1]] - folder.backings[dark[1]]))
        for dark in mean
        for light in mean
        if dark[0] == light[0] and float(np.mean(folder.backings[light[1]] - folder.backings[dark[1]])) > 0.1
    ]
    through = [float(np.mean(group[0].values)) for _, _, quantity, group in read if quantity == "transmittance"]
    return max([*shares, *through], default=None)


def _close_loadings(folder: SwatchFolder, cast: list[Swatch]) -> Iterator[Finding]:
    """A pigment cast at one loading only is told of by the folder's own warnings."""
    rough = math.sqrt(2.0) * folder.instrument.dose_error_percent / 100.0 / _SLOPE_ERROR
    least = max(_LEAST_RATIO, math.exp(rough))
    for name in folder.pigments:
        doses = sorted({swatch.loadings[name] for swatch in cast if swatch.loadings.get(name, 0.0) > 0.0})
        if len(doses) > 1 and doses[-1] / doses[0] < least:
            yield Finding(
                kind="close_loadings",
                where=name,
                words=f"its {len(doses)} loadings, {doses[0]:g} to {doses[-1]:g} %, lie within a factor of "
                f"{doses[-1] / doses[0]:.2f}, doses being known to {folder.instrument.dose_error_percent:g} %",
                effect="whether its colour grows in proportion to the loading is not seen; other loadings are a guess",
                mend=f"pour {doses[0] / 5.0:.2g} % and {doses[-1] * 3.0:.2g} %, as far as its largest loading allows",
            )
