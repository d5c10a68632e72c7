"""What a proof is drawn of and to, as options: a part or a height map, which picture, which files."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tint.cli.options import grouped, number_option
from tint.errors import InputError

if TYPE_CHECKING:
    from tint.proofs.part_picture import Shown

_SIDES = ("top", "bottom", "front", "back", "left", "right", "corner")
_UNITS = ("mm", "cm", "m", "in")
PICTURES = ("card", "part", "wedge", "lights", "behind", "limits")


@dataclass(frozen=True)
class Model:
    """A part that was read: its volume [cm3], and how it looks at so many pixels along its longer side."""

    volume_cm3: float
    at: Callable[[int], Shown]


@dataclass(frozen=True, kw_only=True)
class Subject:
    """The part that a proof shows, as the command line names it."""

    part: Path | None
    height_map: Path | None
    mm_per_level: float | None
    mm_per_pixel: float | None
    side: str | None
    unit: str | None
    thin: float | None

    @property
    def given(self) -> bool:
        """Whether there is a part."""
        return self.part is not None or self.height_map is not None

    def check(self) -> None:
        """Refuse options that do not go together.

        Raises
        ------
        InputError
        """
        if self.part and self.height_map:
            raise InputError("--height-map", "given together with --part", "expected one of them")
        if self.height_map and self.mm_per_level is None:
            raise InputError("--mm-per-level", "not given", "expected the thickness of one grey level in mm")
        lone = {"--mm-per-level": self.mm_per_level, "--mm-per-pixel": self.mm_per_pixel}
        for name, value in ({} if self.height_map else lone).items():
            if value is not None:
                raise InputError(name, "no height map to apply it to", mend="name one with --height-map")
        for name, word in ({} if self.part else {"--side": self.side, "--unit": self.unit}).items():
            if word is not None:
                raise InputError(name, "no mesh to apply it to", mend="name one with --part")
        if self.thin is not None and not self.given:
            raise InputError("--thin", "no part to look for thin spots in", mend="name one with --part or --height-map")

    def read(self) -> Model | None:
        """The part, read once; None without one."""
        if not self.given:
            return None
        from tint.proofs.part import read_height_map, read_part, view_of, volume_cm3
        from tint.proofs.part_picture import Shown

        if self.height_map:
            assert self.mm_per_level is not None  # checked
            view = read_height_map(
                self.height_map, mm_per_level=self.mm_per_level, mm_per_pixel=self.mm_per_pixel or 0.1
            )
            flat = Shown(view=view, named=_titled(self.height_map), volume_cm3=volume_cm3(view), finer=1)
            return Model(flat.volume_cm3, flat.within)
        assert self.part is not None  # given, and not a height map
        part, side = read_part(self.part, unit=self.unit or ""), self.side or "top"
        named = f"{_titled(self.part)} from {'a' if side == 'corner' else 'the'} {side}"
        return Model(
            part.volume_cm3,
            lambda pixels: Shown(
                view=view_of(part, side, pixels=2 * pixels), named=named, volume_cm3=part.volume_cm3, finer=2
            ),
        )


def _titled(path: Path) -> str:
    name = path.stem.replace("_", " ")
    return name[:1].upper() + name[1:]


_path = click.Path(path_type=Path)
subject_options = grouped(
    "subject",
    Subject,
    click.option("--part", metavar="FILE", type=_path, help="The part itself: an STL, 3MF or OBJ."),
    click.option("--height-map", metavar="FILE.png", type=_path, help="Instead: a grey picture, brighter is thicker."),
    number_option("--mm-per-level", "Thickness of one grey level.", expected="a thickness in mm", metavar="MM"),
    number_option("--mm-per-pixel", "Its scale.  [default: 0.1]", expected="a length in mm", metavar="MM"),
    click.option("--side", type=click.Choice(_SIDES), help="Of the part, as seen.  [default: top]"),
    click.option("--unit", type=click.Choice(_UNITS), help="Of the mesh.  [default: what it says, else mm]"),
    number_option("--thin", "Outline what is thinner than this.", expected="a thickness in mm", metavar="MM"),
)


@dataclass(frozen=True, kw_only=True)
class Approving:
    """What an approval sheet needs to be told, as the command line names it."""

    sheet: Path | None
    pdf: Path | None
    paper: str
    name: str | None
    customer_words: str | None
    who: str | None
    expiry: date | None
    show_formula: bool

    @property
    def given(self) -> bool:
        """Whether a sheet is to be drawn."""
        return self.sheet is not None or self.pdf is not None


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text.strip())
    except ValueError as error:
        raise InputError("--expiry", f"`{text}` is not a day", "expected year-month-day, as in 2027-03-01") from error


approving_options = grouped(
    "approving",
    Approving,
    click.option("--sheet", metavar="FILE.html", type=_path, help="An approval sheet, as one page for any browser."),
    click.option("--pdf", metavar="FILE.pdf", type=_path, help="The same as a PDF."),
    click.option("--paper", type=click.Choice(("a4", "letter")), default="a4", show_default=True, help="Of the PDF."),
    click.option("--name", metavar="WORDS", help="What the recipe is called.  [default: the palette's name]"),
    click.option("--customer-words", metavar="WORDS", help="What the customer asked for, in their own words."),
    click.option("--who", metavar="WORDS", help="Who decides."),
    click.option("--expiry", metavar="DAY", type=_day, help="Until when the approval holds: 2027-03-01."),
    click.option("--show-formula", is_flag=True, help="Tell pigments and loadings on the sheet and the card."),
)


def check_file(path: Path | None, option: str, kinds: tuple[str, ...], *, replace: bool) -> None:
    """Refuse a name that cannot be written to.

    Raises
    ------
    InputError
        If it is of another kind, is a folder, or is there already and not to be replaced.
    """
    if path is None:
        return
    where = f"{option} {path}"
    if path.suffix.lower() not in kinds:
        kind = {".png": "a PNG", ".html": "a page", ".pdf": "a PDF"}[kinds[0]]
        raise InputError(where, f"is not the name of {kind}", f"expected a name that ends in {' or '.join(kinds)}")
    if path.is_dir():
        raise InputError(where, "is a folder", "expected the name of a file")
    if path.exists() and not replace:
        raise InputError(where, "is there already", mend="choose another name, or add --replace")
