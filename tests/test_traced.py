"""The traced part: its few wavelengths, its scenes, its noise, and its agreement with the layer model."""

from __future__ import annotations

import io
import shutil
import sys
from dataclasses import replace
from datetime import date
from pathlib import Path

import click
import numpy as np
import parts
import pytest
import trimesh
from click.testing import CliRunner
from numpy.typing import NDArray
from PIL import Image

import tint
from tint import colorimetry, forward
from tint.appearance import Setting
from tint.cli import main
from tint.cli.order import expanded
from tint.errors import InputError
from tint.glossary import SCENES
from tint.materials import Blend
from tint.optics import layer
from tint.orders import run_order
from tint.palette import Palette
from tint.proofs.approval import Asked, approval
from tint.proofs.approval_page import approval_page, approval_pdf
from tint.proofs.part import corner_normals, part_of
from tint.proofs.picture import RIGHT, Text
from tint.proofs.portrait import SIDES
from tint.proofs.traced import scenes
from tint.proofs.traced.paths import check_installed, follow, ply, stage
from tint.proofs.traced.picture import (
    QUALITIES,
    Quality,
    Traced,
    evenly_coloured,
    halves,
    noise,
    side_of,
    smoothed,
)
from tint.proofs.traced.rubber import COSINES, few_wavelengths, rubber_of
from tint.proofs.traced.shown import Apart, TracedPart, traced_picture
from tint.proofs.words import SCREEN_LINE

Array = NDArray[np.float64]

MIX = Blend("clear", {"white": 0.12, "green": 0.05})
WALL = Setting(thickness_mm=3.0)


def body(triangles: Array, *, scene: str = "window", side: str = "corner") -> scenes.Placed:
    return scenes.placed(triangles, corner_normals(triangles), SIDES[side], scene=scene)


# Wavelengths.


@pytest.mark.parametrize("loadings", [{}, {"white": 1.0}, {"green": 0.2}, {"white": 0.12, "green": 0.05}])
def test_few_wavelengths_tell_the_colours_of_layers(demo_many_flux: Palette, loadings: dict[str, float]) -> None:
    blend = Blend("clear", loadings)
    few = few_wavelengths(demo_many_flux, blend, setting=WALL, upto_mm=10.0)
    mixed = forward.mix(demo_many_flux.coefficients, demo_many_flux.shares("clear", demo_many_flux.loadings(blend)))
    depth = np.array([0.3, 1.0, 3.0, 7.0])[:, None]
    spectra = layer.reflectance(
        *mixed, thickness=depth, backing=demo_many_flux.backings["white"], optics=demo_many_flux.optics("clear")
    )
    view = WALL.viewing(demo_many_flux)
    apart = colorimetry.difference(few.lab(spectra[:, few.which], view), colorimetry.lab(spectra, view))
    assert few.which.size <= 8
    assert np.max(apart) <= max(few.miss, 0.5)


def test_few_wavelengths_keep_grey_grey(demo_many_flux: Palette) -> None:
    few = few_wavelengths(demo_many_flux, MIX, setting=WALL, upto_mm=10.0)
    shown = few.light(np.full(few.which.size, 0.5), WALL.viewing(demo_many_flux))
    assert shown == pytest.approx([0.5, 0.5, 0.5], abs=1e-4)


def test_rubber_has_the_palette_s_own_coefficients(demo_many_flux: Palette) -> None:
    rubber = rubber_of(demo_many_flux, MIX)
    mixed = forward.mix(demo_many_flux.coefficients, demo_many_flux.shares("clear", demo_many_flux.loadings(MIX)))
    assert rubber.absorption == pytest.approx(mixed[0] / 2.0)
    assert rubber.scattering == pytest.approx(4.0 / 3.0 * mixed[2])


@pytest.mark.parametrize("more", [-0.05, 0.0, 0.1])
def test_rubber_turns_light_with_the_palette_s_own_moments(demo_many_flux: Palette, more: float) -> None:
    palette = with_second_moment(demo_many_flux, more)
    rubber = rubber_of(palette, MIX)
    mixed = forward.mix(palette.coefficients, palette.shares("clear", palette.loadings(MIX)))
    for order, moment in ((1, 1.0 - mixed[1] / mixed[2]), (2, mixed[3] / mixed[2])):
        legendre = np.polynomial.legendre.Legendre.basis(order)(COSINES)
        other = 0.5 * np.trapezoid(rubber.lobe * legendre, COSINES, axis=-1)
        found = (1.0 - rubber.apart) * rubber.forward_cosine**order + rubber.apart * other
        assert found == pytest.approx(moment, abs=2e-4)


