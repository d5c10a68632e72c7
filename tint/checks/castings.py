"""What the castings, taken together, cannot teach: thicknesses, tints, hiding, loadings; and how they were cured."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from tint.checks.ground import Finding, limit, listed
from tint.checks.readings import over_two_cards, ways
from tint.fitting.report import once, same
from tint.materials import Base
from tint.swatches import Swatch, SwatchFolder

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
                effect="parts of other thickness are predicted by the model alone, unproved by any casting",
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
        theirs = folder.pigments[white].cures
        if pigment.cures is not None and theirs is not None and not set(pigment.cures) & set(theirs):
            continue  # no base takes both
        strongest = max(swatch.loadings[name] for swatch in own)
        yield Finding(
            kind="no_tint",
            where=name,
            words=f"it was never cast together with {white}, the lightest pigment",
            effect=f"pastel blends of it are predicted from castings unlike them: its own scattering, small beside "
            f"that of {white}, and its strength let down are unproved",
            mend=f"pour {0.1 * strongest:.2g} % of {name} with 0.5 % of {white}",
        )


def _near_hiding(folder: SwatchFolder, cast: list[Swatch]) -> Iterator[Finding]:
    """Swatches read in one way only are told of by the folder's own warnings, and count for nothing here."""
    shares = [(each.swatch, each.gain.mean() / each.contrast.mean()) for each in over_two_cards(folder)]
    shares += [(key[0], group[0].values.mean()) for key, group in ways(folder).items() if key[3] == "transmittance"]
    shows: dict[str, float] = {}
    for name, share in shares:
        shows[name] = max(shows.get(name, share), float(share))
    sd = limit(len(cast)) * folder.instrument.noise
    for name in folder.pigments:
        own = [swatch for swatch in cast if name in swatch.loadings]
        seen = [shows[swatch.name] for swatch in own if swatch.name in shows]
        if len(seen) < max(len(own), 1):
            continue
        if max(seen) < max(_SHOWS, sd):
            every = f"all its {len(own)} castings" if len(own) > 1 else "its only casting"
            thinnest = min(own, key=lambda swatch: swatch.loadings[name] * swatch.thickness_mm)
            yield Finding(
                kind="near_hiding",
                where=name,
                words=f"in {every} ({listed([swatch.name for swatch in own])}) at most "
                f"{100.0 * max(*seen, 0.0):.1f} % of the difference between the backings shows through",
                effect="hiding castings fix the ratio K/S and leave the scale of both loose: thin walls, opacity and "
                "mixtures are guesses",
                mend=f"pour {thinnest.loadings[name] / 10.0:.2g} % at {min(thinnest.thickness_mm, 1.0):.2g} mm, "
                "so that the backing shows",
            )


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


# How castings of one base were cured and kept, where that differs among them: it is not the pigments' doing.
#
# What is said to follow is common practice, no source, but for the share of light that a face reflects (Fresnel).
# Nothing is said where nothing was written or all agree.


CURES_APART_K = 15.0  # between cures that may leave different rubbers; common practice, no source, as what follows
YOUNG_DAYS = 1.0  # of cure, below which a colour still moves
_AGES_APART = 5.0  # times as old, and ...
_AGES_APART_DAYS = 7.0  # ... as many days older

# What is written of a casting in a word, as a field of its conditions: what to call several, and what to do about them.
_WORDS = {
    "finish": (
        "finishes",
        "read all on faces of one finish, that of the parts; where both are sold, keep a folder for each",
    ),
    "mould": (
        "moulds",
        "cast one blend in each mould and read them side by side; if they differ, pour all in the parts' mould",
    ),
    "lot": (
        "lots of the base",
        "pour an uncoloured casting of each lot; if they differ, make the new lot a base of its own",
    ),
}


def of_conditions(folder: SwatchFolder) -> Iterator[Finding]:
    """Finishes, moulds, lots, cures and ages that differ among the castings of one base."""
    read = {reading.swatch for reading in folder.readings}
    for base in folder.bases.values():
        cast = [swatch for swatch in folder.swatches if swatch.base == base.name and swatch.name in read]
        for kind in _WORDS:
            yield from _mixed(cast, base, kind, folder.instrument.geometry)
        yield from _cures(cast, base)
        yield from _young(cast, base)
        yield from _ages(cast, base)


