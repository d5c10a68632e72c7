"""What is wanted, as options: a colour and an opacity, the sample that shows both, and what a recipe may hold."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Any

import click

from tint.appearance import Setting
from tint.cli import options
from tint.cli.asked import base_of
from tint.cli.workshop import workshop
from tint.errors import InputError
from tint.materials import Blend
from tint.opacity import bounds_of, opacity_of
from tint.palette import ONE_WAY, Palette
from tint.recipes import RANKINGS, Rules
from tint.swatches.instruments import Given
from tint.target import (
    Target,
    target_from_blend,
    target_from_lab,
    target_from_photo,
    target_from_reading,
    target_from_srgb,
    with_black,
)
from tint.weighing.batch import WASTE_PERCENT, waste_of


@dataclass(frozen=True, kw_only=True)
class Wish:
    """A target as the command line names it."""

    lab: tuple[float, ...] | None
    srgb: str | None
    reading: str | None
    photo: str | None
    opacity: Mapping[str, float] | None
    tolerance: float | None

    @property
    def given(self) -> list[str]:
        """The options that name a colour."""
        values = zip(_COLOURS, (self.lab, self.srgb, self.reading, self.photo), strict=True)
        return [option.split(" ")[0] for option, value in values if value is not None]

    @property
    def has_no_gloss(self) -> bool:
        """Whether the colour is that of a screen or photograph."""
        return self.srgb is not None or self.photo is not None

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
            raise InputError(option, error.found, error.expected, error.mend) from error

    return convert


def _wish(
    target_lab: tuple[float, ...] | None, target_srgb: str | None, target_reading: str | None,
    target_photo: str | None, **more: Any,
) -> Wish:  # fmt: skip
    return Wish(lab=target_lab, srgb=target_srgb, reading=target_reading, photo=target_photo, **more)


target_options = options.grouped(
    "wish",
    _wish,
    options.lab("--target-lab", "The colour wanted, as CIELAB L*, a*, b*."),
    click.option("--target-srgb", metavar="'#rrggbb'", help="The same as a screen colour, in quotation marks."),
    click.option("--target-reading", metavar="FILE[:NAME]", help="The same as measured: a table or instrument's file."),
    click.option(
        "--target-photo", metavar="FILE:X,Y[:chart]",
        help="The same as a place in a photograph, in pixels; without a chart in it, roughly.",
    ),
    click.option(
        "--opacity",
        type=_bounds(opacity_of, "--opacity"),
        metavar="WORD|RANGE",
        help="solid, milky, see-through, glows, any; or a contrast ratio: 0.95, 0.97.., ..0.6, 0.6..0.7.",
    ),
    options.number(
        "--tolerance", "The CIEDE2000 within which the colour counts as reached.  [default: 1]",
        expected="a CIEDE2000", metavar="CIEDE2000",
    ),
)  # fmt: skip


def target_of(palette: Palette, wish: Wish, setting: Setting, said: Given, **more: Any) -> Target | None:
    """The target that options name, with what more is asked of it; None when they name no colour."""
    asked = wish.asked | more
    if len(wish.given) > 1:
        raise InputError("target", f"{' and '.join(wish.given)} are both given", "expected one of them")
    if wish.lab is not None:
        return target_from_lab(wish.lab, **asked)
    if wish.srgb is not None:
        return target_from_srgb(wish.srgb, setting.viewing(palette), **asked)
    if wish.photo is not None:
        return target_from_photo(wish.photo, setting.viewing(palette), **asked)
    if wish.reading is not None:
        over = setting.behind(palette)
        return _read(palette, wish.reading, setting, over, said, **asked)
    if asked:
        raise InputError("target", "an opacity or tolerance without a colour", "expected " + " or ".join(_COLOURS))
    return None


def _read(palette: Palette, where: str, setting: Setting, over: str, said: Given, **asked: Any) -> Target:
    return target_from_reading(
        where,
        setting.viewing(palette),
        wavelengths=palette.wavelengths,
        over=over,
        seat="air" if over == "none" else setting.seat,
        geometry=setting.geometry or palette.instrument.geometry,
        said=said,
        **asked,
    )


# More of the sample that shows it.


@dataclass(frozen=True, kw_only=True)
class Sample:
    """How a target was measured, or the blend whose look it is; arguments are named as the options are."""

    target_over: str | None
    target_black: str | None
    target_thickness: float | None
    as_blend: Mapping[str, float]
    as_base: str | None
    transmittance: Mapping[str, float] | None
    haze: Mapping[str, float] | None

    @property
    def measured(self) -> list[str]:
        """The options given that make sense of a measured sample alone."""
        told = {name: getattr(self, name) for name in ("target_over", "target_black", "target_thickness")}
        return [f"--{name.replace('_', '-')}" for name in options.given(**told)]

    @property
    def light(self) -> dict[str, float]:
        """What it asks of the light that is let through."""
        return {**(self.transmittance or {}), **(self.haze or {})}

    @property
    def more(self) -> dict[str, float]:
        """What it asks of a target besides."""
        return {**self.light, **options.given(thickness_mm=self.target_thickness)}


sample_options = options.grouped(
    "sample",
    Sample,
    click.option("--target-over", metavar="BACKING", help="The backing behind the sample; recipes are judged over it."),
    click.option("--target-black", metavar="FILE[:NAME]", help="The same sample measured over the darkest backing."),
    options.number(
        "--target-thickness", "The sample's thickness, if not the part's.", expected="a thickness in mm", metavar="MM"
    ),
    options.amounts("--as-blend", "Match colour and opacity of this blend instead.", options.PERCENT),
    click.option("--as-base", metavar="NAME", help="The base of that blend.  [default: as --base]"),
    click.option(
        "--transmittance",
        type=_bounds(partial(bounds_of, "transmittance"), "--transmittance"),
        metavar="RANGE",
        help="Luminous transmittance of the part with nothing behind it: 0.45, 0.3.., ..0.5 or 0.3..0.4.",
    ),
    click.option(
        "--haze",
        type=_bounds(partial(bounds_of, "haze"), "--haze"),
        metavar="RANGE",
        help="Share of that light which the part scatters, so that what lies behind is blurred: ..0.3 or 0.9...",
    ),
)


def judged_over(palette: Palette, sample: Sample, casting: Mapping[str, Any]) -> dict[str, Any]:
    """How the part is cast and seen: over what the target was seen over, where that is told."""
    if sample.target_over is None:
        return dict(casting)
    over = options.known(sample.target_over, [*palette.backings, "none"], "--target-over")
    if casting.get("over", over) != over:
        found = f"{over}, but --over {casting['over']}"
        raise InputError("--target-over", found, "expected one backing for both", "leave --over out")
    return {**casting, "over": over}


def wanted(
    palette: Palette, wish: Wish, sample: Sample, *, setting: Setting, base: str | None, said: Given
) -> Target:  # fmt: skip
    """The target that all options together name."""
    if sample.as_blend or sample.as_base is not None:
        return _as_blend(palette, wish, sample, setting=setting, base=base)
    if not wish.given:
        found = "an opacity or tolerance without a colour" if wish.asked or sample.light else "no colour is named"
        raise InputError("target", found, f"expected {', '.join(_COLOURS)} or --as-blend PIGMENT=PERCENT")
    target = target_of(palette, wish, setting, said, **sample.more)
    assert target is not None  # a colour is given
    if sample.target_black is None:
        return target
    if not palette.pair:
        raise InputError("--target-black", "the palette cannot tell opacity", ONE_WAY, "leave it out")
    black = _read(palette, sample.target_black, setting, palette.black, said)
    return with_black(target, black, palette, setting=setting)


def _as_blend(palette: Palette, wish: Wish, sample: Sample, *, setting: Setting, base: str | None) -> Target:
    clash = [*wish.given, *sample.measured]
    if clash:
        raise InputError("--as-blend", f"given together with {' and '.join(clash)}", "expected one or the other")
    loadings = options.all_known(sample.as_blend, palette.pigments, "--as-blend")
    blend = Blend(base_of(palette, sample.as_base or base, "--as-base"), loadings)
    return target_from_blend(palette, blend, setting=setting, **wish.asked, **sample.light)


# What a recipe may hold and how recipes are ranked.


def _pigments(name: str, text: str) -> options.Decorator:
    return click.option(name, multiple=True, metavar="PIGMENT", help=f"{text} {options.AGAIN}")


def _percent(name: str, text: str, expected: str, default: float | None = None) -> options.Decorator:
    return options.number(name, text, expected=expected, metavar="PERCENT", default=default)


rules_options = options.grouped(
    "search",
    dict,
    options.count("--most-pigments", "The largest number of pigments in a recipe.", default=Rules.most_pigments),
    _pigments("--keep", "Use this pigment in every recipe."),
    _pigments("--leave-out", "Exclude this pigment."),
    _pigments("--insist", "Allow this pigment although it is known to upset the cure."),
    options.amounts("--fix", "Fix the loading of this pigment.", options.PERCENT, to="fixed"),
    _percent("--smallest", "The smallest loading of a pigment.", "percent of the mix", default=0.0),
    _percent("--max-total", "The largest loading in all.", "percent of the mix"),
    options.amounts("--stock", "The grams of this pigment in stock.", options.GRAMS, to="stock_g"),
    options.number("--batch-g", "The grams of mix that the moulds hold.", expected="grams of mix", metavar="G"),
    _percent("--waste", f"A margin for what stays in the cup.  [default: {WASTE_PERCENT:g}]", "% of the batch"),
    options.number(
        "--scale-step", "Round doses to this step of the scale.", expected="grams", metavar="G", to="scale_step_g"
    ),
    options.walls,
    click.option("--also-light", metavar="NAME", help="A second light, in which recipes are compared too."),
    click.option(
        "--rank-by", type=click.Choice(RANKINGS), default=RANKINGS[0], show_default=True,
        help="How recipes are ordered.",
    ),
    options.count("--recipes", "How many recipes to show.", default=Rules.most_recipes, to="most_recipes"),
)  # fmt: skip


def rules_of(palette: Palette, search: Mapping[str, Any]) -> Rules:
    """The rules that options name, their pigments checked."""
    told = dict(search)
    for option in ("keep", "leave_out", "insist"):
        for name in told[option]:
            options.known(name, palette.pigments, f"--{option.replace('_', '-')}")
    options.all_known(told["fixed"], palette.pigments, "--fix")
    options.all_known(told["stock_g"], palette.pigments, "--stock")
    told["batch_g"] = _mix(told["batch_g"], told.pop("waste"))
    if told["scale_step_g"] is None and told["batch_g"] is not None:
        told["scale_step_g"] = workshop().scale_step_g
    if workshop().dose_tolerance_percent is not None:
        told["dose_tolerance_percent"] = workshop().dose_tolerance_percent
    return Rules(**told)


def _mix(batch_g: float | None, waste: float | None) -> float | None:
    """What is weighed for a batch, waste included, as `tint weigh` has it [g]."""
    if batch_g is None:
        if waste is not None:
            raise InputError("--waste", "the batch is not told", mend="give --batch-g too")
        return None
    percent = waste_of(workshop()) if waste is None else waste
    if not 0.0 <= percent <= 200.0:
        raise InputError("--waste", f"{percent:g} %", "expected 0 to 200 % of the batch")
    return batch_g * (1.0 + percent / 100.0)
