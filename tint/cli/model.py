"""A part as options: its mesh, and the walls that are taken from it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tint.cli import options
from tint.cli.keys import option
from tint.errors import InputError

if TYPE_CHECKING:
    from tint.proofs.walls import Walls

UNITS = ("mm", "cm", "m", "in")


@dataclass(frozen=True, kw_only=True)
class Model:
    """A part as the command line names it."""

    part: Path | None
    unit: str | None

    def walls(self, casting: Mapping[str, Any], search: Mapping[str, Any]) -> Walls | None:
        """Its walls; None without a part. They stand in place of a thickness and further walls."""
        if self.part is None:
            if self.unit is not None:
                raise InputError("--set unit", "no mesh to apply it to", mend="name one with --part")
            return None
        if "thickness_mm" in casting or search["walls_mm"]:
            option = "--thickness" if "thickness_mm" in casting else "--wall"
            raise InputError(option, "given together with --part", "expected one of them: the part tells its walls")
        from tint.proofs.part import read_part
        from tint.proofs.walls import walls_of

        part = read_part(self.part, unit=self.unit or "")
        return walls_of(part.triangles, name=part.name)


unit = option("--set unit", type=click.Choice(UNITS), help="Unit of the mesh.  [default: what it says, else mm]")
part_options = options.grouped(
    "model",
    Model,
    option("--part", metavar="FILE", type=options.PATH, help="Take the walls from the part: an STL, 3MF or OBJ."),
    unit,
    heading="Part",
)
