"""What single readings do that no casting can: a jump at one wavelength, or a step from one on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from tint.checks.ground import Finding, Ground, limit
from tint.fitting.leaving_out import LeftOut
from tint.fitting.problem import in_order
from tint.spectra import Array

# What the layer model misses runs on from wavelength to wavelength, as no noise does: a step takes it in, a peak least.
_SLACK = {"peak": 1.2, "step": 1.5}
_STANDS_OUT = 6.0  # times the reading's own median: one that is off everywhere has another fault
_SIDE = 3  # wavelengths on either side of a step
_EXPLAINED = 0.5  # of the square of what a casting misses
_SHARP = 0.75  # of a step falls between two wavelengths, but for noise; of a slope over five of them a third
_FIRST = {"peak": 0, "step": _SIDE}  # the wavelength that the first place of each is about
_MOST = 6  # castings named before the folder as a whole is in question


@dataclass(frozen=True)
class _Jump:
    """A reading's row in the fit, the wavelength's number, what it looks like, and how large it is."""

    row: int
    at: int
    word: str
    height: float
    size: float


def of_jumps(ground: Ground) -> Iterator[Finding]:
    """Readings that jump between neighbouring wavelengths where the swatch's other readings do not.

    The worst first; its casting leaves the fit before the next is looked for, as it bends what others are held to.
    """
    if ground.folder.wavelengths.size < 3 * _SIDE:
        return
    for _ in range(_MOST):
        found = _worst(ground)
        if not found:
            return
        problem = ground.fitted.problem
        name = problem.names[int(problem.readings.casting[found[0].row])]
        rows = [reading.row for reading in in_order(ground.fitted.folder)]
        for each in found:
            yield _told(ground, name, rows[each.row], each)
        ground = ground.without(name)


def _worst(ground: Ground) -> list[_Jump]:
    """The jumps of the casting with the largest, one to a reading; none where none is beyond luck."""
    read = ground.fitted.problem.read
    steps = _steps(read.shape[1])
    far = limit(2 * read.size)
    worst: list[_Jump] = []
    for swatch in ground.predicted:
        peaks = [*_jumps(swatch, "peak", *_peaks_of(swatch), _SLACK["peak"] * far)]
        found = peaks if _explain(swatch, peaks) else []
        found += _jumps(swatch, "step", *_steps_of(swatch, steps), _SLACK["step"] * far)
        found.sort(key=lambda each: each.size)
        if found and (not worst or found[-1].size > worst[0].size):
            largest = {each.row: each for each in found}
            worst = sorted(largest.values(), key=lambda each: -each.size)
    return worst


def _explain(swatch: LeftOut, peaks: Sequence[_Jump]) -> bool:
    """Whether most of what a casting misses goes with its peaks: one that is another blend has them, too."""
    missed = swatch.missed.ravel()
    return sum(each.size**2 for each in peaks) > _EXPLAINED * float(missed @ np.linalg.solve(swatch.covariance, missed))


def _told(ground: Ground, name: str, row: int, jump: _Jump) -> Finding:
    grid = ground.folder.wavelengths
    place = f"{grid[jump.at]:g} nm" if jump.word == "peak" else f"{grid[jump.at - 1]:g} to {grid[jump.at]:g} nm"
    return Finding(
        kind="jump",
        where=f"{name}, {place}",
        about=(name,),
        words=f"row {row} shows a {jump.word} of {jump.height:+.4f} against its neighbours there, "
        f"{jump.size:.0f} standard deviations from what the other castings predict",
        effect="absorption and scattering of what it holds are pulled off at these wavelengths",
        mend="see the cell for a slip of the pen, else read the casting again",
    )


def _steps(n_wavelengths: int) -> Array:
    """Three values of a spectrum less the three before, at every place; shape (n_places, n_wavelengths)."""
    steps = np.zeros((n_wavelengths - 2 * _SIDE + 1, n_wavelengths))
    for at, row in enumerate(steps):
        row[at : at + 2 * _SIDE] = np.repeat((-1.0 / _SIDE, 1.0 / _SIDE), _SIDE)
    return steps


def _peaks_of(swatch: LeftOut) -> tuple[Array, Array]:
    """By how much each value is off by all others of the swatch, and that in standard deviations.

    Both of shape (n_readings, n_wavelengths). Generalised least squares: what thickness, doses and palette do to the
    neighbours and to the other readings is known to be done to this value too.
    """
    inverse = np.linalg.inv(swatch.covariance)
    own = np.diag(inverse)
    pull = inverse @ swatch.missed.ravel()
    return (pull / own).reshape(swatch.missed.shape), (np.abs(pull) / np.sqrt(own)).reshape(swatch.missed.shape)


def _steps_of(swatch: LeftOut, steps: Array) -> tuple[Array, Array]:
    """Every step of the missed, and its size in standard deviations; both of shape (n_readings, n_places).

    None where little of it falls between two wavelengths: a slope that runs on is what the model misses.
    """
    n_readings, n_wavelengths = swatch.missed.shape
    blocks = swatch.covariance.reshape(n_readings, n_wavelengths, n_readings, n_wavelengths)
    own = blocks[np.arange(n_readings), :, np.arange(n_readings)]
    height, doubt = swatch.missed @ steps.T, _spread(steps, own)
    edges = np.diff(np.eye(n_wavelengths), axis=0)[_SIDE - 1 : n_wavelengths - _SIDE]
    sharp = np.sign(height) * (swatch.missed @ edges.T) + _spread(edges, own) > _SHARP * np.abs(height)
    return np.where(sharp, height, 0.0), np.abs(height) / doubt


def _spread(sums: Array, covariance: Array) -> Array:
    """Standard deviations of sums over the wavelengths, shape (n_readings, n_sums)."""
    return np.asarray(np.sqrt(np.einsum("pw,awv,pv->ap", sums, covariance, sums, optimize=True)))


def _jumps(swatch: LeftOut, word: str, height: Array, size: Array, far: float) -> Iterator[_Jump]:
    """Jumps of one kind: beyond the errors, alone in the reading, and larger than those of the other readings."""
    for number in range(len(size)):
        at = int(np.argmax(np.where(height[number] == 0.0, 0.0, size[number])))
        rest = np.delete(size[number], slice(max(at - _SIDE, 0), at + _SIDE + 1))
        others = np.delete(size, number, axis=0)[:, at]
        alone = not others.size or size[number, at] > 2.0 * others.max()
        if size[number, at] > far and alone and size[number, at] > _STANDS_OUT * np.median(rest):
            yield _Jump(
                row=int(swatch.rows[number]),
                at=at + _FIRST[word],
                word=word,
                height=float(height[number, at]),
                size=float(size[number, at]),
            )