def with_second_moment(palette: Palette, more: float) -> Palette:
    """A palette each of whose components has a second moment so much above the square of its g."""
    return replace(palette, second_moment=palette.g**2 + more * (1.0 - palette.g**8))


# Scenes.


def test_a_part_stands_on_the_table_above_a_film_of_air() -> None:
    placed = body(parts.box((20.0, 10.0, 4.0), (7.0, -3.0, 11.0)))
    assert placed.points.min(axis=0) == pytest.approx([-10.0, -5.0, 0.04])
    assert placed.points.max(axis=0)[2] == pytest.approx(4.04)


def test_a_lamp_finds_the_middle_of_a_tube_and_no_room_in_a_block() -> None:
    found = scenes.hollow_of(body(parts.tube(20.0, 17.0, 60.0)))
    assert found is not None
    assert np.hypot(*found[0][:2]) < 3.0
    assert found[1] < 17.0
    assert scenes.hollow_of(body(parts.box((20.0, 10.0, 4.0)))) is None


def test_no_room_for_a_lamp_is_told_in_a_line() -> None:
    with pytest.raises(InputError, match="a lamp finds no room inside"):
        scenes.surroundings("inside", body(parts.box((20.0, 10.0, 4.0))))


def test_the_whole_part_is_in_the_picture() -> None:
    for scene in SCENES:
        for side in SIDES:
            placed = body(parts.box((60.0, 10.0, 4.0)), scene=scene, side=side)
            eye = scenes.camera(placed, pixels=(400, 300))
            seen = (placed.points - eye["to_world"][:3, 3]) @ eye["to_world"][:3, :3]
            half = np.tan(np.radians(0.5 * eye["fov"])) * seen[:, 2]
            assert np.all(np.abs(seen[:, 0]) < half)
            assert np.all(np.abs(seen[:, 1]) < 0.75 * half)
            assert max(np.max(np.abs(seen[:, 0]) / half), np.max(np.abs(seen[:, 1]) / (0.75 * half))) > 0.85


@pytest.mark.parametrize(
    ("size", "shape"), [((6.0, 6.0, 90.0), 0.6), ((30.0, 30.0, 22.0), 1.0), ((90.0, 60.0, 2.0), 4.0 / 3.0)]
)
def test_a_picture_is_shaped_to_the_part_that_fills_it(size: tuple[float, float, float], shape: float) -> None:
    placed = body(parts.box(size), side="front" if shape < 1.0 else "corner")
    wide, high = scenes.sized(placed, 400)
    assert wide / high == pytest.approx(shape, rel=0.01)
    assert wide * high == pytest.approx(400 * 300, rel=0.01)
    eye = scenes.camera(placed, pixels=(wide, high))
    seen = (placed.points - eye["to_world"][:3, 3]) @ eye["to_world"][:3, :3]
    filled = np.abs(seen[:, :2] / seen[:, 2:]) / np.tan(np.radians(0.5 * eye["fov"])) / [1.0, high / wide]
    assert 0.85 < filled.max() < 1.0


def test_a_tall_picture_leaves_its_room_to_words_on_the_card(demo_many_flux: Palette) -> None:
    few = few_wavelengths(demo_many_flux, MIX, setting=WALL, upto_mm=5.0)
    light = np.full((240, 144, 3), 0.4, dtype=np.float32)
    picture = Traced(light=light, scene="window", noise=0.004, few=few, exposure=1.0, paths=16_000_000)
    apart = Apart(whole=2.2, usual=2.7, most=6.3, noise=1.3)
    part = TracedPart(picture=picture, apart=apart, named="Rod", lines=("Traced so.", apart.words, SCREEN_LINE))
    card = traced_picture(part, title="Lichen")
    box = card.boxes["part"]
    assert box.height / box.width == pytest.approx(240 / 144, rel=0.01)
    beside = [item.box for item in card.items if isinstance(item, Text) and item.box.left > box.right]
    assert max(each.bottom for each in beside) < box.bottom
    assert max(each.right for each in beside) > RIGHT - 100


