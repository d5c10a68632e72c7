"""Spectra on matplotlib axes, the user's own or new ones: for notebooks and papers, where a picture is not enough."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from tint.appearance import Appearance
from tint.errors import InputError, JobError
from tint.palette import Palette
from tint.solve import Answer, Recipe

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Array = NDArray[np.float64]

Look = Appearance | Recipe
_DASHES: tuple[object, ...] = ("-", "--", ":", "-.", (0, (5, 1)), (0, (3, 1, 1, 1, 1, 1)))  # also told apart in grey


def plot_spectra(
    what: Look | Answer | Palette | Sequence[Look] | Mapping[str, Look], *, ax: Axes | None = None, of: str = ""
) -> Axes:  # fmt: skip
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
    if isinstance(what, Palette):
        return _components(what, axes, of or "absorption")
    of = of or "reflectance"
    if of not in ("reflectance", "transmittance"):
        raise InputError("spectra", f"`{of}` is not known", "reflectance or transmittance")
    looks = _named(what)
    if not looks:
        raise InputError("spectra", "there is nothing to draw", "an appearance, a recipe, an answer or a palette")
    for at, (name, look) in enumerate(looks.items()):
        values = look.reflectance if of == "reflectance" else look.transmittance
        dashes = _DASHES[at % len(_DASHES)]
        axes.plot(look.wavelengths, values, color=look.srgb, linestyle=dashes, label=name)
    first = next(iter(looks.values()))
    if isinstance(what, Answer) and what.target.spectrum is not None and of == "reflectance":
        axes.plot(
            first.wavelengths, what.target.spectrum, color="0.5", linewidth=4, alpha=0.5, label="target", zorder=0
        )
    where = first.conditions if of == "reflectance" else f"{first.setting.thickness_mm:g} mm, a free slab"
    axes.set_title(where, fontsize="small")
    return _finished(axes, of)


def _named(what: Look | Answer | Sequence[Look] | Mapping[str, Look]) -> dict[str, Appearance]:
    """Appearances by the name of their curve."""
    if isinstance(what, Mapping):
        return {str(name): _look(each) for name, each in what.items()}
    if isinstance(what, Answer):
        what = what.recipes
    many = [_look(each) for each in (what if isinstance(what, Sequence) else [what])]
    if len(many) == 1:
        return {str(many[0].blend): many[0]}
    return {f"{at}, {each.blend.base}": each for at, each in enumerate(many, start=1)}


def _look(each: object) -> Appearance:
    look = each.appearance if isinstance(each, Recipe) else each
    if not isinstance(look, Appearance):
        raise InputError("spectra", f"a {type(each).__name__}", "an appearance, a recipe, an answer or a palette")
    return look


def _components(palette: Palette, axes: Axes, of: str) -> Axes:
    if of not in ("absorption", "scattering"):
        raise InputError("spectra of a palette", f"`{of}` is not known", "absorption or scattering")
    values = palette.k if of == "absorption" else palette.s
    for at, (name, row) in enumerate(zip([*palette.bases, *palette.pigments], values, strict=True)):
        if np.any(row):
            dashes = _DASHES[at // 10 % len(_DASHES)]
            axes.plot(palette.wavelengths, row, linestyle=dashes, label=name)
    axes.set_yscale("log")
    return _finished(axes, f"{of}, 1/mm; of a pigment, 1/mm per %")


def _finished(axes: Axes, said: str) -> Axes:
    axes.set_xlabel("wavelength, nm")
    axes.set_ylabel(said)
    axes.legend(frameon=False, fontsize="small")
    return axes


def _axes() -> Axes:
    try:
        import matplotlib.pyplot as plt
    except ImportError as error:
        mend = "install tint with its extra `plot`, or `pip install matplotlib`"
        raise JobError("plot", "matplotlib is not installed", mend=mend) from error
    axes: Axes = plt.subplots()[1]
    return axes
