"""Files as instruments' programs write them: the same twelve castings in spellings drawn at random, kind by kind.

Every file says what must come of it: the castings with their values to the digits written, or the reason for which it
must be refused.
"""

from __future__ import annotations

import datetime
import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Key = tuple[str, str, str]  # name, quantity, specular component

NAMES = ("lid-1", "lid-2", "white 0.5%", "grün", "jar", "cup", "bowl 3", "mug", "plate", "tile", "knob", "rim")
LABELS = (
    "{}", "{} nm", "{}nm", "{}_NM", "R{}", "R_{}", "%R{}", "R[{}]", "R({})", "Refl {}", "Reflectance {}nm",
    "{}nm SCI", "{}nm SCE", "{} nm [%]", "SPECTRAL_NM{}", "nm{}", "{}.0000", "T{}", "{} (nm)", "R {}", "%T {}", "R%{}",
)  # fmt: skip
RANGES = ((400.0, 700.0, 10.0), (380.0, 780.0, 5.0), (360.0, 1400.0, 20.0), (360.0, 740.0, 10.0), (190.0, 800.0, 2.0))
ENCODINGS = ("utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252", "mac-roman")
CXF = "http://colorexchangeformat.com/CxF3-core"


@dataclass(frozen=True)
class Export:
    """A file, the wavelengths [nm] and values [fraction] that it holds, or why it must be refused."""

    kind: str
    data: bytes
    nm: Array
    expected: dict[Key, Array] = field(default_factory=dict)
    refusal: str = ""
    how: str = ""


class Dice:
    """Draws, and remembers what was drawn."""

    def __init__(self, seed: int) -> None:
        self.rng = np.random.default_rng(seed)
        self.drawn: dict[str, object] = {}

    def one(self, name: str, of: Sequence[Any]) -> Any:
        """One of several."""
        chosen: Any = of[int(self.rng.integers(len(of)))]
        self.drawn[name] = chosen
        return chosen

    def yes(self, name: str, chance: float) -> bool:
        """Whether something is so."""
        self.drawn[name] = so = bool(self.rng.random() < chance)
        return so

    @property
    def how(self) -> str:
        """All that was drawn."""
        return ", ".join(f"{name}={value!r}" for name, value in self.drawn.items() if value not in (False, ""))


def castings(nm: Array, rng: np.random.Generator, *, most: float = 0.98, digits: int = 4) -> dict[str, Array]:
    """Twelve spectra as fractions, dark and light; noise of any size far beyond the visible."""
    made = {}
    for name in NAMES:
        level, slope = 10 ** rng.uniform(-1.5, -0.1) * most / 0.98, rng.uniform(-0.3, 0.3)
        values = np.clip(level * (1.0 + slope * (nm - 550.0) / 150.0), 0.004 * most, most)
        values[nm > 1000.0] += rng.uniform(-0.4, 6.0, np.count_nonzero(nm > 1000.0))
        made[name] = np.round(values, digits)
    return made


def _grid(dice: Dice) -> Array:
    low, high, step = dice.one("range", RANGES)
    return np.arange(low, high + 0.5 * step, step)


def _keyed(made: dict[str, Array], quantity: str = "", specular: str = "") -> dict[Key, Array]:
    return {(name, quantity, specular): values for name, values in made.items()}


# Tables.


