"""The part: its material along the line of sight by geometry, its colour by the model, its form to be seen."""

from __future__ import annotations

import importlib.util
import io
import sys
import tracemalloc
import zipfile
from dataclasses import replace
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from tint import colorimetry
from tint.appearance import Setting, predict
from tint.errors import InputError
from tint.materials import Blend
from tint.palette import Palette
from tint.proofs import part_picture
from tint.proofs.part import part_of, read_part
from tint.proofs.part_picture import Shown, beyond_screen, thinner_than
from tint.proofs.photo import read_height_map
from tint.proofs.picture import DARK, WHITE, Text, paint
from tint.proofs.portrait import (
    SIDES,
    light_of,
    outlined,
    portrait_of,
    shading,
    view_of,
    volume_cm3,
)
from tint.proofs.rays import scan
from tint.proofs.render import LAMP, colour_table, to_levels
from tint.proofs.walls import walls_of

trimesh: Any = pytest.importorskip("trimesh", reason="parts are read with trimesh")

Array = NDArray[np.float64]

MIX = Blend("clear", {"white": 0.25, "green": 0.05})
OPAQUE = Blend("clear", {"white": 2.0})
WALL = Setting(thickness_mm=3.0)


def box(*sides: float) -> Any:
    return trimesh.creation.box(sides)


def triangles(mesh: Any) -> Array:
    return np.asarray(mesh.triangles, dtype=float)


@pytest.fixture(scope="module")
def gallery() -> ModuleType:
    path = Path(__file__).parents[1] / "docs" / "gallery.py"
    spec = importlib.util.spec_from_file_location("gallery", path)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["gallery"] = module
    spec.loader.exec_module(module)
    return module


# Geometry.


def literal(corners: Array, width: int, height: int) -> Array:
    """Material at every pixel centre by barycentric shares, one triangle and pixel after the other."""
    total = np.zeros((height, width))
    for a, b, c in corners:
        area = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
        if area == 0.0:
            continue
        for row in range(height):
            for column in range(width):
                x, y = column + 0.5 - a[0], row + 0.5 - a[1]
                u = (x * (c[1] - a[1]) - y * (c[0] - a[0])) / area
                v = ((b[0] - a[0]) * y - (b[1] - a[1]) * x) / area
                if u >= 0.0 and v >= 0.0 and u + v <= 1.0:
                    # rows run down, so that a face towards the eye has a negative area here
                    total[row, column] -= np.sign(area) * (a[2] + u * (b[2] - a[2]) + v * (c[2] - a[2]))
    return total


def test_reference_scan_conversion_is_the_literal_sum() -> None:
    mesh = trimesh.creation.icosphere(1, 9.0)
    corners = triangles(mesh)
    corners = np.stack((corners[..., 0] + 12.03, 12.07 - corners[..., 1], corners[..., 2]), axis=-1)
    corners[..., :2] = np.round(corners[..., :2] * 256) / 256  # the grid on which both work
    seen = scan(corners, width=24, height=24)
    assert seen.material.max() > 15.0
    assert seen.material == pytest.approx(literal(corners, 24, 24), abs=1e-9)


def test_many_layers_are_looked_through_in_little_memory() -> None:
    nested = [triangles(trimesh.creation.box((300.0 - at, 300.0 - at, 40.0 - at))) for at in range(30)]
    corners = np.concatenate(nested) * [1.0, -1.0, 1.0] + [150.0, 150.0, 0.0]
    tracemalloc.start()
    try:
        seen = scan(corners, width=300, height=300)
        _, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert seen.material[150, 150] == pytest.approx(40.0)
    assert most < 300e6  # 143 MB; with all rows at once it took 720


def test_no_pixel_is_counted_twice_or_left_out_however_thin_the_triangles() -> None:
    disc = trimesh.creation.cylinder(radius=10.0, height=2.0, sections=2000)  # two fans of needles
    view = view_of(part_of(triangles(disc)), pixels=300)
    inside = view.has_part
    assert view.thickness_mm[inside] == pytest.approx(np.full(inside.sum(), 2.0), abs=1e-9)
    assert inside.sum() * view.mm_per_pixel**2 == pytest.approx(np.pi * 100.0, rel=2e-3)


