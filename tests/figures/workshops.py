"""Predictions in many random workshops: how far off, whether the stated error holds, and the worst of each.

    python tests/figures/workshops.py 0:200 [--each] [--jobs 2] [--dispersion | --mie] [--colours]

Every workshop (random_workshops.py) has its own pigments, base, instrument, errors and plan of castings, poured by
radiative transfer that shares no code with tint. Its folder is fitted as it stands, and blends that are in no folder
are predicted and set against castings of them, poured and read with the workshop's own errors. CIEDE2000, D65, 10
degrees, over the black and the white card.
"""

from __future__ import annotations

import argparse
import itertools
import multiprocessing
import resource
import sys
import tempfile
import time
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

import numpy as np
import random_workshops as bench
from numpy.typing import NDArray

sys.path.append(str(Path(__file__).resolve().parents[1]))
from studio_files import as_colours

from tint import colorimetry
from tint.appearance import Appearance, Setting, predict
from tint.errors import TintError
from tint.fitting import fit_palette
from tint.materials import Blend
from tint.palette import Palette
from tint.swatches import read_folder
from tint.uncertainty import chance

Array = NDArray[np.float64]

BOLDNESS = ("inside", "novel pair", "thickness outside", "loading outside", "base's pigment")
TOLERANCES = (0.25, 0.5, 1.0)  # CIEDE2000, about the prediction itself moved by a known amount


@dataclass(frozen=True, kw_only=True)
class Told:
    """One prediction beside one reading.

    Parameters
    ----------
    missed, ordered : float
        CIEDE2000 to the casting as poured and read, and to the blend exactly as written.
    stated : float
        The error that the prediction states [CIEDE2000].
    ratio_missed, ratio_stated : float
        Of the contrast ratio; the first signed.
    chances : tuple of (float, bool)
        What was said of the chance to land within a tolerance of a colour, and whether it did.
    """

    seed: int
    plan: str
    lobe: float
    kind: str
    bold: frozenset[str]
    missed: float
    ordered: float
    stated: float
    ratio_missed: float
    ratio_stated: float
    chances: tuple[tuple[float, bool], ...]


@dataclass(frozen=True, kw_only=True)
class Workshop:
    """One workshop judged; `fault` says why its fit failed."""

    seed: int
    plan: str
    castings: int
    seconds: float
    told: tuple[Told, ...]
    note: str = ""
    fault: str = ""


def judge(seed: int, *, dispersion: bool = False, mie: bool = False, colours: bool = False) -> Workshop:
    """Fit one workshop and set its predictions against what was poured.

    With `colours` a colorimeter reads it, of which X, Y and Z are as noisy as each wavelength is.
    """
    stock = poured(seed, dispersion=dispersion, mie=mie)
    plan = stock.workshop.plan
    with tempfile.TemporaryDirectory() as place:
        bench.write(stock, Path(place))
        try:
            folder = read_folder(place)
            if colours:
                reflected = tuple(each for each in folder.readings if each.quantity == "reflectance")
                folder = as_colours(replace(folder, readings=reflected), seed=seed)
            began = time.process_time()
            palette = fit_palette(folder)
            seconds = time.process_time() - began
        except TintError as error:
            return Workshop(seed=seed, plan=plan, castings=0, seconds=0.0, told=(), fault=str(error))
    view = colorimetry.viewing(palette.wavelengths)
    pairs = {
        frozenset(pair)
        for swatch in folder.swatches
        for pair in itertools.combinations([name for name, x in swatch.loadings.items() if x > 0.0], 2)
    }
    told = []
    rng = np.random.default_rng([seed, 7])
    for sample in stock.samples:
        bold = boldness(palette, sample, pairs)
        for over in ("black", "white"):
            setting = Setting(thickness_mm=sample.thickness, over=over)
            said = predict(palette, Blend(sample.base, sample.loadings), setting=setting)
            read = colorimetry.lab(getattr(sample.read, over), view)
            if colours:
                noise = palette.instrument.noise * rng.standard_normal(3)
                shares = colorimetry.lab_to_xyz(read, np.ones(3)) + noise
                read = colorimetry.xyz_to_lab(np.maximum(shares, 1e-4), np.ones(3))
            ordered = colorimetry.lab(getattr(sample.ordered, over), view)
            told.append(
                Told(
                    seed=seed,
                    plan=plan,
                    lobe=stock.workshop.back_lobe,
                    kind=sample.kind,
                    bold=bold,
                    missed=float(colorimetry.difference(said.lab, read)),
                    ordered=float(colorimetry.difference(said.lab, ordered)),
                    stated=said.expected_error,
                    ratio_missed=said.contrast_ratio - sample.read.contrast_ratio,
                    ratio_stated=said.contrast_ratio_error,
                    chances=_chances(said, read, sample.read.contrast_ratio, rng),
                )
            )
    note = f"index {palette.index[0]:.3f} model error {palette.model_error:.4f}"
    return Workshop(seed=seed, plan=plan, castings=len(folder.swatches), seconds=seconds, told=tuple(told), note=note)