def test_a_rod_seen_along_its_length_fills_the_picture_too() -> None:
    placed = body(parts.box((4.0, 4.0, 120.0)), scene="page", side="top")
    eye = scenes.camera(placed, pixels=(400, 300))
    seen = (placed.points - eye["to_world"][:3, 3]) @ eye["to_world"][:3, :3]
    assert np.max(np.abs(seen[:, 1]) / seen[:, 2]) > 0.85 * 0.75 * np.tan(np.radians(0.5 * eye["fov"]))
    assert seen[:, 2].min() > 120.0  # from so far that its far end is not much smaller


def test_before_a_lamp_a_part_shows_its_widest_side() -> None:
    for size, side in (((60.0, 40.0, 4.0), "top"), ((60.0, 4.0, 40.0), "front"), ((4.0, 40.0, 60.0), "right")):
        assert side_of("behind", part_of(parts.box(size))) == side
    assert side_of("inside", part_of(parts.box((60.0, 40.0, 4.0)))) == "front"


def test_a_page_behind_a_large_part_is_told_to_be_larger() -> None:
    assert scenes.page_scale(np.array([[0.0, 0.0], [60.0, 20.0]])) == 1.0
    assert scenes.page_scale(np.array([[0.0, 0.0], [60.0, 420.0]])) == pytest.approx(4.4)


def test_the_mesh_that_is_traced_has_every_triangle_once() -> None:
    placed = body(parts.box((20.0, 10.0, 4.0)))
    head, _, data = ply(placed).partition(b"end_header\n")
    assert b"element vertex 24" in head  # each face of a box has its own corners: its edges are sharp
    assert len(data) == 24 * 24 + 12 * 13


# Noise.


def test_smoothing_takes_noise_from_what_is_even_and_keeps_an_edge() -> None:
    rng = np.random.default_rng(4)
    true = np.where(np.arange(60) < 30, 0.2, 0.7)[None, :, None] * np.ones((40, 60, 3))
    first, second = halves(true + 0.2 * rng.standard_normal(true.shape) for _ in range(8))
    one, two = smoothed(first, second, np.zeros((40, 60, 1)))
    assert np.median(noise(one, two)) < 0.2 * np.median(noise(first.mean, second.mean))
    mean = 0.5 * (one + two)
    assert np.abs(mean - true).mean() < 0.012
    assert mean[:, 31:33].mean() - mean[:, 27:29].mean() > 0.45


def test_bodies_that_overlap_are_united() -> None:
    pytest.importorskip("manifold3d", reason="bodies are united by manifold3d")
    from tint.proofs.traced.picture import united

    crossed = np.concatenate((parts.box((30.0, 10.0, 4.0)), parts.box((10.0, 30.0, 6.0))))
    whole = united(part_of(crossed))
    assert whole.volume_cm3 == pytest.approx(2.6, rel=1e-3)
    about = whole.triangles
    each = np.einsum("ni,ni->", about[:, 0], np.cross(about[:, 1], about[:, 2])) / 6000.0
    assert each == pytest.approx(2.6, rel=1e-3)


def test_a_part_without_overlap_is_left_as_it_is() -> None:
    from tint.proofs.traced.picture import united

    shell = part_of(parts.shell(20.0, 17.0, 3))
    assert united(shell) is shell


def test_noise_of_hue_goes_and_brightness_stays() -> None:
    rng = np.random.default_rng(5)
    bright = np.linspace(0.1, 0.9, 60)[None, :, None] * np.ones((40, 60, 1))
    noisy = bright * np.array([0.7, 1.3, 1.0]) * (1.0 + 0.2 * rng.standard_normal((40, 60, 3)))
    even = evenly_coloured(noisy, np.zeros((40, 60, 1)))
    assert even.mean(axis=-1) == pytest.approx(noisy.mean(axis=-1))
    assert np.std(even[..., 0] / even[..., 1]) < 0.2 * np.std(noisy[..., 0] / noisy[..., 1])


# With the path tracer.


def test_without_mitsuba_one_line_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "mitsuba", None)
    with pytest.raises(InputError, match=r"pip install 'tint\[trace\]'"):
        check_installed()


def test_nothing_to_trace_is_told_before_anything_is_read(tmp_path: Path) -> None:
    told = CliRunner().invoke(main, ["proof", str(tmp_path), "--trace", "window", "--out", str(tmp_path / "a.png")])
    assert told.exit_code == 2
    assert "no mesh to trace" in told.output