def apart_in_age(one: float, other: float) -> bool:
    """Whether two castings were read at very different ages [days]."""
    younger, older = sorted((one, other))
    return older > _AGES_APART * younger and older - younger >= _AGES_APART_DAYS


def _mixed(cast: list[Swatch], base: Base, kind: str, geometry: str) -> Iterator[Finding]:
    (words, mend), of = _WORDS[kind], {swatch.name: str(getattr(swatch.conditions, kind)) for swatch in cast}
    found = once(of.values())
    if len(found) < 2:
        return
    groups = {word: [name for name, own in of.items() if same(own) == same(word)] for word in found}
    ranked = sorted(groups.items(), key=lambda item: -len(item[1]))
    told = [
        f"{word} ({listed(names) if at > 0 else f'{len(names)} of them'})" for at, (word, names) in enumerate(ranked)
    ]
    yield Finding(
        kind=f"mixed_{kind}",
        where=base.name,
        words=f"its castings are of {len(found)} {words}: {', '.join(told)}",
        effect=_effect(kind, base, geometry),
        mend=mend,
    )


def _effect(kind: str, base: Base, geometry: str) -> str:
    face = ((base.refractive_index - 1.0) / (base.refractive_index + 1.0)) ** 2
    if kind == "finish" and geometry == "di:8":
        return (
            "with the specular reflection included a reading changes little with gloss, but light passes a rough face "
            "otherwise than the smooth one of the optics; dark and see-through colours err most"
        )
    if kind == "finish":
        return (
            f"a dull face sends some of its reflection, up to {face:.3f} in all, into readings that leave gloss out; "
            "fitted as one, dark colours are predicted too light or too dark"
        )
    if kind == "mould":
        return (
            "a mould prints its gloss on the face, and may take oil from it or slow the cure there; "
            "what it does is laid to what the castings hold"
        )
    return "lots differ in haze and tint; fitted as one, their difference is laid to the pigments cast in them"


def _cures(cast: list[Swatch], base: Base) -> Iterator[Finding]:
    by_heat = sorted((swatch.conditions.cure_c, swatch.name) for swatch in cast if swatch.conditions.cure_c is not None)
    if len(by_heat) < 2 or by_heat[-1][0] - by_heat[0][0] <= CURES_APART_K:
        return
    (coolest, cool), (hottest, hot) = by_heat[0], by_heat[-1]
    yield Finding(
        kind="cure_temperatures",
        where=base.name,
        words=f"its castings were cured at {coolest:g} to {hottest:g} °C, as {cool} and {hot} were",
        effect="heat can yellow base and pigments, and a hot cure shrinks more as it cools; fitted as one, it is laid "
        "to what the castings hold",
        mend="cure one blend both ways and read them side by side; if they differ, cure all as the parts are",
    )


def _young(cast: list[Swatch], base: Base) -> Iterator[Finding]:
    young = [s.name for s in cast if s.conditions.days is not None and s.conditions.days < YOUNG_DAYS]
    if young:
        yield Finding(
            kind="read_young",
            where=base.name,
            about=tuple(young),
            words=f"{listed(young)} {'was' if len(young) == 1 else 'were'} read less than a day after the cure",
            effect=drift(base),
            mend="read them again when they are a week old, and take those readings in place of these",
        )


def _ages(cast: list[Swatch], base: Base) -> Iterator[Finding]:
    """Of those that are not young: those are told already."""
    known = [(s.conditions.days, s.name) for s in cast if (s.conditions.days or 0.0) >= YOUNG_DAYS]
    by_age = sorted((days, name) for days, name in known if days is not None)
    if by_age and apart_in_age(by_age[0][0], by_age[-1][0]):
        (youngest, young), (oldest, old) = by_age[0], by_age[-1]
        yield Finding(
            kind="ages",
            where=base.name,
            words=f"its castings were read {youngest:g} to {oldest:g} days after the cure, as {young} and {old} were",
            effect=drift(base),
            mend="read all again now, or pour the oldest anew; keep one age for parts and swatches",
        )


def drift(base: Base) -> str:
    """What age does to a casting of a base, in words."""
    if base.cure == "condensation":
        return (
            "a condensation cure gives off what it splits off for days, and shrinks: haze, colour and thickness drift, "
            "and the fit lays it to what the castings hold"
        )
    return (
        "an addition cure may go on for a while, and rubber yellows slowly: colour and thickness can drift, and the "
        "fit lays it to what the castings hold"
    )
