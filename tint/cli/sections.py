"""The help of a command with many options, in sections."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import click


class Sectioned(click.Command):
    """A command whose options are listed under headings.

    Parameters
    ----------
    sections : mapping of str to sequence of str
        Heading to options, by their names as typed, in the order in which they are listed. What is in none comes last.
    """

    def __init__(self, *given: Any, sections: Mapping[str, Sequence[str]], **more: Any) -> None:
        super().__init__(*given, **more)
        self.sections = sections

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the options, a section after the other."""
        left = {each.opts[0]: each for each in self.get_params(ctx) if isinstance(each, click.Option)}
        for heading, names in self.sections.items():
            self._write(heading, [left.pop(name) for name in names], ctx, formatter)
        self._write("Other options", list(left.values()), ctx, formatter)

    @staticmethod
    def _write(
        heading: str, options: Sequence[click.Option], ctx: click.Context, formatter: click.HelpFormatter
    ) -> None:  # fmt: skip
        records = [record for record in (each.get_help_record(ctx) for each in options) if record is not None]
        if records:
            with formatter.section(heading):
                formatter.write_dl(records)