def test_a_sphere_is_as_thick_as_its_chord() -> None:
    view = view_of(part_of(triangles(trimesh.creation.icosphere(4, 10.0))), pixels=200)
    rows, columns = np.indices(view.thickness_mm.shape)
    middle = (np.array(view.thickness_mm.shape) - 1) / 2
    off = np.hypot(rows - middle[0], columns - middle[1]) * view.mm_per_pixel
    for low, high in ((0.0, 5.0), (5.0, 9.0), (9.0, 9.5)):
        ring = (off >= low) & (off < high)
        assert view.thickness_mm[ring] == pytest.approx(2.0 * np.sqrt(100.0 - off[ring] ** 2), rel=0.01)


@pytest.mark.parametrize("side", [side for side in SIDES if side != "corner"])
def test_a_box_is_as_thick_as_its_third_side_from_every_side(side: str) -> None:
    view = view_of(part_of(triangles(box(30.0, 20.0, 4.0))), side, pixels=120)
    deep = {"top": 4.0, "bottom": 4.0, "front": 20.0, "back": 20.0, "left": 30.0, "right": 30.0}[side]
    inside = view.thickness_mm[view.has_part]
    assert inside == pytest.approx(np.full(inside.size, deep))
    seen = view.has_part.sum() * view.mm_per_pixel**2
    edge = 2.0 * (54.0 - deep)  # half a pixel may be won or lost along it
    assert seen == pytest.approx(30.0 * 20.0 * 4.0 / deep, abs=0.5 * edge * view.mm_per_pixel)


def test_sides_are_turned_the_right_way() -> None:
    wedge = np.array([[0, 0, 0], [10, 0, 0], [0, 6, 0], [0, 0, 4]], dtype=float)  # thickest at its corner
    faces = wedge[[[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]]]
    part = part_of(faces)
    for side, (row, column) in {"top": (-1, 0), "bottom": (0, 0), "front": (-1, 0), "back": (-1, -1)}.items():
        view = view_of(part, side, pixels=100)
        at = np.unravel_index(np.argmax(view.thickness_mm), view.thickness_mm.shape)
        shape = view.thickness_mm.shape
        assert (at[0] > shape[0] / 2) == (row == -1)
        assert (at[1] > shape[1] / 2) == (column == -1)
    for axes in SIDES.values():
        assert axes @ axes.T == pytest.approx(np.eye(3), abs=1e-12)
        assert np.linalg.det(axes) == pytest.approx(1.0)


def test_a_mat_whose_edge_no_pixel_meets_is_told() -> None:
    with pytest.raises(InputError, match=r"from front it is thinner than a pixel, 0\.071 mm; look at it from another"):
        view_of(part_of(triangles(box(60.0, 40.0, 0.005))), "front", pixels=900)


