"""What a user asks for: a blend, and how it is cast and seen; as options, and as what the library takes."""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tint.appearance import Setting
from tint.cli.amounts import PERCENT, Pairs, all_known, amounts_option, each_once, one_thickness, thicknesses
from tint.cli.options import Command, Decorator, base_option, grouped, known, scale_option
from tint.errors import InputError
from tint.materials import GEOMETRIES, SEATS, Blend
from tint.optics.finish import HEIGHTS_UM
from tint.palette import Palette
from tint.swatches.instruments import Given
from tint.trials.files import read_reading

if TYPE_CHECKING:
    from tint.proofs.trial import Trial


@dataclass(frozen=True)
class Doses:
    """A blend as the command line names it."""

    base: str | None
    loadings: Mapping[str, float]

    @property
    def given(self) -> bool:
        """Whether anything was named."""
        return self.base is not None or bool(self.loadings)


def _doses(base: str | None, load: Pairs) -> Doses:
    return Doses(base, each_once(load, "--load"))


blend_options = grouped(
    "doses",
    _doses,
    base_option,
    amounts_option("--load", "A pigment and its percent by mass of the finished mix.", PERCENT),
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
    return Blend(base, all_known(doses.loadings, palette.pigments, "--load"))


# How it is cast and seen.


def _casting(
    thickness: float | tuple[float, ...] | None,
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


def _seen(
    thickness: float | tuple[float, ...] | None, over: str | None, seat: str | None, light: str | None,
    observer: str | None, geometry: str | None, finish: str | None, as_read: bool,
) -> dict[str, Any]:  # fmt: skip
    """As `_casting`, with what a prediction alone is asked."""
    told = {"finish": finish, "as_read": as_read or None}
    casting = _casting(thickness, over, seat, light, observer, geometry)
    return casting | {name: value for name, value in told.items() if value is not None}


def _setting_options(
    collect: Callable[..., dict[str, Any]],
    parse: Callable[[str], float | tuple[float, ...]],
    thickness: str,
    *more: Decorator,
) -> Decorator:
    return grouped(
        "casting",
        collect,
        click.option("--thickness", type=parse, metavar="MM", help=thickness),
        click.option("--over", metavar="BACKING", help="The backing, or `none`.  [default: the lightest backing]"),
        click.option(
            "--seat",
            type=click.Choice(SEATS),
            help="An air film behind it, or optical contact.  [default: air]",
        ),
        click.option("--light", metavar="NAME", help="A CIE light: D65, D50, A, FL11 ...  [default: D65]"),
        click.option("--observer", type=click.Choice(("2", "10")), help="Standard observer, degrees.  [default: 10]"),
        click.option(
            "--geometry", type=click.Choice(GEOMETRIES), help="Measuring geometry.  [default: the swatches' own]"
        ),
        *more,
    )


def setting_options(command: Command) -> Command:
    """How a part is cast and seen, as `casting`; and as `said` what that tells of a file that leaves it open."""

    @functools.wraps(command)
    def run(*, casting: dict[str, Any], scale: str | None, **more: Any) -> Any:
        told = {name: str(casting.get(name, "")) for name in ("light", "observer", "geometry")}
        return command(casting=casting, said=Given(scale=scale or "", **told), **more)

    return _setting_options(_casting, one_thickness, "Wall thickness of the part.")(scale_option(run))


span_options = _setting_options(
    _seen,
    thicknesses,
    "Wall thickness; for a table a list 1,2,4 or a range 0.5:6:0.5.",
    click.option("--finish", type=click.Choice(tuple(HEIGHTS_UM)), help="Faces of the part.  [default: gloss]"),
    click.option("--as-read", is_flag=True, help="As the swatches' instrument reads it, with what its spot loses."),
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


def span_of(palette: Palette, casting: Mapping[str, Any]) -> tuple[Setting, tuple[float, ...]]:
    """The setting that options with several thicknesses name, at the thinnest, and all the thicknesses [mm]."""
    depths = casting.get("thickness_mm", ())
    return setting_of(palette, {**casting, **({"thickness_mm": depths[0]} if depths else {})}), depths


# The casting that a proof shows beside its prediction, as options: its photograph and its reading.


@dataclass(frozen=True, kw_only=True)
class Cast:
    """A casting as the command line names it."""

    photo: Path | None
    read: str | None
    read_thickness: float | None

    @property
    def given(self) -> Mapping[str, object]:
        """The options that were given."""
        told = {"--photo": self.photo, "--read": self.read, "--read-thickness": self.read_thickness}
        return {option: value for option, value in told.items() if value is not None}

    def check(self) -> None:
        """Refuse a thickness without a reading.

        Raises
        ------
        InputError
        """
        if self.read_thickness is not None and self.read is None:
            raise InputError("--read-thickness", "no reading to apply it to", mend="name one with --read")

    def trial(self, palette: Palette, blend: Blend, setting: Setting, said: Given) -> Trial | None:
        """What is shown of it, as a casting of a blend; None when nothing was given.

        Raises
        ------
        InputError
            If photograph or reading cannot be read.
        """
        if not self.given:
            return None
        from tint.proofs.trial import Read, read_photo, trial_of

        photo = None if self.photo is None else read_photo(self.photo)
        over = setting.over or (palette.white if palette.backings else "none")
        read = None
        if self.read is not None:
            depth = self.read_thickness or setting.thickness_mm
            own = replace(setting, over=over, thickness_mm=depth)
            reading = read_reading(self.read, palette, blend, setting=own, said=said)
            read = Read(spectrum=reading.values, named=Path(self.read).name, thickness_mm=self.read_thickness)
        return trial_of(palette, blend, setting=setting, photo=photo, read=read)


cast_options = grouped(
    "cast",
    Cast,
    click.option("--photo", metavar="FILE", type=click.Path(path_type=Path), help="A photograph of it, only to show."),
    click.option("--read", metavar="FILE[:NAME]", help="It as read over --over: a row of a readings table."),
    click.option(
        "--read-thickness", type=one_thickness, metavar="MM", help="As read on it.  [default: as --thickness]"
    ),
)
