"""What many tests share: copies of the demo folder, one of them fitted, its palette, and a cache of their own."""

from __future__ import annotations

import gc
import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

import fits
import hypothesis
import pytest
from studio_files import write_folder
from synthetic import studio
from threadpoolctl import threadpool_limits

from tint import checks, planning, recipes, trials
from tint.palette import Palette, fit_path, read_palette, write_palette
from tint.swatches import INPUT_FILES, read_folder

threadpool_limits(1)  # workers share the processor, and the arrays are small

# Every run tries some examples of a property, and other ones each time; `HYPOTHESIS_PROFILE=thorough` tries many.
hypothesis.settings.register_profile("quick", max_examples=25)
hypothesis.settings.register_profile("thorough", max_examples=400)
hypothesis.settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "quick"))

DEMO = Path(__file__).parents[1] / "swatches_demo"


_OWN = pytest.StashKey[dict[str, tempfile.TemporaryDirectory[str]]]()


def pytest_configure(config: pytest.Config) -> None:
    """Keep tests out of the user's cache, from before any test module is read; parallel workers inherit theirs."""
    config.stash[_OWN] = {}
    for name in ("TINT_CACHE", fits.PLACE):
        if name not in os.environ:
            config.stash[_OWN][name] = place = tempfile.TemporaryDirectory(prefix="tint-cache-")
            os.environ[name] = place.name


def pytest_unconfigure(config: pytest.Config) -> None:
    """Leave nothing behind."""
    for name, place in config.stash.get(_OWN, {}).items():
        place.cleanup()
        del os.environ[name]


def pytest_collection() -> None:
    """Have the garbage collector wait while modules are imported and tests collected: little is garbage."""
    gc.disable()


def pytest_collection_finish() -> None:
    """Have it pass by what was imported and collected: that stays, and is most of what there is."""
    gc.freeze()
    gc.enable()


def pytest_sessionfinish() -> None:
    """Let it look at all again, so that libraries are taken down in order."""
    gc.unfreeze()
    gc.enable()


def _copy(to: Path) -> Path:
    to.mkdir()
    for file in INPUT_FILES:
        shutil.copy(DEMO / file, to / file)
    return to


@pytest.fixture(scope="module", autouse=True)
def _forget(request: pytest.FixtureRequest) -> Iterator[None]:
    """Drop, after a module, what it kept for its own tests: pictures are large."""
    yield
    for kept in vars(request.module).values():
        if hasattr(kept, "cache_clear"):
            kept.cache_clear()


SOLVE = fits.sought_once(recipes.solve)
ONCE = {
    "tint.cli.solve.solve": SOLVE,
    "tint.orders.run.solve": SOLVE,
    "tint.orders.run.makers": fits.drawn_once,
    "tint.cli.adjust.adjust": fits.sought_once(trials.adjust),
    "tint.cli.check.examine": fits.sought_once(checks.examine),
    "tint.cli.check.left_out": fits.sought_once(checks.left_out),
    "tint.cli.plan.next_swatches": fits.sought_once(planning.next_swatches),
} | dict.fromkeys(("tint.fitting.fit_palette", "tint.cli.fit.fit_palette"), fits.fitted_once)


@pytest.fixture(scope="module")
def sought_once() -> Iterator[None]:
    """For a module that looks at what becomes of fits and answers, as a page, JSON or sheets: each is made once."""
    with pytest.MonkeyPatch.context() as patched:
        for name, once in ONCE.items():
            patched.setattr(name, once)
        yield


@pytest.fixture
def small_folder(tmp_path: Path) -> Path:
    """An invented folder of twenty castings and three pigments, which two-flux theory fits at once."""
    return write_folder(studio(seed=3), tmp_path / "small")


@pytest.fixture
def demo_folder(tmp_path: Path) -> Path:
    """A copy of the demo folder, unfitted, for the test to change as it likes."""
    return _copy(tmp_path / "demo")


def _fitted(factory: pytest.TempPathFactory, model: str) -> Path:
    folder = _copy(factory.mktemp(model) / "swatches_demo")
    write_palette(fits.fitted_once(read_folder(folder), optics=model), fit_path(folder, model))
    return folder


@pytest.fixture(scope="session")
def fitted_demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the demo folder with its two-flux palette, made once: leave it as it is."""
    return _fitted(tmp_path_factory, "two-flux")


@pytest.fixture(scope="session")
def demo_palette(fitted_demo: Path) -> Palette:
    """The two-flux palette of the demo folder."""
    return read_palette(fit_path(fitted_demo, "two-flux"))


@pytest.fixture(scope="session")
def many_demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same with its many-flux palette, the model that its castings obey."""
    return _fitted(tmp_path_factory, "many-flux")


@pytest.fixture(scope="session")
def demo_many_flux(many_demo: Path) -> Palette:
    """The many-flux palette of the demo folder."""
    return read_palette(fit_path(many_demo, "many-flux"))
