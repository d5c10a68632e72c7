"""How colour moves while rubber cures: learned from pairs, with an error that holds; never assumed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from tint import colorimetry
from tint.errors import InputError
from tint.shift import learn_shift, read_pairs

Array = NDArray[np.float64]

WAVELENGTHS = np.arange(400.0, 701.0, 20.0)
VIEW = colorimetry.viewing(WAVELENGTHS)
MOVES = np.array([0.8, -0.2, 0.5])
ROOT = np.array([[0.30, 0.0, 0.0], [0.05, 0.12, 0.0], [-0.10, 0.04, 0.2]])  # of the scatter between castings


def pairs(n: int, rng: np.random.Generator, *, moves: Array = MOVES) -> tuple[Array, Array]:
    early = np.array([62.0, 10.0, 25.0]) + rng.normal(0.0, 1.5, (n, 3))
    return early, early + moves + rng.standard_normal((n, 3)) @ ROOT.T


def test_reference_many_pairs_find_the_known_shift_and_covariance() -> None:
    found = learn_shift(*pairs(4000, np.random.default_rng(1)))
    assert found.lab == pytest.approx(MOVES, abs=0.02)
    assert found.covariance == pytest.approx(ROOT @ ROOT.T, abs=0.005)
    assert found.known
    assert found.pairs == 4000


@pytest.mark.parametrize("n", [5, 8, 20])
def test_property_the_stated_radius_holds_95_times_in_100(n: int) -> None:
    rng = np.random.default_rng(n)
    hits = []
    for _ in range(600):
        early, cured = pairs(n + 1, rng)
        found = learn_shift(early[:n], cured[:n])
        hits.append(float(colorimetry.difference(early[n] + found.lab, cured[n])) <= found.radius)
    assert 0.92 <= np.mean(hits) <= 0.99, np.mean(hits)


def test_property_no_shift_is_seldom_taken_for_one() -> None:
    rng = np.random.default_rng(3)
    known = [learn_shift(*pairs(6, rng, moves=np.zeros(3))).known for _ in range(400)]
    assert np.mean(known) == pytest.approx(0.05, abs=0.025)


def test_property_a_shift_can_be_found_from_few_pairs() -> None:
    rng = np.random.default_rng(4)
    assert np.mean([learn_shift(*pairs(8, rng)).known for _ in range(100)]) > 0.9


def test_equal_readings_are_no_shift() -> None:
    early = np.tile([50.0, 5.0, 5.0], (6, 1))
    found = learn_shift(early, early)
    assert not found.known
    assert found.radius == pytest.approx(0.0, abs=1e-6)


def test_too_few_or_unlike_pairs_are_told() -> None:
    early, cured = pairs(4, np.random.default_rng(0))
    with pytest.raises(InputError, match="shift: 4 pairs; expected 5 or more; read further castings"):
        learn_shift(early, cured)
    with pytest.raises(InputError, match="as many cured as early colours"):
        learn_shift(early, cured[:3])
    with pytest.raises(InputError, match="as many cured as early colours"):
        learn_shift(early[:, :2], cured[:, :2])


# From a table.


def table(path: Path, rows: list[tuple[str, str, str, float]]) -> str:
    header = ["casting", "state", "backing", *(f"{nm:g}" for nm in WAVELENGTHS)]
    lines = [[name, state, backing, *[f"{level:g}"] * WAVELENGTHS.size] for name, state, backing, level in rows]
    path.write_text("\n".join(",".join(cells) for cells in [header, *lines]) + "\n", encoding="utf-8")
    return str(path)


GOOD = [
    ("lid-1", "early", "white", 0.40),
    ("lid-1", "cured", "white", 0.44),
    ("lid-1", "early", "black", 0.05),
    ("lid-1", "cured", "black", 0.05),
    ("lid-2", "cured", "white", 0.50),
    ("lid-2", "early", "white", 0.44),
    ("lid-2", "early", "white", 0.46),
]


def test_pairs_are_read_from_a_table(tmp_path: Path) -> None:
    early, cured = read_pairs(table(tmp_path / "p.csv", GOOD), VIEW, wavelengths=WAVELENGTHS, over="white")
    expected = [colorimetry.lab(np.full(WAVELENGTHS.size, level), VIEW) for level in (0.40, 0.45, 0.44, 0.50)]
    assert np.vstack((early, cured)) == pytest.approx(np.array(expected))


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        ([*GOOD, ("lid-3", "early", "white", 0.4)], "lid-3 has no cured reading; read it, or leave it out"),
        ([*GOOD, ("lid-3", "wet", "white", 0.4)], "row 9, column state: `wet`; expected early or cured"),
        ([*GOOD, ("lid-3", "", "white", 0.4)], "row 9, column state: ``; expected early or cured"),
    ],
)
def test_a_table_of_pairs_that_is_none_is_told(
    tmp_path: Path, rows: list[tuple[str, str, str, float]], told: str
) -> None:
    with pytest.raises(InputError, match=told):
        read_pairs(table(tmp_path / "p.csv", rows), VIEW, wavelengths=WAVELENGTHS, over="white")


def test_a_file_that_is_no_table_of_pairs_is_told(tmp_path: Path) -> None:
    other = tmp_path / "other.csv"
    other.write_text("casting,L,a,b\nlid,40,1,2\n", encoding="utf-8")
    with pytest.raises(InputError, match="there is no column state; expected it holds early or cured"):
        read_pairs(str(other), VIEW, wavelengths=WAVELENGTHS)
    with pytest.raises(InputError, match=r"none\.csv: cannot be read"):
        read_pairs(str(tmp_path / "none.csv"), VIEW, wavelengths=WAVELENGTHS)
    other.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="is no text in UTF-16"):
        read_pairs(str(other), VIEW, wavelengths=WAVELENGTHS)
