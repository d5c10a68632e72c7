"""How well a workshop's castings predict after 12, 20 and 40 of them: planned by tint, as a ladder, and at random.

    python tests/figures/first_plans.py 1000:1010 [--counts 12,20,40] [--ways plan,ladder,random] [--aims 24]

Workshops of random_workshops.py, with three moulds; each way casts its own folder, poured and read by radiative
transfer that shares no code with tint. Held-out blends are the bench's; beside them stand blends drawn as the plan's
promise draws them, poured with all errors, for the promised error against the one found. What `tint check` asks about
each first folder is counted.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import random_workshops as bench

from tint import colorimetry
from tint.appearance import Setting, predict
from tint.checks import examine
from tint.fitting.spectra import fit_with_ground
from tint.materials import Base, Blend, Pigment
from tint.palette import Palette
from tint.planning import drawn, missed, next_swatches
from tint.starting.plan import first_swatches
from tint.swatches import SwatchFolder, inspect_folder

MOULDS = (1.0, 2.0, 3.0)
LADDER = (0.1, 1.0, 0.02)  # shares of a pigment's largest loading, a rung at a time


def shelf(workshop: bench.Workshop) -> tuple[dict[str, Base], dict[str, Pigment]]:
    bases = {
        name: Base(
            name=name, cure="addition", density=1.08, refractive_index=1.41, max_loading=bench.BASE_MAX_LOADING,
            mix={"A": 1.0, "B": 1.0}, pigment_in="A",
        )
        for name in workshop.bases
    }  # fmt: skip
    pigments = {
        name: Pigment(name=name, cures=("addition",), max_loading=most) for name, most in workshop.max_loading.items()
    }
    return bases, pigments


def casting(at: int, blend: Blend, mould: float) -> bench.Casting:
    return bench.Casting(name=f"c{at:02d}", base=blend.base, mould_mm=mould, loadings=dict(blend.loadings))


def ladder(workshop: bench.Workshop, count: int) -> list[tuple[Blend, float]]:
    """Bases alone, then every pigment alone rung by rung, then tints."""
    most, home = workshop.max_loading, next(iter(workshop.bases))
    rows = [(Blend(base), MOULDS[-1]) for base in workshop.bases]
    for at, share in enumerate(LADDER):
        rows += [(Blend(home, {n: bench._digits(share * m, 3)}), MOULDS[at]) for n, m in most.items()]
    rows += [(Blend(base), MOULDS[0]) for base in workshop.bases]
    for mould in (MOULDS[0], MOULDS[-1]):
        rows += [(Blend(home, {"white": 0.6, n: 0.1 * m}), mould) for n, m in most.items() if n != "white"]
    return rows[:count]


def at_random(workshop: bench.Workshop, count: int) -> list[tuple[Blend, float]]:
    """Bases alone, each pigment once in some blend, then anything: one to three pigments, even in the logarithm."""
    rng = np.random.default_rng([workshop.seed, 5])
    most, bases = workshop.max_loading, list(workshop.bases)
    rows = [(Blend(base), float(rng.choice(MOULDS))) for base in bases]
    first = [str(name) for name in rng.permutation(list(most))]
    while len(rows) < count:
        names = [first.pop()] if first else []
        others = [name for name in most if name not in names]
        names += [str(n) for n in rng.choice(others, int(rng.integers(1, 4)) - len(names), replace=False)]
        doses = {name: most[name] * 10 ** rng.uniform(-2.0, 0.0) for name in names}
        excess = max(sum(doses.values()) / bench.BASE_MAX_LOADING, 1.0)
        blend = Blend(str(rng.choice(bases)), {n: bench._digits(x / excess, 3) for n, x in doses.items()})
        rows.append((blend, float(rng.choice(MOULDS))))
    return rows


class Pourer:
    """Castings poured once each, in order, by one way."""

    def __init__(self, workshop: bench.Workshop, way: str) -> None:
        self.workshop = workshop
        self.rng = np.random.default_rng([workshop.seed, sum(map(ord, way))])
        self.rows: list[bench.Casting] = []
        self.thick: list[float] = []
        self.readings = list(bench._bare(workshop, self.rng))

    def add(self, rows: list[tuple[Blend, float]]) -> None:
        for blend, mould in rows:
            each = casting(len(self.rows) + 1, blend, mould)
            depth, written = bench._depth(mould, self.workshop, self.rng)
            doses = bench._doses(each.loadings, self.workshop, self.rng)
            spectra = bench._over(bench._solve(self.workshop, each.base, doses, depth))
            for backing, spectrum in zip(("black", "white"), spectra, strict=True):
                read = bench._read(spectrum, self.workshop, self.rng)
                self.readings.append([each.name, backing, "air", "", *bench._printed(read)])
            self.rows.append(each)
            self.thick.append(written)

    def folder(self) -> tuple[SwatchFolder, list[str]]:
        workshop = replace(self.workshop, castings=tuple(self.rows))
        head = ["swatch", "backing", "seat", "quantity", *(f"{w:.0f}" for w in bench.wavelengths())]
        with tempfile.TemporaryDirectory() as place:
            poured = bench.Poured(
                workshop=workshop,
                swatches_csv=bench._swatches(workshop, self.thick),
                readings_csv=bench._table(head, self.readings),
                palette_toml=bench._palette(workshop),
                samples=(),
            )
            bench.write(poured, Path(place))
            read, faults = inspect_folder(Path(place))
        assert read is not None, faults
        return read, [fault.found for fault in faults]


def away(palette: Palette, samples: tuple[bench.Sample, ...]) -> np.ndarray:
    """Missed and stated, shape (n, 2)."""
    view, rows = colorimetry.viewing(palette.wavelengths), []
    for sample in samples:
        for over in ("black", "white"):
            said = predict(
                palette, Blend(sample.base, sample.loadings), setting=Setting(thickness_mm=sample.thickness, over=over)
            )
            read = colorimetry.lab(getattr(sample.read, over), view)
            rows.append((float(colorimetry.difference(said.lab, read)), said.expected_error))
    return np.array(rows)


def aims(palette: Palette, workshop: bench.Workshop, count: int) -> list[tuple[Blend, Setting, np.ndarray]]:
    """Blends as the promise draws them, poured and read with all errors."""
    rng, poured = np.random.default_rng([workshop.seed, 9]), []
    for blend, setting in drawn(palette, list(workshop.bases))[:count]:
        depth = setting.thickness_mm + workshop.thickness_error_mm * rng.standard_normal()
        doses = bench._doses(blend.loadings, workshop, rng)
        try:
            spectra = bench._over(bench._solve(workshop, blend.base, doses, depth))
        except ArithmeticError:
            continue
        poured.append((blend, setting, bench._read(spectra[setting.over == "white"], workshop, rng)))
    return poured


def found(palette: Palette, poured: list[tuple[Blend, Setting, np.ndarray]]) -> np.ndarray:
    view = colorimetry.viewing(palette.wavelengths)
    said = [predict(palette, blend, setting=setting).lab for blend, setting, _ in poured]
    return np.array(
        [colorimetry.difference(a, colorimetry.lab(r, view)) for a, (_, _, r) in zip(said, poured, strict=True)]
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("seeds")
    parser.add_argument("--counts", default="12,20,40")
    parser.add_argument("--ways", default="plan,ladder,random")
    parser.add_argument("--aims", type=int, default=24)
    parser.add_argument("--minutes", type=float, default=60.0, help="begin no workshop after these")
    args = parser.parse_args()
    counts, ways = [int(n) for n in args.counts.split(",")], args.ways.split(",")
    told: dict[tuple[str, int], list[np.ndarray]] = {(way, n): [] for way in ways for n in counts}
    promises: dict[int, list[tuple[float, float, float]]] = {n: [] for n in counts}
    asked: Counter[str] = Counter()
    began, done = time.monotonic(), 0
    for seed in range(*map(int, args.seeds.split(":"))):
        if time.monotonic() - began > 60.0 * args.minutes:
            break
        samples = bench.pour(seed).samples
        workshop = bench.draw(seed)
        bases, pigments = shelf(workshop)
        mine, line = None, f"{seed} {len(pigments)} pigments {len(bases)} bases:"
        for way in ways:
            pourer, promised = Pourer(workshop, way), np.nan
            palette: Palette | None = None
            for count in counts:
                if way == "plan" and palette is None:
                    rows = [(c.blend, c.thickness_mm) for c in first_swatches(bases, pigments, moulds_mm=MOULDS)]
                elif way == "plan":
                    assert palette is not None
                    plan = next_swatches(palette, count=count - len(pourer.rows), thicknesses_mm=MOULDS)
                    promised = plan.castings[-1].missed_after
                    rows = [(c.blend, c.thickness_mm) for c in plan.castings]
                else:
                    rows = {"ladder": ladder, "random": at_random}[way](workshop, count)[len(pourer.rows) :]
                pourer.add(rows)
                folder, warned = pourer.folder()
                palette, fitted = fit_with_ground(folder, optics="many-flux")
                rows_away = away(palette, samples)
                told[way, count].append(rows_away)
                line += f" {way}{len(pourer.rows)} {rows_away[:, 0].mean():.2f}"
                if way == "plan":
                    mine = mine or aims(palette, workshop, args.aims)
                    if mine:
                        missing = float(np.sqrt(np.mean(found(palette, mine) ** 2)))
                        now, _ = missed(palette, drawn(palette, list(workshop.bases)))
                        promises[count].append((promised, now, missing))
                        line += f" (promised {promised:.2f}, says {now:.2f}, found {missing:.2f})"
                    asks = examine(folder, palette, fitted) if count == counts[0] else ()
                    line += "".join(f" [{each.kind} {each.where}: {each.words}]" for each in asks)
                    kinds = [*(f"warning: {each}" for each in warned), *(each.kind for each in asks)]
                    asked.update(f"{count}: {kind[:60]}" for kind in kinds)
        done += 1
        print(line, flush=True)
    print(f"{done} workshops\n{'':16s}   mean   95 %  holds")
    for (way, count), each in told.items():
        judged = np.concatenate(each)
        off = judged[:, 0]
        print(
            f"{way:8s} {count:3d}    {off.mean():7.2f} {np.quantile(off, 0.95):6.2f} "
            f"{100 * np.mean(off <= judged[:, 1]):5.1f} %"
        )
    for count, pairs in promises.items():
        if pairs and count > counts[0]:
            mean = np.sqrt(np.nanmean(np.array(pairs) ** 2, axis=0))
            middle = np.nanmedian(np.array(pairs), axis=0)
            print(f"{count:3d} castings: promised, says, found: rms {mean.round(2)}, median {middle.round(2)}")
    print("check:", dict(asked), file=sys.stdout)


if __name__ == "__main__":
    main()
