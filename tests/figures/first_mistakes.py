"""Sixty mistakes of a first folder (units, rows, cards, names, workbooks): told rightly, told wrongly, not told.

    python tests/figures/first_mistakes.py [--only WORD] [--seed N]

The folder is that of somebody who begins: 31 castings of one base in four colours. Each mistake says in which line of
`tint check` it must be found (file or casting, and the words of its cause), or that it must be understood and change
nothing. What is told besides, of other causes, counts as told wrongly when the right line is not among the first two.
"""

from __future__ import annotations

import argparse
import csv
import io
import re
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import bench
import numpy as np

from tint.checks import examine
from tint.fitting.spectra import fit_with_ground
from tint.swatches import inspect_folder

PIGMENTS = ("white", "yellow", "red", "blue", "black")
KEPT = re.compile(r"(?:clear|white|yellow|red|blue|black)-(?!.*again)[\w.]+(?:-\w+)?|peach-lid|grey-thick|smoke-shade")
Rows = list[list[str]]
UNDERSTOOD = "nothing"


@dataclass
class Files:
    """The folder as it will stand on the disk: texts and tables, edited in place."""

    palette: str
    swatches: Rows
    readings: Rows
    more: dict[str, bytes]
    as_text: dict[str, Callable[[Rows], bytes]]

    def column(self, name: str) -> int:
        return self.swatches[0].index(name)

    def cast(self, swatch: str) -> list[str]:
        return next(row for row in self.swatches if row[0] == swatch)

    def read(self, swatch: str, backing: str = "") -> list[list[str]]:
        return [row for row in self.readings[1:] if row[0] == swatch and (not backing or row[1] == backing)]


Plant = Callable[[Files], None]


def commas(rows: Rows, by: str = ",") -> bytes:
    stream = io.StringIO()
    csv.writer(stream, delimiter=by, lineterminator="\n").writerows(rows)
    return stream.getvalue().encode()


def first_folder(seed: int) -> Files:
    """The castings that a beginner has, poured with a seed; the columns of other pigments are gone."""
    with tempfile.TemporaryDirectory() as place:
        path = Path(place) / "folder"
        bench.pour_folder(path, seed=seed)
        swatches, readings = (list(csv.reader((path / f"{each}.csv").open())) for each in ("swatches", "readings"))
        palette = (path / "palette.toml").read_text()
    keep = [at for at, name in enumerate(swatches[0]) if at < 3 or name in (*PIGMENTS, "note")]
    gone = [at for at in range(len(swatches[0])) if at not in keep]
    mine = [swatches[0]] + [
        row for row in swatches[1:] if row[1] == "clear" and KEPT.fullmatch(row[0]) and not any(row[at] for at in gone)
    ]
    names = {row[0] for row in mine[1:]} | {"black", "white"}
    for table in ("ochre", "rose", "green"):
        palette = re.sub(rf"\[pigments\.{table}\]\n(?:[^\[\n].*\n)*", "", palette)
    return Files(
        re.sub(r"\[bases\.milky\]\n(?:[^\[\n].*\n|\n(?!\[))*", "", palette),
        [[row[at] for at in keep] for row in mine],
        [readings[0]] + [row for row in readings[1:] if row[0] in names],
        {},
        {},
    )


def scaled(rows: Rows, factor: float, add: float = 0.0, *, digits: int = 5) -> None:
    for row in rows:
        row[4:] = [f"{max(float(cell) * factor + add, 0.0):.{digits}f}" for cell in row[4:]]


def cell(swatch: str, column: str, change: Callable[[float], str]) -> Plant:
    def plant(files: Files) -> None:
        row, at = files.cast(swatch), files.column(column)
        row[at] = change(float(row[at]))

    return plant


def whole(column: str, change: Callable[[float], str]) -> Plant:
    def plant(files: Files) -> None:
        at = files.column(column)
        for row in files.swatches[1:]:
            row[at] = change(float(row[at])) if row[at] else ""

    return plant


def palette(old: str, new: str) -> Plant:
    def plant(files: Files) -> None:
        assert old in files.palette, old
        files.palette = files.palette.replace(old, new, 1)

    return plant


