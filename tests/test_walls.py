"""Walls of parts: along the normal, hollow and united, as exact geometry has them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from tint.cli import main
from tint.errors import InputError
from tint.proofs.rays import crossings, grid_of
from tint.proofs.walls import wall_at, walls_of

trimesh: Any = pytest.importorskip("trimesh", reason="parts are made with trimesh")

from parts import box, ten_parts, tube  # noqa: E402 (made with trimesh)


@pytest.mark.parametrize("name", list(ten_parts()))
def test_walls_of_ten_parts_are_the_exact_ones(name: str) -> None:
    known = ten_parts()[name]
    walls = walls_of(known.triangles)
    # A cone is told along its normal, which is 3 % longer than its sphere is wide; its tip has hardly a point.
    within, of_tip = (0.035, 0.25) if name == "cone" else (0.002, 0.002)
    assert walls.median_mm == pytest.approx(known.median_mm, rel=within)
    assert walls.thinnest_mm == pytest.approx(known.thinnest_mm, rel=of_tip)
    assert walls.share.sum() == pytest.approx(1.0)


def test_the_thinnest_wall_is_told_with_its_place() -> None:
    walls = walls_of(np.concatenate((box((40.0, 40.0, 3.0)), box((2.0, 40.0, 11.0), (0.0, 0.0, 6.0)))))
    x, _, z = walls.thinnest_at
    assert abs(x) == pytest.approx(1.0)  # on a side of the rib
    assert 1.5 < z < 11.5
    assert walls.to_solve_for == (2.0, 3.0)
    assert "thinnest 2 mm at x" in walls.words
    shares = walls.histogram([0.0, 1.5, 2.5, 3.5])
    assert shares[0] == 0.0
    assert shares.sum() == pytest.approx(1.0)


def test_bodies_that_overlap_or_touch_are_one() -> None:
    whole = walls_of(box((40.0, 30.0, 4.0)))
    halves = walls_of(np.concatenate((box((25.0, 30.0, 4.0), (-7.5, 0, 0)), box((25.0, 30.0, 4.0), (7.5, 0, 0)))))
    touching = walls_of(np.concatenate((box((20.0, 30.0, 4.0), (-10.0, 0, 0)), box((20.0, 30.0, 4.0), (10.0, 0, 0)))))
    for each in (halves, touching):
        assert each.median_mm == pytest.approx(whole.median_mm)
        assert each.thickest_mm == pytest.approx(whole.thickest_mm)


def test_a_ray_through_a_tube_meets_four_faces_in_order() -> None:
    grid = grid_of(tube(20.0, 17.0, 60.0))
    start, along = np.array([[-21.0, 0.11, 30.3]]), np.array([[1.0, 0.0, 0.0]])
    met = crossings(grid, start, along)
    assert met.sign.tolist() == [1, -1, 1, -1]
    exact = 21.0 + np.array([-20.0, -17.0, 17.0, 20.0])
    assert met.distance == pytest.approx(exact, abs=0.01)
    assert crossings(grid, start, -along).ray.size == 0


def test_the_wall_at_a_point_is_that_of_the_face_it_lies_on() -> None:
    walls = walls_of(np.concatenate((box((20.0, 40.0, 2.0), (10.0, 0.0, 1.0)), box((40.0, 40.0, 8.0), (40.0, 0, 4.0)))))
    place = np.array([[5.0, 0.0, 2.0], [40.0, 0.0, 8.0]])
    up = np.array([[0.0, 0.0, 1.0], [0.0, 0.0, 1.0]])
    assert wall_at(walls, place, up, reach_mm=5.0) == pytest.approx([2.0, 8.0])


def test_a_surface_without_material_is_refused() -> None:
    sheet = box((10.0, 10.0, 1.0))[:2]
    with pytest.raises(InputError, match="no wall of it is found"):
        walls_of(sheet)


def solve(folder: Path, *arguments: object) -> Any:
    named = [str(each) for each in arguments]
    return CliRunner().invoke(main, ["solve", str(folder), *named, "--optics", "two-flux"], env={"COLUMNS": "100"})


ASKED = ("--base", "clear", "--target-lab", "70,5,20", "--opacity", "any", "--most-pigments", 2)


def test_solve_takes_the_walls_of_a_part(fitted_demo: Path, tmp_path: Path) -> None:
    path = tmp_path / "tube.stl"
    trimesh.Trimesh(**trimesh.triangles.to_kwargs(tube(20.0, 17.0, 60.0, 60))).export(path)
    result = solve(fitted_demo, *ASKED, "--part", path, "--json")
    assert result.exit_code == 0, result.stderr
    told = json.loads(result.stdout)
    assert told["setting"]["thickness_mm"] == pytest.approx(3.0)
    assert told["part"]["walls_mm"] == pytest.approx([3.0])
    assert told["part"]["median_mm"] == pytest.approx(3.0, abs=0.03)
    assert "Walls: median 3 mm" in solve(fitted_demo, *ASKED, "--part", path).stdout


@pytest.mark.parametrize(
    ("more", "told"),
    [
        (("--part", "a.stl", "--thickness", 3), "--thickness: given together with --part"),
        (("--part", "a.stl", "--wall", 3), "--wall: given together with --part"),
        (("--thickness", 3, "--unit", "mm"), "--unit: no mesh to apply it to"),
        (("--part", "a.stl"), "a.stl: cannot be read"),
    ],
)
def test_what_does_not_go_together_is_told(fitted_demo: Path, more: tuple[object, ...], told: str) -> None:
    result = solve(fitted_demo, *ASKED, *more)
    assert result.exit_code == 2
    assert result.stderr.startswith(f"tint: {told}")
