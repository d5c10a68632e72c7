"""Random workshops: pigments, castings, readings and held-out blends drawn from a seed, by physics that is not tint's.

    python tests/figures/random_workshops.py FIRST LAST [--stride K --offset J]

`draw` invents a workshop, `pour` casts its swatch folder and its held-out blends by iadpython and keeps them in
$TINT_BENCH_CACHE, else in the temporary folder; `odd` makes small folders that teach little or that err. The
command pours the seeds FIRST to LAST - 1; several processes share a range by stride and offset. Nothing of tint
is imported.
"""

from __future__ import annotations

import argparse
import csv
import hashlib
import io
import json
import math
import os
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

DEMO = Path(__file__).resolve().parents[2] / "swatches_demo"
sys.path.insert(0, str(DEMO))

from bench import luminance  # noqa: E402
from slab import QUADRATURE, phase_moments, slab_terms  # noqa: E402
from stock import BACKINGS, WAVELENGTHS, band, edge  # noqa: E402

VERSION = 1  # raise it when anything that is drawn or poured changes: what is kept is poured anew
PLANS = ("ladder", "twelve", "rich", "thin", "no-mixtures")
LOBES = (0.0, 0.05, 0.12)

# Each kind's contrast ratios (D65, 10 degrees, over the cards), and the shares of a pigment's largest cast loading
# that it is drawn from.
KINDS = {"opaque": (0.95, math.inf), "milky": (0.6, 0.95), "see-through": (0.0, 0.6)}
SHARES = {"opaque": (0.02, 1.5), "milky": (0.01, 1.0), "see-through": (0.003, 0.5)}
# Parts are seldom near black: white comes often and in plenty; black seldom, and beside others by the trace.
FAVOUR = {"white": 3.0, "black": 0.5}
PLENTY = {"white": 2.5, "black": 0.1}
PER_KIND = 12
CANDIDATES = 400
PIGMENTS_AT_MOST = 3
BEYOND = 0.03  # of the candidates have up to twice what a pigment's range allows
THICKEST_MM = 9.0

STATED_INDEX = 1.41
MOULD_ERROR_MM = 0.05
BASE_MAX_LOADING = 3.0
BACKWARDS = -0.4  # mean cosine of the backward lobe, as phase_moments has it
SHARPEST_LOBE = 0.97  # mean cosine of the forward lobe, up to which 24 quadrature points do
ROUGHLY = np.array([6, 11, 15, 19, 23])  # 460, 510, 550, 590 and 630 nm stand for all in a first look
MARGIN = 0.01  # of a first look's contrast ratio

_SEED = 20260000
_ODD_SEED = 20260001


@dataclass(frozen=True, kw_only=True)
class Component:
    """What one percent of a pigment, or a whole base, adds to the light's path; shapes (wavelengths,).

    Attributes
    ----------
    mu_a, mu_s
        Absorption and unreduced scattering coefficient [1/mm].
    g
        Mean cosine of its scattering.
    moments
        Legendre moments of its phase function, shape (wavelengths, QUADRATURE + 1), in place of one or two lobes.
    """

    mu_a: Array
    mu_s: Array
    g: Array
    moments: Array | None = None


@dataclass(frozen=True, kw_only=True)
class Casting:
    """One casting of the plan: its base, the depth of its mould [mm] and its loadings as written [percent]."""

    name: str
    base: str
    mould_mm: float
    loadings: dict[str, float]


@dataclass(frozen=True, kw_only=True)
class Workshop:
    """All that is true of one workshop.

    Attributes
    ----------
    seed, plan
        Where it comes from, and what kind of plan it casts.
    pigments, bases
        The stock; a pigment's coefficients are per percent by mass of the mix.
    index
        True refractive index of each base at 550 nm; palette.toml states STATED_INDEX.
    back_lobe
        Share of the scattered light that is thrown backwards, at the same mean cosine [0 to 1].
    max_loading
        The most of each pigment [percent].
    repeatability, thickness_error_mm, dose_error_percent, mould_error_mm
        True standard deviations: of a reading, of a written thickness, of a dose, and of a mould's depth.
    castings
        The plan.
    index_away
        What the index of every base has more than at 550 nm, shape (wavelengths,); nothing where absent.
    stock
        By whose theory pigments and bases scatter, if not the bench's own.
    """

    seed: int
    plan: str
    pigments: dict[str, Component]
    bases: dict[str, Component]
    index: dict[str, float]
    back_lobe: float
    max_loading: dict[str, float]
    repeatability: float
    thickness_error_mm: float
    dose_error_percent: float
    mould_error_mm: float
    castings: tuple[Casting, ...]
    index_away: Array | None = None
    stock: str = ""


@dataclass(frozen=True, kw_only=True)
class Spectra:
    """Reflectance over the black and the white card, shape (wavelengths,), and the contrast ratio of the two."""

    black: Array
    white: Array
    contrast_ratio: float


