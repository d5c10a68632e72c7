"""Entries of the ledger as options, one for each column, and as pages: a line for each, or all that one holds."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import Any

import click

from tint.cli import options, show
from tint.cli.keys import option
from tint.errors import InputError
from tint.ledger import KINDS, LAB, TABLES, Column, Drift, Entry, Near, Repeat, Stock, Weighing, as_dict, columns
from tint.materials import Blend


def number_of(told: str) -> int:
    text = str(told)
    if not text.isdecimal() or not 0 < len(text) < 19 or int(text) < 1:
        raise InputError("ledger", f"`{text}` is not the number of an entry", "expected a whole number of at least 1")
    return int(text)


def kind_argument(*, required: bool) -> options.Decorator:
    """The kind of entry, by its name or its table's."""

    def convert(told: str) -> str:
        word = told.lower().replace("-", "_")
        kinds = {name: kind for kind, table in TABLES.items() for name in (kind, table)} | {"references": "reference"}
        if word not in kinds:
            raise InputError("ledger", f"there is no kind `{told}`", "expected one of " + ", ".join(KINDS))
        return kinds[word]

    return click.argument("kind", type=convert, required=required, metavar="KIND" if required else "[KIND]")


# An option for each column.

# Where an option is not called as its column is, but for a unit, a day or a number behind.
_CALLED = {
    "customer_words": "--words",
    "temperature_c": "--temperature",
    "backing": "--over",
    "approved_by": "--by",
    "approved_on": "--on",
    "read_on": "--on",
    "limit_samples": "--limit",
}
_BEHIND = re.compile("_(mm|ciede2000|degrees|id|on)$")


def option_name(column: str) -> str:
    return _CALLED.get(column, "--" + _BEHIND.sub("", column).replace("_", "-"))


def column_options(kind: str, *leave_out: str) -> list[options.Decorator]:
    """An option for each column of a kind that can be told in a word; its value reaches the command by column."""
    own = [each for each in columns(kind) if each.name not in (*leave_out, *LAB)]
    told = ("lots", "weighed", "limit_samples")
    return [_option(each) for each in own if each.kind not in ("object", "list", "flag") or each.name in told]


def _option(column: Column) -> options.Decorator:
    name, about = option_name(column.name), column.about[:1].upper() + column.about[1:] + "."
    if column.name == "weighed":
        return options.amounts(
            name, "What was really weighed, in grams.", options.GRAMS,
            callback=lambda _, __, pairs: tuple(Weighing(what=one, grams=grams) for one, grams in pairs),
        )  # fmt: skip
    if column.name == "lots":
        return options.several(
            "--lot", about, "NAME=LOT", type=_lot, to=column.name, callback=lambda _, __, pairs: dict(pairs) or None
        )  # fmt: skip
    if column.name == "limit_samples":
        return options.several(name, about, "TEXT", to=column.name)
    if column.points == "order":
        return option(name, metavar="ORDER", help=f"{about[:-1]}, by number or name.", to=column.name)
    if column.points:
        return option(name, type=number_of, metavar="NUMBER", help=about, to=column.name)
    if column.kind == "date":
        return day_text(name, about, to=column.name)
    if column.kind in ("number", "whole"):
        return option(name, type=_number(name, column), metavar="X", help=about, to=column.name)
    if column.words:
        return options.choice(name, filter(None, column.words), about, to=column.name)
    return option(name, metavar="TEXT", help=about, to=column.name)


def _number(name: str, column: Column) -> Callable[[str], float]:
    def convert(told: str) -> float:
        value = options.number_in(told, name, column.about)
        return int(value) if column.kind == "whole" and value == int(value) else value

    return convert


def _lot(told: str) -> tuple[str, str]:
    name, sign, lot = (part.strip() for part in told.partition("="))
    if not sign or not name or not lot:
        raise InputError("--lot", f"`{told}`", "expected NAME=LOT, as in white=W-203")
    return name, lot


def day_text(name: str, text: str, **more: Any) -> options.Decorator:
    return options.day(name, text, callback=lambda _, __, day: None if day is None else day.isoformat(), **more)


# Pages.


