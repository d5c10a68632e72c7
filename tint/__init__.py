"""Colour and opacity of pigmented silicone: from measured swatches to recipes, weigh sheets and proofs.

Verbs are functions (`fit`, `predict`, `solve`, `weigh` ...), nouns are things (`Palette`, `Recipe` ...) and rooms
(`tint.optics`, `tint.recipes` ...). Each name is imported when it is first used.
"""

import os
import sys

# The program itself, as `tint` or `python -m tint`, is ready for a Ctrl-C before it loads anything, annotations from
# __future__ included; a program that imports tint has its own.
if " -m tint " in f" {' '.join(sys.orig_argv[:8])} " or os.path.basename(sys.argv[0]) in ("tint", "tint.exe"):
    try:
        from tint.stopping import be_ready

        be_ready()
    except KeyboardInterrupt:
        os.write(2, b"tint: stopped before it was done\n")
        os._exit(130)

TYPE_CHECKING = False  # not from typing, which takes a while to load
if TYPE_CHECKING:  # what `__getattr__` brings, for those who check types
    from typing import Any

    from tint.appearance import Appearance, Setting
    from tint.errors import FolderError, InputError, JobError, TintError
    from tint.fans import solve_many
    from tint.folders import check, fit, inspect, load, plan, read_folder, start
    from tint.glossary import explain
    from tint.materials import Blend
    from tint.orders import Order, answer_order, read_order, run_order
    from tint.palette import Palette
    from tint.proofs import Proof
    from tint.recipes import Answer, Recipe, Rules
    from tint.target import Target
    from tint.verbs import adjust, predict, proof, solve, weigh
    from tint.weighing import WeighSheet

_HOMES = {
    "tint.verbs": ("adjust", "predict", "proof", "solve", "weigh"),
    "tint.folders": ("check", "fit", "inspect", "load", "plan", "read_folder", "start"),
    "tint.appearance": ("Appearance", "Setting"),
    "tint.fans": ("solve_many",),
    "tint.glossary": ("explain",),
    "tint.errors": ("FolderError", "InputError", "JobError", "TintError"),
    "tint.materials": ("Blend",),
    "tint.orders": ("Order", "answer_order", "read_order", "run_order"),
    "tint.palette": ("Palette",),
    "tint.proofs": ("Proof",),
    "tint.recipes": ("Answer", "Recipe", "Rules"),
    "tint.target": ("Target",),
    "tint.weighing": ("WeighSheet",),
}  # fmt: skip
_HOME = {name: home for home, names in _HOMES.items() for name in names}

__all__ = [
    "Answer",
    "Appearance",
    "Blend",
    "FolderError",
    "InputError",
    "JobError",
    "Order",
    "Palette",
    "Proof",
    "Recipe",
    "Rules",
    "Setting",
    "Target",
    "TintError",
    "WeighSheet",
    "__version__",
    "adjust",
    "answer_order",
    "check",
    "explain",
    "fit",
    "inspect",
    "load",
    "plan",
    "predict",
    "proof",
    "read_folder",
    "read_order",
    "run_order",
    "solve",
    "solve_many",
    "start",
    "weigh",
]


__version__: str


def __getattr__(name: str) -> "Any":
    if name == "__version__":
        from importlib.metadata import version

        return version("tint")
    if name in _HOME:
        from importlib import import_module

        return getattr(import_module(_HOME[name]), name)
    raise AttributeError(f"module 'tint' has no attribute {name!r}")


def __dir__() -> list[str]:
    return __all__
