"""Walls of parts: along the normal, hollow and united, as exact geometry has them."""

from __future__ import annotations

import functools
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from tint import forward
from tint.appearance import Setting
from tint.cli import main
from tint.errors import InputError
from tint.materials import Blend
from tint.optics import layer
from tint.optics.layer import Optics
from tint.palette import Palette
from tint.proofs.part import part_of
from tint.proofs.part_picture import Shown, hollow_of, part_picture
from tint.proofs.portrait import light_of, view_of
from tint.proofs.rays import crossings, grid_of
from tint.proofs.render import colour_table, hollow_light, hollow_table, to_levels, to_light
from tint.proofs.walls import Walls, wall_at, walls_of

trimesh: Any = pytest.importorskip("trimesh", reason="parts are made with trimesh")

from parts import box, revolved, ten_parts, tube  # noqa: E402 (made with trimesh)


@functools.cache
def walls_of_part(name: str) -> Walls:
    return walls_of(ten_parts()[name].triangles)


@pytest.mark.parametrize("name", list(ten_parts()))
def test_walls_of_ten_parts_are_the_exact_ones(name: str) -> None:
    known = ten_parts()[name]
    walls = walls_of_part(name)
    assert walls.median_mm == pytest.approx(known.median_mm, rel=0.002)
    assert walls.thinnest_mm == pytest.approx(known.thinnest_mm, rel=0.005)
    assert walls.share.sum() == pytest.approx(1.0)


def test_a_cone_is_as_thick_as_its_largest_sphere_all_along() -> None:
    walls = walls_of_part("cone")
    along = np.linalg.norm(walls.place - [0.0, 0.0, 60.0], axis=1)
    away_from_ends, near_tip = (along > 7.0) & (along < 45.0), (along > 3.0) & (along < 7.0)
    sphere = 2.0 * along * np.tan(np.arctan(10.0 / 60.0))  # that touches all around at that place
    # Its 240 facets lie up to 1 - cos(0.75 degrees), a ten-thousandth, inside the cone; the ray would be 2.9 % longer.
    assert walls.thickness_mm[away_from_ends] == pytest.approx(sphere[away_from_ends], rel=5e-4)
    # Nearer to the tip a sphere is no longer wide beside the distance of the points that it may touch.
    assert walls.thickness_mm[near_tip] == pytest.approx(sphere[near_tip], rel=0.02)


def test_a_cone_of_many_faces_in_rows_is_as_thin_as_one_of_few() -> None:
    rows = [(10.0 * share, 60.0 - 60.0 * share) for share in np.linspace(1.0, 0.0, 41)]
    known = ten_parts()["cone"]
    walls = walls_of(revolved([(0.0, 0.0), *rows], 100))
    assert walls.thinnest_mm == pytest.approx(known.thinnest_mm, rel=0.04)
    assert walls.median_mm == pytest.approx(known.median_mm, rel=0.02)


def test_the_thinnest_wall_is_told_with_its_place() -> None:
    walls = walls_of(np.concatenate((box((40.0, 40.0, 3.0)), box((2.0, 40.0, 11.0), (0.0, 0.0, 6.0)))))
    x, _, z = walls.thinnest_at
    assert abs(x) == pytest.approx(1.0)  # on a side of the rib
    assert 1.5 < z < 11.5
    assert walls.to_solve_for == (2.0, 3.0)
    assert "thinnest 2 mm at x" in walls.words
    shares, _ = np.histogram(walls.thickness_mm, [0.0, 1.5, 2.5, 3.5], weights=walls.share)
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


# What is seen of a hollow part.