def show_entries(out: show.Page, held: Mapping[str, Sequence[Entry[Any]]], folder: Path) -> None:
    """A table for each kind that has any."""
    filled = {kind: found for kind, found in held.items() if found}
    if not filled:
        out.print(f"No {' or '.join(held) if len(held) == 1 else 'entry'} in the ledger of {folder}.")
    for at, (kind, found) in enumerate(filled.items()):
        if at:
            out.print()
        out.title(_plural(kind).capitalize())
        out.table(("", "<added", "~what", "~note"), [_row(kind, each) for each in found])


def _plural(kind: str) -> str:
    return TABLES[kind].replace("_", " ")


def _row(kind: str, entry: Entry[Any]) -> tuple[str, ...]:
    note = getattr(entry.content, "note", "")
    state = f"corrects {entry.corrects}: {entry.reason}" if entry.corrects else ""
    if entry.withdrawn:
        state = f"withdrawn: {entry.reason}"
    return str(entry.id), entry.added_utc[:10], summary(kind, entry), _clean("; ".join(filter(None, (note, state))))


def _clean(text: str) -> str:
    """Without what would move a terminal's cursor."""
    return "".join(sign if sign.isprintable() else " " for sign in text)


def summary(kind: str, entry: Entry[Any]) -> str:
    """What an entry is about, in a line."""
    return _clean(", ".join(filter(None, _SUMMARY[kind](entry.content))))


def _of(content: Any, *kinds: str) -> list[str]:
    """What it points at, as words."""
    numbers = {kind: getattr(content, f"{kind}_id", None) for kind in kinds}
    return [f"{kind} {number}" for kind, number in numbers.items() if number is not None]


def _lab(content: Any) -> str:
    lab = (content.lab_l, content.lab_a, content.lab_b)
    return "" if None in lab else "Lab " + " ".join(show.fixed(value, 2) for value in lab)


def _known(value: float | None, form: str) -> str:
    return "" if value is None else form.format(value)


_SUMMARY: dict[str, Callable[[Any], list[str]]] = {
    "order": lambda c: [c.name, c.part, c.customer, c.customer_words and f"“{c.customer_words}”"],
    "recipe": lambda c: [str(Blend(c.base, c.loadings_percent)), _known(c.thickness_mm, "{:g} mm"), *_of(c, "order")],
    "batch": lambda c: [c.base, _known(c.total_grams, "{:g} g"), *_of(c, "recipe", "order")],
    "trial": lambda c: [
        _known(c.thickness_mm, "{:g} mm"), _known(c.cure_days, "{:g} days"), c.mould,
        " + ".join(f"{each.grams:g} g {each.what}" for each in c.weighed), *_of(c, "recipe", "batch"),
    ],
    "reference": lambda c: [
        c.name, c.kept_at, c.expires_on and f"until {c.expires_on}", *_of(c, "recipe", "batch", "trial"),
    ],
    "reading": lambda c: [
        c.name, _lab(c), c.quantity, c.backing and f"over {c.backing}", c.seat, c.geometry, c.light, c.read_on,
        *_of(c, "order", "trial", "reference"),
    ],
    "lot": lambda c: [
        c.material, c.lot, _known(c.strength, "strength {:g}"), _known(c.strength_error, "± {:g}"),
        c.relative_to_lot and f"beside {c.relative_to_lot}", _known(c.hue_left_over_ciede2000, "hue {:g} CIEDE2000"),
        c.verdict, *_of(c, "reading"),
    ],
    "approval": lambda c: [
        f"{c.verdict} by {c.approved_by}", c.approved_on, c.expires_on and f"until {c.expires_on}", c.swatch,
        *_of(c, "order", "recipe", "reference"),
    ],
    "lesson": lambda c: [
        c.text, c.material,
        *_of(c, "order", "recipe", "batch", "trial", "reading", "reference", "lot", "approval"),
    ],
}  # fmt: skip


_NOTHING: tuple[Any, ...] = ("", None, (), {})