def header(table: str, change: Callable[[str], str]) -> Plant:
    def plant(files: Files) -> None:
        rows = getattr(files, table)
        rows[0] = [change(name) for name in rows[0]]

    return plant


def on_readings(edit: Callable[[Files, list[str]], None], *which: str) -> Plant:
    """Edit every reading of some castings, or of all."""

    def plant(files: Files) -> None:
        for row in files.readings[1:]:
            if not which or row[0] in which:
                edit(files, row)

    return plant


def relabelled(names: dict[str, str], at: int = 0) -> Plant:
    def edit(_: Files, row: list[str]) -> None:
        row[at] = names.get(row[at], row[at])

    return on_readings(edit)


def all_loadings(change: Callable[[float], str]) -> Plant:
    def plant(files: Files) -> None:
        for pigment in PIGMENTS:
            whole(pigment, change)(files)

    return plant


def in_percent(files: Files, row: list[str]) -> None:
    row[4:] = [f"{100.0 * float(each):.3f}" for each in row[4:]]


def sorted_names(files: Files) -> None:
    """The first column was sorted and the others were not."""
    body = [row for row in files.readings[1:] if row[1]]
    for row, name in zip(body, sorted(row[0] for row in body), strict=True):
        row[0] = name


def shifted_rows(files: Files) -> None:
    """From some row on, each name stands one casting further up."""
    names = [row[0] for row in files.swatches[1:]]
    at = names.index("red-0.2-2mm")
    moved = dict(zip(names[at : at + 6], names[at + 1 : at + 6] + names[at : at + 1], strict=True))
    relabelled(moved)(files)


def backings_swapped(*which: str) -> Plant:
    other = {"black": "white", "white": "black"}

    def edit(_: Files, row: list[str]) -> None:
        row[1] = other.get(row[1], row[1])

    return on_readings(edit, *which)


def bare(name: str, factor: Callable[[np.ndarray], np.ndarray]) -> Plant:
    """The bare readings of a card are other than those of what lay behind the castings."""

    def plant(files: Files) -> None:
        nm = np.array([float(each) for each in files.readings[0][4:]])
        for row in files.read(name):
            if not row[1]:
                row[4:] = [f"{x:.5f}" for x in np.array(row[4:], dtype=float) * factor(nm)]

    return plant


def pasted(files: Files) -> None:
    files.readings.append(["blue-0.8-3mm", *files.read("red-1-3mm", "white")[0][1:]])


def swap_casts(one: str, two: str, columns: slice) -> Plant:
    def plant(files: Files) -> None:
        first, second = files.cast(one), files.cast(two)
        first[columns], second[columns] = second[columns], first[columns]

    return plant


def book(edit: Callable[[dict[str, Rows]], None] | None = None, *, beside: bool = False, old: bool = False) -> Plant:
    """The tables as a workbook, after an edit of its cells."""

    def plant(files: Files) -> None:
        import openpyxl

        sheets: dict[str, Rows] = {"swatches": files.swatches, "readings": files.readings}
        sheets = {title: [list(row) for row in rows] for title, rows in sheets.items()}
        if edit:
            edit(sheets)
        made = openpyxl.Workbook()
        made.remove(made.active)
        for title, rows in sheets.items():
            sheet = made.create_sheet(title)
            for row in rows:
                sheet.append([typed(each) for each in row])
        stream = io.BytesIO()
        made.save(stream)
        files.more["swatches.xlsx"] = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(512) if old else stream.getvalue()
        if not beside:
            files.as_text = dict.fromkeys(("swatches", "readings"), lambda _: b"")

    return plant


def typed(text: str) -> object:
    try:
        return float(text)
    except ValueError:
        return text or None


def spelt(write: Callable[[Rows], bytes], *tables: str) -> Plant:
    def plant(files: Files) -> None:
        files.as_text |= dict.fromkeys(tables or ("swatches", "readings"), write)

    return plant


def decimal_commas(rows: Rows) -> bytes:
    return commas([[each.replace(".", ",") if typed(each) != each else each for each in row] for row in rows], ";")


def put(title: str, row: int, column: int, text: str) -> Callable[[dict[str, Rows]], None]:
    def edit(sheets: dict[str, Rows]) -> None:
        sheets[title][row][column] = text

    return edit


