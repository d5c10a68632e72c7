"""Faults planted in folders of the bench: which are found, under which name; and what is found in clean folders.

`python tests/figures/planted.py [--clean N] [--faults WORD]` pours folders of other luck than the demo's. With
`--limits N` it plants faults of rising size instead, each in N folders, and counts how often they are found.
"""

from __future__ import annotations

import argparse
import csv
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import bench

from tint.checks import Finding, examine
from tint.fitting.spectra import fit_with_ground
from tint.swatches import read_folder

SEED = 4100
Rows = list[dict[str, str]]
LABELS = ("swatch", "backing", "seat", "quantity")


def change(folder: Path, file: str, edit: Callable[[Rows], Rows]) -> None:
    """Write a table of the folder again, edited."""
    with (folder / file).open(newline="", encoding="utf-8") as open_file:
        rows = list(csv.DictReader(open_file))
    edited = edit(rows)
    with (folder / file).open("w", newline="", encoding="utf-8") as open_file:
        writer = csv.DictWriter(open_file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(edited)


def raised(row: dict[str, str], by: Callable[[float, float], float]) -> dict[str, str]:
    """A reading with every value changed: `by` takes the wavelength [nm] and the value."""
    return {k: v if k in LABELS else f"{max(by(float(k), float(v)), 0.0):.5f}" for k, v in row.items()}


def first(rows: Rows, swatch: str, backing: str, by: Callable[[float, float], float], *, skip: int = 0) -> Rows:
    """Change one reading of a swatch over a backing: the first, or one after it."""
    at = [n for n, row in enumerate(rows) if (row["swatch"], row["backing"]) == (swatch, backing)][skip]
    return [raised(row, by) if n == at else row for n, row in enumerate(rows)]


def every(rows: Rows, swatches: Callable[[str], bool], by: Callable[[float, float], float]) -> Rows:
    return [raised(row, by) if swatches(row["swatch"]) and row["backing"] else row for row in rows]


def readings(edit: Callable[[Rows], Rows]) -> Callable[[Path], None]:
    return lambda folder: change(folder, "readings.csv", edit)


def castings(edit: Callable[[Rows], Rows]) -> Callable[[Path], None]:
    return lambda folder: change(folder, "swatches.csv", edit)


def swap_backings(rows: Rows) -> Rows:
    other = {"black": "white", "white": "black"}
    return [
        row | {"backing": other.get(row["backing"], row["backing"])} if row["swatch"] == "red-0.2-2mm" else row
        for row in rows
    ]


def swap_labels(rows: Rows) -> Rows:
    other = {"red-tint-2": "blue-tint-2", "blue-tint-2": "red-tint-2"}
    return [row | {"swatch": other.get(row["swatch"], row["swatch"])} for row in rows]


def written(swatch: str, column: str, factor: float) -> Callable[[Rows], Rows]:
    """The casting was other than the table says: what is written is changed, not what was poured."""

    def edit(rows: Rows) -> Rows:
        return [
            row | {column: f"{float(row[column]) * factor:.4g}"} if row["swatch"] == swatch else row for row in rows
        ]

    return edit


def only(keep: Callable[[dict[str, str]], bool]) -> Callable[[Path], None]:
    """The folder had other castings never been poured."""

    def plant(folder: Path) -> None:
        gone: set[str] = set()

        def edit(rows: Rows) -> Rows:
            gone.update(row["swatch"] for row in rows if not keep(row))
            return [row for row in rows if keep(row)]

        change(folder, "swatches.csv", edit)
        change(folder, "readings.csv", lambda rows: [row for row in rows if row["swatch"] not in gone])

    return plant


def holds(row: dict[str, str], pigment: str) -> float:
    return float(row[pigment] or 0.0)


# What is planted; the kind it must be found as; what must stand in `where`; how to plant it.
FAULTS: list[tuple[str, str, str, Callable[[Path], None]]] = [
    ("replicate 0.010 too high", "replicates", "white-0.4-2mm",
     readings(lambda rows: first(rows, "white-0.4-2mm", "white", lambda _, r: r + 0.010, skip=1))),
    ("cards swapped on one casting", "darker_over_lighter", "red-0.2-2mm", readings(swap_backings)),
    ("specular excluded, di:8 stated", "below_the_face", " more",
     readings(lambda rows: every(rows, lambda _: True, lambda _, r: r - 0.0289))),
    ("specular excluded, one casting", "below_the_face", "black-0.4-3mm",
     readings(lambda rows: every(rows, lambda name: name == "black-0.4-3mm", lambda _, r: r - 0.0289))),
    ("reads up to 1.1 at 620-660 nm", "fluorescence", "red-1-3mm",
     readings(lambda rows: every(rows, lambda name: name == "red-1-3mm",
                                 lambda w, r: min(r + 0.45 * (600 < w < 670), 1.15)))),
    ("emits 0.10 at 540-600 nm", "fluorescence", "yellow",
     readings(lambda rows: every(rows, lambda name: name.startswith("yellow-") and "tint" not in name,
                                 lambda w, r: r + 0.10 * (530 < w < 610)))),
    ("one value 0.030 too high", "jump", "green-0.15-2mm, 550",
     readings(lambda rows: first(rows, "green-0.15-2mm", "white", lambda w, r: r + 0.030 * (w == 550)))),
    ("step of 0.030 from 560 nm on", "jump", "ochre-0.3-2mm, 550 to 560",
     readings(lambda rows: first(rows, "ochre-0.3-2mm", "white", lambda w, r: r + 0.030 * (w >= 560)))),
    ("one value 0.020 too high", "jump", "green-0.15-2mm, 550",
     readings(lambda rows: first(rows, "green-0.15-2mm", "white", lambda w, r: r + 0.020 * (w == 550)))),
    ("white card 0.020 darker, last bare reading", "backing_changed", "white",
     readings(lambda rows: first(rows, "white", "", lambda _, r: r - 0.020, skip=2))),
    ("all castings 3 mm thick", "one_thickness", "clear",
     only(lambda row: 2.8 < float(row["thickness_mm"]) < 3.2)),
    ("no blue with white", "no_tint", "blue", only(lambda row: not (holds(row, "blue") and holds(row, "white")))),
    ("black only where it hides", "near_hiding", "black",
     only(lambda row: not holds(row, "black") or holds(row, "black") >= 0.35)),
    ("red at 0.3 and 0.4 % only", "close_loadings", "red",
     only(lambda row: not holds(row, "red") or 0.25 < holds(row, "red") < 0.45)),
    ("red dosed 15 % above what is written", "strength", "red-0.2-2mm, red",
     castings(written("red-0.2-2mm", "red", 1 / 1.15))),
    ("black in a tint 15 % below", "strength", "black-tint-2, white or black",
     castings(written("black-tint-2", "black", 1 / 0.85))),
    ("thickness 15 % off", "thickness", "peach-lid", castings(written("peach-lid", "thickness_mm", 1.15))),
    ("thickness 15 % off, white", "thickness", "white-0.4-2mm",
     castings(written("white-0.4-2mm", "thickness_mm", 0.85))),
    ("red dosed 8 % above what is written", "strength", "red-0.2-2mm, red",
     castings(written("red-0.2-2mm", "red", 1 / 1.08))),
    ("black in a tint 10 % below", "strength", "black-tint-2, white or black",
     castings(written("black-tint-2", "black", 1 / 0.9))),
    ("thickness 10 % off", "thickness", "peach-lid", castings(written("peach-lid", "thickness_mm", 1.10))),
    ("thickness 10 % off, white", "thickness", "white-0.4-2mm",
     castings(written("white-0.4-2mm", "thickness_mm", 0.90))),
    ("labels of two castings swapped", "mixed_up", "tint-2", readings(swap_labels)),
]  # fmt: skip


# Likewise, by size: faults so small that the stated errors and the model's own error may hide them.
GRADED: list[tuple[str, str, str, tuple[float, ...], Callable[[float], Callable[[Path], None]]]] = [
    ("red dosed so many % above what is written", "strength", "red-0.2-2mm, red", (6, 8, 10, 12, 15),
     lambda size: castings(written("red-0.2-2mm", "red", 1 / (1 + size / 100)))),
    ("black in a tint so many % below", "strength", "black-tint-2", (8, 10, 12, 15, 20),
     lambda size: castings(written("black-tint-2", "black", 1 / (1 - size / 100)))),
    ("thickness so many % off, white", "thickness", "white-0.4-2mm", (10, 15, 20),
     lambda size: castings(written("white-0.4-2mm", "thickness_mm", 1 - size / 100))),
    ("one value so much too high", "jump", "green-0.15-2mm, 550", (0.010, 0.015, 0.020),
     lambda size: readings(lambda rows: first(rows, "green-0.15-2mm", "white",
                                              lambda w, r: r + size * (w == 550)))),
]  # fmt: skip
LIMITS_SEED = 7700


def limits(folders: int) -> None:
    """Print how often faults of rising size are found and rightly named."""
    for name, kind, where, sizes, plant in GRADED:
        for size in sizes:
            found = [found_in(plant(size), LIMITS_SEED + number) for number in range(folders)]
            right = sum(any(each.kind == kind and where in each.where for each in one) for one in found)
            print(f"{name:44}  {size:6g}: {right} of {folders}", flush=True)


def found_in(plant: Callable[[Path], None] | None, seed: int) -> tuple[Finding, ...]:
    """What is found in a folder poured with a seed, after a fault was planted."""
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "folder"
        bench.pour_folder(path, seed=seed)
        if plant is not None:
            plant(path)
        folder = read_folder(path)
        return examine(folder, *fit_with_ground(folder))


def main() -> None:
    """Print both tables."""
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--clean", type=int, default=50, metavar="N", help="how many clean folders")
    asked.add_argument("--faults", default="", metavar="WORD", help="only planted faults whose name holds this")
    asked.add_argument("--limits", type=int, metavar="N", help="instead, faults of rising size in N folders each")
    given = asked.parse_args()
    if given.limits:
        limits(given.limits)
        return
    started, caught, others = time.time(), 0, 0
    chosen = [(number, fault) for number, fault in enumerate(FAULTS) if given.faults in fault[0]]
    for number, (name, kind, where, plant) in chosen:
        found = found_in(plant, SEED + number)
        right = [each for each in found if each.kind == kind and where in each.where]
        more = [f"{each.kind} ({each.where})" for each in found if each not in right]
        caught, others = caught + bool(right), others + len(more)
        print(f"{'found ' if right else 'MISSED'}  {name:42}  {kind:20}  {right[0].words if right else ''}")
        if more:
            print(f"        besides: {'; '.join(more)}")
    print(f"{caught} of {len(chosen)} planted faults found and rightly named; {others} other findings beside them.")
    alarms = 0
    for seed in range(SEED + 1000, SEED + 1000 + given.clean):
        found = found_in(None, seed)
        alarms += bool(found)
        for each in found:
            print(f"clean folder {seed}: {each.kind} ({each.where}): {each.words}")
    print(f"{alarms} of {given.clean} clean folders raise a false alarm; {time.time() - started:.0f} s.")


if __name__ == "__main__":
    main()
