"""What an import is told and makes of it: which swatch and backing a measurement is of, and what becomes of it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from tint.colorimetry import Viewing
from tint.errors import InputError, did_you_mean, listed, one_of, quoted, shown
from tint.materials import SEATS
from tint.spectra import Array
from tint.swatches.instruments import Measurement
from tint.swatches.instruments.words import in_english
from tint.swatches.records import NO_BACKING, QUANTITIES, REGULAR, SPECTRA, THROUGH
from tint.swatches.text import name_remade

NEW, REPLICATE, REPLACES, LEFT_OUT, FAULT = "new", "replicate", "replaces", "left out", "fault"
KEY_COLUMNS = ("swatch", "backing", "seat", "quantity")
Key = tuple[str, str, str, str]  # those cells of readings.csv
GOING = (NEW, REPLICATE, REPLACES)


@dataclass(frozen=True, kw_only=True)
class Doubles:
    """What happens to a measurement that cannot go in as it is; by default it is a fault."""

    add: bool = False  # one of a swatch, backing and seat that were read before goes in as a further replicate
    replace: bool = False  # it takes the place of all that were read before
    skip_unknown: bool = False  # one whose name is no swatch is left out
    force: bool = False  # one of another geometry than the folder's goes in with a warning


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where a measurement belongs in readings.csv; what is not known is empty."""

    swatch: str = ""
    backing: str = ""
    seat: str = ""


@dataclass(frozen=True, kw_only=True, eq=False)
class Planned:
    """What is to become of one measurement."""

    measurement: Measurement
    action: str  # `new`, `replicate`, `replaces`, `left out` or `fault`
    place: Place = Place()
    quantity: str = ""
    values: Array | None = None  # shape (n_wavelengths,) or (3,), on the folder's wavelengths, or L*, a*, b* [-]
    rows: tuple[int, ...] = ()  # the rows of readings.csv that it takes the place of
    fault: InputError | None = None  # why it cannot go in
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def key(self) -> Key:
        """Swatch, backing, seat and quantity."""
        return self.place.swatch, self.place.backing, self.place.seat, self.quantity

    def refused(self, found: str, expected: str = "", mend: str = "") -> Planned:
        """The same with a fault of its own."""
        return replace(self, action=FAULT, fault=InputError(self.measurement.where, found, expected, mend))


@dataclass(frozen=True, kw_only=True, eq=False)
class Import:
    """What an import is going to do."""

    path: Path  # the readings.csv that is going to be written
    planned: tuple[Planned, ...]
    data: bytes  # all of it as it is going to be; empty when there is nothing to do or a fault
    was: bytes = b""  # as it was when this was planned; empty when there was none
    kind: str = SPECTRA  # `spectra` or `colours`: what the folder's readings are
    wavelengths: Array  # shape (n_wavelengths,), of the folder; none where it holds colours [nm]
    view: Viewing | None = None  # the light and observer of its colours

    @property
    def faults(self) -> tuple[InputError, ...]:
        """Why it cannot be done."""
        return tuple(each.fault for each in self.planned if each.fault is not None)


def in_words(key: Key) -> str:
    """`lid-3 over black, air`: what was read, over what."""
    swatch, backing, seat, quantity = key
    over = {"": "bare", NO_BACKING: "with nothing behind"}.get(backing, f"over {shown(backing)}")
    return ", ".join([f"{shown(swatch)} {over}", *filter(None, [seat, quantity if quantity != "reflectance" else ""])])


PATTERN_WORDS = ("swatch", "backing", "seat", "any")
_LONGEST_NAME = 200  # characters; no source, chosen by eye
_SEAT = "say for all that tell none: --seat air, laid on the card, or --seat wet, cast on or oiled to it"
OTHERWISE = "name it with --as or --pattern, or leave such out with --skip-unknown"
_APART = r"(?:(?<![^\W_])|(?![^\W_]))"
_BARE = re.compile(r"[\W\d_]*(?:bare|card|alone|only)?[\W\d_]*", re.IGNORECASE)  # what is said beside a card's name
_BACKING = "say --backing NAME, or name it with --as or --pattern"


@dataclass(frozen=True, kw_only=True)
class Naming:
    """What the user says of the names in a file."""

    # names of measurements and where they belong: `SWATCH`, `SWATCH/BACKING`, `SWATCH/BACKING/SEAT` or `BACKING`
    same: Mapping[str, str] = field(default_factory=dict)
    # such as `{swatch}-{backing}`, with `{seat}` and `{any}` where needed; the first that fits counts
    patterns: Sequence[str] = ()
    # backing, seat, quantity: of measurements that say nothing of theirs
    backing: str = ""
    seat: str = ""
    quantity: str = ""


