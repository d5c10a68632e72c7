"""A photograph to be shown: upright, in sRGB, small, without what else its file tells; or one line on what is wrong."""

from __future__ import annotations

import contextlib
import io
import struct
import zlib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms

from tint.errors import InputError
from tint.proofs.photo import Photo, read_photo


def saved(path: Path, image: Image.Image, **how: Any) -> Path:
    image.save(path, **how)
    return path


def quarters() -> Image.Image:
    """Red, green, blue and white, 40 by 20."""
    image = Image.new("RGB", (40, 20), "white")
    for at, colour in enumerate(((255, 0, 0), (0, 255, 0), (0, 0, 255))):
        image.paste(colour, (20 * (at % 2), 10 * (at // 2), 20 * (at % 2) + 20, 10 * (at // 2) + 10))
    return image


@pytest.mark.parametrize("turned", range(1, 9))
def test_a_photograph_stands_upright(tmp_path: Path, turned: int) -> None:
    back = {  # what undoes each orientation of EXIF 2.32, table 5 (CIPA DC-008)
        2: Image.Transpose.FLIP_LEFT_RIGHT, 3: Image.Transpose.ROTATE_180, 4: Image.Transpose.FLIP_TOP_BOTTOM,
        5: Image.Transpose.TRANSPOSE, 6: Image.Transpose.ROTATE_90, 7: Image.Transpose.TRANSVERSE,
        8: Image.Transpose.ROTATE_270,
    }  # fmt: skip
    stored = quarters() if turned == 1 else quarters().transpose(back[turned])
    exif = Image.Exif()
    exif[0x0112] = turned
    photo = read_photo(saved(tmp_path / "a.png", stored, exif=exif))
    assert photo.pixels.tolist() == np.asarray(quarters()).tolist()


def test_a_photograph_fills_its_box_uncut_in_the_middle() -> None:
    wide = np.zeros((100, 300, 3), dtype=np.uint8)
    wide[:, 100:200] = 200
    filled = Photo(wide, "a").fitted(50, 50)
    assert filled.shape == (50, 50, 3)
    assert np.all(filled[:, 2:-2] >= 199)


def test_the_picture_inside_a_page_tells_neither_place_nor_camera(tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[0x010F] = "A camera"  # make
    exif.get_ifd(0x8825)[1] = "N"  # place
    photo = read_photo(saved(tmp_path / "a.jpg", quarters(), exif=exif, comment=b"secret"))
    data = photo.jpeg(1200, 800)
    with Image.open(io.BytesIO(data)) as image:
        assert not image.getexif()
        assert image.size[0] <= 40  # never made larger than it is
        assert "icc_profile" in image.info
    assert b"camera" not in data
    assert b"secret" not in data


def test_colours_of_another_profile_are_brought_to_srgb(tmp_path: Path) -> None:
    lab = Image.new("LAB", (30, 30), (128, 128, 128))
    grey = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB"))
    to = ImageCms.createProfile("sRGB")
    expected = ImageCms.profileToProfile(lab, grey, to, outputMode="RGB")
    assert expected is not None
    own = ImageCms.ImageCmsProfile(to).tobytes()
    photo = read_photo(saved(tmp_path / "a.png", expected, icc_profile=own))
    assert np.abs(photo.pixels.astype(int) - np.asarray(expected).astype(int)).max() <= 1
    broken = read_photo(saved(tmp_path / "b.png", expected, icc_profile=b"not a profile"))
    assert np.abs(broken.pixels.astype(int) - np.asarray(expected).astype(int)).max() <= 1


@pytest.mark.parametrize(
    ("mode", "colour", "shown"),
    [("L", 120, [120] * 3), ("RGBA", (255, 0, 0, 0), [255] * 3), ("P", 0, [0] * 3), ("CMYK", (0, 0, 0, 0), [255] * 3)],
)
def test_every_kind_of_picture_becomes_colours(
    tmp_path: Path, mode: str, colour: Any, shown: list[int]
) -> None:  # fmt: skip
    suffix = ".jpg" if mode == "CMYK" else ".png"
    pixels_ = read_photo(saved(tmp_path / f"a{suffix}", Image.new(mode, (40, 30), colour))).pixels
    assert pixels_.shape == (30, 40, 3)
    assert pixels_[15, 20].tolist() == shown


def test_a_large_photograph_is_kept_small(tmp_path: Path) -> None:
    photo = read_photo(saved(tmp_path / "a.jpg", Image.new("RGB", (4000, 3000), (90, 120, 80))))
    assert max(photo.pixels.shape) == 1600
    assert np.abs(photo.pixels.astype(int) - [90, 120, 80]).max() <= 3


def huge(width: int, height: int) -> bytes:
    """A PNG that claims to be of a size."""
    head = b"IHDR" + struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    whole = struct.pack(">I", 13) + head + struct.pack(">I", zlib.crc32(head))
    return b"\x89PNG\r\n\x1a\n" + whole + struct.pack(">I", 9) + b"IDAT"


@pytest.mark.parametrize(
    ("name", "data", "told"),
    [
        ("a.jpg", b"no picture", "is no picture that can be read; expected JPEG, PNG"),
        ("a.heic", b"\0\0\0\x18ftypheic", "is no picture that can be read; expected JPEG, PNG, TIFF, WEBP, BMP; save"),
        ("a.png", huge(12000, 12000), "12000 x 12000 pixels; expected at most 120 megapixels; shrink it"),
        ("a.png", huge(30000, 30000), "far too many pixels; expected at most 120 megapixels; shrink it"),
        ("a.png", huge(4, 40), "4 x 40 pixels; expected at least 16 along each side"),
        ("a.png", huge(40, 40), "is broken"),
        ("none.png", None, "cannot be read (No such file or directory); check the name"),
    ],
)
def test_what_is_no_photograph_is_told_in_one_line(tmp_path: Path, name: str, data: bytes | None, told: str) -> None:
    path = tmp_path / name
    if data is not None:
        path.write_bytes(data)
    with pytest.raises(InputError) as raised:
        read_photo(path)
    assert str(raised.value).startswith(f"{path}: {told}")
    assert "\n" not in str(raised.value)


def test_a_file_too_large_is_not_read(tmp_path: Path) -> None:
    with (tmp_path / "a.jpg").open("wb") as file:
        file.truncate(61_000_000)
    with pytest.raises(InputError, match="is larger than 60 MB; shrink it"):
        read_photo(tmp_path / "a.jpg")


@settings(deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(cut=st.integers(0, 2000), at=st.integers(0, 2000), byte=st.integers(0, 255))
def test_property_a_damaged_photograph_is_shown_or_told(tmp_path: Path, cut: int, at: int, byte: int) -> None:
    out = io.BytesIO()
    Image.effect_noise((60, 50), 60.0).convert("RGB").save(out, format="JPEG")
    data = bytearray(out.getvalue()[: cut or None])
    if data:
        data[at % len(data)] = byte
    (tmp_path / "a.jpg").write_bytes(bytes(data))
    with contextlib.suppress(InputError):
        assert read_photo(tmp_path / "a.jpg").pixels.ndim == 3
