"""Faces that are not smooth: finishes of swatches in the fit, of parts in predictions, and what is warned of."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from synthetic import INSTRUMENT, WAVELENGTHS, fit_two_flux, studio

from tint.appearance import Setting, predict
from tint.fitting.problem import lay_out
from tint.fitting.spectra import optics_of
from tint.materials import Blend
from tint.optics.surface import common, word_for
from tint.palette import Palette
from tint.swatches import Conditions, SwatchFolder
from tint.target import Target
from tint.trials import Trial, TrialReading, adjust

Array = NDArray[np.float64]
BLUE = Blend("clear", {"blue": 0.3})


def spread(height_um: float, cosine: float) -> Array:
    """Share of the mirror reflection that a face of this height spreads (Bennett and Porteus 1961)."""
    return 1.0 - np.exp(-((4e3 * np.pi * height_um * cosine / WAVELENGTHS) ** 2))


def face(cosine: float, index: float = 1.41) -> float:
    """Fresnel's reflection of unpolarised light."""
    inside = np.sqrt(1.0 - (1.0 - cosine**2) / index**2)
    parallel, across = (
        (index * cosine - inside) / (index * cosine + inside),
        (cosine - index * inside) / (cosine + index * inside),
    )
    return float(0.5 * (parallel**2 + across**2))


def cast_matt(geometry: str, *, finish: str = "matt", every: int = 1) -> SwatchFolder:
    """The studio of castings in clear with what matt faces add to their readings; the finish on every n-th row."""
    folder = studio(instrument=replace(INSTRUMENT, geometry=geometry))
    cosine = {"de:8": np.cos(np.radians(8.0)), "45:0": np.cos(np.radians(22.5))}[geometry]
    swatches = tuple(
        replace(each, conditions=Conditions(finish=finish if at % every == 0 else ""))
        for at, each in enumerate(folder.swatches)
    )
    index = {each.name: folder.bases[each.base].refractive_index for each in swatches}
    readings = tuple(
        replace(
            each,
            values=each.values
            + face(cosine, index[each.swatch]) * spread(0.5, cosine if geometry == "de:8" else np.cos(np.radians(8.0))),
        )
        for each in folder.readings
    )
    return replace(folder, swatches=swatches, readings=readings)


def away(palette: Palette, smooth: Palette, finish: str) -> float:
    """Between predictions for a finish by the one and for gloss by the other."""
    one, other = (
        predict(p, BLUE, setting=Setting(thickness_mm=2.0, finish=word)).reflectance
        for p, word in ((palette, finish), (smooth, "gloss"))
    )
    return float(np.abs(one - other).max())


@pytest.mark.parametrize("geometry", ["de:8", "45:0"])
def test_castings_of_matt_faces_teach_what_smooth_ones_do(geometry: str) -> None:
    smooth = fit_two_flux(studio(instrument=replace(INSTRUMENT, geometry=geometry)))
    told, untold = fit_two_flux(cast_matt(geometry)), fit_two_flux(cast_matt(geometry, finish=""))
    assert away(told, smooth, "gloss") < 1e-3
    assert away(untold, smooth, "gloss") > 0.01
    # Where nothing else is asked, the prediction is of a part like the swatches.
    own = predict(told, BLUE, setting=Setting(thickness_mm=2.0)).reflectance
    matt = predict(told, BLUE, setting=Setting(thickness_mm=2.0, finish="matt")).reflectance
    assert np.array_equal(own, matt)
    assert told.finish("clear") == "matt"


def test_a_finish_that_is_not_written_is_that_of_the_others() -> None:
    every, some = (lay_out(cast_matt("de:8", every=n), optics_of(cast_matt("de:8"), "two-flux")) for n in (1, 3))
    assert np.array_equal(every.readings.faces[0][0], some.readings.faces[0][0])
    assert common(["matt", "", "Matte"]) == "matt"
    assert common(["matt", "satin"]) == common([]) == "gloss"
    assert word_for(" Satin ") == "satin"
    assert word_for("smooth") == word_for("as it came") == "gloss"


def warned(palette: Palette, **asked: str) -> list[str]:
    look = predict(palette, BLUE, setting=Setting(thickness_mm=2.0, **asked))  # type: ignore[arg-type]
    return [each for each in look.warnings if "face" in each]


def test_another_finish_than_the_swatches_is_warned_of_where_it_reads_otherwise() -> None:
    smooth, matt = fit_two_flux(studio()), fit_two_flux(cast_matt("de:8"))
    assert warned(smooth, finish="matt") == []  # di:8 sees spread light as well
    assert any("adds 0.029" in each for each in warned(smooth, finish="matt", geometry="de:8"))
    assert warned(matt) == warned(matt, finish="matt") == []
    assert any("adds -0.029" in each for each in warned(matt, finish="gloss"))


def test_a_trial_of_another_finish_than_the_swatches_is_not_its_pigments_doing() -> None:
    smooth = fit_two_flux(studio(instrument=replace(INSTRUMENT, geometry="de:8")))
    matt = Setting(thickness_mm=2.0, over="white", finish="matt")
    look = predict(smooth, BLUE, setting=matt)
    target = Target(lab=look.lab, tolerance=1.0)
    cast = Trial(blend=BLUE, thickness_mm=2.0, readings=(TrialReading(values=look.reflectance, over="white"),))
    # The part's faces are the trial's where nothing else is asked.
    told = adjust(smooth, target, [replace(cast, finish="Matte")], setting=replace(matt, finish=""))
    assert told.leave
    assert told.findings == ()
    assert told.predicted.setting.finish == "matt"
    untold = adjust(smooth, target, [cast], setting=replace(matt, finish=""))
    assert any(each.what == "strength:blue" for each in untold.findings)
    # A gloss part is judged by what the reading would be without the gloss that matt faces spread.
    gloss = predict(smooth, BLUE, setting=replace(matt, finish="gloss"))
    target = replace(target, lab=gloss.lab)
    other = adjust(smooth, target, [replace(cast, finish="matt")], setting=replace(matt, finish="gloss"))
    assert other.leave
    assert other.misses[0].as_read
    assert other.misses[0].value < 0.02