def _within(name: str, known: Iterable[str]) -> str:
    """The longest of the known names that stands in another as a word of its own; empty where none does."""
    found = [each for each in known if re.search(rf"(?<![^\W_]){re.escape(each)}(?![^\W_])", name[:_LONGEST_NAME])]
    return max(found, key=len, default="")


class Namer:
    """Finds the place of each measurement among the swatches and backings of a folder.

    InputError if the naming itself names no swatch, no backing, or is no pattern.
    """

    def __init__(
        self, naming: Naming, *, swatches: Iterable[str], backings: Iterable[str], words: Iterable[str] = ()
    ) -> None:
        """`words` are all that the files have for backings: one for all cannot take the place of several."""
        self.naming = naming
        self.swatches, self.backings = tuple(swatches), tuple(backings)
        self.strange = {word for word in words if word and not self._card(word)}
        for word, known, option in (
            (naming.backing, (*self.backings, NO_BACKING), "backing"),
            (naming.seat, SEATS, "seat"),
            (naming.quantity, QUANTITIES, "quantity"),
        ):
            if word and word not in known:
                raise InputError(f"--{option}", f"there is no `{word}`", one_of(known))
        self.same = {name: self._told(name, words) for name, words in naming.same.items()}
        self.patterns = [self._compiled(each) for each in naming.patterns]

    def quantity(self, measurement: Measurement) -> str:
        """What was measured; a file that tells transmittance leaves open whether all of it or the regular is meant."""
        if self.naming.quantity == REGULAR and measurement.quantity == THROUGH[0]:
            return REGULAR
        return measurement.quantity or self.naming.quantity or "reflectance"

    def place(self, measurement: Measurement, quantity: str) -> Place | None:
        """Where a measurement of a quantity belongs; None when its name is no swatch or backing.

        InputError if backing or seat are missing or contradict each other.
        """
        found = self._by_name(measurement)
        if found is None:
            return None
        if found.swatch in self.backings:
            return self._bare(measurement, found, quantity)
        backing = self._backing(measurement, found, quantity)
        if backing == NO_BACKING:
            return Place(swatch=found.swatch, backing=NO_BACKING)
        seat = self._one(measurement, "seat", (found.seat, measurement.seat.lower()), SEATS) or self.naming.seat
        if not seat:
            raise InputError(measurement.where, f"{shown(measurement.name)}: no seat is told", one_of(SEATS), _SEAT)
        return Place(swatch=found.swatch, backing=backing, seat=seat)

    def column_of_swatches(self, measurement: Measurement) -> str:
        """The column of a table that names a swatch where the name does not; empty where none does."""
        told = measurement.told.items()
        return next((column for column, word in told if word in self.swatches and word != measurement.name), "")

    def suggestion(self, measurement: Measurement) -> str:
        """What files a name in which a swatch or backing stands among other words; empty where none does.

        It is only shown: a guess that went in unasked could file a casting under another.
        """
        name, column = measurement.name, self.column_of_swatches(measurement)
        if column:
            return f"if the column {shown(column)} names the swatch, call it `swatch`"
        if remade := name_remade(name, self.swatches):
            return f"{remade}, or say --as"
        swatch = _within(name, self.swatches)
        backing = _within(name.replace(swatch, "", 1), self.backings)
        if swatch and backing:
            pattern = name.replace(swatch, "{swatch}", 1).replace(backing, "{backing}", 1)
            return f"write --pattern {quoted(pattern)}"
        if backing and _BARE.fullmatch(name.replace(backing, "", 1)):
            return f"write --as {quoted(f'{name}={backing}')}"
        return f"write --as {quoted(f'{name}={swatch}')}" if swatch else OTHERWISE if backing else ""

    def _card(self, word: str) -> str:
        """The backing that a word means: by its name, alone or among others, in another language, or its initial."""
        known = {each.lower(): each for each in (*self.backings, NO_BACKING)}
        low, english = word.lower(), in_english(word[:_LONGEST_NAME]).lower()
        found = [each for each in known if _within(english, [each]) or (len(low) == 1 and each.startswith(low))]
        return known.get(low) or (known[found[0]] if len(found) == 1 else "")

    def _by_name(self, measurement: Measurement) -> Place | None:
        name, told = measurement.name, measurement.told
        if name in self.same:
            return self.same[name]
        column = "" if "swatch" in told else self.column_of_swatches(measurement)
        if name in self.swatches and name.isdigit() and column and not told[column].isdigit():
            found = f"{shown(name)} and {shown(told[column])}, of the column {shown(column)}, are swatches both"
            raise InputError(measurement.where, found, "one", "call the column that names the swatch `swatch`")
        if name in self.swatches or name in self.backings:
            return Place(swatch=name)
        for pattern in self.patterns:
            if match := pattern.fullmatch(name[:_LONGEST_NAME]):
                return Place(**{word: cell for word, cell in match.groupdict().items() if cell})
        return None

    def _bare(self, measurement: Measurement, found: Place, quantity: str) -> Place:
        if quantity in THROUGH:
            expected = "its reflectance"
            raise InputError(measurement.where, f"{quantity} of the backing {shown(found.swatch)}", expected)
        above = measurement.told.get("sample above", "")
        if above in self.swatches and measurement.name not in self.same:
            own = shown(found.swatch)
            told = f"{own} is a backing, and the lines above name the swatch {shown(above)}"
            mend = f"say --as {quoted(f'{own}={above}/{own}')}, or --as {quoted(f'{own}={own}')} for the bare card"
            raise InputError(measurement.where, told, "one of the two", mend)
        if found.backing or found.seat:
            told = f"{shown(found.swatch)} is a backing, and has a backing or a seat itself"
            raise InputError(measurement.where, told, "a swatch, or the backing alone")
        return found

    def _backing(self, measurement: Measurement, found: Place, quantity: str) -> str:
        known = (*self.backings, NO_BACKING)
        own = self._card(measurement.backing) or measurement.backing
        if own not in known and (found.backing or (self.naming.backing and len(self.strange) == 1)):
            own = ""  # a word of the instrument's that the user has put right
        told = self._one(measurement, "backing", (found.backing, own), known)
        if quantity in THROUGH:
            if told not in ("", NO_BACKING):
                raise InputError(measurement.where, f"{quantity} over {shown(told)}", "none behind the swatch")
            return NO_BACKING
        told = told or self._card(measurement.told.get("sheet", "")) or self.naming.backing
        if not told:
            found_none = f"{shown(measurement.name)}: no backing is told"
            raise InputError(measurement.where, found_none, one_of(known), _BACKING)
        return told

    def _one(self, measurement: Measurement, kind: str, told: Sequence[str], known: Sequence[str]) -> str:
        """What the user and the file say, where they say one known thing."""
        words = list(dict.fromkeys(each for each in told if each))
        if len(words) > 1:
            found = f"{shown(measurement.name)}: the file says {kind} {shown(words[1])}, its name {shown(words[0])}"
            raise InputError(measurement.where, found, "one", "name it with --as, or mend the file")
        if words and words[0] not in known:
            found = f"{shown(measurement.name)}: there is no {kind} {shown(words[0])}"
            alone = f"say which it is with --{kind} or --as"
            mend = alone if len(self.strange) < 2 else "write so in the file, or say --as"
            raise InputError(measurement.where, found, one_of(known), mend)
        return words[0] if words else ""

    def _told(self, name: str, words: str) -> Place:
        """The place that `SWATCH/BACKING/SEAT` names; a swatch's own name may hold a slash."""
        known = (*self.swatches, *self.backings)
        for count in range(min(2, words.count("/")) + 1):
            swatch, *rest = words.rsplit("/", count) if count else (words,)
            backing, seat = (*rest, "", "")[:2]
            if swatch in known and backing in ("", *self.backings, NO_BACKING) and seat in ("", *SEATS):
                return Place(swatch=swatch, backing=backing, seat=seat)
        expected = f"SWATCH/BACKING/SEAT of the folder; backings are {listed((*self.backings, NO_BACKING))}"
        mend = did_you_mean(words.partition("/")[0], known)
        raise InputError(f"--as {shown(name)}", f"there is no `{words}`", expected, mend)

    def _compiled(self, pattern: str) -> re.Pattern[str]:
        """A pattern as a regular expression of the folder's own names: the longest that fits is meant."""
        parts = re.split(r"\{(\w*)\}", pattern[:_LONGEST_NAME])
        words = parts[1::2]
        strange = [each for each in words if each not in PATTERN_WORDS]
        expected = "{swatch}, {backing}, {seat} and {any}, each once at most, and {swatch} in any case"
        if strange or "swatch" not in words or len(set(words)) < len(words):
            raise InputError("--pattern", f"{quoted(pattern)} is none", expected)
        names = {"swatch": self.swatches, "backing": (*self.backings, NO_BACKING), "seat": SEATS}
        made = ""
        for at, part in enumerate(parts):
            if at % 2 == 0:
                made += re.escape(part)
            elif part == "any":  # beside a name it begins a word: lid-1 is not the beginning of lid-12
                before, after = (
                    _APART * (not parts[beside] and 0 < beside < len(parts) - 1) for beside in (at - 1, at + 1)
                )
                made += f"{before}.*?{after}"
            else:
                each = "|".join(re.escape(name) for name in sorted(names[part], key=len, reverse=True))
                made += f"(?P<{part}>{each or '(?!)'})"
        return re.compile(made)
