"""Options, groups of them, and `--set KEY=VALUE`: what is seldom told, by the key that an order file, [workshop] or
the library has for it.

A key is an option whose whole name is `--set haze`, declared where the other options of its group are: it is read,
checked and told of in errors as they are, and merely stands in `tint explain options` in place of a command's help.
"""

from __future__ import annotations

import difflib
import functools
import re
import shlex
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any

import click

from tint.errors import InputError
from tint.materials import Workshop
from tint.swatches.folder import workshop_of

SET = "--set "
_LIST = "`tint explain options` lists the keys"
_MET = "tint.workshop"
_ONLY_WITH_A_BATCH = ("scale_step_g", "waste_percent")  # where they have no default, they mean nothing without a batch

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]


class Option(click.Option):
    """An option or a key, with the heading that it stands under in the help."""

    def __init__(self, *told: Any, heading: str = "", **more: Any) -> None:
        super().__init__(*told, **more)
        self.heading = heading
        self.key = self.opts[0].removeprefix(SET) if self.opts[0].startswith(SET) else ""

    def get_help_record(self, ctx: click.Context) -> tuple[str, str] | None:
        """The line in a command's help; none of a key."""
        return None if self.key else super().get_help_record(ctx)


def option(name: str, *, to: str | None = None, **more: Any) -> Decorator:
    """An option, or a key where the name begins with `--set `; `to` is the argument that it becomes."""
    if name.startswith(SET):
        to = to or name.removeprefix(SET).rpartition(".")[2]
    return click.option(*((name,) if to is None else (name, to)), cls=Option, **more)


# Options that belong together.


def grouped(name: str, build: Callable[..., object], *options: Decorator, heading: str = "") -> Decorator:
    """Options that reach a command as one argument `name`, which `build` makes of them, under one heading."""

    def decorate(command: Callable[..., Any]) -> Callable[..., Any]:
        @functools.wraps(command)
        def run(**given: Any) -> Any:
            taken = {option: given.pop(option) for option in own}
            return command(**given, **{name: build(**taken)})

        own = [each.name for each in _added(run, options, heading)]
        return run

    return decorate


def under(heading: str, *options: Decorator) -> Decorator:
    """The same options under a heading of the help."""

    def decorate(command: Callable[..., Any]) -> Callable[..., Any]:
        _added(command, options, heading)
        return command

    return decorate


def _added(command: Callable[..., Any], options: Sequence[Decorator], heading: str) -> list[click.Parameter]:
    """Give a command options; those that it did not have before."""
    others = list(getattr(command, "__click_params__", ()))
    for decorate in reversed(options):
        decorate(command)
    own: list[click.Parameter] = [each for each in command.__click_params__ if each not in others]  # type: ignore[attr-defined]
    for each in own:
        if isinstance(each, Option):
            each.heading = each.heading or heading
    return own


def own_keys(command: click.Command) -> dict[str, Option]:
    return {each.key: each for each in command.params if isinstance(each, Option) and each.key}


def called(argument: str) -> str:
    """What the option that becomes an argument is called in the command that runs."""
    params = click.get_current_context().command.params
    return next(each.opts[0] for each in params if each.name == argument)


class Command(click.Command):
    """A command that takes keys, and lists its options under their headings."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        return super().parse_args(ctx, spelled(self, args))

    def format_options(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the options, a section after the other; those of no group come last."""
        sections: dict[str, list[tuple[str, str]]] = {}
        for each in self.get_params(ctx):
            record = each.get_help_record(ctx) if isinstance(each, click.Option) else None
            if record is not None:
                sections.setdefault(getattr(each, "heading", ""), []).append(record)
        last = sections.pop("", [])
        if own_keys(self):
            last.insert(0, ("--set KEY=VALUE", f"A further setting: {_LIST}. May be given more than once."))
        for heading, records in (sections | {"Other options": last}).items():
            with formatter.section(heading):
                formatter.write_dl(records)


def spelled(command: click.Command, args: Sequence[str]) -> list[str]:
    """The arguments, with `--set KEY=VALUE` as one word that names the option which the key is."""
    keys = own_keys(command)
    plain = {name: each for each in command.params if isinstance(each, click.Option) for name in each.opts}
    told: list[str] = []
    words = iter(args)
    for word in words:
        name, sign, value = word.partition("=")
        if word == "--":
            return [*told, word, *words]
        if name == "--set":
            told.append(_named(value if sign else next(words, ""), keys, plain))
        elif name not in plain and (key := _meant(name, keys, plain)):
            pair = f"{key}={value if sign else next(words, 'VALUE')}"
            raise InputError(name, "is not an option of its own", mend=f"write --set {shlex.quote(pair)}")
        else:
            told.append(word)
    return told


