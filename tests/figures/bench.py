"""The bench that judges tint: blends that stand in no folder, poured by physics that is not tint's.

`held_out` draws blends of the demo's pigments, one kind of opacity at a time, and computes what an instrument
would read on them; `pour_folder` pours the demo's whole plan again, with other luck or in a workshop that
errs. All of it is the physics of swatches_demo, hence iadpython; nothing of tint is imported.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
import shutil
import sys
import tempfile
import tomllib
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass
from functools import cache, partial
from itertools import islice
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

DEMO = Path(__file__).resolve().parents[2] / "swatches_demo"
sys.path.insert(0, str(DEMO))

import pour  # noqa: E402
from pour import STUDIO, Workshop  # noqa: E402
from stock import WAVELENGTHS  # noqa: E402

# Each kind's contrast ratios (D65, 10 degrees, over the demo's cards), and the shares of a pigment's largest
# loading that it is drawn from.
KINDS = {"opaque": (0.95, math.inf), "milky": (0.6, 0.95), "see-through": (0.0, 0.6)}
SHARES = {"opaque": (0.02, 0.8), "milky": (0.01, 0.5), "see-through": (0.003, 0.15)}
# Parts are seldom near black: white comes often and in plenty, black seldom and by the trace.
FAVOUR = {"white": 3.0, "black": 0.5}
PLENTY = {"white": 2.5, "black": 0.05}

EXACT = Workshop(repeatability=0, drift=0, thickness_mm=0, mould_mm=0, dose_percent=0)
LYING = Workshop(repeatability=0.002, thickness_mm=0.05, dose_percent=1.0, index_offset=0.02, back_lobe=0.05)


@dataclass(frozen=True, kw_only=True)
class Sample:
    """One blend as it was ordered and written down, and what the instrument read on it.

    Attributes
    ----------
    base, loadings
        The blend asked for [percent by mass of the mix].
    thickness
        As written down [mm].
    black, white
        Reflectance over the demo's cards, shape (wavelengths,).
    transmittance
        Of the free slab, shape (wavelengths,).
    contrast_ratio
        Y over black divided by Y over white [-].
    """

    base: str
    loadings: dict[str, float]
    thickness: float
    black: Array
    white: Array
    transmittance: Array
    contrast_ratio: float


@dataclass(frozen=True, kw_only=True)
class _Draw:
    """A candidate: a blend, a mould and the seed of its luck."""

    base: str
    loadings: dict[str, float]
    mould_mm: float
    luck: int


def held_out(
    kind: str,
    count: int = 40,
    seed: int = 1,
    *,
    workshop: Workshop = EXACT,
    seat: str = "air",
) -> list[Sample]:
    """Draw `count` blends of two to four pigments, 1 to 6 mm thick, in either base, of one kind of opacity.

    Parameters
    ----------
    kind
        "opaque" (contrast ratio above 0.95), "milky" (0.6 to 0.95) or "see-through" (below 0.6).
    seed
        The same seed gives the same blends.
    workshop
        Who pours and reads: EXACT (as ordered, no noise), STUDIO (the demo's errors), LYING, or your own.
    seat
        How the castings lie on the cards, "air" or "wet".

    Notes
    -----
    Results are kept in $TINT_BENCH_CACHE, else in the temporary folder; a change of the demo's physics, of
    its palette.toml or of this file makes them anew.
    """
    settings = {"kind": kind, "count": count, "seed": seed, "seat": seat, "workshop": asdict(workshop)}
    return _kept(settings, partial(_find, kind, count, seed, workshop=workshop, seat=seat))


def pour_folder(path: Path, *, seed: int = pour.SEED, settings: Workshop = STUDIO) -> None:
    """Pour the demo's whole plan into a new folder, with its own luck and under the given `settings`.

    palette.toml is copied as it is: a workshop that errs does not know it.
    """
    path.mkdir(parents=True, exist_ok=True)
    shutil.copy(DEMO / "palette.toml", path)
    pour.write_folder(path, seed=seed, workshop=settings)


def wavelengths() -> Array:
    """Return the wavelengths of every spectrum here [nm]."""
    return WAVELENGTHS.copy()


def _find(kind: str, count: int, seed: int, *, workshop: Workshop, seat: str) -> list[Sample]:
    low, high = KINDS[kind]
    draws = _draws(kind, np.random.default_rng([seed, list(KINDS).index(kind)]))
    samples = (_solve(draw, workshop=workshop, seat=seat) for draw in draws)
    return list(islice((sample for sample in samples if low < sample.contrast_ratio <= high), count))


def _draws(kind: str, rng: np.random.Generator) -> Iterator[_Draw]:
    """Candidates without end; the loadings keep to the limits and cures of palette.toml."""
    palette = tomllib.loads((DEMO / "palette.toml").read_text(encoding="utf-8"))
    lowest, highest = np.log(SHARES[kind])
    while True:
        base = str(rng.choice(list(palette["bases"])))
        cure, limit = palette["bases"][base]["cure"], palette["bases"][base]["max_loading"]
        shelf = {k: p for k, p in palette["pigments"].items() if cure in p.get("cures", [cure])}
        favour = np.array([FAVOUR.get(k, 1.0) for k in shelf])
        size = rng.integers(2, 5)
        chosen = [str(k) for k in rng.choice(list(shelf), size, replace=False, p=favour / favour.sum())]
        shares = np.exp(rng.uniform(lowest, highest, len(chosen)))
        loadings = {
            k: float(f"{min(share * PLENTY.get(k, 1.0), 1.0) * shelf[k]['max_loading']:.3g}")
            for k, share in zip(chosen, shares, strict=True)
        }
        mould, luck = round(rng.uniform(1.0, 6.0), 1), int(rng.integers(2**32))
        if sum(loadings.values()) <= limit:
            yield _Draw(base=base, loadings=loadings, mould_mm=mould, luck=luck)


def _solve(draw: _Draw, *, workshop: Workshop, seat: str) -> Sample:
    rng = np.random.default_rng(draw.luck)
    casting = pour.pour(draw.base, draw.loadings, draw.mould_mm, seat=seat, rng=rng, workshop=workshop)
    weights = luminance()
    return Sample(
        base=draw.base,
        loadings=draw.loadings,
        thickness=casting.thickness,
        black=casting.black,
        white=casting.white,
        transmittance=casting.transmittance,
        contrast_ratio=float(weights @ casting.black / (weights @ casting.white)),
    )


@cache
def luminance() -> Array:
    """Weights of Y in D65 light for the 10 degree observer, on the bench's wavelengths."""
    import colour  # only when blends are drawn: it is slow to import

    shape = colour.SpectralShape(WAVELENGTHS[0], WAVELENGTHS[-1], WAVELENGTHS[1] - WAVELENGTHS[0])
    observer = colour.MSDS_CMFS["CIE 1964 10 Degree Standard Observer"].copy().align(shape).values
    light = colour.SDS_ILLUMINANTS["D65"].copy().align(shape).values
    return np.asarray(observer[:, 1] * light, dtype=np.float64)


def _kept(settings: dict[str, Any], make: Callable[[], list[Sample]]) -> list[Sample]:
    """Read the samples of these settings from the cache, or make and keep them."""
    sources = (Path(__file__), DEMO / "palette.toml", *sorted(DEMO.glob("*.py")))
    digest = hashlib.sha256(json.dumps(settings, sort_keys=True).encode())
    for source in sources:
        digest.update(source.read_bytes())
    folder = Path(os.environ.get("TINT_BENCH_CACHE") or Path(tempfile.gettempdir()) / "tint-bench")
    path = folder / f"{settings['kind']}-{digest.hexdigest()[:16]}.npz"
    if not path.exists():
        folder.mkdir(parents=True, exist_ok=True)
        _save(path, make())
    return _load(path)


def _save(path: Path, samples: list[Sample]) -> None:
    orders = json.dumps([(s.base, s.loadings) for s in samples])
    names = ("thickness", "black", "white", "transmittance", "contrast_ratio")
    arrays: dict[str, Any] = {name: np.array([getattr(s, name) for s in samples]) for name in names}
    with tempfile.NamedTemporaryFile(dir=path.parent, suffix=".part", delete=False) as file:
        np.savez_compressed(file, orders=np.array(orders), **arrays)
    os.replace(file.name, path)


def _load(path: Path) -> list[Sample]:
    with np.load(path) as kept:
        orders = json.loads(str(kept["orders"]))
        columns = (
            kept["thickness"],
            kept["black"],
            kept["white"],
            kept["transmittance"],
            kept["contrast_ratio"],
        )
    return [
        Sample(
            base=base,
            loadings=loadings,
            thickness=float(thickness),
            black=black,
            white=white,
            transmittance=transmittance,
            contrast_ratio=float(ratio),
        )
        for (base, loadings), thickness, black, white, transmittance, ratio in zip(orders, *columns, strict=True)
    ]
