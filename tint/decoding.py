"""JSON and TOML that a user hands in, as structs: what is wrong is told in one line that names the file and the key."""

from __future__ import annotations

import re
import typing
from typing import Any, TypeVar

import msgspec

from tint.errors import InputError

Kind = TypeVar("Kind")

MOST_NESTED = 64  # levels of what is taken in; tint itself writes fewer than ten


def is_shallow(content: object) -> bool:
    """Whether lists and tables are nested no deeper than is taken in: what walks them later may call itself."""
    level = [content]
    for _ in range(MOST_NESTED):
        holding = [each for each in level if isinstance(each, dict | list | tuple)]
        if not holding:
            return True
        level = [inner for each in holding for inner in (each.values() if isinstance(each, dict) else each)]
    return False


def decode(data: bytes | str, kind: type[Kind], *, where: str, form: str) -> Kind:
    """What JSON holds, as one of the structs.

    Errors call the file `where`, and say that `form` was expected of it, such as "what `tint solve --json` writes".
    InputError if it is no JSON, or a key is missing or holds something else: the line names the file and the key.
    """
    try:
        return converted(msgspec.json.decode(data), kind, where=where, form=form)
    except RecursionError as error:
        raise InputError(where, "is nested too deeply", form) from error
    except (msgspec.DecodeError, ValueError) as error:
        raise InputError(where, f"is not JSON ({str(error)[:80]})", form) from error


def converted(content: object, kind: type[Kind], *, where: str, form: str) -> Kind:
    """Plain values, as JSON or TOML hold them, as one of the structs; arguments and errors as of `decode`."""
    if not is_shallow(content):
        raise InputError(where, "is nested too deeply", form)
    try:
        return msgspec.convert(content, kind)
    except msgspec.ValidationError as error:
        raise _bad_key(str(error), kind, where, form) from error


_WORDS = {"str": "text", "float": "a number", "int": "a number", "object": "a table", "array": "a list", "bool": "true"}


def _bad_key(told: str, kind: Any, where: str, form: str) -> InputError:
    """An error of decoding in our words: which key, what was found, what was expected."""
    message, _, path = told.partition(" - at `$")
    path = path.rstrip("`").removeprefix(".").replace("[...]", "")
    key = re.sub(r"\[(\d+)\]", lambda found: f"[{int(found[1]) + 1}]", path)
    named = [word.removesuffix(" | null") for word in re.findall(r"`([^`]*)`", message)]
    if message.startswith("Object") and named:
        place = f"{where}, key {'.'.join(filter(None, (key, named[-1])))}"
        if "missing" in message:
            return InputError(place, "the key is missing", form)
        keys = ", ".join(_struct_at(kind, path).__struct_fields__)
        return InputError(place, "there is no such key", f"one of {keys}")
    place = f"{where}, key {key}" if key else where
    if len(named) == 2:
        expected, found = (" or ".join(_WORDS.get(word, word) for word in each.split(" | ")) for each in named)
        return InputError(place, f"found {found}", expected if key else f"{expected}, {form}")
    plain = re.sub(r"`(\w+)`", lambda word: _WORDS.get(word[1], word[1]), message)
    return InputError(place, plain[:1].lower() + plain[1:], form)


def _struct_at(kind: Any, path: str) -> Any:
    """The struct that a path such as `readings[0]` leads to."""
    for name in re.findall(r"[A-Za-z_]\w*", path):
        hint = typing.get_type_hints(kind)[name]
        kind = next(each for each in (hint, *typing.get_args(hint)) if hasattr(each, "__struct_fields__"))
    return kind
