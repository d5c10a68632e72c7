"""The README's Python, cell by cell in a real notebook: `python tests/figures/in_notebook.py PAGE.html`.

Needs nbclient, nbconvert and ipykernel, which the tests do not. Each statement of the README is a cell that ends with
what it made, so that the page shows what a notebook shows of it. Raises what a cell raises.
"""

from __future__ import annotations

import ast
import re
import sys
from pathlib import Path

import nbformat
from nbclient import NotebookClient
from nbconvert import HTMLExporter

ROOT = Path(__file__).resolve().parents[2]


def cells(code: str) -> list[str]:
    """A cell for each statement; one that names something ends with that name."""
    found = []
    for statement in ast.parse(code).body:
        cell = ast.unparse(statement)
        if isinstance(statement, ast.Assign):
            cell += f"\n{ast.unparse(statement.targets[0])}"
        found.append(cell)
    return found


def main() -> None:
    """Run the notebook in the repository's folder and write its page."""
    page = Path(sys.argv[1])
    blocks = re.findall(r"^```python\n(.*?)^```", (ROOT / "README.md").read_text(encoding="utf-8"), re.M | re.S)
    book = nbformat.v4.new_notebook(
        cells=[nbformat.v4.new_code_cell(cell) for block in blocks for cell in cells(block)]
    )
    NotebookClient(book, timeout=300, resources={"metadata": {"path": str(ROOT)}}).execute()
    html, _ = HTMLExporter().from_notebook_node(book)
    page.write_text(html, encoding="utf-8")
    print(f"{len(book.cells)} cells ran; the page is {page}")


if __name__ == "__main__":
    main()
