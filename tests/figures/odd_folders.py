"""Fits of folders with odd designs: how many fail, and whether anything in a palette is not a number.

    python tests/figures/odd_folders.py FIRST LAST

The folders are those of random_workshops.odd: one thickness, one backing, one pigment, equal castings, no white, pure
dyes, a black that hides at once, noise ten times what is stated, and more, alone and together. A folder counts as sound
when `read_folder` takes it.
"""

from __future__ import annotations

import argparse
import tempfile
import traceback
from collections import Counter
from pathlib import Path

import numpy as np
import random_workshops as bench

from tint.appearance import Setting, predict
from tint.errors import TintError
from tint.fitting import fit_palette
from tint.materials import Blend
from tint.swatches import read_folder


def judge(seed: int) -> str:
    """What went wrong with one folder; empty when nothing did."""
    poured = bench.odd(seed)
    with tempfile.TemporaryDirectory() as place:
        bench.write(poured, Path(place))
        try:
            folder = read_folder(place)
        except TintError as error:
            return f"not read: {error}"
        try:
            palette = fit_palette(folder)
            arrays = (palette.k, palette.s, palette.g, palette.local, palette.modes, palette.index_error)
            if not all(np.isfinite(each).all() for each in arrays) or (palette.k < 0).any() or (palette.s < 0).any():
                return "a palette with something that is not a number, or below zero"
            for name, seen in palette.seen.items():
                blend = Blend(name, {pigment: 0.5 * most for pigment, most in list(seen.max_loading.items())[:3]})
                said = predict(palette, blend, setting=Setting(thickness_mm=2.0))
                if not np.isfinite([*said.lab, said.expected_error]).all():
                    return "a prediction that is not a number"
        except Exception:  # whatever it is, it is what this script looks for
            return traceback.format_exc().strip().splitlines()[-1]
    return ""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("first", type=int)
    parser.add_argument("last", type=int)
    args = parser.parse_args()
    faults: Counter[str] = Counter()
    for seed in range(args.first, args.last):
        found = judge(seed)
        if found:
            print(f"{seed} {bench.odd(seed).workshop.plan}: {found}", flush=True)
            faults[found[:60]] += 1
    print(f"{args.last - args.first} folders, {faults.total()} failed")


if __name__ == "__main__":
    main()
