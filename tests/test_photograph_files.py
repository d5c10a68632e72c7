"""What goes into `tint photograph` and comes out: pictures, tables, the command; what is broken is told in a line."""

from __future__ import annotations

import io
import json
import struct
import sys
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms

ROOT = Path(__file__).resolve().parents[1]
sys.path.insert(0, str(ROOT / "swatches_demo"))

import camera  # noqa: E402
import pour  # noqa: E402
import shoot  # noqa: E402
from photograph_example import CASTINGS, DEMO, REFERENCE, SHOT, WHITE, told_of  # noqa: E402

from tint import colorimetry  # noqa: E402
from tint.cli import main  # noqa: E402
from tint.errors import InputError, TintError  # noqa: E402
from tint.photographs import (  # noqa: E402
    Picture,
    Spot,
    chart_reference,
    find_arrangement,
    read_picture,
)
from tint.photographs.tables import COLUMNS, colours_csv, read_chart, read_spots  # noqa: E402

# Files.


def picture_bytes(mode: str = "RGB", size: tuple[int, int] = (120, 90), form: str = "PNG", **more: Any) -> bytes:
    held = io.BytesIO()
    Image.new(mode, size).save(held, format=form, **more)
    return held.getvalue()


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "empty"),
        (b"x,y\n1,2\n", "no PNG, TIFF or JPEG"),
        (picture_bytes()[:-40], "broken"),
        (picture_bytes(form="GIF"), "no PNG, TIFF or JPEG"),
        (picture_bytes(mode="L"), "not red, green and blue"),
        (picture_bytes(size=(300, 40)), "at least 80"),
    ],
    ids=["empty", "text", "cut off", "another format", "grey", "small"],
)
def test_pictures_that_cannot_be_read(data: bytes, told: str, tmp_path: Path) -> None:
    path = tmp_path / "p.png"
    path.write_bytes(data)
    with pytest.raises(InputError, match=told):
        read_picture(path)


def test_a_picture_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"none\.png"):
        read_picture(tmp_path / "none.png")


def test_too_many_pixels_are_refused_before_they_are_read(tmp_path: Path) -> None:
    whole = bytearray(picture_bytes())
    whole[16:24] = struct.pack(">II", 40_000, 40_000)
    whole[29:33] = struct.pack(">I", zlib.crc32(bytes(whole[12:29])))  # the header is whole, and a lie
    (tmp_path / "p.png").write_bytes(bytes(whole))
    with pytest.raises(InputError, match="at most 160 million"):
        read_picture(tmp_path / "p.png")


@settings(deadline=None)
@given(st.data())
def test_property_broken_pictures_give_a_line_or_a_picture(data: st.DataObject) -> None:
    whole = bytearray(picture_bytes(form=data.draw(st.sampled_from(["PNG", "TIFF", "JPEG"]))))
    for _ in range(data.draw(st.integers(1, 8))):
        whole[data.draw(st.integers(0, len(whole) - 1))] = data.draw(st.integers(0, 255))
    path = Path(str(BROKEN))
    path.write_bytes(bytes(whole[: data.draw(st.integers(1, len(whole)))]))
    told = ""
    try:
        shape = read_picture(path).pixels.shape
    except InputError as error:
        shape, told = (0, 0, 3), str(error)
    assert shape[-1] == 3
    assert "\n" not in told


@pytest.fixture(autouse=True, scope="module")
def _broken_place(tmp_path_factory: pytest.TempPathFactory) -> None:
    global BROKEN
    BROKEN = tmp_path_factory.mktemp("broken") / "p"


BROKEN = Path()


def test_what_the_camera_noted_is_heeded_and_told(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[0x0112] = 6  # the top of the picture lies to the right
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("XYZ")).tobytes()
    (tmp_path / "p.jpg").write_bytes(picture_bytes(form="JPEG", exif=exif, icc_profile=profile))
    picture = read_picture(tmp_path / "p.jpg")
    assert (picture.width, picture.height) == (90, 120)
    assert any("turned upright" in note for note in picture.notes)
    assert any("not sRGB" in note for note in picture.notes)


