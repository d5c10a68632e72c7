"""What a customer wants: a colour in a stated light, over a stated backing, and the opacity that goes with it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import msgspec
import numpy as np
from numpy.typing import ArrayLike

from tint import colorimetry, jsonable
from tint.appearance import Setting, predict
from tint.colorimetry import Viewing
from tint.errors import InputError
from tint.kinds import check_fields
from tint.materials import Blend
from tint.opacity import ALLOWED, KINDS, opacity_of
from tint.palette import Palette
from tint.spectra import Array, Mask

# What may be asked of opacity and of the light let through: a value to reach, or one not to be left.
BOUNDS = tuple(kind + end for kind in KINDS for end in ("", "_min", "_max"))
_ROUNDING = 1e-6  # by which what is computed twice may differ [-]


@dataclass(frozen=True, kw_only=True, eq=False)
class Look:
    """A further colour that the same target shows: over another backing, in another seat or thickness."""

    lab: Array  # CIELAB in the light and observer of the setting [-]; shape (3,)
    # those of the setting, when empty
    over: str = ""
    seat: str = ""
    thickness_mm: float | None = None  # that of the setting, when absent [mm]

    @property
    def in_words(self) -> str:
        """The colour and where it is seen, as far as that is its own."""
        seen = [f"over {self.over}"] if self.over else []
        seen += [f"{self.seat} seat"] if self.seat else []
        seen += [] if self.thickness_mm is None else [f"{self.thickness_mm:g} mm"]
        return " ".join(["Lab " + ", ".join(f"{x:.4g}" for x in self.lab), ", ".join(seen)]).strip()


@dataclass(frozen=True, kw_only=True, eq=False)
class Target:
    """A colour and an opacity to reach.

    Parameters
    ----------
    lab : ndarray, shape (3,)
        CIELAB in the light, observer, backing and seat of the setting it is solved in [-].
    spectrum : ndarray, shape (n_wavelengths,), optional
        Reflectance, when the target was measured [-].
    contrast_ratio : float, optional
        To be reached [-].
    contrast_ratio_min, contrast_ratio_max : float, optional
        Not to be left [-].
    transmittance, transmittance_min, transmittance_max : float, optional
        Luminous transmittance of the free part, likewise: what a lamp diffuser lets through [-].
    haze, haze_min, haze_max : float, optional
        Share of that light which is scattered, likewise: how blurred is what lies behind [-].
    tolerance : float
        CIEDE2000 within which the colour counts as reached [-].
    thickness_mm : float, optional
        Of the sample that the colour was measured on, when that is not the part's [mm].
    also : tuple of Look
        Further colours to hit with the same recipe.
    source : str
        Where it came from, in words.
    known_within : float
        CIEDE2000 within which the colour wanted is itself known, 95 times in 100; 0 for one that is told [-].
    """

    lab: Array
    spectrum: Array | None = None
    contrast_ratio: float | None = None
    contrast_ratio_min: float | None = None
    contrast_ratio_max: float | None = None
    transmittance: float | None = None
    transmittance_min: float | None = None
    transmittance_max: float | None = None
    haze: float | None = None
    haze_min: float | None = None
    haze_max: float | None = None
    tolerance: float = 1.0
    thickness_mm: float | None = None
    also: tuple[Look, ...] = ()
    source: str = ""
    known_within: float = 0.0

    def __post_init__(self) -> None:
        check_fields(self)
        whole = np.shape(self.lab) == (3,) and bool(np.all(np.isfinite(self.lab)))
        if not whole or not 0.0 <= float(self.lab[0]) <= 110.0:
            raise InputError("target", f"Lab {np.asarray(self.lab).tolist()}", "three numbers, L* from 0 to 100")
        for kind in KINDS:
            self._check_bounds(kind)
        if not self.tolerance > 0.0:
            raise InputError("target, tolerance", f"{self.tolerance:g}", "more than 0")
        if not self.known_within >= 0.0:
            raise InputError("target, known within", f"{self.known_within:g}", "0 or more")
        if self.thickness_mm is not None and not 0.0 < self.thickness_mm <= 100.0:
            raise InputError("target, thickness", f"{self.thickness_mm:g} mm", "more than 0 and at most 100 mm")

    def _check_bounds(self, kind: str) -> None:
        reach, low, high = self.bounds(kind)
        where = f"target, {kind.replace('_', ' ')}"
        for value in (reach, low, high):
            if value is not None and not 0.0 < value <= 1.0:
                raise InputError(where, f"{value:g}", "more than 0 and at most 1")
        if low is not None and high is not None and low > high:
            raise InputError(where, f"at least {low:g} and at most {high:g}", mend="swap them")
        if reach is not None and (low is not None or high is not None):
            raise InputError(where, "one to reach and a bound on it", "one or the other")

    def bounds(self, kind: str) -> tuple[float | None, float | None, float | None]:
        """What is to be reached of one of `KINDS`, the least and the most; None where it is not asked [-]."""
        if kind not in KINDS:
            raise InputError("target", f"`{kind}` cannot be asked for", f"one of {', '.join(KINDS)}")
        return getattr(self, kind), getattr(self, f"{kind}_min"), getattr(self, f"{kind}_max")

    def asks(self, kind: str) -> bool:
        """Whether one of `KINDS` was asked for."""
        return self.bounds(kind) != (None, None, None)

    @property
    def asks_opacity(self) -> bool:
        """Whether a contrast ratio was asked for."""
        return self.asks("contrast_ratio")

    @property
    def asks_light(self) -> bool:
        """Whether a transmittance was asked for."""
        return self.asks("transmittance")

    @property
    def asks_haze(self) -> bool:
        """Whether a haze was asked for."""
        return self.asks("haze")

    @property
    def asks_more(self) -> bool:
        """Whether anything was asked for beside the colour."""
        return any(getattr(self, name) is not None for name in BOUNDS)

    def miss(self, kind: str, value: ArrayLike) -> Array:
        """How far values of one of `KINDS`, shape (...), are from what was asked, signed; 0 where it is met [-].

        A bound is to be kept itself; a value to reach is met within `opacity.ALLOWED`.
        """
        reach, (low, high) = self.bounds(kind)[0], self.within(kind)
        given = np.asarray(value, dtype=float)
        under, over = given < low - _ROUNDING, given > high + _ROUNDING
        nearest = np.where(under, low, high) if reach is None else reach
        return np.where(under | over, given - nearest, np.where(np.isnan(given), given, 0.0))

    def within(self, kind: str) -> tuple[float, float]:
        """The least and the most of one of `KINDS` that meet what was asked; infinite where nothing is [-]."""
        reach, low, high = self.bounds(kind)
        if reach is not None:
            return reach - ALLOWED, reach + ALLOWED
        return -np.inf if low is None else low, np.inf if high is None else high

    def opacity_miss(self, contrast_ratio: ArrayLike) -> Array:
        """`miss` of contrast ratios."""
        return self.miss("contrast_ratio", contrast_ratio)

    def met(
        self, delta_e: ArrayLike, *, contrast_ratio: ArrayLike = np.nan, transmittance: ArrayLike = np.nan,
        haze: ArrayLike = np.nan,
    ) -> Mask:  # fmt: skip
        """Whether the colour and all else that is asked for are met, shape (...).

        `delta_e` (...): CIEDE2000 from the target [-].
        `contrast_ratio`, `transmittance`, `haze` (...): what is seen; NaN where nobody can tell, which misses nothing
            [-].
        """
        good = np.asarray(delta_e) <= self.tolerance
        for kind, value in zip(KINDS, (contrast_ratio, transmittance, haze), strict=True):
            good = good & ~(np.abs(self.miss(kind, value)) > 0.0)
        return np.asarray(good)

    @property
    def in_words(self) -> str:
        """What is wanted, in one line."""
        lab = "Lab " + ", ".join(f"{x:.2f}".rstrip("0").rstrip(".") for x in self.lab)
        source = "" if self.source.startswith("Lab ") else f" ({self.source})"
        sample = "" if self.thickness_mm is None else f" of {self.thickness_mm:g} mm"
        also = "".join(f", also {look.in_words}" for look in self.also)
        through = (kind for kind in ("transmittance", "haze") if self.asks(kind))
        light = "".join(f", {kind} {self.bounds_in_words(kind)}" for kind in through)
        opacity = f", contrast ratio {self.bounds_in_words('contrast_ratio')}"
        return f"{lab}{source}{sample}{also}{opacity}{light}, within {self.tolerance:g} CIEDE2000"

    def bounds_in_words(self, kind: str) -> str:
        """What is asked of `contrast_ratio`, `transmittance` (in percent) or `haze`; `any` when nothing is."""
        bounds = zip(("", "at least ", "at most "), self.bounds(kind), strict=True)
        return " and ".join(f"{word}{amount(kind, bound)}" for word, bound in bounds if bound is not None) or "any"


def amount(kind: str, value: float, form: str = ".3g") -> str:
    """A contrast ratio, transmittance or haze in words; of light that passes, the percent."""
    return f"{100.0 * value:.3g} %" if kind == "transmittance" else format(value, form)


def target_from_lab(lab: ArrayLike, **asked: Any) -> Target:
    """A target given as CIELAB, shape (3,); other arguments are those of `Target`."""
    colour = np.asarray(lab, dtype=float)
    asked.setdefault("source", "Lab " + ", ".join(f"{x:g}" for x in np.ravel(colour)))
    return Target(lab=colour, **asked)


def target_from_srgb(code: str, view: Viewing, **asked: Any) -> Target:
    """A target given as a screen colour `#rrggbb`, adapted from the screen's white to the light of `view`.

    Other arguments are those of `Target`. A screen colour says nothing of opacity: ask for it.
    """
    lab = colorimetry.srgb_to_lab(colorimetry.hex_to_srgb(code), view)
    return Target(lab=lab, **({"source": f"screen colour {code}"} | asked))


def target_from_blend(palette: Palette, blend: Blend, *, setting: Setting, **asked: Any) -> Target:
    """A target that is the look of a blend: what another base or other pigments are to match.

    `setting`: how both are cast and seen.
    `**asked`: those of `Target`. An opacity named here stands in place of the blend's own, and then only its colour in
        the setting is asked for.
    Returns the blend's spectrum and colour over the setting's backing, its colour over the darkest and the lightest,
        and its contrast ratio to be reached.
    Raises InputError if blend or setting name what the palette does not have.
    """
    seen = predict(palette, blend, setting=setting)
    known: dict[str, Any] = {"lab": seen.lab, "spectrum": seen.reflectance, "source": f"as {blend} looks"}
    if palette.pair and not any(asked.get(name) is not None for name in BOUNDS):
        pair = {palette.black: seen.lab_black, palette.white: seen.lab_white}
        known["also"] = tuple(Look(lab=lab, over=name) for name, lab in pair.items() if name != seen.over)
        known["contrast_ratio"] = min(seen.contrast_ratio, 1.0)
    return Target(**(known | asked))


def target_from_written(told: jsonable.Target) -> Target:
    """A target as an answer's JSON tells it."""
    also = tuple(
        Look(lab=np.array(each.lab), over=each.over or "", seat=each.seat or "", thickness_mm=each.thickness_mm)
        for each in told.also
    )
    return Target(**(msgspec.structs.asdict(told) | {"lab": np.array(told.lab), "also": also}))


# What is taken for granted where nothing is said.


def solid_unless_told(target: Target, palette: Palette) -> Target:
    """The target, to be solid where it asks for no opacity and the palette can tell it."""
    if target.asks_more or not palette.pair:
        return target
    return replace(target, **opacity_of("solid"))


def without_gloss(palette: Palette) -> dict[str, Any]:
    """How a colour of a screen or photograph is matched: with the specular reflection excluded, for it has none."""
    return {"geometry": "de:8"} if palette.instrument.geometry == "di:8" else {}
