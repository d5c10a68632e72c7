"""Where matplotlib is used: spectra on axes, the user's own or new ones, and figures as pixels for the pictures.

This stands below what it draws, so that a palette, an appearance, an answer can each have a `plot` of one line; what is
drawn is read by the names of its fields.
"""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from tint.errors import InputError, JobError

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# On and off along a line, in widths of it: told apart in grey too.
DASHES: tuple[Any, ...] = ("-", "--", ":", "-.", (0, (5, 1)), (0, (3, 1, 1, 1, 1, 1)))


def plot_spectra(what: Any, *, ax: Axes | None = None, of: str = "") -> Axes:
    """Spectra as curves over wavelength, each in its own colour on a screen.

    Parameters
    ----------
    what : Appearance, Recipe, Answer, Palette, or several appearances or recipes
        Of an answer, its recipes and the target where that was measured. Of a palette, its bases and pigments.
        A mapping names the curves.
    ax : matplotlib Axes, optional
        New ones when absent.
    of : str
        `reflectance` (the default) or `transmittance`; of a palette `absorption` (the default) or `scattering`.

    Returns
    -------
    matplotlib Axes

    Raises
    ------
    InputError
        If there is nothing to draw, or no such quantity of it.
    JobError
        If matplotlib is not installed.
    """
    axes = _axes() if ax is None else ax
    if hasattr(what, "pigments"):
        return _components(what, axes, of or "absorption")
    of = of or "reflectance"
    if of not in ("reflectance", "transmittance"):
        raise InputError("spectra", f"`{of}` is not known", "reflectance or transmittance")
    looks = _named(what)
    if not looks:
        raise InputError("spectra", "there is nothing to draw", "an appearance, a recipe, an answer or a palette")
    for at, (name, look) in enumerate(looks.items()):
        values = look.reflectance if of == "reflectance" else look.transmittance
        dashes = DASHES[at % len(DASHES)]
        axes.plot(look.wavelengths, values, color=look.srgb, linestyle=dashes, label=name)
    first = next(iter(looks.values()))
    wanted = getattr(what, "target", None)
    if wanted is not None and wanted.spectrum is not None and of == "reflectance":
        axes.plot(first.wavelengths, wanted.spectrum, color="0.5", linewidth=4, alpha=0.5, label="target", zorder=0)
    where = first.conditions if of == "reflectance" else f"{first.setting.thickness_mm:g} mm, a free slab"
    axes.set_title(where, fontsize="small")
    return _finished(axes, of)


def _named(what: Any) -> dict[str, Any]:
    """Appearances by the name of their curve."""
    if isinstance(what, Mapping):
        return {str(name): _look(each) for name, each in what.items()}
    what = getattr(what, "recipes", what)
    many = [_look(each) for each in (what if isinstance(what, Sequence) else [what])]
    if len(many) == 1:
        return {str(many[0].blend): many[0]}
    return {f"{at}, {each.blend.base}": each for at, each in enumerate(many, start=1)}


def _look(each: Any) -> Any:
    look = getattr(each, "appearance", each)
    if not hasattr(look, "reflectance"):
        raise InputError("spectra", f"a {type(each).__name__}", "an appearance, a recipe, an answer or a palette")
    return look


def _components(palette: Any, axes: Axes, of: str) -> Axes:
    if of not in ("absorption", "scattering"):
        raise InputError("spectra of a palette", f"`{of}` is not known", "absorption or scattering")
    values = palette.k if of == "absorption" else palette.s
    for at, (name, row) in enumerate(zip([*palette.bases, *palette.pigments], values, strict=True)):
        if np.any(row):
            dashes = DASHES[at // 10 % len(DASHES)]
            axes.plot(palette.wavelengths, row, linestyle=dashes, label=name)
    axes.set_yscale("log")
    return _finished(axes, f"{of}, 1/mm; of a pigment, 1/mm per %")


def _finished(axes: Axes, said: str) -> Axes:
    axes.set_xlabel("wavelength, nm")
    axes.set_ylabel(said)
    axes.legend(frameon=False, fontsize="small")
    return axes


def _axes() -> Axes:
    with _needed():
        import matplotlib.pyplot as plt
    axes: Axes = plt.subplots()[1]
    return axes


@contextlib.contextmanager
def _needed() -> Iterator[None]:
    try:
        yield
    except ImportError as error:
        mend = "install tint with its extra `plot`, or `pip install matplotlib`"
        raise JobError("plot", "matplotlib is not installed", mend=mend) from error


def plotted(
    draw: Callable[[Figure], Sequence[Axes]], *, width: int, height: int, style: Mapping[str, Any]
) -> tuple[NDArray[np.uint8], list[tuple[int, int, int, int]]]:
    """A figure as pixels, whatever the user's own settings are.

    Parameters
    ----------
    draw : callable
        Fills a figure; the layout is constrained. Returns the axes whose places are asked for.
    width, height : int
        [px]
    style : mapping
        What differs from matplotlib's defaults, by the names of its settings.

    Returns
    -------
    pixels : ndarray of uint8, shape (height, width, 3)
    places : list of tuple of int
        Left, top, right and bottom of each of the axes within the figure [px].

    Raises
    ------
    JobError
        If matplotlib is not installed.
    """
    with _needed():
        import matplotlib.style
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure
    with matplotlib.style.context(["default", dict(style)]):
        figure = Figure(figsize=(width / 100.0, height / 100.0), dpi=100, layout="constrained")
        canvas = FigureCanvasAgg(figure)
        axes = draw(figure)
        canvas.draw()  # type: ignore[no-untyped-call]
        pixels = np.array(canvas.buffer_rgba())[..., :3]  # type: ignore[no-untyped-call]
        extents = [np.rint(each.get_window_extent().extents).astype(int).tolist() for each in axes]
    return pixels, [(left, height - top, right, height - bottom) for left, bottom, right, top in extents]
