"""Slow, literal judges: each writes down the physics as a textbook starts it, and shares no line with tint.

Two-flux bodies by integrating the differential equations of the two fluxes; faces by summing what bounces to and fro;
diffuse Fresnel reflection by quadrature over the angle, and by Walsh's closed form; a half space of isotropic
scatterers by Chandrasekhar's H function.
"""

from __future__ import annotations

import functools
import math

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import quad, solve_ivp

Array = NDArray[np.float64]


def body(K: float, S: float, thickness: float, backing: float = 0.0) -> tuple[float, float]:
    """Reflectance over a backing in optical contact, and transmittance, of a layer without faces.

    Kubelka and Munk (1931): di/dz = -(K + S) i + S j, dj/dz = (K + S) j - S i. Marched from the backing, where
    i = 1 and j = the backing, up to the lit side; everything there is divided by the i that was needed.
    """

    def climb(_: float, fluxes: np.ndarray) -> list[float]:
        down, up = fluxes
        return [(K + S) * down - S * up, S * down - (K + S) * up]

    end = solve_ivp(climb, (0.0, thickness), [1.0, backing], rtol=1e-11, atol=1e-13, method="DOP853").y[:, -1]
    return float(end[1] / end[0]), float(1.0 / end[0])


def reading(
    R0: float,
    T: float,
    *,
    enter: float,
    leave: float,
    gloss: float,
    inside: float,
    outside: float,
    backing: float,
    wet: bool,
) -> float:
    """What an instrument reads of a body (R0, T) with faces, by following the light until it is used up.

    `down` and `up` are the diffuse lights just under the upper face and just above the lower one; every round each
    light is reflected or passed by whatever it meets.
    """
    seen = gloss
    down_top, up_top, down_low, up_low, down_gap, up_gap = enter, 0.0, 0.0, 0.0, 0.0, 0.0
    for _ in range(20000):
        seen += up_top * leave
        next_up_top = R0 * down_top + T * up_low
        next_down_low = T * down_top + R0 * up_low
        next_down_top = inside * up_top
        if wet:
            next_up_low, down_gap, up_gap = backing * down_low, 0.0, 0.0
        else:
            next_up_low = inside * down_low + (1.0 - outside) * up_gap
            down_gap, up_gap = (1.0 - inside) * down_low + outside * up_gap, backing * down_gap
        down_top, up_top, down_low, up_low = next_down_top, next_up_top, next_down_low, next_up_low
        if max(down_top, up_top, down_low, up_low, down_gap, up_gap) < 1e-15:
            break
    return seen


def fresnel(n: float, angle: float) -> float:
    """Unpolarised reflectance from outside at an angle of incidence [radians], by the law of sines and tangents."""
    if angle == 0.0:
        return ((n - 1.0) / (n + 1.0)) ** 2
    inside = math.asin(math.sin(angle) / n)
    across = math.sin(angle - inside) / math.sin(angle + inside)
    along = math.tan(angle - inside) / math.tan(angle + inside)
    return 0.5 * (across**2 + along**2)


def external_diffuse(n: float) -> float:
    """Reflectance for Lambertian light from outside: the integral of R sin 2a over the quarter circle."""
    return float(quad(lambda a: fresnel(n, a) * math.sin(2.0 * a), 0.0, math.pi / 2.0, epsabs=1e-11, limit=400)[0])


def internal_diffuse(n: float) -> float:
    """Reflectance for Lambertian light from inside: all of it beyond the critical angle, Fresnel's before."""
    critical = math.asin(1.0 / n)

    def before(a: float) -> float:
        return fresnel(n, math.asin(min(1.0, n * math.sin(a)))) * math.sin(2.0 * a)

    return float(quad(before, 0.0, critical, epsabs=1e-11, limit=400)[0]) + 1.0 - math.sin(critical) ** 2


def walsh(n: float) -> float:
    """External diffuse reflectance in closed form: Walsh (1926), as printed in Prahl (1988), thesis, eq. B.41.

    The term in n^3 is subtracted; one printing lost its sign.
    """
    square = n * n
    return (
        0.5
        + (n - 1.0) * (3.0 * n + 1.0) / (6.0 * (n + 1.0) ** 2)
        + square * (square - 1.0) ** 2 / (square + 1.0) ** 3 * math.log((n - 1.0) / (n + 1.0))
        - 2.0 * n**3 * (square + 2.0 * n - 1.0) / ((square + 1.0) * (square**2 - 1.0))
        + 8.0 * square**2 * (square**2 + 1.0) / ((square + 1.0) * (square**2 - 1.0) ** 2) * math.log(n)
    )


def isotropic_half_space(albedo: float) -> float:
    """Reflectance for Lambertian light of a half space of isotropic scatterers (Chandrasekhar 1950).

    H by iterating 1 / H(mu) = sqrt(1 - albedo) + albedo / 2 int t H(t) / (mu + t) dt.
    """
    nodes, weights = np.polynomial.legendre.leggauss(64)
    mu, weight = 0.5 * (nodes + 1.0), 0.5 * weights
    h = np.ones_like(mu)
    for _ in range(2000):
        h = 1.0 / (math.sqrt(1.0 - albedo) + 0.5 * albedo * (weight * mu * h / (mu[:, None] + mu)).sum(axis=1))
    return float(1.0 - 2.0 * math.sqrt(1.0 - albedo) * np.sum(weight * mu * h))


def two_flux(
    K: Array,
    S: Array,
    thickness: float,
    *,
    index: float,
    geometry: str = "di:8",
    seat: str = "air",
    backing: Array | None = None,
    transmitted: bool = False,
) -> Array:
    """What an instrument reads of a casting by two-flux theory, shape (n_wavelengths,).

    Kubelka's hyperbolic body (1948) between faces of Saunderson (1942), whose constants are the integrals above; the
    backing lies under an air film or touches the rubber; without one nothing comes back. Written from the textbook for
    castings whose truth is known: `body` and `reading` judge it.
    """
    a = (K + S) / S
    b = np.sqrt(a * a - 1.0)
    sinh, cosh = np.sinh(b * S * thickness), np.cosh(b * S * thickness)
    R0, T = sinh / (a * sinh + b * cosh), b / (a * sinh + b * cosh)
    eight, inside, outside = math.radians(8.0), _inside(index), _outside(index)
    ground = np.zeros_like(K) if backing is None else backing
    if seat == "air" or backing is None:
        ground = inside + (1.0 - inside) * (1.0 - outside) * ground / (1.0 - outside * ground)
    if transmitted:  # a beam at 8 degrees enters; light goes to and fro between the two faces, and leaves by the lower
        lit = (1.0 - fresnel(index, eight)) / (1.0 - inside * R0)
        once = lit * T
        return np.asarray(once * (1.0 - inside) / (1.0 - inside * (R0 + inside * T * T / (1.0 - inside * R0))))
    seen = R0 + T * T * ground / (1.0 - R0 * ground)
    if geometry == "45:0":
        gloss, enter, leave = 0.0, 1.0 - fresnel(index, math.pi / 4.0), (1.0 - fresnel(index, 0.0)) / index**2
    else:
        gloss = fresnel(index, eight) if geometry == "di:8" else 0.0
        enter, leave = 1.0 - outside, (1.0 - fresnel(index, eight)) / index**2
    return np.asarray(gloss + enter * leave * seen / (1.0 - inside * seen))


_inside, _outside = functools.cache(internal_diffuse), functools.cache(external_diffuse)
