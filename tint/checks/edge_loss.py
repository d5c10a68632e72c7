"""Castings whose light leaves beside the measured spot: how much it matters, counted or not."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from tint import colorimetry, forward
from tint.checks.finding import Finding, listed
from tint.fitting.problem import SPOT_SD
from tint.optics.layer import reflectance
from tint.optics.spot import Spot
from tint.palette import Palette, spot_of
from tint.spectra import Array
from tint.swatches import Swatch, SwatchFolder

_TOLD = 0.5  # CIEDE2000: a colour is matched to about one (common practice, no source)
_USUAL = Spot(seen_mm=8.0, lit_mm=8.0)  # the usual small port of a bench instrument (common practice, no source)


@dataclass(frozen=True, eq=False)
class _Way:
    """A casting as it was read: reflectance of the wide casting and through the spot, each shape (n_wavelengths,)."""

    swatch: Swatch
    backing: str
    whole: Array
    spot: Array
    away: float

    @property
    def share(self) -> str:
        """Of the light that comes back, what is lost, in words."""
        return f"{100.0 * float(1.0 - self.spot.mean() / self.whole.mean()):.2g} %"


def of_edges(folder: SwatchFolder, palette: Palette) -> Iterator[Finding]:
    """One finding for all castings that lose so much at the edge of the stated spot that counting it may be off."""
    spot = spot_of(palette.instrument)
    if spot is None:
        return
    unsure = sorted(
        (each for each in _ways(folder, palette, spot) if SPOT_SD * each.away > _TOLD), key=lambda each: -each.away
    )
    if not unsure:
        return
    worst, names = unsure[0], list(dict.fromkeys(each.swatch.name for each in unsure))
    wider = replace(spot, lit_mm=2.0 * spot.lit_mm)
    less = next(each for each in _ways(folder, palette, wider) if _same(each, worst))
    yield Finding(
        kind="edge_loss",
        where=listed(names),
        words=f"with {spot.seen_mm:g} mm measured and {spot.lit_mm:g} mm lit, {worst.share} of the light that "
        f"{worst.swatch.name} ({worst.swatch.thickness_mm:g} mm, over {worst.backing}) sends back leaves beside what "
        f"is lit: {worst.away:.2g} CIEDE2000",
        effect=f"the fit counts what is lost, but knows it to about a tenth: {SPOT_SD * worst.away:.2g} CIEDE2000 here",
        mend=f"measure a smaller spot or light a larger one ({wider.lit_mm:g} mm lit: {less.share} lost), or pour "
        "these thinner",
    )


def unstated_spot(folder: SwatchFolder, palette: Palette) -> str:
    """What the spot could matter in a folder that does not state it, in words; empty where it would not."""
    if spot_of(palette.instrument) is not None:
        return ""
    losing = sorted((each for each in _ways(folder, palette, _USUAL) if each.away > _TOLD), key=lambda each: -each.away)
    if not losing:
        return ""
    count = len({each.swatch.name for each in losing})
    return (
        f"palette.toml does not say how large a spot the instrument measures. If it is {_USUAL.seen_mm:g} mm, light "
        f"that leaves beside the spot makes {count} of {len(folder.swatches)} castings read more than {_TOLD:g} "
        f"CIEDE2000 too dark, {losing[0].swatch.name} by {losing[0].away:.2g}. State aperture_mm and lit_mm "
        "under [instrument], and the fit counts it."
    )


def _same(one: _Way, other: _Way) -> bool:
    return one.swatch.name == other.swatch.name and one.backing == other.backing


def _ways(folder: SwatchFolder, palette: Palette, spot: Spot) -> Iterator[_Way]:
    """Every way that each casting was read in, as the palette has it."""
    view = colorimetry.viewing(palette.wavelengths)
    by_name = {swatch.name: swatch for swatch in folder.swatches}
    seen = {(r.swatch, r.backing, r.seat) for r in folder.readings if r.quantity == "reflectance"}
    for name, backing, seat in sorted(seen):
        swatch = by_name[name]
        share = palette.shares(swatch.base, palette.loadings(swatch.blend))
        wide = palette.optics(swatch.base)
        whole, through = (
            reflectance(
                *forward.mix(palette.coefficients, share),
                thickness=swatch.thickness_mm,
                backing=palette.backing(backing),
                seat=seat,
                optics=optics,
            )
            for optics in (wide, replace(wide, spot=replace(spot, share=palette.spot_share)))
        )
        away = float(colorimetry.difference(colorimetry.lab(whole, view), colorimetry.lab(through, view)))
        yield _Way(swatch, backing, whole, through, away)
