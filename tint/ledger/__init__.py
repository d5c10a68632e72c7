"""The workshop's record: orders, recipes, batches, trials, readings, lots, approvals, swatches kept, lessons learnt.

A ledger is one SQLite file in the swatch folder. Rows are only ever added; docs/ledger.md tells how to read them
without tint.
"""

from tint.ledger.entries import Entry, add, correct, entries, get, versions, withdraw
from tint.ledger.exchange import as_dict, export_ledger, import_json, of_recipe, of_sheet, to_csv, to_json
from tint.ledger.file import Ledger, ledger_path, open_ledger, read_ledger
from tint.ledger.lookup import (
    Drift,
    Near,
    Stock,
    belonging,
    drift,
    due,
    find_order,
    has_expired,
    premix_stock,
    search,
)
from tint.ledger.records import (
    KINDS,
    LAB,
    TABLES,
    Approval,
    Batch,
    Column,
    Lesson,
    Lot,
    Order,
    Reading,
    Recipe,
    Record,
    Reference,
    Trial,
    Weighing,
    columns,
    kind_of,
)
from tint.ledger.repeat import Dose, Repeat, Strength, newest_lots, relative_strength, repeat, with_lots
from tint.ledger.schema import FORMAT

__all__ = [
    "FORMAT", "KINDS", "LAB", "TABLES", "Approval", "Batch", "Column", "Dose", "Drift", "Entry", "Ledger", "Lesson",
    "Lot", "Near", "Order", "Reading", "Recipe", "Record", "Reference", "Repeat", "Stock", "Strength", "Trial",
    "Weighing", "add", "as_dict", "belonging", "columns", "correct", "drift", "due", "entries", "export_ledger",
    "find_order", "get", "has_expired", "import_json", "kind_of", "ledger_path", "newest_lots",
    "of_recipe", "of_sheet", "open_ledger", "premix_stock", "read_ledger", "relative_strength", "repeat", "search",
    "to_csv", "to_json", "versions", "with_lots", "withdraw",
]  # fmt: skip
