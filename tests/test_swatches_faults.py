"""Every fault planted in a good swatch folder is told in one line: file, row, column, and the right words."""

from __future__ import annotations

import csv
import shutil
import tempfile
from collections.abc import Sequence
from pathlib import Path

import pytest
from folder_example import (
    PALETTE,
    SWATCHES,
    WAVELENGTHS,
    Change,
    Files,
    add,
    changed,
    drop,
    every,
    good_files,
    put,
    raw,
    readings_text,
    replace,
    scale,
    write,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from tint.errors import Fault, FolderError
from tint.swatches import inspect_folder, read_folder

TOML, CASTS, READS = "palette.toml", "swatches.csv", "readings.csv"
DEMO = Path(__file__).parents[1] / "swatches_demo"
Place = tuple[str, int | None, str | None]


def toml(old: str, new: str) -> Change:
    return replace(TOML, old, new)


def header(file: str, old: str, new: str) -> Change:
    """Rename a column."""

    def change(files: Files) -> None:
        first, rest = files[file].split(b"\n", 1)
        cells = first.split(b",")
        cells[cells.index(old.encode())] = new.encode()
        files[file] = b",".join(cells) + b"\n" + rest

    return change


def regrid(first: float, step: float) -> Change:
    """Give the wavelength columns of readings.csv other names."""
    names = [f"{first + step * at:g}" for at in range(len(WAVELENGTHS))]

    def change(files: Files) -> None:
        _, rest = files[READS].split(b"\n", 1)
        files[READS] = ",".join(["swatch", "backing", "seat", "quantity", *names]).encode() + b"\n" + rest

    return change


def in_percent(*rows: int) -> Change:
    return every(*(scale(row, 100.0) for row in rows))


GRAVE: dict[str, tuple[Change, Place, str]] = {
    # Files that cannot be read as text
    "empty file": (raw(CASTS, b""), (CASTS, None, None), "the file is empty"),
    "nothing but blanks": (raw(READS, b"\n \n"), (READS, None, None), "the file is empty"),
    "nothing but commas": (raw(READS, b",,,\n"), (READS, None, None), "every cell is blank"),
    "cp1252 TOML": (
        raw(TOML, PALETTE.replace("lids", "Töpfe").encode("cp1252")),
        (TOML, 2, None),
        "expected UTF-8",
    ),
    "cp1252 TOML behind a mark of UTF-8": (
        raw(TOML, b"\xef\xbb\xbf" + PALETTE.replace("lids", "Töpfe").encode("cp1252")),
        (TOML, 2, None),
        "expected UTF-8",
    ),
    "a workbook": (raw(CASTS, b"PK\x03\x04 and more"), (CASTS, None, None), "export it as CSV"),
    "zero bytes": (raw(CASTS, SWATCHES.encode() + b"\0"), (CASTS, None, None), "zero bytes"),
    "quotation mark left open": (
        replace(CASTS, "milky-2,milky", '"milky-2,milky'),
        (CASTS, 4, None),
        "a quotation mark is out of place",
    ),
    # palette.toml
    "no TOML": (toml("density = 1.08", "density = 1,08"), (TOML, 13, None), "numbers a point"),
    "a table twice": (toml("[bases.milky]", "[bases.clear]"), (TOML, 19, None), "not valid TOML"),
    "nested too deeply": (raw(TOML, b"a=" + b"[" * 9999), (TOML, None, None), "nested too deeply"),
    "format missing": (toml("format = 1\n", ""), (TOML, None, "format"), "write format = 1"),
    "format of tomorrow": (toml("format = 1", "format = 2"), (TOML, None, "format"), "found 2; expected 1"),
    "format as text": (toml("format = 1", 'format = "1"'), (TOML, None, "format"), "found '1'; expected 1"),
    "name not text": (toml('"Pottery lids"', "7"), (TOML, None, "name"), "expected text in quotation marks"),
    "unknown key": (toml("name =", "nmae ="), (TOML, None, "nmae"), "no such key; .*did you mean name?"),
    "unknown key in a base": (
        toml("k1 = 0.03", "k3 = 0.03"),
        (TOML, None, "bases.milky.k3"),
        "expected cure, density, .*, k1, k2 and 4 more; remove it",
    ),
    "key in a backing": (
        toml("[backings.white]", '[backings.white]\nfile = "w.csv"'),
        (TOML, None, "backings.white.file"),
        "expected an empty table",
    ),
    "instrument missing": (
        toml('[instrument]\ngeometry = "di:8"\nrepeatability = 0.001\n', ""),
        (TOML, None, "instrument"),
        "the table is missing",
    ),
    "geometry": (
        toml("di:8", "8:di"),
        (TOML, None, "instrument.geometry"),
        "found '8:di'; expected di:8, de:8 or 45:0",
    ),
    "repeatability in percent": (
        toml("repeatability = 0.001", "repeatability = 0.3"),
        (TOML, None, "instrument.repeatability"),
        "found 0.3; expected a standard deviation of reflectance from 0 to 0.1",
    ),
    "cure": (
        toml('cure = "addition"', 'cure = "adition"'),
        (TOML, None, "bases.clear.cure"),
        "expected addition or condensation; did you mean addition?",
    ),
    "density in kg/m3": (
        toml("density = 1.08", "density = 1080"),
        (TOML, None, "bases.clear.density"),
        "found 1080; .*1080 kg/m3 is written 1.08",
    ),
    "density missing": (
        toml("density = 1.08\n", ""),
        (TOML, None, "bases.clear.density"),
        "the key is missing; expected g/cm3",
    ),
    "refractive index": (
        toml("refractive_index = 1.41", "refractive_index = 0.9"),
        (TOML, None, "bases.clear.refractive_index"),
        "found 0.9; expected a refractive index from 1 to 2",
    ),
    "max_loading": (
        toml("max_loading = 2.0", "max_loading = -3.0"),
        (TOML, None, "pigments.yellow.max_loading"),
        "found -3.0; expected percent above 0 and up to 100",
    ),
    "not a number in TOML": (
        toml("max_loading = 3.0", "max_loading = nan"),
        (TOML, None, "bases.clear.max_loading"),
        "found nan; expected percent",
    ),
    "true for a number": (toml("k2 = 0.55", "k2 = true"), (TOML, None, "bases.milky.k2"), "found true"),
    "k1 above 1": (toml("k1 = 0.03", "k1 = 3"), (TOML, None, "bases.milky.k1"), "a fraction from 0 to 1"),
    "a kind that is misspelt": (
        toml("price = 46.0", 'price = 46.0\nkind = "organic yelow"'),
        (TOML, None, "pigments.yellow.kind"),
        "found 'organic yelow'; expected one of titanium dioxide, .*, phthalocyanine, .*silica; "
        "did you mean organic yellow?",
    ),
    "a kind that nobody knows": (
        toml("k1 = 0.03", 'k1 = 0.03\nkind = "porridge"'),
        (TOML, None, "bases.milky.kind"),
        "found 'porridge'; expected one of titanium dioxide, .*; leave it out where none of them fits",
    ),
    "a kind that is no text": (
        toml("price = 46.0", "price = 46.0\nkind = 7"),
        (TOML, None, "pigments.yellow.kind"),
        "found 7; expected one of titanium dioxide",
    ),
    "an anisotropy beyond the tables": (
        toml("price = 46.0", "price = 46.0\ng = 0.96"),
        (TOML, None, "pigments.yellow.g"),
        "found 0.96; expected an anisotropy from 0 to 0.94; leave it out where nobody measured it",
    ),
    "an anisotropy below 0": (
        toml("k1 = 0.03", "k1 = 0.03\ng = -0.2"),
        (TOML, None, "bases.milky.g"),
        "found -0.2; expected an anisotropy from 0 to 0.94",
    ),
    "a part of mix": (
        toml("{ A = 10.0, B = 1.0 }", "{ A = 10.0, B = 0.0 }"),
        (TOML, None, "bases.milky.mix.B"),
        "found 0.0; expected parts by mass",
    ),
    "an empty mix": (
        toml("{ A = 10.0, B = 1.0 }", "{}"),
        (TOML, None, "bases.milky.mix"),
        "found a table; expected parts",
    ),
    "pigment in no part": (
        toml('B = 1.0 }\npigment_in = "A"\n\n', 'B = 1.0 }\npigment_in = "C"\n\n'),
        (TOML, None, "bases.clear.pigment_in"),
        "found 'C'; expected a part of mix: A, B",
    ),
    "cures as a number": (
        toml('["addition", "condensation"]', "1"),
        (TOML, None, "pigments.yellow.cures"),
        'write for example ["addition"]',
    ),
    "a cure in cures": (
        toml('["addition", "condensation"]', '["addition", "condensaton"]'),
        (TOML, None, "pigments.yellow.cures"),
        "found 'condensaton'; .*did you mean condensation?",
    ),
    "lot as number": (toml('"Y-117"', "117"), (TOML, None, "pigments.yellow.lot"), "text in quotation marks"),
    "a pigment that is no table": (
        toml('[pigments."deep blue"]', '[pigments]\n"deep blue" = 3'),
        (TOML, None, "pigments.deep blue"),
        "found 3; expected a table",
    ),
    "pigments that are no tables": (
        raw(TOML, ('pigments = "blue"\n' + PALETTE.split("[pigments")[0]).encode()),
        (TOML, None, "pigments"),
        "found 'blue'; expected tables",
    ),
    "no base": (
        raw(TOML, PALETTE.split("[bases")[0].encode()),
        (TOML, None, "bases"),
        "no base is declared",
    ),
    "blank name": (toml('"deep blue"', '" "'), (TOML, None, "pigments"), "the name ' ' is blank"),
    "pigment named as a column": (
        toml('"deep blue"', '"note"'),
        (TOML, None, "pigments.note"),
        "that of a column of swatches.csv; rename",
    ),
    "backing named none": (toml("backings.black", "backings.none"), (TOML, None, "backings.none"), "rename"),
    # swatches.csv
    "no header": (drop(CASTS, 1), (CASTS, 1, None), "the header has no column swatch"),
    "no swatch": (raw(CASTS, SWATCHES.split("\n")[0].encode()), (CASTS, None, None), "there is no swatch"),
    "column missing": (
        header(CASTS, "thickness_mm", "note2"),
        (CASTS, 1, None),
        "the column thickness_mm is missing",
    ),
    "unknown pigment column": (
        header(CASTS, "yellow", "yelow"),
        (CASTS, 1, "yelow"),
        "palette.toml declares no such pigment; .*did you mean yellow?",
    ),
    "grams for percent": (
        put(CASTS, 3, "yellow", "0.06 g"),
        (CASTS, 3, "yellow"),
        "divide the grams by those of the whole mix",
    ),
    "strange pigment column": (
        header(CASTS, "yellow", "ochre"),
        (CASTS, 1, "ochre"),
        "write [pigments.ochre] in palette.toml",
    ),
    "a pigment column with a space": (
        header(CASTS, "yellow", "burnt ochre"),
        (CASTS, 1, "burnt ochre"),
        'write [pigments."burnt ochre"] in palette.toml',
    ),
    "a pigment's name without quotation marks": (
        toml('[pigments."deep blue"]', "[pigments.deep blue]"),
        (TOML, 36, None),
        "names with spaces, need quotation marks",
    ),
    "column twice": (header(CASTS, "deep blue", "yellow"), (CASTS, 1, "yellow"), "stands twice"),
    "column without a name": (header(CASTS, "note", ""), (CASTS, 1, "F"), "cells but no name"),
    "inner column without a name": (header(CASTS, "yellow", ""), (CASTS, 1, "D"), "cells but no name"),
    "row too short": (
        replace(CASTS, "yellow-1,clear,2,0.5,,", "yellow-1,clear,2,0.5"),
        (CASTS, 5, None),
        "the row has 4 cells; expected 6",
    ),
    "decimal comma among commas": (
        replace(CASTS, "2.02", "2,02"),
        (CASTS, 2, None),
        "the row has 7 cells; expected 6 .*; if decimal commas are meant, separate columns by semicolons",
    ),
    "a row of semicolons": (
        replace(CASTS, "blue-1,clear,2.05,,0.2,", "blue-1;clear;2.05;;0.2;"),
        (CASTS, 7, None),
        "the row has 1 cell; .*separate every row as the header does, by commas",
    ),
    "unknown base": (
        put(CASTS, 3, "base", "claer"),
        (CASTS, 3, "base"),
        "claer is not a base of palette.toml; expected one of clear, milky; did you mean clear?",
    ),
    "blank base": (put(CASTS, 3, "base", ""), (CASTS, 3, "base"), "the cell is blank"),
    "blank swatch": (put(CASTS, 4, "swatch", ""), (CASTS, 4, "swatch"), "the swatch has no name"),
    "swatch twice": (
        put(CASTS, 6, "swatch", "yellow-1"),
        (CASTS, 6, "swatch"),
        "yellow-1 is already the swatch of row 5",
    ),
    "swatch named as a backing": (
        put(CASTS, 6, "swatch", "black"),
        (CASTS, 6, "swatch"),
        "black is the name of a backing",
    ),
    "no thickness": (put(CASTS, 2, "thickness_mm", ""), (CASTS, 2, "thickness_mm"), "blank; expected millim"),
    "thickness zero": (put(CASTS, 2, "thickness_mm", "0"), (CASTS, 2, "thickness_mm"), "thickness 0; "),
    "thickness below zero": (put(CASTS, 2, "thickness_mm", "-2"), (CASTS, 2, "thickness_mm"), "thickness -2"),
    "thickness in micrometres": (
        put(CASTS, 2, "thickness_mm", "2020"),
        (CASTS, 2, "thickness_mm"),
        "thickness 2020; expected millimetres above 0 and up to 100",
    ),
    "thickness with a unit": (
        put(CASTS, 2, "thickness_mm", "0.2 cm"),
        (CASTS, 2, "thickness_mm"),
        "'0.2 cm' is more than a number; .*it says cm: write it in millimetres",
    ),
    "loading in words": (
        put(CASTS, 5, "yellow", "a drop"),
        (CASTS, 5, "yellow"),
        "'a drop' is not a number; expected percent by mass of the finished mix, from 0 to 100",
    ),
    "loading below zero": (put(CASTS, 5, "yellow", "-0.1"), (CASTS, 5, "yellow"), "loading -0.1"),
    "loading above 100": (put(CASTS, 5, "deep blue", "100.5"), (CASTS, 5, "deep blue"), "loading 100.5"),
    "loadings above 100 together": (
        every(put(CASTS, 8, "yellow", "60"), put(CASTS, 8, "deep blue", "41")),
        (CASTS, 8, None),
        "the loadings add up to 101 percent",
    ),
    "infinite loading": (
        put(CASTS, 5, "yellow", "inf"),
        (CASTS, 5, "yellow"),
        "'inf' is not a finite number",
    ),
    "failed formula": (put(CASTS, 5, "yellow", "#DIV/0!"), (CASTS, 5, "yellow"), "a formula that failed"),
    "mixed decimal marks": (
        replace(CASTS, "4.1", '"4,1"'),
        (CASTS, 3, "thickness_mm"),
        "'4,1' and '2.02' (row 2) mix decimal commas and points",
    ),
    "thousands separator": (
        replace(CASTS, "2.05", '"1,002.05"'),
        (CASTS, 7, "thickness_mm"),
        "'1,002.05' has two kinds of marks; .*without thousands separators",
    ),
    # readings.csv: labels
    "no reading": (drop(READS, *range(2, 19)), (READS, None, None), "there is no reading"),
    "seat column missing": (header(READS, "seat", "quantity2"), (READS, 1, None), "column seat is missing"),
    "unknown reading column": (
        header(READS, "quantity", "qantity"),
        (READS, 1, "qantity"),
        "there is no such column; .*did you mean quantity?",
    ),
    "wavelength with another unit": (header(READS, "440", "440 mm"), (READS, 1, "440 mm"), "as 400 or 400 nm"),
    "reading without a swatch": (
        put(READS, 6, "swatch", "clear-5"),
        (READS, 6, "swatch"),
        "clear-5 is neither a swatch of swatches.csv nor a backing of palette.toml; did you mean clear-",
    ),
    "blank swatch of a reading": (put(READS, 6, "swatch", ""), (READS, 6, "swatch"), "has no swatch"),
    "undeclared backing": (
        put(READS, 5, "backing", "grey"),
        (READS, 5, "backing"),
        "there is no backing grey; expected one of black, white, none; declare it in palette.toml",
    ),
    "blank backing": (put(READS, 5, "backing", ""), (READS, 5, "backing"), "the cell is blank; expected one"),
    "no bare reading": (
        drop(READS, 3),
        (READS, 4, "backing"),
        "swatches were read over white, which has no bare reading; measure it bare",
    ),
    "bare reading with a seat": (
        put(READS, 3, "seat", "air"),
        (READS, 3, "seat"),
        "air stands beside the backing white; expected a blank cell",
    ),
    "bare reading over a backing": (put(READS, 3, "backing", "black"), (READS, 3, "backing"), "blank cell"),
    "transmittance of a backing": (
        put(READS, 3, "quantity", "transmittance"),
        (READS, 3, "quantity"),
        "expected its reflectance",
    ),
    "unknown seat": (put(READS, 5, "seat", "wett"), (READS, 5, "seat"), "no seat wett; .*did you mean wet?"),
    "blank seat": (
        put(READS, 5, "seat", ""),
        (READS, 5, "seat"),
        "the cell is blank; expected one of air, wet",
    ),
    "unknown quantity": (
        put(READS, 5, "quantity", "reflectence"),
        (READS, 5, "quantity"),
        "there is no quantity reflectence; .*did you mean reflectance?",
    ),
    "transmittance over a backing": (
        put(READS, 16, "backing", "black"),
        (READS, 16, "backing"),
        "transmittance over black; expected none",
    ),
    # readings.csv: the grid
    "irregular step": (
        header(READS, "460", "465"),
        (READS, 1, "465"),
        "the step changes between 440 and 465",
    ),
    "step too wide": (regrid(400, 25), (READS, 1, None), "step of 25 nm is outside 1 to 20 nm"),
    "step too fine": (regrid(400, 0.5), (READS, 1, None), "step of 0.5 nm is outside 1 to 20 nm"),
    "too short": (regrid(420, 20), (READS, 1, None), "420 to 720 nm does not cover 400 to 700 nm"),
    "in micrometres": (regrid(0.4, 0.02), (READS, 1, None), "step of 0.02 nm is outside"),
    "falling": (regrid(700, -20), (READS, 1, None), "wavelengths do not rise from column to column"),
    "a wavelength twice": (header(READS, "460", "440"), (READS, 1, "440"), "stands twice"),
    "a wavelength twice, spelt anew": (header(READS, "460", "440.0"), (READS, 1, "440.0"), "440 nm stands"),
    "no wavelengths": (
        raw(READS, b"swatch,backing,seat\nblack,,\n"),
        (READS, 1, None),
        "fewer than two wavelengths",
    ),
    # readings.csv: values
    "percent": (
        in_percent(11),
        (READS, 11, "700"),
        "80 is outside 0 to 1; it looks like percent: divide by 100",
    ),
    "percent throughout": (
        in_percent(*range(2, 19)),
        (READS, 2, "400"),
        "(and so in 16 more rows); it looks like percent",
    ),
    "a slip of the point": (
        put(READS, 11, "500", "84.2"),
        (READS, 11, "500"),
        "84.2 is outside 0 to 1; correct it, or divide the row by 100 if it is in percent",
    ),
    "far above 1": (put(READS, 11, "500", "1.21"), (READS, 11, "500"), "1.21 is outside 0 to 1"),
    "negative": (
        put(READS, 10, "420", "-0.0031"),
        (READS, 10, "420"),
        "-0.0031 is negative beyond noise",
    ),
    "blank values": (
        every(put(READS, 10, "420", ""), put(READS, 10, "460", "")),
        (READS, 10, "420"),
        "the cell is blank (and 1 more in the row); expected a number from 0 to 1; fill it in",
    ),
    "text among values": (put(READS, 10, "420", "over"), (READS, 10, "420"), "'over' is not a number"),
    "not-a-number value": (put(READS, 10, "420", "NaN"), (READS, 10, "420"), "'NaN' is not a finite number"),
    "overflow": (put(READS, 10, "420", "1e999"), (READS, 10, "420"), "'1e999' is not a finite number"),
    "percent sign in one cell": (
        put(READS, 10, "420", "12.3%"),
        (READS, 10, "400"),
        "has no sign of percent, others of the row have one; write all in percent or none",
    ),
    "underscore": (put(READS, 10, "420", "0_1"), (READS, 10, "420"), "'0_1' is "),
    "digits of another script": (put(READS, 10, "420", "٠.١"), (READS, 10, "420"), "is not a number"),
    "text in a bare reading": (put(READS, 2, "420", "x"), (READS, 2, "420"), "'x' is not a number"),
}

THIN: dict[str, tuple[Change, Place, str]] = {
    "no pigment": (
        every(
            raw(TOML, PALETTE.split("[pigments")[0].encode()),
            raw(CASTS, b"swatch,base,thickness_mm\nclear-2,clear,2\nclear-4,clear,4\nmilky-2,milky,2\n"),
            drop(READS, *range(10, 19)),
        ),
        (TOML, None, "pigments"),
        "no pigment is declared",
    ),
    "above the pigment's max_loading": (
        put(CASTS, 6, "yellow", "2.5"),
        (CASTS, 6, "yellow"),
        "loading 2.5; the pigment declares max_loading 2; correct the one or the other",
    ),
    "above the base's max_loading": (
        put(CASTS, 7, "deep blue", "3.1"),
        (CASTS, 7, None),
        "the loadings add up to 3.1 percent; base clear declares max_loading 3",
    ),
    "not safe with the cure": (
        toml('["addition", "condensation"]', '["addition"]'),
        (CASTS, 8, "yellow"),
        "cast in milky, a base of condensation cure; the pigment is not declared safe",
    ),
    "no uncoloured swatch": (
        every(drop(CASTS, 4), drop(READS, 8, 9)),
        (CASTS, None, "base"),
        "no uncoloured swatch of base milky",
    ),
    "base never cast": (
        every(drop(CASTS, 4, 8), drop(READS, 8, 9, 17, 18)),
        (CASTS, None, "base"),
        "no swatch of base milky",
    ),
    "pigment never cast": (
        toml('[pigments."deep blue"]', '[pigments."deep blue"]\n[pigments.ochre]'),
        (CASTS, None, "ochre"),
        "the pigment was never cast",
    ),
    "pigment at one loading": (
        put(CASTS, 8, "deep blue", "0.2"),
        (CASTS, None, "deep blue"),
        "the pigment was cast at one loading only, 0.2 percent",
    ),
    "one thickness": (
        every(*(put(CASTS, row, "thickness_mm", "2") for row in range(2, 9))),
        (CASTS, None, "thickness_mm"),
        "all swatches are 2 mm thick",
    ),
    "swatch without readings": (
        add(CASTS, "yellow-3,clear,2,1.5,,"),
        (CASTS, 9, "swatch"),
        "yellow-3 has no reading",
    ),
    "backing without reading": (
        toml("[backings.white]", "[backings.white]\n[backings.grey]"),
        (READS, None, None),
        "the backing grey has no reading",
    ),
    "one backing": (
        drop(READS, *(row for row in range(4, 19) if row not in (5, 7, 9, 11, 13, 14, 18))),
        (READS, None, "backing"),
        "all swatches were read over white only, in reflectance only",
    ),
    "free slab only": (
        drop(READS, *(row for row in range(4, 19) if row != 15)),
        (READS, None, "backing"),
        "all swatches were read with nothing behind, in reflectance only",
    ),
    "one way for some": (
        drop(READS, 5),
        (READS, None, "backing"),
        "swatches read in one way only: clear-2; absorption and scattering are hardly told apart",
    ),
    "wet over nothing": (
        put(READS, 15, "seat", "wet"),
        (READS, 15, "seat"),
        "seat wet with nothing behind the swatch; .*read as air",
    ),
    "slightly above 1": (
        put(READS, 11, "580", "1.04"),
        (READS, 11, "580"),
        "1.04 is above 1; .*fluorescent",
    ),
    "backings alike": (
        scale(3, 0.0, 0.1),
        (READS, None, None),
        "the backings black, white reflect nearly the same",
    ),
    "pasted twice": (
        add(READS, readings_text().split("\n")[12]),
        (READS, 19, None),
        "the values are those of row 13, to the last digit",
    ),
    "rows swapped": (
        every(put(READS, 10, "backing", "white"), put(READS, 11, "backing", "black")),
        (READS, 11, "backing"),
        "yellow-1 reads lighter over black .*a lighter backing cannot darken a swatch",
    ),
    "more light than fell in": (
        scale(16, 1.0, 0.55),
        (READS, 16, None),
        "reflectance and transmittance of blue-1 add up to",
    ),
}


def matches(fault: Fault, place: Place, words: str) -> bool:
    """Whether a fault tells this, in this place; `.*` stands for words between."""
    if (fault.file, fault.row, fault.column) != place:
        return False
    rest = str(fault)
    for part in words.split(".*"):
        _, found, rest = rest.partition(part)
        if not found:
            return False
    return True


def told(faults: tuple[Fault, ...]) -> str:
    return "\n".join(map(str, faults))


@pytest.mark.parametrize(("change", "place", "words"), GRAVE.values(), ids=GRAVE.keys())
def test_a_grave_fault_is_told(tmp_path: Path, change: Change, place: Place, words: str) -> None:
    folder = write(tmp_path / "studio", changed(change))
    with pytest.raises(FolderError) as raised:
        read_folder(folder)
    faults = raised.value.faults
    assert all(fault.grave for fault in faults)
    assert any(matches(fault, place, words) for fault in faults), told(faults)
    assert all("\n" not in str(fault) and len(str(fault)) < 400 for fault in faults)
    read, inspected = inspect_folder(folder)
    assert read is None
    assert faults == tuple(fault for fault in inspected if fault.grave)


@pytest.mark.parametrize(("change", "place", "words"), THIN.values(), ids=THIN.keys())
def test_what_is_thin_is_told_and_read_all_the_same(tmp_path: Path, change: Change, place: Place, words: str) -> None:
    read = read_folder(write(tmp_path / "studio", changed(change)))
    assert any(matches(fault, place, words) for fault in read.warnings), told(read.warnings)
    assert not any(fault.grave for fault in read.warnings)


@pytest.mark.parametrize(
    ("file", "first", "column", "dragged", "place", "words"),
    [
        (CASTS, 20, 2, "234567", (CASTS, 20, "thickness_mm"), "6 thicknesses in a row"),
        (READS, 60, 12, ["0.08123"] * 4, (READS, 60, "480"), "the same to the last digit"),
    ],
)  # fmt: skip
def test_a_dragged_cell_is_asked_about(
    tmp_path: Path, file: str, first: int, column: int, dragged: Sequence[str], place: Place, words: str
) -> None:
    studio = tmp_path / "studio"
    shutil.copytree(DEMO, studio, ignore=shutil.ignore_patterns("*.py", "*.jpg", "orders"))
    table = list(csv.reader((studio / file).read_text(encoding="utf-8").splitlines()))
    for row, cell in enumerate(dragged, start=first - 1):
        table[row][column] = cell
    with (studio / file).open("w", encoding="utf-8", newline="") as out:
        csv.writer(out).writerows(table)
    _, faults = inspect_folder(studio)
    assert any(matches(fault, place, words) for fault in faults), told(faults)


def test_all_faults_of_all_files_are_gathered(tmp_path: Path) -> None:
    change = every(
        toml('cure = "addition"', 'cure = "adition"'),
        toml("density = 1.08", "density = 1080"),
        put(CASTS, 3, "thickness_mm", "0"),
        put(CASTS, 5, "yellow", "a drop"),
        put(READS, 5, "seat", "wett"),
        put(READS, 10, "420", ""),
    )
    with pytest.raises(FolderError, match="and 5 more") as raised:
        read_folder(write(tmp_path / "studio", changed(change)))
    places = [(fault.file, fault.row, fault.column) for fault in raised.value.faults]
    assert places == [
        (TOML, None, "bases.clear.cure"),
        (TOML, None, "bases.clear.density"),
        (CASTS, 3, "thickness_mm"),
        (CASTS, 5, "yellow"),
        (READS, 5, "seat"),
        (READS, 10, "420"),
    ]


@pytest.mark.parametrize(
    ("change", "count"),
    [
        pytest.param(put(CASTS, 3, "thickness_mm", "0"), 1, id="readings of a faulty swatch"),
        pytest.param(toml("density = 1.08", "density = 1080"), 1, id="swatches of a faulty base"),
        pytest.param(put(READS, 3, "500", "x"), 1, id="readings over a faulty backing"),
        pytest.param(raw(CASTS, b""), 1, id="readings of swatches nobody can read"),
        pytest.param(in_percent(*range(2, 19)), 1, id="percent throughout"),
        pytest.param(toml("format = 1", "format = 9"), 1, id="a later format"),
        pytest.param(replace(CASTS, "clear-2,clear,2.02,", "clear-2,clear,2,02,"), 1, id="a row shifted"),
    ],
)
def test_one_slip_is_told_once(tmp_path: Path, change: Change, count: int) -> None:
    _, faults = inspect_folder(write(tmp_path / "studio", changed(change)))
    assert len(faults) == count, told(faults)


@pytest.mark.parametrize("file", [TOML, CASTS, READS])
def test_a_missing_file_is_told(tmp_path: Path, file: str) -> None:
    files = good_files()
    del files[file]
    _, faults = inspect_folder(write(tmp_path / "studio", files))
    assert [(fault.file, fault.found) for fault in faults] == [(file, "the file is missing")]


def test_a_folder_in_place_of_a_file_is_told(tmp_path: Path) -> None:
    files = good_files()
    del files[READS]
    folder = write(tmp_path / "studio", files)
    (folder / READS).mkdir()
    with pytest.raises(FolderError, match=r"readings\.csv: it cannot be opened"):
        read_folder(folder)


def test_an_empty_folder_lacks_three_files(tmp_path: Path) -> None:
    with pytest.raises(FolderError, match=r"the file is missing.*and 2 more: run `tint check"):
        read_folder(tmp_path)


@pytest.mark.parametrize("name", ["nowhere", "no\0where", "x" * 5000])
def test_a_missing_folder_is_told(tmp_path: Path, name: str) -> None:
    with pytest.raises(FolderError, match=r"name the folder that holds palette\.toml"):
        read_folder(tmp_path / name)


def test_a_file_in_place_of_the_folder_is_told(tmp_path: Path) -> None:
    write(tmp_path, good_files())
    with pytest.raises(FolderError, match="this is a file, not a folder"):
        read_folder(tmp_path / TOML)


ANYTHING = st.one_of(st.binary(max_size=300), st.text(max_size=200).map(lambda text: text.encode("utf-8", "replace")))


@settings(deadline=None)
@given(file=st.sampled_from([TOML, CASTS, READS]), content=ANYTHING)
def test_property_no_content_raises_anything_but_folder_error(file: str, content: bytes) -> None:
    check_never_anything_else({**good_files(), file: content})


@st.composite
def spoilt_files(draw: st.DrawFn) -> Files:
    """Good files with stretches of them overwritten: these come further than plain noise."""
    files = good_files()
    for _ in range(draw(st.integers(1, 3))):
        file = draw(st.sampled_from([TOML, CASTS, READS]))
        start = draw(st.integers(0, len(files[file])))
        length = draw(st.integers(0, 12))
        stuff = st.text(alphabet='aA01.,;-\t\n"\r =[]{}\x00\x85\u2028ä', max_size=8)
        patch = draw(stuff).encode()
        files[file] = files[file][:start] + patch + files[file][start + length :]
    return files


@settings(deadline=None)
@given(files=spoilt_files())
def test_property_no_spoilt_folder_raises_anything_but_folder_error(files: Files) -> None:
    check_never_anything_else(files)


def check_never_anything_else(files: Files) -> None:
    with tempfile.TemporaryDirectory() as place:
        folder = write(Path(place), files)
        read, faults = inspect_folder(folder)
        assert (read is None) == any(fault.grave for fault in faults)
        for fault in faults:
            assert len(str(fault).splitlines()) == 1
            assert str(fault).isprintable()
        if read is not None:
            assert read_folder(folder).digest == read.digest
            return
        with pytest.raises(FolderError) as raised:
            read_folder(folder)
        assert len(str(raised.value).splitlines()) == 1
