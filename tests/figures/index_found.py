"""The refractive index that castings tell, where 1.41 is stated, and what knowing it is worth.

`python tests/figures/index_found.py 520:540` fits random workshops, whose true index lies from 1.39 to 1.43, as tint
does and with the index held as stated, and compares held-out castings.
"""

from __future__ import annotations

import argparse

import numpy as np
import workshops
from random_workshops import pour

from tint.fitting import problem


def main() -> None:
    """Print the errors of the index, and of held-out colours with and without it."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("seeds", nargs="?", default="520:540")
    first, last = (int(each) for each in asked.parse_args().seeds.split(":"))
    free, held, off, inside = [], [], [], []
    stated_sd = problem.INDEX_SD
    for seed in range(first, last):
        true = next(iter(pour(seed).workshop.index.values()))
        with_index = workshops.judge(seed)
        problem.INDEX_SD = 1e-6
        without = workshops.judge(seed)
        problem.INDEX_SD = stated_sd
        found = float(with_index.note.split()[1])
        off.append((found - true, 1.41 - true))
        free += [each.missed for each in with_index.told]
        held += [each.missed for each in without.told]
        inside.append(abs(found - true) < abs(1.41 - true))
        now, before = (np.mean([each.missed for each in of.told]) for of in (with_index, without))
        print(
            f"{seed} {with_index.plan:11} true {true:.4f} found {found:.3f}; held out {now:.3f}, {before:.3f} as stated"
        )
    error = np.abs(np.array(off))
    for name, of in zip(("found", "stated"), error.T, strict=True):
        print(f"index {name}: off by {of.mean():.4f} in the mean, {np.percentile(of, 95):.4f} in 95 %, {of.max():.4f}")
    print(f"nearer than stated in {100 * np.mean(inside):.0f} % of {len(inside)} workshops")
    for name, misses in (("index fitted", free), ("index as stated", held)):
        told = np.array(misses)
        print(f"{name}: held out {told.mean():.3f} {np.percentile(told, 95):.2f} {told.max():.2f} CIEDE2000")


if __name__ == "__main__":
    main()
