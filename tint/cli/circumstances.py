"""How the castings of each base were cured and kept, in a line for people and by name for scripts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any

from tint.palette import Circumstances
from tint.trials.conditions import span


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


def lines(by_base: Mapping[str, Circumstances]) -> Iterable[tuple[str, str]]:
    """Base and words, for the bases of which something was written."""
    return [(base, words) for base, told in by_base.items() if (words := in_words(told))]


def as_json(by_base: Mapping[str, Circumstances]) -> dict[str, Any]:
    """By base; null or an empty list for what nobody wrote."""
    return {base: asdict(told) for base, told in by_base.items()}