@dataclass(frozen=True, kw_only=True)
class Sample:
    """One held-out blend.

    Attributes
    ----------
    kind
        "opaque", "milky" or "see-through", by the contrast ratio of `ordered`.
    base, loadings, thickness
        As written down [percent by mass of the mix; mm].
    read
        What the instrument read, with all errors of pouring and reading.
    poured
        The casting's exact spectra: true doses and thickness, no noise of reading.
    ordered
        Exact spectra of the blend precisely as written.
    """

    kind: str
    base: str
    loadings: dict[str, float]
    thickness: float
    read: Spectra
    poured: Spectra
    ordered: Spectra


@dataclass(frozen=True, kw_only=True)
class Poured:
    """A workshop's folder, as the texts of its three files, and its held-out blends."""

    workshop: Workshop
    swatches_csv: str
    readings_csv: str
    palette_toml: str
    samples: tuple[Sample, ...]


def wavelengths() -> Array:
    """Return the wavelengths of every spectrum here [nm]."""
    return WAVELENGTHS.copy()


def index_away() -> Array:
    """What the index of silicone has more than at 550 nm, shape (wavelengths,).

    n^2 = 1 + 1.0093 L^2 / (L^2 - 0.013185), L in um: a two-part silicone (Schneider et al. 2009, Sens. Actuators A 151,
    95). From 400 to 700 nm it falls by 0.022; other papers have 0.015 to 0.024.
    """
    square = (np.append(WAVELENGTHS, 550.0) / 1000.0) ** 2
    n = np.sqrt(1.0 + 1.0093 * square / (square - 0.013185))
    return np.asarray(n[:-1] - n[-1])


def draw(seed: int, *, plan: str | None = None) -> Workshop:
    """Invent the workshop of this seed; `plan` casts another plan of PLANS than the seed would, from the same stock."""
    rng = np.random.default_rng([_SEED, seed])
    drawn = str(rng.choice(PLANS))
    lobe = float(rng.choice(LOBES))
    pigments, max_loading = _pigments(int(rng.integers(4, 9)), rng, back_lobe=lobe)
    two = rng.random() < 1 / 3
    bases = {"clear": _base(rng, haze=(0.1, 1.0) if two else (0.1, 4.0), back_lobe=lobe)}
    if two:
        bases["milky"] = _base(rng, haze=(2.0, 4.0), back_lobe=lobe)
    index = {name: float(rng.uniform(1.39, 1.43)) for name in bases}
    repeatability, thickness_error = _log_uniform(rng, 0.0005, 0.002), rng.uniform(0.02, 0.05)
    dose_error = rng.uniform(0.3, 1.5)
    plan = plan or drawn
    return Workshop(
        seed=seed,
        plan=plan,
        pigments=pigments,
        bases=bases,
        index=index,
        back_lobe=lobe,
        max_loading=max_loading,
        repeatability=_digits(repeatability),
        thickness_error_mm=_digits(thickness_error),
        dose_error_percent=_digits(dose_error),
        mould_error_mm=MOULD_ERROR_MM,
        castings=_castings(plan, list(bases), max_loading, rng),
    )


def pour(seed: int, *, plan: str | None = None, index_away: Array | None = None) -> Poured:
    """Cast and read the workshop of this seed, and its held-out blends; or take them from the cache.

    Another VERSION, or a change of the demo's slab.py or stock.py, makes them anew.
    """
    return cast(replace(draw(seed, plan=plan), index_away=index_away))


def cast(workshop: Workshop) -> Poured:
    """As `pour`, of a workshop that was drawn."""
    path = _kept_at(workshop)
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        _save(path, _pour(workshop))
    return _load(path, workshop)


def write(poured: Poured, path: Path) -> None:
    """Write the folder's three files into `path`, which is made if need be."""
    path.mkdir(parents=True, exist_ok=True)
    (path / "palette.toml").write_text(poured.palette_toml, encoding="utf-8")
    (path / "swatches.csv").write_text(poured.swatches_csv, encoding="utf-8")
    (path / "readings.csv").write_text(poured.readings_csv, encoding="utf-8")


# --- the stock ---


def _pigments(
    count: int, rng: np.random.Generator, *, back_lobe: float
) -> tuple[dict[str, Component], dict[str, float]]:
    """White, black and `count` - 2 colours, and the most of each [percent]."""
    w = WAVELENGTHS
    bluish = rng.uniform(1.0, 4.0) * edge(w, rng.uniform(385, 398), rng.uniform(4, 7))
    white = rng.uniform(0.001, 0.003) + bluish
    black = rng.uniform(10, 40) * (550 / w) ** rng.uniform(0.5, 1.2)
    pigments = {"white": _component(white, (6.0, 40.0), rng, back_lobe=back_lobe)}
    most = {"white": 2.0}
    for name in [f"p{number}" for number in range(1, count - 1)]:
        dye = rng.random() < 0.4
        absorbed = _log_uniform(rng, 2, 25) * _features(rng) + _log_uniform(rng, 0.003, 0.08)
        pigments[name] = _component(absorbed, (0.4, 8.0 if dye else 40.0), rng, back_lobe=back_lobe)
        most[name] = 1.0 if dye else 2.0
    pigments["black"] = _component(black, (0.4, 8.0), rng, back_lobe=back_lobe)
    most["black"] = 1.0
    return pigments, most


