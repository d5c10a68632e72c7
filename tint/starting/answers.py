"""What a maker tells of the workshop before anything is poured, in the words of the trade, and a palette.toml of it."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

from tint.errors import InputError
from tint.materials import CURES, GEOMETRIES, Base, Pigment, Workshop
from tint.planning import MOULDS_MM
from tint.starting.plan import is_light
from tint.swatches.records import SWATCH_COLUMNS
from tint.weighing.premix import STEP_G

SPECTROPHOTOMETER, COLORIMETER, TELEPHONE, NOTHING = READERS = (
    "spectrophotometer", "colorimeter", "telephone", "nothing",
)  # fmt: skip
# Of silicone rubber: common practice, no source. Both are written where the data sheet's may be put in their place.
DENSITY, REFRACTIVE_INDEX = 1.08, 1.41
BEARS_PERCENT = 3.0  # pigment, where the maker does not say
_CURES = {"platinum": "addition", "addition": "addition", "tin": "condensation", "condensation": "condensation"}


@dataclass(frozen=True, kw_only=True)
class Answers:
    """What a workshop has; InputError if something is missing or makes no sense."""

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

    `white` is the pigment that tints are made with, where no name tells it. InputError if something is missing or makes
    no sense.
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
    if twice := [name for name in names if names.count(name) > 1]:
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
    if cure.lower() not in _CURES:
        expected = "expected platinum (addition) or tin (condensation)"
        raise InputError(f"base {name}", f"`{cure}` is no cure", expected)
    parts = _mix(mix or "1:1", name)
    return Base(
        name=name, cure=_CURES[cure.lower()], density=DENSITY, refractive_index=REFRACTIVE_INDEX,
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


def cures_in(word: str, where: str) -> tuple[str, ...] | None:
    """The cures that a pigment is known to be safe with; None when nobody knows."""
    known = {"": None, "unknown": None, "both": CURES, **{each: (cure,) for each, cure in _CURES.items()}}
    if word.lower() not in known:
        raise InputError(where, f"`{word}` is no cure", "expected platinum, tin, both or unknown")
    return known[word.lower()]


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


# The text of a first palette.toml, every key of it explained.

_CURE_WORDS = {"addition": "platinum", "condensation": "tin"}
_COLUMN = 40  # from where comments stand


def palette_text(answers: Answers) -> str:
    """The whole file. A key that begins with # is optional: take the sign away and put your own number."""
    lines = [
        "# What the workshop has. Text after # explains and is not read; a key behind # is optional.",
        _line("format = 1", "of this file; leave it"),
        f"name = {_text(answers.name)}",
        *_instrument(answers),
        "",
        "# What castings lie on to be read; the bare readings of these stand in readings.csv.",
        *(f"[backings.{_key(card)}]" for card in answers.cards),
    ]
    for base in answers.bases.values():
        lines += _base(base)
    for pigment in answers.pigments.values():
        lines += _pigment(pigment, answers)
    return "\n".join([*lines, *_workshop(answers)]) + "\n"


def _line(key: str, comment: str) -> str:
    return f"{key:{_COLUMN}s}# {comment}"


def _text(words: str) -> str:
    return json.dumps(words, ensure_ascii=False)


def _key(name: str) -> str:
    plain = name.isascii() and name.replace("-", "").replace("_", "").isalnum()
    return name if plain else _text(name)


def _number(value: float) -> str:
    return f"{value:.10g}"


def instrument_keys(answers: Answers) -> dict[str, Any]:
    """The keys of `[instrument]` that can be told from what is read with."""
    keys: dict[str, Any] = {"geometry": answers.geometry or ("45:0" if answers.reads == TELEPHONE else "di:8")}
    if answers.reads_colours:
        keys |= {"light": "D65", "observer": 10}
    keys["repeatability"] = 0.004 if answers.reads == TELEPHONE else 0.002
    return keys | {"thickness_error_mm": 0.05, "dose_error_percent": 1.0}


_SAID = {
    "geometry": "di:8 sphere with gloss, de:8 without, 45:0 lit at 45 degrees",
    "light": "the light that L, a, b hold for",
    "observer": "and the observer: 2 or 10 degrees",
    "thickness_error_mm": "standard deviation of your calliper on rubber",
    "dose_error_percent": "standard deviation of a pigment dose, percent of the dose",
}
_SCATTER = {
    COLORIMETER: "scatter of one reading, as a share of white's X, Y, Z",
    TELEPHONE: "`tint photograph` tells that of your pictures",
}


