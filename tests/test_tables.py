"""Every table of published numbers says where it comes from and how much of it was seen."""

from __future__ import annotations

import re

import pytest
from tables import PUBLISHED, header_of, rows_of

NAMES = sorted(path.stem for path in PUBLISHED.glob("*.csv"))


def test_there_are_tables() -> None:
    assert len(NAMES) >= 8


@pytest.mark.parametrize("name", NAMES)
def test_a_table_tells_its_source(name: str) -> None:
    header = "\n".join(header_of(name))
    assert re.search(r"\b(1[89]|20)\d\d\b|CIE|ISO|ASTM", header), "no year or standard"
    assert "transcribed:" in header
    status = re.search(r"^status: .*(recomputed|quoted|from memory)", header, flags=re.MULTILINE)
    assert status, "it does not say whether it was seen"
    assert rows_of(name)
    assert all(None not in row and all(row.values()) for row in rows_of(name)), "a row is short or long"