def _features(rng: np.random.Generator) -> Array:
    """An edge or a band of height one, often with a weaker second."""
    shape = _feature(rng)
    if rng.random() < 0.5:
        shape = shape + rng.uniform(0.05, 0.4) * _feature(rng)
    return np.asarray(shape / shape.max(), dtype=np.float64)


def _feature(rng: np.random.Generator) -> Array:
    if rng.random() < 0.5:
        return edge(WAVELENGTHS, rng.uniform(430, 620), rng.uniform(6, 25))
    return band(WAVELENGTHS, rng.uniform(420, 700), rng.uniform(25, 60))


def _base(rng: np.random.Generator, *, haze: tuple[float, float], back_lobe: float) -> Component:
    yellowish = rng.uniform(0, 0.02) * edge(WAVELENGTHS, rng.uniform(420, 440), rng.uniform(12, 25))
    return _component(rng.uniform(0.001, 0.006) + yellowish, haze, rng, back_lobe=back_lobe)


def _component(mu_a: Array, scatter: tuple[float, float], rng: np.random.Generator, *, back_lobe: float) -> Component:
    """Give an absorber its scattering, of mu_s at 550 nm within `scatter`, and a mean cosine.

    Where light is thrown backwards too, the mean cosine stays so low that the forward lobe is no sharper than
    SHARPEST_LOBE.
    """
    mu_s = _log_uniform(rng, *scatter) * (550 / WAVELENGTHS) ** rng.uniform(0.2, 2)
    highest = SHARPEST_LOBE * (1 - back_lobe) + BACKWARDS * back_lobe
    at_550, slope = rng.uniform(0.45, min(0.88, highest)), 0.01 * rng.standard_normal()
    g = np.clip(at_550 + slope * (WAVELENGTHS - 550) / 100, 0.3, min(0.92, highest))
    return Component(mu_a=mu_a, mu_s=mu_s, g=g)


# --- the plan ---


@dataclass
class _Table:
    """The castings of a plan as they come together: what there is to cast from, the depths, and what is cast."""

    rng: np.random.Generator
    bases: list[str]
    tops: dict[str, float]
    depths: tuple[float, float, float]
    castings: list[Casting] = field(default_factory=list)

    def cast(self, loadings: Mapping[str, float], mould_mm: float, *, base: str | None = None) -> None:
        """Add a casting; without a `base` named, one in four is of the second base, if there is one."""
        if base is None:
            base = self.bases[-1] if self.rng.random() < 0.25 else self.bases[0]
        number, excess = len(self.castings) + 1, max(sum(loadings.values()) / BASE_MAX_LOADING, 1.0)
        written = {name: _digits(loading / excess, 3) for name, loading in loadings.items()}
        self.castings.append(
            Casting(name=f"c{number:02d}", base=base, mould_mm=round(float(mould_mm), 2), loadings=written)
        )

    def depth(self) -> float:
        """One of the depths."""
        return float(self.rng.choice(self.depths))

    def alone(self, depths: Sequence[float]) -> None:
        """Every base without pigment."""
        for base in self.bases:
            for depth in depths:
                self.cast({}, depth, base=base)

    def ladder(self, name: str, rungs: int, depths: Sequence[float]) -> None:
        """One pigment alone, over a range of loadings of about 1 to 30."""
        span = self.rng.uniform(20, 40)
        taken = [depths[rung % len(depths)] for rung in range(rungs)]
        self.rng.shuffle(taken)
        for rung, depth in enumerate(taken):
            self.cast({name: self.tops[name] * span ** (-rung / (rungs - 1))}, depth)

    def tint(self, name: str, depths: Sequence[float]) -> None:
        """One pigment with white, the same mix at each depth."""
        share = _log_uniform(self.rng, 0.03, 0.3)
        loadings = {name: share * self.tops[name], "white": self.rng.uniform(0.2, 0.6) * self.tops["white"]}
        for depth in depths:
            self.cast(loadings, depth)

    def any_mixture(self) -> None:
        """Two or three pigments at random."""
        chosen = self.rng.choice(list(self.tops), int(self.rng.integers(2, 4)), replace=False)
        self.cast({str(k): _log_uniform(self.rng, 0.03, 0.6) * self.tops[str(k)] for k in chosen}, self.depth())


def _castings(
    plan: str, bases: list[str], max_loading: Mapping[str, float], rng: np.random.Generator
) -> tuple[Casting, ...]:
    tops = {name: _digits(most * rng.uniform(0.4, 1.0), 3) for name, most in max_loading.items()}
    tops["black"] = _digits(max_loading["black"] * _log_uniform(rng, 0.15, 1.0), 3)  # a trace of it hides at once
    shallow, deep = rng.uniform(
        [0.5, 0.9] if plan == "thin" else [0.9, 2.3], [0.7, 1.2] if plan == "thin" else [1.4, 3.3]
    )
    table = _Table(rng, bases, tops, (shallow, math.sqrt(shallow * deep), deep))
    others = [name for name in tops if name != "white"]
    {
        "ladder": _cast_ladder,
        "thin": _cast_ladder,
        "twelve": _cast_twelve,
        "rich": _cast_rich,
        "no-mixtures": _cast_singles,
    }[plan](table, others)
    return tuple(table.castings)


