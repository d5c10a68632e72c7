"""What many tests share: copies of the demo folder, one of them fitted, its palette, and a cache of their own."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from tint.fit import fit_palette
from tint.palette import Palette, fit_path, read_palette, write_palette
from tint.swatches import INPUT_FILES, read_folder

DEMO = Path(__file__).parents[1] / "swatches_demo"


@pytest.fixture(scope="session", autouse=True)
def _session_cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Keep tests out of the user's cache; the workers of one parallel session share theirs."""
    with pytest.MonkeyPatch.context() as patch:
        if "TINT_CACHE" not in os.environ:
            base = tmp_path_factory.getbasetemp()
            session = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
            patch.setenv("TINT_CACHE", str(session / "tint-cache"))
        yield


def _copy(to: Path) -> Path:
    to.mkdir()
    for file in INPUT_FILES:
        shutil.copy(DEMO / file, to / file)
    return to


@pytest.fixture
def demo_folder(tmp_path: Path) -> Path:
    """A copy of the demo folder, unfitted, for the test to change as it likes."""
    return _copy(tmp_path / "demo")


@pytest.fixture(scope="session")
def fitted_demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the demo folder with its two-flux palette, made once: leave it as it is."""
    folder = _copy(tmp_path_factory.mktemp("fitted") / "demo")
    write_palette(fit_palette(read_folder(folder), optics="two-flux"), fit_path(folder, "two-flux"))
    return folder


@pytest.fixture(scope="session")
def demo_palette(fitted_demo: Path) -> Palette:
    """The two-flux palette of the demo folder."""
    return read_palette(fit_path(fitted_demo, "two-flux"))