def table(dice: Dice, *, as_cells: bool = False) -> tuple[list[list[str]], Export]:
    """The rows of a table, and what is expected of it."""
    nm = _grid(dice)
    layout = dice.one("layout", ("rows", "rows", "points", "side by side"))
    label = dice.one("label", LABELS) if layout == "rows" else "{}"
    percent = "%" in label or dice.yes("percent", 0.5)
    told = (
        "%" in label
        or (percent and layout == "points")
        or (percent and (dice.yes("signs", 0.2) or dice.yes("units", 0.2)))
    )
    dark = told and dice.yes("dark", 0.3)
    flaws = ("word", "open") if as_cells else ("word", "short", "open")
    flaw = dice.one("flaw", flaws) if dice.yes("flawed", 0.12) else ""
    if flaw == "open" and (told or not percent or nm[-1] > 1000.0):
        flaw = "word"
    made = castings(nm, dice.rng, most=0.011 if dark else 0.016 if flaw == "open" else 0.98)
    if flaw == "open":
        made = dict.fromkeys(NAMES, np.full(nm.size, 0.016))
    nothing: str | None = dice.one("nothing", ("", "", "-", "N/A", "----")) if dice.yes("gaps", 0.2) else None
    both = dice.one("both", ("", "", "", "column", "blocks")) if layout == "rows" and label in ("{}", "{} nm") else ""

    def number(value: float, at: int = 0) -> str:
        if nothing is not None and nm[at] > 1000.0:
            return nothing
        sign = "%" if dice.drawn.get("signs") else ""
        return f"{value * (100.0 if percent else 1.0):.{2 if percent else 4}f}{sign}"

    if nothing is not None and nm[-1] > 1000.0:
        keep = nm <= 1000.0
        shown, made = made, {name: values[keep] for name, values in made.items()}
        nm_kept = nm[keep]
    else:
        shown, nm_kept = made, nm
    quantity = {"T": "transmittance", "R": "reflectance"}.get(label.strip("%")[0], "") if layout == "rows" else ""
    gloss = "included" if "SCI" in label else "excluded" if "SCE" in label else ""
    name = dice.one("name", ("name", "Sample Name", "Sample ID", "Label", "")) if layout == "rows" else "name"
    less = {each: np.round(np.maximum(values - 0.004, 0.0001), 4).astype(np.float64) for each, values in shown.items()}
    if layout == "rows":
        labels = [label.format(f"{each:g}") for each in nm]
        order = range(nm.size) if not dice.yes("falling", 0.1) else range(nm.size - 1, -1, -1)
        beside = dice.one("beside", ("", "", "Specular", "backing")) if not gloss and not both else ""
        gloss = gloss or ("included" if beside == "Specular" else "")
        extra = [] if not beside else [beside]
        cell = [] if not beside else ["SCI" if beside == "Specular" else "white"]
        cells = {each: [number(values[at], at) for at in order] for each, values in shown.items()}
        ordered = [labels[at] for at in order]
        if both == "column":
            darker = {each: [number(values[at], at) for at in order] for each, values in less.items()}
            head = [name, "Mode of gloss", *ordered]
            rows = [[each, word, *held[each]] for each in cells for word, held in (("SCI", cells), ("SCE", darker))]
        elif both == "blocks":
            darker = {each: [number(values[at], at) for at in order] for each, values in less.items()}
            head = [name, *(f"{each} SCI" for each in ordered), *(f"{each} SCE" for each in ordered)]
            rows = [[each, *cells[each], *darker[each]] for each in cells]
        else:
            head, rows = [name, *extra, *ordered], [[each, *cell, *held] for each, held in cells.items()]
        units = [""] * (len(head) - nm.size * (2 if both == "blocks" else 1)) + ["%"] * (len(head) - 1)
    elif layout == "points":
        value = dice.one("value", ("reflectance", "R", "Reflectance factor"))
        quantity = "reflectance"
        head = ["name", dice.one("nm", ("wavelength", "nm", "Wavelength [nm]")), value + (" [%]" if percent else "")]
        rows = [[each, f"{x:g}", number(values[at], at)] for each, values in shown.items() for at, x in enumerate(nm)]
        if nothing is not None:
            rows = [row for row in rows if row[2] != nothing or float(row[1]) > 1000.0]
        units = ["", "nm", "%"]
    else:
        head = [dice.one("nm", ("wavelength", "nm", "Wavelength [nm]", "Wavelength (nm)")), *shown]
        rows = [[f"{x:g}", *(number(values[at], at) for values in shown.values())] for at, x in enumerate(nm)]
        units = ["nm", *["%"] * len(shown)]
    units = [*units, *["%"] * len(head)][: len(head)]
    body = [head, *([units] if dice.drawn.get("units") else []), *rows]
    expected = _keyed(made, quantity, gloss)
    if both:
        kept = {each: values[nm <= 1000.0] if nothing is not None else values for each, values in less.items()}
        expected = _keyed(made, quantity, "included") | _keyed(kept, quantity, "excluded")
    refusal = "high for a fraction and low for percent" if flaw == "open" else ""
    if flaw == "word":
        body[-1][-1], refusal = "over", "is not a number|the cell is blank"
    elif flaw == "short":
        body[-2], refusal = body[-2][:-1], r"the row has \d+ cells?"
    return body, Export("table", b"", nm_kept, expected, refusal, dice.how)