def comma_as_text(sheets: dict[str, Rows]) -> None:
    row = sheets["readings"][8]
    row[9] = row[9].replace(".", ",")


def several(*plants: Plant) -> Plant:
    def plant(files: Files) -> None:
        for each in plants:
            each(files)

    return plant


def insert_units(*tables: str) -> Plant:
    def plant(files: Files) -> None:
        if "swatches" in tables:
            files.swatches.insert(1, ["", "", "mm", *["%"] * len(PIGMENTS), ""])
        if "readings" in tables:
            files.readings.insert(1, ["", "", "", "", *["0-1"] * (len(files.readings[0]) - 4)])

    return plant


ORANGE = "red-0.2-2mm"
# What is planted, where and in which words it must be told, and how it is planted.
MISTAKES: list[tuple[str, str, Plant]] = [
    # units
    ("all thicknesses in cm", r"thickness_mm.*centimet", whole("thickness_mm", lambda x: f"{x / 10:.3f}")),
    ("one thickness in cm", rf"{ORANGE}.*centimet", cell(ORANGE, "thickness_mm", lambda x: f"{x / 10:.3f}")),
    ("all thicknesses in inches", r"thickness_mm.*inch", whole("thickness_mm", lambda x: f"{x / 25.4:.4f}")),
    ("one thickness in micrometres", r"row \d+, column thickness_mm: thickness \d{4}.*µm",
     cell(ORANGE, "thickness_mm", lambda x: f"{1000 * x:.0f}")),
    ("a header thickness (cm)", r"thickness \(cm\).*mm", header("swatches", lambda c: c.replace("_mm", " (cm)"))),
    ("a unit in the cell", UNDERSTOOD, cell(ORANGE, "thickness_mm", lambda x: f"{x:g} mm")),
    ("a header thickness (mm)", UNDERSTOOD, header("swatches", lambda c: c.replace("_mm", " (mm)"))),
    ("headers white [%]", UNDERSTOOD, header("swatches", lambda c: f"{c} [%]" if c in PIGMENTS else c)),
    ("one dose ten times too large", rf"{ORANGE}, red.*(?:tenth|decimal point)",
     cell(ORANGE, "red", lambda x: f"{10 * x:g}")),
    ("one dose a tenth", rf"{ORANGE}, red.*(?:ten times|decimal point)", cell(ORANGE, "red", lambda x: f"{x / 10:g}")),
    ("a white dose a tenth", r"white-0.4-2mm, white.*(?:ten times|decimal point)",
     cell("white-0.4-2mm", "white", lambda x: f"{x / 10:g}")),
    ("doses as fractions of one", r"loadings.*fraction", all_loadings(lambda x: f"{x / 100:g}")),
    ("readings in percent", r"readings.csv.*percent", on_readings(in_percent)),
    ("one casting in percent", r"readings.csv, row.*percent", on_readings(in_percent, ORANGE)),
    ("readings in percent that say so", UNDERSTOOD,
     several(on_readings(in_percent), header("readings", lambda c: f"{c} [%]" if c.isdigit() else c))),
    ("density in kg/m3", r"density.*1080 kg/m3 is written 1.08", palette("density = 1.08", "density = 1080")),
    # rows
    ("labels of two castings swapped", r"(?:red-tint-2.*blue-tint-2|blue-tint-2.*red-tint-2).*swapped",
     relabelled({"red-tint-2": "blue-tint-2", "blue-tint-2": "red-tint-2"})),
    ("labels of two thin castings swapped", r"(?:yellow-0.2-2mm.*red-0.2-2mm|red-0.2-2mm.*yellow-0.2-2mm).*swapped",
     relabelled({"yellow-0.2-2mm": ORANGE, ORANGE: "yellow-0.2-2mm"})),
    ("blends of two rows swapped", r"(?:blue-0.15-2mm.*red-0.2-2mm|red-0.2-2mm.*blue-0.15-2mm).*swapped",
     swap_casts(ORANGE, "blue-0.15-2mm", slice(2, 8))),
    ("thicknesses of two rows swapped", r"swapped|white-0.1-1mm|white-0.1-4mm",
     swap_casts("white-0.1-1mm", "white-0.1-4mm", slice(2, 3))),
    ("names one row too far", r"mixed_up", shifted_rows),
    ("the column of names sorted alone", r"mixed_up", sorted_names),
    ("cards of one casting swapped", rf"{ORANGE}.*(?:rows or cards|swapped)", backings_swapped(ORANGE)),
    ("cards of all castings swapped", r"all cards.*swapped", backings_swapped()),
    ("the bare cards' names swapped", r"all cards.*swapped",
     relabelled({"black": "white", "white": "black"})),
    ("a row pasted under another name", r"row \d+.*to the last digit", pasted),
    ("one cell lost in a row", r"readings.csv, row 20: the row has \d+ cells",
     lambda f: f.readings[19].__delitem__(-1)),
    ("two castings of one name", r"swatches.csv, row.*already the swatch",
     lambda f: f.swatches.append(list(f.swatches[5]))),
    ("a casting without its row", r"readings.csv, row.*neither a swatch", lambda f: f.swatches.remove(f.cast(ORANGE))),
    ("a casting never read", rf"{ORANGE} has no reading",
     lambda f: setattr(f, "readings", [r for r in f.readings if r[0] != ORANGE])),
    ("a spectrum one column too far",
     rf"{ORANGE}.*(?:column|nm).*(?:shift|further)|{ORANGE}: .*(?:moved by 1 column|mixed up)",
     on_readings(lambda _, r: r.__setitem__(slice(4, None), [r[4], *r[4:-1]]), ORANGE)),
    ("a spectrum from red to blue", rf"{ORANGE}.*(?:reverse|backwards|mixed up)",
     on_readings(lambda _, r: r.__setitem__(slice(4, None), r[:3:-1]), ORANGE)),
    # cards
    ("a dirty white card, read bare last", r"^(?!.*yellow-)white.*(?:card|bare)",
     bare("white", lambda nm: 0.95 + 0 * nm)),
    ("a yellowed white card, read bare last", r"^(?!.*yellow-)white.*(?:card|bare)",
     bare("white", lambda nm: 1.0 - 0.15 * np.exp(-(nm - 400.0) / 60.0))),
    ("a white tile in place of the card", r"white.*(?:card|bare)", bare("white", lambda nm: 1.1 + 0 * nm)),
    ("a grey card in place of the black", r"black.*(?:card|bare)", bare("black", lambda nm: 2.5 + 0 * nm)),
    ("one bare reading of three dirty", r"white.*(?:card|bare)", lambda f: scaled(f.read("white")[-1:], 0.97)),
    ("no bare reading of the white card", r"white, which has no bare reading|white has no reading",
     lambda f: setattr(f, "readings", [r for r in f.readings if r[0] != "white"])),
    ("seat wet for air", rf"{ORANGE}.*(?:seat|wet|card|mixed up)|all.*seat",
     on_readings(lambda _, r: r.__setitem__(2, {"air": "wet", "wet": "air"}.get(r[2], "")), ORANGE)),
    ("specular excluded, stated di:8", r"below_the_face", on_readings(lambda _, r: scaled([r], 1.0, -0.03))),
    # names
    ("a pigment misspelt in the header", r"column blu: .*did you mean blue",
     header("swatches", lambda c: "blu" if c == "blue" else c)),
    ("a base misspelt", r"row \d+, column base: claer.*did you mean clear|row \d+, column base.*clear",
     lambda f: f.cast(ORANGE).__setitem__(1, "claer")),
    ("a casting misspelt in the readings", r"row \d+, column swatch: red-02-2mm.*did you mean red-0.2-2mm",
     relabelled({ORANGE: "red-02-2mm"})),
    ("a card misspelt", r"column backing: .*did you mean white",
     lambda f: f.read(ORANGE, "white")[0].__setitem__(1, "wihte")),
    ("a pigment that is not declared", r"pigments.black|column black: palette.toml declares no such pigment",
     palette("[pigments.black]", "[pigments.schwarz]")),
    ("cure = platinum", UNDERSTOOD, palette('cure = "addition"', 'cure = "platinum"')),
    ("cures = tin", UNDERSTOOD, palette('cures = ["addition", "condensation"]', 'cures = ["platinum", "tin"]')),
    ("geometry = d/8 SCI", UNDERSTOOD, palette('geometry = "di:8"', 'geometry = "d/8 SCI"')),
    ("capitals in the header", UNDERSTOOD, header("swatches", str.title)),
    ("a key misspelt", r"bases.clear.desity.*did you mean density", palette("density = 1.08", "desity = 1.08")),
    # workbooks and spreadsheets
    ("decimal commas", UNDERSTOOD, spelt(decimal_commas)),
    ("a sep= line, cp1252", UNDERSTOOD,
     spelt(lambda rows: b"sep=;\r\n" + commas([*rows[:1], *[[*r[:-1], r[-1] or "grün"] for r in rows[1:]]], ";")
           .decode().encode("cp1252"), "swatches")),
    ("blank rows and columns behind", UNDERSTOOD,
     spelt(lambda rows: commas([[*r, "", ""] for r in rows] + [[""] * (len(rows[0]) + 2)] * 3, ";"))),
    ("units in a second row", UNDERSTOOD, insert_units("swatches", "readings")),
    ("a workbook", UNDERSTOOD, book()),
    ("a workbook beside other CSVs", r"contradicts swatches.xlsx",
     book(put("swatches", 3, 2, "9"), beside=True)),
    ("an old workbook", r"swatches.xlsx: this is a spreadsheet workbook of the old kind", book(old=True)),
    ("a dose that became a date", r"sheet swatches, row 8.*date", book(put("swatches", 7, 3, "2026-02-05"))),
    ("a formula that failed", r"sheet readings, row 9.*formula that failed", book(put("readings", 8, 9, "#DIV/0!"))),
    ("numbers as text with commas in a workbook", UNDERSTOOD, book(comma_as_text)),
]  # fmt: skip