def _cast_ladder(table: _Table, others: list[str]) -> None:
    ends = table.depths[::2]
    table.alone(ends)
    table.ladder("white", 4, table.depths)
    for name in others:
        table.ladder(name, 3, table.depths)
        table.tint(name, ends)


def _cast_twelve(table: _Table, others: list[str]) -> None:
    table.alone([table.depth()])
    table.ladder("white", 2, table.depths[::2])
    turn = 0
    while len(table.castings) < 12:
        name = others[turn % len(others)]
        if table.rng.random() < (0.25 if turn < len(others) else 0.6):
            table.tint(name, [table.depth()])
        else:
            table.cast({name: _log_uniform(table.rng, 0.03, 1.0) * table.tops[name]}, table.depth())
        turn += 1


def _cast_rich(table: _Table, others: list[str]) -> None:
    table.alone(table.depths)
    for name in ["white", *others]:
        table.ladder(name, 4, table.depths)
    for name in others:
        table.tint(name, table.depths[::2])
    for _ in range(int(table.rng.integers(60, 101)) - len(table.castings)):
        table.any_mixture()


def _cast_singles(table: _Table, others: list[str]) -> None:
    depths = table.depths[::2] if table.rng.random() < 0.5 else table.depths[1:2]
    rungs = int(table.rng.integers(3, 5))
    table.alone(depths)
    for name in ["white", *others]:
        table.ladder(name, rungs, depths)


# --- pouring ---


def _pour(workshop: Workshop) -> Poured:
    rng = np.random.default_rng([_SEED, workshop.seed, 1])
    thicknesses, spectra = [], []
    for casting in workshop.castings:
        depth, written = _depth(casting.mould_mm, workshop, rng)
        doses = _doses(casting.loadings, workshop, rng)
        thicknesses.append(written)
        spectra.append(_over(_solve(workshop, casting.base, doses, depth)))
    readings = list(_bare(workshop, rng))
    for casting, (black, white) in zip(workshop.castings, spectra, strict=True):
        for backing, spectrum in (("black", black), ("white", white)):
            readings.append([casting.name, backing, "air", "", *_printed(_read(spectrum, workshop, rng))])
    return Poured(
        workshop=workshop,
        swatches_csv=_swatches(workshop, thicknesses),
        readings_csv=_table(["swatch", "backing", "seat", "quantity", *(f"{w:.0f}" for w in WAVELENGTHS)], readings),
        palette_toml=_palette(workshop),
        samples=tuple(sample for kind in KINDS for sample in _held_out(workshop, kind)),
    )


def _depth(mould_mm: float, workshop: Workshop, rng: np.random.Generator) -> tuple[float, float]:
    """Return a casting's true and its written thickness [mm]."""
    true = max(mould_mm + workshop.mould_error_mm * rng.standard_normal(), mould_mm / 2)
    written = round(float(true + workshop.thickness_error_mm * rng.standard_normal()), 2)
    return float(true), max(written, 0.05)


def _doses(loadings: Mapping[str, float], workshop: Workshop, rng: np.random.Generator) -> dict[str, float]:
    error = workshop.dose_error_percent / 100
    return {name: loading * (1 + error * rng.standard_normal()) for name, loading in loadings.items()}


def _read(spectrum: Array, workshop: Workshop, rng: np.random.Generator) -> Array:
    return np.maximum(spectrum + workshop.repeatability * rng.standard_normal(spectrum.shape), 0.0)


def _bare(workshop: Workshop, rng: np.random.Generator) -> Iterator[list[str]]:
    """Three bare readings of each card."""
    for name, spectrum in BACKINGS.items():
        for _ in range(3):
            yield [name, "", "", "", *_printed(_read(spectrum, workshop, rng))]


def _solve(
    workshop: Workshop,
    base: str,
    loadings: Mapping[str, float],
    thickness: float,
    *,
    at: NDArray[np.int64] | None = None,
) -> tuple[Array, Array, Array, Array]:
    """Return r1, t1, ru and tu of a slab, exactly; at all wavelengths or at those of the indices `at`."""
    parts = [(workshop.bases[base], 1 - sum(loadings.values()) / 100)]
    parts += [(workshop.pigments[name], loading) for name, loading in loadings.items()]
    mu_a = np.sum([share * part.mu_a for part, share in parts], axis=0)
    mu_s = np.sum([share * part.mu_s for part, share in parts], axis=0)
    phase = np.zeros((len(WAVELENGTHS), QUADRATURE + 1))
    for part, share in parts:
        phase += share * part.mu_s[:, None] * _moments(part, workshop)
    phase /= mu_s[:, None]
    some = slice(None) if at is None else at
    depths, phase, n = (mu_a[some] * thickness, mu_s[some] * thickness), phase[some], workshop.index[base]
    if workshop.index_away is None:
        return slab_terms(*depths, phase=phase, n=n)
    each = [
        slab_terms(*(depth[[k]] for depth in depths), phase=phase[[k]], n=n + float(away))
        for k, away in enumerate(workshop.index_away[some])
    ]
    r1, t1, ru, tu = (np.concatenate(of) for of in zip(*each, strict=True))
    return r1, t1, ru, tu


