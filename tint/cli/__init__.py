"""The command line: the list of commands, and the one place where an error becomes a line and an exit status.

A command's module is imported when that command runs: `tint --help` pays for none of them.
"""

from __future__ import annotations

import contextlib
import difflib
import importlib
import logging
import os
import re
import sys
from collections.abc import Callable, Iterator
from typing import Any

import click

from tint.cli.show import message
from tint.errors import JobError, TintError
from tint.stopping import STOPPED, interruptible

# The arrays here are small: threads of the linear algebra only get in each other's way, and make a fit several times
# as slow. It is read when NumPy is loaded, so it is said before any command is imported.
for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

COMMANDS = {
    "start": "Begin a swatch folder, with a plan of what to pour first.",
    "check": "Check a swatch folder for mistakes and for gaps.",
    "import": "Take an instrument's files into the readings.",
    "photograph": "Read colours off a photograph, each with an error.",
    "fit": "Fit the palette to the swatches.",
    "predict": "Predict the colour and opacity of a blend, with their errors.",
    "solve": "Find recipes for a colour and an opacity, ranked.",
    "plan": "Propose the castings that would teach most.",
    "weigh": "Turn a recipe and a batch size into grams to weigh.",
    "proof": "Draw a recipe for the customer to approve.",
    "adjust": "Correct a recipe from a trial, and say what went wrong.",
    "inspect": "Compare a reading with what was approved: pass or fail.",
    "lot": "Judge a new lot of a pigment or base: strength and hue.",
    "explain": "Explain a word of optics or of the trade.",
    "order": "Do a whole order: recipe, weigh sheet, labels, sheets, quote.",
    "fan": "Find a recipe for each of many colours, as a table.",
    "reach": "Tell which of many colours each base and wall can have.",
    "ledger": "Keep the workshop's record: orders, recipes, batches.",
}

# Commands that do not stand in a module of their own name, as `command`.
_ELSEWHERE = {"import": ("import_", "command"), "lot": ("trials", "lot"), "reach": ("fan", "reach")}
DONE, NOT_DONE, WRONG_INPUT = 0, 1, 2


