"""`tint explain`: a word of optics or of the trade, in a few plain sentences."""

from __future__ import annotations

import click

from tint.cli.tables import page
from tint.glossary import GLOSSARY, explain


@click.command("explain")
@click.argument("word", nargs=-1)
def command(word: tuple[str, ...]) -> None:
    """A word of optics or of the trade, in plain sentences.

    Example: tint explain contrast ratio

    Without a word it lists those that it explains.
    """
    with page() as out:
        if word:
            out.print(explain(" ".join(word)))
        else:
            out.print("Words that can be explained: " + ", ".join(sorted(GLOSSARY)) + ".")
