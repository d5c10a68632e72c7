"""What a command is asked about: a palette, a blend or a file of recipes, and how it is cast and seen."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tint import jsonable
from tint.appearance import Setting
from tint.cli import options, show
from tint.cli.keys import option
from tint.errors import InputError
from tint.materials import Blend
from tint.optics.surface import HEIGHTS_UM
from tint.palette import BROKEN, Palette, fit_path, read_palette
from tint.swatches import folder_digest


def palette_of(folder: Path, optics: str) -> Palette:
    """The palette fitted to a folder as it now stands; an error where it was not fitted, or has changed since.

    One whose file is broken, or of another version of tint, is fitted again and written.
    """
    digest = folder_digest(folder)
    try:
        return read_palette(fit_path(folder, optics), digest=digest)
    except InputError as error:
        if error.found == BROKEN:
            return _fitted_again(folder, optics)
        if optics == options.DEFAULT_OPTICS or "tint fit" not in error.mend:
            raise
        mend = f"run `tint fit {folder} --optics {optics}`"
        raise InputError(error.where, error.found, error.expected, mend) from error


def _fitted_again(folder: Path, optics: str) -> Palette:
    from tint.fitting import refit  # only needed where a palette is lost

    show.warn(f"{fit_path(folder, optics)}: {BROKEN}; it is fitted again")
    with show.waiting("fitting again") as told:
        return refit(folder, optics=optics, progress=told)


# A blend, or recipes of a file.


def base_of(palette: Palette, name: str | None, option: str = "--base") -> str:
    """The base of that name, or the only one."""
    if name:
        return options.known(name, palette.bases, option)
    if len(palette.seen) == 1:
        return next(iter(palette.seen))
    raise InputError(option, "no base is named", "expected one of " + ", ".join(palette.bases))


def blend_of(palette: Palette, base: str | None, load: Mapping[str, float]) -> Blend:
    return Blend(base_of(palette, base), options.all_known(load, palette.pigments, "--load"))


@dataclass(frozen=True)
class Chosen:
    """Recipes that a command is given, by rank, and the file that they are of; a blend is one without a file."""

    recipes: Mapping[int, jsonable.Recipe]
    file: jsonable.Answer | None = None
    is_comparison: bool = False  # whether they are to be seen side by side

    def blends(self, palette: Palette) -> dict[int, Blend]:
        return {rank: blend_of(palette, each.base, each.loadings) for rank, each in self.recipes.items()}

    @property
    def solved_in(self) -> dict[str, Any]:
        """What the file says of the setting."""
        return self.file.setting.told if self.file is not None and self.file.setting is not None else {}

    @property
    def span(self) -> dict[str, Any]:
        """The same where several thicknesses may be asked for: the part's own, and its further walls."""
        told = self.solved_in
        if self.file is not None and "thickness_mm" in told:
            told["thickness_mm"] = tuple(sorted({told["thickness_mm"], *self.file.walls_mm}))
        return told

    def further_walls(self, setting: Setting, named: Sequence[float] = ()) -> tuple[float, ...]:
        """The walls beside the setting's: those that options name, else those of the file [mm]."""
        walls = tuple(named) or (() if self.file is None else self.file.walls_mm)
        if walls and not named:
            walls = (*walls, self.solved_in.get("thickness_mm") or setting.thickness_mm)
        return tuple(sorted({float(wall) for wall in walls} - {setting.thickness_mm}))

    def setting(self, palette: Palette, casting: Mapping[str, Any]) -> Setting:
        """What the options say, and for the rest what the recipe was solved in."""
        return setting_of(palette, {**self.solved_in, **casting})


def chosen(base: str | None, load: Mapping[str, float], recipe: str | None, pick: int | None) -> Chosen:
    """The recipe that a command is given: that of a rank, or the best of the file."""
    return _chosen(base, load, recipe, None if pick is None else (pick,))


def _chosen(
    base: str | None, load: Mapping[str, float], recipe: str | None, pick: tuple[int, ...] | None
) -> Chosen:  # fmt: skip
    if recipe is None:
        if pick is not None:
            raise InputError("--pick", "no recipe file to pick from", mend="name one with --recipe")
        return Chosen({1: jsonable.Recipe(base=base or "", loadings=dict(load))})
    if base is not None or load:
        raise InputError("--recipe", "given together with --base or --load", "expected one or the other")
    from tint.recipes import from_json  # takes as long to import as a prediction, which needs none of it

    data, where = options.read_file(recipe)
    file = from_json(data, where=where)
    if pick == ():
        from tint.proofs.comparison import MOST

        ranks: Iterable[int] = range(1, min(len(file.recipes), MOST) + 1)
    else:
        ranks = pick or (1,)
    several = pick is not None and len(pick) != 1
    return Chosen({rank: picked(file, rank, where) for rank in ranks}, file, is_comparison=several)


def picked(file: jsonable.Answer, rank: int, where: str) -> jsonable.Recipe:
    """The recipe of a rank, counted from 1, the best."""
    if not 1 <= rank <= len(file.recipes):
        raise InputError("--pick", f"{rank}", f"expected 1 to {len(file.recipes)}, the recipes in {where}")
    return file.recipes[rank - 1]


def _picks(text: str) -> tuple[int, ...]:
    """Ranks as in `2` or `1,3`, each once; none for `all`."""
    if text.strip() == "all":
        return ()
    expected = "whole numbers of at least 1, as in 1,3"
    named = [options.number_in(part, "--pick", expected) for part in text.split(",")]
    if any(value < 1 or value != int(value) for value in named):
        raise InputError("--pick", f"`{text}`", f"expected {expected}")
    return tuple(dict.fromkeys(map(int, named)))