class Commands(click.Group):
    """The commands of `COMMANDS`, each imported from its own module when it is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        """The command of a name; None for an unknown one."""
        if cmd_name not in COMMANDS:
            return None
        if cmd_name == "explain":
            return explain
        module, name = _ELSEWHERE.get(cmd_name, (cmd_name, "command"))
        command: click.Command = getattr(importlib.import_module(f"tint.cli.{module}"), name)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """The command that the first argument names; a usage error with the nearest name when there is none."""
        name = args[0]
        if name not in COMMANDS and not name.startswith("-"):
            near = difflib.get_close_matches(name, COMMANDS, n=1)
            raise click.UsageError(f"there is no command `{name}`{f'; did you mean {near[0]}?' if near else ''}", ctx)
        found, command, rest = super().resolve_command(ctx, args)
        if command is not None and any(".toml" in word for word in rest):
            from tint.cli.order import expanded  # for those who have an order

            rest = expanded(command, rest)
        return found, command, rest

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def main(self, *args: Any, **extra: Any) -> Any:
        """Run, and leave the interpreter with the exit status."""
        for stream in (sys.stdout, sys.stderr):
            if hasattr(stream, "reconfigure"):
                stream.reconfigure(errors="replace")  # a terminal without `°` gets `?`, not a traceback
        is_program = not (args or extra)  # else a test or another program calls, whose Ctrl-C is its own
        extra |= {"prog_name": "tint", "standalone_mode": False}

        def job() -> int:
            return _status(lambda: super(Commands, self).main(*args, **extra))

        with _said():
            sys.exit(interruptible(job) if is_program else job())


@contextlib.contextmanager
def _said() -> Iterator[None]:
    """Tell as lines what the library says while it works: that it waits for another writer."""
    log, teller = logging.getLogger("tint"), logging.Handler(logging.WARNING)
    teller.emit = lambda record: click.echo(f"tint: {message(record.getMessage())}", err=True)  # type: ignore[method-assign]
    log.addHandler(teller)
    try:
        yield
    finally:
        log.removeHandler(teller)


def _status(job: Callable[[], Any]) -> int:
    """Do a job; tell what a user can mend as one line on standard error. Anything else is a defect and shows itself."""
    try:
        status = job()
        return status if isinstance(status, int) else DONE
    except TintError as error:
        return _tell(str(error), NOT_DONE if isinstance(error, JobError) else WRONG_INPUT)
    except click.ClickException as error:
        return _tell(_usage(error), WRONG_INPUT)
    except (click.Abort, KeyboardInterrupt):
        return STOPPED
    except MemoryError:
        return _tell("there is not enough memory for it; ask for less at once, or close other programs", NOT_DONE)
    except RecursionError:
        return _tell("what was read is nested too deeply; expected what tint writes", WRONG_INPUT)
    except OSError as error:
        return _tell(f"{error.filename or 'file'}: {error.strerror or error}", WRONG_INPUT)


def _usage(error: click.ClickException) -> str:
    """A click error in our form: the command, what is wrong, where to read on."""
    context = error.ctx if isinstance(error, click.UsageError) else None
    path = context.command_path if context else "tint"
    found = re.sub(r"\. \(?Did you mean (.*\?)\)?$", r"; did you mean \1", error.format_message().strip().rstrip("."))
    where = path.removeprefix("tint").strip()
    if isinstance(error, click.NoSuchOption) and context:
        from tint.cli import keys  # a command's options were imported by now, and `tint --help` pays for none

        found = f"no such option '{error.option_name}'"
        if not error.option_name.startswith("--"):
            found += "; a name that begins with a dash is written ./-NAME"
        elif meant := keys.near(error.option_name, context.command):
            found += f"; did you mean {' or '.join(meant)}?"
    return f"{where}{': ' if where else ''}{found[:1].lower()}{found[1:]}; run `{path} --help`"


def _tell(line: str, status: int) -> int:
    click.echo(f"tint: {message(line)}", err=True)
    return status


def _print_version(ctx: click.Context, param: click.Parameter, value: bool) -> None:  # noqa: ARG001
    if value and not ctx.resilient_parsing:
        from importlib.metadata import PackageNotFoundError, version

        try:
            click.echo(f"tint {version('tint')}")
        except PackageNotFoundError:
            click.echo("tint, run from its source")
        ctx.exit()


@click.command("explain")
@click.argument("word", nargs=-1)
def explain(word: tuple[str, ...]) -> None:
    """Explain a word of optics or of the trade.

    Example: tint explain contrast ratio

    Without a word it lists those that it explains. `tint explain options` lists the keys of --set.
    """
    from tint import glossary
    from tint.cli import keys, show

    if word == ("options",):
        told = {name: main.get_command(click.Context(main), name) for name in COMMANDS}
        rows = keys.listed({name: command for name, command in told.items() if command is not None})
        show.Page().write(lambda out: out.table(("<--set", "~what it says", "~of"), list(rows)))
        return
    known = f"Words that can be explained: {', '.join(sorted(glossary.GLOSSARY))}."
    said = glossary.explain(" ".join(word)) if word else known
    show.Page().write(lambda out: out.print(said))


@click.group(cls=Commands, invoke_without_command=True)
@click.option(
    "--version", is_flag=True, is_eager=True, expose_value=False, callback=_print_version, help="Print the version."
)
@click.pass_context
def main(ctx: click.Context) -> None:
    """Colour and opacity of pigmented silicone: recipes from your own measured swatches.

    A job runs from folder to pour: check, fit, solve, weigh. Begin with `tint start FOLDER`.
    """
    if ctx.invoked_subcommand is None:
        click.echo(ctx.get_help())
