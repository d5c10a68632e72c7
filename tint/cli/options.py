"""What options are made of: numbers, amounts, colours, days, files; and groups that reach a command as one value."""

from __future__ import annotations

import math
import re
import sys
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

import click

from tint.cli.keys import SET, folder_given, option
from tint.cli.keys import grouped as grouped
from tint.cli.keys import under as under
from tint.cli.show import note_json
from tint.errors import InputError, did_you_mean
from tint.files import bytes_of
from tint.materials import GEOMETRIES, SEATS
from tint.optics.layer import MODELS
from tint.swatches.instruments import SCALES, Given

DEFAULT_OPTICS = "many-flux"
AGAIN = "May be given more than once."
PATH = click.Path(path_type=Path)

Command = Callable[..., Any]
Decorator = Callable[[Command], Command]


def given(**values: Any) -> dict[str, Any]:
    """Only what was given: the rest is the library's default, or a recipe's own."""
    return {name: value for name, value in values.items() if value is not None}


def none_of(values: Mapping[str, object], found: str, mend: str) -> None:
    """Refuse the first option that was given, of some that mean nothing here."""
    for name in given(**values):
        raise InputError(name, found, mend=mend)


def known(name: str, names: Collection[str], where: str) -> str:
    """The name, if it is one of `names`; else an error with those there are and the nearest of them."""
    if name in names:
        return name
    raise InputError(where, f"there is no `{name}`", "expected one of " + ", ".join(names), did_you_mean(name, names))


def number_in(text: object, where: str, expected: str) -> float:
    """The number in a text; an error for a decimal comma too, since 1,500 could mean two things."""
    words = str(text).strip()
    if "," in words:
        mend = f"write {words.replace(',', '.')}" if re.fullmatch(r"[+-]?\d*,\d*", words) else ""
        raise InputError(where, f"`{words}` has a comma", f"expected {expected}, with a decimal point", mend)
    try:
        value = float(words)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        bare = re.fullmatch(r"([\d.]*\d) *(?:mm|g|%|percent)", words)
        mend = f"write {bare[1]}, without the unit" if bare else ""
        raise InputError(where, f"`{words}` is not a number", f"expected {expected}", mend)
    return value


def count(name: str, text: str, *, default: int | None = None, **more: Any) -> Decorator:
    """An option that takes a whole number of at least 1; `more` goes to `option`."""
    expected = "a whole number of at least 1"

    def convert(told: object) -> int:
        value = number_in(told, name, expected)
        if value < 1 or value != int(value):
            raise InputError(name, f"{value:g}", f"expected {expected}")
        return int(value)

    more |= {"default": default, "show_default": default is not None}
    return option(name, type=convert, metavar="N", help=text, **more)


# What a quantity is told in, by the end of its name: what an error expects, and the form in the help.
_UNITS = {
    "mm": ("millimetres", "MM"),
    "g": ("grams", "G"),
    "cm3": ("cm3", "CM3"),
    "percent": ("percent", "PERCENT"),
    "min": ("minutes", "MIN"),
}


def number(
    name: str, text: str, *, expected: str = "", metavar: str = "", default: float | None = None, **more: Any
) -> Decorator:
    """An option that takes one number, whose unit its name may end in; `more` goes to `option`."""
    unit, form = _UNITS.get(re.split("[_-]", name)[-1], ("a number", "X"))
    return option(
        name, type=lambda told: number_in(told, name, expected or unit), metavar=metavar or form, default=default,
        help=text if default is None else f"{text}  [default: {default:g}]", **more,
    )  # fmt: skip


def flag(name: str, text: str, **more: Any) -> Decorator:
    """An option without a value; `more` goes to `option`."""
    return option(name, is_flag=True, help=text, **more)


def choice(name: str, words: Iterable[str], text: str, **more: Any) -> Decorator:
    """An option that takes one of some words, and shows its default if it has one; `more` goes to `option`."""
    return option(name, type=click.Choice(tuple(words)), help=text, show_default="default" in more, **more)


def several(name: str, text: str, form: str, *, default: str = "", **more: Any) -> Decorator:
    """An option that may be given more than once, in the help called `form`; `more` goes to `option`."""
    told = f"  [default: {default}]" if default else ""
    return option(name, multiple=True, metavar=form, help=f"{text} {AGAIN}{told}", **more)


