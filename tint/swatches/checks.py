"""What is thin or odd in a folder though it can be read: what it cannot teach, readings that quarrel."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from tint.errors import Fault, Gathered, listed, one_of, shown
from tint.optics.surface import HEIGHTS_UM, known_word
from tint.spectra import Array
from tint.swatches.casts import Casts
from tint.swatches.declaration import Declared
from tint.swatches.measured import Measured
from tint.swatches.records import COLOURS, NO_BACKING, REGULAR, SPECTRA, Reading, Swatch
from tint.swatches.values import luminance

# Both reflectance; no source, chosen by eye.
_LEAST_CONTRAST = 0.1  # of reflectance between backings; below it a backing hardly shows through a swatch
_LEAST_NOISE = 0.002  # the last of three printed decimals
_NEVER_DARKER = "a lighter backing cannot darken a swatch"
_UNTOLD = {
    SPECTRA: "absorption and scattering are hardly told apart",
    COLOURS: "scattering and opacity are hardly known",
}


def warn_thin_casts(swatches: Sequence[Swatch], declared: Declared, faults: Gathered) -> None:
    """Warn of bases and pigments that no swatch teaches, or too few."""
    for base in declared.bases:
        cast = [swatch for swatch in swatches if swatch.base == base]
        if not cast:
            faults.warn(f"no swatch of base {shown(base)}", column="base", mend="cast it uncoloured")
        elif all(swatch.loadings for swatch in cast):
            found, guess = (
                f"no uncoloured swatch of base {shown(base)}",
                "without one, the base's own colour is a guess",
            )
            faults.warn(found, column="base", expected=guess, mend="cast it without pigment")
    for pigment in declared.pigments:
        doses = {swatch.loadings[pigment] for swatch in swatches if pigment in swatch.loadings}
        if not doses:
            found, mend = ("the pigment was never cast", "cast it at two loadings, or remove it from palette.toml")
            faults.warn(found, column=pigment, mend=mend)
        elif len(doses) == 1:
            found = f"the pigment was cast at one loading only, {doses.pop():g} percent"
            mend = "cast a second loading, to see whether its colour grows in proportion"
            faults.warn(found, column=pigment, mend=mend)
    if len({swatch.thickness_mm for swatch in swatches}) == 1:
        found, mend = (
            f"all swatches are {swatches[0].thickness_mm:g} mm thick",
            "cast some thinner or thicker, as parts are",
        )
        faults.warn(found, column="thickness_mm", mend=mend)


# Units that are asked about; castings of silicone are seldom thinner, nor doses so small throughout. Chosen by eye.
_LEAST_USUAL_MM = 0.65  # the thickest casting of a folder
_LEAST_OF_OTHERS = 0.5  # of the thinnest other casting
_LEAST_DOSE = 0.04  # percent, the largest dose of a folder
_ENOUGH = 4  # castings from which such a thing is seen


def warn_units(swatches: Sequence[Swatch], faults: Gathered) -> None:
    """Ask about thicknesses that look like centimetres or inches, and loadings that look like fractions of one."""
    depths = sorted(swatch.thickness_mm for swatch in swatches)
    if len(depths) < _ENOUGH:
        return
    if depths[-1] <= _LEAST_USUAL_MM:
        found = f"all thicknesses are {depths[0]:.3g} to {depths[-1]:.3g} mm"
        mend = "are they in centimetres or inches? write millimetres"
        faults.warn(found, column="thickness_mm", expected="castings of a millimetre and more", mend=mend)
    elif depths[0] < _LEAST_OF_OTHERS * depths[1] and depths[1] <= 10.0 * depths[0] <= depths[-1] * 1.25:
        thin = min(swatches, key=lambda swatch: swatch.thickness_mm)
        found = f"{shown(thin.name)} is {thin.thickness_mm:g} mm thick, all others {depths[1]:g} mm and more"
        mend = "is it in centimetres? write millimetres"
        faults.warn(found, row=thin.row, column="thickness_mm", mend=mend)
    hazes = [swatch.haze for swatch in swatches if swatch.haze is not None]
    if len(hazes) >= _ENOUGH and max(hazes) <= 0.01:
        found = f"no haze is above {100.0 * max(hazes):g} percent"
        mend = "are they fractions of one? write percent, 100 times as much"
        faults.warn(found, column="haze_percent", expected="percent, as 4 for four hundredths", mend=mend)
    doses = [dose for swatch in swatches for dose in swatch.loadings.values()]
    if len(doses) >= _ENOUGH and max(doses) <= _LEAST_DOSE:
        found = f"no loading is above {max(doses):g} percent"
        mend = "are they fractions of one? write percent, 100 times as much"
        faults.warn(found, column="loadings", expected="percent by mass, as 0.5 for half a percent", mend=mend)


def warn_finishes(swatches: Sequence[Swatch], faults: Gathered) -> None:
    """Warn of words for a surface that are not known, whose castings count as glossy."""
    unknown = {s.conditions.finish: s.row for s in reversed(swatches) if not known_word(s.conditions.finish or "gloss")}
    for finish, row in reversed(unknown.items()):
        expected = f"{one_of(HEIGHTS_UM)}; it is read as gloss"
        faults.warn(f"there is no finish {shown(finish)}", row=row, column="finish", expected=expected)


def warn_unread(casts: Casts, named: frozenset[str], faults: Gathered) -> None:
    """Warn of swatches that were cast and never measured."""
    for name, row in casts.rows.items():
        if name not in named:
            found, mend = f"{shown(name)} has no reading", "measure it; until then it teaches nothing"
            faults.warn(found, row=row, column="swatch", mend=mend)


def warn_thin_readings(measured: Measured, declared: Declared, faults: Gathered) -> None:
    """Warn of too few ways of measuring, and of readings that cannot all be true with such an instrument."""
    repeatability = 0.0 if declared.instrument is None else declared.instrument.repeatability
    # Means over all wavelengths are compared below, so single-wavelength noise leaves ample margin.
    noise = max(3.0 * math.sqrt(2.0) * repeatability, _LEAST_NOISE)
    by_swatch: dict[str, list[Reading]] = {}
    for reading in measured.readings:
        by_swatch.setdefault(reading.swatch, []).append(reading)
    backings, kind = measured.backings, measured.kind
    _warn_one_way(by_swatch, kind, faults)
    _warn_alike_backings([_level(values, kind) for values in backings.values()], backings, faults)
    _warn_repeated(measured.readings, kind, noise, faults)
    _warn_swapped_throughout(by_swatch, backings, kind, noise, faults)
    total_is_caught = declared.instrument is not None and declared.instrument.geometry != "45:0"
    for readings in by_swatch.values():
        if total_is_caught and kind == SPECTRA:
            _warn_energy(readings, noise, faults)
        _warn_regular(readings, noise, faults)


def _level(values: Array, kind: str) -> float:
    """How light a spectrum is on average, or a colour [reflectance, 0 to 1]."""
    return float(luminance(values)) if kind == COLOURS else float(values.mean())


def _is_dark(values: Array, kind: str, noise: float) -> bool:
    """Whether nothing but noise tells it from another dark reading; a spectrum also when it is flat."""
    return (_level(values, kind) if kind == COLOURS else float(np.ptp(values))) <= noise


def _warn_one_way(by_swatch: Mapping[str, Sequence[Reading]], kind: str, faults: Gathered) -> None:
    """One reflectance cannot tell what absorbs from what scatters."""
    ways = {name: {(each.backing, each.quantity) for each in readings} for name, readings in by_swatch.items()}
    every = set().union(*ways.values())
    expected = _UNTOLD[kind]
    if len(every) == 1:
        backing, quantity = every.pop()
        behind = "with nothing behind" if backing == NO_BACKING else f"over {shown(backing)} only"
        found = f"all swatches were read {behind}, in {quantity} only"
        mend = "read them over a black and a white backing"
        faults.warn(found, column="backing", expected=expected, mend=mend)
        return
    single = [name for name, seen in ways.items() if len(seen) == 1]
    if single:
        mend = "read them over a second backing"
        faults.warn(f"swatches read in one way only: {listed(single)}", column="backing", expected=expected, mend=mend)


def _warn_alike_backings(levels: Sequence[float], backings: Iterable[str], faults: Gathered) -> None:
    if len(levels) > 1 and max(levels) - min(levels) < _LEAST_CONTRAST:
        found = f"the backings {listed(backings)} reflect nearly the same"
        mend = "use a black and a white card"
        faults.warn(found, expected="opacity shows only between a dark and a light one", mend=mend)


def _warn_repeated(readings: Iterable[Reading], kind: str, noise: float, faults: Gathered) -> None:
    """Equal to the last digit in every value: one measurement pasted twice, unless all is dark."""
    first: dict[bytes, Reading] = {}
    for reading in readings:
        if _is_dark(reading.values, kind, noise):
            continue
        twin = first.setdefault(reading.values.tobytes(), reading)
        same_way = (twin.backing, twin.seat, twin.quantity) == (reading.backing, reading.seat, reading.quantity)
        # One swatch over two backings may truly read the same, if it is opaque.
        if twin is not reading and (same_way or twin.swatch != reading.swatch):
            found = f"the values are those of row {twin.row}, to the last digit"
            mend = "measure again, or remove the row"
            faults.warn(found, row=reading.row, expected="expected two measurements to differ by noise", mend=mend)


def _warn_swapped_throughout(
    by_swatch: Mapping[str, Sequence[Reading]], backings: Mapping[str, Array], kind: str, noise: float, faults: Gathered
) -> None:
    """Swatches that look darker over a lighter backing; told once where most do."""
    told = [_swapped(readings, backings, kind, noise, faults.file) for readings in by_swatch.values()]
    wrong = sum(map(bool, told))
    if wrong >= _ENOUGH and 2 * wrong > len(told):
        found = f"{wrong} of {len(told)} swatches read lighter over a darker backing"
        mend = "are the names of all cards swapped, in the rows of swatches or in those of the bare cards?"
        faults.warn(found, column="backing", expected=_NEVER_DARKER, mend=mend)
        return
    faults.faults += itertools.chain(*told)


def _swapped(
    readings: Sequence[Reading], backings: Mapping[str, Array], kind: str, noise: float, file: str
) -> list[Fault]:
    """A swatch never looks darker over a lighter backing."""
    faults = Gathered(file)
    ways: dict[tuple[str, str], list[Reading]] = {}
    for reading in readings:
        if reading.backing in backings:
            ways.setdefault((reading.seat, reading.backing), []).append(reading)
    level = {name: _level(values, kind) for name, values in backings.items()}
    mean = {way: np.mean([each.values for each in read], axis=0) for way, read in ways.items()}
    for ((seat, dark), over_dark), ((other_seat, light), over_light) in itertools.product(mean.items(), repeat=2):
        reversal = _level(over_dark, kind) - _level(over_light, kind)
        if seat == other_seat and level[light] - level[dark] > noise and reversal > noise:
            darker, lighter = _how_light(over_dark, over_light, kind)
            found = f"reads lighter over {shown(dark)} ({darker}) than over {shown(light)} ({lighter})"
            row, mend = ways[seat, dark][0].row, "see whether rows or cards were swapped"
            found = f"{shown(readings[0].swatch)} {found}"
            faults.warn(found, row=row, column="backing", expected=_NEVER_DARKER, mend=mend)
    return faults.faults


def _how_light(one: Array, other: Array, kind: str) -> tuple[str, str]:
    """How light two readings are, in words."""
    if kind == COLOURS:
        return f"L {one[0]:.2f}", f"L {other[0]:.2f}"
    return f"{one.mean():.4f} on average", f"{other.mean():.4f}"


def _warn_energy(readings: Sequence[Reading], noise: float, faults: Gathered) -> None:
    """What a free slab reflects and what it lets through cannot exceed what fell on it."""
    free = [each for each in readings if each.backing == NO_BACKING]
    reflected, through = _of(free, "reflectance"), _of(free, "transmittance")
    total = _mean(reflected) + _mean(through) if reflected and through else 0.0
    if total > 1.0 + noise:
        found = f"reflectance and transmittance of {shown(free[0].swatch)} add up to {total:.4f} on average"
        mend = "calibrate and measure again"
        faults.warn(found, row=through[0].row, expected="expected at most 1", mend=mend)


def _warn_regular(readings: Sequence[Reading], noise: float, faults: Gathered) -> None:
    """What goes straight through is a part of what goes through."""
    total, regular = _of(readings, "transmittance"), _of(readings, REGULAR)
    over = _mean(regular) - _mean(total) if total and regular else 0.0
    if over > noise:
        found = f"regular transmittance of {shown(regular[0].swatch)} is {over:.4f} above its total on average"
        mend = "see whether the two were swapped; calibrate and measure again"
        faults.warn(found, row=regular[0].row, expected="expected at most the total", mend=mend)


def _of(readings: Iterable[Reading], quantity: str) -> list[Reading]:
    return [each for each in readings if each.quantity == quantity]


def _mean(readings: Sequence[Reading]) -> float:
    return float(np.mean([each.values for each in readings]))


# Cells that a spreadsheet filled in by itself, when one was dragged down over those below it.

# Rows from which it is asked: fewer measured thicknesses rise by one step by chance, and depths of planned moulds do.
_DEPTHS, _VALUES = 6, 4  # no source, chosen by eye
_BESIDE = 0.1  # reflectance by which the same rows differ a wavelength further; spectra of rubber are smooth


def warn_dragged_depths(swatches: Sequence[Swatch], faults: Gathered) -> None:
    """Ask about thicknesses that rise or fall by one step from row to row."""
    depths = np.array([each.thickness_mm for each in swatches])
    steps = np.diff(depths)
    first, count = _longest(np.isclose(np.diff(steps), 0.0, atol=1e-9) & ~np.isclose(steps[1:], 0.0, atol=1e-9))
    if count + 2 >= _DEPTHS:
        found = f"{count + 2} thicknesses in a row change by {steps[first]:+.3g} mm each, from {depths[first]:g} mm"
        mend = "was a cell dragged? write what was measured"
        faults.warn(found, row=swatches[first].row, column="thickness_mm", mend=mend)


def warn_dragged_values(readings: Sequence[Reading], wavelengths: Array, faults: Gathered) -> None:
    """Ask about a wavelength at which readings are alike to the last digit, and beside it are not."""
    if len(readings) < _VALUES:
        return
    values = np.array([each.values for each in readings])
    windows = np.lib.stride_tricks.sliding_window_view(values, _VALUES, axis=0)  # shape (n, n_wavelengths, _VALUES)
    spread = np.ptp(windows, axis=-1)
    beside = np.minimum(spread, _BESIDE)
    beside = np.maximum(np.pad(beside, ((0, 0), (1, 0)))[:, :-1], np.pad(beside, ((0, 0), (0, 1)))[:, 1:])
    for at in np.flatnonzero(((spread == 0.0) & (beside >= _BESIDE)).any(axis=0)):
        row = readings[int(np.flatnonzero((spread[:, at] == 0.0) & (beside[:, at] >= _BESIDE))[0])].row
        found = f"from here on at least {_VALUES} readings are the same to the last digit, and beside it they are not"
        mend = "was a cell dragged? take them from the instrument's file again"
        faults.warn(found, row=row, column=f"{wavelengths[at]:g}", mend=mend)


def _longest(holds: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> tuple[int, int]:
    """Where the longest run of what holds begins, and how long it is."""
    best, begun = (0, 0), 0
    for at, each in enumerate([*holds.tolist(), False]):
        if not each:
            best, begun = max(best, (at - begun, -begun)), at + 1
    return -best[1], best[0]
