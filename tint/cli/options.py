"""What options are made of: numbers, names, a folder and its palette; and groups that reach a command as one value."""

from __future__ import annotations

import difflib
import functools
import inspect
import math
from collections.abc import Callable, Collection, Mapping, Sequence
from pathlib import Path
from typing import Any

import click

from tint.errors import InputError
from tint.materials import GEOMETRIES
from tint.optics.layer import MODELS
from tint.palette import Palette, fit_path, read_palette
from tint.swatches import folder_digest
from tint.swatches.instruments import SCALES, Given

DEFAULT_OPTICS = "many-flux"

Command = Callable[..., Any]
Decorator = Callable[[Command], Command]


def number(text: object, where: str, expected: str) -> float:
    """The number in a text.

    Raises
    ------
    InputError
        If there is none, or it has a decimal comma: 1,500 could mean two things.
    """
    words = str(text).strip()
    if "," in words:
        mend = f"write {words.replace(',', '.')}" if words.count(",") == 1 and "." not in words else ""
        raise InputError(where, f"`{words}` has a comma", f"expected {expected}, with a decimal point", mend)
    try:
        value = float(words)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise InputError(where, f"`{words}` is not a number", f"expected {expected}")
    return value


def count_option(name: str, text: str, *, default: int | None = None) -> Decorator:
    """An option that takes a whole number of at least 1."""

    def convert(given: object) -> int:
        value = number(given, name, "a whole number of at least 1")
        if value < 1 or value != int(value):
            raise InputError(name, f"{value:g}", "expected a whole number of at least 1")
        return int(value)

    return click.option(name, type=convert, metavar="N", default=default, show_default=default is not None, help=text)


def number_option(name: str, text: str, *, expected: str, metavar: str, default: float | None = None) -> Decorator:
    """An option that takes one number."""

    def convert(given: object) -> float:
        return number(given, name, expected)

    shown = None if default is None else f"{default:g}"
    return click.option(name, type=convert, metavar=metavar, default=default, show_default=shown, help=text)


def grouped(name: str, build: Callable[..., object], *options: Decorator) -> Decorator:
    """Options that reach a command as one argument `name`, built by `build`, whose parameters they are."""
    own = tuple(inspect.signature(build).parameters)

    def decorate(command: Command) -> Command:
        @functools.wraps(command)
        def run(**given: Any) -> Any:
            taken = {option: given.pop(option) for option in own}
            return command(**given, **{name: build(**taken)})

        for option in reversed(options):
            option(run)
        return run

    return decorate


def check_picture(path: Path, option: str, *, replace: bool) -> None:
    """Refuse a name that a picture cannot be written to.

    Raises
    ------
    InputError
        If it does not end in .png, is a folder, or is there already and not to be replaced.
    """
    where = f"{option} {path}"
    if path.suffix.lower() != ".png":
        raise InputError(where, "is not the name of a PNG", "expected a name that ends in .png")
    if path.is_dir():
        raise InputError(where, "is a folder", "expected the name of a file")
    if path.exists() and not replace:
        raise InputError(where, "is there already", mend="choose another name, or add --replace")


replace_option = click.option("--replace", is_flag=True, help="Write over a picture that is there.")
folder_argument = click.argument("folder", type=click.Path(path_type=Path))
json_option = click.option("--json", "as_json", is_flag=True, help="One JSON object on standard output, nothing else.")
optics_option = click.option(
    "--optics", type=click.Choice(MODELS), default=DEFAULT_OPTICS, show_default=True, help="The layer model."
)
scale_option = click.option(
    "--scale", type=click.Choice(SCALES), help="Of spectra in a file that does not say whether they are percent."
)
base_option = click.option("--base", metavar="NAME", help="The base; not needed where there is but one.")


def palette_of(folder: Path, optics: str) -> Palette:
    """The palette fitted to a folder as it now stands.

    Raises
    ------
    InputError
        If the folder cannot be read, was not fitted, or has changed since.
    """
    digest = folder_digest(folder)
    try:
        return read_palette(fit_path(folder, optics), digest=digest)
    except InputError as error:
        if optics == DEFAULT_OPTICS or "tint fit" not in error.mend:
            raise
        raise InputError(
            error.where, error.found, error.expected, f"run `tint fit {folder} --optics {optics}`"
        ) from error


def known(name: str, names: Collection[str], where: str) -> str:
    """The name, if it is one of `names`.

    Raises
    ------
    InputError
        With the names there are and the nearest of them.
    """
    if name in names:
        return name
    near = difflib.get_close_matches(name.lower(), {each.lower(): each for each in names}, n=1)
    mend = f"did you mean {next(each for each in names if each.lower() == near[0])}?" if near else ""
    raise InputError(where, f"there is no `{name}`", "expected one of " + ", ".join(names), mend)


# What a user says of a file of measurements that leaves it open.


def said_of(scale: str | None, light: str | None, observer: str | None, geometry: str | None) -> Given:
    """Of four options, what the user says."""
    return Given(scale=scale or "", light=light or "", observer=observer or "", geometry=geometry or "")


said_options = grouped(
    "said",
    said_of,
    scale_option,
    click.option("--light", metavar="NAME", help="CIE light of L*, a*, b* or X, Y, Z that tell none."),
    click.option("--observer", type=click.Choice(("2", "10")), help="Observer of such colours, degrees."),
    click.option("--geometry", type=click.Choice(GEOMETRIES), help="Of readings that tell none."),
)


# The help of a command with many options, in sections.


class Sectioned(click.Command):
    """A command whose options are listed under headings.

    Parameters
    ----------
    sections : mapping of str to sequence of str
        Heading to options, by their names as typed, in the order in which they are listed. What is in none comes last.
    """

    def __init__(self, *given: Any, sections: Mapping[str, Sequence[str]], **more: Any) -> None:
        super().__init__(*given, **more)
        self.sections = sections

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the options, a section after the other."""
        left = {each.opts[0]: each for each in self.get_params(ctx) if isinstance(each, click.Option)}
        for heading, names in self.sections.items():
            self._write(heading, [left.pop(name) for name in names], ctx, formatter)
        self._write("Other options", list(left.values()), ctx, formatter)

    @staticmethod
    def _write(
        heading: str, options: Sequence[click.Option], ctx: click.Context, formatter: click.HelpFormatter
    ) -> None:  # fmt: skip
        records = [record for record in (each.get_help_record(ctx) for each in options) if record is not None]
        if records:
            with formatter.section(heading):
                formatter.write_dl(records)
