"""A page on which names and notes cannot command the terminal; loaded with rich, when there is a page."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from rich.console import Console, ConsoleOptions, ConsoleRenderable, RenderableType, RenderHook
from rich.segment import Segment

from tint.cli.edge import plain


class Plainly(RenderHook):
    """Makes words harmless where styles, which do command the terminal, are still apart from them."""

    def process_renderables(self, renderables: list[ConsoleRenderable]) -> list[ConsoleRenderable]:
        """Wrap what is about to be printed."""
        return [_Plain(each) for each in renderables]


@dataclass(frozen=True)
class _Plain:
    held: RenderableType

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> Iterator[Segment]:
        for each in console.render(self.held, options):
            yield each if each.control else each._replace(text=plain(each.text))