def csv_file(seed: int) -> Export:
    """Text between commas, semicolons, tabs or blanks."""
    dice = Dice(seed)
    separator, mark = dice.one("separator", ((",", "."), (";", "."), ("\t", "."), (";", ","), ("\t", ",")))
    body, export = table(dice)
    if mark == ",":
        labels = not any("." in cell and cell.replace(".", "").isdigit() for cell in body[0])
        body = [[_comma(cell) if at or labels else cell for cell in row] for at, row in enumerate(body)]
    quoted = dice.yes("quoted", 0.2)
    lines = [separator.join(f'"{cell}"' if quoted else cell for cell in row) for row in body]
    above = dice.one(
        "above",
        (
            (),
            ("An export of the studio", "", "Operator{s}nobody"),
            ("Instrument{s}bench", "Geometry{s}d/8"),
            ("Instrument: bench, d/8", "Mode: Reflection", ">>>>>Begin Data<<<<<"),
            ("sep={s}",),
        ),
    )
    footer = dice.one(
        "footer",
        ((), ("{s}{s}",), ("", ""), ("", "Measured by nobody"), ("", "name{s}L*{s}a*{s}b*", "lid-1{s}5{s}1{s}2")),
    )
    whole = [*above, *lines, *footer]
    end = dice.one("line end", ("\n", "\r\n", "\r"))
    text = end.join(line.replace("{s}", separator) for line in whole) + end
    encoding = dice.one("encoding", ENCODINGS)
    expected = export.expected
    if any("Mode: Reflection" in line for line in above):
        if any(quantity == "transmittance" for _, quantity, _ in expected):
            refusal = "|".join(filter(None, ("quantity is reflectance by the row", export.refusal)))
            return Export("csv", text.encode(encoding), export.nm, expected, refusal, dice.how)
        expected = {(name, "reflectance", gloss): v for (name, _, gloss), v in expected.items()}
    return Export("csv", text.encode(encoding), export.nm, expected, export.refusal, dice.how)


def _comma(cell: str) -> str:
    bare = cell.rstrip("%")
    return cell.replace(".", ",") if bare.replace(".", "", 1).lstrip("-").isdigit() else cell


def workbook(seed: int) -> Export:
    """A workbook of one sheet or several."""
    import openpyxl

    dice = Dice(seed)
    body, export = table(dice, as_cells=True)
    book = openpyxl.Workbook()
    first = book.active
    if dice.yes("a sheet of words before", 0.3):
        first.title = "About"
        first.append(["An export", datetime.date(2026, 11, 1)])
        first = book.create_sheet("Data")
    if dice.yes("a line above", 0.4):
        first.append(["Instrument", "bench"])
        first.append([])
    as_percent = dice.yes("shown in percent", 0.3)
    for row in body:
        first.append([_typed(cell) for cell in row])
    if as_percent and not dice.drawn.get("percent") and "%" not in "".join(body[0][1:]):
        for row in first.iter_rows(min_row=first.max_row - len(body) + 2):
            for cell in row:
                if isinstance(cell.value, float):
                    cell.number_format = "0.00%"
    if dice.yes("a further sheet", 0.3):
        other = book.create_sheet("Colours")
        other.append(["name", "L*", "a*", "b*"])
        other.append(["lid-1", 50.0, 1.0, 2.0])
    stream = io.BytesIO()
    book.save(stream)
    return Export("workbook", stream.getvalue(), export.nm, export.expected, export.refusal, dice.how)


def _typed(cell: str) -> object:
    try:
        return int(cell) if cell.isdigit() else float(cell)
    except ValueError:
        return cell or None


# CGATS.


