"""Fits that many tests look at: each is made once in a run, by the first worker that needs it."""

from __future__ import annotations

import functools
import os
import pickle
from collections.abc import Callable
from dataclasses import replace
from hashlib import sha256
from pathlib import Path
from typing import Any

from tint.files import write_whole
from tint.fitting import fit_palette
from tint.palette import Palette
from tint.swatches import SwatchFolder
from tint.turns import one_at_a_time

PLACE = "TINT_TESTS_FITS"  # set by conftest.py: a directory of this run


def fitted_once(folder: SwatchFolder, *, optics: str = "many-flux", g: float | None = None) -> Palette:
    """What `fit_palette` makes of a folder, whatever the place that it was read from.

    For tests that ask what a palette says. Those that ask how the search goes, or change a part of it, call
    `fit_palette` itself.
    """
    if PLACE not in os.environ or not folder.readings:
        return fit_palette(folder, optics=optics, g=g)
    content = pickle.dumps((replace(folder, path=Path("folder")), optics, g))
    made = Path(os.environ[PLACE]) / f"{sha256(content).hexdigest()}.pickle"
    with one_at_a_time(made):
        if not made.exists():
            write_whole(made, pickle.dumps(fit_palette(folder, optics=optics, g=g)))
    palette = pickle.loads(made.read_bytes())
    assert isinstance(palette, Palette)
    return palette


def sought_once(search: Callable[..., Any]) -> Callable[..., Any]:
    """The search, but what it is asked again in this process it answers as before: the same, as a page and as JSON.

    Whoever it would tell its progress hears nothing then.
    """
    answers: dict[str, Any] = {}

    @functools.wraps(search)
    def asked(*given: Any, **named: Any) -> Any:
        told = sorted((name, value) for name, value in named.items() if name != "progress")
        key = sha256(pickle.dumps((given, told))).hexdigest()
        if key not in answers:
            answers[key] = search(*given, **named)
        return answers[key]

    return asked
