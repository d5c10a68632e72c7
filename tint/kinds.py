"""Whether what is given is of the kind that a signature or a struct says; where it is not, one line tells it.

Of what a program hands in, what means the same is taken as that kind: a numpy number as a number, any iterable as a
sequence, a pandas Series as a mapping. An annotation that only checkers of types can resolve is not looked at. Of JSON
and TOML that a user hands in, the line names the file and the key.
"""

from __future__ import annotations

import builtins
import collections.abc
import contextlib
import functools
import inspect
import math
import os
import re
import sys
import types
import typing
from collections.abc import Callable, Mapping
from numbers import Integral, Real
from pathlib import Path
from typing import Any, ParamSpec, TypeVar

import msgspec
import numpy as np
from numpy.typing import ArrayLike

from tint.errors import InputError, quoted

P = ParamSpec("P")
R = TypeVar("R")
Kind = TypeVar("Kind")

_SEVERAL = (collections.abc.Sequence, collections.abc.Collection, tuple)
_ARRAY_LIKE = set(typing.get_args(ArrayLike))
_WORDS = {float: "a number", int: "a whole number", bool: "True or False", str: "text", Path: "a path"}


def checked(**expected: str) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Have a function take its arguments only as its annotations say.

    `expected`: by argument, what was expected, where that says more than its kind.
    """

    def wrap(function: Callable[P, R]) -> Callable[P, R]:
        signature = inspect.signature(function)

        @functools.wraps(function)
        def call(*args: P.args, **kwargs: P.kwargs) -> R:
            try:
                given = signature.bind(*args, **kwargs)
            except TypeError as error:
                raise TypeError(f"{function.__name__}(): {error}") from None
            kinds = kinds_of(function)
            told = given.arguments
            told |= {
                name: taken(told[name], kinds[name], name, expected.get(name, "")) for name in told if name in kinds
            }
            return function(*given.args, **given.kwargs)

        return call

    return wrap


def check_fields(thing: Any) -> None:
    """Have the fields of a frozen dataclass as its annotations say: for its `__post_init__`."""
    for name, kind in kinds_of(thing.__class__).items():
        object.__setattr__(thing, name, taken(getattr(thing, name), kind, name))


@functools.cache
def kinds_of(what: Any) -> Mapping[str, Any]:
    """The annotations of a function's arguments, `**more` apart, or of a class's own fields."""
    own = vars(sys.modules[what.__module__])

    class Known(dict[str, Any]):
        def __missing__(self, name: str) -> Any:
            return own.get(name, getattr(builtins, name, Any))

    hints = dict(what.__annotations__)
    hints.pop("return", None)
    if not inspect.isclass(what):
        every = inspect.signature(what).parameters.values()
        hints = {
            each.name: hints[each.name] for each in every if each.name in hints and each.kind is not each.VAR_KEYWORD
        }
    return typing.get_type_hints(types.SimpleNamespace(__annotations__=hints), {}, Known())


class _OtherKindError(Exception):
    """A value that is of another kind than expected, and where in what was given it lies."""

    def __init__(self, value: Any, kind: Any, *place: str) -> None:
        super().__init__()
        self.value, self.kind, self.place = value, kind, place


def taken(value: Any, kind: Any, where: str, expected: str = "") -> Any:
    """The value as a kind, which is an annotation; InputError if it is of another, saying what was `expected`."""
    try:
        return _as(value, kind)
    except _OtherKindError as other:
        expected = in_words(other.kind) if other.place or not expected else expected
        raise InputError(", ".join((where, *other.place)), found(other.value), expected) from None


def _as(value: Any, kind: Any) -> Any:
    origin = typing.get_origin(kind)
    if kind is ArrayLike or origin is np.ndarray:
        return _array(value, kind)
    if origin in (typing.Union, types.UnionType):
        return _one_of(value, kind)
    if origin is collections.abc.Mapping:
        return _mapping(value, kind)
    if origin in _SEVERAL:
        return _several(value, kind)
    if kind in (float, int):
        return _number(value, kind)
    if kind is bool and isinstance(value, np.bool_):
        return bool(value)
    if kind is Path and isinstance(value, os.PathLike):
        return Path(value)
    plain = origin or kind  # `Iterable`, `Callable` or a class
    if kind is not Any and inspect.isclass(plain) and not isinstance(value, plain):
        raise _OtherKindError(value, kind)
    return value


def _number(value: Any, kind: type) -> float:
    value = value.item() if isinstance(value, np.ndarray) and value.ndim == 0 else value
    if not isinstance(value, bool) and isinstance(value, Integral if kind is int else Real):
        with contextlib.suppress(OverflowError):
            number: float = kind(value)
            if kind is int or math.isfinite(number):
                return number
    raise _OtherKindError(value, kind)


def _array(value: Any, kind: Any) -> Any:
    with contextlib.suppress(TypeError, ValueError, OverflowError):
        array = np.asarray(value)
        if array.dtype.kind in "iuf" or array.dtype == object:
            return np.asarray(array, dtype=float)
    raise _OtherKindError(value, kind)


def _one_of(value: Any, kind: Any) -> Any:
    """The value as the first of several kinds that it is of; else what is wrong in it, where it is like one of them."""
    kinds = typing.get_args(kind)
    if value is None and type(None) in kinds:
        return None
    if set(kinds) >= _ARRAY_LIKE:  # a union beside it takes it apart
        return _array(value, ArrayLike)
    if Path in kinds and isinstance(value, str) and "\0" in value:  # names no file
        raise _OtherKindError(value, kind)
    told = []
    for each in kinds:
        try:
            return _as(value, each)
        except _OtherKindError as other:
            told.append(other)
    raise next((other for other in told if other.place), _OtherKindError(value, kind))


def _mapping(value: Any, kind: Any) -> Any:
    if not (hasattr(value, "items") and hasattr(value, "keys")):
        raise _OtherKindError(value, kind)
    names, held = typing.get_args(kind)
    return {_as(name, names): _placed(each, held, str(name)) for name, each in value.items()}


def _several(value: Any, kind: Any) -> Any:
    inner = typing.get_args(kind)
    if isinstance(value, str | bytes | Mapping) or not isinstance(value, collections.abc.Iterable):
        raise _OtherKindError(value, kind)
    try:
        every = tuple(value)
    except TypeError:  # an array that holds no row
        raise _OtherKindError(value, kind) from None
    if typing.get_origin(kind) is tuple and inner[-1] is not ...:
        if len(every) != len(inner):
            raise _OtherKindError(value, kind)
        return tuple(map(_as, every, inner))
    return tuple(_placed(each, inner[0], f"number {at}") for at, each in enumerate(every, start=1))


def _placed(value: Any, kind: Any, place: str) -> Any:
    try:
        return _as(value, kind)
    except _OtherKindError as other:
        raise _OtherKindError(other.value, other.kind, place[:40], *other.place) from None


# What is found and what is expected, in words.


def found(value: Any) -> str:
    """A number or a text as it stands, else what kind of thing it is."""
    if isinstance(value, float) and not math.isfinite(value):
        return f"{value}, which is not finite"
    plain = value is None or isinstance(value, str | bool | int | float)
    return quoted(value) if plain else _a(type(value).__name__)


def _a(name: str) -> str:
    return f"an {name}" if name[0] in "AEIOUaeiou" else f"a {name}"


def in_words(kind: Any) -> str:
    """What a kind is called."""
    origin, inner = typing.get_origin(kind), typing.get_args(kind)
    if origin in (typing.Union, types.UnionType):
        return " or ".join(dict.fromkeys(in_words(each) for each in inner if each is not type(None)))
    if kind is ArrayLike or origin is np.ndarray:
        return "an array of numbers"
    if origin is collections.abc.Mapping:
        return f"{in_words(inner[1])} for each name"
    if origin in (*_SEVERAL, collections.abc.Iterable):
        return f"several, each {in_words(inner[0])}"
    return _WORDS.get(kind) or _a(getattr(origin or kind, "__name__", "thing"))


# JSON and TOML as structs.

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


_IN_FILES = {
    "str": "text",
    "float": "a number",
    "int": "a number",
    "object": "a table",
    "array": "a list",
    "bool": "true",
}


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
        expected, found = (" or ".join(_IN_FILES.get(word, word) for word in each.split(" | ")) for each in named)
        return InputError(place, f"found {found}", expected if key else f"{expected}, {form}")
    plain = re.sub(r"`(\w+)`", lambda word: _IN_FILES.get(word[1], word[1]), message)
    return InputError(place, plain[:1].lower() + plain[1:], form)


def _struct_at(kind: Any, path: str) -> Any:
    """The struct that a path such as `readings[0]` leads to."""
    for name in re.findall(r"[A-Za-z_]\w*", path):
        hint = typing.get_type_hints(kind)[name]
        kind = next(each for each in (hint, *typing.get_args(hint)) if hasattr(each, "__struct_fields__"))
    return kind