def path(name: str, text: str, form: str = "FILE", **more: Any) -> Decorator:
    """An option that takes the name of a file, in the help called `form`; `more` goes to `option`."""
    return option(name, type=PATH, metavar=form, help=text, **more)


# Pigments with an amount each: `--load white=0.5`, `--set stock=white=20`.


@dataclass(frozen=True)
class Kind:
    """What an amount is called, what it is told in, its unit, its largest and an example."""

    what: str
    measure: str
    unit: str
    most: float
    example: str

    def check(self, value: float, where: str) -> float:
        """The value, if such an amount can have it."""
        if 0.0 <= value <= self.most:
            return value
        bounds = f"0 {self.unit} or more" if math.isinf(self.most) else f"from 0 to {self.most:g} {self.unit}"
        raise InputError(where, f"{value:g} {self.unit}", f"expected {self.what} {bounds}")


PERCENT = Kind("a loading", "percent", "%", 100.0, "0.5")
GRAMS = Kind("an amount", "grams", "g", math.inf, "20")
_TWO = re.compile(r"[^=]+=\s*[\d.]+\s*\D?\s*,")  # white=0.5,yellow: a name may hold `=`, but hardly an amount, too


def amounts(name: str, text: str, kind: Kind, **more: Any) -> Decorator:
    """An option that takes a pigment with an amount, and may be repeated: a dict, or what `callback` makes of pairs."""
    form = f"PIGMENT={kind.measure.upper()}"

    def convert(told: str) -> tuple[str, float]:
        pigment, sign, amount = (part.strip() for part in told.rpartition("="))
        expected = f"expected {form}, as in white={kind.example}"
        if not sign or not pigment:
            raise InputError(name, f"`{told}`", expected)
        if _TWO.match(pigment):
            raise InputError(name, f"`{told}` names more than one pigment", expected, f"give {name} once for each")
        where = f"{name}{'=' if name.startswith(SET) else ' '}{pigment}"
        value = number_in(amount.removesuffix(kind.unit), where, f"{kind.what} in {kind.measure}, as in {kind.example}")
        return pigment, kind.check(value, where)

    def gather(_: object, __: object, pairs: tuple[tuple[str, float], ...]) -> object:
        return each_once(pairs, name, "expected each pigment once")

    more.setdefault("callback", gather)
    return option(name, type=convert, multiple=True, metavar=form, help=f"{text} {AGAIN}", **more)


def each_once(pairs: Sequence[tuple[str, Any]], option: str, expected: str) -> dict[str, Any]:
    """Pairs as a dict; an error where a name comes twice."""
    names = [name for name, _ in pairs]
    twice = [name for name in names if names.count(name) > 1]
    if twice:
        raise InputError(option, f"{twice[0]} is given twice", expected)
    return dict(pairs)


def all_known(amounts: Mapping[str, float], names: Collection[str], option: str) -> dict[str, float]:
    """The same amounts, if every pigment is one of `names`."""
    return {known(name, names, option): amount for name, amount in amounts.items()}


def lab(name: str, text: str, *, required: bool = False) -> Decorator:

    def convert(told: str) -> tuple[float, ...]:
        parts, expected = told.replace(";", ",").split(","), "three numbers L,a,b as in 70,20,40"
        if len(parts) != 3:
            raise InputError(name, f"`{told}`", expected, "write decimals with a point" * (len(parts) > 3))
        return tuple(number_in(part, name, expected) for part in parts)

    return option(name, type=convert, metavar="L,a,b", required=required, help=text)


def day(name: str, text: str, **more: Any) -> Decorator:

    def convert(told: str) -> date:
        try:
            return date.fromisoformat(told.strip())
        except ValueError:
            raise InputError(name, f"`{told}` is not a day", "expected YYYY-MM-DD, as in 2027-03-01") from None

    return option(name, type=convert, metavar="DAY", help=text, **more)