def test_a_box_with_a_hole_is_seen_through() -> None:
    frame = trimesh.creation.annulus(r_min=5.0, r_max=10.0, height=3.0, sections=4)  # a square frame
    view = view_of(part_of(triangles(frame)), pixels=200)
    middle = view.thickness_mm.shape[0] // 2, view.thickness_mm.shape[1] // 2
    assert view.thickness_mm[middle] == 0.0
    assert not view.has_part[middle]
    inside = view.thickness_mm[view.has_part]
    assert inside == pytest.approx(np.full(inside.size, 3.0))
    assert view.has_part.sum() * view.mm_per_pixel**2 == pytest.approx(2.0 * (100.0 - 25.0), rel=0.02)
    side = view_of(part_of(triangles(frame)), "front", pixels=200)
    assert side.thickness_mm.max() == pytest.approx(10.0, rel=0.03)  # two walls, and air between, at the middle
    assert side.thickness_mm[side.thickness_mm.shape[0] // 2, 100] == pytest.approx(10.0, rel=0.03)


def test_a_part_upside_down_or_inside_out_has_the_same_volume(gallery: ModuleType) -> None:
    lid = gallery.lid(sections=48)
    turned = part_of(lid.triangles * [1.0, -1.0, -1.0])
    inside_out = part_of(lid.triangles[:, ::-1])
    assert turned.volume_cm3 == pytest.approx(lid.volume_cm3, rel=1e-9)
    assert inside_out.volume_cm3 == pytest.approx(lid.volume_cm3, rel=1e-9)
    assert np.array_equal(view_of(inside_out, pixels=90).thickness_mm, view_of(lid, pixels=90).thickness_mm)
    assert volume_cm3(view_of(lid, pixels=300)) == pytest.approx(lid.volume_cm3, rel=0.01)
    assert part_of(triangles(box(10.0, 20.0, 30.0))).volume_cm3 == pytest.approx(6.0)


# Files.


@pytest.mark.parametrize("kind", ["stl", "3mf", "obj"])
def test_a_mesh_is_read_from_each_kind_of_file(tmp_path: Path, kind: str) -> None:
    if kind == "3mf":
        pytest.importorskip("networkx")
        pytest.importorskip("lxml")
    path = tmp_path / f"lid.{kind}"
    box(30.0, 20.0, 4.0).export(path)
    part = read_part(path)
    assert part.volume_cm3 == pytest.approx(2.4, rel=1e-6)
    assert part.size_mm == pytest.approx([30.0, 20.0, 4.0])


@pytest.mark.parametrize(
    ("sides", "told"),
    [
        ((4000.0, 10.0, 10.0), "its longest side is 4 m; expected a part of 1 mm to 1 m"),
        ((0.2, 0.1, 0.1), "its longest side is 0.2 mm; .* is it in m or in\\? then add --set unit=m"),
        ((0.1, 0.05, 0.02), "is it in m\\?"),
    ],
)
def test_a_part_in_the_wrong_unit_is_told(tmp_path: Path, sides: tuple[float, ...], told: str) -> None:
    box(*sides).export(tmp_path / "part.stl")
    with pytest.raises(InputError, match=told):
        read_part(tmp_path / "part.stl")


def test_a_unit_is_obeyed(tmp_path: Path) -> None:
    box(0.03, 0.02, 0.004).export(tmp_path / "part.stl")
    assert read_part(tmp_path / "part.stl", unit="m").volume_cm3 == pytest.approx(2.4, rel=1e-6)


def test_a_surface_that_is_not_closed_is_told(tmp_path: Path) -> None:
    mesh = box(30.0, 20.0, 4.0)
    mesh.update_faces(np.arange(len(mesh.faces)) > 0)
    mesh.export(tmp_path / "open.stl")
    with pytest.raises(InputError, match="its surface is not closed: 3 edges with one face"):
        read_part(tmp_path / "open.stl")


def shell(points: list[list[int]], faces: list[list[int]]) -> Any:
    return trimesh.Trimesh(np.array(points, dtype=float), np.array(faces), process=False)


def test_an_open_shell_has_the_wall_that_its_maker_tells(tmp_path: Path) -> None:
    path = tmp_path / "shade.stl"
    trimesh.creation.revolve([(18.5, 0.0), (18.5, 60.0)], sections=240).export(path)
    with pytest.raises(InputError, match=r"is not closed: 480 edges .*; tell the wall of an open shell"):
        read_part(path)
    part = read_part(path, shell_mm=3.0)
    facets = np.sinc(1.0 / 240.0)  # of a prism of 240 sides, whose corners lie on the circle
    assert part.volume_cm3 == pytest.approx(np.pi * (20.0**2 - 17.0**2) * 60.0 / 1000.0 * facets, rel=1e-4)
    walls = walls_of(part.triangles)
    assert (walls.thinnest_mm, walls.median_mm) == pytest.approx((3.0, 3.0), rel=1e-3)
    thinner = read_part(path, shell_mm=1.0)
    assert thinner.volume_cm3 == pytest.approx(part.volume_cm3 / 3.0, rel=1e-4)


def test_a_fold_of_a_shell_keeps_its_wall_on_both_faces(tmp_path: Path) -> None:
    roof = [[0, 0, 0], [40, 0, 0], [40, 30, 30], [0, 30, 30], [40, 60, 0], [0, 60, 0]]
    shell(roof, [[0, 1, 2], [0, 2, 3], [3, 4, 2], [3, 4, 5]]).export(tmp_path / "roof.obj")  # two faces wound wrongly
    part = read_part(tmp_path / "roof.obj", shell_mm=2.0)
    assert part.volume_cm3 == pytest.approx(2.0 * 2.0 * 40.0 * np.hypot(30.0, 30.0) / 1000.0, rel=1e-6)
    walls = walls_of(part.triangles)
    assert (walls.median_mm, walls.thickest_mm) == pytest.approx((2.0, 2.0), rel=1e-3)


def test_a_wall_for_what_is_no_open_shell_is_refused(tmp_path: Path) -> None:
    box(30.0, 20.0, 4.0).export(tmp_path / "box.stl")
    with pytest.raises(InputError, match="its surface is closed"):
        read_part(tmp_path / "box.stl", shell_mm=2.0)
    book = [[0, 0, 0], [0, 30, 0], [40, 0, 0], [0, 0, 40], [-40, 0, 0]]
    shell(book, [[0, 1, 2], [0, 1, 3], [0, 1, 4]]).export(tmp_path / "book.obj")
    with pytest.raises(InputError, match="more than two faces meet at an edge"):
        read_part(tmp_path / "book.obj", shell_mm=2.0)
    trimesh.creation.revolve([(18.5, 0.0), (18.5, 60.0)]).export(tmp_path / "shade.stl")
    with pytest.raises(InputError, match="no wall for a part of its size"):
        read_part(tmp_path / "shade.stl", shell_mm=40.0)


def test_files_that_are_no_mesh_are_told_in_one_line(tmp_path: Path) -> None:
    (tmp_path / "empty.stl").write_bytes(b"")
    (tmp_path / "words.stl").write_text("this is no mesh")
    (tmp_path / "broken.3mf").write_bytes(b"PK\x03\x04nothing")
    (tmp_path / "lid.step").write_text("ISO-10303-21;")
    for name in ("empty.stl", "words.stl", "broken.3mf", "lid.step", "none.stl"):
        with pytest.raises(InputError) as told:
            read_part(tmp_path / name)
        assert "\n" not in str(told.value)
        assert name in str(told.value)


def test_without_trimesh_one_line_says_what_to_install(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setitem(sys.modules, "trimesh", None)
    with pytest.raises(InputError, match=r"needs trimesh; run `pip install 'tint\[part\]'`"):
        read_part(tmp_path / "lid.stl")


def height_map(path: Path, levels: NDArray[np.generic]) -> Path:
    Image.fromarray(levels).save(path)
    return path


@pytest.mark.parametrize(("kind", "per_level"), [("uint8", 0.02), ("uint16", 0.0001)])
def test_a_height_map_is_thickness(tmp_path: Path, kind: str, per_level: float) -> None:
    levels = np.zeros((40, 60))
    levels[10:30, 10:50] = 3.0 / per_level
    view = read_height_map(
        height_map(tmp_path / "map.png", levels.astype(kind)), mm_per_level=per_level, mm_per_pixel=0.5
    )
    assert view.thickness_mm[20, 20] == pytest.approx(3.0, abs=per_level)
    assert not view.has_part[0, 0]
    assert volume_cm3(view) == pytest.approx(20 * 40 * 0.25 * 3.0 / 1000.0, rel=0.01)


@pytest.mark.parametrize(
    ("levels", "told"),
    [
        (np.array([[1, -1], [1, 1]], dtype=np.int32), "levels below 0 or that are no numbers"),
        (np.array([[1.0, np.nan], [1.0, 1.0]], dtype=np.float32), "levels below 0 or that are no numbers"),
        (np.array([[1.0, np.inf], [1.0, 1.0]], dtype=np.float32), "levels below 0 or that are no numbers"),
        (
            np.array([[1, 0x7F800001], [1, 1]], dtype=np.uint32).view(np.float32),
            "levels below 0 or that are no numbers",
        ),
        (np.array([[1.0, 1e30], [1.0, 1.0]], dtype=np.float32), r"mm thick; expected at most 1000 mm"),
        (np.ones((1, 5), dtype=np.uint8), "5 x 1 pixels; expected at least 2 either way"),
    ],
)
def test_levels_that_are_no_thickness_are_told(tmp_path: Path, levels: NDArray[np.generic], told: str) -> None:
    with pytest.raises(InputError, match=told):
        read_height_map(height_map(tmp_path / "map.tiff", levels), mm_per_level=0.1)


def png(levels: NDArray[np.generic]) -> bytes:
    stream = io.BytesIO()
    Image.fromarray(levels).save(stream, "PNG")
    return stream.getvalue()


BROKEN_PICTURES = {
    "cut": png(np.arange(10_000, dtype=np.uint8).reshape(100, 100))[:100],
    "header": b"\x89PNG\r\n\x1a\n" + b"\x00\x00\x00\x0dIHDR" + b"\x00" * 17,
    "pgm": b"P5 a b 255\n",
    "pgm of too much": b"P2 2 2 255 9999 -1 x 1\n",
}


@pytest.mark.parametrize("data", BROKEN_PICTURES.values(), ids=BROKEN_PICTURES)
def test_a_broken_height_map_is_told(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "map.png"
    path.write_bytes(data)
    with pytest.raises(InputError, match=r"map.png: cannot be read \("):
        read_height_map(path, mm_per_level=0.1)


def test_a_large_height_map_is_thinned_out_and_keeps_its_size(tmp_path: Path) -> None:
    levels = np.zeros((4100, 4100), dtype=np.uint8)
    levels[500:3500, 1000:2000] = 20
    view = read_height_map(height_map(tmp_path / "map.png", levels), mm_per_level=0.1, mm_per_pixel=0.01)
    assert max(view.thickness_mm.shape) <= 2000
    assert volume_cm3(view) == pytest.approx(30.0 * 10.0 * 2.0 / 1000.0, rel=2e-3)


SQUARE = "".join(f'<vertex x="{10 * (at % 2)}" y="{10 * (at // 2 % 2)}" z="{10 * (at // 4)}"/>' for at in range(8))
SIDES_OF_A_CUBE = (
    (0, 2, 1), (1, 2, 3), (4, 5, 6), (5, 7, 6), (0, 1, 4), (1, 5, 4),
    (2, 6, 3), (3, 6, 7), (0, 4, 2), (2, 4, 6), (1, 3, 5), (3, 7, 5),
)  # fmt: skip


def package(path: Path, objects: str, *, place: str = "1", padding: int = 0) -> Path:
    """A 3MF of the cube, of what else it holds, and of so many bytes that say nothing."""
    faces = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in SIDES_OF_A_CUBE)
    cube = f'<object id="1"><mesh><vertices>{SQUARE}</vertices><triangles>{faces}</triangles></mesh></object>'
    head = '<model unit="millimeter" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">'
    built = f'<build><item objectid="{place}"/></build>'
    text = f"{head}<resources>{cube}{objects}</resources>{built}{' ' * padding}</model>"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("3D/3dmodel.model", text)
    return path


def test_a_3mf_is_read(tmp_path: Path) -> None:
    assert read_part(package(tmp_path / "a.3mf", "")).volume_cm3 == pytest.approx(1.0)


def test_a_3mf_that_unpacks_to_too_much_is_told_before_it_is_unpacked(tmp_path: Path) -> None:
    path = package(tmp_path / "bomb.3mf", "", padding=60_000_000)
    assert path.stat().st_size < 100_000
    with pytest.raises(InputError, match=r"unpacks to 60 MB in 1 files; expected at most 35 MB; export it with fewer"):
        read_part(path)


def test_a_3mf_that_places_a_body_again_and_again_is_told(tmp_path: Path) -> None:
    twice = '<object id="{}"><components><component objectid="{}"/><component objectid="{}"/></components></object>'
    chain = "".join(twice.format(at, at - 1, at - 1) for at in range(2, 40))
    with pytest.raises(InputError, match=r"places too many bodies; expected at most 1,000"):
        read_part(package(tmp_path / "chain.3mf", chain, place="39"))
    with pytest.raises(InputError, match=r"places too many bodies; expected at most 1,000"):
        read_part(package(tmp_path / "self.3mf", twice.format(2, 2, 2), place="2"))


def test_an_obj_opens_no_other_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    cube = box(10.0, 10.0, 10.0)
    corners = "".join(f"v {x} {y} {z}\n" for x, y, z in cube.vertices)
    faces = "".join(f"f {a + 1} {b + 1} {c + 1}\n" for a, b, c in cube.faces)
    (tmp_path / "cube.obj").write_text(f"mtllib secret.mtl\nusemtl one\n{corners}{faces}")
    (tmp_path / "secret.mtl").write_text("newmtl one\nmap_Kd ../secret.png\n")
    opened: list[str] = []
    was = io.open

    def watched(file: Any, *more: Any, **others: Any) -> Any:
        opened.append(str(file))
        return was(file, *more, **others)

    monkeypatch.setattr(io, "open", watched)
    monkeypatch.setattr("builtins.open", watched)
    assert read_part(tmp_path / "cube.obj").volume_cm3 == pytest.approx(1.0)
    assert any(name.endswith("cube.obj") for name in opened)
    assert not [name for name in opened if "secret" in name]


def test_height_maps_that_cannot_be_read_are_told(tmp_path: Path) -> None:
    coloured = np.zeros((4, 4, 3), dtype=np.uint8)
    coloured[0, 0] = (200, 0, 0)
    (tmp_path / "words.png").write_text("no picture")
    bad = {
        "coloured": height_map(tmp_path / "coloured.png", coloured),
        "black all over": height_map(tmp_path / "black.png", np.zeros((4, 4), dtype=np.uint8)),
        "not a picture": tmp_path / "words.png",
        "No such file": tmp_path / "none.png",
    }
    for told, path in bad.items():
        with pytest.raises(InputError, match=told):
            read_height_map(path, mm_per_level=0.1)
    with pytest.raises(InputError, match="mm_per_level: 0; expected more than 0"):
        read_height_map(bad["black all over"], mm_per_level=0.0)


# Colour and form.


def shown(mesh: Any, side: str = "top", pixels: int = 160) -> Shown:
    part = part_of(triangles(mesh))
    return Shown(view=view_of(part, side, pixels=2 * pixels), named="Part", volume_cm3=part.volume_cm3)


def coloured(palette: Palette, blend: Blend, seen: Shown, setting: Setting = WALL, over: str = "") -> NDArray[np.int64]:
    portrait = seen.portrait
    table = colour_table(palette, blend, setting=setting, upto_mm=portrait.upto_mm, over=over)
    return to_levels(light_of(portrait, table)).astype(np.int64)


@pytest.mark.parametrize("over", ["black", "white"])
def test_a_slab_is_the_chip_of_its_thickness(demo_palette: Palette, over: str) -> None:
    setting = replace(WALL, over=over)
    image = coloured(demo_palette, MIX, shown(box(40.0, 30.0, 3.0)), setting)
    chip = 255.0 * colorimetry.hex_to_srgb(predict(demo_palette, MIX, setting=setting).srgb)
    rows, columns = image.shape[:2]
    inner = image[rows // 2 - 40 : rows // 2 + 40, columns // 2 - 60 : columns // 2 + 60]
    assert np.abs(inner - chip).max() <= 1
    view = setting.viewing(demo_palette)
    card, _ = colorimetry.lab_to_srgb(colorimetry.lab(demo_palette.backings[over], view), view)
    assert np.abs(image[1, 1] - 255.0 * card).max() <= 1  # beside the part, the bare backing


def test_a_slab_in_the_picture_of_a_part_is_the_chip(demo_palette: Palette) -> None:
    picture = part_picture.part_picture(
        demo_palette, MIX, setting=WALL, shown=shown(box(40.0, 30.0, 3.0)), thin_mm=1.0, title="Slab"
    )
    with Image.open(io.BytesIO(paint(picture))) as opened:
        image = np.asarray(opened).astype(int)
    x, y = picture.boxes["part"].centre
    chip = 255.0 * colorimetry.hex_to_srgb(predict(demo_palette, MIX, setting=WALL).srgb)
    assert np.abs(image[y, x] - chip).max() <= 1
    said = " ".join(getattr(item, "words", "") for item in picture.items)
    assert "cm3 of the mix fill it" in said
    assert "none" in said.split()  # is thinner than 1 mm


def test_a_thin_rim_lets_the_backing_through(demo_palette: Palette) -> None:
    image = coloured(demo_palette, MIX, shown(trimesh.creation.icosphere(4, 4.0)), over=LAMP)  # not shaded
    middle = image.shape[0] // 2
    row = image[middle, :, 1]
    part = np.flatnonzero(row < 250)
    assert row[part[0] + 2] > row[middle] + 20  # towards the rim ever more light comes through
    assert np.all(np.diff(row[part[0] + 2 : middle]) <= 0)


def test_flat_parts_are_neither_shaded_nor_glossy() -> None:
    view = view_of(part_of(triangles(box(40.0, 30.0, 3.0))), pixels=200)
    shade, gloss = shading(view.normals, view.height_mm, has_part=view.has_part, mm_per_pixel=view.mm_per_pixel)
    assert shade[view.has_part] == pytest.approx(np.ones(view.has_part.sum()))
    assert np.all(gloss == 0.0)


def plate(letters: bool, depth: int) -> NDArray[np.uint8]:
    image = Image.new("L", (320, 200), 0)
    draw = ImageDraw.Draw(image)
    draw.rectangle((10, 10, 309, 189), fill=150)
    if letters:
        draw.text((60, 60), "lid", fill=150 - depth, font_size=90)
    return np.asarray(image)


def test_engraved_letters_show_even_where_the_colour_hides_all(demo_palette: Palette, tmp_path: Path) -> None:
    drawn = []
    for letters in (False, True):
        path = height_map(tmp_path / "plate.png", plate(letters, 40))
        view = read_height_map(path, mm_per_level=0.02, mm_per_pixel=0.1)
        drawn.append(coloured(demo_palette, OPAQUE, Shown(view=view, named="", volume_cm3=0.0, finer=1)))
    cut = plate(True, 40) == 110
    changed = np.abs(drawn[1] - drawn[0]).max(axis=-1)
    assert np.ptp(drawn[0][20:180, 20:300], axis=(0, 1)).max() <= 1
    assert (changed[cut] > 12).mean() > 0.15  # shade along the walls
    away = np.ones_like(cut)
    away[40:170, 40:240] = False
    assert changed[away & (plate(False, 0) > 0)].max() <= 1


def test_a_fillet_and_a_rib_show(demo_palette: Palette, gallery: ModuleType) -> None:
    foot = gallery.foot(sections=120)
    seen = Shown(view=view_of(foot, pixels=400), named="foot", volume_cm3=foot.volume_cm3)
    image = coloured(demo_palette, OPAQUE, seen)
    middle = image.shape[0] // 2
    lightness = image[middle, : image.shape[1] // 2, 1]
    steps = np.abs(np.diff(lightness.astype(int)))
    assert np.count_nonzero(np.diff((steps > 3).astype(int)) == 1) >= 5  # each of the five steps is drawn


def test_facets_of_a_round_thing_do_not_show_and_sharp_edges_do() -> None:
    ball = view_of(part_of(triangles(trimesh.creation.icosphere(2, 10.0))), pixels=200)
    rows, columns = np.nonzero(ball.has_part)
    middle = np.array(ball.has_part.shape) / 2 - 0.5
    off = np.stack((columns - middle[1], middle[0] - rows), axis=-1) * ball.mm_per_pixel / 10.0
    near = np.hypot(*off.T) < 0.9
    true = np.column_stack((off, np.sqrt(np.clip(1.0 - (off**2).sum(axis=1), 0.0, None))))
    angle = np.degrees(np.arccos(np.clip((ball.normals[rows, columns] * true).sum(axis=-1), -1.0, 1.0)))
    assert angle[near].max() < 4.0  # flat faces would be off by up to 9 degrees
    cube = view_of(part_of(triangles(box(10.0, 10.0, 10.0))), "corner", pixels=200)
    kinds = np.unique(np.round(cube.normals[cube.has_part], 3), axis=0)
    assert len(kinds) == 3


def test_thin_spots_are_found_and_outlined(demo_palette: Palette, gallery: ModuleType) -> None:
    portrait = portrait_of(view_of(gallery.lid(sections=120), pixels=600))
    thin = thinner_than(portrait, 1.2)
    rows, columns = np.nonzero(thin)
    middle = np.array(thin.shape) / 2
    off = np.hypot(rows - middle[0], columns - middle[1]) * portrait.mm_per_pixel
    assert off.min() > 37.0  # nothing but the rim, 40 mm from the middle
    assert thinner_than(portrait, 0.2).sum() < 0.02 * thin.sum()  # but for its rounded edge it is 1 mm
    plain = np.full((*thin.shape, 3), 128, dtype=np.uint8)
    drawn = outlined(plain, thin, dash=4)
    changed = np.any(drawn != 128, axis=-1)
    assert set(map(tuple, drawn[changed].tolist())) == {DARK, WHITE}
    assert np.all(thin[changed])
    assert changed.sum() < 0.5 * thin.sum()


def test_what_a_screen_cannot_show_is_marked_and_told(demo_palette: Palette) -> None:
    sun, seen = Blend("clear", {"yellow": 0.9}), shown(box(40.0, 30.0, 3.0))
    table = colour_table(demo_palette, sun, setting=WALL, upto_mm=3.0)
    assert not predict(demo_palette, sun, setting=WALL).in_gamut
    assert beyond_screen(seen.portrait, table).sum() == seen.portrait.has_part.sum()
    picture = part_picture.part_picture(demo_palette, sun, setting=WALL, shown=seen)
    said = " ".join(getattr(item, "words", "") for item in picture.items)
    assert "of the visible area is beyond a screen" in said


def test_a_deep_picture_is_the_shallow_one_with_more_levels(demo_palette: Palette) -> None:
    seen = shown(trimesh.creation.icosphere(4, 6.0))
    deep = part_picture.deep_part(demo_palette, MIX, setting=WALL, shown=seen)
    assert deep.dtype == np.uint16
    assert np.abs(deep / 257.0 - coloured(demo_palette, MIX, seen)).max() <= 1.0
    assert np.unique(deep).size > 256


def test_the_gallery_draws_what_its_page_shows(gallery: ModuleType, demo_palette: Palette, tmp_path: Path) -> None:
    page = (Path(__file__).parents[1] / "docs" / "pictures.md").read_text("utf-8")
    drawn = gallery.pictures(demo_palette, tmp_path, pixels=60, sections=24)
    small = {name: gallery.smaller(png) for name, png in drawn.items()}
    for name, png in small.items():
        assert f"gallery/{name}" in page
        assert (Path(__file__).parents[1] / "docs" / "gallery" / name).exists()
        assert png.startswith(b"\x89PNG")


# A picture that fits.

SHAPES: dict[str, tuple[tuple[float, float, float], str]] = {
    "very tall": ((4.0, 4.0, 160.0), "front"),
    "very flat": ((300.0, 9.0, 2.0), "front"),
    "tiny": ((1.2, 0.9, 0.4), "top"),
    "huge": ((950.0, 700.0, 60.0), "corner"),
    "square": ((40.0, 40.0, 3.0), "top"),
}


@pytest.mark.parametrize("name", list(SHAPES))
def test_no_words_run_into_others_or_off_the_picture(demo_palette: Palette, name: str) -> None:
    sides, side = SHAPES[name]
    # One line of sight a pixel. Of what is tiny the numbers are asked, not the room.
    part, pixels = part_of(triangles(box(*sides))), part_picture.PIXELS // (2 if name == "tiny" else 1)
    seen = Shown(view=view_of(part, side, pixels=pixels), named="Part", volume_cm3=part.volume_cm3, finer=1)
    picture = part_picture.part_picture(demo_palette, MIX, setting=WALL, shown=seen, thin_mm=2.5, title=name)
    said = [item for item in picture.items if isinstance(item, Text)]
    assert len(said) > 10
    for at, one in enumerate(said):
        assert one.box.left >= picture.canvas.left
        assert one.box.right <= picture.canvas.right
        assert not one.box.meets(picture.boxes["part"])
        for other in said[:at]:
            assert not one.box.meets(other.box), (one.words, other.words)
        assert "e+" not in one.words
    beside = [one.box.left for one in said if one.box.top > picture.boxes["part"].top]
    empty = min(left for left in beside if left > picture.boxes["part"].right) - picture.boxes["part"].right
    assert empty < 0.2 * picture.canvas.width or picture.boxes["part"].width > 0.3 * picture.canvas.width
