"""How answers are shown: calm tables and facts on a page for people, one JSON object for scripts."""

from __future__ import annotations

import contextlib
import math
import sys
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Literal

import click
import numpy as np

from tint import jsonable
from tint.appearance import clarity_in_words
from tint.cli.edge import Plainly, message, plain, plain_json
from tint.trials.trial import span

if TYPE_CHECKING:
    from msgspec import Struct
    from rich.console import Console, RenderableType

    from tint.appearance import Appearance
    from tint.palette import Circumstances, Palette

QUIET, HEAD, ALARM, CARE = "dim", "bold", "bold red", "yellow"
# Characters: wider than any table; the narrowest column that reads well, no source; a terminal of unknown width.
_WIDEST, _LEAST_PROSE, _USUAL = 10_000, 16, 80


@contextlib.contextmanager
def page() -> Iterator[Console]:
    """What people read, gathered and then written to standard output at once, with no blanks at line ends.

    Plain text when that is not a terminal; file names are never taken for markup.
    """
    from rich.console import Console  # not for those who ask for JSON

    out = Console(highlight=False, markup=False, emoji=False)
    out.width = out.width or _USUAL  # COLUMNS=0 means that nobody knows
    out.push_render_hook(Plainly())  # type: ignore[arg-type]  # is one but for its base class
    with out.capture() as held:
        yield out
    click.echo("\n".join(line.rstrip() for line in held.get().rstrip("\n").split("\n")), color=True)


@contextlib.contextmanager
def waiting(words: str) -> Iterator[Callable[[str], None]]:
    """Show on a terminal that something is being done; elsewhere nothing. What it yields is told how far it came."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich.console import Console

    with Console(stderr=True, markup=False).status(plain(words)) as status:
        yield lambda reached: status.update(plain(f"{words}: {reached}"))


def warn(line: str) -> None:
    """A line beside the answer, on standard error."""
    click.echo(f"tint: {line}", err=True)


def json(content: Struct | Mapping[str, Any], **more: Any) -> None:
    """Write one JSON object and nothing else; `more` are further keys."""
    click.echo(plain_json(jsonable.text(content, **more)))


def title(out: Console, title: str, conditions: str = "") -> None:
    """What follows is about this, and holds for that."""
    out.print(title, style=HEAD)
    if conditions:
        out.print(conditions, style=QUIET)
    out.print()


def table(out: Console, columns: Sequence[str], rows: Iterable[Sequence[RenderableType]], *, indent: int = 0) -> None:
    """A table without lines.

    Parameters
    ----------
    columns : sequence of str
        Headers, of one line or two. Names start with `<`, sentences with `~`; the rest are numbers. Names and numbers
        are never folded or cut; sentences fold at their blanks.
    """
    from rich.cells import cell_len
    from rich.padding import Padding
    from rich.table import Table

    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style=HEAD)
    held = [tuple(row) for row in rows]
    for at, name in enumerate(columns):
        header, folds = name.lstrip("<~"), name.startswith("~")
        lines = [line for cell in (header, *(row[at] for row in held)) for line in str(cell).split("\n")]
        widest = max(cell_len(line) for line in lines)
        least = _LEAST_PROSE if folds else widest
        side: Literal["left", "right"] = "right" if name == header else "left"
        table.add_column(header, justify=side, no_wrap=not folds, overflow="fold", min_width=least)
    for row in held:
        table.add_row(*row)
    padded = Padding(table, (0, 0, 0, indent), expand=False)
    # On a page too narrow for the numbers the terminal wraps the lines, and none is lost.
    needed = out.measure(padded, options=out.options.update(width=_WIDEST)).minimum
    given, out.width = out.width, max(out.width, needed)
    out.print(padded)
    out.width = given


def facts(out: Console, facts: Iterable[tuple[str, str, str]]) -> None:
    """Name, value with its unit, and what it holds for, a line each."""
    from rich.table import Table

    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_column(no_wrap=True)
    grid.add_column(no_wrap=True)
    grid.add_column(style=QUIET, overflow="fold")
    for fact in facts:
        grid.add_row(*fact)
    out.print(grid)


def notes(out: Console, heading: str, notes: Iterable[str], *, style: str = "") -> None:
    """A list of sentences under a heading; nothing at all when there are none."""
    from rich.table import Table

    grid = Table.grid(padding=(0, 1, 0, 0))
    for note in notes:
        grid.add_row("-", message(note))
    if grid.row_count:
        out.print()
        out.print(heading, style=style or HEAD)
        out.print(grid)


def counted(count: int, one: str, many: str = "") -> str:
    """`1 reading`, `2 readings`."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def fixed(value: float, decimals: int) -> str:
    """A number to so many decimals; a dash for what is not known."""
    return f"{value:.{decimals}f}" if math.isfinite(value) else "-"


