"""How instruments' exports are read: the same twelve castings in many spellings and formats.

    python tests/figures/exports.py [COUNT] [SEED]

Each file is drawn by `export_files`. It counts as read exactly when every casting is there once, with its values to the
digits written, its quantity and its specular component, and when `solve`, `inspect` and `import` take the same values
from it. A file with a flaw must be refused with the right reason, or, where one casting is asked for, that be read
exactly.
"""

from __future__ import annotations

import contextlib
import re
import sys
import tempfile
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent))

from export_files import KINDS, NAMES, Array, Export

from tint import colorimetry
from tint.errors import InputError, TintError
from tint.given import target_from_reading
from tint.inspection import read_part
from tint.swatches import SwatchFolder, read_folder
from tint.swatches.import_plan import LEFT_OUT, Doubles, Naming
from tint.swatches.importing import plan_import
from tint.swatches.instruments import Measurement, parse_measurements

GRID = np.arange(400.0, 701.0, 20.0)
EXACT, RIGHTLY, WRONGLY, WRONG = "read exactly", "refused rightly", "refused wrongly", "READ WRONGLY"


def folder_of(place: Path) -> SwatchFolder:
    """A folder in which all castings are swatches, read with the specular reflection included."""
    swatches = "".join(f"{name},clear,2\n" for name in (*NAMES, "other"))
    nm = ",".join(f"{each:g}" for each in GRID)
    rows = [("white", "", "", 0.9), ("other", "white", "air", 0.5)]
    texts = {
        "palette.toml": 'format = 1\n[instrument]\ngeometry = "di:8"\n[backings.white]\n[bases.clear]\n'
        'cure = "addition"\ndensity = 1.1\nrefractive_index = 1.41\nmax_loading = 3.0\n'
        'mix = { A = 1.0, B = 1.0 }\npigment_in = "A"\n',
        "swatches.csv": f"swatch,base,thickness_mm\n{swatches}",
        "readings.csv": f"swatch,backing,seat,{nm}\n"
        + "".join(f"{name},{over},{seat}{f',{value}' * GRID.size}\n" for name, over, seat, value in rows),
    }
    for name, text in texts.items():
        (place / name).write_text(text, encoding="utf-8")
    return read_folder(place)


def judged(export: Export, folder: SwatchFolder, seed: int) -> tuple[str, str]:
    """What became of a file, and why; a few of its castings are asked for one by one, too."""
    path = folder.path / "export"
    path.write_bytes(export.data)
    names = list(dict.fromkeys(name for name, _, _ in export.expected))
    asked = [names[(seed + at) % len(names)] for at in range(2)]
    found, fault = "", ""
    try:
        read = parse_measurements(export.data, file=str(path))
        fault = f"not refused for {export.refusal}" if export.refusal else wrong_in(read, export)
        fault = fault or imported_wrongly(read, asked, export, folder)
    except InputError as error:
        found = str(error).removeprefix(str(path))
    fault = fault or next(filter(None, (asked_wrongly(name, export, folder) for name in asked)), "")
    if fault:
        return WRONG, fault
    if not found:
        return EXACT, ""
    is_right = bool(export.refusal) and re.search(export.refusal, found)
    return (RIGHTLY, "") if is_right else (WRONGLY, found[:140])


def wrong_in(read: tuple[Measurement, ...], export: Export) -> str:
    """What is wrong with measurements; empty where nothing is."""
    if len(read) != len(export.expected):
        return f"{len(read)} measurements, not {len(export.expected)}: {[each.name for each in read][:3]}"
    for each in read:
        wanted = export.expected.get((each.name, each.quantity, each.specular))
        if wanted is None:
            return f"{each.name!r}, {each.quantity or 'no quantity'}, {each.specular or 'no gloss'} is not in it"
        if each.wavelengths is None or each.values is None or each.values.shape != wanted.shape:
            return f"the wavelengths of {each.name}"
        if not np.allclose(each.wavelengths, export.nm[: wanted.size]):
            return f"the wavelengths of {each.name}"
        if not np.allclose(each.values, wanted, rtol=0.0, atol=1e-9):
            return f"the values of {each.name}, by {np.abs(each.values - wanted).max():.3g}"
    return ""


