"""What an approval sheet says: the customer's words, what is promised in answer, what only a cured swatch can tell."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Any

import numpy as np

from tint import colorimetry, forward, thickness
from tint.appearance import Setting
from tint.errors import InputError
from tint.materials import Blend
from tint.optics import layer
from tint.palette import Palette
from tint.proofs import words
from tint.proofs.facts import Chip, Facts, Row, Trial, gather
from tint.proofs.part_picture import Shown
from tint.proofs.passing import Verdict, judged, limits_of
from tint.proofs.samples import in_lights, lights_row, limits_row, named, steps_row
from tint.target import Target
from tint.thickness import Wall

if TYPE_CHECKING:
    from tint.proofs.traced.shown import TracedPart


_PENCIL = 0.25  # reflectance of a pencil line on card; an assumption, no source
_SEEN, _PLAINLY = 1.0, 4.0  # CIEDE2000 from which a line just shows, and shows plainly; as in `words`
_LONGEST = {"name": 60, "the customer's words": 400, "who": 80}  # letters that still fit one page of A4 (tests)
# Not those of the locale: a sheet is the same on every machine.
_MONTHS = (
    "January", "February", "March", "April", "May", "June",
    "July", "August", "September", "October", "November", "December",
)  # fmt: skip

SCREEN = (
    "A screen cannot show opacity, gloss or touch, and no two screens agree; paper shows even less. "
    "Always confirm with a cured swatch: this sheet says what it should look like."
)
EYE = "Each light is shown as it looks to an eye that is adapted to it."
LIKELY = "Lights other than the agreed one rest on estimated spectra, because only colours were measured."
FLAT = "Each point of the part has the colour of a flat layer as thick; shading and gloss are drawn, not predicted."


@dataclass(frozen=True, kw_only=True)
class Asked:
    """What the people say."""

    name: str  # of the recipe: what it will be called
    words: str = ""  # the customer's own
    who: str = ""  # who decides
    made: date  # the day of the sheet
    expiry: date | None = None  # until when the approval holds
    tolerance: float = 1.0  # CIEDE2000 that is agreed; the target's own when there is one [-]
    show_formula: bool = False  # whether pigments and loadings are told

    def __post_init__(self) -> None:
        told = {"name": self.name, "the customer's words": self.words, "who": self.who}
        for what, said in told.items():
            if len(said) > _LONGEST[what]:
                found = f"{len(said)} letters"
                raise InputError(f"approval sheet, {what}", found, f"at most {_LONGEST[what]}", "shorten it")
        if self.expiry is not None and self.expiry <= self.made:
            raise InputError("approval sheet, expiry", f"{self.expiry}", f"a day after {self.made}")
        if not 0.0 < self.tolerance <= 20.0:
            raise InputError("approval sheet, tolerance", f"{self.tolerance:g}", "more than 0 and at most 20")


@dataclass(frozen=True, kw_only=True, eq=False)
class Approval:
    """Everything on a sheet."""

    asked: Asked
    palette: Palette
    blend: Blend
    setting: Setting
    facts: Facts
    lights: Row  # the recipe in other lights
    limits: Row  # how far it may go, without chips where nothing passes
    terms: tuple[tuple[str, str], ...]  # what is promised: a word, and what it means here
    shown: Shown | None  # the part, where there is one
    verdict: Verdict  # whether recipe and part are what was asked: the first lines of the sheet
    trial: Trial | None = None  # a casting of the recipe, where there is one
    traced: TracedPart | None = None  # the part in light, where it was traced

    @property
    def dated(self) -> str:
        """When the sheet was made, and until when it holds."""
        until = f", holds until {in_words(self.asked.expiry)}" if self.asked.expiry else ""
        return f"{in_words(self.asked.made)}{until}"

    @property
    def rows(self) -> tuple[tuple[Row, ...], ...]:
        """Its colours, in groups of one or two rows that stand beside one another on paper."""
        wanted, own = self.facts.wanted, self.facts.recipe
        names = ("what was asked for", "this recipe")
        beside = Row(
            title="Side by side",
            chips=(Chip(name="", shades=(wanted, own), labels=names),) if wanted else (),
            notes=(f"Left {names[0]}, right {names[1]}.",),
        )
        groups = ((beside, steps_row(self.facts)), (self.lights, self.limits))
        return tuple(tuple(row for row in group if row.chips) for group in groups)

    @property
    def beyond(self) -> tuple[str, ...]:
        """What the sheet cannot show, and where the prediction leaves the ground of the swatches."""
        seen = EYE if self.palette.read_as == "spectra" else f"{EYE} {LIKELY}"
        told = f"{seen} {FLAT}" if self.shown else seen
        rows = [row for group in self.rows for row in group] + ([self.trial.row] if self.trial else [])
        exact = self.facts.recipe.exact and all(row.exact for row in rows)
        return (
            SCREEN,
            told,
            *(self.trial.notes if self.trial else ()),
            *(() if exact else (f"≈ {words.NEAREST_LINE}",)),
            self.measured,
            *(f"Take care: {care}." for care in self.facts.warnings),
        )

    @property
    def measured(self) -> str:
        """The terms of the trade for how the colour is measured: the small print."""
        seen = self.facts.appearance
        seat = "no backing" if seen.over == "none" else f"{seen.setting.seat} seat"
        eye = f"{seen.setting.light}, {seen.setting.observer}° observer"
        told = f"In the terms of the trade: CIELAB, {eye}, {seen.geometry}, {seat}, {seen.setting.thickness_mm:g} mm"
        if math.isnan(seen.contrast_ratio):
            return f"{told}."
        return f"{told}; contrast ratio {seen.contrast_ratio:.2f}, how bright it is over black divided by over white."

    @property
    def slab(self) -> str:
        """What the flat piece is shown as."""
        seen = self.facts.appearance
        light = named(seen.setting.light)
        return f"A flat piece, {seen.setting.thickness_mm:g} mm, {words.behind(seen.over)}. Light: {light}."

    @property
    def promise(self) -> str:
        """What is signed."""
        missing = "" if self.verdict.passes else ", which misses what was asked as the first lines say,"
        target = self.facts.target
        opacity = (
            " and as opaque as was asked" if target is not None and target.asks_opacity and self.verdict.met else ""
        )
        within = f"within {self.asked.tolerance:g} CIEDE2000 of it{opacity}"
        return f"I have held a cured swatch of {self.asked.name}{missing} and accept it; parts {within} pass."


def approval(
    palette: Palette, blend: Blend, *, setting: Setting, asked: Asked, target: Target | None = None,
    shown: Shown | None = None, trial: Trial | None = None, walls: Sequence[Wall] = (),
    traced: TracedPart | None = None,
) -> Approval:  # fmt: skip
    """Gather what an approval sheet says of a recipe.

    Raises InputError if blend or setting name what the palette does not have.
    """
    facts = gather(palette, blend, setting=setting, target=target, show_recipe=asked.show_formula)
    seen = facts.appearance
    if target is not None:
        asked = replace(asked, tolerance=target.tolerance)
    agreed: dict[str, Any] = {"target": target, "tolerance": asked.tolerance}
    part: dict[str, Any] = {} if shown is None else {"part_mm": shown.portrait.wall_mm, "weight": shown.portrait.cover}
    return Approval(
        asked=asked,
        palette=palette,
        blend=blend,
        setting=seen.setting,
        facts=facts,
        lights=lights_row(in_lights(seen, target=target)),
        limits=limits_row(limits_of(palette, seen, **agreed), own=facts.recipe, seen=seen),
        terms=tuple(_terms(palette, facts, asked, shown, walls)),
        shown=shown,
        verdict=judged(palette, seen, **agreed, **part),
        trial=trial,
        traced=traced,
    )


def in_words(day: date) -> str:
    """A day that reads the same everywhere."""
    return f"{day.day} {_MONTHS[day.month - 1]} {day.year}"


def _terms(
    palette: Palette, facts: Facts, asked: Asked, shown: Shown | None, walls: Sequence[Wall]
) -> Iterator[tuple[str, str]]:
    seen, unit = facts.appearance, words.DELTA_E  # a unit is explained where it first stands
    lab = ", ".join(f"{name} {value:.1f}" for name, value in zip(("L*", "a*", "b*"), seen.lab, strict=True))
    lab = lab.replace("-", "\N{MINUS SIGN}")
    how = f"{words.of_geometry(seen.geometry)}, {words.lying(seen.over, seen.setting.seat)}"
    yield "Colour", f"{lab}, {how}, {named(seen.setting.light)}"
    thick = f"{seen.setting.thickness_mm:g} mm"
    if shown is not None:
        least, usual, most = map(words.two_digits, shown.depths)
        thick += (
            f" for the chips; the part, {shown.named[:1].lower()}{shown.named[1:]}, shows walls of {least} to "
            f"{most} mm, median {usual} mm, and takes {shown.volume_cm3:.3g} cm³"
        )
    yield "Thickness", thick
    yield "Opacity", " ".join(opacity_sentences(palette, facts))
    if walls:
        yield "Every wall", "; ".join(wall.words for wall in walls)
    if facts.target:
        yield "From the target", f"{facts.delta_e:.1f} ({unit}): {words.difference_in_words(facts.delta_e)}"
        unit = "CIEDE2000"
    error = seen.expected_error
    yield "Expected error", f"{error:.1f} ({unit}): 95 of 100 cured parts come this close to the prediction"
    yield "Tolerance", f"{asked.tolerance:g} (CIEDE2000), {words.difference_in_words(asked.tolerance)}"
    if asked.who:
        yield "Who decides", asked.who
    if asked.show_formula:
        yield "Recipe", f"{words.of_blend(facts)}, in {seen.blend.base}"


def opacity_sentences(palette: Palette, facts: Facts) -> list[str]:
    """How well it hides, as somebody would try it."""
    seen = facts.appearance
    told = ["How well it hides is not known: the swatches were read over one backing only."]
    if facts.has_pair:
        line = pencil_difference(palette, seen.blend, setting=seen.setting)
        shows = "shows plainly" if not line < _PLAINLY else "cannot be seen" if line < _SEEN else "just shows"
        hides = thickness.hiding_thickness(palette, seen.blend, setting=seen.setting)
        told = [
            f"A pencil line under it {shows} at {seen.setting.thickness_mm:g} mm.",
            f"It hides black print from {words.two_digits(hides)} mm on."
            if hides is not None
            else "At no thickness does it hide black print.",
        ]
    through = 100.0 * seen.luminous_transmittance
    if math.isnan(through):
        return told
    share = f"{through:.2g}\N{NO-BREAK SPACE}% of the light comes through."
    told.append(share if through >= 0.1 else "No light comes through.")
    return [*told, *filter(None, [words.of_clarity(seen)])]


def pencil_difference(palette: Palette, blend: Blend, *, setting: Setting) -> float:
    """CIEDE2000 between the rubber over a pencil line and beside it, on the lightest backing [-].

    Light that wanders sideways blurs the line further: this is the most that can be seen of it.
    """
    share = palette.shares(blend.base, palette.loadings(blend))
    mixed = forward.mix(palette.coefficients, share)
    optics = palette.optics(blend.base, geometry=setting.geometry or None, finish=setting.finish)
    card = palette.backings[palette.white]
    line = np.minimum(card, _PENCIL)
    both = [
        layer.reflectance(*mixed, thickness=setting.thickness_mm, backing=behind, seat=setting.seat, optics=optics)
        for behind in (card, line)
    ]
    lab = colorimetry.lab(np.stack(both), setting.viewing(palette))
    return float(colorimetry.difference(lab[0], lab[1]))
