"""What the castings of a base have in common in their cure, mould and age, and where they differ."""

from __future__ import annotations

from collections.abc import Iterable

from tint.palette import Circumstances
from tint.swatches import Conditions


def circumstances(castings: Iterable[Conditions]) -> Circumstances:
    """The conditions of several castings as ranges and lists; what nobody wrote stays empty."""
    told = tuple(castings)
    return Circumstances(
        cure_c=_range(each.cure_c for each in told),
        days=_range(each.days for each in told),
        moulds=once(each.mould for each in told),
        finishes=once(each.finish for each in told),
        lots=once(each.lot for each in told),
    )


def once(words: Iterable[str]) -> tuple[str, ...]:
    """Words each once, as first written; blank ones not at all, and `Satin` is `satin`."""
    first: dict[str, str] = {}
    for word in words:
        if same(word):
            first.setdefault(same(word), word)
    return tuple(first.values())


def same(word: str) -> str:
    """What two spellings of one word share: neither capitals nor blanks tell words apart."""
    return " ".join(word.split()).casefold()


def _range(values: Iterable[float | None]) -> tuple[float, float] | None:
    known = [value for value in values if value is not None]
    return (min(known), max(known)) if known else None
