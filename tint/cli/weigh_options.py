"""The options of a weigh sheet: how much, on what scale, in which cups, and what it is written as."""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from pathlib import Path

import click

from tint.cli.options import Decorator, count_option, grouped, number_option
from tint.cli.workshop import workshop
from tint.errors import InputError
from tint.files import write_whole
from tint.palette import Palette
from tint.weighing import Batch, Scale, Split, WeighSheet, weigh_table


def _grams(name: str, text: str, *, default: float | None = None) -> Decorator:
    return number_option(name, text, expected="grams", metavar="G", default=default)


def _volume(name: str, text: str) -> Decorator:
    return number_option(name, text, expected="cm3", metavar="V")


def _minutes(name: str, text: str) -> Decorator:
    return number_option(name, text, expected="minutes", metavar="MIN")


def _batch(
    batch_g: float | None, batch_cm3: float | None, part_cm3: float | None, count: int, moulds: int | None,
    sprue_cm3: float | None, cup_loss_g: float | None, waste: float,
) -> Batch:  # fmt: skip
    return Batch(
        batch_g=batch_g,
        batch_cm3=batch_cm3,
        part_cm3=part_cm3,
        count=count,
        moulds=moulds,
        sprue_cm3=sprue_cm3 or 0.0,
        cup_loss_g=cup_loss_g or 0.0,
        waste_percent=waste,
    )


batch_options = grouped(
    "batch",
    _batch,
    number_option("--batch-g", "Mix that the moulds hold, in grams; or", expected="grams of mix", metavar="G"),
    number_option("--batch-cm3", "in cubic centimetres; or", expected="cm3 of mix", metavar="V"),
    _volume("--part-cm3", "volume of one part, in cubic centimetres,"),
    count_option("--count", "and how many parts.", default=1),
    count_option("--moulds", "How many moulds are poured.  [default: one a part]"),
    _volume("--sprue-cm3", "What stays in sprue and flash of each mould."),
    _grams("--cup-loss-g", "What stays in each cup."),
    number_option("--waste", "A margin on what is poured.", expected="% of the batch", metavar="PERCENT", default=10.0),
)


def _scale(scale_step: float, scale_sd: float | None, dose_tolerance: float) -> Scale:
    return Scale(step_g=scale_step, sd_g=scale_sd, tolerance_percent=dose_tolerance, max_g=workshop().scale_max_g)


scale_options = grouped(
    "scale",
    _scale,
    _grams("--scale-step", "Smallest step of the scale.", default=0.01),
    _grams("--scale-sd", "How well it repeats, a standard deviation.  [default: 0.41 steps]"),
    number_option(
        "--dose-tolerance", "By which a dose may be off.", expected="% of a dose", metavar="PERCENT", default=1.0
    ),
)


def _split(
    cup_cm3: float | None, headroom: float, pot_life: float | None, minutes_to_mix: float | None,
    minutes_per_mould: float | None,
) -> Split:  # fmt: skip
    return Split(
        cup_cm3=cup_cm3,
        headroom=headroom,
        pot_life_min=pot_life,
        minutes_to_mix=minutes_to_mix or 0.0,
        minutes_per_mould=minutes_per_mould,
    )


split_options = grouped(
    "split",
    _split,
    _volume("--cup-cm3", "The largest cup there is, to its brim."),
    number_option(
        "--headroom",
        "Cup to mix, since mix swells under vacuum; 3 to 5 is usual.",
        expected="how many times the mix",
        metavar="TIMES",
        default=4.0,
    ),
    _minutes("--pot-life", "From when the parts meet until the mix pours no more."),
    _minutes("--minutes-to-mix", "Of it, what mixing and degassing take.  [default: 0]"),
    _minutes("--minutes-per-mould", "Of it, what pouring a mould takes."),
)


@dataclass(frozen=True, kw_only=True)
class Files:
    """What else the sheet is written as."""

    csv: Path | None
    pdf: Path | None
    paper: str
    title: str
    date: datetime.datetime | None
    replace: bool

    def check(self) -> None:
        """Refuse names that cannot be written to, before anything is reckoned."""
        for path, option, ending in ((self.csv, "--csv", ".csv"), (self.pdf, "--pdf", ".pdf")):
            if path is None:
                continue
            where = f"{option} {path}"
            if path.suffix.lower() != ending:
                raise InputError(
                    where, f"does not end in {ending}", f"expected the name of a {ending[1:].upper()} file"
                )
            if path.is_dir():
                raise InputError(where, "is a folder", "expected the name of a file")
            if path.exists() and not self.replace:
                raise InputError(where, "is there already", mend="choose another name, or add --replace")

    def write(self, palette: Palette, sheet: WeighSheet) -> list[str]:
        """Write them; their names."""
        contents: dict[Path, bytes] = {}
        if self.csv:
            contents[self.csv] = weigh_table(sheet)
        if self.pdf:
            from tint.proofs.sheet import draw_weigh_sheet  # for those who ask for it

            contents[self.pdf] = draw_weigh_sheet(palette, sheet, title=self.title, paper=self.paper, made=self.date)
        for path, content in contents.items():
            write_whole(path, content)
        return [str(path) for path in contents]


def _files(
    csv: Path | None, pdf: Path | None, paper: str, title: str, date: datetime.datetime | None, replace: bool
) -> Files:
    return Files(csv=csv, pdf=pdf, paper=paper, title=title, date=date, replace=replace)


def _date(text: str) -> datetime.datetime:
    try:
        return datetime.datetime.strptime(text, "%Y-%m-%d").replace(tzinfo=datetime.UTC)
    except ValueError:
        raise InputError("--date", f"`{text}` is not a date", "expected YEAR-MONTH-DAY as in 2031-05-09") from None


file_options = grouped(
    "files",
    _files,
    click.option("--csv", metavar="FILE.csv", type=click.Path(path_type=Path), help="Write it for a spreadsheet too."),
    click.option("--pdf", metavar="FILE.pdf", type=click.Path(path_type=Path), help="Write it for paper, one page."),
    click.option("--paper", type=click.Choice(("a4", "letter")), default="a4", show_default=True, help="Of the PDF."),
    click.option("--title", metavar="WORDS", default="", help="For whom or what it is, on the PDF."),
    click.option("--date", type=_date, metavar="DATE", help="On the PDF, as in 2031-05-09.  [default: left blank]"),
    click.option("--replace", is_flag=True, help="Write over files that are there."),
)
