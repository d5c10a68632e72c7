"""`tint explain`: a word of optics or of the trade, in a few plain sentences."""

from __future__ import annotations

import click

from tint.cli.tables import page
from tint.glossary import GLOSSARY, explain


@click.command("explain")
@click.argument("word", nargs=-1)
def command(word: tuple[str, ...]) -> None:
    """A word, explained in a few plain sentences; without one, the list of words.

    Example: tint explain contrast ratio
    """
    with page() as out:
        if word:
            out.print(explain(" ".join(word)))
        else:
            out.print("Words that can be explained: " + ", ".join(sorted(GLOSSARY)) + ".")
