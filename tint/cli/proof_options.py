"""What a proof shows, as options: the part, a casting that was read or photographed, what a sheet to approve tells."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tint.appearance import Setting
from tint.cli import options
from tint.cli.asked import trial_thickness
from tint.cli.keys import called, option
from tint.cli.solve import shell, unit
from tint.errors import InputError
from tint.glossary import QUALITIES, SCENES
from tint.materials import Blend
from tint.palette import Palette
from tint.swatches.instruments import Given
from tint.trials.files import read_reading

if TYPE_CHECKING:
    from tint.proofs.facts import Trial
    from tint.proofs.part import Part
    from tint.proofs.part_picture import Shown
    from tint.proofs.traced.shown import TracedPart

_SIDES = ("top", "bottom", "front", "back", "left", "right", "corner")
_MM_PER_PIXEL = 0.1  # mm, of a height map that does not say: about 250 pixels an inch; common practice, no source
PICTURES = ("card", "part", "wedge", "lights", "behind", "limits")


@dataclass(frozen=True)
class Model:
    """A part that was read: its volume [cm3], and how it looks at so many pixels along its longer side; its mesh."""

    volume_cm3: float
    at: Callable[[int], Shown]
    part: Part | None = None


@dataclass(frozen=True, kw_only=True)
class Subject:
    """The part that a proof shows; fields are named as option and keys are."""

    part: Path | None
    height_map: Path | None
    mm_per_level: float | None
    mm_per_pixel: float | None
    side: str | None
    unit: str | None
    shell_mm: float | None
    thin_mm: float | None

    @property
    def given(self) -> bool:
        return self.part is not None or self.height_map is not None

    def check(self, show: str) -> None:
        """Refuse options that do not go together."""
        if self.part and self.height_map:
            raise InputError("--set height_map", "given together with --part", "expected one of them")
        if self.height_map and self.mm_per_level is None:
            raise InputError("--set mm_per_level", "not given", "expected the thickness of one grey level in mm")
        if not self.height_map:
            of_map = {"--set mm_per_level": self.mm_per_level, "--set mm_per_pixel": self.mm_per_pixel}
            options.none_of(of_map, "no height map to apply it to", "name one with --set height_map")
        if not self.part:
            of_mesh = {"--set side": self.side, "--set unit": self.unit, "--set shell_mm": self.shell_mm}
            options.none_of(of_mesh, "no mesh to apply it to", "name one with --part")
        if self.thin_mm is not None and not self.given:
            raise InputError("--set thin_mm", "no part to look for thin spots in", mend="name one with --part")
        if show == "part" and not self.given:
            raise InputError("--show part", "there is no part", mend="name one with --part or --set height_map")

    def read(self) -> Model | None:
        if not self.given:
            return None
        from tint.proofs.part import read_part
        from tint.proofs.part_picture import Shown, part_shown
        from tint.proofs.photo import read_height_map
        from tint.proofs.portrait import volume_cm3
        from tint.proofs.walls import TO_DRAW, walls_of

        if self.height_map:
            assert self.mm_per_level is not None  # checked
            named = self.height_map.stem.replace("_", " ")
            view = read_height_map(
                self.height_map, mm_per_level=self.mm_per_level, mm_per_pixel=self.mm_per_pixel or _MM_PER_PIXEL
            )
            flat = Shown(view=view, named=named[:1].upper() + named[1:], volume_cm3=volume_cm3(view), finer=1)
            return Model(flat.volume_cm3, flat.within)
        assert self.part is not None  # given, and not a height map
        part = read_part(self.part, unit=self.unit or "", shell_mm=self.shell_mm)
        side, walls = self.side or "top", walls_of(part.triangles, points=TO_DRAW, name=part.name)
        return Model(
            part.volume_cm3, lambda pixels: part_shown(part, pixels=pixels, side=side, walls=walls), part
        )  # fmt: skip


subject_options = options.grouped(
    "subject",
    Subject,
    options.path("--part", "The part itself: an STL, 3MF or OBJ."),
    options.path("--set height_map", "In place of --part: a grey picture, brighter is thicker.", "FILE.png"),
    options.number("--set mm_per_level", "Thickness of one grey level of a height map.", metavar="MM"),
    options.number("--set mm_per_pixel", f"Scale of a height map.  [default: {_MM_PER_PIXEL:g}]", metavar="MM"),
    options.choice("--set side", _SIDES, "From which side the part is seen.  [default: top]"),
    unit,
    shell,
    options.number("--set thin_mm", "Outline what of the part is thinner than this."),
    heading="What is drawn",
)  # fmt: skip


# The part traced.


@dataclass(frozen=True, kw_only=True)
class Tracing:
    """How the part is traced, as the command line names it."""

    trace: str | None
    quality: str
    pixels: int | None
    seed: int

    def check(self, subject: Subject, *, show: str, sheet: bool) -> None:
        """Refuse what cannot be traced, or would be shown nowhere, before anything is read."""
        if self.trace is None:
            if self.pixels is not None:
                raise InputError("--set pixels", "nothing is traced", mend="add --trace")
            return
        if subject.part is None:
            raise InputError("--trace", "there is no mesh to trace", mend="name one with --part")
        if show != "part" and not sheet:
            raise InputError("--trace", f"not shown on the picture `{show}`", "expected --show part or --sheet")
        from tint.proofs.traced.paths import check_installed

        check_installed()

    def of(
        self, palette: Palette, blend: Blend, model: Model | None, *, setting: Setting, side: str | None,
        progress: Callable[[str, int, int], None],
    ) -> TracedPart | None:  # fmt: skip
        """The part traced; None where it is not asked for."""
        if self.trace is None or model is None or model.part is None:
            return None
        from tint.proofs.traced.shown import trace_part

        return trace_part(
            palette, blend, model.part, setting=setting, scene=self.trace, side=side or "", quality=self.quality,
            pixels=self.pixels, seed=self.seed, progress=progress,
        )  # fmt: skip


tracing_options = options.grouped(
    "tracing",
    Tracing,
    options.choice(
        "--trace", SCENES,
        "Follow light through the part: by a window, lit from behind, a lamp inside, against a printed page.",
    ),
    options.choice(
        "--set quality", QUALITIES,
        "Of a traced picture: half a minute, some minutes, ten.", default="preview",
    ),
    option(
        "--set pixels", type=click.IntRange(64, 4000), metavar="N",
        help="Width of a traced picture of 4:3 in pixels; a taller one has as many in all.  [default: by quality]",
    ),
    option(
        "--set seed", type=click.IntRange(0), default=0, metavar="N",
        help="Of the noise of a traced picture: equal seed, equal picture.  [default: 0]",
    ),
    heading="What is drawn",
)  # fmt: skip


# The casting beside its prediction.


@dataclass(frozen=True, kw_only=True)
class Cast:
    """A casting; fields are named as the keys are."""

    photo: Path | None
    read: str | None
    thickness_mm: float | None

    @property
    def given(self) -> Mapping[str, object]:
        told = {"photo": self.photo, "read": self.read, "thickness_mm": self.thickness_mm}
        return options.given(**{called(name): value for name, value in told.items()})

    def check(self) -> None:
        """Refuse a thickness without a reading."""
        if self.thickness_mm is not None and self.read is None:
            raise InputError(called("thickness_mm"), "no reading to apply it to", mend="name one with --set trial.read")

    def trial(self, palette: Palette, blend: Blend, setting: Setting, said: Given) -> Trial | None:
        """What is shown of it, as a casting of a blend; None when nothing was given."""
        if not self.given:
            return None
        from tint.proofs.facts import Read, trial_of
        from tint.proofs.photo import read_photo

        photo = None if self.photo is None else read_photo(self.photo)
        over = setting.behind(palette)
        read = None
        if self.read is not None:
            depth = self.thickness_mm or setting.thickness_mm
            own = replace(setting, over=over, thickness_mm=depth)
            reading = read_reading(self.read, palette, blend, setting=own, said=said)
            read = Read(spectrum=reading.values, named=Path(self.read).name, thickness_mm=self.thickness_mm)
        return trial_of(palette, blend, setting=setting, photo=photo, read=read)


cast_options = options.grouped(
    "cast",
    Cast,
    options.path("--set trial.photo", "A photograph of the casting, only to show."),
    option("--set trial.read", metavar="FILE[:NAME]", help="The casting read over --over: a row of a readings table."),
    trial_thickness,
)


# The approval sheet.


@dataclass(frozen=True, kw_only=True)
class Approving:
    """What an approval sheet needs to be told, as the command line names it."""

    sheet: Path | None
    pdf: Path | None
    paper: str
    title: str | None
    words: str | None
    approver: str | None
    expiry: date | None
    show_recipe: bool

    @property
    def given(self) -> bool:
        return self.sheet is not None or self.pdf is not None


approving_options = options.grouped(
    "approving",
    Approving,
    options.path("--sheet", "An approval sheet, as one page for any browser.", "FILE.html"),
    options.path("--pdf", "The same as a PDF.", "FILE.pdf"),
    options.paper,
    options.title,
    option("--set words", metavar="WORDS", help="What the customer asked for, in their own words."),
    option("--set approver", metavar="WORDS", help="Who is asked to approve."),
    options.day("--set expiry", "The day until which approval holds."),
    option(
        "--set show_recipe", type=bool, default=False, metavar="yes|no",
        help="Tell pigments and loadings on the sheet and the card.  [default: no]",
    ),
    heading="Output",
)  # fmt: skip


def check_compared(show: str | None, bits: str, subject: Subject, tracing: Tracing, approving: Approving) -> None:
    """Refuse what a comparison of several recipes does not show."""
    others = {
        "--show": show, "--part": subject.part, "--set height_map": subject.height_map,
        "--set thin_mm": subject.thin_mm, "--trace": tracing.trace,
        "--set words": approving.words, "--set approver": approving.approver, "--set expiry": approving.expiry,
        "--set bits=16": bits == "16" or None,
    }  # fmt: skip
    options.none_of(others, "a comparison of several recipes does not show it", "--pick one recipe")