def view(*, light: str = "A CIE light: D65, D50, A, FL11 ...", default: bool = True) -> Sequence[Decorator]:
    """The light and the standard observer that a colour holds for; the usual ones where nothing else is the default."""
    return (
        option("--light", metavar="NAME", default="D65" if default else None, help=f"{light}  [default: D65]"),
        option(
            "--observer", type=click.Choice(("2", "10")), default="10" if default else None, metavar="2|10",
            callback=lambda _, __, told: None if told is None else int(told),
            help="Field of the standard observer, in degrees.  [default: 10]",
        ),
    )  # fmt: skip


def seat(*, default: str | None = None) -> Decorator:
    text = "How it lies on the backing: with an air film, or wet, in optical contact."
    return option("--seat", type=click.Choice(SEATS), default=default, help=f"{text}  [default: air]")


geometry = choice(
    "--set geometry", GEOMETRIES,
    "Measuring geometry: di:8 includes the gloss, de:8 and 45:0 do not.  [default: the swatches' own]",
)  # fmt: skip
scale = choice("--set scale", SCALES, "Of spectra in a file that does not say whether they are percent.")


# Files.

_KINDS = {".png": "a PNG", ".html": "a page", ".pdf": "a PDF", ".csv": "a table"}


def check_file(path: Path | None, option: str, *endings: str, replace: bool) -> None:
    """Refuse a name that cannot be written to: of another kind, a folder, or there already and not to be replaced."""
    if path is None:
        return
    where = f"{option} {path}"
    if path.suffix.lower() not in endings:
        expected = f"expected a name that ends in {' or '.join(endings)}"
        params, form = click.get_current_context().command.params, f"FILE{path.suffix.lower()}"
        others = [f"{path.suffix} is for {each.opts[0]}" for each in params if getattr(each, "metavar", "") == form]
        raise InputError(where, f"is not the name of {_KINDS[endings[0]]}", expected, "; ".join(others))
    if path.is_dir():
        raise InputError(where, "is a folder", "expected the name of a file")
    if path.is_symlink() and not path.exists():
        raise InputError(where, "is a link to what is not there", mend="remove the link, or choose another name")
    if not path.parent.is_dir():
        raise InputError(where, "cannot be written (there is no such folder)", mend="choose another place")
    if path.exists() and not replace:
        raise InputError(where, "is there already", mend="choose another name, or add --replace")


def read_file(file: str) -> tuple[bytes, str]:
    """What stands in a file, or on standard input for `-`; and what to call it in an error."""
    if file == "-":
        return sys.stdin.buffer.read(), "standard input"
    return bytes_of(file), file


replace = flag("--replace", "Write over files that are there.", heading="Output")
folder = click.argument("folder", type=PATH, is_eager=True, callback=folder_given)
as_json = option(
    "--json", heading="Output", is_flag=True, expose_value=False, callback=note_json,
    help="One JSON object on standard output, nothing else.",
)  # fmt: skip
optics = choice("--optics", MODELS, "The layer model.", default=DEFAULT_OPTICS)
walls = several(
    "--wall", "A further wall thickness of the same part, in mm.", "MM", to="walls_mm", heading="Part",
    type=lambda text: number_in(text, "--wall", "a wall thickness in mm"),
)  # fmt: skip
tolerance = number(
    "--tolerance", "The CIEDE2000 within which a colour counts as reached.  [default: 1]", expected="a CIEDE2000",
    metavar="CIEDE2000",
)  # fmt: skip
paper = choice("--set paper", ("a4", "letter"), "Size of a PDF.", default="a4")
title = option("--set title", metavar="WORDS", help="What it is called, on a picture or sheet.")
base = option("--base", metavar="NAME", help="The base; not needed where there is but one.")


# What a user says of a file of measurements that leaves it open.


def said_of(scale: str | None, light: str | None, observer: str | int | None, geometry: str | None) -> Given:
    """Of four options, what the user says of a file."""
    return Given(scale=scale or "", light=light or "", observer=str(observer or ""), geometry=geometry or "")


said_options = grouped(
    "said",
    said_of,
    scale,
    option("--light", metavar="NAME", help="CIE light of L*, a*, b* or X, Y, Z that tell none."),
    choice("--observer", ("2", "10"), "Their observer, in degrees."),
    geometry,
)
