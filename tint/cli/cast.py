"""The casting that a proof shows beside its prediction, as options: its photograph and its reading."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from tint.appearance import Setting
from tint.cli.amounts import one_thickness
from tint.cli.options import grouped
from tint.errors import InputError
from tint.materials import Blend
from tint.palette import Palette
from tint.trials.files import read_reading

if TYPE_CHECKING:
    from tint.proofs.trial import Trial


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

    def trial(self, palette: Palette, blend: Blend, setting: Setting) -> Trial | None:
        """What is shown of it, as a casting of a blend; None when nothing was given.

        Raises
        ------
        InputError
            If photograph or reading cannot be read.
        """
        if not self.given:
            return None
        from tint.proofs.photo import read_photo
        from tint.proofs.trial import Read, trial_of

        photo = None if self.photo is None else read_photo(self.photo)
        over = setting.over or (palette.white if palette.backings else "none")
        read = None
        if self.read is not None:
            depth = self.read_thickness or setting.thickness_mm
            own = replace(setting, over=over, thickness_mm=depth)
            reading = read_reading(self.read, palette, blend, setting=own)
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
