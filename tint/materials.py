"""What a workshop has on its shelf: bases, pigments, an instrument, and the blends made from them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from tint import notebook
from tint.kinds import check_fields

CURES = ("addition", "condensation")
GEOMETRIES = ("di:8", "de:8", "45:0")
SEATS = ("air", "wet")
# What becomes of a new lot: used as the old one, used in rescaled recipes, or kept out of them.
LOT_VERDICTS = USE, RESCALE, REJECT = ("use", "rescale", "reject")


@dataclass(frozen=True, kw_only=True)
class Base:
    """An uncoloured silicone system."""

    name: str
    cure: str  # cure chemistry: `addition` (platinum) or `condensation` (tin)
    density: float  # of the cured rubber [g/cm3]
    refractive_index: float  # of the cured rubber [-]; 1 means no faces
    max_loading: float  # largest loading of all pigments together [% by mass of the finished mix]
    mix: Mapping[str, float]  # parts by mass of each of its parts [-]
    pigment_in: str  # the part that takes the pigment
    # measured Saunderson constants, in place of those of the refractive index (two-flux only) [-]
    k1: float | None = None
    k2: float | None = None
    lot: str | None = None  # the lot that the swatches were cast from, where their own rows name none
    price: float | None = None  # per kilogram, in the currency of the pigments
    # what scatters in it, such as `silica`: chooses what is believed of its anisotropy before any casting
    kind: str | None = None
    g: float | None = None  # its anisotropy, where it is known [-]


@dataclass(frozen=True, kw_only=True)
class Pigment:
    """A colourant as bought."""

    name: str
    cures: tuple[str, ...] | None = None  # the cures it is known to be safe with; None when nobody knows
    max_loading: float | None = None  # its own largest loading [% by mass of the finished mix]
    density: float | None = None  # [g/cm3]
    lot: str | None = None
    price: float | None = None  # per kilogram, in any one currency
    # what it is, such as `titanium dioxide`: chooses what is believed of its anisotropy before any casting
    kind: str | None = None
    g: float | None = None  # its anisotropy, where it is known [-]


@dataclass(frozen=True, kw_only=True)
class Workshop:
    """What a maker works with and how: what commands take for granted where they are not told."""

    # smallest step and largest load of the scale [g]
    scale_step_g: float | None = None
    scale_max_g: float | None = None
    dose_tolerance_percent: float | None = None  # by which a dose may be off [% of the dose]
    cup_cm3: float | None = None  # the largest cup, to its brim [cm3]
    mould_depths_mm: tuple[float, ...] = ()  # depths of the moulds that swatches are cast in [mm]
    waste_percent: float | None = None  # a margin on what is poured [%]
    premix_days: int | None = None  # for which a premix that was kept is used again [d]
    currency: str = ""  # that prices are in
    price_unit: str = "kg"  # what prices in palette.toml are for: `kg`, `g`, `100 g` or `lb`; all else here is per kg
    price_per_hour: float | None = None  # of working time
    # working time for a batch, whatever its size, and for each part besides [min]
    minutes_a_batch: float | None = None
    minutes_a_part: float | None = None
    margin_percent: float | None = None  # on the cost of material and time, in a quote [%]


@dataclass(frozen=True, kw_only=True)
class Instrument:
    """How readings were taken and how good they are. The defaults are cautious guesses for a folder that is silent."""

    geometry: str = "di:8"  # `di:8`, `de:8` or `45:0`, the words of ANSI/IES TM-27-14
    # standard deviation of one reading [reflectance, 0 to 1]; of a colorimeter, of X, Y and Z each as a share of those
    # of a perfect white
    repeatability: float = 0.002
    thickness_error_mm: float = 0.05  # standard deviation of a thickness reading [mm]
    dose_error_percent: float = 1.0  # standard deviation of a pigment dose [% of the dose]
    light: str | None = None  # the CIE illuminant that L*, a*, b* hold for, where readings are colours and not spectra
    observer: int | None = None  # likewise: 2 or 10 [degrees]
    # diameter of the spot that is measured, and of the one that is lit [mm]. Where the first is stated, what leaves a
    # see-through casting beside the spot is counted; where the second is not, it is as large as the first.
    aperture_mm: float | None = None
    lit_mm: float | None = None

    @property
    def noise(self) -> float:
        """Standard deviation that a value of a reading is taken to have [reflectance].

        Not less than 1e-4, which no instrument repeats better (common practice, no source).
        """
        return max(self.repeatability, 1e-4)

    @property
    def colours_for(self) -> tuple[str, int]:
        """Light and observer that colours read with it hold for: D65 and 10 degrees where it tells none."""
        return self.light or "D65", self.observer or 10


@dataclass(frozen=True)
class Blend:
    """A base and the loadings of its pigments [% by mass of the finished mix]."""

    base: str
    loadings: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        check_fields(self)

    @property
    def total(self) -> float:
        """All pigments together [% by mass of the finished mix]."""
        return float(sum(self.loadings.values()))

    def __str__(self) -> str:
        doses = " + ".join(f"{loading:.4g} % {name}" for name, loading in self.loadings.items() if loading)
        return f"{self.base} with {doses}" if doses else f"{self.base}, uncoloured"

    def _repr_html_(self) -> str:
        return notebook.blend_html(self)


# What is known of the anisotropy g of a pigment from its kind alone, before any casting of it.


# Mean and standard deviation of g over 400 to 700 nm, for a paste in silicone rubber. The first is measured in part,
# the others are judged from Mie's theory over the usual sizes.
KINDS: dict[str, tuple[float, float]] = {
    "titanium dioxide": (0.58, 0.10),
    "zinc oxide": (0.72, 0.10),
    "iron oxide red": (0.60, 0.13),
    "iron oxide yellow": (0.66, 0.10),
    "iron oxide black": (0.67, 0.10),
    "carbon black": (0.55, 0.20),
    "ultramarine": (0.92, 0.03),  # 0.96 by Mie's theory; the tables end at 0.95
    "organic yellow": (0.68, 0.15),
    "organic red": (0.68, 0.15),
    "phthalocyanine": (0.50, 0.20),
    "barium sulphate": (0.91, 0.04),
    "calcium carbonate": (0.91, 0.04),
    "alumina": (0.86, 0.05),
    "silica": (0.91, 0.04),
}
UNKNOWN = (0.65, 0.15)  # of a pigment whose kind nobody told: the middle of the table, and its spread
RUBBER = (0.60, 0.25)  # of the haze of a base: silica in rubber, by Mie's theory over 0.1 to 0.3 micrometres
MOST_STATED = 0.94  # the largest g that a folder may state: just inside the tables of the many-flux model