def show_entry(
    out: show.Page, kind: str, entry: Entry[Any], family: Sequence[int], own: Mapping[str, Sequence[int]], drifted:
    Sequence[Drift],
) -> None:  # fmt: skip
    out.title(f"{kind.capitalize()} {entry.id}", f"added {entry.added_utc}, tint {entry.tint_version}")
    told = as_dict(entry)
    about = {column.name: column.about for column in columns(kind)}
    rows = [(name, _clean(_in_words(told[name])), about[name]) for name in about if told[name] not in _NOTHING]
    out.table(("<column", "~value", "~what it is"), rows)
    out.notes("Its versions, the last one holds", [", ".join(map(str, family))] if len(family) > 1 else [])
    if entry.reason:
        out.notes("Withdrawn" if entry.withdrawn else "Why it was corrected", [_clean(entry.reason)])
    out.notes("Belongs to it", [f"{_plural(other)}: {', '.join(map(str, each))}" for other, each in own.items()])
    out.notes("Read again", [_drift(each) for each in drifted])


def _in_words(value: Any) -> str:
    if isinstance(value, list | tuple) and value and isinstance(value[0], int | float):
        return f"{show.counted(len(value), 'number')}, {value[0]:g} to {value[-1]:g}"
    if isinstance(value, dict | list | tuple):
        return json.dumps(value, ensure_ascii=False)
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def _drift(each: Drift) -> str:
    days = "" if each.days is None else f" after {show.counted(each.days, 'day')}"
    change = ", ".join(f"{name} {value:+.2f}" for name, value in zip(("L*", "a*", "b*"), each.change, strict=True))
    apart = f"{show.fixed(each.delta_e, 2)} CIEDE2000 from reading {each.first.id}"
    return f"reading {each.later.id}{days}: {apart} ({change})"


def show_near(out: show.Page, found: Sequence[Near], lab: Sequence[float], viewed: str, within: float) -> None:
    colour = ", ".join(f"{value:g}" for value in lab)
    out.title(f"Near Lab {colour}", f"{viewed}; within {within:g} CIEDE2000; recipes as predicted")
    rows = [
        (show.fixed(each.delta_e, 2), each.kind, str(each.entry.id), *(show.fixed(float(x), 2) for x in each.lab),
         summary(each.kind, each.entry))
        for each in found
    ]  # fmt: skip
    _table_or(out, "Nothing.", ("ΔE00", "<kind", "", "L*", "a*", "b*", "~what"), rows)


def show_due(out: show.Page, found: Sequence[tuple[str, Entry[Any]]], until: date) -> None:
    out.title(f"Run out by {until}")
    rows = [(each.content.expires_on, kind, str(each.id), summary(kind, each)) for kind, each in found]
    _table_or(out, "Nothing.", ("<on", "<kind", "", "~what"), rows)


def show_premixes(out: show.Page, stock: Stock) -> None:
    rows = [
        (each.name, f"{100.0 / each.whole:.3g} %", f"{each.grams:.3f} g", f"part {each.part} of {each.base}", each.lot,
         each.made_on, "too old" if each in stock.too_old else "")
        for each in (*stock.too_old, *stock.usable)
    ]  # fmt: skip
    columns = ("<premix", "pigment", "left", "<in", "<lot", "<made on", "<")
    _table_or(out, "None: no batch has left a premix.", columns, rows)


def _table_or(out: show.Page, nothing: str, columns: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    if rows:
        out.table(columns, rows)
    else:
        out.print(nothing)


def show_repeat(out: show.Page, again: Repeat) -> None:
    """What is poured again, and how today's lots change its doses."""
    recipe, approval = again.recipe, again.approval
    words = "not approved"
    if approval is not None:
        day = f" on {approval.content.approved_on}" if approval.content.approved_on else ""
        words = f"approved by {approval.content.approved_by}{day}"
    conditions = f"order {again.order.id}; recipe {recipe.id} of {recipe.added_utc[:10]}, {words}"
    out.title(f"Again: {again.order.content.name}", conditions)
    rows = [
        (each.pigment, f"{each.was_percent:.4f}", each.was_lot or "-", each.lot or "-", f"{each.strength.value:.3f}",
         f"{each.percent:.4f}")
        for each in again.doses
    ]  # fmt: skip
    out.table(("<pigment", "% then", "<lot then", "<lot now", "strength", "% now"), rows)
    out.notes("Before you repeat it", again.warnings, style=show.CARE)
    out.print()
