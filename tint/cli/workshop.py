"""The workshop of the folder that a command is given: what stands there once is the default of its options."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from tint.materials import Workshop
from tint.swatches.folder import workshop_of

_KEY = "tint.workshop"
# Options that a workshop answers for, by what they are called.
_ANSWERS = {
    "--scale-step": "scale_step_g",
    "--dose-tolerance": "dose_tolerance_percent",
    "--cup-cm3": "cup_cm3",
    "--waste": "waste_percent",
    "--mould": "mould_depths_mm",
}
_ONLY_WITH_A_BATCH = ("--scale-step", "--waste")  # where they have no default, they mean nothing without a batch


def folder_given(context: click.Context, _: click.Parameter, folder: Path | None) -> Path | None:
    """Take the folder, and its workshop as the default of the command's other options."""
    found = Workshop() if folder is None else workshop_of(folder)
    context.meta[_KEY] = found
    answers = {param.name: _default(param, found) for param in context.command.params if param.name}
    told = {name: value for name, value in answers.items() if value is not None}
    context.default_map = {**(context.default_map or {}), **told}
    return folder


def workshop() -> Workshop:
    """The workshop of the command that runs; an empty one where it has no folder."""
    context = click.get_current_context(silent=True)
    found: Workshop = Workshop() if context is None else context.meta.get(_KEY, Workshop())
    return found


def _default(param: click.Parameter, found: Workshop) -> Any:
    name = next((each for each in param.opts if each in _ANSWERS), None)
    if name is None or (name in _ONLY_WITH_A_BATCH and param.default is None):
        return None
    value = getattr(found, _ANSWERS[name])
    if name == "--mould":  # depths at hand; elsewhere the word means what a mould is made of
        return tuple(f"{depth:g}" for depth in value) if param.multiple and value else None
    return value