def test_sixteen_bits_are_read_and_told(tmp_path: Path) -> None:
    row = b"\0" + struct.pack(">3H", 65535, 32768, 300) * 100

    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", 100, 100, 16, 2, 0, 0, 0))
    (tmp_path / "p.png").write_bytes(
        b"\x89PNG\r\n\x1a\n" + head + chunk(b"IDAT", zlib.compress(row * 100)) + chunk(b"IEND", b"")
    )
    picture = read_picture(tmp_path / "p.png")
    assert picture.pixels[50, 50].tolist() in ([255, 128, 1], [255, 127, 1])
    assert any("16 bits" in note for note in picture.notes)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("name,x\na,1\n", "no column y"),
        ("name,x,y\n", "no spot"),
        ("name,x,y\na,1,b\n", "row 2, column y"),
        ("name,x,y\n,1,2\n", "row 2, column name"),
        ("name,seat,x,y\na,dry,1,2\n", "no seat"),
        ("name,x,y,sise\na,1,2,3\n", "did you mean size"),
    ],
)
def test_tables_of_spots_with_faults(text: str, told: str, tmp_path: Path) -> None:
    (tmp_path / "spots.csv").write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=told):
        read_spots(tmp_path / "spots.csv")


def test_a_table_of_spots(tmp_path: Path) -> None:
    (tmp_path / "spots.csv").write_text("name;backing;x;y;size\nlid;black;10,5;20;8\nwhite;;1;2;\n", encoding="utf-8")
    lid, white = read_spots(tmp_path / "spots.csv")
    assert lid == Spot(name="lid", backing="black", x=10.5, y=20.0, size=8.0)
    assert white == Spot(name="white", x=1.0, y=2.0)


def chart_table(patches: list[str], head: str, rows: list[str]) -> str:
    return "\n".join([f"patch,{head}", *(f"{patch},{row}" for patch, row in zip(patches, rows, strict=True)), ""])


def test_a_chart_of_ones_own(tmp_path: Path) -> None:
    waves, spectra = colorimetry.chart_spectra()
    numbers, path = [str(at) for at in range(24, 0, -1)], tmp_path / "chart.csv"
    rows = [",".join(f"{value:.5f}" for value in spectrum) for spectrum in spectra[::-1]]
    path.write_text(chart_table(numbers, ",".join(f"{w:g}" for w in waves), rows), encoding="utf-8")
    lab, white = read_chart(path, light="D50", observer=2)
    expected, light = chart_reference("D50", 2)
    np.testing.assert_allclose(lab, expected, atol=2e-3)
    np.testing.assert_allclose(white, light, atol=0.02)
    colours = [f"D50,2,{row[0]:.3f},{row[1]:.3f},{row[2]:.3f}" for row in expected]
    path.write_text(chart_table(list(colorimetry.PATCHES), "light,observer,L,a,b", colours), encoding="utf-8")
    np.testing.assert_allclose(read_chart(path, light="D50", observer=2)[0], expected, atol=1e-3)
    with pytest.raises(InputError, match="row 2, column light: 'D50' is not D65"):
        read_chart(path, light="D65", observer=2)
    path.write_text(chart_table(list(colorimetry.PATCHES[:23]), "light,observer,L,a,b", colours[:23]), encoding="utf-8")
    with pytest.raises(InputError, match="D6 is missing"):
        read_chart(path, light="D50", observer=2)


def test_patches_of_a_chart_go_by_place_or_number_and_stand_once(tmp_path: Path) -> None:
    expected, _ = chart_reference("D50", 2)
    colours = [f"D50,2,{row[0]:.3f},{row[1]:.3f},{row[2]:.3f}" for row in expected]
    numbers = [str(at + 1) for at in range(24)]
    (tmp_path / "chart.csv").write_text(chart_table(numbers, "light,observer,L,a,b", colours), encoding="utf-8")
    np.testing.assert_allclose(read_chart(tmp_path / "chart.csv", light="D50", observer=2)[0], expected, atol=1e-3)
    twice = [*numbers[:23], "a1"]
    (tmp_path / "chart.csv").write_text(chart_table(twice, "light,observer,L,a,b", colours), encoding="utf-8")
    with pytest.raises(InputError, match="row 25, column patch: patch A1 stands twice"):
        read_chart(tmp_path / "chart.csv", light="D50", observer=2)


def test_the_table_of_colours_is_what_import_takes() -> None:
    lines = colours_csv(told_of(SHOT)).decode().splitlines()
    assert lines[0] == "name,backing,seat,light,observer,source,L,a,b" == ",".join(COLUMNS)
    assert lines[1].startswith("s0,black,,D65,10,photograph,")
    assert len(lines) == 1 + 2 * len(CASTINGS) + 1  # the ten places of the white card are one reading


# The demo and the command.

CORNERS = ["--corners", "319,61", "526,59", "535,186", "326,190"]
ASKED = ["photograph", str(DEMO / "photograph.jpg"), "--spots", str(DEMO / "spots.csv")]