def test_the_near_wall_is_told_from_what_lies_behind_it() -> None:
    view = view_of(part_of(tube(20.0, 17.0, 60.0)), "front", pixels=300)
    assert view.beyond_mm is not None
    row, middle = view.thickness_mm.shape[0] // 2, view.thickness_mm.shape[1] // 2
    assert view.thickness_mm[row, middle] == pytest.approx(6.0, abs=0.02)
    assert view.beyond_mm[row, middle] == pytest.approx(3.0, abs=0.01)
    beside = middle + round(18.5 / view.mm_per_pixel)  # past the bore there is one wall alone
    assert view.beyond_mm[row, beside] == 0.0
    top = view_of(part_of(tube(20.0, 17.0, 60.0)), "top", pixels=300)
    assert top.beyond_mm is not None
    assert not top.beyond_mm.any()


def test_bodies_that_overlap_are_counted_once() -> None:
    plates = np.concatenate((box((30.0, 10.0, 4.0)), box((10.0, 30.0, 6.0))))
    part = part_of(plates)
    assert part.volume_cm3 == pytest.approx(2.6, rel=2e-3)
    view = view_of(part, pixels=300)
    middle = view.thickness_mm.shape[0] // 2, view.thickness_mm.shape[1] // 2
    assert view.thickness_mm[middle] == pytest.approx(6.0)


def test_what_is_seen_has_the_wall_of_its_face_from_every_side() -> None:
    mesh = tube(20.0, 17.0, 60.0)
    part, walls = part_of(mesh), walls_of(mesh)
    for side in ("front", "corner"):
        view = view_of(part, side, pixels=200, walls=walls)
        assert view.wall_mm is not None
        seen = view.wall_mm[view.has_part]
        assert np.median(seen) == pytest.approx(3.0, abs=0.02)
        assert np.percentile(seen, 98) < 3.3  # not the 16 mm that a line of sight passes beside the bore


def test_a_wall_that_faces_the_eye_is_told_pixel_by_pixel() -> None:
    wedge = np.array([[0, 0, 0], [40, 0, 0], [40, 20, 0], [0, 20, 0], [0, 0, 1], [40, 0, 3], [40, 20, 3], [0, 20, 1]])
    mesh = trimesh.convex.convex_hull(wedge.astype(float))
    part, walls = part_of(np.asarray(mesh.triangles)), walls_of(np.asarray(mesh.triangles))
    view = view_of(part, "top", pixels=200, walls=walls)
    assert view.wall_mm is not None
    assert view.wall_mm[view.has_part] == pytest.approx(view.thickness_mm[view.has_part])


@pytest.mark.parametrize("model", ["two-flux", "many-flux"])
def test_property_two_walls_lose_no_light(model: str) -> None:
    optics = Optics(model=model, refractive_index=1.41, geometry="di:8")
    mixed = np.array([[0.0, 0.0, 0.0], [0.0, 0.2, 1.5], [0.0, 0.4, 3.0], [0.0, 0.1, 0.8]])
    near, far = np.array([0.5, 2.0]), np.array([1.0, 4.0])
    back = layer.reflectance_of_walls(mixed, near=near, far=far, backing=None, seat="air", optics=optics)
    through = layer.transmittance_of_walls(mixed, near=near, far=far, optics=optics)
    assert back + through == pytest.approx(np.ones((2, 2, 3)), abs=1e-5)


def test_property_a_near_wall_that_hides_shows_nothing_of_the_far_one() -> None:
    optics = Optics(model="many-flux", refractive_index=1.41, geometry="di:8")
    mixed = np.array([[0.3], [4.0], [8.0], [2.0]])
    alone = layer.reflectance(*mixed, thickness=30.0, backing=None, optics=optics)
    both = layer.reflectance_of_walls(
        mixed, near=np.array([30.0]), far=np.array([1.0]), backing=np.array([0.9]), seat="air", optics=optics
    )
    assert both[0, 0] == pytest.approx(alone, abs=1e-6)


