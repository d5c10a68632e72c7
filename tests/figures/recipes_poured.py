"""Recipes poured: is the colour right, the opacity kept, and does the chance that was told come true.

    python tests/figures/recipes_poured.py 400:440 [--jobs 2] [--only solid]

Every random workshop (random_workshops.py) is fitted and asked for colours of castings that stand in no folder, for a
black, and for the strongest colours; what is proposed is poured by radiative transfer that shares no code with tint,
with the workshop's own errors of weighing and moulds, and read with its noise. CIEDE2000, D65, 10 degrees.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import random_workshops as bench
from numpy.typing import NDArray
from seeds import judged, parser_of

from tint import colorimetry
from tint.appearance import Setting
from tint.errors import TintError
from tint.fitting import fit_palette
from tint.materials import Blend
from tint.palette import Palette, read_palette, write_palette
from tint.recipes import Answer, Rules, solve
from tint.swatches import read_folder
from tint.target import Target

Array = NDArray[np.float64]

TOLERANCES = (0.3, 0.5, 0.8, 1.2, 2.0)
POURS = 3  # of each recipe: its doses and mould, drawn anew


def fitted(poured: bench.Poured) -> Palette:
    """The palette of a workshop, kept beside what was poured; fitted anew when tint's own sources change."""
    digest = zlib.crc32(poured.readings_csv.encode() + poured.palette_toml.encode() + _sources())
    place = Path(os.environ.get("TINT_BENCH_CACHE") or tempfile.gettempdir()) / f"fit-{poured.workshop.seed}-{digest:x}"
    with tempfile.TemporaryDirectory() as folder:
        bench.write(poured, Path(folder))
        try:
            return read_palette(place)
        except TintError:
            palette = fit_palette(read_folder(folder))
    write_palette(palette, place)
    return palette


def _sources() -> bytes:
    root = Path(__file__).resolve().parents[2] / "tint"
    files = [path for room in ("fitting", "palette", "optics") for path in sorted((root / room).glob("*.py"))]
    return hashlib.sha256(b"".join(path.read_bytes() for path in files)).digest()


@dataclass(frozen=True, kw_only=True)
class Poured:
    """One recipe, poured and read.

    Parameters
    ----------
    kind : str
        Of target: the kind of casting it is the colour of, `black`, or `strong`.
    place : int
        Of the recipe in the answer, 0 the first.
    told, missed, exact : float
        CIEDE2000 to the target: as predicted, as poured and read, and of the blend exactly as written, unread.
    ratio, ratio_exact, ratio_stated : float
        Contrast ratio less the least asked for, as read and exactly; the half width that was stated.
    off, stated : float
        CIEDE2000 between prediction and reading, and its stated error.
    """

    seed: int
    kind: str
    place: int
    reached: bool
    pigment: float  # [%]
    tolerance: float
    chance: float
    landed: bool
    told: float
    missed: float
    exact: float
    ratio: float
    ratio_exact: float
    off: float
    stated: float
    ratio_off: float
    ratio_stated: float


def targets(poured: bench.Poured, palette: Palette) -> Iterator[tuple[str, Target, Setting]]:
    """Colours to ask for: of castings, exactly as their blends are; of a black; of the strongest there is."""
    rng = np.random.default_rng([poured.workshop.seed, 11])
    view = colorimetry.viewing(palette.wavelengths)
    depths = [thickness for seen in palette.seen.values() for thickness in seen.thickness_mm]

    def asked(lab: Array, least: float) -> Target:
        return Target(lab=lab, tolerance=float(rng.choice(TOLERANCES)), contrast_ratio_min=least)

    for kind in bench.KINDS:
        samples = [each for each in poured.samples if each.kind == kind]
        for at in rng.choice(len(samples), min(3, len(samples)), replace=False):
            sample = samples[at]
            thickness = float(np.clip(sample.thickness, min(depths), max(depths)))
            ratio = sample.ordered.contrast_ratio
            least = 0.98 if kind == "opaque" else max(ratio - 0.02, 0.01)
            lab = colorimetry.lab(sample.ordered.white, view)
            yield kind, asked(lab, least), Setting(thickness_mm=thickness)
    for lightness in (25.0, 30.0):
        lab = np.array([lightness, *rng.normal(0.0, 1.0, 2)])
        yield "black", asked(lab, 0.98), Setting(thickness_mm=float(rng.choice(depths)))
    colours = [colorimetry.lab(each.ordered.white, view) for each in poured.samples if each.kind != "see-through"]
    for at in np.argsort([-np.hypot(*lab[1:]) for lab in colours])[:2]:
        yield "strong", asked(colours[at], 0.95), Setting(thickness_mm=float(rng.choice(depths)))


def pour(
    workshop: bench.Workshop, blend: Blend, thickness_mm: float, rng: np.random.Generator | None
) -> tuple[Array, Array]:
    """Reflectance over the black and the white card; exactly as written and unread where there is no `rng`."""
    loadings = dict(blend.loadings)
    if rng is None:
        return bench._over(bench._solve(workshop, blend.base, loadings, thickness_mm))
    # A depth is what it is, but the part is made to what was measured of the mould.
    depth = thickness_mm + workshop.thickness_error_mm * rng.standard_normal()
    doses = bench._doses(loadings, workshop, rng)
    black, white = bench._over(bench._solve(workshop, blend.base, doses, depth))
    return bench._read(black, workshop, rng), bench._read(white, workshop, rng)


