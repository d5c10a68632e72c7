"""What readings say against each other and against what a face must reflect, before anything is fitted.

The stated repeatability may be common to all values of a reading (a drifted lamp, a tilted seat) or each value's own.
Each check allows for both at once, so a value's own standard deviation is taken as the root of two repeatabilities.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import combinations, permutations
from typing import NamedTuple, TypeVar

import numpy as np

from tint import colorimetry
from tint.checks.ground import Finding, limit, listed, spread_limit
from tint.optics.surface import DEGREES_8, fresnel
from tint.spectra import Array, Mask
from tint.swatches import COLOURS, Reading, SwatchFolder
from tint.swatches.records import THROUGH

_BOTH = 2.0**0.5
_INDEX_ERROR = 0.02  # of a refractive index as declared: silicone rubbers lie within it; common practice, no source
# Times the noise by which replicates differ that are of different castings, and how many castings must do so, half of
# all that were read again at the least, for the table to be in question; chosen by eye.
_ANOTHER, _MOST_OTHERS = 20.0, 4
_MOST_TOLD = 4  # castings darker over a lighter card that are told one by one; chosen by eye
_LEAST_CONTRAST = 0.1  # of reflectance between backings that are compared


def of_readings(folder: SwatchFolder) -> Iterator[Finding]:
    """All that is found without a fit in the readings of a folder."""
    yield from _replicates(folder)
    yield from _changed_backings(folder)
    yield from _darker_over_lighter(folder)
    yield from _below_the_face(folder)
    yield from _above_one(folder)


Way = tuple[str, str, str, str]
Key = TypeVar("Key")


def ways(folder: SwatchFolder) -> dict[Way, list[Reading]]:
    """Readings by swatch, backing, seat and quantity: replicates stand together."""
    result: dict[Way, list[Reading]] = {}
    for each in folder.readings:
        result.setdefault((each.swatch, each.backing, each.seat, each.quantity), []).append(each)
    return result


class Pair(NamedTuple):
    """A casting over two cards in one seat: by how much it reads lighter over the lighter one, and that is lighter."""

    swatch: str
    dark: str
    light: str
    gain: Array
    contrast: Array


def over_two_cards(folder: SwatchFolder) -> Iterator[Pair]:
    """Every casting over every two cards that differ enough."""
    read: dict[tuple[str, str], dict[str, Array]] = {}
    for (swatch, backing, seat, quantity), group in ways(folder).items():
        if backing in folder.backings and quantity == "reflectance":
            read.setdefault((swatch, seat), {})[backing] = np.mean([each.values for each in group], axis=0)
    for (swatch, _), over in read.items():
        for dark, light in permutations(over, 2):
            contrast = folder.backings[light] - folder.backings[dark]
            if contrast.mean() > _LEAST_CONTRAST:
                yield Pair(swatch, dark, light, over[light] - over[dark], contrast)


def _replicates(folder: SwatchFolder) -> Iterator[Finding]:
    groups = {key: group for key, group in ways(folder).items() if len(group) > 1}
    # By how much the means of replicates differ [reflectance].
    apart = {key[0]: float(np.ptp([each.values.mean() for each in group])) for key, group in groups.items()}
    others = [name for name, size in apart.items() if size > _ANOTHER * folder.instrument.noise]
    if len(others) >= max(_MOST_OTHERS, 0.5 * len(apart)):
        yield Finding(
            kind="mixed_up",
            where=listed(others),
            about=tuple(others),
            words=f"of {len(others)} castings out of {len(apart)} that were read again the readings differ by up to "
            f"{max(apart.values()):.2f} on average, as those of different castings do",
            effect="names and readings no longer belong together, and nothing can be learnt from them",
            mend="was a column of readings.csv sorted without the others, or moved by a row? bring back the file",
        )
        return
    for (swatch, backing, _, quantity), group, seen in _disagreeing(folder, groups):
        labs = lab_of(folder, np.array([each.values for each in group]))
        spread = max(float(colorimetry.difference(a, b)) for a, b in combinations(labs, 2))
        way = f"in {quantity}" if quantity in THROUGH else f"over {backing}"
        yield Finding(
            kind="replicates",
            where=swatch,
            words=f"its {len(group)} readings {way} {seen}",
            effect=f"the castings are known no better than {spread:.2f} CIEDE2000 there, more than is predicted",
            mend="read it again, cleaned and seated anew; if it recurs, state a larger repeatability",
        )


def _disagreeing(
    folder: SwatchFolder, groups: Mapping[Key, Sequence[Reading]]
) -> Iterator[tuple[Key, Sequence[Reading], str]]:
    """Groups of replicates that differ beyond noise, each with its rows and how they do, in words."""
    several = {key: group for key, group in groups.items() if len(group) > 1}
    count = sum(map(len, several.values()))
    for key, group in several.items():
        if told := _disagreement(np.array([each.values for each in group]), folder.instrument.noise, count):
            rows = listed([str(each.row) for each in group])
            least = f"but the stated repeatability is {folder.instrument.repeatability:g}"
            yield key, group, f"(rows {rows}) {told}, {least}"


def _disagreement(values: Array, sd: float, comparisons: int) -> str:
    """How replicates, shape (n, n_wavelengths), differ beyond noise, in words; empty when they do not."""
    away = values - values.mean(axis=0)
    share = (1.0 - 1.0 / len(values)) ** 0.5
    level = np.abs(away.mean(axis=1))
    shape = np.sqrt(np.mean((away - away.mean(axis=1, keepdims=True)) ** 2, axis=1))
    if level.max() > limit(comparisons) * sd * share:
        return f"differ by up to {np.ptp(values.mean(axis=1)):.4f} on average"
    if shape.max() > spread_limit(comparisons, values.shape[1] - 1) * sd * share:
        return f"scatter by {shape.max() / share:.4f} about their mean"
    return ""


def _changed_backings(folder: SwatchFolder) -> Iterator[Finding]:
    for name, read, seen in _disagreeing(folder, folder.bare):
        yield Finding(
            kind="backing_changed",
            where=name,
            words=f"its {len(read)} bare readings {seen}",
            effect="see-through castings are fitted over a mean of two backings, so absorption and scattering err",
            mend="clean or replace the card, read it bare before and after a session, read again what lay on it",
        )


def _darker_over_lighter(folder: SwatchFolder) -> Iterator[Finding]:
    pairs = list(over_two_cards(folder))
    found = list(_reversed(folder, pairs))
    swatches = {each.swatch for each in pairs}
    if len(found) < _MOST_TOLD or 2 * len(found) <= len(swatches):
        yield from found
        return
    yield Finding(
        kind="darker_over_lighter",
        where="all castings" if len(found) == len(swatches) else f"{len(found)} of {len(swatches)} castings",
        about=tuple(each.where for each in found),
        words="they read darker over the lighter card than over the darker one: the names of all cards are swapped",
        effect="no layer does this: absorption and scattering are fitted to a contradiction",
        mend="see under which names the bare cards stand, and the cards behind the castings; correct one of the two",
    )


def _reversed(folder: SwatchFolder, pairs: Sequence[Pair]) -> Iterator[Finding]:
    """One by one, the castings that are darker over the lighter card."""
    far = limit(len(pairs) * (values_of(folder) + 1))
    # As of single readings, however many there are: those of a casting that is not taken off in between share their
    # error, and one that hides may then seem to be darker over the lighter card.
    sd = 2.0**0.5 * folder.instrument.noise
    for each in pairs:
        gain = np.where(each.contrast > 0.0, each.gain, 0.0)
        if gain.mean() < -far * sd or (gain < -far * _BOTH * sd).any():
            at = int(np.argmin(gain))
            yield Finding(
                kind="darker_over_lighter",
                where=each.swatch,
                about=(each.swatch,),
                words=f"it reads {-gain[at]:.4f} darker over {each.light} than over {each.dark} at "
                f"{place(folder, at)} ({-gain.mean():+.4f} on average), noise of the difference {sd:.4f}",
                effect="no layer does this: its absorption and scattering are fitted to a contradiction",
                mend="see whether rows or cards were swapped, then read it over both again",
            )


def _below_the_face(folder: SwatchFolder) -> Iterator[Finding]:
    """One finding for all readings, since one setting of the instrument makes them."""
    if folder.instrument.geometry != "di:8":
        return
    base_of = {swatch.name: folder.bases[swatch.base] for swatch in folder.swatches}
    read = [each for each in folder.readings if each.quantity == "reflectance"]
    sd = limit(len(read) * values_of(folder)) * _BOTH * folder.instrument.noise
    low: list[tuple[float, float, Reading]] = []
    for each in read:
        base = base_of[each.swatch]
        surely = max(base.refractive_index - _INDEX_ERROR, 1.0)
        face = float(fresnel(surely, DEGREES_8)) if base.k1 is None else base.k1
        if each.values.min() < face - sd:
            low.append((float(each.values.min()), face, each))
    if not low:
        return
    low.sort(key=lambda item: item[0] - item[1])
    least, face, darkest = low[0]
    swatches = list(dict.fromkeys(each.swatch for *_, each in low))
    at = place(folder, int(np.argmin(darkest.values)))
    yield Finding(
        kind="below_the_face",
        where=listed(swatches),
        about=tuple(swatches),
        words=f"{len(low)} of {len(read)} readings fall below what the smooth face alone reflects; the lowest, row "
        f"{darkest.row} ({darkest.swatch}), is {least:.4f} at {at} against {face:.4f} at the least",
        effect="dark colours are predicted darker than they will read; was the specular reflection left out?",
        mend='read again with it included, or write geometry = "de:8" if all readings were taken without it; '
        "a rough or dusty face does this too",
    )


def _above_one(folder: SwatchFolder) -> Iterator[Finding]:
    """Swatch by swatch: which of them is told by what they have in common."""
    high = 1.0 + limit(len(folder.readings) * values_of(folder)) * _BOTH * folder.instrument.noise
    worst: dict[str, Reading] = {}
    for each in folder.readings:
        if each.values.max() > high and each.values.max() > worst.get(each.swatch, each).values.max() - 1e-12:
            worst[each.swatch] = each
    swatches = {swatch.name: swatch for swatch in folder.swatches}
    for name, each in worst.items():
        held = ", ".join(swatches[name].loadings) or "the base alone"
        yield Finding(
            kind="fluorescence",
            about=(name,),
            where=f"{name}, {span(folder, each.values > 1.0)}",
            words=f"it reads up to {each.values.max():.3f} (row {each.row}), more than fell on it; it holds {held}",
            effect="fluorescence is no absorption and no scattering: its blends will be wrong, most under other lights",
            mend="leave a fluorescent pigment out of the folder; if others read high too, calibrate on the white tile",
        )


def span(folder: SwatchFolder, chosen: Mask) -> str:
    """From where to where a condition holds."""
    at = [int(each) for each in np.flatnonzero(chosen)]
    if folder.kind == COLOURS:
        return ", ".join(place(folder, each) for each in at)
    first = f"{folder.wavelengths[at[0]]:g}"
    return f"{first} nm" if len(at) == 1 else f"{first} to {place(folder, at[-1])}"


# A folder of colours as if of spectra of three values: X, Y and Z, each as a share of those of a perfect white.
#
# Each is a weighted mean of the reflectances, so that what holds for a reflectance at every wavelength holds for them:
# no layer reads lower over a lighter backing, below its own face, or above 1. The repeatability of a colorimeter is
# stated in them too.


_NAMES = ("X", "Y", "Z")


def as_shares(folder: SwatchFolder) -> SwatchFolder:
    """The folder with its colours as shares of X, Y, Z; one of spectra as it is."""
    if folder.kind != COLOURS:
        return folder
    return replace(
        folder,
        readings=tuple(map(_shares_of, folder.readings)),
        backings={name: _shares(values) for name, values in folder.backings.items()},
        bare={name: tuple(map(_shares_of, read)) for name, read in folder.bare.items()},
    )


def values_of(folder: SwatchFolder) -> int:
    """How many values a reading has."""
    return len(_NAMES) if folder.kind == COLOURS else folder.wavelengths.size


def place(folder: SwatchFolder, at: int) -> str:
    """`540 nm`, or `Y` of a colour."""
    return _NAMES[at] if folder.kind == COLOURS else f"{folder.wavelengths[at]:g} nm"


def lab_of(folder: SwatchFolder, values: Array) -> Array:
    """CIELAB of spectra (D65, 10 degrees), or of shares in the light and for the observer of the folder."""
    if folder.kind == COLOURS:
        return colorimetry.xyz_to_lab(values, np.ones(len(_NAMES)))
    return colorimetry.lab(np.maximum(values, 0.0), colorimetry.viewing(folder.wavelengths))


def _shares_of(reading: Reading) -> Reading:
    return replace(reading, values=_shares(reading.values))


def _shares(lab: Array) -> Array:
    return colorimetry.lab_to_xyz(lab, np.ones(len(_NAMES)))