def test_reference_two_clear_plates_are_added_pass_by_pass() -> None:
    """Two plates that neither absorb nor scatter: light goes to and fro between them, a little less each time."""
    optics = Optics(model="two-flux", refractive_index=1.5, geometry="di:8")
    nothing = np.zeros(1)
    back = float(optics.terms(nothing, nothing, nothing, nothing, seat="air")[0][2, 0])
    alone = float(optics.transmitted(nothing, nothing, nothing, nothing)[0][0])
    both = layer.transmittance_of_walls(np.zeros((4, 1)), near=np.array([1.0]), far=np.array([1.0]), optics=optics)
    to_and_fro = sum(back ** (2 * turn) for turn in range(60))
    assert both[0, 0, 0] == pytest.approx(alone * (1.0 - back) * to_and_fro, rel=1e-6)


def test_a_hollow_part_is_coloured_by_both_walls(demo_palette: Palette) -> None:
    blend, setting = Blend("clear", {"white": 0.1, "green": 0.05}), Setting(thickness_mm=3.0)
    table = hollow_table(demo_palette, blend, setting=setting, near_mm=5.0, far_mm=6.0)
    mixed = forward.mix(demo_palette.coefficients, demo_palette.shares("clear", demo_palette.loadings(blend)))
    near, far = np.array([0.4, 1.37, 4.2]), np.array([0.21, 2.9, 5.5])
    exact = layer.reflectance_of_walls(
        mixed, near=near, far=far, backing=demo_palette.backings["white"], seat="air",
        optics=demo_palette.optics("clear"),
    )  # fmt: skip
    wanted = to_levels(to_light(exact, setting.viewing(demo_palette)).astype(np.float32)).astype(int)
    one, other = np.meshgrid(near, far, indexing="ij")
    assert np.abs(to_levels(hollow_light(table, one, other)).astype(int) - wanted).max() <= 1


def test_the_picture_of_a_tube_shows_that_it_is_hollow(demo_palette: Palette) -> None:
    blend, setting = Blend("clear", {"white": 0.1, "green": 0.05}), Setting(thickness_mm=3.0)
    part = part_of(tube(20.0, 17.0, 60.0))
    shown = Shown(view=view_of(part, "front", pixels=240), named="Tube", volume_cm3=part.volume_cm3)
    said = " ".join(
        getattr(item, "words", "")
        for item in part_picture(demo_palette, blend, setting=setting, shown=shown, title="Tube").items
    )
    assert "the near one, air, and what lies behind it" in said
    hollow = hollow_of(demo_palette, blend, setting=setting, portrait=shown.portrait)
    table = colour_table(demo_palette, blend, setting=setting, upto_mm=shown.portrait.upto_mm)
    middle = shown.portrait.cover.shape[0] // 2, shown.portrait.cover.shape[1] // 2
    one, two = light_of(shown.portrait, table)[middle], light_of(shown.portrait, table, hollow)[middle]
    assert np.abs(one - two).max() > 0.01  # two walls with faces between are not one wall as thick as both


# Asked of a part.


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


def test_solve_takes_the_wall_of_an_open_shell(fitted_demo: Path, tmp_path: Path) -> None:
    path = tmp_path / "shade.stl"
    trimesh.creation.revolve([(18.5, 0.0), (18.5, 60.0)], sections=60).export(path)
    result = solve(fitted_demo, *ASKED, "--part", path, "--set", "shell_mm=2.5", "--json")
    assert result.exit_code == 0, result.stderr
    assert json.loads(result.stdout)["part"]["walls_mm"] == pytest.approx([2.5])


@pytest.mark.parametrize(
    ("more", "told"),
    [
        (("--part", "a.stl", "--thickness", 3), "--thickness: given together with --part"),
        (("--part", "a.stl", "--wall", 3), "--wall: given together with --part"),
        (("--thickness", 3, "--set", "unit=mm"), "--set unit: no mesh to apply it to"),
        (("--thickness", 3, "--set", "shell_mm=2"), "--set shell_mm: no mesh to apply it to"),
        (("--part", "a.stl"), "a.stl: cannot be read"),
    ],
)
def test_what_does_not_go_together_is_told(fitted_demo: Path, more: tuple[object, ...], told: str) -> None:
    result = solve(fitted_demo, *ASKED, *more)
    assert result.exit_code == 2
    assert result.stderr.startswith(f"tint: {told}")