def _moments(part: Component, workshop: Workshop) -> Array:
    if part.moments is not None:
        return part.moments
    return np.array([phase_moments(float(g), back_lobe=workshop.back_lobe) for g in part.g])


def _over(terms: tuple[Array, Array, Array, Array], at: NDArray[np.int64] | None = None) -> tuple[Array, Array]:
    """Reflectance over the black and the white card: the light between slab and card sums up."""
    r1, t1, ru, tu = terms
    grounds = [BACKINGS[name] if at is None else BACKINGS[name][at] for name in ("black", "white")]
    black, white = (r1 + t1 * tu * ground / (1 - ru * ground) for ground in grounds)
    return black, white


# --- held-out blends ---


@dataclass(frozen=True, kw_only=True)
class _Candidate:
    base: str
    loadings: dict[str, float]
    thickness: float


def _held_out(workshop: Workshop, kind: str) -> Iterator[Sample]:
    """Up to PER_KIND blends of a kind, as many of one pigment as of two and of three, where they can be found."""
    for count in range(1, PIGMENTS_AT_MOST + 1):
        rng = np.random.default_rng([_SEED, workshop.seed, 2, list(KINDS).index(kind), count])
        found = 0
        for _ in range(CANDIDATES // PIGMENTS_AT_MOST):
            candidate = _candidate(workshop, kind, count, rng)
            sample = _sample(workshop, kind, candidate, rng) if _may_be(workshop, kind, candidate) else None
            if sample is not None:
                yield sample
                found += 1
            if found == PER_KIND // PIGMENTS_AT_MOST:
                break


def _candidate(workshop: Workshop, kind: str, count: int, rng: np.random.Generator) -> _Candidate:
    """Draw a blend of `count` pigments and a mould; more than a pigment's most, or beyond its castings, is rare."""
    casts: dict[str, float] = {}
    for casting in workshop.castings:
        for name, loading in casting.loadings.items():
            casts[name] = max(casts.get(name, 0.0), loading)
    favour = np.array([FAVOUR.get(name, 1.0) for name in casts])
    chosen = [str(k) for k in rng.choice(list(casts), count, replace=False, p=favour / favour.sum())]
    low, high = SHARES[kind]
    stretch = rng.uniform(1, 2) if rng.random() < BEYOND else 1.0
    loadings = {}
    for name in chosen:
        most = min(high * casts[name], workshop.max_loading[name])
        plenty = PLENTY.get(name, 1.0) if count > 1 else 1.0
        loadings[name] = stretch * min(_log_uniform(rng, low * casts[name], most) * plenty, most)
    excess = max(sum(loadings.values()) / BASE_MAX_LOADING, 1.0)
    moulds = [casting.mould_mm for casting in workshop.castings]
    return _Candidate(
        base=str(rng.choice(list(workshop.bases))),
        loadings={name: _digits(loading / excess, 3) for name, loading in loadings.items()},
        thickness=round(_log_uniform(rng, min(moulds), min(1.5 * max(moulds), THICKEST_MM)), 2),
    )


def _may_be(workshop: Workshop, kind: str, candidate: _Candidate) -> bool:
    """Whether a first look, at a few wavelengths, finds the candidate of this kind."""
    try:
        terms = _solve(workshop, candidate.base, candidate.loadings, candidate.thickness, at=ROUGHLY)
    except ArithmeticError:
        return False
    nearest = np.abs(WAVELENGTHS[:, None] - WAVELENGTHS[ROUGHLY]).argmin(axis=1)
    weights = np.bincount(nearest, weights=luminance(), minlength=len(ROUGHLY))
    black, white = _over(terms, ROUGHLY)
    low, high = KINDS[kind]
    return bool(low - MARGIN < weights @ black / (weights @ white) < high + MARGIN)


def _sample(workshop: Workshop, kind: str, candidate: _Candidate, rng: np.random.Generator) -> Sample | None:
    """Pour and read a candidate; None if what is written down is not of this kind."""
    depth, written = _depth(candidate.thickness, workshop, rng)
    doses = _doses(candidate.loadings, workshop, rng)
    try:
        ordered = _over(_solve(workshop, candidate.base, candidate.loadings, written))
        low, high = KINDS[kind]
        if not low < _contrast_ratio(*ordered) <= high:
            return None
        poured = _over(_solve(workshop, candidate.base, doses, depth))
    except ArithmeticError:
        return None
    read = (_read(poured[0], workshop, rng), _read(poured[1], workshop, rng))
    return Sample(
        kind=kind,
        base=candidate.base,
        loadings=candidate.loadings,
        thickness=written,
        read=_spectra(*read),
        poured=_spectra(*poured),
        ordered=_spectra(*ordered),
    )


def _spectra(black: Array, white: Array) -> Spectra:
    return Spectra(black=black, white=white, contrast_ratio=_contrast_ratio(black, white))


def _contrast_ratio(black: Array, white: Array) -> float:
    weights = luminance()
    return float(weights @ black / (weights @ white))


# --- the three files ---


def _swatches(workshop: Workshop, thicknesses: Sequence[float], *, columns: Sequence[str] | None = None) -> str:
    names = list(workshop.pigments) if columns is None else list(columns)
    rows = [
        [
            casting.name,
            casting.base,
            f"{thickness:.2f}",
            *(f"{casting.loadings[name]:g}" if name in casting.loadings else "" for name in names),
            "",
        ]
        for casting, thickness in zip(workshop.castings, thicknesses, strict=True)
    ]
    return _table(["swatch", "base", "thickness_mm", *names, "note"], rows)


def _table(header: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows([header, *rows])
    return text.getvalue()


def _printed(spectrum: Array) -> list[str]:
    return [f"{value:.5f}" for value in spectrum]


def _palette(
    workshop: Workshop,
    *,
    geometry: str = "di:8",
    stated: Mapping[str, float] | None = None,
    backings: Sequence[str] = ("black", "white"),
) -> str:
    """palette.toml; `stated` are the errors it states, those of the workshop if None."""
    if stated is None:
        names = ("repeatability", "thickness_error_mm", "dose_error_percent")
        stated = {name: getattr(workshop, name) for name in names}
    lines = ["format = 1", f'name = "Workshop {workshop.seed}, {workshop.plan}"']
    lines += ["", "[instrument]", f'geometry = "{geometry}"']
    lines += [f"{name} = {float(value)!r}" for name, value in stated.items()]
    lines += [""] + [f"[backings.{name}]" for name in backings]
    for name in workshop.bases:
        lines += ["", f"[bases.{name}]", 'cure = "addition"', "density = 1.08"]
        lines += [f"refractive_index = {STATED_INDEX}", f"max_loading = {BASE_MAX_LOADING}"]
        lines += ["mix = { A = 1.0, B = 1.0 }", 'pigment_in = "A"']
    for name, most in workshop.max_loading.items():
        lines += ["", f"[pigments.{name}]", 'cures = ["addition"]', f"max_loading = {most}"]
    return "\n".join(lines) + "\n"


# --- the cache ---


@cache
def _sources() -> bytes:
    digest = hashlib.sha256(f"workshops {VERSION}".encode())
    for source in (DEMO / "slab.py", DEMO / "stock.py"):
        digest.update(source.read_bytes())
    return digest.digest()


def _kept_at(workshop: Workshop) -> Path:
    away = b"" if workshop.index_away is None else workshop.index_away.tobytes()
    digest = hashlib.sha256(_sources() + f"{workshop.seed} {workshop.plan}{workshop.stock}".encode() + away).hexdigest()
    folder = Path(os.environ.get("TINT_BENCH_CACHE") or Path(tempfile.gettempdir()) / "tint-bench")
    return folder / f"workshop-{workshop.seed}-{workshop.plan}{workshop.stock}-{digest[:16]}.npz"


_TEXTS = ("swatches_csv", "readings_csv", "palette_toml")
_STATES = ("read", "poured", "ordered")


def _save(path: Path, poured: Poured) -> None:
    written = json.dumps([(s.kind, s.base, s.loadings, s.thickness) for s in poured.samples])
    spectra = [[[getattr(s, state).black, getattr(s, state).white] for state in _STATES] for s in poured.samples]
    texts: dict[str, Any] = {name: np.array(getattr(poured, name)) for name in _TEXTS}
    with tempfile.NamedTemporaryFile(dir=path.parent, suffix=".part", delete=False) as file:
        np.savez_compressed(file, written=np.array(written), spectra=np.array(spectra), **texts)
    os.replace(file.name, path)


def _load(path: Path, workshop: Workshop) -> Poured:
    with np.load(path) as kept:
        swatches, readings, palette = (str(kept[name]) for name in _TEXTS)
        written, spectra = json.loads(str(kept["written"])), kept["spectra"]
    samples = []
    for (kind, base, loadings, thickness), pairs in zip(written, spectra, strict=True):
        read, poured, ordered = (_spectra(black, white) for black, white in pairs)
        samples.append(
            Sample(
                kind=kind,
                base=base,
                loadings=loadings,
                thickness=thickness,
                read=read,
                poured=poured,
                ordered=ordered,
            )
        )
    return Poured(
        workshop=workshop,
        swatches_csv=swatches,
        readings_csv=readings,
        palette_toml=palette,
        samples=tuple(samples),
    )


# --- odd folders ---

ODDITIES = (
    "one thickness",
    "one backing",
    "one pigment",
    "equal castings",
    "no white",
    "pure dyes",
    "only opaque black",
    "noisier than stated",
    "errors not stated",
    "a single casting",
    "transmittance only",
    "no noise",
    "traces",
    "exact zeros",
    "never cast",
    "wet",
    "45:0",
    "de:8",
)


def odd(seed: int) -> Poured:
    """Make a small folder that teaches little, or errs; it holds one to three of ODDITIES, and no held-out blends.

    Its light is that of a closed formula, near enough to be plausible. The plan's name says what is odd.
    """
    rng = np.random.default_rng([_ODD_SEED, seed])
    first = ODDITIES[seed % len(ODDITIES)]
    more = rng.choice(ODDITIES, int(rng.choice([0, 1, 2], p=[0.5, 0.35, 0.15])), replace=False)
    odds = list(dict.fromkeys([first, *(str(name) for name in more)]))
    workshop = _odd_workshop(seed, odds, rng)
    geometry = next((name for name in odds if name in ("45:0", "de:8")), "45:0" if "exact zeros" in odds else "di:8")
    backings = [str(rng.choice(["black", "white"]))] if "one backing" in odds else ["black", "white"]
    ways = [(backing, "wet" if "wet" in odds else "air", "") for backing in backings]
    if "transmittance only" in odds:
        ways = [("none", "", "transmittance")]
    thicknesses, readings = [], [row for row in _bare(workshop, rng) if row[0] in backings]
    for casting in workshop.castings:
        depth, written = _depth(casting.mould_mm, workshop, rng)
        doses = _doses(casting.loadings, workshop, rng)
        thicknesses.append(casting.mould_mm if "one thickness" in odds else written)
        for backing, seat, quantity in ways:
            spectrum = _plainly(workshop, casting.base, doses, depth, backing, geometry=geometry, seat=seat)
            spectrum = np.minimum(_read(spectrum, workshop, rng), 1.0)
            if "exact zeros" in odds:
                spectrum[spectrum < 0.02] = 0.0
            readings.append([casting.name, backing, seat, quantity, *_printed(spectrum)])
    columns = [name for name in workshop.pigments if name != "spare" or rng.random() < 0.5]
    return Poured(
        workshop=workshop,
        swatches_csv=_swatches(workshop, thicknesses, columns=columns),
        readings_csv=_table(["swatch", "backing", "seat", "quantity", *(f"{w:.0f}" for w in WAVELENGTHS)], readings),
        palette_toml=_palette(workshop, geometry=geometry, stated=_odd_stated(workshop, odds), backings=backings),
        samples=(),
    )


def _odd_workshop(seed: int, odds: Sequence[str], rng: np.random.Generator) -> Workshop:
    pigments, max_loading = _pigments(int(rng.integers(3, 6)), rng, back_lobe=0.0)
    base = _base(rng, haze=(0.1, 4.0), back_lobe=0.0)
    kept = list(pigments)
    if "pure dyes" in odds:
        faint = {name: _log_uniform(rng, 1e-5, 1e-3) for name in ["base", *pigments]}
        base = Component(mu_a=base.mu_a, mu_s=faint["base"] * base.mu_s, g=base.g)
        pigments = {k: Component(mu_a=p.mu_a, mu_s=faint[k] * p.mu_s, g=p.g) for k, p in pigments.items()}
        kept.remove("white")
    elif "no white" in odds:
        kept.remove("white")
    if "one pigment" in odds:
        kept = [str(rng.choice(kept))]
    if "only opaque black" in odds:
        kept = ["black"]
    shown = [*kept]
    if "never cast" in odds:
        pigments["spare"], max_loading["spare"] = pigments["p1"], 1.0
        shown.append("spare")
    calm = "no noise" in odds
    repeatability = _digits(_log_uniform(rng, 0.0005, 0.002))
    return Workshop(
        seed=seed,
        plan="odd: " + ", ".join(odds),
        pigments={name: pigments[name] for name in shown},
        bases={"clear": base},
        index={"clear": 1.41},
        back_lobe=0.0,
        max_loading={name: max_loading[name] for name in shown},
        repeatability=0.0 if calm else repeatability * (10 if "noisier than stated" in odds else 1),
        thickness_error_mm=0.0 if calm else 0.03,
        dose_error_percent=0.0 if calm else 0.5,
        mould_error_mm=0.0 if calm else MOULD_ERROR_MM,
        castings=_odd_castings(odds, {name: max_loading[name] for name in kept}, rng),
    )


def _odd_castings(odds: Sequence[str], most: Mapping[str, float], rng: np.random.Generator) -> tuple[Casting, ...]:
    """Three to ten castings, of no pigment up to three, or what the oddities make of them."""
    count = 1 if "a single casting" in odds else int(rng.integers(3, 11))
    one_mould = round(_log_uniform(rng, 0.5, 6), 2)
    castings: list[Casting] = []
    for number in range(count):
        size = int(rng.choice([0, 1, 1, 1, 2, 3]))
        chosen = [str(k) for k in rng.choice(list(most), min(size, len(most)), replace=False)]
        loadings = {name: _digits(most[name] * _log_uniform(rng, 0.02, 1), 3) for name in chosen}
        mould = round(_log_uniform(rng, 0.5, 6), 2)
        if "only opaque black" in odds:
            loadings, mould = {"black": _digits(rng.uniform(0.5, 1), 3)}, round(rng.uniform(2, 5), 2)
        if "traces" in odds and rng.random() < 0.7:
            loadings = dict.fromkeys(loadings, 0.001)
        if "one thickness" in odds:
            mould = one_mould
        if "equal castings" in odds and castings and rng.random() < 0.8:
            loadings, mould = castings[0].loadings, castings[0].mould_mm
        castings.append(Casting(name=f"c{number + 1:02d}", base="clear", mould_mm=mould, loadings=loadings))
    return tuple(castings)


def _odd_stated(workshop: Workshop, odds: Sequence[str]) -> dict[str, float]:
    """Return the errors that palette.toml states."""
    if "errors not stated" in odds:
        return {}
    if "no noise" in odds:
        return {"repeatability": 1e-5, "thickness_error_mm": 1e-5, "dose_error_percent": 1e-5}
    return {
        "repeatability": workshop.repeatability / (10 if "noisier than stated" in odds else 1),
        "thickness_error_mm": workshop.thickness_error_mm,
        "dose_error_percent": workshop.dose_error_percent,
    }


def _plainly(
    workshop: Workshop,
    base: str,
    loadings: Mapping[str, float],
    depth: float,
    backing: str,
    *,
    geometry: str,
    seat: str,
) -> Array:
    """Reflectance over a card, or transmittance over none, by two streams between faces.

    The more a slab scatters, the more the light in it is diffuse: its path and what the faces keep inside grow.
    """
    parts = [(workshop.bases[base], 1 - sum(loadings.values()) / 100)]
    parts += [(workshop.pigments[name], loading) for name, loading in loadings.items()]
    absorbed = depth * np.sum([share * part.mu_a for part, share in parts], axis=0)
    scattered = depth * np.sum([share * part.mu_s * (1 - part.g) for part, share in parts], axis=0)
    diffuse = 1 - np.exp(-scattered)
    outside = ((workshop.index[base] - 1) / (workshop.index[base] + 1)) ** 2
    inside = outside + (0.59 - outside) * diffuse
    lost, turned = absorbed * (1 + diffuse), 0.75 * scattered
    root = np.sqrt(lost * (lost + 2 * turned))
    fall = np.exp(-2 * root)
    whole = root * (1 + fall) + (lost + turned) * (1 - fall)
    r, t = turned * (1 - fall) / whole, 2 * root * np.exp(-root) / whole
    # Reflectance below the slab: its lower face, and the card beneath it if there is one.
    ground = np.zeros_like(r) if backing == "none" else BACKINGS[backing]
    below = ground
    if seat != "wet":
        below = inside + (1 - inside) * (1 - outside) * ground / (1 - outside * ground)
    through = t / (1 - r * below)
    total = r + through * below * t
    out = (1 - outside) * (1 - inside) / (1 - inside * total)
    if backing == "none":
        return np.asarray((1 - outside) * through * (1 - inside) / (1 - inside * total), dtype=np.float64)
    # The sphere without its gloss trap and the light at 45 degrees leave out what the face throws back.
    face = outside if geometry == "di:8" else 0.0
    return np.asarray(face + out * total, dtype=np.float64)


# --- small things ---


def _log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(math.log(low), math.log(high))))


