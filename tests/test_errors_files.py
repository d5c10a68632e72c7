"""Errors are one line; files are written whole or not at all; the cache is never trusted and never needed."""

from __future__ import annotations

import io
import os
import stat
import threading
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tint import files
from tint.errors import Fault, FolderError, InputError, JobError, TintError
from tint.files import Array, arrays_from_bytes, arrays_to_bytes, cached_arrays, write_whole

WORDS = st.text(alphabet=st.characters(codec="utf-8"), max_size=30)


def test_an_error_says_where_what_was_expected_and_what_mends_it() -> None:
    error = InputError("thickness", "-3 mm", "more than 0", "write it in millimetres")
    assert str(error) == "thickness: -3 mm; expected more than 0; write it in millimetres"
    assert (error.where, error.found, error.expected, error.mend) == (
        "thickness", "-3 mm", "more than 0", "write it in millimetres",
    )  # fmt: skip


def test_what_was_found_and_expected_is_told_in_no_more_than_a_few_hundred_letters() -> None:
    error = InputError("screen colour", f"`#{'9' * 5000}` is not one", "one of " + "yellow, " * 900, "as in #c8a060")
    assert len(str(error)) < 1000
    assert str(error).startswith("screen colour: `#9999")
    assert "characters left out) ... 9999" in str(error)
    assert "` is not one; expected" in str(error), "what is wrong stands at the end of what was found"
    assert str(error).endswith("; as in #c8a060")
    assert len(str(Fault(file="swatches.csv", found="x" * 5000))) < 500
    assert len(str(InputError(f"lid.json, key {'k' * 9000}", "there is no such key"))) < 500


def test_empty_parts_of_an_error_leave_no_trace() -> None:
    assert str(JobError("fit", "it did not converge", mend="pour one more swatch")) == (
        "fit: it did not converge; pour one more swatch"
    )
    assert str(TintError("", "only this")) == "only this"


@given(WORDS, WORDS, WORDS, WORDS)
@settings(deadline=None)
def test_property_an_error_is_one_line(where: str, found: str, expected: str, mend: str) -> None:
    assert len(str(InputError(where, found, expected, mend)).splitlines()) <= 1
    assert len(str(Fault(file="a.csv", found=found, expected=expected, mend=mend)).splitlines()) <= 1


def test_usage_and_job_errors_are_told_apart_and_share_a_base() -> None:
    assert issubclass(InputError, TintError)
    assert issubclass(JobError, TintError)
    assert issubclass(FolderError, InputError)
    assert not issubclass(JobError, InputError)
    assert not issubclass(InputError, JobError)


def test_a_fault_tells_file_row_and_column() -> None:
    fault = Fault(
        file="readings.csv",
        row=31,
        column="450",
        found="reflectance 84.2 is outside 0 to 1",
        mend="it looks like percent: divide by 100",
    )
    assert str(fault) == (
        "readings.csv, row 31, column 450: reflectance 84.2 is outside 0 to 1; it looks like percent: divide by 100"
    )
    assert fault.grave
    assert Fault(file="swatches.csv", found="is empty").where == "swatches.csv"


def test_a_folder_error_tells_its_first_fault_and_counts_the_rest() -> None:
    faults = [Fault(file="a.csv", row=at, found=f"fault {at}", mend="mend it") for at in (2, 3, 4)]
    error = FolderError("studio", faults)
    assert error.faults == tuple(faults)
    assert str(error) == "a.csv, row 2: fault 2; mend it; and 2 more: run `tint check studio` to see all"
    assert str(FolderError("studio", faults[:1])) == "a.csv, row 2: fault 2; mend it"


def test_a_file_is_written_and_nothing_else_is_left(tmp_path: Path) -> None:
    path = tmp_path / "out.bin"
    write_whole(path, b"first")
    write_whole(str(path), b"second")
    assert path.read_bytes() == b"second"
    assert [entry.name for entry in tmp_path.iterdir()] == ["out.bin"]


def test_a_written_file_has_the_rights_that_a_new_file_has(tmp_path: Path) -> None:
    write_whole(tmp_path / "ours", b"")
    (tmp_path / "plain").write_bytes(b"")
    rights = [stat.S_IMODE((tmp_path / name).stat().st_mode) for name in ("ours", "plain")]
    assert rights[0] == rights[1]


@pytest.mark.parametrize("failing", ["fsync", "replace"])
def test_a_failed_write_leaves_the_old_file_and_no_litter(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, failing: str
) -> None:
    path = tmp_path / "kept"
    path.write_bytes(b"old")

    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, failing, fail)
    with pytest.raises(InputError, match=r"kept: cannot be written \(No space left on device\)"):
        write_whole(path, b"new")
    assert path.read_bytes() == b"old"
    assert [entry.name for entry in tmp_path.iterdir()] == ["kept"]