def slab_seen(palette: Palette, *, through: bool, thickness: float, at: int) -> tuple[float, float]:
    """Radiance of a wide slab at 8 degrees in even light over nothing, or before a lamp, and its standard error."""
    whole = np.array([at])
    rubber = rubber_of(palette, MIX).at(whole)
    upright = np.diag([400.0, 400.0, 0.5 * thickness, 1.0])
    upright[2, 3] = -0.5 * thickness
    below = np.diag([2000.0, 2000.0, 1.0, 1.0])
    below[2, 3] = -thickness - 1.0  # rays of the tracer start 0.04 mm off a face that lies so far out
    under = {"type": "rectangle", "to_world": below, "bsdf": {"type": "diffuse", "reflectance": 0.0}}
    lamp = {"emitter": {"type": "area", "radiance": 1.0}}
    objects = {"under": under | lamp} if through else {"under": under, "air": {"type": "constant", "radiance": 1.0}}
    slope = np.radians(8.0)
    placed = replace(
        body(parts.box((1.0, 1.0, 0.1))), right=np.array([np.cos(slope), 0.0, -np.sin(slope)]),
        up=np.array([0.0, 1.0, 0.0]), towards=np.array([np.sin(slope), 0.0, np.cos(slope)]),
    )  # fmt: skip
    eye = scenes.facing(placed, pixels=(24, 24), mm_per_pixel=0.02, margin=0.0)
    on = stage(rubber, {"type": "cube", "to_world": upright}, objects, eye, surfaces={})
    seen = next(follow(on, passes=1, paths=64, seed=5))
    return float(seen.mean()), float(seen.std()) / np.sqrt(seen.size)


@pytest.mark.parametrize(("thickness", "more"), [(0.5, 0.0), (3.0, 0.0), (1.0, -0.2), (1.0, 0.17)])
def test_reference_a_wide_slab_traced_is_the_layer_model(
    demo_many_flux: Palette, thickness: float, more: float
) -> None:  # fmt: skip
    pytest.importorskip("mitsuba", reason="paths are followed by Mitsuba")
    at, palette = 12, with_second_moment(demo_many_flux, more)
    optics = palette.optics("clear", geometry="di:8")
    mixed = forward.mix(palette.coefficients, palette.shares("clear", palette.loadings(MIX)))[:, at]
    for through, told in (
        (False, layer.reflectance(*mixed, thickness=thickness, backing=None, optics=optics)),
        (True, layer.transmittance(*mixed, thickness=thickness, optics=optics)),
    ):
        seen, error = slab_seen(palette, through=through, thickness=thickness, at=at)
        assert error < 0.003
        assert abs(seen - float(told)) < 3.0 * error + 0.001


def test_reference_gloss_between_two_wavelengths_is_what_is_traced_there(demo_many_flux: Palette) -> None:
    pytest.importorskip("mitsuba", reason="paths are followed by Mitsuba")
    placed = body(parts.tube(20.0, 17.0, 40.0, 48))
    card = np.array([0.7, 0.8, 0.9])
    rubber = rubber_of(demo_many_flux, MIX).at(np.arange(3))
    eye = scenes.camera(placed, pixels=(40, 30))
    on = stage(rubber, placed, scenes.surroundings("window", placed), eye, surfaces={scenes.CARD: card})
    told = next(follow(on, passes=1, paths=4, seed=0, black=True))[..., 1]
    seen = on.pictures(1, paths=4, seed=0, black=True)
    assert told == pytest.approx(seen, abs=4e-3)
    assert np.mean(told) == pytest.approx(np.mean(seen), rel=1e-3)


