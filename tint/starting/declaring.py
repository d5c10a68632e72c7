"""The text of a first palette.toml, every key of it explained."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from tint.materials import Base, Pigment
from tint.starting.answers import COLORIMETER, NOTHING, TELEPHONE, Answers
from tint.starting.first import is_light

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