def poured(seed: int, *, dispersion: bool = False, mie: bool = False) -> bench.Poured:
    if not mie:
        return bench.pour(seed, index_away=bench.index_away() if dispersion else None)
    import mie_stock  # needs miepython

    return bench.cast(mie_stock.workshop_of(seed))


def boldness(palette: Palette, sample: bench.Sample, pairs: set[frozenset[str]]) -> frozenset[str]:
    """In what way a blend lies outside what was cast; empty for one inside."""
    seen = palette.seen[sample.base]
    held = {name: x for name, x in sample.loadings.items() if x > 0.0}
    bold = set()
    if any(frozenset(pair) not in pairs for pair in itertools.combinations(held, 2)):
        bold.add("novel pair")
    thin, thick = seen.thickness_mm
    if not thin / 1.05 <= sample.thickness <= thick * 1.05:
        bold.add("thickness outside")
    if any(x > 1.02 * seen.max_loading.get(name, np.inf) for name, x in held.items()):
        bold.add("loading outside")
    if any(name not in seen.max_loading for name in held):
        bold.add("base's pigment")
    return frozenset(bold)


def _chances(said: Appearance, read: Array, ratio: float, rng: np.random.Generator) -> tuple[tuple[float, bool], ...]:
    """Chances of landing near colours some way off the prediction, as a recipe's target is, and what happened."""
    result = []
    for tolerance in TOLERANCES:
        target = said.lab + rng.normal(0.0, 0.3 * tolerance, 3)
        least = said.contrast_ratio - abs(rng.normal(0.0, 0.01))
        likely = chance(
            said.lab, said.contrast_ratio, said.covariance, target, tolerance, partial(_short_of, least=least)
        )
        landed = float(colorimetry.difference(target, read)) <= tolerance and ratio >= least
        result.append((likely, landed))
    return tuple(result)


def _short_of(ratio: Array, *, least: float) -> Array:
    return np.minimum(ratio - least, 0.0)


def table(title: str, groups: dict[str, list[Told]]) -> None:
    """One row a group."""
    print(f"\n{title:22s} {'n':>6s} {'mean':>6s} {'95 %':>6s} {'max':>6s} {'stated':>7s} {'holds':>7s} {'ratio':>6s}"
          f" {'CR off':>7s} {'holds':>7s}")  # fmt: skip
    for name, told in groups.items():
        if not told:
            continue
        missed, stated = (np.array([getattr(each, key) for each in told]) for key in ("missed", "stated"))
        off, said = (np.array([getattr(each, key) for each in told]) for key in ("ratio_missed", "ratio_stated"))
        print(
            f"{name:22s} {len(told):6d} {missed.mean():6.3f} {np.quantile(missed, 0.95):6.2f} {missed.max():6.2f}"
            f" {np.median(stated):7.2f} {100 * np.mean(missed <= stated):6.1f}%"
            f" {np.median(stated) / np.median(missed):6.2f}"
            f" {np.abs(off).mean():7.4f} {100 * np.mean(np.abs(off) <= said):6.1f}%"
        )


