"""The workshop of the folder that a command is given: what stands there once is the default of its options."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from tint.materials import Workshop
from tint.swatches.folder import workshop_of

_KEY = "tint.workshop"
_ONLY_WITH_A_BATCH = ("scale_step_g", "waste_percent")  # where they have no default, they mean nothing without a batch


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
    """What the workshop says of a key that has its name there, and of the depths of moulds."""
    if "--mould" in param.opts and param.multiple:  # a folder of moulds; elsewhere the word is what a mould is made of
        return tuple(f"{depth:g}" for depth in found.mould_depths_mm) or None
    key = getattr(param, "key", "")
    if key in _ONLY_WITH_A_BATCH and param.default is None:
        return None
    return getattr(found, key, None)
