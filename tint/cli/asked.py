"""What a user asks for: a blend, how it is cast and seen, a target; as options, and as what the library takes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import click

from tint.appearance import Setting
from tint.cli.options import base_option, grouped, known, number, number_option
from tint.errors import InputError
from tint.materials import GEOMETRIES, SEATS, Blend
from tint.palette import Palette
from tint.target import Target, target_from_lab, target_from_reading, target_from_srgb


@dataclass(frozen=True)
class Doses:
    """A blend as the command line names it."""

    base: str | None
    loadings: Mapping[str, float]

    @property
    def given(self) -> bool:
        """Whether anything was named."""
        return self.base is not None or bool(self.loadings)


def _dose(text: str) -> tuple[str, float]:
    name, sign, amount = text.rpartition("=")
    expected = "expected PIGMENT=PERCENT, as in white=0.5"
    if not sign or not name.strip():
        raise InputError("--load", f"`{text}`", expected)
    if "=" in name:
        raise InputError("--load", f"`{text}` names more than one pigment", expected, "give --load once for each")
    loading = number(amount.strip().removesuffix("%"), f"--load {name.strip()}", "a loading in percent, as in 0.5")
    if not 0.0 <= loading <= 100.0:
        raise InputError(f"--load {name.strip()}", f"{loading:g} %", "expected a loading from 0 to 100 %")
    return name.strip(), loading


def _doses(base: str | None, load: tuple[tuple[str, float], ...]) -> Doses:
    names = [name for name, _ in load]
    twice = [name for name in names if names.count(name) > 1]
    if twice:
        raise InputError("--load", f"{twice[0]} is given twice", "expected each pigment once")
    return Doses(base, dict(load))


blend_options = grouped(
    "doses",
    _doses,
    base_option,
    click.option(
        "--load",
        type=_dose,
        multiple=True,
        metavar="PIGMENT=PERCENT",
        help="A pigment and its percent by mass of the finished mix; repeat for each.",
    ),
)


def base_of(palette: Palette, name: str | None) -> str:
    """The base of that name, or the only one.

    Raises
    ------
    InputError
        If there is no such base, or none is named and there are several.
    """
    if name is not None:
        return known(name, palette.bases, "--base")
    if len(palette.seen) == 1:
        return next(iter(palette.seen))
    raise InputError("--base", "no base is named", "expected one of " + ", ".join(palette.bases))


def blend_of(palette: Palette, doses: Doses) -> Blend:
    """The blend that doses name, its names checked."""
    base = base_of(palette, doses.base)
    return Blend(base, {known(name, palette.pigments, "--load"): dose for name, dose in doses.loadings.items()})


# How it is cast and seen.


def _casting(
    thickness: float | None,
    over: str | None,
    seat: str | None,
    light: str | None,
    observer: str | None,
    geometry: str | None,
) -> dict[str, Any]:
    """Only what was given: the rest is the library's default, or a recipe's own."""
    given = {
        "thickness_mm": thickness,
        "over": over,
        "seat": seat,
        "light": light,
        "observer": None if observer is None else int(observer),
        "geometry": geometry,
    }
    return {name: value for name, value in given.items() if value is not None}


setting_options = grouped(
    "casting",
    _casting,
    number_option("--thickness", "Wall thickness of the part.", expected="a wall thickness in mm", metavar="MM"),
    click.option("--over", metavar="BACKING", help="What lies behind, or `none`.  [default: the lightest backing]"),
    click.option("--seat", type=click.Choice(SEATS), help="An air film behind, or optical contact.  [default: air]"),
    click.option("--light", metavar="NAME", help="A CIE light: D65, D50, A, FL11 ...  [default: D65]"),
    click.option("--observer", type=click.Choice(("2", "10")), help="Degrees.  [default: 10]"),
    click.option("--geometry", type=click.Choice(GEOMETRIES), help="As read in.  [default: the swatches' own]"),
)


def setting_of(palette: Palette, casting: Mapping[str, Any]) -> Setting:
    """The setting that options name.

    Raises
    ------
    InputError
        If there is no thickness, or a backing is unknown.
    """
    if "thickness_mm" not in casting:
        expected = "expected the wall thickness of the part in mm"
        raise InputError("--thickness", "not given", expected, "as in --thickness 3")
    if casting.get("over"):
        known(casting["over"], [*palette.backings, "none"], "--over")
    return Setting(**casting)


# What is wanted.


@dataclass(frozen=True, kw_only=True)
class Wish:
    """A target as the command line names it."""

    lab: tuple[float, ...] | None
    srgb: str | None
    reading: str | None
    opacity: Mapping[str, float]
    tolerance: float | None


def _lab(text: str) -> tuple[float, ...]:
    parts = text.replace(";", ",").split(",")
    expected = "three numbers L,a,b as in 70,20,40"
    if len(parts) != 3:
        mend = "write decimals with a point" if len(parts) > 3 else ""
        raise InputError("--target-lab", f"`{text}`", f"expected {expected}", mend)
    return tuple(number(part, "--target-lab", expected) for part in parts)


def _wish(
    target_lab: tuple[float, ...] | None, target_srgb: str | None, target_reading: str | None,
    contrast_ratio: float | None, contrast_ratio_min: float | None, contrast_ratio_max: float | None,
    tolerance: float | None,
) -> Wish:  # fmt: skip
    opacity = {
        "contrast_ratio": contrast_ratio,
        "contrast_ratio_min": contrast_ratio_min,
        "contrast_ratio_max": contrast_ratio_max,
    }
    return Wish(
        lab=target_lab,
        srgb=target_srgb,
        reading=target_reading,
        opacity={name: value for name, value in opacity.items() if value is not None},
        tolerance=tolerance,
    )


_RATIO = "a contrast ratio, more than 0 and at most 1"
target_options = grouped(
    "wish",
    _wish,
    click.option(
        "--target-lab", type=_lab, metavar="L,a,b", help="The colour wanted, as CIELAB in the setting's light."
    ),
    click.option("--target-srgb", metavar="'#rrggbb'", help="As a screen colour; quote it."),
    click.option("--target-reading", metavar="FILE[:NAME]", help="As measured: a row of a readings table."),
    number_option("--contrast-ratio", "The opacity to reach.", expected=_RATIO, metavar="X"),
    number_option("--contrast-ratio-min", "The least opacity.", expected=_RATIO, metavar="X"),
    number_option("--contrast-ratio-max", "The most opacity.", expected=_RATIO, metavar="X"),
    number_option("--tolerance", "What counts as reached.  [default: 1]", expected="a CIEDE2000", metavar="CIEDE2000"),
)


def target_of(palette: Palette, wish: Wish, setting: Setting) -> Target | None:
    """The target that options name; None when they name no colour.

    Raises
    ------
    InputError
        If they name more than one, or one that cannot be read.
    """
    kinds = {"--target-lab": wish.lab, "--target-srgb": wish.srgb, "--target-reading": wish.reading}
    given = [option for option, value in kinds.items() if value is not None]
    if len(given) > 1:
        raise InputError("target", f"{' and '.join(given)} are both given", "expected one of them")
    asked = dict(wish.opacity) | ({} if wish.tolerance is None else {"tolerance": wish.tolerance})
    if wish.lab is not None:
        return target_from_lab(wish.lab, **asked)  # type: ignore[arg-type]  # numbers by name
    view = setting.viewing(palette)
    if wish.srgb is not None:
        return target_from_srgb(wish.srgb, view, **asked)
    if wish.reading is not None:
        return target_from_reading(wish.reading, view, wavelengths=palette.wavelengths, **asked)
    if asked:
        raise InputError("target", "an opacity or tolerance without a colour", "expected " + " or ".join(kinds))
    return None
