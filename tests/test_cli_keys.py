"""`--set KEY=VALUE`: what is seldom told, and what the help of a command lists."""

from __future__ import annotations

import dataclasses
import inspect
import re
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result

import tint
from tint.cli import COMMANDS, main
from tint.cli.keys import own_keys, spelled
from tint.materials import Workshop
from tint.orders.order import Limits, Written
from tint.trials import Cup, Doubts, Trial
from tint.weighing import Batch, Split

MANY = ("solve", "adjust", "weigh", "proof")
CLEAR = ("--base", "clear", "--thickness", "3")
RED = (*CLEAR, "--optics", "two-flux", "--target-lab", "45,50,30", "--opacity", "any", "--most-pigments", "1")


def command(name: str) -> click.Command:
    found = main.get_command(click.Context(main), name)
    assert found is not None
    return found


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(each) for each in arguments], catch_exceptions=False)


@pytest.mark.parametrize("name", MANY)
def test_the_help_lists_every_option_once_under_a_heading_and_no_key(name: str) -> None:
    told = CliRunner().invoke(main, [name, "--help"]).stdout
    listed = re.findall(r"^  (--[a-z0-9-]+) ", told[told.index(":\n  --") :], flags=re.MULTILINE)
    own = [each for each in command(name).params if isinstance(each, click.Option)]
    plain = {each.opts[0] for each in own} - {f"--set {key}" for key in own_keys(command(name))}
    assert sorted(listed) == sorted(plain | {"--set", "--help"})
    assert 20 <= len(listed) - 1 <= 26
    assert "\nWanted:\n" in told
    assert re.search(r"\nOther options:\n.*--set KEY=VALUE", told)


def test_adjust_lists_the_trial_first_and_then_what_is_wanted() -> None:
    told = CliRunner().invoke(main, ["adjust", "--help"]).stdout
    headings = re.findall(r"^([A-Z][a-z ]+):$", told, flags=re.MULTILINE)
    assert headings == ["The trial", "Wanted", "Part", "Output", "Other options"]


def test_explain_lists_every_key_with_what_it_takes_and_the_commands_that_take_it() -> None:
    told = run("explain", "options").stdout
    keys = {key for name in COMMANDS for key in own_keys(command(name))}
    assert keys <= set(re.findall(r"^[a-z_.0-9]+", told, flags=re.MULTILINE))
    (haze,) = re.findall(r"^haze +RANGE: Share.*solve, adjust$", told, flags=re.MULTILINE)
    assert haze


def test_keys_are_those_of_orders_workshops_and_the_library() -> None:
    nested = {"doubts": Doubts, "cup": Cup, "trial": Trial}
    keys = {key for name in COMMANDS for key in own_keys(command(name)) if "." in key}
    fields = {f"{name}.{each.name}" for name, kind in nested.items() for each in dataclasses.fields(kind)}
    assert keys - fields == {"trial.photo", "trial.read"}  # of a casting that is only shown
    library = set(Written.__struct_fields__) | set(Limits.__struct_fields__)
    library |= {each.name for kind in (Workshop, Batch, Split, tint.Rules) for each in dataclasses.fields(kind)}
    library |= set(inspect.signature(tint.proof).parameters) | set(inspect.signature(tint.weigh).parameters)
    limits = {key for key in own_keys(command("adjust")) if "." not in key}
    assert limits - library == {
        "as_base", "as_blend", "geometry", "scale", "target_black", "target_over", "target_thickness_mm"
    }  # fmt: skip
    assert set(own_keys(command("weigh"))) - library == {"date", "geometry", "kept", "paper", "scale", "scale_sd_g"}


def test_a_key_says_what_the_option_said(fitted_demo: Path) -> None:
    by_key = run("solve", fitted_demo, *RED, "--set", "most_recipes=2", "--set", "leave_out=rose", "--json")
    assert by_key.exit_code == 0
    assert (
        by_key.stdout == run("solve", fitted_demo, *RED, "--set=most_recipes=2", "--leave-out", "rose", "--json").stdout
    )
    assert by_key.stdout != run("solve", fitted_demo, *RED, "--json").stdout


FAULTS = [
    ("solve", ("--haze", "..0.3"), "--haze: is not an option of its own; write --set haze=..0.3"),
    ("solve", ("--haze=..0.3",), "--haze: is not an option of its own; write --set haze=..0.3"),
    ("solve", ("--stock", "white=20"), "--stock: is not an option of its own; write --set stock=white=20"),
    ("proof", ("--title", "Lid of Ada"), "--title: is not an option of its own; write --set 'title=Lid of Ada'"),
    ("adjust", ("--keep", "white"), "--keep: is not an option of its own; write --set keep=white"),
    ("solve", ("--set", "hase=..0.3"), "--set: there is no key `hase`; did you mean haze? `tint explain options`"),
    ("solve", ("--set", "haze"), "--set: `haze`; expected KEY=VALUE, as in haze=..0.3"),
    ("solve", ("--set", "haze=2"), "--set haze: `2`; expected a haze, more than 0 and at most 1"),
    ("solve", ("--set",), "--set: ``; expected KEY=VALUE"),
]


@pytest.mark.parametrize(("name", "words", "told"), FAULTS)
def test_what_is_wrong_with_a_key_is_told_in_one_line(
    fitted_demo: Path, name: str, words: tuple[str, ...], told: str
) -> None:
    result = run(name, fitted_demo, *CLEAR, *words)
    assert result.exit_code == 2
    assert result.stderr.startswith(f"tint: {told}")
    assert result.stderr.count("\n") == 1


@pytest.mark.parametrize("name", MANY)
def test_a_key_that_is_typed_as_an_option_is_told_with_what_to_write(name: str) -> None:
    of = command(name)
    for key in own_keys(of):
        word = f"--{key.rpartition('.')[2].replace('_', '-')}"
        if word not in {each for param in of.params for each in param.opts}:
            with pytest.raises(tint.InputError, match=f"{word}: is not an option of its own; write --set "):
                spelled(of, [word, "1"])


def test_a_key_without_its_unit_is_known_too() -> None:
    for name, word, key in (("weigh", "--waste", "waste_percent"), ("proof", "--thin", "thin_mm")):
        with pytest.raises(tint.InputError, match=f"{word}: is not an option of its own; write --set {key}=5"):
            spelled(command(name), [word, "5"])


def test_a_key_may_be_what_is_an_option_and_words_after_two_dashes_stay() -> None:
    solve = command("solve")
    assert spelled(solve, ["--set", "light=A", "--", "--haze"]) == ["--light=A", "--", "--haze"]
