"""What each number of the fit that has no source is worth: held-out error and coverage with it halved and doubled.

`python tests/figures/judgement.py 1000:1012` fits random workshops with every such number as it is, and then with one
after another changed. A number that moves neither by more than the draws' own scatter is a matter of taste, and says so
beside itself by naming this script; one that does is where it is because both ways are worse.
"""

from __future__ import annotations

import argparse
import importlib

import numpy as np
import workshops

# Module of tint.fitting, number, what it is multiplied by.
NUMBERS = (
    ("priors", "_SLOPE", (0.5, 2.0)),
    ("priors", "_WAVE", (0.5, 2.0)),
    ("priors", "_STRENGTH", (0.6, 1.7)),
    ("priors", "_WIDE", (0.3, 3.0)),
    ("priors", "_LEAST_SHARE", (0.5, 2.0)),
    ("priors", "_FAINT", (0.5, 2.0)),
    ("spectra", "_DOUBT", (0.5, 2.0)),
    ("spectra", "_SETTLED", (0.5, 2.0)),
    ("rounds", "_OUTLYING", (0.8, 1.5)),
    ("rounds", "_CROWD", (0.8, 1.5)),
    ("problem", "INDEX_SD", (0.5, 2.0)),
    ("leaving_out", "_MOST_GROUPS", (0.5, 2.0)),
    ("leaving_out", "_MOST_CASTINGS", (0.5, 2.0)),
    ("leaving_out", "_LADDER", (0.75, 1.2)),
    ("leaving_out", "_DEPTHS", (0.95, 1.2)),
    ("posterior", "_KEPT", (0.97, 1.015)),
)


def judged(seeds: range) -> tuple[float, float, float]:
    """Mean and 95th percentile of what was missed [CIEDE2000], and how often the stated error held [%]."""
    told = [each for seed in seeds for each in workshops.judge(seed).told]
    missed, stated = np.array([(each.missed, each.stated) for each in told]).T
    return float(missed.mean()), float(np.percentile(missed, 95)), 100.0 * float(np.mean(missed <= stated))


def main() -> None:
    """Print the table."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("seeds", nargs="?", default="1000:1012")
    first, last = (int(each) for each in asked.parse_args().seeds.split(":"))
    seeds = range(first, last)
    print("number, value: mean, 95 %, stated error holds for", flush=True)
    print("as they are: {:.3f} {:.2f} {:.1f} %".format(*judged(seeds)), flush=True)
    for place, name, factors in NUMBERS:
        module = importlib.import_module(f"tint.fitting.{place}")
        usual = getattr(module, name)
        for factor in factors:
            changed = type(usual)(usual * factor)
            setattr(module, name, changed)
            told = "{:.3f} {:.2f} {:.1f} %".format(*judged(seeds))
            print(f"{place}.{name} {changed:g} for {usual:g}: {told}", flush=True)
        setattr(module, name, usual)


if __name__ == "__main__":
    main()
