"""What costs much and many tests look at: it is made once in a run, by the first worker that needs it."""

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
from tint.fitting.leaving_out import Fitted
from tint.fitting.spectra import fit_only
from tint.orders.order import Order
from tint.orders.sheets import Job, Maker, beside, makers
from tint.palette import Palette
from tint.swatches import SwatchFolder
from tint.turns import one_at_a_time

PLACE = "TINT_TESTS_FITS"  # set by conftest.py: a directory of this run
FEW = 60  # castings up to which `tint.fitting.spectra.search` does not begin near another fit
_FIT = fit_palette  # which conftest.py puts `fitted_once` in the place of


def kept(made_of: object, make: Callable[[], Any]) -> Any:
    """What `make` makes, which depends on nothing but `made_of`: it is made once in a run."""
    if PLACE not in os.environ:
        return make()
    made = Path(os.environ[PLACE]) / f"{sha256(pickle.dumps(made_of)).hexdigest()}.pickle"
    with one_at_a_time(made):
        if not made.exists():
            write_whole(made, pickle.dumps(make()))
    return pickle.loads(made.read_bytes())


def fitted_once(
    folder: SwatchFolder, *, optics: str = "many-flux", g: float | None = None, progress: object = None
) -> Palette:
    """What `fit_palette` makes of a folder, whatever the place that it was read from; `progress` hears nothing.

    For tests that ask what a palette says. Those that ask how the search goes, or change a part of it, call
    `fit_palette` itself.
    """
    fit = functools.partial(_FIT, folder, optics=optics, g=g)
    palette = kept(("fit", replace(folder, path=Path("folder")), optics, g), fit) if folder.readings else fit()
    assert isinstance(palette, Palette)
    return palette


def fitted_only_once(
    folder: SwatchFolder, *, optics: str, g: float | None = None, progress: object = None, near: Fitted | None = None
) -> Fitted:
    """What `fit_only` makes, likewise; to few castings, where a search begins from nothing wherever it may begin."""
    few = len(folder.swatches) <= FEW
    fit = functools.partial(fit_only, folder, optics=optics, g=g, near=None if few else near)
    fitted = kept(("fit only", replace(folder, path=Path("folder")), optics, g), fit) if few else fit()
    assert isinstance(fitted, Fitted)
    return fitted


def sought_once(search: Callable[..., Any]) -> Callable[..., Any]:
    """The search, but what it is asked again in this run it answers as before: the same, as a page and as JSON.

    Whoever it would tell its progress hears nothing then.
    """

    @functools.wraps(search)
    def asked(*given: Any, **named: Any) -> Any:
        told = sorted((name, value) for name, value in named.items() if name != "progress")
        return kept((search.__module__, search.__name__, given, told), functools.partial(search, *given, **named))

    return asked


def drawn_once(job: Job) -> dict[Path, Maker]:
    """The makers of an order's files, but a file that is made of the same things again is not drawn again."""
    own = Order(path=Path(job.order.path.name), written=job.order.written)
    made_of = pickle.dumps((replace(job, order=own, tell=None), beside(job.order)))

    def once(name: str, make: Maker) -> Maker:
        return lambda: kept(("drawn", name, made_of), make)

    return {path: once(path.name, make) for path, make in makers(job).items()}
