"""What a maker tells of the workshop before anything is poured, in the words of the trade."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TypeVar

from tint.errors import InputError
from tint.materials import GEOMETRIES, Base, Pigment, Workshop
from tint.planning import MOULDS_MM
from tint.swatches.records import SWATCH_COLUMNS
from tint.weighing.premix import STEP_G

SPECTROPHOTOMETER, COLORIMETER, TELEPHONE, NOTHING = READERS = (
    "spectrophotometer", "colorimeter", "telephone", "nothing",
)  # fmt: skip
# Of silicone rubber: common practice, no source. Both are written where the data sheet's may be put in their place.
DENSITY, REFRACTIVE_INDEX = 1.08, 1.41
BEARS_PERCENT = 3.0  # pigment, where the maker does not say
_CURES = {"platinum": "addition", "addition": "addition", "tin": "condensation", "condensation": "condensation"}
_BOTH, _UNKNOWN = "both", "unknown"


@dataclass(frozen=True, kw_only=True)
class Answers:
    """What a workshop has.

    Raises
    ------
    InputError
        If something is missing or makes no sense.
    """

    name: str
    bases: Mapping[str, Base]
    pigments: Mapping[str, Pigment]
    reads: str = NOTHING  # `spectrophotometer`, `colorimeter`, `telephone` (with a colour chart) or `nothing` yet
    geometry: str = ""  # of the instrument: `di:8`, `de:8` or `45:0`
    cards: tuple[str, ...] = ("black", "white")  # what castings lie on to be read, the dark one first
    workshop: Workshop = field(default_factory=lambda: Workshop(scale_step_g=STEP_G, mould_depths_mm=MOULDS_MM))

    def __post_init__(self) -> None:
        if not self.bases:
            raise InputError("base", "none is told", "at least one rubber", "as in --base clear=platinum,1:1,3")
        if not self.pigments:
            raise InputError("pigment", "none is told", "at least one pigment", "as in --pigment white=both")
        if self.reads not in READERS:
            raise InputError("reads", f"`{self.reads}`", "expected " + ", ".join(READERS))
        if self.geometry and self.geometry not in GEOMETRIES:
            raise InputError("geometry", f"`{self.geometry}`", "expected " + ", ".join(GEOMETRIES))
        if len(set(self.cards)) < 2:
            raise InputError(
                "card", f"{len(set(self.cards))} is told", "a dark and a light one", "as in black and white"
            )
        for name in self.pigments:
            if name.lower() in SWATCH_COLUMNS or name in self.bases:
                raise InputError("pigment", f"`{name}` is the name of something else", mend="call it otherwise")

    @property
    def reads_colours(self) -> bool:
        """Whether three numbers are read and no spectrum."""
        return self.reads in (COLORIMETER, TELEPHONE)


def answers_of(
    *, name: str, bases: Sequence[str | Base], pigments: Sequence[str | Pigment], white: str = "", reads: str = NOTHING,
    geometry: str = "", cards: Sequence[str] = (), moulds_mm: Sequence[float] = (), scale_step_g: float | None = None,
    scale_max_g: float | None = None,
) -> Answers:  # fmt: skip
    """What a workshop has, from plain values; `bases` and `pigments` as `base_in` and `pigment_in` read them.

    Parameters
    ----------
    white : str
        The pigment that tints are made with, where no name tells it.

    Raises
    ------
    InputError
        If something is missing or makes no sense.
    """
    rubbers = _once([base_in(each) if isinstance(each, str) else each for each in bases], "base")
    stock = _once([pigment_in(each) if isinstance(each, str) else each for each in pigments], "pigment")
    if white:
        if white not in stock:
            raise InputError("white", f"there is no `{white}`", "expected one of " + ", ".join(stock))
        stock[white] = replace(stock[white], kind="titanium dioxide")
    step = STEP_G if scale_step_g is None else scale_step_g
    for what, values, unit, most in (
        ("mould", moulds_mm, "mm", 100.0),
        ("scale step", (step,), "g", 100.0),
        ("scale", (1.0 if scale_max_g is None else scale_max_g,), "g", 1e6),
    ):  # fmt: skip
        for value in values:
            if not 0.0 < value <= most:
                raise InputError(what, f"{value:g} {unit}", f"expected more than 0 and at most {most:g} {unit}")
    return Answers(
        name=name, bases=rubbers, pigments=stock, reads=reads, geometry=geometry,
        cards=tuple(cards) or ("black", "white"),
        workshop=Workshop(
            scale_step_g=step, scale_max_g=scale_max_g, mould_depths_mm=tuple(sorted(set(moulds_mm))) or MOULDS_MM
        ),
    )  # fmt: skip


_Thing = TypeVar("_Thing", Base, Pigment)


def _once(things: Sequence[_Thing], what: str) -> dict[str, _Thing]:
    names = [each.name for each in things]
    twice = [name for name in names if names.count(name) > 1]
    if twice:
        raise InputError(what, f"{twice[0]} is given twice", f"expected each {what} once")
    return {each.name: each for each in things}


def base_in(text: str) -> Base:
    """A rubber told as `NAME=CURE,MIX,BEARS`: `clear=platinum,1:1,3`, the mix by mass and what it bears in percent.

    InputError if it is told otherwise.
    """
    name, told = _named(text, "base", "clear=platinum,1:1,3")
    words = [word.strip() for word in told.split(",")] if told else []
    cure, mix, bears = [*words, "", "", ""][:3]
    if len(words) > 3 or not cure:
        raise InputError(f"base {name}", f"`{told}`", "expected CURE,MIX,BEARS as in platinum,1:1,3")
    parts = _mix(mix or "1:1", name)
    return Base(
        name=name, cure=cure_in(cure, f"base {name}"), density=DENSITY, refractive_index=REFRACTIVE_INDEX,
        max_loading=_percent(bears, f"base {name}") if bears else BEARS_PERCENT, mix=parts,
        pigment_in=next(iter(parts)),
    )  # fmt: skip


def pigment_in(text: str) -> Pigment:
    """A pigment told as `NAME`, `NAME=CURES` or `NAME=CURES,MOST`: `rose=tin,1`; InputError if it is told otherwise.

    CURES are those it is known to be safe with: platinum, tin, both or unknown.
    """
    name, told = _named(text, "pigment", "white=both")
    cures, _, most = (part.strip() for part in told.partition(","))
    where = f"pigment {name}"
    return Pigment(name=name, cures=cures_in(cures, where), max_loading=_percent(most, where) if most else None)


def cure_in(word: str, where: str) -> str:
    """`addition` or `condensation`, for the trade's platinum or tin."""
    if word.lower() not in _CURES:
        raise InputError(where, f"`{word}` is no cure", "expected platinum (addition) or tin (condensation)")
    return _CURES[word.lower()]