def told(files: Files) -> list[str]:
    """What `tint check` tells, a line each: of the files first, then findings."""
    with tempfile.TemporaryDirectory() as place:
        path = Path(place)
        (path / "palette.toml").write_text(files.palette, encoding="utf-8")
        for name in ("swatches", "readings"):
            data = files.as_text.get(name, commas)(getattr(files, name))
            if data:
                (path / f"{name}.csv").write_bytes(data)
        for name, data in files.more.items():
            (path / name).write_bytes(data)
        folder, faults = inspect_folder(path)
        lines = [str(each) for each in faults if each.grave or "UTF-8" not in each.found]
        if folder is None:
            return [str(each) for each in faults if each.grave]
        found = examine(folder, *fit_with_ground(folder))
        return lines + [f"{each.where}: {each.kind}: {each.words}; {each.mend}" for each in found]


def plain(line: str) -> str:
    """A line without its numbers, and wherever the table stands."""
    return re.sub(r"\d+", "#", line.replace("swatches.xlsx, sheet swatches", "swatches.csv"))


def main() -> None:
    """Plant each mistake, and count."""
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--only", default="", metavar="WORD", help="only mistakes whose name holds this")
    asked.add_argument("--seed", type=int, default=6100)
    asked.add_argument("--verbose", action="store_true", help="show all that is told")
    given = asked.parse_args()
    started, counted = time.time(), Counter[str]()
    usual = {plain(line) for line in told(first_folder(given.seed))}
    print(f"{len(usual)} lines of the folder without a mistake: {sorted(usual)}")
    for name, wanted, plant in MISTAKES:
        if given.only not in name:
            continue
        files = first_folder(given.seed)
        plant(files)
        try:
            lines = [line for line in told(files) if plain(line) not in usual]
        except Exception as error:  # a crash is told wrongly
            lines = [f"CRASHED: {error!r}"]
        if wanted == UNDERSTOOD:
            outcome = "rightly" if not lines else "wrongly"
        else:
            right = [at for at, line in enumerate(lines) if re.search(wanted, line)]
            outcome = "rightly" if right and right[0] < 2 else "wrongly" if lines else "not told"
        counted[outcome] += 1
        print(
            f"{outcome:9s} {name}",
            *[f"\n          {line[:230]}" for line in lines[: 9 if given.verbose else 2]],
            flush=True,
        )
    print(f"{dict(counted)} of {sum(counted.values())}; {time.time() - started:.0f} s")


if __name__ == "__main__":
    main()