def cgats(seed: int) -> Export:
    """CGATS.17 text, of one table or two, older and newer."""
    dice = Dice(seed)
    nm = _grid(dice)
    scale = dice.one("scale", ("", "", "SPECTRAL_NORM", "SPEC_SCALE", "pairs"))
    percent = dice.yes("percent", 0.5)
    made = castings(nm, dice.rng, most=0.011 if scale and dice.yes("dark", 0.4) else 0.98)
    factor, digits = (100.0, 2) if percent else (1.0, 4)
    mark = dice.one("mark", (".", ".", ","))
    between = dice.one("between", ("\t", " ", "   "))
    field_name = dice.one("field", ("SPECTRAL_NM{}", "SPECTRAL_NM_{}", "SPECTRAL_{}", "SPEC_{}", "nm{}", "R_{}"))
    gloss = dice.one("gloss", ("", "", "included", "excluded"))
    keywords = ['ORIGINATOR "nobody"', f'CREATED "{dice.one("created", ("2026-11-01", "1 Nov 2026"))}"']
    keywords += [f'INSTRUMENTATION "d/8 {"SCI" if gloss == "included" else "SCE"} bench"'] if gloss else []
    keywords += ["# a remark"] if dice.yes("remark", 0.3) else []
    keywords += [f'{scale} "{factor:g}"'] if scale in ("SPECTRAL_NORM", "SPEC_SCALE") else []
    quantity = dice.one("quantity", ("", "", "reflectance", "transmittance"))
    if field_name == "R_{}" and scale != "pairs":
        quantity = "reflectance"
    elif quantity:
        keywords.append(f'MEASUREMENT_TYPE "{quantity.upper()}"')
    emits = dice.yes("emits", 0.05)
    keywords += ['DEVICE_CLASS "DISPLAY"'] if emits else []

    def number(value: float) -> str:
        return f"{value * factor:.{digits}f}".replace(".", mark)

    if scale == "pairs":
        fields = ["SPECTRAL_NM", "SPECTRAL_PCT" if percent else "SPECTRAL_DEC"] * nm.size
        cells = {each: [x for at, w in enumerate(nm) for x in (f"{w:g}", number(v[at]))] for each, v in made.items()}
    else:
        fields = [field_name.format(f"{each:g}") for each in nm]
        cells = {each: [number(x) for x in values] for each, values in made.items()}
    head = ["SAMPLE_ID", "SAMPLE_NAME", *fields]
    rows = [between.join([str(at), f'"{each}"', *held]) for at, (each, held) in enumerate(cells.items(), start=1)]
    short = dice.yes("short", 0.05)
    if short:
        rows[4] = rows[4].rsplit(between, 1)[0]
    if dice.yes("an empty patch", 0.15):
        rows.append(between.join(["13", '"spare"', *["N/A"] * len(fields)]))
    wrong = 1 if dice.yes("wrong count of fields", 0.1) else 0
    counts = dice.yes("counts", 0.7)
    lines = [dice.one("first", ("CGATS.17", "ISO28178", "CTI3")), *keywords]
    lines += [f"NUMBER_OF_FIELDS {len(head) + wrong}"] if counts else []
    lines += ["BEGIN_DATA_FORMAT", between.join(head), "END_DATA_FORMAT"]
    lines += [f"NUMBER_OF_SETS {len(rows)}"] if counts else []
    lines += ["BEGIN_DATA", *rows, "END_DATA"]
    end = dice.one("line end", ("\n", "\r\n", "\r"))
    data = (end.join(lines) + end).encode(dice.one("encoding", ENCODINGS))
    refusal = "sent out" if emits else r"has \d+ values; expected" if short else ""
    return Export("cgats", data, nm, _keyed(made, quantity, gloss), refusal, dice.how)


# XML and JCAMP-DX.


