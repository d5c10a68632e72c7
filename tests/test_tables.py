"""Every table of numbers says where it comes from, and of every column how it was seen."""

from __future__ import annotations

import re

import pytest
from tables import PUBLISHED, RECOMPUTED, header_of, rows_of

NAMES = sorted(path.stem for folder in (PUBLISHED, RECOMPUTED) for path in folder.glob("*.csv"))
SEEN = re.compile(r"^seen, (.*?): (.*)", flags=re.MULTILINE)


@pytest.mark.parametrize("name", NAMES)
def test_a_table_tells_its_source(name: str) -> None:
    assert re.search(r"\b(1[89]|20)\d\d\b|CIE|ISO|ASTM", "\n".join(header_of(name))), "no year or standard"
    assert rows_of(name)
    assert all(None not in row and all(row.values()) for row in rows_of(name)), "a row is short or long"


@pytest.mark.parametrize("name", NAMES)
def test_every_column_tells_how_it_was_seen(name: str) -> None:
    told = SEEN.findall("\n".join(header_of(name)))
    for column in rows_of(name)[0]:
        assert any(column in columns.split() or "all columns" in columns for columns, _ in told), column
    ways = ("through a library", "through libraries", "in print", "recomputed", "no value from outside")
    assert all(how.startswith(ways) for _, how in told), told


@pytest.mark.parametrize("name", sorted(path.stem for path in PUBLISHED.glob("*.csv")))
def test_what_is_called_published_was_seen_outside(name: str) -> None:
    assert any(how.startswith(("through", "in print")) for _, how in SEEN.findall("\n".join(header_of(name))))


def test_there_are_tables_of_both_kinds() -> None:
    assert len(list(PUBLISHED.glob("*.csv"))) >= 5
    assert len(list(RECOMPUTED.glob("*.csv"))) >= 5
