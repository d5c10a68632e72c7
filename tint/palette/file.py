"""A fitted palette as a file: written whole or not at all, refused when broken, old, or fitted to other swatches."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path

import msgspec
import numpy as np
from numpy.typing import NDArray

from tint.errors import InputError
from tint.files import arrays_from_bytes, arrays_to_bytes, write_whole
from tint.materials import Base, Instrument, Pigment
from tint.palette.evidence import Evidence, Seen, Surprise, SwatchFit
from tint.palette.palette import Palette

Array = NDArray[np.float64]

FORMAT = 7  # of the file; raise it with any change to what is written

BROKEN = "is broken or of another version"  # what is found of a file that no palette can be made of


class _Header(msgspec.Struct, kw_only=True):
    """What of a palette is not an array, as JSON."""

    format: int
    name: str
    read_as: str
    instrument: Instrument
    bases: dict[str, Base]
    pigments: dict[str, Pigment]
    backings: list[str]
    model: str
    spot_share: float
    model_error: float
    surprises: dict[str, Surprise]
    seen: dict[str, Seen]
    swatches: tuple[SwatchFit, ...]
    undetermined: tuple[str, ...]
    digest: str


_PLAIN = tuple(name for name in _Header.__struct_fields__ if name not in ("format", "backings"))
_EVIDENCE = tuple(each.name for each in fields(Evidence))

_MOST = 1e9  # beyond any coefficient, and a square of it is still a number
_BETWEEN = {
    "wavelengths": (1.0, 1e5), "k": (0.0, _MOST), "s": (0.0, _MOST), "g": (0.0, 1.0 - 1e-6), "g_error": (0.0, _MOST),
    "second_moment": (-1.0, 1.0), "index": (1.0, 4.0), "index_error": (0.0, _MOST), "modes": (-_MOST, _MOST),
    "local": (-_MOST, _MOST), "backings": (-1.0, 10.0),
}  # fmt: skip
_ARRAYS = tuple(name for name in _BETWEEN if name != "backings")


def fit_path(folder: str | Path, model: str) -> Path:
    """Where `tint fit` keeps the palette of a folder under a layer model."""
    return Path(folder) / f"palette.{model}.fit"


def write_palette(palette: Palette, path: str | Path) -> None:
    """Write a palette whole or not at all: an .npz of its arrays, with the rest as JSON inside it."""
    plain = {name: getattr(palette, name) for name in _PLAIN}
    header = _Header(format=FORMAT, backings=list(palette.backings), **plain)
    arrays = {name: getattr(palette, name) for name in _ARRAYS}
    arrays |= {f"evidence {name}": getattr(palette.evidence, name) for name in _EVIDENCE}
    arrays["backings"] = np.stack(list(palette.backings.values())) if palette.backings else np.zeros((0, 0))
    arrays["header"] = np.frombuffer(msgspec.json.encode(header), dtype=np.uint8)
    write_whole(path, arrays_to_bytes(arrays))


def read_palette(path: str | Path, *, digest: str | None = None) -> Palette:
    """Read what `write_palette` wrote.

    Parameters
    ----------
    digest : str, optional
        Of the swatch folder as it stands; a palette fitted to other swatches is refused.

    Raises
    ------
    InputError
        If the file is missing, broken, of another format, or fitted to other swatches.
    """
    path = Path(path)
    again = f"run `tint fit {path.parent}`"
    try:
        palette = _decode(arrays_from_bytes(path.read_bytes()))
    except FileNotFoundError:
        raise InputError(str(path), "there is no fitted palette yet", mend=again) from None
    except OSError as error:
        raise InputError(str(path), f"cannot be read ({error.strerror})") from error
    except (ValueError, KeyError, TypeError, msgspec.MsgspecError) as error:
        raise InputError(str(path), BROKEN, mend=again) from error
    if digest is not None and palette.digest != digest:
        raise InputError(str(path), "was fitted to other swatches than now stand in the folder", mend=again)
    return palette


def _decode(arrays: dict[str, Array]) -> Palette:
    told = msgspec.json.decode(arrays["header"].tobytes())
    for swatch in told["swatches"]:  # JSON knows no NaN: what was read in transmittance alone has no CIEDE2000
        swatch["delta_e"] = np.nan if swatch["delta_e"] is None else swatch["delta_e"]
    header = msgspec.convert(told, _Header)
    if header.format != FORMAT:
        raise ValueError(f"format {header.format}")
    _check(arrays, header)
    evidence = Evidence(**{name: arrays[f"evidence {name}"] for name in _EVIDENCE})  # type: ignore[arg-type]
    return Palette(
        **{name: getattr(header, name) for name in _PLAIN},
        **{name: arrays[name] for name in _ARRAYS},  # type: ignore[arg-type]  # by name, each of its own type
        backings=dict(zip(header.backings, arrays["backings"], strict=True)),
        evidence=evidence,
    )


def _check(arrays: dict[str, Array], header: _Header) -> None:
    """Raise ValueError unless the arrays are of the shapes and kinds of a palette, and hold what one can hold."""
    w, n_bases, n_backings = arrays["wavelengths"].size, len(header.bases), len(header.backings)
    n, modes, n_readings = n_bases + len(header.pigments), len(arrays["modes"]), len(arrays["evidence swatch"])
    one, each = (n_readings,), (n_readings, w)
    shapes: dict[str, tuple[int, ...]] = {
        "wavelengths": (w,), "k": (n, w), "s": (n, w), "g": (n, w), "g_error": (n,),
        "second_moment": (n, w), "index": (n_bases,), "index_error": (n_bases,), "local": (w, 2 * n, 2 * n),
        "modes": (modes, w, 4 * n),
        "backings": (n_backings, w) if n_backings else (0, 0), "evidence swatch": one, "evidence backing": one,
        "evidence missed": one, "evidence expected": one, "evidence read": each, "evidence fitted": each,
        "evidence predicted": each,
    }  # fmt: skip
    for name, shape in shapes.items():
        array = arrays[name]
        kind = np.int64 if name in ("evidence swatch", "evidence backing") else np.float64
        if array.shape != shape or array.dtype != kind:
            raise ValueError(f"{name} of {array.shape} {array.dtype}")
        if name in _BETWEEN and not np.isfinite(array).all():
            raise ValueError(f"{name} is not finite")
        low, high = _BETWEEN.get(name, (-np.inf, np.inf))
        if array.size and kind is np.float64 and not (low <= array.min() and array.max() <= high):
            raise ValueError(f"{name} is not between {low:g} and {high:g}")
    variance = np.einsum("wpp->wp", arrays["local"])
    largest = np.sqrt(np.maximum(variance[:, :, None] * variance[:, None, :], 0.0))
    if variance.size and (variance.min() < 0.0 or np.any(np.abs(arrays["local"]) > 1.001 * largest)):
        raise ValueError("local is no covariance")
    if np.any(np.diff(arrays["wavelengths"]) <= 0.0):
        raise ValueError("wavelengths do not rise")
    behind, of = arrays["evidence backing"], arrays["evidence swatch"]
    if n_readings and not (
        of.min() >= 0 and of.max() < len(header.swatches) and behind.min() >= -3 and behind.max() < n_backings
    ):
        raise ValueError("evidence of what is not there")


# Errors that wavelengths share, held as few modes.


def compress(modes: Array, scale: Array, *, kept: float = 0.9995) -> Array:
    """Fewest modes, shape (r, ...), whose outer products sum to (nearly) those of all, measured in `scale`."""
    if not modes.any():  # no thickness or dose is in doubt
        return modes[:0]
    flat = (modes / scale).reshape(modes.shape[0], -1)
    values, vectors = np.linalg.eigh(flat @ flat.T)
    order = np.argsort(values)[::-1]
    share = np.cumsum(values[order]) / max(values.sum(), 1e-300)
    count = int(np.searchsorted(share, kept)) + 1
    turned = vectors[:, order[:count]].T @ modes.reshape(modes.shape[0], -1)
    return np.asarray(turned.reshape(count, *modes.shape[1:]))