def cxf(seed: int, kind: str = "cxf3") -> Export:
    """CxF3; CxF/X-4 with its own namespaces and tags about the same objects."""
    dice = Dice(seed)
    nm = _grid(dice)
    start, step, end = nm[0], nm[1] - nm[0], nm[-1]
    where = dice.one("grid", ("specification", "own start", "own all", "ends"))
    prefix = dice.one("prefix", ("", "cc:", "ns2:"))
    quantity = dice.one("quantity", ("reflectance", "reflectance", "transmittance"))
    percent = dice.yes("percent", 0.3)
    made = castings(nm, dice.rng)
    both = kind == "cxf3" and quantity == "reflectance" and dice.yes("both", 0.3)
    gloss = dice.one("gloss", ("", "included", "excluded")) if quantity == "reflectance" else ""
    lost = dice.yes("lost", 0.06)
    spans = {
        "specification": (f'StartWL="{start:g}" Increment="{step:g}"', ""),
        "own start": (f'StartWL="380" Increment="{step:g}"', f' StartWL="{start:g}"'),
        "own all": ("", f' StartWL="{start:g}" Increment="{step:g}" EndWL="{end:g}"'),
        "ends": (f'StartWL="{start:g}" EndWL="{end:g}"', ""),
    }
    of_specification, own = spans[where]
    element = "ReflectanceSpectrum" if quantity == "reflectance" else "TransmittanceSpectrum"
    less = {each: np.round(np.maximum(values - 0.004, 0.0001), 4).astype(np.float64) for each, values in made.items()}

    def spectrum(values: Array, name: str) -> str:
        text = " ".join(f"{x * (100.0 if percent else 1.0):.{2 if percent else 4}f}" for x in values)
        return f'<{element} ColorSpecification="{name}"{own}>{text}</{element}>'

    def specification(name: str, words: str) -> str:
        sphere = f"<GeometryChoice><SphereGeometry>{words}</SphereGeometry></GeometryChoice>" if words else ""
        span = f"<WavelengthRange {of_specification}/>" if of_specification else ""
        return f'<ColorSpecification Id="{name}"><MeasurementSpec>{sphere}{span}</MeasurementSpec></ColorSpecification>'

    words = {"included": "Specular_Included", "excluded": "Specular_Excluded", "": ""}
    inside = specification("CS1", words["included" if both else gloss])
    inside += specification("CS2", words["excluded"]) if both else ""
    objects = "".join(
        f'<Object Name="{each}" Id="o{at}" ObjectType="Standard"><ColorValues>'
        f"{spectrum(values, 'CS9' if lost else 'CS1')}{spectrum(less[each], 'CS2') if both else ''}</ColorValues>"
        + ('<TagCollection Location="X4"><Tag Name="Tint" Value="100"/></TagCollection>' if kind == "cxf/x-4" else "")
        + "</Object>"
        for at, (each, values) in enumerate(made.items())
    )
    more = '<CustomResources><x4:Use xmlns:x4="urn:x4">4</x4:Use></CustomResources>' if kind == "cxf/x-4" else ""
    body = (
        f"<CxF><Resources><ObjectCollection>{objects}</ObjectCollection><ColorSpecificationCollection>{inside}"
        f"</ColorSpecificationCollection></Resources>{more}</CxF>"
    )
    body = body.replace("<x4:", "\1").replace("</x4:", "\2")
    body = body.replace("</", "\0").replace("<", f"<{prefix}").replace("\0", f"</{prefix}")
    body = body.replace("\1", "<x4:").replace("\2", "</x4:")
    space = f"xmlns:{prefix[:-1]}" if prefix else "xmlns"
    encoding = dice.one("encoding", ("utf-8", "utf-16"))
    data = f'<?xml version="1.0" encoding="{encoding}"?>\n' + body.replace("CxF>", f'CxF {space}="{CXF}">', 1)
    expected = _keyed(made, quantity, "included" if both else gloss) | (
        _keyed(less, quantity, "excluded") if both else {}
    )
    refusal = "no ColorSpecification CS9" if lost else ""
    return Export(kind, data.encode(encoding), nm, expected, refusal, dice.how)


