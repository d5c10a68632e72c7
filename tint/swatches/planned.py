"""What is to become of measurements that are taken over into readings.csv."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from tint.colorimetry import Viewing
from tint.errors import InputError
from tint.spectra import Array
from tint.swatches.gather import shown
from tint.swatches.instruments import Measurement
from tint.swatches.naming import Place
from tint.swatches.records import NO_BACKING, SPECTRA

NEW, REPLICATE, REPLACES, LEFT_OUT, FAULT = "new", "replicate", "replaces", "left out", "fault"
KEY_COLUMNS = ("swatch", "backing", "seat", "quantity")
Key = tuple[str, str, str, str]  # those cells of readings.csv
GOING = (NEW, REPLICATE, REPLACES)


@dataclass(frozen=True, kw_only=True)
class Doubles:
    """What happens to a measurement that cannot go in as it is; by default it is a fault.

    Parameters
    ----------
    add : bool
        One of a swatch, backing and seat that were read before goes in as a further replicate.
    replace : bool
        It takes the place of all that were read before.
    skip_unknown : bool
        One whose name is no swatch is left out.
    force : bool
        One of another geometry than the folder's goes in with a warning.
    """

    add: bool = False
    replace: bool = False
    skip_unknown: bool = False
    force: bool = False


@dataclass(frozen=True, kw_only=True, eq=False)
class Planned:
    """What is to become of one measurement.

    Parameters
    ----------
    action : str
        `new`, `replicate`, `replaces`, `left out` or `fault`.
    values : ndarray, shape (n_wavelengths,) or (3,), optional
        On the folder's wavelengths, or L*, a*, b* [-].
    rows : tuple of int
        The rows of readings.csv that it takes the place of.
    fault : InputError, optional
        Why it cannot go in.
    """

    measurement: Measurement
    action: str
    place: Place | None = None
    quantity: str = ""
    values: Array | None = None
    rows: tuple[int, ...] = ()
    fault: InputError | None = None
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def key(self) -> Key:
        """Swatch, backing, seat and quantity."""
        place = self.place or Place(swatch="")
        return place.swatch, place.backing, place.seat, self.quantity


@dataclass(frozen=True, kw_only=True, eq=False)
class Import:
    """What an import is going to do.

    Parameters
    ----------
    path : Path
        The readings.csv that is going to be written.
    data : bytes
        All of it as it is going to be; empty when there is nothing to do or a fault.
    was : bytes
        As it was when this was planned; empty when there was none.
    kind : str
        `spectra` or `colours`: what the folder's readings are.
    wavelengths : ndarray, shape (n_wavelengths,)
        Of the folder; none where it holds colours [nm].
    view : Viewing, optional
        The light and observer of its colours.
    """

    path: Path
    planned: tuple[Planned, ...]
    data: bytes
    was: bytes = b""
    kind: str = SPECTRA
    wavelengths: Array
    view: Viewing | None = None

    @property
    def faults(self) -> tuple[InputError, ...]:
        """Why it cannot be done."""
        return tuple(each.fault for each in self.planned if each.fault is not None)


def in_words(key: Key) -> str:
    """`lid-3 over black, air`: what was read, over what."""
    swatch, backing, seat, quantity = key
    over = {"": "bare", NO_BACKING: "with nothing behind"}.get(backing, f"over {shown(backing)}")
    return ", ".join([f"{shown(swatch)} {over}", *filter(None, [seat, quantity if quantity != "reflectance" else ""])])
