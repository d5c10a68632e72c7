"""How instruments' exports are read: the same twelve castings in many spellings, each read exactly, refused or wrong.

    python tests/figures/exports.py [COUNT] [SEED]

Drawn at random from every combination of separator, decimal mark, encoding, layout, lines above the header, label of
the wavelengths, scale, columns beside them, footer and range of wavelengths. A file counts as read exactly when every
casting is there once, with its values to the digits written, its quantity and its specular component.
"""

from __future__ import annotations

import itertools
import sys
from collections import Counter
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tint.errors import InputError
from tint.swatches.instruments import parse_measurements

Array = NDArray[np.float64]

NAMES = ("lid-1", "lid-2", "foot", "shade", "jar", "cup", "bowl", "mug", "plate", "tile", "knob", "rim")
LABELS = (
    "{}", "{} nm", "{}nm", "{}_NM", "R{}", "R_{}", "%R{}", "R[{}]", "R({})", "Refl {}", "Reflectance {}nm",
    "{}nm SCI", "{}nm SCE", "{} nm [%]", "SPECTRAL_NM{}", "nm{}", "{}.0000", "T{}",
)  # fmt: skip
SEPARATORS, MARKS = (",", ";", "\t"), (".", ",")
ENCODINGS = ("utf-8", "utf-8-sig", "utf-16", "utf-16-le", "cp1252", "mac-roman")
LAYOUTS = ("rows", "points", "side by side", "cgats")
ABOVE = ((), ("An export of the studio", "", "Operator{s}nobody"), ("Instrument{s}bench", "Geometry{s}d/8"))
BESIDE = ("", "specular", "backing")
FOOTERS = ("", "{s}{s}", "\n")
RANGES = ((400.0, 700.0, 10.0), (380.0, 780.0, 5.0), (360.0, 1400.0, 20.0))


@dataclass(frozen=True)
class Export:
    """One way of writing."""

    separator: str
    mark: str
    encoding: str
    layout: str
    above: tuple[str, ...]
    label: str
    percent: bool
    beside: str
    footer: str
    span: tuple[float, float, float]

    @property
    def makes_sense(self) -> bool:
        """Whether a program could write it so."""
        if self.mark == "," and (self.separator == "," or self.layout == "cgats"):
            return False
        if self.layout == "rows" and "SCE" in self.label and self.beside == "specular":
            return False  # it would contradict itself
        return not ("%" in self.label and not self.percent)

    @property
    def quantity(self) -> str:
        """What its labels say that it holds."""
        return {"T": "transmittance", "R": "reflectance"}.get(self.label.strip("%")[0], "") if self.says else ""

    @property
    def says(self) -> bool:
        """Whether labels of wavelengths are written at all."""
        return self.layout == "rows"

    @property
    def specular(self) -> str:
        """What it says of the specular component."""
        by_label = "included" if "SCI" in self.label else "excluded" if "SCE" in self.label else ""
        if self.layout == "rows":
            return by_label or ("included" if self.beside == "specular" else "")
        return "included" if self.layout == "points" and self.beside == "specular" else ""


def castings(nm: Array, rng: np.random.Generator) -> dict[str, Array]:
    """Twelve spectra of three decimals as fractions, dark and light ones; noise of any size beyond the visible."""
    made = {}
    for name in NAMES:
        level, slope = 10 ** rng.uniform(-1.5, -0.1), rng.uniform(-0.3, 0.3)
        values = np.clip(level * (1.0 + slope * (nm - 550.0) / 150.0), 0.004, 0.98)
        values[nm > 1000.0] += rng.uniform(-0.4, 6.0, np.count_nonzero(nm > 1000.0))
        made[name] = np.round(values, 4)
    return made