def _digits(value: float, digits: int = 4) -> float:
    """Round to so many significant digits."""
    return float(f"{value:.{digits}g}")


def main(arguments: Sequence[str] | None = None) -> None:
    """Pour a range of seeds into the cache."""
    parser = argparse.ArgumentParser(description="Pour random workshops into the cache.")
    parser.add_argument("first", type=int, help="the first seed")
    parser.add_argument("last", type=int, help="the seed after the last")
    parser.add_argument("--stride", type=int, default=1, help="take every so many seeds")
    parser.add_argument("--offset", type=int, default=0, help="begin so many seeds later")
    asked = parser.parse_args(arguments)
    for seed in range(asked.first + asked.offset, asked.last, asked.stride):
        workshop = draw(seed)
        if _kept_at(workshop).exists():
            print(f"{seed}: there", file=sys.stderr, flush=True)
            continue
        start = time.perf_counter()
        samples = pour(seed).samples
        kinds = ", ".join(f"{sum(s.kind == kind for s in samples)} {kind}" for kind in KINDS)
        took = time.perf_counter() - start
        print(
            f"{seed}: {workshop.plan}, {len(workshop.pigments)} pigments, {len(workshop.castings)} castings, "
            f"{kinds}; {took:.1f} s",
            file=sys.stderr,
            flush=True,
        )


if __name__ == "__main__":
    main()
