"""What is wanted, as options: a colour and an opacity, the sample that shows both, and what a recipe may hold."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from tint import given
from tint.appearance import Setting
from tint.cli import options
from tint.cli.asked import base_of
from tint.cli.keys import SET, called, option, workshop
from tint.errors import InputError
from tint.given import with_black
from tint.materials import Blend
from tint.opacity import bounds_of, opacity_of
from tint.palette import ONE_WAY, Palette
from tint.recipes import RANKINGS, Rules
from tint.swatches.instruments import Given
from tint.target import Target, target_from_blend
from tint.weighing.batch import WASTE_PERCENT, waste_of


@dataclass(frozen=True, kw_only=True)
class Wish:
    """A target as the command line names it."""

    target_lab: tuple[float, ...] | None
    target_srgb: str | None
    target_reading: str | None
    target_photo: str | None
    opacity: Mapping[str, float] | None
    tolerance: float | None

    @property
    def colour(self) -> dict[str, Any]:
        """The colour, in each of the ways in which it can be told."""
        ways = (self.target_lab, self.target_srgb, self.target_reading, self.target_photo)
        return dict(zip(("lab", "srgb", "reading", "photo"), ways, strict=True))

    @property
    def given(self) -> list[str]:
        """The options that name a colour."""
        return [f"--target-{way}" for way in options.given(**self.colour)]

    @property
    def has_no_gloss(self) -> bool:
        return self.target_srgb is not None or self.target_photo is not None

    @property
    def asked(self) -> dict[str, float]:
        """What is asked besides the colour, as `Target` has it."""
        return options.given(**(self.opacity or {}), tolerance=self.tolerance)


_COLOURS = ("--target-lab L,a,b", "--target-srgb '#rrggbb'", "--target-reading FILE[:NAME]", "--target-photo FILE:X,Y")


def _bounds(read: Callable[[str], dict[str, float]], option: str) -> Callable[[str], dict[str, float]]:
    def convert(text: str) -> dict[str, float]:
        try:
            return read(text)
        except InputError as error:
            raise error.at(option) from error

    return convert


def _range(name: str, text: str) -> options.Decorator:
    key = SET + name
    return option(key, type=_bounds(partial(bounds_of, name), key), metavar="RANGE", help=text)


target_options = options.grouped(
    "wish",
    Wish,
    options.lab("--target-lab", "The colour wanted, as CIELAB L*, a*, b*."),
    option("--target-srgb", metavar="'#rrggbb'", help="The same as a screen colour, in quotation marks."),
    option("--target-reading", metavar="FILE[:NAME]", help="The same, as read: a table or an instrument's file."),
    option(
        "--target-photo", metavar="FILE:X,Y[:chart]",
        help="The same as a place in a photograph, in pixels; without a chart in it, roughly.",
    ),
    option(
        "--opacity",
        type=_bounds(opacity_of, "--opacity"),
        metavar="WORD|RANGE",
        help="solid, milky, see-through, glows, clear, any; or a contrast ratio: 0.95, 0.97.., ..0.6, 0.6..0.7.",
    ),
    options.tolerance,
    heading="Wanted",
)  # fmt: skip


def target_of(palette: Palette, wish: Wish, setting: Setting, said: Given, **more: Any) -> Target | None:
    """The target that options name, with what more is asked of it; None when they name no colour."""
    asked = wish.asked | more
    if len(wish.given) > 1:
        raise InputError("target", f"{' and '.join(wish.given)} are both given", "expected one of them")
    if not wish.given:
        if asked:
            found = "an opacity or tolerance without a colour"
            raise InputError("target", found, "expected " + " or ".join(_COLOURS))
        return None
    return replace(given.target_of(palette, setting, None, **wish.colour, said=said), **asked)


# More of the sample that shows it.


@dataclass(frozen=True, kw_only=True)
class Sample:
    """How a target was measured, or the blend whose look it is; fields are named as the keys are."""

    target_over: str | None
    target_black: str | None
    target_thickness_mm: float | None
    as_blend: Mapping[str, float]
    as_base: str | None
    transmittance: Mapping[str, float] | None
    haze: Mapping[str, float] | None

    @property
    def light(self) -> dict[str, float]:
        """What it asks of the light that is let through."""
        return {**(self.transmittance or {}), **(self.haze or {})}

    @property
    def more(self) -> dict[str, float]:
        """What it asks of a target besides."""
        return {**self.light, **options.given(thickness_mm=self.target_thickness_mm)}


sample_options = options.grouped(
    "sample",
    Sample,
    option("--set target_over", metavar="BACKING", help="The backing behind the sample; recipes are judged over it."),
    option("--set target_black", metavar="FILE[:NAME]", help="The same sample measured over the darkest backing."),
    options.number("--set target_thickness_mm", "The sample's thickness, if not the part's."),
    options.amounts("--set as_blend", "Match colour and opacity of this blend instead.", options.PERCENT),
    option("--set as_base", metavar="NAME", help="The base of that blend.  [default: as --base]"),
    _range("transmittance", "Luminous transmittance of the part with nothing behind it: 0.45, 0.3.., ..0.5, 0.3..0.4."),
    _range("haze", "Share of that light which the part scatters, so that what lies behind is blurred: ..0.3 or 0.9..."),
)  # fmt: skip


def judged_over(palette: Palette, sample: Sample, casting: Mapping[str, Any]) -> dict[str, Any]:
    """How the part is cast and seen: over what the target was seen over, where that is told."""
    if sample.target_over is None:
        return dict(casting)
    over = options.known(sample.target_over, [*palette.backings, "none"], "--set target_over")
    if casting.get("over", over) != over:
        found = f"{over}, but --over {casting['over']}"
        raise InputError("--set target_over", found, "expected one backing for both", "leave --over out")
    return {**casting, "over": over}


def target_wanted(
    palette: Palette, wish: Wish, sample: Sample, *, setting: Setting, base: str | None, said: Given
) -> Target:  # fmt: skip
    """The target that all options together name."""
    if sample.as_blend or sample.as_base is not None:
        of_measured = ("target_over", "target_black", "target_thickness_mm")
        clash = wish.given + [SET + name for name in of_measured if getattr(sample, name) is not None]
        if clash:
            found = f"given together with {' and '.join(clash)}"
            raise InputError("--set as_blend", found, "expected one or the other")
        loadings = options.all_known(sample.as_blend, palette.pigments, "--set as_blend")
        blend = Blend(base_of(palette, sample.as_base or base, "--set as_base"), loadings)
        return target_from_blend(palette, blend, setting=setting, **wish.asked, **sample.light)
    if not wish.given:
        found = "an opacity or tolerance without a colour" if wish.asked or sample.light else "no colour is named"
        raise InputError("target", found, f"expected {', '.join(_COLOURS)} or --set as_blend=PIGMENT=PERCENT")
    target = target_of(palette, wish, setting, said, **sample.more)
    assert target is not None  # a colour is given
    if sample.target_black is None:
        return target
    if not palette.pair:
        raise InputError("--set target_black", "the palette cannot tell opacity", ONE_WAY, "leave it out")
    behind = replace(setting, over=palette.black)
    black = given.target_of(palette, behind, None, lab=None, srgb=None, reading=sample.target_black, said=said)
    return with_black(target, black, palette, setting=setting)


# What a recipe may hold and how recipes are ranked.


def _rules_options(name: Callable[[str], str]) -> options.Decorator:
    """All rules; `name` says what the usual ones are called, which need not be options where they are seldom told."""
    of_mix: dict[str, Any] = {"expected": "percent of the mix", "metavar": "PERCENT"}
    return options.grouped(
        "search",
        dict,
        options.count(name("most_pigments"), "The most pigments in a recipe.", default=Rules.most_pigments),
        options.several(name("keep"), "Use this pigment in every recipe.", "PIGMENT"),
        options.several(name("leave_out"), "Exclude this pigment.", "PIGMENT"),
        options.amounts(name("fix"), "Fix the loading of this pigment.", options.PERCENT, to="fixed"),
        options.several("--set insist", "Allow this pigment although it is known to upset the cure.", "PIGMENT"),
        options.number("--set smallest", "The smallest loading of a pigment.", default=0.0, **of_mix),
        options.number("--set max_total", "The largest loading in all.", **of_mix),
        options.amounts("--set stock", "The grams of this pigment in stock.", options.GRAMS, to="stock_g"),
        options.number("--set batch_g", "The grams of mix that the moulds hold."),
        options.number("--set waste_percent", f"A margin for what stays in the cup.  [default: {WASTE_PERCENT:g}]"),
        options.number("--set scale_step_g", "Round doses to this step of the scale."),
        options.walls,
        option("--set also_light", metavar="NAME", help="A second light, in which recipes are compared too."),
        options.choice("--set rank_by", RANKINGS, "How recipes are ordered.", default=RANKINGS[0]),
        options.count("--set most_recipes", "How many recipes to show.", default=Rules.most_recipes),
        heading="Limits",
    )  # fmt: skip


rules_options = _rules_options(lambda name: f"--{name.replace('_', '-')}")
rules_as_keys = _rules_options(lambda name: SET + name)


def rules_of(palette: Palette, search: Mapping[str, Any]) -> Rules:
    """The rules that options name, their pigments checked."""
    told = dict(search)
    for name in ("keep", "leave_out", "insist"):
        for pigment in told[name]:
            options.known(pigment, palette.pigments, called(name))
    for name in ("fixed", "stock_g"):
        options.all_known(told[name], palette.pigments, called(name))
    waste = told.pop("waste_percent")
    if told["batch_g"] is not None:  # what is weighed for it, waste included, as `tint weigh` has it
        waste = waste_of(workshop()) if waste is None else waste
        if not 0.0 <= waste <= 200.0:
            raise InputError(called("waste_percent"), f"{waste:g} %", "expected 0 to 200 % of the batch")
        told["batch_g"] *= 1.0 + waste / 100.0
    elif waste is not None:
        raise InputError(called("waste_percent"), "the batch is not told", mend="give batch_g too")
    if told["scale_step_g"] is None and told["batch_g"] is not None:
        told["scale_step_g"] = workshop().scale_step_g
    if workshop().dose_tolerance_percent is not None:
        told["dose_tolerance_percent"] = workshop().dose_tolerance_percent
    return Rules(**told)