def written(export: Export, nm: Array, made: dict[str, Array]) -> bytes:
    """The file."""
    s, scale = export.separator, 100.0 if export.percent else 1.0

    def number(value: float) -> str:
        return f"{value * scale:.{2 if export.percent else 4}f}".replace(".", export.mark)

    above = [line.format(s=s) for line in export.above]
    extra = {"specular": ("Specular", "SCI"), "backing": ("backing", "white"), "": None}[export.beside]
    if export.layout == "rows":
        labels = [export.label.format(f"{each:g}") for each in nm]
        head = ["name", *([extra[0]] if extra else []), *labels]
        rows = [[name, *([extra[1]] if extra else []), *map(number, values)] for name, values in made.items()]
    elif export.layout == "points":
        head = ["name", *([extra[0]] if extra else []), "wavelength", "%R" if export.percent else "reflectance"]
        rows = [
            [name, *([extra[1]] if extra else []), f"{each:g}", number(value)]
            for name, values in made.items()
            for each, value in zip(nm, values, strict=True)
        ]
        head[-1] = "reflectance [%]" if export.percent else "reflectance"
    elif export.layout == "side by side":
        head = ["wavelength", *made]
        rows = [[f"{each:g}", *(number(values[at]) for values in made.values())] for at, each in enumerate(nm)]
    else:
        fields = [f"SPECTRAL_NM{each:g}" for each in nm]
        lines = ["CGATS.17", "BEGIN_DATA_FORMAT", "\t".join(["SAMPLE_NAME", *fields]), "END_DATA_FORMAT", "BEGIN_DATA"]
        lines += ["\t".join([name, *map(number, values)]) for name, values in made.items()]
        return "\n".join([*lines, "END_DATA", ""]).encode(export.encoding)
    body = [s.join(cells) for cells in (head, *rows)]
    return "\n".join([*above, *body, export.footer.format(s=s), ""]).encode(export.encoding)


def judge(export: Export, seed: int) -> str:
    """`exact`, `refused: why` or `WRONG: how`."""
    low, high, step = export.span
    nm = np.arange(low, high + 0.5 * step, step)
    made = castings(nm, np.random.default_rng(seed))
    try:
        read = parse_measurements(written(export, nm, made), file="export")
    except InputError as error:
        return f"refused: {error.found[:70]}"
    if sorted(each.name for each in read) != sorted(NAMES):
        return f"WRONG: names {[each.name for each in read][:3]}"
    for each in read:
        if each.values is None or each.wavelengths is None or each.wavelengths.size != nm.size:
            return "WRONG: wavelengths"
        if not np.allclose(each.values, made[each.name], rtol=0.0, atol=1e-9):
            return f"WRONG: values of {each.name}, by {np.max(np.abs(each.values - made[each.name])):.3g}"
        if export.quantity and each.quantity != export.quantity:
            return f"WRONG: quantity {each.quantity}"
        if export.specular and each.specular != export.specular:
            return f"WRONG: specular {each.specular}"
    return "exact"


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 3000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    every = itertools.product(
        SEPARATORS, MARKS, ENCODINGS, LAYOUTS, ABOVE, LABELS, (False, True), BESIDE, FOOTERS, RANGES
    )
    sound = [export for each in every if (export := Export(*each)).makes_sense]
    rng = np.random.default_rng(seed)
    found: Counter[str] = Counter()
    shown: dict[str, Export] = {}
    by_layout: Counter[tuple[str, str]] = Counter()
    for number, at in enumerate(rng.choice(len(sound), size=min(count, len(sound)), replace=False)):
        outcome = judge(sound[at], seed + number)
        found[outcome] += 1
        shown.setdefault(outcome, sound[at])
        by_layout[sound[at].layout, outcome.split(":")[0]] += 1
    for (layout, kind), many in sorted(by_layout.items()):
        print(f"{layout:14s} {kind:8s} {many:6d}")
    for outcome, many in found.most_common(30):
        print(f"{many:6d}  {outcome}" + ("" if outcome == "exact" else f"   as in {shown[outcome]}"))


if __name__ == "__main__":
    main()