def report(workshops: list[Workshop]) -> None:
    """All tables."""
    told = [each for workshop in workshops for each in workshop.told]
    failed = [each for each in workshops if each.fault]
    print(f"\n{len(workshops)} workshops, fits that failed: {len(failed)}")
    for each in failed:
        print(f"  {each.seed} {each.plan}: {each.fault}")
    table("all", {"all": told})
    table("kind", {kind: [each for each in told if each.kind == kind] for kind in bench.KINDS})
    by_bold = {"inside": [each for each in told if not each.bold]}
    by_bold |= {bold: [each for each in told if bold in each.bold] for bold in BOLDNESS[1:]}
    table("boldness", by_bold)
    table("plan", {plan: [each for each in told if each.plan == plan] for plan in bench.PLANS})
    table(
        "lobe", {f"{lobe:g}": [each for each in told if each.lobe == lobe] for lobe in sorted({t.lobe for t in told})}
    )
    means = sorted((np.mean([t.missed for t in w.told]), w.seed, w.plan) for w in workshops if w.told)
    print("\nworst workshops (mean):", ", ".join(f"{mean:.2f} ({seed}, {plan})" for mean, seed, plan in means[:-6:-1]))
    held = sorted((np.mean([t.missed <= t.stated for t in w.told]), w.seed, w.plan) for w in workshops if w.told)
    print("least coverage:", ", ".join(f"{100 * share:.0f} % ({seed}, {plan})" for share, seed, plan in held[:6]))
    rich = [np.mean([t.missed <= t.stated for t in w.told]) for w in workshops if w.castings >= 60 and w.told]
    if rich:
        print(f"workshops of 60 castings and more: {len(rich)}, least coverage {100 * min(rich):.0f} %")
    print(f"to the blend exactly as written: mean {np.mean([t.ordered for t in told]):.3f}")
    print("\nchance said, in tenths: what happened (number)")
    said = np.array([chance for each in told for chance in each.chances])
    for low in np.arange(0.0, 1.0, 0.1):
        these = said[(said[:, 0] >= low) & (said[:, 0] < low + 0.1 + (low > 0.85))]
        if len(these):
            mean, share = these.mean(axis=0)
            print(f"  {low:.1f}-{low + 0.1:.1f}: said {mean:.2f}, happened {share:.2f} ({len(these)})")
    print(f"\nprocessor time of a fit: median {np.median([w.seconds for w in workshops]):.1f} s, "
          f"most {max(w.seconds for w in workshops):.1f} s; "
          f"peak memory {resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024:.0f} MB")  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("seeds", nargs="+", help="FIRST:LAST or FIRST:LAST:STEP")
    parser.add_argument("--each", action="store_true", help="a line a workshop")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--dispersion", action="store_true", help="the index of every base runs with the wavelength")
    parser.add_argument("--mie", action="store_true", help="pigments scatter as Mie's theory has it; needs miepython")
    parser.add_argument("--colours", action="store_true", help="a colorimeter reads L*, a*, b* only")
    args = parser.parse_args()
    seeds = [seed for part in args.seeds for seed in range(*map(int, part.split(":")))]
    done = []
    with multiprocessing.get_context("spawn").Pool(args.jobs) as pool:
        for each in pool.imap(partial(judge, dispersion=args.dispersion, mie=args.mie, colours=args.colours), seeds):
            done.append(each)
            if args.each:
                missed, stated = (np.array([getattr(t, key) for t in each.told]) for key in ("missed", "stated"))
                line = f"{each.seed:5d} {each.plan:12s} {each.castings:3d} castings {each.seconds:5.1f} s {each.note}"
                if len(missed):
                    line += f" mean {missed.mean():.2f} max {missed.max():.2f} stated {np.median(stated):.2f}"
                    line += f" holds {100 * np.mean(missed <= stated):.0f} %"
                print(line, each.fault, flush=True)
            elif sys.stderr.isatty():
                print(f"\r{len(done)}", end="", file=sys.stderr)
    report(done)


if __name__ == "__main__":
    main()
