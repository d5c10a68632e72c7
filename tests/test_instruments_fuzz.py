"""Broken files of every format are read or refused by one line; tests/figures/mutants.py does the same at length."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from instrument_files import seeds

from tint.errors import InputError
from tint.swatches.instruments import parse_measurements

sys.path.insert(0, str(Path(__file__).parent / "figures"))

from mutants import Tally, fuzz, try_one


@pytest.mark.parametrize("name", seeds())
def test_the_files_that_are_broken_are_good(name: str) -> None:
    assert parse_measurements(seeds()[name], file=name)


def test_mutants_do_no_harm() -> None:
    count = 24 * settings().max_examples
    tallies = fuzz(count, seed=1)
    assert [defect for each in tallies.values() for defect in each.defects] == []
    assert sum(each.read + each.refused for each in tallies.values()) == count
    assert all(each.read and each.refused for each in tallies.values()), "some file was never read, or never refused"


def test_the_judge_sees_a_defect(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(data: bytes, *, file: str) -> tuple[()]:
        raise KeyError(file)

    monkeypatch.setattr("mutants.parse_measurements", broken)
    tally = Tally()
    try_one(b"", tally)
    assert len(tally.defects) == 1


# Written when a test asks for one: together they are large. Each is well beyond a bound, and what grew with the square
# of its size would still take minutes.
ENDLESS: dict[str, Callable[[], bytes]] = {
    "blank cells": lambda: (b"," * 49_999 + b"\n") * 20,
    "wavelengths": lambda: (b"400," * 49_000 + b"\n") * 40,
    "points": lambda: b"wavelength,value\n" + b"400,1\n" * 30_000,
    "fields": lambda: b"CGATS.17\nBEGIN_DATA_FORMAT\n" + (b"NM400 " * 30_000 + b"\n") * 40,
    "objects": lambda: b"<CxF>" + b"<Object/>" * 400_000,
    "attributes": lambda: b"<CxF " + b'a=""' * 2_000_000,
    "text": lambda: b"<CxF><ColorValues>" + b"1 " * 4_000_000,
}


@pytest.mark.parametrize("name", ENDLESS)
def test_much_that_says_little_is_refused_in_time(name: str) -> None:
    tally = Tally()
    try_one(ENDLESS[name](), tally)
    assert (tally.defects, tally.refused) == ([], 1)


@settings(deadline=None)
@given(st.binary(max_size=400) | st.text(max_size=200).map(str.encode))
def test_property_bytes_of_any_kind_are_refused_by_one_line(data: bytes) -> None:
    line = "junk"
    try:
        parse_measurements(data, file="junk")
    except InputError as error:
        line = str(error)
    assert line.startswith("junk")
    assert "\n" not in line
