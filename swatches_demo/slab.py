"""A slab of rubber as iadpython sees it, for the invented demo and for the bench that judges tint.

iadpython solves the radiative transfer equation by adding and doubling (Prahl, van Gemert and Welch 1993)
and shares no code with tint. It lights at normal incidence only (its oblique cone is not implemented); at 8
degrees the face of n = 1.41 reflects 0.028948 instead of 0.028942, so this stands for the 8 degree port of a
sphere. By reciprocity it is the same whether the sphere lights and 8 degrees reads, or the other way about.
"""

from __future__ import annotations

from typing import NamedTuple

import iadpython
import numpy as np
from numpy.polynomial.legendre import legvander
from numpy.typing import NDArray

Array = NDArray[np.float64]

# Within 1e-4 of 48 points for r1 and t1 at n = 1.41; from 32 on iadpython loses its digits at n = 1.
QUADRATURE = 24


class Terms(NamedTuple):
    """Four numbers a wavelength that say all that a layer does over a matt backing.

    r1, t1: reflectance and transmittance for light along the normal; ru, tu: for diffuse light from below.
    With an air film below these are the free slab's own; seated wet the lower side is the rubber's inside.
    """

    r1: Array
    t1: Array
    ru: Array
    tu: Array

    def over(self, ground: Array) -> Array:
        """Reflectance over a matt backing of reflectance `ground`: the light between the two sums up."""
        return self.r1 + self.t1 * self.tu * ground / (1 - self.ru * ground)


def phase_moments(g: float, *, back_lobe: float = 0.0) -> Array:
    """Legendre moments 0 to QUADRATURE of a Henyey-Greenstein lobe, with a share of it thrown backwards.

    The forward lobe is sharpened so that the mean cosine stays `g` [-1 to 1].
    """
    order = np.arange(QUADRATURE + 1)
    backwards = -0.4
    forwards = (g - back_lobe * backwards) / (1 - back_lobe)
    return np.asarray((1 - back_lobe) * forwards**order + back_lobe * backwards**order, dtype=np.float64)


def slab_terms(mu_a_d: Array, mu_s_d: Array, *, phase: Array, n: float, seat: str = "air") -> Terms:
    """Solve a slab with iadpython.

    Parameters
    ----------
    mu_a_d, mu_s_d
        Absorption and (unreduced) scattering times thickness [-], shape (wavelengths,).
    phase
        Legendre moments of the phase function, shape (wavelengths, QUADRATURE + 1).
    n
        Refractive index [-]; air outside.
    seat
        "air": both faces stand in air. "wet": the lower side has no face.

    Raises
    ------
    ArithmeticError
        If the solution gives back more light than it got.
    """
    sample = iadpython.Sample(n=n, quad_pts=QUADRATURE)
    sample.update_quadrature()
    polynomials = legvander(sample.nu, QUADRATURE - 1)
    solve = _air if seat == "air" else _wet
    columns = []
    # iadpython solves one wavelength at a time
    for absorbed, scattered, moments in zip(mu_a_d, mu_s_d, phase, strict=True):
        sample.b = absorbed + scattered
        sample.a = scattered / sample.b
        _set_phase(sample, moments, polynomials)
        columns.append(solve(sample))
    terms = Terms(*np.array(columns).T)
    if np.any(terms.r1 + terms.t1 > 1 + 1e-6) or np.any(terms.ru > 1 + 1e-6):
        raise ArithmeticError("a slab gives back more light than it got: iadpython lost its digits")
    return terms


def _set_phase(sample: iadpython.Sample, moments: Array, polynomials: Array) -> None:
    """Give the sample any phase function, cut off by delta-M (Wiscombe 1977) as iadpython does its own."""
    order = np.arange(QUADRATURE)
    kept = (2 * order + 1) * (moments[:-1] - moments[-1]) / (1 - moments[-1])
    sample.g = moments[-1] ** (1 / QUADRATURE)  # iadpython takes g^QUADRATURE as the part it cuts off
    sample.hp = (polynomials * kept) @ polynomials.T
    sample.hm = (polynomials * kept * (-1.0) ** order) @ polynomials.T


def _air(sample: iadpython.Sample) -> tuple[float, float, float, float]:
    r1, t1, ru, tu = sample.rt()
    return r1, t1, ru, tu


def _wet(sample: iadpython.Sample) -> tuple[float, float, float, float]:
    """Sum the fluxes of layer and upper face alone: below, light is counted inside, over all angles."""
    layer_r, layer_t = iadpython.simple_layer_matrices(sample)
    face = iadpython.boundary_layer(sample, top=True)
    r_down, r_up, t_down, t_up = iadpython.add_slide_above(sample, *face, layer_r, layer_r, layer_t, layer_t)
    flux, leaves = sample.twonuw, sample.nu > sample.nu_c()
    return (
        flux[leaves] @ r_down[leaves, -1],
        flux @ t_down[:, -1],
        flux @ r_up @ flux,
        flux[leaves] @ t_up[leaves] @ flux,
    )