def test_the_demo_photograph_is_what_shoot_takes(tmp_path: Path) -> None:
    taken = shoot.shoot()
    with Image.open(DEMO / "photograph.jpg") as kept:
        away = np.abs(np.asarray(kept.convert("RGB"), dtype=float) - taken.pixels)
    assert away.mean() < 0.5
    assert (DEMO / "photograph.jpg").stat().st_size < 150_000
    expected = ["name,backing,seat,x,y", *(",".join(map(str, row)) for row in shoot.rows(taken))]
    assert (DEMO / "spots.csv").read_text("utf-8").splitlines() == expected


def run(*arguments: object) -> Any:
    return CliRunner().invoke(main, [str(each) for each in arguments])


def test_the_command_writes_colours_and_a_look(tmp_path: Path) -> None:
    out, look = tmp_path / "colours.csv", tmp_path / "look.png"
    done = run(*ASKED, *CORNERS, "--out", out, "--look", look)
    assert done.exit_code == 0, done.stderr
    assert "from a photograph" in done.stdout
    assert "no observer" in done.stdout
    assert out.read_text("utf-8").startswith(",".join(COLUMNS) + "\n")
    with Image.open(look) as drawn, Image.open(DEMO / "photograph.jpg") as seen:
        assert drawn.width > seen.width
        assert drawn.getpixel((1, 1)) == pytest.approx(seen.getpixel((1, 1)), abs=1)
    again = run(*ASKED, *CORNERS, "--out", out)
    assert again.exit_code == 2
    assert "is there already" in again.stderr
    assert run(*ASKED, *CORNERS, "--out", out, "--replace").exit_code == 0


def test_the_command_as_json_and_near_the_truth() -> None:
    told = json.loads(run(*ASKED, *CORNERS, "--json").stdout)
    assert told["source"] == "photograph"
    assert (told["light"], told["observer"]) == ("D65", 10)
    assert set(told["chart"]) == {"missed_mean", "missed_95", "missed_most", "degree", "left_out"}
    lid = next(each for each in told["spots"] if each["name"] == "celadon-lid" and each["backing"] == "white")
    order = next(order for order in pour.plan() if order.name == "celadon-lid")
    true = camera.true_lab(pour.cast(order.base, order.loadings, order.mould_mm).white)
    assert colorimetry.difference(true, np.array(lid["lab"])) < lid["expected_error"] < 4.0


@pytest.mark.parametrize(
    ("more", "told"),
    [
        ([], "--corners: not given"),
        ([*CORNERS, "--find"], "together with --find"),
        (["--corners", "1,2", "3,4", "5,6", "7"], "`7`"),
        ([*CORNERS, "--at", "lid=1"], "NAME"),
        ([*CORNERS, "--at", "lid/black/dry=1,2"], "no seat"),
        ([*CORNERS, "--out", "colours.txt"], "ends in .csv"),
        ([*CORNERS, "--look", "look.jpg"], "ends in .png"),
        ([*CORNERS, "--light", "sun"], "`sun` is not known"),
        ([*CORNERS, "--chart", "none.csv"], "none.csv"),
    ],
)
def test_the_command_tells_what_is_wrong_in_a_line(more: list[str], told: str) -> None:
    done = run(*ASKED, *more)
    assert done.exit_code == 2
    assert told in done.stderr
    assert done.stderr.count("\n") == 1


def test_the_command_needs_a_spot() -> None:
    done = run("photograph", DEMO / "photograph.jpg", *CORNERS)
    assert done.exit_code == 2
    assert "no spot is named" in done.stderr


def test_finding_without_its_package_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("colour_checker_detection", "colour_checker_detection.detection"):
        monkeypatch.setitem(sys.modules, name, None)
    done = run(*ASKED, "--find")
    assert done.exit_code == 2
    assert "pip install 'tint[photo]'" in done.stderr
    assert done.stderr.count("\n") == 1


def needs_detection() -> None:
    """It draws on a library that needs others of the system; where those are not, it cannot be loaded."""
    pytest.importorskip("colour_checker_detection", exc_type=ImportError)


@pytest.mark.parametrize("turns", [0, 1])
def test_a_chart_is_found(turns: int) -> None:
    needs_detection()
    from tint.photographs.places import find_corners

    picture = Picture(np.ascontiguousarray(np.rot90(read_picture(DEMO / "photograph.jpg").pixels, turns)), "test")
    found = [find_arrangement(picture, each, reference=REFERENCE, white=WHITE) for each in find_corners(picture)]
    assert min(plain for _, plain in found) < 6.0


def test_no_chart_is_found_where_none_is() -> None:
    needs_detection()
    from tint.photographs.places import find_corners

    with pytest.raises(TintError, match="no 24-patch chart was found"):
        find_corners(Picture(np.full((300, 400, 3), 128, dtype=np.uint8), "test"))
