"""What `tint check` finds in sound folders: random workshops, poured and read with no more than their own errors.

    python tests/figures/false_alarms.py 1000:1020 [--jobs 2]

A finding about what a folder lacks (no tint of a pigment, one thickness, a pigment cast only where it hides) is true of
such plans. One about a casting, a reading or a card is a false alarm: nothing is wrong with them.
"""

from __future__ import annotations

import tempfile
import warnings
from collections import Counter
from pathlib import Path

import random_workshops as bench
from seeds import judged, parser_of

from tint.checks import examine
from tint.fitting.spectra import fit_with_ground
from tint.swatches import read_folder

LACKING = {"no_tint", "one_thickness", "near_hiding", "close_loadings"}


def judge(seed: int) -> tuple[int, list[tuple[str, str]]]:
    """How many castings a workshop's folder has, and what is found in it."""
    warnings.simplefilter("ignore")
    poured = bench.pour(seed)
    texts = {
        "swatches.csv": poured.swatches_csv, "readings.csv": poured.readings_csv, "palette.toml": poured.palette_toml,
    }  # fmt: skip
    with tempfile.TemporaryDirectory() as place:
        for name, text in texts.items():
            (Path(place) / name).write_text(text, encoding="utf-8")
        folder = read_folder(Path(place))
        found = examine(folder, *fit_with_ground(folder))
    return len(folder.swatches), [(each.kind, f"{seed}: {each}") for each in found]


def main() -> None:
    args = parser_of(__doc__).parse_args()
    castings, every = 0, []
    for count, found in judged(judge, list(args.seeds), args.jobs):
        castings += count
        every += found
    alarms = [words for kind, words in every if kind not in LACKING]
    lacking = Counter(kind for kind, _ in every if kind in LACKING)
    print(f"{len(args.seeds)} sound folders, {castings} castings: {len(alarms)} false alarms")
    print(*alarms, sep="\n")
    print("what they lack: " + ", ".join(f"{kind} {count}" for kind, count in lacking.most_common()))


if __name__ == "__main__":
    main()
