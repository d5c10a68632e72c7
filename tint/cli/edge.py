"""What leaves the program as text: harmless to a terminal, and short enough to be read."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # rich is loaded for those who get a page
    from rich.console import Console, ConsoleOptions, ConsoleRenderable, RenderableType
    from rich.segment import Segment

LONGEST = 1000  # characters of a message; chosen to fill a dozen lines of a terminal
_END = 250  # of them kept for the end, which says what mends it

# What moves a terminal's cursor or turns the direction of writing: control characters but for the end of a line and
# the tabulator, and Unicode's embeddings, overrides, isolates and separators (Unicode Standard Annex 9, section 2).
_MOVING = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\u2028\u2029]")


def plain(text: str) -> str:
    r"""The text with `\x1b` and the like in place of what a terminal would obey."""
    return _MOVING.sub(lambda each: f"\\x{ord(each[0]):02x}" if ord(each[0]) < 256 else _escaped(each), text)


def plain_json(text: str) -> str:
    """The same JSON, in which such characters are escaped: they can only stand in its strings."""
    return _MOVING.sub(_escaped, text)


def _escaped(each: re.Match[str]) -> str:
    return f"\\u{ord(each[0]):04x}"


def message(text: str) -> str:
    """One line, without its middle where it is too long to be read."""
    line = plain(" ".join(text.split()))
    if len(line) <= LONGEST:
        return line
    left_out = len(line) - LONGEST
    return f"{line[: LONGEST - _END]} ... ({left_out} characters left out) ... {line[-_END:]}"


class Plainly:
    """A render hook of rich: makes words harmless where styles, which do command the terminal, are still apart."""

    def process_renderables(self, renderables: list[ConsoleRenderable]) -> list[ConsoleRenderable]:
        """Wrap what is about to be printed."""
        return [_Plain(each) for each in renderables]


@dataclass(frozen=True)
class _Plain:
    held: RenderableType

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> Iterator[Segment]:
        for each in console.render(self.held, options):
            yield each if each.control else each._replace(text=plain(each.text))
