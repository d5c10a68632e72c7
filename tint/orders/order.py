"""The file of an order: `orders/lid.toml` in a swatch folder, with every key that it may hold."""

from __future__ import annotations

import functools
import math
import os
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from msgspec import Struct, structs

from tint import kinds
from tint.appearance import Setting
from tint.errors import InputError
from tint.files import bytes_of
from tint.given import target_of, verb
from tint.glossary import SCENES
from tint.kinds import checked
from tint.materials import Workshop
from tint.opacity import bounds_of, opacity_of
from tint.palette import Palette
from tint.recipes import Rules
from tint.target import Target, solid_unless_told, without_gloss
from tint.weighing.batch import waste_of

if TYPE_CHECKING:
    from tint.proofs.part import Part

FOLDER = "orders"  # in the swatch folder
FORMAT = 1
_COLOURS = ("colour", "lab", "reading", "photo")
_ASKED = ("opacity", "transmittance", "haze")
_FORM = "an order as docs/orders.md shows one"


class Limits(Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """What a recipe may hold; keys are the options and keys of `tint solve`."""

    most_pigments: int | None = None
    keep: tuple[str, ...] = ()
    leave_out: tuple[str, ...] = ()
    insist: tuple[str, ...] = ()
    fix: dict[str, float] = {}
    stock: dict[str, float] = {}
    smallest: float | None = None
    max_total: float | None = None


class Photo(Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """A place in a photograph, beside the order's file: `spot` and `size` in pixels; `chart` where one is in it.

    `chip` is the one that the customer chose, of those on the page to choose from.
    """

    file: str
    spot: tuple[float, float]
    size: float | None = None
    chart: bool = False
    chip: str = ""


class Written(Struct, kw_only=True, frozen=True, forbid_unknown_fields=True):
    """The keys of the file."""

    format: int
    words: str = ""  # the customer's own
    colour: str | None = None  # a screen colour `#rrggbb`; or one of the next three
    lab: tuple[float, float, float] | None = None  # CIELAB
    reading: str | None = None  # FILE or FILE:NAME, beside the order's file or from the root
    photo: Photo | None = None  # a place in a photograph
    opacity: str | float | tuple[float, float] | None = None  # as `tint.opacity` takes it; solid when absent
    transmittance: str | float | tuple[float, float] | None = None  # of the part, in the same forms but for the words
    haze: str | float | tuple[float, float] | None = None  # the share of that light which it scatters, likewise
    tolerance: float | None = None  # CIEDE2000
    walls_mm: tuple[float, ...] = ()  # every wall of the part; those of `part` when absent [mm]
    part: str | None = None  # a mesh of the part, beside the order's file
    shell_mm: float | None = None  # the wall of a mesh that is only a surface [mm]
    traced: str | None = None  # the scene that the part is traced in for the sheets, as of `tint proof --trace`
    parts: int = 1  # how many are cast
    batch_g: float | None = None
    base: str | None = None
    light: str | None = None
    observer: int | None = None
    also_light: str | None = None
    over: str | None = None
    seat: str | None = None
    # for the sheets and the list of orders; `due` is YYYY-MM-DD
    customer: str = ""
    approver: str = ""
    due: date | None = None
    price: float | None = None  # of a part, as agreed, in the workshop's currency
    minutes: float | None = None  # working time of the whole order, in place of the workshop's [min]
    limits: Limits = Limits()


@functools.lru_cache(maxsize=16)
def _walls_of(path: Path, shell_mm: float | None, _changed_ns: int) -> tuple[float, ...]:
    """The walls of a mesh [mm], looked for once as long as it does not change."""
    from tint.proofs.part import read_part  # a mesh is for those who have one
    from tint.proofs.walls import walls_of

    part = read_part(path, shell_mm=shell_mm)
    return walls_of(part.triangles, name=part.name).to_solve_for


class Order(Struct, kw_only=True, frozen=True):
    """An order as it was read: its file and what that says."""

    path: Path
    written: Written

    @property
    def name(self) -> str:
        """What the order is called: the name of its file."""
        return self.path.stem

    @property
    def title(self) -> str:
        """The same, as a heading."""
        return self.name.replace("-", " ").replace("_", " ").capitalize()

    def read_part(self) -> Part:
        """The part that it names; InputError if it cannot be read."""
        from tint.proofs.part import read_part  # a mesh is for those who have one

        return read_part(self.beside(self.written.part or ""), shell_mm=self.written.shell_mm)

    @property
    def part_cm3(self) -> float:
        """The volume of the part that it names [cm3]."""
        return self.read_part().volume_cm3

    @property
    def walls_mm(self) -> tuple[float, ...]:
        """The walls of the part, thinnest first: those that are told, else those of its mesh [mm]."""
        if self.written.walls_mm or self.written.part is None:
            return tuple(sorted(set(self.written.walls_mm)))
        path = self.beside(self.written.part)
        return _walls_of(path, self.written.shell_mm, path.stat().st_mtime_ns if os.path.isfile(path) else 0)

    @property
    def folder(self) -> Path:
        """The swatch folder."""
        return self.path.resolve().parent.parent

    @property
    def recipe_path(self) -> Path:
        """Where the recipe chosen is kept."""
        return self.path.with_suffix(".recipe.json")

    @property
    def made_path(self) -> Path:
        """The folder of all that is made of it."""
        return self.path.with_suffix("")

    @checked()
    def beside(self, name: str) -> Path:
        """A file that the order names."""
        return self.path.resolve().parent / name

    @property
    def reading(self) -> str | None:
        """The reading that it names, as FILE or FILE:NAME."""
        return None if self.written.reading is None else str(self.beside(self.written.reading))

    @property
    def reference(self) -> str | None:
        """What parts are inspected against: the sample that was measured, else what the recipe is expected to read."""
        expected = self.made_path / "expected.csv"
        return self.reading or (f"{expected}:{self.name}" if expected.exists() else None)

    @property
    def photo(self) -> str | None:
        """The place in a photograph that it names, as `tint.photographs.mailed` reads it."""
        told = self.written.photo
        if told is None:
            return None
        numbers = ",".join(f"{x:g}" for x in (*told.spot, told.size) if x is not None)
        how = "chart" if told.chart else told.chip
        return f"{self.beside(told.file)}:{numbers}" + (f":{how}" if how else "")

    @property
    def asked_texts(self) -> dict[str, str | None]:
        """The opacity, the transmittance and the haze asked for, as options have them."""
        told = {kind: getattr(self.written, kind) for kind in _ASKED}
        ranges = {kind: x if isinstance(x, tuple) else (x,) for kind, x in told.items() if isinstance(x, float | tuple)}
        return told | {kind: "..".join(f"{end:g}" for end in ends) for kind, ends in ranges.items()}

    @checked()
    def setting(self, palette: Palette) -> Setting:
        """How the part is cast and seen: its thinnest wall; the colour of a screen or photograph has no gloss."""
        told = {name: getattr(self.written, name) for name in ("light", "observer", "over", "seat")}
        seen = {} if self.written.colour is None and self.written.photo is None else without_gloss(palette)
        return Setting(thickness_mm=self.walls_mm[0], **seen | {name: x for name, x in told.items() if x is not None})

    @checked()
    def target(self, palette: Palette) -> Target:
        """What is wanted of it."""
        written, asked = self.written, dict(_bounds(self.written))
        target = target_of(
            palette, self.setting(palette), None, lab=written.lab, srgb=written.colour, reading=self.reading,
            photo=self.photo,
        )  # fmt: skip
        if written.tolerance is not None:
            asked["tolerance"] = written.tolerance
        return replace(solid_unless_told(target, palette) if written.opacity is None else target, **asked)

    @checked()
    def rules(self, workshop: Workshop) -> Rules:
        """What a recipe may hold; every wall but the thinnest counts beside it, and doses are what the scale shows."""
        told, batch_g = structs.asdict(self.written.limits), self.written.batch_g
        told |= {"fixed": told.pop("fix"), "stock_g": told.pop("stock"), "walls_mm": self.walls_mm[1:]}
        told |= {"also_light": self.written.also_light, "dose_tolerance_percent": workshop.dose_tolerance_percent}
        if batch_g is not None:
            told |= {"batch_g": batch_g * (1.0 + waste_of(workshop) / 100.0), "scale_step_g": workshop.scale_step_g}
        return Rules(**{name: value for name, value in told.items() if value is not None})


@verb
def read_order(path: str | Path) -> Order:
    """Read the file of an order.

    Raises
    ------
    InputError
        If it cannot be read, a key is unknown, missing or wrong: the line names file and key.
    """
    path = Path(path)
    try:
        content = tomllib.loads(bytes_of(path).decode("utf-8-sig"))
    except (ValueError, RecursionError) as error:  # TOMLDecodeError, and what int() and datetime refuse
        mend = "text needs quotation marks, numbers a point and no unit, dates are as 2027-03-01"
        raise InputError(str(path), f"is not TOML ({str(error)[:80]})", _FORM, mend) from error
    for key, number in _not_finite("", content):
        raise InputError(f"{path}, key {key}", f"{number}", "a number that is finite")
    written = kinds.converted(content, Written, where=str(path), form=_FORM)
    _check(written, str(path))
    return Order(path=path, written=written)


def _not_finite(key: str, value: object) -> Iterator[tuple[str, float]]:
    """The keys of numbers that are inf or nan, as TOML may write them, and those numbers."""
    if isinstance(value, dict):
        for name, each in value.items():
            yield from _not_finite(f"{key}.{name}".strip("."), each)
    elif isinstance(value, list):
        for each in value:
            yield from _not_finite(key, each)
    elif isinstance(value, float) and not math.isfinite(value):
        yield key, value


def _check(written: Written, where: str) -> None:
    if written.format != FORMAT:
        raise InputError(f"{where}, key format", f"{written.format!s:.40}", f"{FORMAT}", "this tint reads no other")
    given = [name for name in _COLOURS if getattr(written, name) is not None]
    if len(given) != 1:
        found = f"{' and '.join(given)} are given together" if given else "no colour is named"
        raise InputError(where, found, f"one of {', '.join(_COLOURS)}")
    if not written.walls_mm and written.part is None:
        mend = 'as in walls_mm = [2, 8], or part = "lid.stl"'
        raise InputError(f"{where}, key walls_mm", "not given", "the walls of the part in mm", mend)
    for wall in written.walls_mm:
        if not 0.0 < wall <= 100.0:
            raise InputError(f"{where}, key walls_mm", f"{wall:g} mm", "more than 0 and at most 100 mm")
    if written.photo is not None and written.photo.chart and written.photo.chip:
        raise InputError(f"{where}, key photo.chip", "told together with a chart", "one or the other")
    for name in ("shell_mm", "traced"):
        if getattr(written, name) is not None and written.part is None:
            raise InputError(f"{where}, key {name}", "there is no part to apply it to", 'a mesh, as part = "lid.stl"')
    if written.traced is not None and written.traced not in SCENES:
        raise InputError(f"{where}, key traced", f"`{written.traced:.40}`", f"one of {', '.join(SCENES)}")
    if written.observer not in (None, 2, 10):
        raise InputError(f"{where}, key observer", f"{written.observer!s:.40}", "2 or 10 degrees")
    for name, least, most in (("parts", 1, math.inf), ("price", 0, 1e9), ("minutes", 0, 1e9)):
        value = getattr(written, name)
        if value is not None and not least <= value <= most:
            raise InputError(f"{where}, key {name}", f"{value!s:.40}", f"{least} or more")
    list(_bounds(written, where))


def _bounds(written: Written, where: str = "") -> Iterator[tuple[str, Any]]:
    """What is asked of opacity and light, as `Target` has it; InputError if it means nothing."""
    for key in _ASKED:
        asked = getattr(written, key)
        if asked is not None:
            try:
                yield from (opacity_of(asked) if key == "opacity" else bounds_of(key, asked)).items()
            except InputError as error:
                raise error.at(f"{where}, key {key}") from error


def orders_in(folder: str | Path) -> Sequence[Path]:
    """The files of the orders of a swatch folder, by name."""
    return sorted((Path(folder) / FOLDER).glob("*.toml"))