pick = options.count("--pick", "Which recipe of the file.  [default: 1, the best]")
_several = option(
    "--pick", type=_picks, metavar="N[,N ...]|all",
    help="Which recipe of the file; several, or all, up to six, are compared side by side.  [default: 1, the best]",
)  # fmt: skip


def _recipe_options(build: Callable[..., Chosen], pick: options.Decorator) -> options.Decorator:
    text = "Recipes in place of --base and --load, as solve or adjust write them with --json; - is standard input."
    return options.grouped(
        "choice",
        build,
        options.base,
        options.amounts("--load", "A pigment and its percent by mass of the finished mix.", options.PERCENT),
        option("--recipe", metavar="FILE", help=text),
        pick,
        heading="The recipe",
    )


recipe_options = _recipe_options(chosen, pick)
recipes_options = _recipe_options(_chosen, _several)  # the same, with several recipes to pick


# How it is cast and seen.


def _setting_options(parse: Callable[[str], object], thickness: str, *more: options.Decorator) -> options.Decorator:
    return options.grouped(
        "casting",
        lambda thickness, as_read=False, **seen: options.given(thickness_mm=thickness, as_read=as_read or None, **seen),
        option("--thickness", type=parse, metavar="MM", help=thickness),
        option("--over", metavar="BACKING", help="The backing, or `none`.  [default: the lightest backing]"),
        options.seat(),
        *options.view(default=False),
        options.geometry,
        *more,
        heading="Part",
    )


def setting_of(palette: Palette, casting: Mapping[str, Any]) -> Setting:
    if "thickness_mm" not in casting:
        expected = "expected the wall thickness of the part in mm"
        raise InputError("--thickness", "not given", expected, "as in --thickness 3")
    if casting.get("over"):
        options.known(casting["over"], [*palette.backings, "none"], "--over")
    return Setting(**casting)


def span_of(palette: Palette, casting: Mapping[str, Any]) -> tuple[Setting, tuple[float, ...]]:
    """The setting that options with several thicknesses name, at the thinnest, and all the thicknesses [mm]."""
    depths = casting.get("thickness_mm", ())
    return setting_of(palette, {**casting, **({"thickness_mm": depths[0]} if depths else {})}), depths


# `--thickness`: one wall thickness, a list of them, or a range from:to:step.

MOST = 200  # thicknesses in one table, which nobody reads further; no source
_ROUNDING = 1e-9  # of floating-point numbers: an end that rounding put beyond its step belongs to a range
_WHERE = "--thickness"
_ONE = "a wall thickness in mm"
_FORMS = "a wall thickness in mm, a list as 1,2,4 or a range as 0.5:6:0.5"
_RANGE = "expected a range from:to:step in mm, as in 0.5:6:0.5"


def one_thickness(text: object) -> float:
    words = str(text).strip()
    if ":" in words or words.count(",") > 1:
        told = "`tint predict` takes a list or a range"
        raise InputError(_WHERE, f"`{words}` is more than one thickness", f"expected {_ONE}", told)
    return options.number_in(words, _WHERE, _ONE)


def thicknesses(text: object) -> tuple[float, ...]:
    """The thicknesses that a text lists or spans, thinnest first, each once [mm]."""
    words = str(text).strip()
    if ":" in words:
        depths = _span(words)
    else:
        depths = sorted({options.number_in(part, _WHERE, _FORMS) for part in words.split(",")})
        _check_count(len(depths), words)
    for depth in depths:
        if not 0.0 < depth <= 100.0:
            mend = "write decimals with a point" if "," in words else ""
            raise InputError(_WHERE, f"{depth:g} mm", "expected more than 0 and at most 100 mm", mend)
    return tuple(depths)


def _span(words: str) -> list[float]:
    parts = words.split(":")
    if len(parts) != 3:
        raise InputError(_WHERE, f"`{words}`", _RANGE)
    first, last, step = (options.number_in(part, _WHERE, "numbers in from:to:step") for part in parts)
    if step <= 0.0:
        raise InputError(_WHERE, f"`{words}` has a step of {step:g} mm", _RANGE)
    if last < first:
        raise InputError(_WHERE, f"`{words}` runs down from {first:g} to {last:g} mm", _RANGE)
    steps = (last - first) / step * (1.0 + _ROUNDING) + _ROUNDING
    _check_count(steps + 1.0, words)
    return [round(first + at * step, 9) for at in range(math.floor(steps) + 1)]


def _check_count(found: float, words: str) -> None:
    if found >= MOST + 1:
        told = f"`{words}` is {found:.0f} thicknesses" if found < 1e6 else f"`{words}` is too many thicknesses"
        raise InputError(_WHERE, told, f"expected at most {MOST}", "take a larger step")


trial_thickness = option(
    "--set trial.thickness_mm", type=one_thickness, metavar="MM",
    help="The measured thickness of the casting that was read.  [default: as --thickness]",
)  # fmt: skip


_casting_options = _setting_options(one_thickness, "Wall thickness of the part, in mm.")


def setting_options(command: options.Command) -> options.Command:
    """How a part is cast and seen, as `casting`; and as `said` what that tells of a file that leaves it open."""

    @functools.wraps(command)
    def run(*, casting: dict[str, Any], scale: str | None, **more: Any) -> Any:
        told = {name: casting.get(name) for name in ("light", "observer", "geometry")}
        return command(casting=casting, said=options.said_of(scale, **told), **more)

    return _casting_options(options.scale(run))


span_options = _setting_options(
    thicknesses,
    "Wall thickness in mm; for a table a list 1,2,4 or a range 0.5:6:0.5.",
    options.choice("--finish", HEIGHTS_UM, "Faces of the part.  [default: those of the swatches]"),
    options.flag("--as-read", "As the swatches' instrument reads it, with what its spot loses."),
)
