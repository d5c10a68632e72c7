"""The options of a weigh sheet: how much, on what scale, in which cups, and what it is written as."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime
from pathlib import Path

import click

from tint.cli import options
from tint.cli.workshop import workshop
from tint.files import write_all
from tint.palette import Palette
from tint.weighing import Batch, Scale, Split, WeighSheet, weigh_table
from tint.weighing.batch import HEADROOM, WASTE_PERCENT
from tint.weighing.premix import STEP_G, TOLERANCE_PERCENT


def _grams(name: str, text: str, *, to: str | None = None, default: float | None = None) -> options.Decorator:
    return options.number(name, text, expected="grams", metavar="G", to=to, default=default)


def _volume(name: str, text: str, *, default: float | None = None) -> options.Decorator:
    return options.number(name, text, expected="cm3", metavar="CM3", default=default)


def _minutes(name: str, text: str, *, to: str | None = None, default: float | None = None) -> options.Decorator:
    return options.number(name, text, expected="minutes", metavar="MIN", to=to, default=default)


def _percent(name: str, text: str, *, expected: str, to: str, default: float) -> options.Decorator:
    return options.number(name, text, expected=expected, metavar="PERCENT", to=to, default=default)


_batch_options = options.grouped(
    "batch",
    Batch,
    options.number("--batch-g", "How much mix the moulds hold, in grams; or", expected="grams of mix", metavar="G"),
    options.number("--batch-cm3", "in cubic centimetres; or", expected="cm3 of mix", metavar="CM3"),
    _volume("--part-cm3", "the volume of one part, in cubic centimetres,"),
    options.count("--count", "and how many parts.", default=1),
    options.count("--moulds", "How many moulds are poured.  [default: one a part]"),
    _volume("--sprue-cm3", "What stays in sprue and flash of each mould.", default=0.0),
    _grams("--cup-loss-g", "What stays in each cup.", default=0.0),
    _percent(
        "--waste", "A margin on what is poured.", expected="% of the batch", to="waste_percent", default=WASTE_PERCENT
    ),
)


def _scale(step_g: float, sd_g: float | None, tolerance_percent: float) -> Scale:
    return Scale(step_g=step_g, sd_g=sd_g, tolerance_percent=tolerance_percent, max_g=workshop().scale_max_g)


_scale_options = options.grouped(
    "scale",
    _scale,
    _grams("--scale-step", "Smallest step of the scale.", to="step_g", default=STEP_G),
    _grams("--scale-sd", "Its repeatability, as a standard deviation.  [default: 0.41 steps]", to="sd_g"),
    _percent(
        "--dose-tolerance", "By how much a dose may be off.", expected="% of a dose", to="tolerance_percent",
        default=TOLERANCE_PERCENT,
    ),
)  # fmt: skip
_premix_option = click.option(
    "--premix/--no-premix", default=True, show_default=True,
    help="Let pigments down in base first whose dose is too small to weigh.",
)  # fmt: skip
_split_options = options.grouped(
    "split",
    Split,
    _volume("--cup-cm3", "The largest cup there is, filled to its brim."),
    options.number(
        "--headroom", "How many times the mix a cup must hold, since mix swells under vacuum; 3 to 5 is usual.",
        expected="how many times the mix", metavar="TIMES", default=HEADROOM,
    ),
    _minutes("--pot-life", "From when the parts meet until the mix no longer pours.", to="pot_life_min"),
    _minutes("--minutes-to-mix", "Of the pot life, what mixing and degassing take.", default=0.0),
    _minutes("--minutes-per-mould", "Of the pot life, what pouring one mould takes."),
)  # fmt: skip


def sheet_options(command: options.Command) -> options.Command:
    """All that decides what is weighed."""
    return _batch_options(_scale_options(_premix_option(_split_options(command))))


@dataclass(frozen=True, kw_only=True)
class Files:
    """What else the sheet is written as."""

    csv: Path | None
    pdf: Path | None
    paper: str
    title: str
    date: date | None
    replace: bool

    def check(self) -> None:
        """Refuse names that cannot be written to, before anything is worked out."""
        options.check_file(self.csv, "--csv", ".csv", replace=self.replace)
        options.check_file(self.pdf, "--pdf", ".pdf", replace=self.replace)

    def write(self, palette: Palette, sheet: WeighSheet) -> list[str]:
        """Write them; their names."""
        contents: dict[Path, bytes] = {}
        if self.csv:
            contents[self.csv] = weigh_table(sheet)
        if self.pdf:
            from tint.proofs.sheet import draw_weigh_sheet  # for those who ask for it

            made = datetime(self.date.year, self.date.month, self.date.day, tzinfo=UTC) if self.date else None
            contents[self.pdf] = draw_weigh_sheet(palette, sheet, title=self.title, paper=self.paper, made=made)
        write_all(contents)
        return [str(path) for path in contents]


file_options = options.grouped(
    "files",
    Files,
    click.option("--csv", metavar="FILE.csv", type=options.PATH, help="Write it for a spreadsheet too."),
    click.option("--pdf", metavar="FILE.pdf", type=options.PATH, help="Write it for paper, one page."),
    click.option(
        "--paper", type=click.Choice(("a4", "letter")), default="a4", show_default=True, help="Size of the PDF."
    ),
    click.option("--title", metavar="WORDS", default="", help="For whom or what it is, on the PDF."),
    click.option(
        "--date", type=options.day("--date"), metavar="DAY", help="On the PDF, as in 2031-05-09.  [default: left blank]"
    ),
    options.replace,
)