def judge(seed: int) -> list[Poured]:
    """Ask one workshop, and pour what it proposes."""
    poured = bench.pour(seed)
    try:
        palette = fitted(poured)
    except TintError:
        return []
    rng = np.random.default_rng([seed, 13])
    result: list[Poured] = []
    for kind, target, setting in targets(poured, palette):
        answer: Answer = solve(palette, target, setting=setting, rules=Rules(most_pigments=3))
        for place in range(len(answer.recipes)):
            try:
                result += _poured(palette, poured.workshop, seed, kind, place, answer, rng)
            except ArithmeticError:
                continue
    return result


def _poured(
    palette: Palette,
    workshop: bench.Workshop,
    seed: int,
    kind: str,
    place: int,
    answer: Answer,
    rng: np.random.Generator,
) -> Iterator[Poured]:
    recipe, target, thickness = answer.recipes[place], answer.target, answer.setting.thickness_mm
    view = colorimetry.viewing(palette.wavelengths)
    least = target.contrast_ratio_min or 0.0
    black, white = pour(workshop, recipe.blend, thickness, None)
    exact = float(colorimetry.difference(target.lab, colorimetry.lab(white, view)))
    ratio_exact = float(colorimetry.contrast_ratio(black, white, view))
    for _ in range(POURS):
        black, white = pour(workshop, recipe.blend, thickness, rng)
        lab, ratio = colorimetry.lab(white, view), float(colorimetry.contrast_ratio(black, white, view))
        missed = float(colorimetry.difference(target.lab, lab))
        yield Poured(
            seed=seed,
            kind=kind,
            place=place,
            reached=recipe.reached,
            pigment=recipe.blend.total,
            tolerance=target.tolerance,
            chance=recipe.chance,
            landed=missed <= target.tolerance and ratio >= least,
            told=recipe.delta_e,
            missed=missed,
            exact=exact,
            ratio=ratio - least,
            ratio_exact=ratio_exact - least,
            off=float(colorimetry.difference(recipe.appearance.lab, lab)),
            stated=recipe.appearance.expected_error,
            ratio_off=recipe.appearance.contrast_ratio - ratio,
            ratio_stated=recipe.appearance.contrast_ratio_error,
        )


def report(all_of: list[Poured]) -> None:
    """All tables."""
    told = [each for each in all_of if each.reached]
    print(f"\n{len({(e.seed) for e in told})} workshops, {len(told)} pours of recipes said to reach their target"
          f" ({len(all_of)} of all)")  # fmt: skip
    best = [each for each in all_of if each.place == 0]
    pigment = np.mean([each.pigment for each in best if each.reached])
    print(f"{len(best) // POURS} targets, {100 * np.mean([each.reached for each in best]):.1f} % of them reached;"
          f" a first recipe that is reached holds {pigment:.3f} % of pigment")  # fmt: skip
    print(f"{'':14s} {'n':>6s} {'mean':>6s} {'95 %':>6s} {'stated':>7s} {'holds':>6s} {'CR holds':>8s} {'kept':>6s}"
          f" {'kept, exact':>11s} {'chance':>7s} {'landed':>7s} {'first: exact':>12s}")  # fmt: skip
    for kind in ("all", *bench.KINDS, "black", "strong"):
        these = [each for each in told if kind in ("all", each.kind)]
        if these:
            _row(kind, these)
    print("\nchance told, in tenths: what happened (number)")
    said = np.array([(each.chance, each.landed) for each in all_of])
    for low in np.arange(0.0, 1.0, 0.1):
        bin_of = said[(said[:, 0] >= low) & (said[:, 0] < low + 0.1 + (low > 0.85))]
        if len(bin_of):
            mean, share = bin_of.mean(axis=0)
            print(f"  {low:.1f}-{low + 0.1:.1f}: told {mean:.2f}, happened {share:.2f} ({len(bin_of)})")
    for kind in ("black", "strong"):
        dark = np.array([(each.chance, each.landed) for each in all_of if each.kind == kind])
        high = dark[dark[:, 0] >= 0.5]
        print(f"  {kind}: told {dark[:, 0].mean():.2f}, happened {dark[:, 1].mean():.2f} ({len(dark)});"
              f" where told 0.5 and more {high[:, 0].mean():.2f}, {high[:, 1].mean():.2f} ({len(high)})")  # fmt: skip


def _row(name: str, these: list[Poured]) -> None:
    def of(key: str) -> Array:
        return np.array([float(getattr(each, key)) for each in these])

    first = np.array([each.exact for each in these if each.place == 0])
    print(
        f"{name:14s} {len(these):6d} {of('off').mean():6.2f} {np.quantile(of('off'), 0.95):6.2f}"
        f" {np.median(of('stated')):7.2f} {100 * np.mean(of('off') <= of('stated')):5.1f}%"
        f" {100 * np.mean(np.abs(of('ratio_off')) <= of('ratio_stated')):7.1f}% "
        f"{100 * np.mean(of('ratio') >= 0.0):5.1f}%"
        f" {100 * np.mean(of('ratio_exact') >= 0.0):10.1f}% {of('chance').mean():7.2f} {of('landed').mean():7.2f}"
        f" {first.mean():12.3f}"
    )


def main() -> None:
    parser = parser_of(__doc__)
    args = parser.parse_args()
    report([each for some in judged(judge, args.seeds, args.jobs) for each in some])


if __name__ == "__main__":
    main()
