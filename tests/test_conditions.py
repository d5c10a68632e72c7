"""How castings were cured and kept: read, gathered with the palette, held against each other and against a trial."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from folder_example import Change, every, good_files, put, write
from folder_example import replace as text_replaced
from synthetic import fit_two_flux, studio

from tint.checks import Finding, examine
from tint.checks.castings import apart_in_age
from tint.fitting.report import circumstances
from tint.materials import Blend
from tint.palette import Circumstances, Palette, read_palette, write_palette
from tint.swatches import Conditions, SwatchFolder, inspect_folder, read_folder
from tint.trials import Trial, TrialReading
from tint.trials.trial import differences

NAMES = ("cure_c", "days", "mould", "finish", "lot")


def with_columns(*names: str) -> Change:
    """Blank columns at the end of swatches.csv."""

    def change(files: dict[str, bytes]) -> None:
        header, *rows = files["swatches.csv"].decode().splitlines()
        blank = "," * len(names)
        lines = [f"{header},{','.join(names)}", *(f"{row}{blank}" for row in rows)]
        files["swatches.csv"] = "".join(f"{line}\n" for line in lines).encode()

    return change


def cells(row: int, **values: str) -> Change:
    return every(with_columns(*NAMES), *(put("swatches.csv", row, name, cell) for name, cell in values.items()))


def made(place: Path, *changes: Change) -> Path:
    files = good_files()
    for change in changes:
        change(files)
    return write(place / "studio", files)


# Read.


def test_what_was_written_is_read_and_the_rest_is_unknown(tmp_path: Path) -> None:
    told = cells(2, cure_c="60", days="7.5", mould="epoxy", finish="satin", lot="B-2")
    swatches = read_folder(made(tmp_path, told)).swatches
    assert swatches[0].conditions == Conditions(cure_c=60.0, days=7.5, mould="epoxy", finish="satin", lot="B-2")
    assert swatches[1].conditions == Conditions()


def test_a_folder_without_the_columns_is_read_as_before(tmp_path: Path) -> None:
    assert {swatch.conditions for swatch in read_folder(made(tmp_path)).swatches} == {Conditions()}


def test_a_row_s_lot_goes_before_that_of_the_base(tmp_path: Path) -> None:
    of_base = text_replaced("palette.toml", "max_loading = 3.0\n", 'max_loading = 3.0\nlot = "B-1"\n')
    read = read_folder(made(tmp_path, of_base, cells(2, lot="B-2")))
    assert read.bases["clear"].lot == "B-1"
    lots = {swatch.name: swatch.conditions.lot for swatch in read.swatches}
    assert (lots["clear-2"], lots["clear-4"], lots["milky-2"]) == ("B-2", "B-1", "")


@pytest.mark.parametrize(
    ("column", "cell", "told"),
    [
        ("cure_c", "301", "cure_c 301; expected degrees Celsius from 0 to 300, or a blank cell"),
        ("cure_c", "-1", "cure_c -1; expected"),
        ("cure_c", "hot", "'hot' is not a number; expected degrees Celsius"),
        ("cure_c", "60 C", "'60 C' is more than a number"),
        ("days", "10001", "days 10001; expected days from 0 to 10000, or a blank cell"),
        ("days", "nan", "'nan' is not a finite number"),
    ],
)
def test_a_bad_number_is_told(tmp_path: Path, column: str, cell: str, told: str) -> None:
    read, faults = inspect_folder(made(tmp_path, cells(2, **{column: cell})))
    assert read is None
    (fault,) = faults
    assert (fault.row, fault.column, fault.grave) == (2, column, True)
    assert told in str(fault)


@pytest.mark.parametrize("cell", ["0", "300"])
def test_the_ends_of_the_range_are_good(tmp_path: Path, cell: str) -> None:
    assert read_folder(made(tmp_path, cells(2, cure_c=cell))).swatches[0].conditions.cure_c == float(cell)


def test_decimal_commas_and_points_are_told_apart_here_too(tmp_path: Path) -> None:
    def commas(files: dict[str, bytes]) -> None:
        files["swatches.csv"] = files["swatches.csv"].replace(b",", b";").replace(b"7.5", b"7,5")

    read, faults = inspect_folder(made(tmp_path, cells(2, days="7.5"), commas))
    assert read is None
    assert any("mix decimal commas and points" in str(fault) for fault in faults)


# Gathered.


def test_circumstances_are_ranges_and_lists_of_what_is_known() -> None:
    told = [
        Conditions(cure_c=60.0, days=3.0, mould="Epoxy", finish="satin"),
        Conditions(cure_c=23.0, mould="epoxy ", finish="smooth"),
        Conditions(),
    ]
    assert circumstances(told) == Circumstances(
        cure_c=(23.0, 60.0), days=(3.0, 3.0), moulds=("Epoxy",), finishes=("satin", "smooth")
    )
    assert circumstances([Conditions(), Conditions()]) == Circumstances()


def conditioned(folder: SwatchFolder, of: Callable[[int, str], Conditions]) -> SwatchFolder:
    """The folder with conditions by number and name of the swatch."""
    swatches = [replace(each, conditions=of(number, each.name)) for number, each in enumerate(folder.swatches)]
    return replace(folder, swatches=tuple(swatches))


@pytest.fixture(scope="module")
def clean() -> SwatchFolder:
    return studio(seed=3)


@pytest.fixture(scope="module")
def palette(clean: SwatchFolder) -> Palette:
    usual = Conditions(cure_c=23.0, days=7.0, mould="epoxy", finish="smooth", lot="B-1")
    return fit_two_flux(conditioned(clean, lambda number, _: usual if number else replace(usual, days=14.0)))


def test_a_palette_keeps_them_on_disk(palette: Palette, tmp_path: Path) -> None:
    told = palette.seen["clear"].circumstances
    assert told == Circumstances(
        cure_c=(23.0, 23.0), days=(7.0, 14.0), moulds=("epoxy",), finishes=("smooth",), lots=("B-1",)
    )
    path = tmp_path / "palette.fit"
    write_palette(palette, path)
    assert read_palette(path).seen == palette.seen


# Held against each other.


def found(clean: SwatchFolder, of: Callable[[int, str], Conditions]) -> tuple[Finding, ...]:
    return examine(conditioned(clean, of))


def test_nothing_is_asked_where_nothing_was_written_or_all_agree(clean: SwatchFolder) -> None:
    same = Conditions(cure_c=60.0, days=7.0, mould="epoxy", finish="satin", lot="B-1")
    assert found(clean, lambda *_: same) == ()
    assert found(clean, lambda number, _: same if number % 3 else Conditions()) == ()
    assert found(clean, lambda number, _: replace(same, finish="Satin" if number % 2 else "satin")) == ()
    assert found(clean, lambda number, _: replace(same, cure_c=60.0 + 15.0 * (number % 2), days=7.0 + number)) == ()


@pytest.mark.parametrize(
    ("field", "kind"), [("finish", "mixed_finish"), ("mould", "mixed_mould"), ("lot", "mixed_lot")]
)
def test_what_is_mixed_among_castings_of_a_base_is_told(clean: SwatchFolder, field: str, kind: str) -> None:
    def of(_: int, name: str) -> Conditions:
        told: dict[str, Any] = {field: "other" if name == "white-b" else "usual"}
        return Conditions(**told)

    (finding,) = found(clean, of)
    assert (finding.kind, finding.where, finding.about) == (kind, "clear", ())
    assert "usual (15 of them), other (white-b)" in finding.words
    assert finding.effect
    assert finding.mend


def test_what_differs_between_bases_is_no_matter(clean: SwatchFolder) -> None:
    of_base = {swatch.name: swatch.base for swatch in clean.swatches}
    assert (
        found(
            clean, lambda _, name: Conditions(lot=of_base[name], finish=of_base[name], cure_c=len(of_base[name]) * 20.0)
        )
        == ()
    )


@pytest.mark.parametrize(("geometry", "told"), [("di:8", "changes little"), ("45:0", "up to 0.029"), ("de:8", "0.029")])
def test_what_a_finish_does_depends_on_the_instrument(clean: SwatchFolder, geometry: str, told: str) -> None:
    folder = replace(clean, instrument=replace(clean.instrument, geometry=geometry))
    mixed = found(folder, lambda _, name: Conditions(finish="satin" if name == "white-b" else "smooth"))
    (finding,) = [each for each in mixed if each.kind == "mixed_finish"]
    assert told in finding.effect


def test_cures_apart(clean: SwatchFolder) -> None:
    (finding,) = found(clean, lambda _, name: Conditions(cure_c=80.0 if name == "green" else 60.0))
    assert finding.kind == "cure_temperatures"
    assert "60 to 80 °C, as blue-a and green were" in finding.words


def test_young_readings_by_the_kind_of_cure(clean: SwatchFolder) -> None:
    young = found(clean, lambda _, name: Conditions(days=0.5 if name in ("green", "mist") else 7.0))
    assert [(each.kind, each.where, each.about) for each in young] == [
        ("read_young", "clear", ("green",)),
        ("read_young", "milky", ("mist",)),
    ]
    assert "an addition cure" in young[0].effect
    assert "a condensation cure" in young[1].effect


def test_ages_apart(clean: SwatchFolder) -> None:
    (finding,) = found(clean, lambda _, name: Conditions(days=60.0 if name == "green" else 7.0))
    assert finding.kind == "ages"
    assert "7 to 60 days" in finding.words


@pytest.mark.parametrize(
    ("one", "other", "apart"),
    [(1, 8, True), (1, 6, False), (7, 36, True), (36, 7, True), (7, 35, False), (30, 90, False)],
)
def test_what_counts_as_apart_in_age(one: float, other: float, apart: bool) -> None:
    assert apart_in_age(one, other) is apart


# Held against a trial.


def trial(**conditions: object) -> Trial:
    return Trial(
        blend=Blend("clear", {"white": 0.2}),
        thickness_mm=2.0,
        readings=(TrialReading(values=np.full(16, 0.5), over="white"),),
        **conditions,  # type: ignore[arg-type]
    )


@pytest.mark.parametrize(
    ("conditions", "told"),
    [
        ({}, ()),
        ({"finish": "Smooth", "mould": "epoxy", "lot": "B-1", "cure_c": 38.0, "days_of_cure": 20.0}, ()),
        ({"finish": "satin"}, ("finish satin (theirs smooth)",)),
        ({"mould": "steel"}, ("mould steel (theirs epoxy)",)),
        ({"lot": "B-2"}, ("lot of the base B-2 (theirs B-1)",)),
        ({"cure_c": 80.0}, ("cured at 80 °C (theirs 23 °C)",)),
        ({"days_of_cure": 100.0}, ("read 100 days after its cure (theirs 7 to 14 days)",)),
        ({"days_of_cure": 0.5}, ()),  # told as young in any case
    ],
)
def test_a_trial_differs(palette: Palette, conditions: dict[str, object], told: tuple[str, ...]) -> None:
    assert differences(palette, trial(**conditions)) == told


def test_a_trial_is_not_held_against_what_nobody_wrote(clean: SwatchFolder) -> None:
    silent = fit_two_flux(clean)
    told = trial(finish="satin", mould="steel", lot="B-2", cure_c=80.0, days_of_cure=100.0)
    assert differences(silent, told) == ()
