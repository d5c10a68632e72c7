"""Pixels as files tagged sRGB: PNG in 8 or 16 bits a channel, TIFF in 16."""

from __future__ import annotations

import io
import struct
import zlib

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tint.proofs.picture import srgb_profile
from tint.proofs.render import Levels

Deep = NDArray[np.uint16]


def png(pixels: Levels) -> bytes:
    """A PNG of 8 bits a channel, shape (height, width, 3)."""
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, format="PNG", icc_profile=srgb_profile())
    return out.getvalue()


def deep_png(pixels: Deep) -> bytes:
    """A PNG of 16 bits a channel, shape (height, width, 3) (ISO/IEC 15948; pillow writes no such colour picture)."""
    height, width, _ = pixels.shape
    rows = np.zeros((height, 1 + 6 * width), dtype=np.uint8)  # each begins with its filter: none
    rows[:, 1:] = np.ascontiguousarray(pixels, dtype=">u2").view(np.uint8).reshape(height, -1)
    profile = b"sRGB\0\0" + zlib.compress(srgb_profile())
    chunks = (
        (b"IHDR", struct.pack(">IIBBBBB", width, height, 16, 2, 0, 0, 0)),
        (b"iCCP", profile),
        (b"IDAT", zlib.compress(rows.tobytes(), 6)),
        (b"IEND", b""),
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(_chunk(*each) for each in chunks)


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def deep_tiff(pixels: Deep) -> bytes:
    """A baseline TIFF of 16 bits a channel, uncompressed, shape (height, width, 3) (TIFF 6.0; ICC.1, annex B)."""
    height, width, _ = pixels.shape
    strip, profile = np.ascontiguousarray(pixels, dtype="<u2").tobytes(), srgb_profile()
    short, long, undefined = 3, 4, 7
    count = 11
    bits_at = 8 + 2 + 12 * count + 4
    profile_at = bits_at + 6
    strip_at = profile_at + len(profile) + len(profile) % 2
    fields = (
        (256, long, 1, width),
        (257, long, 1, height),
        (258, short, 3, bits_at),  # bits a sample
        (259, short, 1, 1),  # no compression
        (262, short, 1, 2),  # RGB
        (273, long, 1, strip_at),
        (277, short, 1, 3),  # samples a pixel
        (278, long, 1, height),  # rows in the strip
        (279, long, 1, len(strip)),
        (284, short, 1, 1),  # channels interleaved
        (34675, undefined, len(profile), profile_at),  # ICC profile
    )
    head = struct.pack("<2sHIH", b"II", 42, 8, count)
    entries = b"".join(struct.pack("<HHII", *field) for field in fields)
    padded = profile + b"\0" * (len(profile) % 2)
    return head + entries + struct.pack("<I3H", 0, 16, 16, 16) + padded + strip
