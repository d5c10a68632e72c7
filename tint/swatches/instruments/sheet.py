"""A table of an instrument's export: where its header stands, and what its label columns and the lines above tell."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from pathlib import PurePath
from typing import Any

from tint.errors import Gathered, InputError, quoted
from tint.spectra import NEEDED_NM
from tint.swatches.instruments.measurement import Measurement
from tint.swatches.instruments.words import (
    OF_SPHERE,
    SPECULAR,
    WAVELENGTHS_NM,
    Said,
    bare,
    geometry_in,
    in_english,
    quantity_in,
    specular_in,
    triple_columns,
    wavelength_in,
    with_gloss,
)
from tint.swatches.records import PHOTOGRAPH
from tint.swatches.tables import Cells, Header, Row, find_header, rows_below
from tint.swatches.text import Marks, note_marks, number, numbers, tell_marks, without_percent

# What is a header, and the words in it: common practice, no source.
LEAST_COLUMNS = 5  # wavelengths that make a row a header
_MOSTLY = 0.75  # share of the steps from one to the next that go one way
_LONGEST_SAYING = 80  # characters of a line that is understood to say the scale
_SPAN = re.compile(r"\d+(?:\.\d+)?\s*(?:nm)?\s*(?:-|–|~|\.\.+|to)\s*\d.*")  # 400-700: it is told of a wavelength
_OF_LAMPS = {"power", "intensity", "counts"}  # words that say nothing of what was measured where they stand above it
_WAVELENGTH_WORDS = {"wavelength", "wavelengths", "nm", "lambda", "wl", "λ", "nanometers", "nanometres"}
# In other units than nm they are found to be out of range, and told so.
_WAVELENGTH_WORDS |= {f"{word}{unit}" for word in _WAVELENGTH_WORDS for unit in ("nm", "innm", "um", "μm", "a")}
_OTHER_AXIS = re.compile(r"wave ?number|cm\^?(?:-1|⁻¹)|1/cm|\bev\b|energy|\b(?:time|seconds?|frequency|[gt]hz)\b", re.I)


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """A table of an export, to be gone through once: its header, its rows, and what is wrong or odd in it."""

    header: Header
    rows: Iterator[Row]
    file: str
    faults: Gathered
    marks: Marks = field(default_factory=dict)

    @property
    def is_spectral(self) -> bool:
        """Whether it holds spectra, not colours alone."""
        return has_header(self.header.cells) or any(map(holds_wavelengths, self.header.cells))

    def checked(self) -> Iterator[Row]:
        """The rows, each fault raised as it is met."""
        for row in self.rows:
            self.faults.stop()
            yield row
        tell_marks(self.marks, self.faults)
        self.faults.stop()

    def numbers(self, row: Row, places: Sequence[int]) -> tuple[list[float], bool]:
        """The numbers of a row, and whether they carry the sign of percent; decimal marks are noted."""
        if len(self.marks) < 2:
            note_marks(row.number, row.cells, places, self.header.cells, self.marks)
        return numbers(row.cells, places, self.header.cells, where=f"{self.file}, row {row.number}")


def sheet_in(text: str, file: str) -> Sheet | None:
    """The table in a text; None when no header with wavelengths, Lab or XYZ is found in it."""
    found, faults = find_header(text, _named), Gathered(file)
    return Sheet(header=found[1], rows=rows_below(*found, faults), file=file, faults=faults) if found else None


def _named(cells: Cells, before: Sequence[Cells]) -> Cells | None:
    """The names of the columns, where a row is a header; or those of a row that is numbers without any header."""
    if has_header(cells) or any(triple_columns(cells).values()):
        return cells
    if len(cells) > 1 and any(map(holds_wavelengths, cells)) and not (len(cells) == 2 and _SPAN.fullmatch(cells[1])):
        names = _names_above(cells, before) if len(cells) > 2 and len(set(cells[1:])) == 1 else ()
        # Where the header tells one unit over and over, the names stand further up.
        return (cells[0], *(f"{name} ({cells[1]})" for name in names)) if names else cells
    values = [number(without_percent(without_nm(cells[0]))), *(number(without_percent(cell)) for cell in cells[1:])]
    low, high = WAVELENGTHS_NM
    if len(values) < 2 or any(each is None for each in values) or not low <= (values[0] or 0.0) <= high:
        return None
    as_wide = [each for each in before if len(each) == len(cells)]
    # Numbers further up begin with something else: pixels, micrometres.
    if any(_OTHER_AXIS.search(each[0]) or all(number(cell) is not None for cell in each) for each in as_wide):
        return None
    names = _names_above(cells, before)
    more = names or [f"column {at}" for at in range(2, len(cells) + 1)]
    return ("wavelength", *(more if len(cells) > 2 or names else ["value"]))


def _names_above(cells: Cells, before: Sequence[Cells]) -> Cells:
    """The names of samples that stand side by side, from a row above their numbers; empty where none is such a row."""
    as_wide = [each for each in before if len(each) == len(cells) and all(each[1:])]
    alike = [each for each in as_wide if len(set(each[1:])) == len(each) - 1]
    words = [each for each in alike if any(number(cell) is None for cell in each[1:])]
    named = [each for each in as_wide if bare(each[0]) in ROLES["name"]] or (
        (words or alike)[-1:] if len(cells) > 2 else []
    )
    return named[0][1:] if named else ()


def has_header(cells: Sequence[str]) -> bool:
    """Whether wavelengths name columns: enough of them, and most rise or most fall, as values near 100 do not."""
    found = [nm for each in cells if (nm := wavelength_in(each, plain=True)) is not None]
    steps = [two - one for one, two in itertools.pairwise(found) if one != two]  # two columns may share a wavelength
    most = max(sum(step > 0.0 for step in steps), sum(step < 0.0 for step in steps))
    return len(found) >= LEAST_COLUMNS and most >= max(_MOSTLY * len(steps), 1)


def is_grid(cells: Sequence[str]) -> bool:
    """Whether the header has a grid over what is needed: a corner may say `wavelength`, and samples be numbered."""
    found = [nm for each in cells if (nm := wavelength_in(each, plain=True)) is not None]
    return has_header(cells) and min(found) <= NEEDED_NM[0] and max(found) >= NEEDED_NM[1]


def without_nm(cell: str) -> str:
    """A wavelength without its unit."""
    return cell[:-2].rstrip() if cell.lower().endswith("nm") else cell


def holds_wavelengths(column: str) -> bool:
    """Whether the column holds wavelengths, so that each row is one point of a spectrum."""
    return bare(column) in _WAVELENGTH_WORDS and number(without_nm(column)) is None


def unit_of(header: Header, at: int) -> str:
    """What a row of units says of a column, in small letters; empty where there is none."""
    return header.units[at].lower() if at < len(header.units) else ""


# What the label columns mean: names, backings, and how it was measured.

ROLES: Mapping[str, tuple[str, ...]] = {
    "name": ("swatch", "name", "samplename", "sample", "sampleid", "label", "specimen", "title", "patch", "id"),
    "backing": ("backing", "samplebacking"),
    "seat": ("seat",),
    "quantity": ("quantity", "measurementtype", "mode", "measurementmode"),
    "geometry": ("geometry", "measurementgeometry", "specular", "specularcomponent", "specularmode"),
    "instrument": ("instrument", "instrumentation", "device"),
    "light": ("light", "illuminant"),
    "observer": ("observer",),
    "source": ("source",),
    "replicate": ("replicate", "repeat", "rep", "reading", "scan", "run", "measurement"),
}


def label_places(columns: Sequence[str]) -> dict[str, int]:
    """Where in a row each role of `ROLES` that has a column stands; of several columns the one that it prefers."""
    by_word = {bare(column): at for at, column in reversed(list(enumerate(columns)))}
    return {role: by_word[found[0]] for role, words in ROLES.items() if (found := [w for w in words if w in by_word])}


def labelled(
    sheet: Sheet, row: Row, places: Mapping[str, int], *, words: Mapping[str, str], name: str = ""
) -> Measurement:
    """What the label cells of a row, at places as of `label_places`, or facts above the table tell; without values.

    `words` are the cells of the row that are no values, by their columns: one may be SCI, or the name of a quantity,
    whatever its column is. A row without a name of its own has that of `name`, or of the file.
    """
    header, file = sheet.header, sheet.file
    cell: dict[str, Any] = {role: _label(header, row, role, places) for role in ROLES}
    place = f"row {row.number}"
    geometry = geometry_in(cell["geometry"]) or cell["geometry"]
    specular = SPECULAR.get(geometry, "") or specular_in(cell["geometry"]) or _specular_of(words)
    if (alone := in_english(geometry).lower()) in OF_SPHERE:  # under a heading such as `Specular component`
        specular = alone
    if specular and geometry not in SPECULAR:  # an instrument's words for a sphere: SCI is di:8, SCE is de:8
        geometry = OF_SPHERE[specular]
    quantity = _quantity(cell["quantity"], "quantity" in places and bool(row.cells[places["quantity"]]))
    quantity, scale = (quantity, "") if quantity else _quantity_of(header, words)
    if quantity not in ("", "reflectance", "transmittance"):
        expected = "reflectance or transmittance"
        raise InputError(f"{file}, {place}", f"the quantity {quoted(cell['quantity'] or quantity)}", expected)
    return Measurement(
        **{role: cell[role] for role in ("backing", "seat", "instrument", "light")},
        name=cell["name"] or name or PurePath(file).stem,
        quantity=quantity,
        geometry=geometry,
        specular=specular,
        observer=cell["observer"].removesuffix("°").removesuffix("º"),
        scale=scale,
        source=PHOTOGRAPH if cell["source"].lower() == PHOTOGRAPH else "",  # what else a column of that name may say
        file=file,
        place=place,
        told={column.lower(): word for column, word in words.items()},
    )


_STEMS = {
    "reflectance": ("reflect", "remission"), "transmittance": ("transmi",), "absorbance": ("absorb", "densit"),
    "emission": ("emissi", "radian"),
}  # fmt: skip


def _quantity(words: str, is_cell: bool) -> str:
    """Reflectance or transmittance, by the word that an instrument has for its mode; else the words themselves.

    A line above the table may say much of a mode that is none of the two; a cell of a column of quantities may not.
    """
    low = in_english(words).lower()
    if is_cell and specular_in(low):
        return ""
    if is_cell and low in ("r", "t", "%r", "%t"):
        return "reflectance" if "r" in low else "transmittance"
    found = [kind for kind, stems in _STEMS.items() if any(stem in low for stem in stems)]
    return found[0] if len(found) == 1 else low if is_cell else ""


def _quantity_of(header: Header, words: Mapping[str, str]) -> tuple[str, str]:
    """What a cell of a row, or of the lines above, says by nothing but the name of a quantity; and the scale."""
    letters = {cell.strip("% ").upper() for column, cell in words.items() if _OF_KIND.search(in_english(column))}
    if len(letters & {"R", "T"}) == 1:
        return "transmittance" if "T" in letters else "reflectance", ""
    above = [cell for cells in header.before for cell in cells if cell and cell.lower() not in _OF_LAMPS]
    above += header.cells[:1]  # the corner of a table may say what its cells are
    for cells in (words.values(), above):
        told = {quantity_in(part) for cell in cells for part in (cell, cell.partition(":")[2])} - {("", False)}
        kinds = {kind for kind, _ in told}
        if len(kinds) == 1:
            return kinds.pop(), "percent" * any(percent for _, percent in told)
    return "", "percent" * _percent_above(header)


_LONGEST_GLOSS = 21  # characters of a cell that says no more than that: (specular excluded)
_OF_KIND = re.compile(r"\b(?:type|mode|kind|r/t|quantity)\b", re.IGNORECASE)
_YES, _NO = {"yes", "y", "ja", "oui", "si", "sí", "true", "1", "x"}, {"no", "n", "nein", "non", "false", "0"}
_IN, _EX = {"in", "inc", "incl", "i", "included"}, {"ex", "exc", "excl", "e", "excluded"}


def _specular_of(words: Mapping[str, str]) -> str:
    """Whether a cell of a row is just SCI or SCE, whatever its column is called, or answers what its column asks."""
    said = set()
    for column, cell in words.items():
        word, asked = in_english(cell).lower().strip(" ()[]."), specular_in(column)
        if len(cell) <= _LONGEST_GLOSS and specular_in(cell):
            said.add(specular_in(cell))
        elif asked and word in _YES | _NO:
            said.add(asked if word in _YES else ({*OF_SPHERE} - {asked}).pop())
        elif word in _IN | _EX and re.search(r"spe[cx]", in_english(column).lower()):
            said.add("included" if word in _IN else "excluded")
    return said.pop() if len(said) == 1 else ""


def _label(header: Header, row: Row, role: str, places: Mapping[str, int]) -> str:
    if role in places and row.cells[places[role]]:
        return " ".join(row.cells[places[role]].split())
    above = {bare(word): told for word, told in reversed(header.above.items()) if role != "name"}
    return next((above[word] for word in ROLES[role] if word in above), "")


_OF_ONE = ("samplename", "swatch", "sample", "sampleid", "specimen")  # words above a table that name its one sample


def name_above(header: Header) -> str:
    """The name of the one sample of a table, where a line above tells it, as `Sample name: lid`; else empty."""
    above = {bare(word): told for word, told in reversed(header.above.items()) if told}
    return next((above[word] for word in _OF_ONE if word in above), "")


_IN_PERCENT = re.compile(
    r"(?:(?:spectral |y[ -]?)?(?:units?|scale)\W*|.*(?:reflect|transmi|spectr|values|data).*)?"
    r"[\[(]?(?:in )?(?:%|percent|0 ?(?:-|to|\.\.+) ?100)[\])]?",
    re.IGNORECASE,
)


def _percent_above(header: Header) -> bool:
    """Whether a line above the table says no more than that its values are percent: `%`, `Spectral data (percent)`."""
    lines = (in_english(" ".join(filter(None, cells))) for cells in header.before)
    return any(len(line) <= _LONGEST_SAYING and _IN_PERCENT.fullmatch(line) for line in lines)


def with_said(start: Measurement, said: Said, where: str) -> Measurement:
    """With what the names of the columns say beside it; InputError if they say something else."""
    for each in fields(said):
        own, other = getattr(start, each.name), getattr(said, each.name)
        if own and other and own != other and each.name != "scale":
            raise InputError(where, f"the {each.name} is {own} by the row and {other} by the header", "one of the two")
    gloss = start.specular or said.specular
    return replace(
        start,
        quantity=start.quantity or said.quantity,
        scale=start.scale or said.scale,
        backing=start.backing or said.backing,
        specular=gloss,
        geometry=with_gloss(start.geometry, gloss),
    )