@pytest.mark.parametrize("scene", SCENES)
def test_every_scene_shows_the_part_and_the_same_one_for_the_same_seed(demo_many_flux: Palette, scene: str) -> None:
    pytest.importorskip("mitsuba", reason="paths are followed by Mitsuba")
    from tint.proofs.traced.picture import traced

    cup = part_of(parts.tube(20.0, 17.0, 40.0, 96), name="cup.stl")
    steps: list[tuple[int, int]] = []
    one, other = (
        traced(
            demo_many_flux, MIX, cup, setting=WALL, scene=scene, quality=Quality(64, 2, 2), seed=3,
            progress=lambda _, done, of: steps.append((done, of)),
        )
        for _ in range(2)
    )  # fmt: skip
    rows, columns, _ = one.light.shape
    assert rows >= columns  # the cup is as tall as it is wide
    assert rows * columns == pytest.approx(48 * 64, rel=0.02)
    assert np.array_equal(one.light, other.light)
    assert np.isfinite(one.light).all()
    assert one.light[rows // 2 - 4 : rows // 2 + 4, columns // 2 - 4 : columns // 2 + 4].mean() > 0.01
    assert steps[-1][0] == steps[-1][1]


def test_a_sheet_holds_the_traced_part_beside_the_flat_layers(demo_many_flux: Palette) -> None:
    pytest.importorskip("jinja2", reason="pages are filled in by jinja2")
    pytest.importorskip("fpdf", reason="PDFs are drawn by fpdf2")
    pypdf = pytest.importorskip("pypdf", reason="PDFs are read by pypdf")
    few = few_wavelengths(demo_many_flux, MIX, setting=WALL, upto_mm=5.0)
    light = np.full((48, 64, 3), 0.4, dtype=np.float32)
    picture = Traced(light=light, scene="window", noise=0.004, few=few, exposure=1.0, paths=16_000_000)
    apart = Apart(whole=2.2, usual=2.7, most=6.3, noise=1.3)
    part = TracedPart(
        picture=picture, apart=apart, named="Lid from a corner", lines=("Traced so.", apart.words, SCREEN_LINE)
    )
    sheet = approval(
        demo_many_flux, MIX, setting=WALL, asked=Asked(name="Lichen", made=date(2026, 11, 29)), traced=part
    )
    page = approval_page(sheet).decode()
    assert "Lid from a corner: as a photograph would show it." in page
    assert page.count("differs from the picture made of flat layers by 2.2") == 1
    drawn = pypdf.PdfReader(io.BytesIO(approval_pdf(sheet)))
    assert len(drawn.pages) == 1
    assert "as a photograph would show it" in " ".join(drawn.pages[0].extract_text().split())


@pytest.mark.parametrize(("size", "side"), [((60.0, 40.0, 0.3), "front"), ((0.1, 40.0, 60.0), "top")])
def test_a_mat_seen_by_its_edge_is_held_against_flat_layers(
    demo_many_flux: Palette, size: tuple[float, float, float], side: str, monkeypatch: pytest.MonkeyPatch
) -> None:  # fmt: skip
    pytest.importorskip("mitsuba", reason="paths are followed by Mitsuba")
    from tint.proofs.traced import shown

    monkeypatch.setattr(shown, "_PASSES", 2)
    monkeypatch.setattr(shown, "_PATHS", 1)
    apart = shown.against_slab(demo_many_flux, MIX, part_of(parts.box(size)), setting=WALL, side=side)
    assert np.isfinite([apart.whole, apart.usual, apart.most, apart.noise]).all()


# From the library and from an order.


def tube_in(folder: Path) -> Path:
    path = folder / "tube.stl"
    made = trimesh.triangles.to_kwargs(parts.tube(20.0, 17.0, 40.0, 96))  # type: ignore[no-untyped-call]
    trimesh.Trimesh(**made).export(path)
    return path


@pytest.fixture
def quickly(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(QUALITIES, "preview", Quality(64, 2, 2))
    monkeypatch.setattr("tint.proofs.traced.shown._PATHS", 2)
    monkeypatch.setattr("tint.proofs.part_picture.PIXELS", 240)


def shown_of(picture: bytes) -> Array:
    with Image.open(io.BytesIO(picture)) as image:
        return np.asarray(image.convert("RGB"), dtype=float)


def test_the_library_shows_a_part_and_traces_it(demo_many_flux: Palette, tmp_path: Path, quickly: None) -> None:
    pytest.importorskip("mitsuba", reason="paths are followed by Mitsuba")
    steps: list[tuple[int, int]] = []
    traced = tint.proof(
        demo_many_flux, MIX, setting=WALL, part=tube_in(tmp_path), trace="inside", seed=3,
        progress=lambda _, done, of: steps.append((done, of)),
    )  # fmt: skip
    flat = tint.proof(demo_many_flux, MIX, setting=WALL, part=tmp_path / "tube.stl", side="front")
    assert steps[-1][0] == steps[-1][1]
    assert shown_of(traced.png).shape[1] == shown_of(flat.png).shape[1] == 1600
    again = tint.proof(demo_many_flux, MIX, setting=WALL, part=tmp_path / "tube.stl", trace="inside", seed=3)
    assert again.png == traced.png


def test_the_library_tells_what_a_trace_lacks(
    demo_many_flux: Palette, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:  # fmt: skip
    with pytest.raises(InputError, match=r"trace: there is no part to apply it to; name one"):
        tint.proof(demo_many_flux, MIX, setting=WALL, trace="window")
    monkeypatch.setitem(sys.modules, "mitsuba", None)
    with pytest.raises(InputError, match=r"needs Mitsuba; run `pip install 'tint\[trace\]'`"):
        tint.proof(demo_many_flux, MIX, setting=WALL, part=tube_in(tmp_path), trace="window")


ORDER = """format = 1
lab = [70, -12, 8]
opacity = "any"
tolerance = 6
walls_mm = [3]
part = "tube.stl"
base = "clear"

[limits]
most_pigments = 2
leave_out = ["yellow", "red", "rose", "black"]
"""


def ordered(folder: Path, more: str = "") -> Path:
    (folder / "orders").mkdir(exist_ok=True)
    tube_in(folder / "orders")
    path = folder / "orders" / "tube.toml"
    path.write_text(ORDER.replace("part =", f"{more}part ="), encoding="utf-8")
    return path


def test_an_order_is_told_before_anything_is_made_that_there_is_nothing_to_trace_with(
    many_demo: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:  # fmt: skip
    path = ordered(shutil.copytree(many_demo, tmp_path / "own"), 'traced = "inside"\n')
    monkeypatch.setitem(sys.modules, "mitsuba", None)
    with pytest.raises(InputError, match=r"tube\.toml.* needs Mitsuba; run"):
        run_order(path)
    assert not path.with_suffix("").exists()


def test_an_order_traces_its_part_for_its_sheets(many_demo: Path, tmp_path: Path, quickly: None) -> None:
    pytest.importorskip("mitsuba", reason="paths are followed by Mitsuba")
    folder = shutil.copytree(many_demo, tmp_path / "own")
    run_order(ordered(folder))
    path = ordered(folder, 'traced = "inside"\n')
    steps: list[tuple[str, int, int]] = []
    done = run_order(path, progress=lambda words, at, of: steps.append((words, at, of)))
    assert ("Making approval.html", 0, 0) in steps
    followed = [(at, of) for words, at, of in steps if words.startswith(("Following", "Holding"))]
    assert followed[0][0] == 1
    assert followed[-1][0] == followed[-1][1]
    assert not done.solved
    assert {each.name for each in done.made.written} == {"traced.png", "approval.html", "approval.pdf"}
    assert "as a photograph would show it" in (done.order.made_path / "approval.html").read_text("utf-8")
    assert not run_order(path).made.written


def test_a_proof_of_an_order_is_traced_unless_another_picture_is_asked_for(many_demo: Path, tmp_path: Path) -> None:
    path = ordered(shutil.copytree(many_demo, tmp_path / "own"), 'traced = "inside"\n')
    path.with_suffix(".recipe.json").write_text("{}", encoding="utf-8")
    proof = main.get_command(click.Context(main), "proof")
    assert proof is not None
    assert "--trace=inside" in expanded(proof, [str(path), "--out", "a.png"])
    assert "--trace=inside" in expanded(proof, [str(path), "--out", "a.png", "--show", "card", "--pdf", "a.pdf"])
    assert "--trace=inside" not in expanded(proof, [str(path), "--out", "a.png", "--show", "card"])
    assert "--trace=inside" not in expanded(proof, [str(path), "--out", "a.png", "--trace", "window"])
    for several in (["--pick", "1,2"], ["--pick=all"]):  # a comparison shows no part
        told = expanded(proof, [str(path), "--out", "a.png", "--recipe", "more.json", *several])
        assert [word for word in told if word.startswith(("--part", "--trace"))] == []
    one = expanded(proof, [str(path), "--out", "a.png", "--recipe", "more.json", "--pick", "2"])
    assert "--trace=inside" in one


def test_a_trace_that_no_picture_shows_is_refused(tmp_path: Path) -> None:
    arguments = [
        "--part",
        str(tube_in(tmp_path)),
        "--trace",
        "window",
        "--show",
        "card",
        "--out",
        str(tmp_path / "a.png"),
    ]
    told = CliRunner().invoke(main, ["proof", str(tmp_path), *arguments])
    assert told.exit_code == 2
    assert "--trace: not shown on the picture `card`; expected --show part or --sheet" in told.output