def test_a_folder_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"out: cannot be written \(No such file or directory\)"):
        write_whole(tmp_path / "nowhere" / "out", b"")
    assert not list(tmp_path.iterdir())


ARRAYS = {"plain": np.linspace(0.0, 1.0, 7), "deep": np.arange(24.0).reshape(2, 3, 4), "none": np.zeros((0, 3))}


def equal(one: dict[str, Array], other: dict[str, Array]) -> bool:
    return list(one) == list(other) and all(np.array_equal(one[name], other[name]) for name in one)


def test_arrays_come_back_from_bytes_as_they_were() -> None:
    assert equal(arrays_from_bytes(arrays_to_bytes(ARRAYS)), ARRAYS)


@given(st.data())
@settings(deadline=None)
def test_property_an_archive_with_one_other_byte_is_a_value_error(data: st.DataObject) -> None:
    whole = arrays_to_bytes(ARRAYS)
    at = data.draw(st.integers(0, len(whole) - 1))
    change = data.draw(st.integers(1, 255))
    with pytest.raises(ValueError, match="not a whole archive"):
        arrays_from_bytes(whole[:at] + bytes([whole[at] ^ change]) + whole[at + 1 :])


def test_arrays_of_another_key_are_a_value_error() -> None:
    whole = arrays_to_bytes(ARRAYS, key="one")
    assert equal(arrays_from_bytes(whole, key="one"), ARRAYS)
    with pytest.raises(ValueError, match="not a whole archive"):
        arrays_from_bytes(whole, key="other")


def test_numpy_reads_the_arrays_without_tint() -> None:
    with np.load(io.BytesIO(arrays_to_bytes(ARRAYS))) as archive:
        assert np.array_equal(archive["deep"], ARRAYS["deep"])


@given(st.integers(0, 10_000))
@settings(deadline=None)
def test_property_a_cut_archive_is_a_value_error(length: int) -> None:
    whole = arrays_to_bytes(ARRAYS)
    with pytest.raises(ValueError, match=r"."):
        arrays_from_bytes(whole[: length % len(whole)])


def plain_array() -> bytes:
    stream = io.BytesIO()
    np.save(stream, np.ones(3))
    return stream.getvalue()


def objects() -> bytes:
    stream = io.BytesIO()
    np.savez(stream, a=np.array([{"not": "numbers"}], dtype=object))
    return stream.getvalue()


@pytest.mark.parametrize("content", [b"", b"not an archive", plain_array(), objects()])
def test_what_is_no_archive_of_arrays_is_a_value_error(content: bytes) -> None:
    with pytest.raises(ValueError, match=r"."):
        arrays_from_bytes(content)


class Builder:
    """Counts how often the dear arrays are built."""

    def __init__(self) -> None:
        self.times = 0

    def __call__(self) -> dict[str, Array]:
        self.times += 1
        return dict(ARRAYS)


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("TINT_CACHE", str(tmp_path / "cache"))
    return tmp_path / "cache"


def test_the_cache_builds_once_for_a_key(cache: Path) -> None:
    build = Builder()
    assert equal(cached_arrays("one", build), ARRAYS)
    assert equal(cached_arrays("one", build), ARRAYS)
    assert build.times == 1
    cached_arrays("another", build)
    assert build.times == 2
    assert len(list(cache.iterdir())) == 2


OTHER_NAMES = arrays_to_bytes({f"other {name}": array for name, array in ARRAYS.items()})


@pytest.mark.parametrize("content", [b"", b"rubbish", plain_array(), arrays_to_bytes(ARRAYS)[:-30], OTHER_NAMES])
def test_a_corrupt_cache_is_built_again(cache: Path, content: bytes) -> None:
    build = Builder()
    cached_arrays("one", build)
    (file,) = cache.iterdir()
    file.write_bytes(content)
    assert equal(cached_arrays("one", build), ARRAYS)
    assert build.times == 2
    assert equal(cached_arrays("one", build), ARRAYS)
    assert build.times == 2, "the corrupt file was not mended"


def test_a_cache_that_cannot_be_written_costs_only_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").write_bytes(b"")
    monkeypatch.setenv("TINT_CACHE", str(tmp_path / "file" / "below"))
    build = Builder()
    for _ in range(2):
        assert equal(cached_arrays("one", build), ARRAYS)
    assert build.times == 2


def test_of_builders_that_race_one_builds_and_all_get_whole_arrays(cache: Path) -> None:
    start = threading.Barrier(4)
    results: list[dict[str, Array]] = []
    build = Builder()

    def race() -> None:
        start.wait()
        results.append(cached_arrays("race", build))

    threads = [threading.Thread(target=race) for _ in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert build.times == 1
    assert len(results) == 4
    assert all(equal(result, ARRAYS) for result in results)
    assert len(list(cache.iterdir())) == 1, "the lock is gone"


def test_the_cache_has_a_place_of_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("TINT_CACHE", raising=False)
    assert files.cache_folder().name == "tint"
