"""What leaves the program: calm tables and facts on a page for people, one JSON object for scripts, no word that moves
a terminal's cursor. Little is imported here, since `tint --help` needs it too.
"""

from __future__ import annotations

import contextlib
import math
import re
import sys
import threading
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import click

from tint.errors import shortened

if TYPE_CHECKING:  # rich is loaded for those who get a page
    from msgspec import Struct
    from rich.console import Console, ConsoleOptions, ConsoleRenderable, RenderableType
    from rich.progress import Progress, TaskID
    from rich.segment import Segment

QUIET, HEAD, ALARM, CARE = "dim", "bold", "bold red", "yellow"
# Characters: wider than any table; the narrowest column that reads well, no source; a terminal of unknown width.
_WIDEST, _LEAST_PROSE, _USUAL = 10_000, 16, 80


class Page:
    """What people read, written to standard output at once, with no blanks at line ends.

    Plain text when that is not a terminal; file names are never taken for markup.
    """

    def __init__(self) -> None:
        from rich.console import Console  # not for those who ask for JSON

        self._out = Console(highlight=False, markup=False, emoji=False)
        self._out.width = self._out.width or _USUAL  # COLUMNS=0 means that nobody knows
        self._out.push_render_hook(Plainly())  # type: ignore[arg-type]  # is one but for its base class

    def write(self, fill: Callable[[Page], None], written: Sequence[str] = ()) -> None:
        """Have it filled, and write it; `written`: names of files, which end it."""
        with self._out.capture() as held:
            fill(self)
            for at, name in enumerate(written):
                self.print("" if at else "\n", f"Written: {name}", sep="")
        click.echo("\n".join(line.rstrip() for line in held.get().rstrip("\n").split("\n")), color=True)

    def print(self, *words: RenderableType, style: str = "", sep: str = " ", soft_wrap: bool = False) -> None:
        self._out.print(*words, style=style, sep=sep, soft_wrap=soft_wrap)

    def apart(self, words: RenderableType, *, style: str = "") -> None:
        """Words below a blank line."""
        self.print()
        self.print(words, style=style)

    def title(self, title: str, conditions: str = "") -> None:
        """What follows is about this, and holds for that."""
        self.print(title, style=HEAD)
        if conditions:
            self.print(conditions, style=QUIET)
        self.print()

    def patch(self, code: str) -> None:
        """A colour itself, on a terminal that can show it."""
        if self._out.is_terminal and self._out.color_system == "truecolor":
            for _ in range(2):
                self.print(" " * 10, style=f"on {code}")
            self.print()

    def table(self, columns: Sequence[str], rows: Iterable[Sequence[RenderableType]], *, indent: int = 0) -> None:
        """A table without lines.

        `columns` are headers of one line or two. Names start with `<`, sentences with `~`; the rest are numbers. Names
        and numbers are never folded or cut; sentences fold at their blanks.
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
            side: Literal["left", "right"] = "right" if name == header else "left"
            least = _LEAST_PROSE if folds else widest
            table.add_column(header, justify=side, no_wrap=not folds, overflow="fold", min_width=least)
        for row in held:
            table.add_row(*row)
        padded = Padding(table, (0, 0, 0, indent), expand=False)
        # On a page too narrow for the numbers the terminal wraps the lines, and none is lost.
        out, given = self._out, self._out.width
        out.width = max(given, out.measure(padded, options=out.options.update(width=_WIDEST)).minimum)
        out.print(padded)
        out.width = given

    def facts(self, facts: Iterable[tuple[str, str, str]]) -> None:
        """Name, value with its unit, and what it holds for, a line each."""
        from rich.table import Table

        grid = Table.grid(padding=(0, 2, 0, 0))
        grid.add_column(no_wrap=True)
        grid.add_column(no_wrap=True)
        grid.add_column(style=QUIET, overflow="fold")
        for fact in facts:
            grid.add_row(*fact)
        self.print(grid)

    def notes(self, heading: str, notes: Iterable[str], *, style: str = HEAD) -> None:
        """A list of sentences under a heading; nothing at all when there are none."""
        from rich.table import Table

        grid = Table.grid(padding=(0, 1, 0, 0))
        for note in notes:
            grid.add_row("-", message(note))
        if grid.row_count:
            self.apart(heading, style=style)
            self.print(grid)


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


_JSON = "tint.json"


def note_json(context: click.Context, _: click.Parameter, wanted: bool) -> None:
    """Keep whether --json was given."""
    context.meta[_JSON] = wanted


def asked_for_json() -> bool:
    """Whether the command that runs is to print JSON alone."""
    context = click.get_current_context(silent=True)
    return context is not None and bool(context.meta.get(_JSON))


def answer(
    content: Struct | Mapping[str, Any], page: Callable[[Page], None], *, written: Sequence[str] = (), **more: Any
) -> None:  # fmt: skip
    """What came of a command: for --json one JSON object, to which `more` are further keys, and else a page.

    `written`: the names of files that were written, told by both.
    """
    if asked_for_json():
        from tint import jsonable

        more |= {"written": written} if written else {}
        click.echo(_MOVING.sub(_escaped, jsonable.text(content, **more)))  # they can only stand in strings
    else:
        Page().write(page, written)


def line(words: str) -> Callable[[Page], None]:
    """A page of one line, however long."""
    return lambda out: out.print(words, soft_wrap=True)


def fields(thing: object, *names: str) -> dict[str, Any]:
    """What a thing holds under the names that JSON has for it, too."""
    return {name: getattr(thing, name) for name in names}


def counted(count: int, one: str, many: str = "") -> str:
    """`1 reading`, `2 readings`."""
    return f"{count} {one if count == 1 else many or one + 's'}"


def fixed(value: float, decimals: int) -> str:
    """A number to so many decimals; a dash for what is not known."""
    return f"{value:.{decimals}f}" if math.isfinite(value) else "-"


def within(value: float, error: float, decimals: int = 3) -> str:
    """A number and its error, likewise."""
    return f"{fixed(value, decimals)} ± {fixed(error, decimals)}"


# How far a long job has come, on a terminal and nowhere else.


Tell = Callable[[str, int, int], None]

PATIENCE_S = 1.0  # s: a job that is done sooner shows nothing; common practice, no source


@contextlib.contextmanager
def progress(*, on: Console | None = None, patience_s: float = PATIENCE_S) -> Iterator[Tell]:
    """Something to tell steps to: what is being done, how many are done, of how many; of 0 where nobody knows.

    It shows on `on`, else on standard error if that is a terminal, and not before `patience_s` [s] are over.
    """
    if asked_for_json() or (on is None and not sys.stderr.isatty()):
        yield lambda *_: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}", markup=False), BarColumn(), TimeRemainingColumn())
    # A step of a print may take a minute: of the last half, rich's default, no time left could be told.
    bar = Progress(*columns, console=on or Console(stderr=True), transient=True, speed_estimate_period=600.0)
    task = bar.add_task("")
    starting = threading.Timer(patience_s, bar.start)
    starting.start()
    try:
        yield lambda words, done, of: _at(bar, task, plain(words), done, of)
    finally:
        starting.cancel()
        starting.join()
        if bar.live.is_started:
            bar.stop()


def _at(bar: Progress, task: TaskID, words: str, done: int, of: int) -> None:
    """Where a job stands, of 0 steps where nobody knows how many; other steps are another job, with its own time."""
    now = bar.tasks[0]
    if (now.total or 0) != of:
        bar.reset(task)
        now.total = of or None
    bar.update(task, description=words, completed=done)


# Harmless to a terminal, and short enough to be read.

LONGEST = 1000  # characters of a message; chosen to fill a dozen lines of a terminal
_END = 250  # of them kept for the end, which says what mends it

# What moves a terminal's cursor or turns the direction of writing: control characters but for the end of a line and
# the tabulator, and Unicode's embeddings, overrides, isolates and separators (Unicode Standard Annex 9, section 2).
_MOVING = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\u2028\u2029]")


def plain(text: str) -> str:
    r"""The text with `\x1b` and the like in place of what a terminal would obey."""
    return _MOVING.sub(lambda each: f"\\x{ord(each[0]):02x}" if ord(each[0]) < 256 else _escaped(each), text)


def _escaped(each: re.Match[str]) -> str:
    return f"\\u{ord(each[0]):04x}"


def message(text: str) -> str:
    """One line, without its middle where it is too long to be read."""
    return shortened(plain(" ".join(text.split())), LONGEST - _END, _END)


class Plainly:
    """A render hook of rich: makes words harmless where styles, which do command the terminal, are still apart."""

    def process_renderables(self, renderables: list[ConsoleRenderable]) -> list[ConsoleRenderable]:
        return [_Plain(each) for each in renderables]


@dataclass(frozen=True)
class _Plain:
    held: RenderableType

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> Iterator[Segment]:
        for each in console.render(self.held, options):
            yield each if each.control else each._replace(text=plain(each.text))