def taken(name: str, export: Export) -> Array | None:
    """What must be taken of a casting into a folder of di:8: its values on the grid; None of transmittance."""
    for gloss in ("included", "", "excluded"):
        for quantity in ("reflectance", ""):
            values = export.expected.get((name, quantity, gloss))
            if values is not None:
                at = np.rint((GRID - export.nm[0]) / (export.nm[1] - export.nm[0])).astype(int)
                step = float(export.nm[1] - export.nm[0])
                return values[at] if step == GRID[1] - GRID[0] else np.full(0, 0.0)
    return None


def asked_wrongly(name: str, export: Export, folder: SwatchFolder) -> str:
    """Whether `solve` and `inspect` take something else of one casting than is there, or not the same."""
    where = f"{folder.path / 'export'}:{name}"
    solved = inspected = None
    with contextlib.suppress(TintError):
        solved = solved_of(where)
    with contextlib.suppress(TintError):
        inspected = read_part(where, folder, over="white", seat="air").spectrum
    if repr(None if solved is None else solved.tolist()) != repr(None if inspected is None else inspected.tolist()):
        return f"solve and inspect differ over {name}"
    wanted = taken(name, export)
    if solved is None:
        return f"solve refuses {name}" if wanted is not None and not export.refusal else ""
    if wanted is None:
        return f"solve takes the transmittance of {name}"
    if wanted.size and not np.allclose(solved, wanted, rtol=0.0, atol=1e-9):
        return f"solve takes other values of {name}"
    return ""


def solved_of(where: str) -> Array | None:
    """The spectrum that `solve` takes for its target."""
    view = colorimetry.viewing(GRID)
    return target_from_reading(where, view, wavelengths=GRID, over="white", seat="air", geometry="di:8").spectrum


def imported_wrongly(read: tuple[Measurement, ...], asked: list[str], export: Export, folder: SwatchFolder) -> str:
    """Whether `import` takes other values than `solve` does."""
    plan = plan_import(folder.path, read, naming=Naming(backing="white", seat="air"), doubles=Doubles(force=True))
    for each in plan.planned:
        if each.measurement.name not in asked or each.quantity == "transmittance":
            continue
        if each.action == LEFT_OUT:
            continue
        seen = solved_of(f"{folder.path / 'export'}:{each.measurement.name}")
        if seen is None or each.values is None or not np.allclose(seen, each.values, rtol=0.0, atol=6e-6):
            return f"import and solve differ over {each.measurement.name}"
    return ""


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 3000
    seed = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    found: Counter[tuple[str, str]] = Counter()
    why: Counter[tuple[str, str, str]] = Counter()
    shown: dict[tuple[str, str, str], str] = {}
    with tempfile.TemporaryDirectory() as place:
        folder = folder_of(Path(place))
        for kind, (make, share) in KINDS.items():
            for at in range(round(count * share)):
                export = make(1_000_000 * seed + at)
                outcome, reason = judged(export, folder, at)
                found[kind, outcome] += 1
                if reason:
                    why[kind, outcome, reason] += 1
                    shown.setdefault((kind, outcome, reason), export.how)
    outcomes = (EXACT, RIGHTLY, WRONGLY, WRONG)
    print(f"{'kind':12s}{'files':>8s}" + "".join(f"{each:>18s}" for each in outcomes))
    for kind in [*KINDS, "all"]:
        row = [sum(n for (k, o), n in found.items() if kind in (k, "all") and o == each) for each in outcomes]
        print(f"{kind:12s}{sum(row):8d}" + "".join(f"{each:18d}" for each in row))
    for key, many in why.most_common(25):
        print(f"{many:6d}  {', '.join(key)}\n        {shown[key]}")


if __name__ == "__main__":
    main()
