"""What is wanted, as options: a colour, the opacity that goes with it, and the sample that shows both."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import click

from tint.appearance import Setting
from tint.cli.amounts import PERCENT, Pairs, all_known, amounts_option, each_once
from tint.cli.asked import Doses
from tint.cli.options import grouped, known, number, number_option
from tint.errors import InputError
from tint.materials import Blend
from tint.opacity import haze_of, light_of, opacity_of
from tint.palette import ONE_WAY, Palette
from tint.swatches.instruments import Given
from tint.target import (
    Target,
    target_from_blend,
    target_from_lab,
    target_from_reading,
    target_from_srgb,
    with_black,
)


@dataclass(frozen=True, kw_only=True)
class Wish:
    """A target as the command line names it."""

    lab: tuple[float, ...] | None
    srgb: str | None
    reading: str | None
    asked: Mapping[str, float]
    opacity_told: bool = False

    @property
    def given(self) -> list[str]:
        """The options that name a colour."""
        values = zip(_COLOURS, (self.lab, self.srgb, self.reading), strict=True)
        return [option.split(" ")[0] for option, value in values if value is not None]


_COLOURS = ("--target-lab L,a,b", "--target-srgb '#rrggbb'", "--target-reading FILE[:NAME]")


def _lab(text: str) -> tuple[float, ...]:
    parts = text.replace(";", ",").split(",")
    expected = "three numbers L,a,b as in 70,20,40"
    if len(parts) != 3:
        mend = "write decimals with a point" if len(parts) > 3 else ""
        raise InputError("--target-lab", f"`{text}`", f"expected {expected}", mend)
    return tuple(number(part, "--target-lab", expected) for part in parts)


def _wish(
    target_lab: tuple[float, ...] | None, target_srgb: str | None, target_reading: str | None,
    opacity: dict[str, float] | None, tolerance: float | None,
) -> Wish:  # fmt: skip
    asked = {**(opacity or {}), "tolerance": tolerance}
    return Wish(
        lab=target_lab,
        srgb=target_srgb,
        reading=target_reading,
        asked={name: value for name, value in asked.items() if value is not None},
        opacity_told=opacity is not None,
    )


def _opacity(text: str) -> dict[str, float]:
    return _told(opacity_of, text, "--opacity")


def _light(text: str) -> dict[str, float]:
    return _told(light_of, text, "--transmittance")


def _haze(text: str) -> dict[str, float]:
    return _told(haze_of, text, "--haze")


def _told(read: Callable[[str], dict[str, float]], text: str, option: str) -> dict[str, float]:
    try:
        return read(text)
    except InputError as error:
        raise InputError(option, error.found, error.expected, error.mend) from error


target_options = grouped(
    "wish",
    _wish,
    click.option("--target-lab", type=_lab, metavar="L,a,b", help="The colour wanted, as CIELAB L*, a*, b*."),
    click.option("--target-srgb", metavar="'#rrggbb'", help="The same as a screen colour, in quotation marks."),
    click.option(
        "--target-reading",
        metavar="FILE[:NAME]",
        help="The same as measured: a table or an instrument's file.",
    ),
    click.option(
        "--opacity",
        type=_opacity,
        metavar="WORD|RANGE",
        help="solid, milky, see-through, glows, any; or a contrast ratio: 0.95, 0.97.., ..0.6, 0.6..0.7.",
    ),
    number_option(
        "--tolerance",
        "What counts as reached.  [default: 1]",
        expected="a CIEDE2000",
        metavar="CIEDE2000",
    ),
)


def target_of(palette: Palette, wish: Wish, setting: Setting, said: Given) -> Target | None:
    """The target that options name; None when they name no colour.

    Raises
    ------
    InputError
        If they name more than one, or one that cannot be read.
    """
    if len(wish.given) > 1:
        raise InputError("target", f"{' and '.join(wish.given)} are both given", "expected one of them")
    if wish.lab is not None:
        return target_from_lab(wish.lab, **wish.asked)
    view = setting.viewing(palette)
    if wish.srgb is not None:
        return target_from_srgb(wish.srgb, view, **wish.asked)
    if wish.reading is not None:
        over = setting.over or (palette.white if palette.backings else "none")
        return _read(palette, wish.reading, setting, over, said, **wish.asked)
    if wish.asked:
        raise InputError("target", "an opacity or tolerance without a colour", "expected " + " or ".join(_COLOURS))
    return None


def _read(palette: Palette, where: str, setting: Setting, over: str, said: Given, **asked: Any) -> Target:
    view, seat = setting.viewing(palette), "air" if over == "none" else setting.seat
    return target_from_reading(
        where,
        view,
        wavelengths=palette.wavelengths,
        over=over,
        seat=seat,
        geometry=setting.geometry or palette.instrument.geometry,
        said=said,
        **asked,
    )


# More of the sample that shows it.


@dataclass(frozen=True, kw_only=True)
class Sample:
    """How a target was measured, or the blend whose look it is."""

    over: str | None
    black: str | None
    thickness_mm: float | None
    blend: Doses
    light: Mapping[str, float]

    @property
    def measured(self) -> list[str]:
        """The options given that make sense of a measured sample alone."""
        told = {"--target-over": self.over, "--target-black": self.black, "--target-thickness": self.thickness_mm}
        return [option for option, value in told.items() if value is not None]


def _sample(
    target_over: str | None, target_black: str | None, target_thickness: float | None, as_blend: Pairs,
    as_base: str | None, transmittance: dict[str, float] | None, haze: dict[str, float] | None,
) -> Sample:  # fmt: skip
    return Sample(
        over=target_over,
        black=target_black,
        thickness_mm=target_thickness,
        blend=Doses(as_base, each_once(as_blend, "--as-blend")),
        light={**(transmittance or {}), **(haze or {})},
    )


sample_options = grouped(
    "sample",
    _sample,
    click.option("--target-over", metavar="BACKING", help="The backing behind the sample; recipes are judged over it."),
    click.option("--target-black", metavar="FILE[:NAME]", help="The same sample measured over the darkest backing."),
    number_option(
        "--target-thickness",
        "The sample's thickness, if not the part's.",
        expected="a thickness in mm",
        metavar="MM",
    ),
    amounts_option("--as-blend", "Match colour and opacity of this blend instead.", PERCENT),
    click.option("--as-base", metavar="NAME", help="The base of that blend.  [default: as --base]"),
    click.option(
        "--transmittance",
        type=_light,
        metavar="RANGE",
        help="Luminous transmittance of the part with nothing behind it: 0.45, 0.3.., ..0.5 or 0.3..0.4.",
    ),
    click.option(
        "--haze",
        type=_haze,
        metavar="RANGE",
        help="Share of that light which the part scatters, so that what lies behind is blurred: ..0.3 or 0.9...",
    ),
)


def judged_over(palette: Palette, sample: Sample, casting: Mapping[str, Any]) -> dict[str, Any]:
    """How the part is cast and seen: over what the target was seen over, where that is told.

    Raises
    ------
    InputError
        If it is unknown, or not what --over says.
    """
    if sample.over is None:
        return dict(casting)
    over = known(sample.over, [*palette.backings, "none"], "--target-over")
    if casting.get("over", over) != over:
        found = f"{over}, but --over {casting['over']}"
        raise InputError("--target-over", found, "expected one backing for both", "leave --over out")
    return {**casting, "over": over}


def wanted(
    palette: Palette, wish: Wish, sample: Sample, *, setting: Setting, base: str | None, said: Given
) -> Target:  # fmt: skip
    """The target that all options together name.

    Raises
    ------
    InputError
        If they name none, more than one, or one that cannot be read.
    """
    if sample.blend.given:
        return _as_blend(palette, wish, sample, setting=setting, base=base)
    more = dict(sample.light) | ({} if sample.thickness_mm is None else {"thickness_mm": sample.thickness_mm})
    if not wish.given:
        found = "an opacity or tolerance without a colour" if wish.asked or sample.light else "no colour is named"
        raise InputError("target", found, f"expected {', '.join(_COLOURS)} or --as-blend PIGMENT=PERCENT")
    target = target_of(palette, replace(wish, asked={**wish.asked, **more}), setting, said)
    assert target is not None  # a colour is given
    if sample.black is None:
        return target
    if not palette.pair:
        raise InputError("--target-black", "the palette cannot tell opacity", ONE_WAY, "leave it out")
    return with_black(target, _read(palette, sample.black, setting, palette.black, said), palette, setting=setting)


def _as_blend(palette: Palette, wish: Wish, sample: Sample, *, setting: Setting, base: str | None) -> Target:
    clash = [*wish.given, *sample.measured]
    if clash:
        raise InputError("--as-blend", f"given together with {' and '.join(clash)}", "expected one or the other")
    loadings = all_known(sample.blend.loadings, palette.pigments, "--as-blend")
    own = sample.blend.base or base or (next(iter(palette.seen)) if len(palette.seen) == 1 else None)
    if own is None:
        raise InputError("--as-base", "no base is named", "expected one of " + ", ".join(palette.bases))
    blend = Blend(known(own, palette.bases, "--as-base"), loadings)
    return target_from_blend(palette, blend, setting=setting, **wish.asked, **sample.light)
