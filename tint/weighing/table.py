"""A weigh sheet as a table of rows: premixes, the batch, each cup; for spreadsheets."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator

from tint.weighing.sheet import WeighSheet

COLUMNS = ("what for", "order", "what", "into", "grams", "exact grams", "percent of mix", "lot")


def weigh_table(sheet: WeighSheet) -> bytes:
    """A sheet as comma-separated values, UTF-8, a header first."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(COLUMNS)
    writer.writerows(_rows(sheet))
    return out.getvalue().encode("utf-8")


def _rows(sheet: WeighSheet) -> Iterator[tuple[object, ...]]:
    for premix in sheet.premixes:
        for step in premix.steps:
            yield step.makes, 1, step.what, step.makes, _weight(step.grams), "", "", step.lot
            yield step.makes, 2, f"part {step.part}", step.makes, _weight(step.base_g), "", "", ""
    for at, line in enumerate(sheet.lines, start=1):
        exact = f"{line.exact_grams:.6f}"
        yield "batch", at, line.what, line.into, _weight(line.grams), exact, f"{line.percent:.5f}", line.lot
    if sheet.cups.count > 1:
        for cup in range(1, sheet.cups.count + 1):
            yield f"cup {cup}", 1, "tinted part", f"cup {cup}", _weight(sheet.cups.tinted_g), "", "", ""
            for at, (part, grams) in enumerate(sheet.cups.rest_g.items(), start=2):
                yield f"cup {cup}", at, f"part {part}", f"cup {cup}", _weight(grams), "", "", ""


def _weight(grams: float) -> str:
    return f"{grams:.10g}"