def cures_in(word: str, where: str) -> tuple[str, ...] | None:
    """The cures that a pigment is known to be safe with; None when nobody knows."""
    if word.lower() in ("", _UNKNOWN):
        return None
    if word.lower() == _BOTH:
        return ("addition", "condensation")
    if word.lower() not in _CURES:
        raise InputError(where, f"`{word}` is no cure", "expected platinum, tin, both or unknown")
    return (_CURES[word.lower()],)


def _named(text: str, where: str, example: str) -> tuple[str, str]:
    name, _, told = (part.strip() for part in text.partition("="))
    if not name or not re.fullmatch(r"[^\s,;\"'=\[\]#/\\]+(?: [^\s,;\"'=\[\]#/\\]+)*", name):
        raise InputError(where, f"`{text}`", f"expected a plain name first, as in {example}")
    return name, told


def _mix(text: str, name: str) -> dict[str, float]:
    """`1:1` or `100:5` as parts A and B by mass."""
    try:
        shares = [float(part) for part in text.split(":")]
    except ValueError:
        shares = []
    if not 1 <= len(shares) <= 4 or not all(0.0 < share <= 1000.0 for share in shares):
        raise InputError(f"base {name}", f"`{text}` is no mixing ratio", "expected parts by mass, as in 1:1 or 100:5")
    return dict(zip("ABCD", shares, strict=False))


def _percent(text: str, where: str) -> float:
    try:
        value = float(text.removesuffix("%"))
    except ValueError:
        value = -1.0
    if not 0.0 < value <= 100.0:
        raise InputError(where, f"`{text}`", "expected percent of the mix, as in 3")
    return value