def tm27(seed: int) -> Export:
    """IES TM-27-14 of one distribution."""
    dice = Dice(seed)
    nm = _grid(dice)
    quantity = dice.one("quantity", ("reflectance", "R-Factor", "transmittance", "T-Factor", "relative"))
    percent = dice.yes("percent", 0.3)
    made = {"lid-1": castings(nm, dice.rng)["lid-1"]}
    if percent and made["lid-1"][(nm >= 380) & (nm <= 780)].max() < 0.03:
        made["lid-1"] = np.clip(made["lid-1"], 0.05, None)
    gloss = dice.one("gloss", ("", "included", "excluded")) if quantity in ("reflectance", "R-Factor") else ""
    geometry = {"included": "di:8", "excluded": "de:8"}.get(gloss, "")
    points = "".join(
        f'<SpectralData wavelength="{w:g}">{x * (100.0 if percent else 1.0):.{2 if percent else 4}f}</SpectralData>'
        for w, x in zip(nm, made["lid-1"], strict=True)
    )
    text = (
        f'<?xml version="1.0"?><IESTM2714 xmlns="{dice.one("space", ("iestm2714", "http://www.ies.org/iestm2714"))}" '
        f'version="1.0"><Header><Description>lid-1</Description></Header><SpectralDistribution>'
        f"<SpectralQuantity>{quantity}</SpectralQuantity>"
        + (f"<ReflectionGeometry>{geometry}</ReflectionGeometry>" if geometry else "")
        + f"{points}</SpectralDistribution></IESTM2714>"
    )
    refusal = "SpectralQuantity 'relative'" if quantity == "relative" else ""
    kind = "transmittance" if quantity[0] in "tT" else "reflectance"
    return Export("tm-27", text.encode(), nm, _keyed(made, kind, gloss), refusal, dice.how)


def jcamp(seed: int) -> Export:
    """JCAMP-DX, a block for each casting."""
    dice = Dice(seed)
    nm = _grid(dice)
    percent = dice.yes("percent", 0.4)
    units = dice.one("units", ("REFLECTANCE", "TRANSMITTANCE") * 4 + ("ABSORBANCE",))
    told = percent and dice.yes("told", 0.5)
    form = dice.one("form", ("XYDATA", "XYPOINTS") * 4 + ("compressed",))
    falling = dice.yes("falling", 0.3)
    factor = dice.one("factor", (1.0, 0.0001))
    made = castings(nm, dice.rng)
    if percent and not told:
        made["rim"] = np.round(np.full(nm.size, 0.31), 4)
    blocks = []
    for name, values in made.items():
        x, y = (nm[::-1], values[::-1]) if falling else (nm, values)
        digits = 0 if factor != 1.0 else 2 if percent else 4
        shown = [f"{v * (100.0 if percent else 1.0) / factor:.{digits}f}" for v in y]
        if form == "XYPOINTS":
            data = "##XYPOINTS=(XY..XY)\n" + "\n".join(f"{w:g}, {v}" for w, v in zip(x, shown, strict=True))
        elif form == "XYDATA":
            rows = [f"{x[at]:g} " + " ".join(shown[at : at + 5]) for at in range(0, len(shown), 5)]
            data = "##XYDATA=(X++(Y..Y))\n" + "\n".join(rows)
        else:
            data = "##XYDATA=(X++(Y..Y))\n400A1J2%K3"
        blocks.append(
            f"##TITLE={name}\n##JCAMP-DX=4.24 $$ a remark\n##DATA TYPE=UV/VIS SPECTRUM\n##XUNITS=NANOMETERS\n"
            f"##YUNITS={'% ' if told else ''}{units}\n##FIRSTX={x[0]:g}\n##LASTX={x[-1]:g}\n##NPOINTS={nm.size}\n"
            f"##XFACTOR=1\n##YFACTOR={factor:g}\n{data}\n##END=\n"
        )
    refusal = "plain numbers" if form == "compressed" else ""
    refusal = f"YUNITS are|{refusal}" if units == "ABSORBANCE" else refusal
    text = dice.one("line end", ("\n", "\r\n")).join("".join(blocks).split("\n"))
    expected = _keyed(made, units.lower(), "")
    return Export("jcamp-dx", text.encode(dice.one("encoding", ("utf-8", "cp1252"))), nm, expected, refusal, dice.how)


def cxf_x4(seed: int) -> Export:
    """`cxf` as CxF/X-4."""
    return cxf(seed, "cxf/x-4")


# Kind, how it is drawn, and its share of all files.
KINDS: dict[str, tuple[Callable[[int], Export], float]] = {
    "csv": (csv_file, 0.4),
    "cgats": (cgats, 0.2),
    "cxf3": (cxf, 0.1),
    "cxf/x-4": (cxf_x4, 0.05),
    "tm-27": (tm27, 0.05),
    "jcamp-dx": (jcamp, 0.1),
    "workbook": (workbook, 0.1),
}
