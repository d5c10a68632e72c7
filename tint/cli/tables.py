"""How numbers are shown: calm tables and facts on a page for people, one JSON object for scripts."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import click
import msgspec
import numpy as np

if TYPE_CHECKING:
    from rich.console import Console, RenderableType

QUIET, HEAD, ALARM, CARE = "dim", "bold", "bold red", "yellow"


def page() -> Console:
    """Standard output for people: plain text when it is not a terminal; file names are never taken for markup."""
    from rich.console import Console  # not for those who ask for JSON

    return Console(highlight=False, markup=False, emoji=False)


def print_json(content: Mapping[str, Any]) -> None:
    """Write one JSON object and nothing else."""
    click.echo(msgspec.json.encode(plain(content)))


def plain(value: Any) -> Any:
    """A value as JSON can hold it: arrays as lists, what is not finite as null."""
    if isinstance(value, np.ndarray | np.generic):
        return plain(value.tolist())
    if isinstance(value, Mapping):
        return {str(name): plain(each) for name, each in value.items()}
    if isinstance(value, list | tuple):
        return [plain(each) for each in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def show_title(out: Console, title: str, conditions: str = "") -> None:
    """What follows is about this, and holds for that."""
    out.print(title, style=HEAD)
    if conditions:
        out.print(conditions, style=QUIET)
    out.print()


def show_table(out: Console, columns: Sequence[str], rows: Iterable[Sequence[RenderableType]], *, indent: int = 0) -> None:
    """A table without lines.

    Parameters
    ----------
    columns : sequence of str
        Headers. One that starts with `<` holds words: it is set left, and folds when the page is narrow; the others
        hold numbers: set right, never folded and never cut.
    """
    from rich.padding import Padding
    from rich.table import Table

    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style=HEAD)
    for name in columns:
        words = name.startswith("<")
        table.add_column(name.removeprefix("<"), justify="left" if words else "right", no_wrap=not words, overflow="fold")
    for row in rows:
        table.add_row(*row)
    padded = Padding(table, (0, 0, 0, indent), expand=False)
    # A terminal too narrow for the numbers wraps the lines itself, and loses none.
    out.print(padded, width=max(out.width, out.measure(padded).minimum), crop=False)


def show_facts(out: Console, facts: Iterable[tuple[str, str, str]]) -> None:
    """Name, value with its unit, and what it holds for, a line each."""
    from rich.table import Table

    grid = Table.grid(padding=(0, 2, 0, 0))
    grid.add_column(no_wrap=True)
    grid.add_column(no_wrap=True)
    grid.add_column(style=QUIET)
    for fact in facts:
        grid.add_row(*fact)
    out.print(grid)


def show_notes(out: Console, heading: str, notes: Iterable[str], *, style: str = "") -> None:
    """A list of sentences under a heading; nothing at all when there are none."""
    from rich.table import Table

    grid = Table.grid(padding=(0, 1, 0, 0))
    for note in notes:
        grid.add_row("-", note)
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


def percent(loading: float) -> str:
    """A loading: four digits."""
    return f"{loading:.4g} %"