# How far a long job has come, on a terminal and nowhere else.


Tell = Callable[[str, int, int], None]

PATIENCE_S = 1.0  # s: a job that is done sooner shows nothing; common practice, no source


@contextlib.contextmanager
def progress(*, quiet: bool = False, on: Console | None = None, patience_s: float = PATIENCE_S) -> Iterator[Tell]:
    """Something to tell steps to: what is being done, how many are done, of how many.

    Parameters
    ----------
    quiet : bool
        Show nothing at all.
    on : Console, optional
        In place of standard error, which is used only when it is a terminal.
    patience_s : float
        How long to wait before anything is shown [s].
    """
    if quiet or (on is None and not sys.stderr.isatty()):
        yield lambda *_: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}", markup=False), BarColumn(), TimeRemainingColumn())
    bar = Progress(*columns, console=on or Console(stderr=True), transient=True)
    task = bar.add_task("")
    starting = threading.Timer(patience_s, bar.start)
    starting.start()
    try:
        yield lambda words, done, of: bar.update(task, description=plain(words), completed=done, total=of)
    finally:
        starting.cancel()
        starting.join()
        if bar.live.is_started:
            bar.stop()


# A blend: what several commands say of it, in the same words and keys.

_PATCH = " " * 10


def appearance(out: Console, look: Appearance, palette: Palette, *, more: Iterable[tuple[str, str, str]] = ()) -> None:
    """Colour over each backing, opacity, light let through, error, and what to know before believing them."""
    _patch(out, look)
    labs = {place(look.over): look.lab}
    if np.isfinite(look.lab_black).all():
        labs.setdefault(place(palette.black), look.lab_black)
        labs.setdefault(place(palette.white), look.lab_white)
    table(out, ("<", "L*", "a*", "b*"), [(place, *(fixed(x, 2) for x in lab)) for place, lab in labs.items()])
    out.print()
    facts(out, [*_facts(look), *more])
    notes(out, "Before you trust it", look.warnings, style=CARE)


def _patch(out: Console, look: Appearance) -> None:
    """The colour itself, on a terminal that can show it."""
    if out.is_terminal and out.color_system == "truecolor":
        for _ in range(2):
            out.print(_PATCH, style=f"on {look.srgb}")
        out.print()


def place(over: str) -> str:
    """What a casting is seen over, in words."""
    return "free slab" if over == "none" else f"over {over}"


def _facts(look: Appearance) -> list[tuple[str, str, str]]:
    gamut = "a screen can show it" if look.in_gamut else "clipped: no screen shows this colour"
    ratio = f"{fixed(look.contrast_ratio, 3)} ± {fixed(look.contrast_ratio_error, 3)}"
    through, regular, haze = (
        f"{fixed(100.0 * value, 1)} ± {fixed(100.0 * error, 1)} %"
        for value, error in (
            (look.luminous_transmittance, look.luminous_transmittance_error),
            (look.regular_transmittance, look.regular_transmittance_error),
            (look.haze, look.haze_error),
        )
    )
    opacity = [
        ("contrast ratio", ratio, "Y over black / Y over white; 95 of 100", look.contrast_ratio),
        ("transmittance", through, "total, of the free slab, Y", look.luminous_transmittance),
    ]
    if np.isfinite(look.haze):
        meaning = "within 2.5° of its way: what one sees through"
        opacity.append(("of it regular", regular, meaning, look.regular_transmittance))
        opacity.append(("haze", haze, f"the rest of it, scattered: {clarity_in_words(look)}", look.haze))
    told = [(what, said, meaning) if np.isfinite(x) else (what, "not known", "") for what, said, meaning, x in opacity]
    return [
        ("expected error", f"{fixed(look.expected_error, 2)} CIEDE2000", "95 of 100 castings read within it"),
        *told,
        ("screen colour", look.srgb, f"sRGB; {gamut}"),
    ]


# How the castings of each base were cured and kept, in a line for people and by name for scripts.


def in_words(told: Circumstances) -> str:
    """What was written of them; empty where nothing was."""
    parts = [
        told.cure_c and f"cured at {span(told.cure_c)} °C",
        told.days and f"read {span(told.days)} days after",
        told.moulds and f"mould {', '.join(told.moulds)}",
        told.finishes and f"finish {', '.join(told.finishes)}",
        told.lots and f"lot {', '.join(told.lots)}",
    ]
    return "; ".join(part for part in parts if part)


def circumstances_in_words(by_base: Mapping[str, Circumstances]) -> Iterable[tuple[str, str]]:
    """Base and words, for the bases of which something was written."""
    return [(base, words) for base, told in by_base.items() if (words := in_words(told))]


def circumstances_json(by_base: Mapping[str, Circumstances]) -> dict[str, Any]:
    """By base; null or an empty list for what nobody wrote."""
    return {base: asdict(told) for base, told in by_base.items()}
