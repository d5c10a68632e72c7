"""Castings whose light leaves beside the measured spot: too see-through and too thick for the instrument's aperture."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from tint import colorimetry, forward
from tint.checks.finding import Finding, listed, noise
from tint.materials import Instrument
from tint.optics.edge_loss import spot_reflectance
from tint.optics.layer import reflectance
from tint.palette import Palette
from tint.spectra import Array
from tint.swatches import Swatch, SwatchFolder

_TOLD = 0.5  # CIEDE2000: the estimate is good to about a factor of two, and a colour is matched to about one
_NOISES = 3.0
_SCATTERS = 0.4  # S d, from where the estimate is good


@dataclass(frozen=True, eq=False)
class _Way:
    """A casting as it was read: reflectance without and with the edge, each of shape (n_wavelengths,)."""

    swatch: Swatch
    backing: str
    whole: Array
    spot: Array
    more_lit: Array
    away: float
    scatters: bool

    @property
    def lost(self) -> float:
        """Mean reflectance lost [-]."""
        return float(np.mean(self.whole - self.spot))


def of_edges(folder: SwatchFolder, palette: Palette) -> Iterator[Finding]:
    """One finding for all castings that lose light at the edge, where palette.toml states the measured spot."""
    instrument = palette.instrument
    if instrument.aperture_mm is None:
        return
    ways = list(_ways(folder, palette))
    losing = [each for each in ways if each.away > _TOLD and each.lost > _NOISES * noise(instrument)]
    if not losing:
        return
    losing.sort(key=lambda each: (not each.scatters, -each.away))
    worst, names = losing[0], list(dict.fromkeys(each.swatch.name for each in losing))
    yield Finding(
        kind="edge_loss",
        where=listed(names),
        words=f"with {_spots(instrument)}, an estimated {_share(worst.whole, worst.spot)} of the light that "
        f"{worst.swatch.name} ({worst.swatch.thickness_mm:g} mm, over {worst.backing}) sends back leaves beside what "
        f"is lit: it reads about {worst.lost:.2g} too dark, {worst.away:.2g} CIEDE2000; {len(names)} of "
        f"{len(folder.swatches)} castings lose more than {_TOLD:g}",
        effect="see-through castings read too dark, most where they absorb least; the fit takes it for absorption, and "
        "a part seen whole is lighter than foretold. An estimate: good to a factor of two for castings that scatter, "
        "clear ones may lose less",
        mend=f"measure a smaller spot or light a larger one ({2.0 * _lit(instrument):g} mm lit: about "
        f"{_share(worst.whole, worst.more_lit)}), or pour these thinner",
    )


def _lit(instrument: Instrument) -> float:
    return instrument.lit_mm or instrument.aperture_mm or 0.0


def _spots(instrument: Instrument) -> str:
    return f"{instrument.aperture_mm:g} mm measured and {_lit(instrument):g} mm lit"


def _share(whole: Array, spot: Array) -> str:
    return f"{100.0 * float(1.0 - spot.mean() / whole.mean()):.2g} %"


def _ways(folder: SwatchFolder, palette: Palette) -> Iterator[_Way]:
    """Every way that each casting was read in, as the palette has it."""
    view = colorimetry.viewing(palette.wavelengths)
    measured, lit = palette.instrument.aperture_mm or 0.0, _lit(palette.instrument)
    by_name = {swatch.name: swatch for swatch in folder.swatches}
    seen = {(r.swatch, r.backing, r.seat) for r in folder.readings if r.quantity == "reflectance"}
    for name, backing, seat in sorted(seen):
        swatch = by_name[name]
        share = palette.shares(swatch.base, palette.loadings(swatch.blend))
        layer: dict[str, Any] = {
            "thickness": swatch.thickness_mm,
            "backing": palette.backing(backing),
            "seat": seat,
            "optics": palette.optics(swatch.base),
        }
        coefficients = forward.mix(palette.coefficients, share)
        whole = reflectance(*coefficients, **layer)
        spot, more_lit = (
            spot_reflectance(*coefficients, **layer, measured_mm=measured, lit_mm=size) for size in (lit, 2.0 * lit)
        )
        away = float(colorimetry.difference(colorimetry.lab(whole, view), colorimetry.lab(spot, view)))
        scatters = swatch.thickness_mm * float(np.mean(coefficients[1])) > _SCATTERS
        yield _Way(swatch, backing, whole, spot, more_lit, away, scatters)