def _instrument(answers: Answers) -> Iterator[str]:
    yield from ("", "[instrument]")
    if answers.reads == NOTHING:
        yield "# Nothing to read with yet: this is the usual spectrophotometer, to be corrected when you know yours."
    said = _SAID | {
        "repeatability": _SCATTER.get(answers.reads, "standard deviation of one reading, reflectance 0 to 1")
    }
    for key, value in instrument_keys(answers).items():
        yield _line(f"{key} = {_text(value) if isinstance(value, str) else _number(value)}", said[key])
    if not answers.reads_colours:
        yield _line("# aperture_mm = 8.0", "diameter of the spot that is measured; state it if you know it")
        yield _line("# lit_mm = 11.0", "diameter of the spot that is lit")


def _base(base: Base) -> Iterator[str]:
    mix = ", ".join(f"{part} = {_number(share)}" for part, share in base.mix.items())
    yield from ("", f"[bases.{_key(base.name)}]")
    yield _line(f"cure = {_text(base.cure)}", f"{_CURE_WORDS[base.cure]}; addition or condensation")
    yield _line(f"mix = {{ {mix} }}", "parts by mass")
    yield _line(f"pigment_in = {_text(base.pigment_in)}", "the part that pigment is stirred into")
    yield _line(f"max_loading = {_number(base.max_loading)}", "percent of the mix, all pigments together")
    yield _line(f"density = {_number(base.density)}", "g/cm3 of the cured rubber; see its data sheet")
    yield _line(f"refractive_index = {_number(base.refractive_index)}", "of silicone rubber, usually 1.40 to 1.43")
    yield _line('# lot = ""', "that swatches are cast from")
    yield _line("# price = 30.0", "per kg")


def _pigment(pigment: Pigment, answers: Answers) -> Iterator[str]:
    yield from ("", f"[pigments.{_key(pigment.name)}]")
    if pigment.cures is None:
        yield _line('# cures = ["addition"]', "nobody has said: cure a small cup before you pour with it")
    else:
        cures = ", ".join(map(_text, pigment.cures))
        yield _line(f"cures = [{cures}]", "the cures it is known to be safe with")
    most = pigment.max_loading or max(base.max_loading for base in answers.bases.values())
    mark = "" if pigment.max_loading else "# "
    yield _line(f"{mark}max_loading = {_number(most)}", "percent of the mix, the most of it alone")
    mark = "" if pigment.kind else "# "
    kind = pigment.kind or ("titanium dioxide" if is_light(pigment) else "")
    yield _line(f"{mark}kind = {_text(kind)}", "what it is, if you know: `tint explain kind`")
    yield _line("# density = 1.3", "g/cm3")
    yield _line('# lot = ""', "as on its tub")
    yield _line("# price = 60.0", "per kg")


def _workshop(answers: Answers) -> Iterator[str]:
    shop = answers.workshop
    depths = ", ".join(map(_number, shop.mould_depths_mm))
    yield from ("", "# What every command takes for granted where it is not told.", "[workshop]")
    yield _line(f"scale_step_g = {_number(shop.scale_step_g or 0.01)}", "smallest step of the scale")
    if shop.scale_max_g:
        yield _line(f"scale_max_g = {_number(shop.scale_max_g)}", "the most that it carries")
    else:
        yield _line("# scale_max_g = 500", "the most that it carries")
    yield _line(f"mould_depths_mm = [{depths}]", "of the moulds for swatches")
    yield _line("# dose_tolerance_percent = 1.0", "by which a dose may be off")
    yield _line("# cup_cm3 = 600", "the largest cup, to its brim")
    yield _line("# waste_percent = 10", "more than the moulds hold")
    yield _line("# premix_days = 30", "for which a premix that was kept is used again; common practice")
    yield _line('# currency = "EUR"', "that prices are in")
    yield _line("# price_per_hour = 40", "of working time; with prices above, `tint order` quotes")
    yield _line("# minutes_a_batch = 60", "of work, whatever its size: weighing, degassing, cleaning")
    yield _line("# minutes_a_part = 10", "of work for each part besides")
    yield _line("# margin_percent = 25", "on all of that")
