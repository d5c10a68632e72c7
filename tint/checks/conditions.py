"""How castings of one base were cured and kept, where that differs among them: it is not the pigments' doing.

What is said to follow is common practice, no source, but for the share of light that a face reflects (Fresnel).
Nothing is said where nothing was written or all agree.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from tint.checks.finding import Finding, listed
from tint.fitting.report import once, same
from tint.materials import Base
from tint.swatches import Conditions, Swatch, SwatchFolder

CURES_APART_K = 15.0
YOUNG_DAYS = 1.0
_AGES_APART = 5.0  # times as old, and ...
_AGES_APART_DAYS = 7.0  # ... as many days older

_WORDS: dict[str, tuple[str, Callable[[Conditions], str]]] = {
    "finish": ("finishes", lambda each: each.finish),
    "mould": ("moulds", lambda each: each.mould),
    "lot": ("lots of the base", lambda each: each.lot),
}
_MENDS = {
    "finish": "read all on faces of one finish, that of the parts; where both are sold, keep a folder for each",
    "mould": "cast one blend in each mould and read them side by side; if they differ, pour all in the parts' mould",
    "lot": "pour an uncoloured casting of each lot; if they differ, make the new lot a base of its own",
    "cure": "cure one blend both ways and read them side by side; if they differ, cure all as the parts are",
    "young": "read them again when they are a week old, and take those readings in place of these",
    "ages": "read all again now, or pour the oldest anew; keep one age for parts and swatches",
}


def of_conditions(folder: SwatchFolder) -> Iterator[Finding]:
    """Finishes, moulds, lots, cures and ages that differ among the castings of one base."""
    read = {reading.swatch for reading in folder.readings}
    for base in folder.bases.values():
        cast = [swatch for swatch in folder.swatches if swatch.base == base.name and swatch.name in read]
        for kind, (words, of) in _WORDS.items():
            yield from _mixed(cast, base, kind, words, of, folder.instrument.geometry)
        yield from _cures(cast, base)
        yield from _young(cast, base)
        yield from _ages(cast, base)


def apart_in_age(one: float, other: float) -> bool:
    """Whether two castings were read at very different ages [days]."""
    younger, older = sorted((one, other))
    return older > _AGES_APART * younger and older - younger >= _AGES_APART_DAYS


def _mixed(
    cast: list[Swatch], base: Base, kind: str, words: str, of: Callable[[Conditions], str], geometry: str
) -> Iterator[Finding]:
    found = once(of(swatch.conditions) for swatch in cast)
    if len(found) < 2:
        return
    groups = {word: [swatch.name for swatch in cast if same(of(swatch.conditions)) == same(word)] for word in found}
    ranked = sorted(groups.items(), key=lambda item: -len(item[1]))
    yield Finding(
        kind=f"mixed_{kind}",
        where=base.name,
        words=f"its castings are of {len(found)} {words}: "
        + ", ".join(f"{word} ({_counted(names, name_all=at > 0)})" for at, (word, names) in enumerate(ranked)),
        effect=_effect(kind, base, geometry),
        mend=_MENDS[kind],
    )


def _counted(names: list[str], *, name_all: bool) -> str:
    return listed(names) if name_all else f"{len(names)} of them"


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
            "fitted as one, dark colours are foretold too light or too dark"
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
        mend=_MENDS["cure"],
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
            mend=_MENDS["young"],
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
            mend=_MENDS["ages"],
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