def _meant(name: str, keys: Iterable[str], plain: Iterable[str]) -> str:
    """The key that was typed as an option, in full or without the unit behind it; empty where there is none."""
    spelled = {f"--{key.rpartition('.')[2].replace('_', '-')}": key for key in keys}
    longer = [option for option in (*plain, *spelled) if option.startswith(f"{name}-")] if len(name) > 2 else []
    return spelled.get(name) or next((spelled[option] for option in longer[:1] if option in spelled), "")


def near(typed: str, command: click.Command) -> list[str]:
    """The options and keys that somebody who typed another one may mean, at most three.

    First those that have its words in their names, then those spelled nearly alike or in full, then those of which its
    words are told: `--lab`, `--walls`, `--thick` and `--exclude` mean `--target-lab`, `--wall`, `--thickness` and
    `--leave-out`.
    """
    asked = typed.lstrip("-").lower().replace("color", "colour")
    words = set(asked.split("-"))
    names: dict[str, str] = {}
    texts: dict[str, set[str]] = {}
    for each in command.params:
        if isinstance(each, click.Option):
            name = getattr(each, "key", "") or each.opts[0].removeprefix("--")
            names[name.replace("_", "-")] = each.opts[0]
            told = f"{each.make_metavar(click.Context(command))} {each.help}"
            texts[each.opts[0]] = set(re.findall(r"[a-z]+", told.lower()))
    found = [shown for name, shown in names.items() if words <= set(name.split("-"))]
    found = found or [names[name] for name in difflib.get_close_matches(asked, names, n=2, cutoff=0.75)]
    found = found or [shown for name, shown in names.items() if asked in name]
    found = found or [shown for shown, text in texts.items() if words <= text]
    return sorted(found, key=lambda shown: shown.startswith(SET))[:3]


def _named(pair: str, keys: dict[str, Option], plain: dict[str, click.Option]) -> str:
    """What `KEY=VALUE` stands for: a key's option, or the plain option that says the same."""
    key, sign, value = pair.partition("=")
    key = key.strip()
    if not sign or not key:
        raise InputError("--set", f"`{pair}`", "expected KEY=VALUE, as in haze=..0.3", _LIST)
    option = f"--{key.replace('_', '-')}"
    if option in plain and not plain[option].is_flag:
        return f"{option}={value}"
    if key not in keys:
        near = difflib.get_close_matches(key.replace("-", "_"), keys, n=1)
        mend = f"did you mean {near[0]}? {_LIST}" if near else _LIST
        raise InputError("--set", f"there is no key `{key}`", mend=mend)
    return f"{SET}{key}={value}"


def listed(commands: dict[str, click.Command]) -> Iterator[tuple[str, str, str]]:
    """Every key, what it takes and means, and the commands that have it."""
    takers: dict[str, list[str]] = {}
    told: dict[str, Option] = {}
    for name, command in commands.items():
        for key, option in own_keys(command).items():
            told.setdefault(key, option)
            takers.setdefault(key, []).append(name)
    for key, option in sorted(told.items()):
        form = option.make_metavar(click.Context(commands[takers[key][0]]))
        form = form[1:-1] if form.startswith("[") else form  # a choice; not FILE[:NAME]
        yield key, f"{form.replace('|', ', ')}: {option.help}", ", ".join(takers[key])


# The workshop of the folder that a command is given: what stands there once is the default of keys.


def folder_given(context: click.Context, _: click.Parameter, folder: Path | None) -> Path | None:
    """Take the folder, and its workshop as the default of the command's other options."""
    found = Workshop() if folder is None else workshop_of(folder)
    context.meta[_MET] = found
    answers = {param.name: _default(param, found) for param in context.command.params if param.name}
    told = {name: value for name, value in answers.items() if value is not None}
    context.default_map = {**(context.default_map or {}), **told}
    return folder


def workshop() -> Workshop:
    """The workshop of the command that runs; an empty one where it has no folder."""
    context = click.get_current_context(silent=True)
    found: Workshop = Workshop() if context is None else context.meta.get(_MET, Workshop())
    return found


def _default(param: click.Parameter, found: Workshop) -> Any:
    """What the workshop says of a key that has its name there, and of the depths of moulds."""
    if "--mould" in param.opts and param.multiple:  # a folder of moulds; elsewhere the word is what a mould is made of
        return tuple(f"{depth:g}" for depth in found.mould_depths_mm) or None
    key = getattr(param, "key", "")
    if key in _ONLY_WITH_A_BATCH and param.default is None:
        return None
    return getattr(found, key, None)
