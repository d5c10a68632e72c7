"""Processor time and peak memory of reading instruments' files, from 0.1 to 100 MB.

    python tests/figures/large_files.py [MB ...]

Each file is read in a process of its own; peak memory is that of the process, less what it has before it reads. A file
that holds more than is read must be refused, and how soon.
"""

from __future__ import annotations

import io
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tint.errors import InputError
from tint.swatches.instruments import read_measurements

GRID = np.arange(380.0, 781.0, 1.0)
SIZES = (0.1, 1.0, 10.0, 100.0)


def rows(megabytes: float, bytes_a_value: float) -> NDArray[np.float64]:
    """As many spectra as fill a file of a size."""
    count = max(2, round(megabytes * 1e6 / (GRID.size * bytes_a_value)))
    return np.random.default_rng(1).uniform(0.05, 0.9, (count, GRID.size))


def wide(megabytes: float) -> bytes:
    """CSV with a row a spectrum."""
    lines = [f"s{at}," + ",".join(f"{x:.4f}" for x in row) for at, row in enumerate(rows(megabytes, 7.0))]
    return "\n".join(["name," + ",".join(f"{nm:g}" for nm in GRID), *lines, ""]).encode()


def points(megabytes: float) -> bytes:
    """CSV with a row a wavelength."""
    spectra = enumerate(rows(megabytes, 17.0))
    lines = (f"s{at},{nm:g},{x:.4f}\n" for at, row in spectra for nm, x in zip(GRID, row, strict=True))
    return ("name,wavelength,reflectance\n" + "".join(lines)).encode()


def cgats(megabytes: float) -> bytes:
    """CGATS.17."""
    fields = "\t".join(f"SPECTRAL_NM{nm:g}" for nm in GRID)
    lines = [f"s{at}\t" + "\t".join(f"{x:.4f}" for x in row) for at, row in enumerate(rows(megabytes, 7.0))]
    head = f"CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID\t{fields}\nEND_DATA_FORMAT\nBEGIN_DATA\n"
    return (head + "\n".join(lines) + "\nEND_DATA\n").encode()


def cxf(megabytes: float) -> bytes:
    """CxF3."""
    objects = "".join(
        f'<Object Name="s{at}" Id="o{at}"><ColorValues><ReflectanceSpectrum ColorSpecification="C">'
        + " ".join(f"{x:.4f}" for x in row)
        + "</ReflectanceSpectrum></ColorValues></Object>"
        for at, row in enumerate(rows(megabytes, 7.0))
    )
    span = '<MeasurementSpec><WavelengthRange StartWL="380" Increment="1"/></MeasurementSpec>'
    return f'<CxF>{objects}<ColorSpecification Id="C">{span}</ColorSpecification></CxF>'.encode()


def workbook(megabytes: float) -> bytes:
    """A workbook."""
    from openpyxl import Workbook

    book = Workbook(write_only=True)
    sheet = book.create_sheet("Data")
    sheet.append(["name", *GRID.tolist()])
    for at, row in enumerate(rows(megabytes, 9.0)):
        sheet.append([f"s{at}", *np.round(row, 4).tolist()])
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


KINDS: dict[str, Callable[[float], bytes]] = {
    "csv, rows": wide,
    "csv, points": points,
    "cgats": cgats,
    "cxf3": cxf,
    "workbook": workbook,
}


def peak_mb() -> float:
    """The most memory that this process has held [MB]; as Linux tells it."""
    status = Path("/proc/self/status").read_text()
    return float(status.partition("VmHWM:")[2].split()[0]) / 1024.0


def read(path: str) -> None:
    """Read one file, and print what it took."""
    Path("/proc/self/clear_refs").write_text("5")  # sets the peak back to what is held now
    before, start = peak_mb(), time.process_time()
    try:
        found = f"{len(read_measurements(path))} spectra"
    except InputError as error:
        found = f"refused: {error.found}; {error.expected}"
    print(f"{time.process_time() - start:8.2f} s {peak_mb() - before:8.0f} MB  {found}")


def main() -> None:
    if sys.argv[1:2] == ["--read"]:
        read(sys.argv[2])
        return
    sizes = [float(each) for each in sys.argv[1:]] or SIZES
    with tempfile.TemporaryDirectory() as place:
        for kind, make in KINDS.items():
            for size in sizes if kind != "workbook" else [each for each in sizes if each <= 10.0]:
                path = Path(place) / "file"
                path.write_bytes(make(size))
                done = subprocess.run(
                    [sys.executable, __file__, "--read", path], capture_output=True, text=True, check=True
                )
                print(f"{kind:12s} {path.stat().st_size / 1e6:7.1f} MB {done.stdout.rstrip()}", flush=True)


if __name__ == "__main__":
    main()
