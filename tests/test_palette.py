"""The fitted palette: the mixing law, what it refuses, and its file."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import fields, replace
from pathlib import Path
from typing import TypeVar

import msgspec
import numpy as np
import pytest
import synthetic
from hypothesis import given, settings
from hypothesis import strategies as st
from synthetic import fit_two_flux

from tint import forward
from tint.appearance import Setting, predict
from tint.errors import InputError
from tint.files import Array, arrays_from_bytes, arrays_to_bytes
from tint.materials import Blend
from tint.palette import Palette, fit_path, read_palette, shares, write_palette


@pytest.fixture(scope="module")
def palette() -> Palette:
    return fit_two_flux(synthetic.studio(seed=3))


LOADING = st.floats(0.0, 30.0)


@given(st.integers(0, 1), st.lists(LOADING, min_size=3, max_size=3))
@settings(deadline=None)
def test_property_loadings_and_the_base_s_share_make_a_whole(base: int, loadings: list[float]) -> None:
    share = shares(base, 2, np.array(loadings))
    assert share[base] * 100.0 + sum(loadings) == pytest.approx(100.0, abs=1e-12)
    assert share[1 - base] == 0.0
    assert np.array_equal(share[2:], loadings)


def test_shares_keep_leading_axes() -> None:
    assert shares(0, 2, np.zeros((7, 4, 3))).shape == (7, 4, 5)


def test_the_mixing_law_adds_what_each_component_adds(palette: Palette) -> None:
    # K = (1 - 0.6 / 100) k_milky + 0.5 k_white + 0.1 k_blue, and S and M likewise.
    share = palette.shares("milky", palette.loadings(Blend("milky", {"blue": 0.1, "white": 0.5})))
    for mixed, each in zip(forward.mix(palette.coefficients, share), palette.coefficients, strict=True):
        assert np.allclose(mixed, 0.994 * each[1] + 0.5 * each[2] + 0.1 * each[4], rtol=1e-14, atol=0.0)


def test_coefficients_are_k_s_and_all_scattering(palette: Palette) -> None:
    k, s, m, q = palette.coefficients
    assert np.allclose(q, m * palette.second_moment, rtol=1e-12)
    assert np.array_equal(k, palette.k)
    assert np.array_equal(s, palette.s)
    assert np.all(m >= s)
    scatters = s > 0.0
    assert np.allclose(forward.anisotropy(palette.coefficients)[scatters], palette.g[scatters], rtol=0.0, atol=1e-12)


def test_a_percent_of_pigment_adds_itself_less_the_base_that_it_displaces(palette: Palette) -> None:
    one = palette.shares("milky", np.array([0.5, 0.0, 0.1]))
    other = palette.shares("milky", np.array([0.5, 1.0, 0.1]))
    step = forward.mix(palette.coefficients, other) - forward.mix(palette.coefficients, one)
    assert np.allclose(palette.gains("milky")[:, 1], step, rtol=1e-12, atol=1e-14)


def test_what_is_fitted_of_the_faces_reaches_the_optics(palette: Palette) -> None:
    other = replace(palette, index=np.array([1.404, 1.437]))
    assert (other.optics("clear").refractive_index, other.optics("milky").refractive_index) == (1.404, 1.437)


def test_a_blend_and_its_vector_are_one(palette: Palette) -> None:
    blend = Blend("clear", {"blue": 0.2, "white": 0.5})
    vector = palette.loadings(blend)
    assert vector.tolist() == [0.5, 0.0, 0.2]
    assert palette.blend("clear", vector) == Blend("clear", {"white": 0.5, "blue": 0.2})
    assert palette.blend("milky", np.zeros(3)) == Blend("milky", {})


@pytest.mark.parametrize(
    ("blend", "words"),
    [
        (Blend("rubber", {}), r"base: `rubber` is not in the palette; expected one of clear, milky"),
        (Blend("clear", {"pink": 0.1}), r"blend: pigment `pink` is not in the palette; expected one of white, yellow"),
        (Blend("clear", {"blue": -0.1}), r"blend: -0.1 % of blue; expected a loading from 0 to 100 %"),
        (Blend("clear", {"blue": 101.0}), r"blend: 101 % of blue; expected a loading from 0 to 100 %"),
        (Blend("clear", {"blue": 60.0, "white": 50.0}), r"blend: the loadings sum to 110 %; expected at most 100 %"),
    ],
)
def test_a_blend_that_cannot_be_is_told(palette: Palette, blend: Blend, words: str) -> None:
    with pytest.raises(InputError, match=words):
        palette.loadings(blend)


def test_a_base_that_was_never_cast_is_refused() -> None:
    palette = fit_two_flux(synthetic.studio([cast for cast in synthetic.CASTS if cast.base == "clear"]))
    with pytest.raises(InputError, match="base: no swatch of `milky` was ever cast; cast it uncoloured"):
        palette.loadings(Blend("milky", {}))


def test_backings_by_name_and_by_lightness(palette: Palette) -> None:
    assert (palette.black, palette.white) == ("black", "white")
    turned = replace(palette, backings=turned_round(palette.backings))
    assert (turned.black, turned.white) == ("black", "white")
    assert palette.backing("none") is None
    assert np.array_equal(palette.backings["white"], palette.backing("white"))  # type: ignore[arg-type]
    with pytest.raises(InputError, match="backing: `grey` is not in the palette; expected one of black, white, none"):
        palette.backing("grey")


def test_the_optics_are_those_of_the_base(palette: Palette) -> None:
    assert palette.optics("clear").refractive_index == 1.41
    assert palette.optics("milky").refractive_index == 1.43
    assert palette.optics("milky").geometry == "di:8"
    assert palette.optics("milky", geometry="45:0").geometry == "45:0"


T = TypeVar("T")


def turned_round(mapping: Mapping[str, T]) -> dict[str, T]:
    return dict(reversed(list(mapping.items())))


def test_the_order_of_everything_in_the_folder_does_not_matter(palette: Palette) -> None:
    folder = synthetic.studio(seed=3)
    turned = fit_two_flux(
        replace(
            folder,
            bases=turned_round(folder.bases),
            pigments=turned_round(folder.pigments),
            backings=turned_round(folder.backings),
            swatches=folder.swatches[::-1],
            readings=folder.readings[::-1],
        )
    )
    setting = Setting(thickness_mm=2.0)
    for blend in (Blend("clear", {"white": 0.3, "yellow": 0.1, "blue": 0.02}), Blend("milky", {"yellow": 0.2})):
        one, other = predict(palette, blend, setting=setting), predict(turned, blend, setting=setting)
        assert np.allclose(one.reflectance, other.reflectance, rtol=0.0, atol=1e-9)
        assert one.expected_error == pytest.approx(other.expected_error, abs=1e-6)
        assert one.warnings == other.warnings


def test_a_palette_lies_in_its_folder_under_its_model() -> None:
    assert fit_path("studio", "two-flux") == Path("studio/palette.two-flux.fit")


def same(one: object, other: object) -> bool:
    if isinstance(one, np.ndarray):
        assert isinstance(other, np.ndarray)
        return one.dtype == other.dtype and np.array_equal(one, other)
    if isinstance(one, dict):
        assert isinstance(other, dict)
        return list(one) == list(other) and all(same(one[key], other[key]) for key in one)
    return one == other


def test_a_palette_comes_back_as_it_was(palette: Palette, tmp_path: Path) -> None:
    path = fit_path(tmp_path, "two-flux")
    write_palette(palette, path)
    again = read_palette(path, digest=palette.digest)
    own = [field.name for field in fields(Palette) if field.name != "evidence"]
    assert [name for name in own if not same(getattr(palette, name), getattr(again, name))] == []
    for field in fields(palette.evidence):
        assert same(getattr(palette.evidence, field.name), getattr(again.evidence, field.name)), field.name
    blend, setting = Blend("milky", {"blue": 0.05}), Setting(thickness_mm=2.5)
    one, other = predict(palette, blend, setting=setting), predict(again, blend, setting=setting)
    assert np.array_equal(one.reflectance, other.reflectance)
    assert (one.expected_error, one.warnings) == (other.expected_error, other.warnings)


@pytest.mark.parametrize("backings", [("white",), ("none",)])
def test_a_palette_of_one_backing_or_none_comes_back(backings: tuple[str, ...], tmp_path: Path) -> None:
    palette = fit_two_flux(synthetic.studio(backings=backings, transmit=True))
    write_palette(palette, tmp_path / "a.fit")
    assert same(read_palette(tmp_path / "a.fit").backings, palette.backings)


def test_a_palette_of_other_swatches_is_refused(palette: Palette, tmp_path: Path) -> None:
    path = tmp_path / "palette.two-flux.fit"
    write_palette(palette, path)
    with pytest.raises(InputError, match=r"was fitted to other swatches than now stand in .*; run `tint fit .*`"):
        read_palette(path, digest="1" * 64)


def test_a_palette_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"palette.two-flux.fit: there is no fitted palette yet; run `tint fit .*`"):
        read_palette(fit_path(tmp_path, "two-flux"))
    with pytest.raises(InputError, match=r"cannot be read \("):
        read_palette(tmp_path)


def cut(data: bytes) -> bytes:
    return data[: len(data) // 2]


def empty(_: bytes) -> bytes:
    return b""


def rubbish(_: bytes) -> bytes:
    return b"PK\x03\x04 and then nothing of the kind"


def flipped(data: bytes) -> bytes:
    at = data.index(b"local.npy") + 2000
    return data[:at] + bytes([data[at] ^ 1]) + data[at + 1 :]


def headless(data: bytes) -> bytes:
    arrays = arrays_from_bytes(data)
    del arrays["header"]
    return arrays_to_bytes(arrays)


def mangled(data: bytes) -> bytes:
    arrays = arrays_from_bytes(data)
    header = msgspec.json.decode(arrays["header"].tobytes())
    del header["bases"]
    arrays["header"] = np.frombuffer(msgspec.json.encode(header), dtype=np.uint8)
    return arrays_to_bytes(arrays)


def of_another_format(data: bytes) -> bytes:
    arrays = arrays_from_bytes(data)
    header = msgspec.json.decode(arrays["header"].tobytes())
    header["format"] = 99
    arrays["header"] = np.frombuffer(msgspec.json.encode(header), dtype=np.uint8)
    return arrays_to_bytes(arrays)


def without_evidence(data: bytes) -> bytes:
    arrays = arrays_from_bytes(data)
    del arrays["evidence read"]
    return arrays_to_bytes(arrays)


def with_array(name: str, change: Callable[[Array], Array]) -> Callable[[bytes], bytes]:
    """Harm of one array alone, as whoever writes such a file by hand may do it."""

    def harm(data: bytes) -> bytes:
        arrays = arrays_from_bytes(data)
        return arrays_to_bytes(arrays | {name: change(arrays[name])})

    return harm


ALTERED = [
    with_array("k", lambda k: k * np.nan),
    with_array("s", lambda s: s[:, :-1]),
    with_array("g", lambda g: g.astype(complex)),
    with_array("index", lambda index: index[:0]),
    with_array("modes", lambda modes: modes.swapaxes(0, 1)),
    with_array("evidence read", lambda read: read.astype(np.float32)),
    with_array("evidence swatch", lambda swatch: swatch[:-1]),
    with_array("evidence swatch", lambda swatch: -swatch),
    with_array("evidence backing", lambda backing: backing + 9),
    with_array("s", lambda s: -s),
    with_array("k", lambda k: k + 1e300),
    with_array("g", np.ones_like),
    with_array("index", lambda index: 0.0 * index),
    with_array("local", lambda local: -local),
    with_array("local", lambda local: local + 1e3 * (1.0 - np.eye(local.shape[1]))),
    with_array("wavelengths", lambda nm: nm[::-1]),
]


@pytest.mark.parametrize("harm", ALTERED)
def test_arrays_of_other_shapes_or_kinds_or_not_finite_are_told(
    palette: Palette, tmp_path: Path, harm: Callable[[bytes], bytes]
) -> None:
    path = tmp_path / "palette.two-flux.fit"
    write_palette(palette, path)
    path.write_bytes(harm(path.read_bytes()))
    with pytest.raises(InputError, match=r"is broken or of another version; run `tint fit .*`"):
        read_palette(path)


@pytest.mark.parametrize("harm", [cut, empty, rubbish, flipped, headless, mangled, of_another_format, without_evidence])
def test_a_broken_palette_is_told(palette: Palette, tmp_path: Path, harm: Callable[[bytes], bytes]) -> None:
    path = tmp_path / "palette.two-flux.fit"
    write_palette(palette, path)
    path.write_bytes(harm(path.read_bytes()))
    with pytest.raises(InputError, match=r"is broken or of another version; run `tint fit .*`"):
        read_palette(path)


def test_a_palette_that_cannot_be_written_leaves_nothing(palette: Palette, tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be written"):
        write_palette(palette, tmp_path / "nowhere" / "a.fit")
    assert not list(tmp_path.iterdir())


def test_a_palette_with_a_casting_read_in_transmittance_alone_comes_back(palette: Palette, tmp_path: Path) -> None:
    unseen = replace(palette, swatches=(replace(palette.swatches[0], delta_e=np.nan), *palette.swatches[1:]))
    write_palette(unseen, tmp_path / "a.fit")
    again = read_palette(tmp_path / "a.fit").swatches
    assert np.isnan(again[0].delta_e)
    assert again[1:] == palette.swatches[1:]
