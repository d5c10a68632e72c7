"""What solving takes and gives: rules for the search, recipes, an answer."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from tint import jsonable, kinds, notebook
from tint.appearance import Appearance, Setting
from tint.errors import InputError, JobError
from tint.kinds import check_fields, checked
from tint.materials import Blend, Workshop
from tint.target import Target
from tint.thickness import Wall

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

RANKINGS = ("closeness", "chance", "price", "loading")
_COLUMNS = ("delta_e", "expected_error", "contrast_ratio", "contrast_ratio_error", "chance", "price_per_kg", "reached")


@dataclass(frozen=True, kw_only=True)
class Rules:
    """What a recipe may hold, and how recipes are ranked.

    Parameters
    ----------
    most_pigments : int
        1 to 5.
    keep, leave_out : collection of str
        Pigments that every recipe has, and that none has.
    insist : collection of str
        Pigments to use although they are known to be unsafe with the base's cure.
    fixed : dict of str to float
        Loadings that stand [%].
    smallest : float
        Least loading of any pigment in a recipe [%].
    max_total : float, optional
        Largest total, when less than the base's own is wanted [%].
    stock_g : dict of str to float
        What there is of a pigment; needs `batch_g` [g].
    batch_g, scale_step_g : float, optional
        With both, recipes are sought among what can be weighed, and doses that need no premix are whole steps [g].
    dose_tolerance_percent : float, optional
        By which a dose may be off; the workshop's when absent, as is the scale's step where there is a batch [% of the
        dose].
    walls_mm : tuple of float
        Further wall thicknesses of the same part; the worst counts [mm].
    also_light : str, optional
        A second light that the customer named: metamerism is then told for it, in place of the usual lamps.
    rank_by : str
        `closeness`, `chance` (of landing within the tolerance), `price` or `loading`.
    most_recipes : int
        How many to return.
    """

    most_pigments: int = 4
    keep: Collection[str] = ()
    leave_out: Collection[str] = ()
    insist: Collection[str] = ()
    fixed: Mapping[str, float] = field(default_factory=dict)
    smallest: float = 0.0
    max_total: float | None = None
    stock_g: Mapping[str, float] = field(default_factory=dict)
    batch_g: float | None = None
    scale_step_g: float | None = None
    dose_tolerance_percent: float | None = None
    walls_mm: tuple[float, ...] = ()
    also_light: str | None = None
    rank_by: str = "closeness"
    most_recipes: int = 5

    def __post_init__(self) -> None:
        check_fields(self)
        if not 1 <= self.most_pigments <= 5:
            raise InputError("most pigments", f"{self.most_pigments}", "1 to 5")
        if self.rank_by not in RANKINGS:
            raise InputError("rank by", f"`{self.rank_by}` is not known", ", ".join(RANKINGS))
        if not self.most_recipes >= 1:
            raise InputError("recipes", f"{self.most_recipes}", "1 or more")
        if not 0.0 <= self.smallest < 100.0:
            raise InputError("smallest dose", f"{self.smallest:g} %", "0 or more, in percent of the mix")
        if self.stock_g and self.batch_g is None:
            raise InputError("stock", "the batch is not told", mend="give the batch in grams too")
        if self.scale_step_g is not None and self.batch_g is None:
            raise InputError("scale step", "the batch is not told", mend="give the batch in grams too")
        if self.scale_step_g is not None and self.batch_g is not None and self.scale_step_g * 20.0 > self.batch_g:
            found = f"{self.scale_step_g:g} g for a batch of {self.batch_g:g} g"
            raise InputError("scale step", found, "a twentieth of the batch at most", "a finer scale or a larger batch")
        for name, value in (
            ("batch", self.batch_g), ("scale step", self.scale_step_g), ("total", self.max_total),
            ("dose tolerance", self.dose_tolerance_percent),
        ):  # fmt: skip
            if value is not None and not value > 0.0:
                raise InputError(name, f"{value:g}", "more than 0")
        for wall in self.walls_mm:
            if not 0.0 < wall <= 100.0:
                raise InputError("wall", f"{wall:g} mm", "more than 0 and at most 100 mm")

    @checked()
    def in_workshop(self, workshop: Workshop) -> Rules:
        """The same with what the workshop says of its scale, where the rules do not."""
        step, tolerance = self.scale_step_g, self.dose_tolerance_percent
        return replace(
            self,
            scale_step_g=workshop.scale_step_g if step is None and self.batch_g is not None else step,
            dose_tolerance_percent=workshop.dose_tolerance_percent if tolerance is None else tolerance,
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class Recipe:
    """A blend that answers a target.

    Parameters
    ----------
    blend : Blend
        As the scale can show it when the rules name a scale, else exact.
    appearance : Appearance
        Of the part, in the setting.
    delta_e : float
        CIEDE2000 to the target; the worst one when several colours or walls were asked for [-].
    opacity_miss : float
        The largest miss in contrast ratio or transmittance, signed [-].
    metamerism : float
        Special index of CIE 15 for a target that was measured, else colour inconstancy: the largest over lamp, shop
        fluorescent and LED, or in the second light that the rules name [-].
    sensitivity : float
        CIEDE2000 by which it moves when every dose is off by 1 %, root sum of squares [-].
    chance : float
        Of a pour landing within the tolerance and the opacity asked for, 0 to 1 [-].
    price_per_kg : float, optional
        Of a kilogram of mix, the base included where any base has a price; None when one of them has none.
    limits : tuple of str
        What binds: `max_loading:total`, `max_loading:NAME`, `smallest:NAME`, `fixed:NAME`, `contrast_ratio`,
        `transmittance`, `scale_step` when only the rounding does, or `palette` when none of these but the pigments
        themselves keep the target away.
    reached : bool
        Whether colour and opacity are met.
    reason : str
        In words, when they are not.
    merits : tuple of str
        What it is the best in, of those found that are near enough to be poured.
    why : str
        Why one would take it, in a sentence: of the first what it is the best in, of others what they gain over it and
        at what price.
    opacity_chance : float
        Of a pour keeping all that is asked beside the colour, 0 to 1; 1 where nothing is [-].
    premix : tuple of str
        Pigments whose dose this scale weighs only as a premix.
    unweighable : tuple of str
        Pigments whose dose it does not weigh at all in this batch.
    walls : tuple of Wall
        Every wall of the part, the worst first; empty where it has one.
    """

    blend: Blend
    appearance: Appearance
    delta_e: float
    opacity_miss: float
    metamerism: float
    sensitivity: float
    chance: float
    price_per_kg: float | None
    limits: tuple[str, ...]
    reached: bool
    reason: str
    merits: tuple[str, ...]
    premix: tuple[str, ...]
    opacity_chance: float = 1.0
    unweighable: tuple[str, ...] = ()
    walls: tuple[Wall, ...] = ()
    why: str = ""

    def _repr_html_(self) -> str:
        return notebook.recipe_html(self)

    def to_json(self) -> str:
        """All of it as one JSON object, as it stands among those that `tint solve --json` prints."""
        return jsonable.text(jsonable.recipe(self))


@dataclass(frozen=True, kw_only=True, eq=False)
class Loosened:
    """What giving way on one point would bring."""

    limit: str  # as in `Recipe.limits`, or `thickness`, `base:NAME`, `opacity`
    value: float | None  # to what it would have to give: percent, millimetres; None when it is no number
    delta_e: float  # the colour difference then [-]
    reached: bool  # whether the target is met then
    words: str  # the same as a sentence


@dataclass(frozen=True, kw_only=True, eq=False)
class Answer:
    """Recipes for a target, best first; what was not tried and why; for a target out of reach, what would have to give.

    Parameters
    ----------
    refused : dict of str to dict of str to str
        Base to pigment to reason.
    sets : int
        How many sets of pigments were searched.
    """

    target: Target
    setting: Setting
    rules: Rules
    recipes: tuple[Recipe, ...]
    refused: dict[str, dict[str, str]]
    warnings: tuple[str, ...]
    loosened: tuple[Loosened, ...]
    sets: int

    @property
    def best(self) -> Recipe:
        """The first recipe."""
        return self.recipes[0]

    def _repr_html_(self) -> str:
        return notebook.answer_html(self)

    def to_json(self) -> str:
        """All of it as one JSON object, with the keys that `tint solve --json` prints."""
        return jsonable.text(jsonable.answer(self))

    def to_frame(self) -> pd.DataFrame:
        """A row a recipe: base, a column for every pigment used [%], colour, opacity, errors, price.

        Raises JobError if pandas is not installed.
        """
        try:
            import pandas as pd
        except ImportError as error:
            raise JobError("to_frame", "pandas is not installed", mend="`pip install pandas`") from error
        told = [jsonable.recipe(each) for each in self.recipes]
        names = sorted({name for each in told for name in each.loadings})
        rows = [
            {"base": each.base}
            | {f"{name} %": each.loadings.get(name, 0.0) for name in names}
            | dict(zip(("L*", "a*", "b*"), each.lab or (), strict=True))
            | {name: getattr(each, name) for name in _COLUMNS}
            for each in told
        ]
        return pd.DataFrame(rows, index=pd.RangeIndex(1, len(rows) + 1, name="recipe"))

    @checked()
    def plot(self, *, ax: Axes | None = None, of: str = "reflectance") -> Axes:
        """Its recipes over wavelength, and the target where that was measured; see `tint.notebook.plot_spectra`."""
        return notebook.plot_spectra(self, ax=ax, of=of)


def from_json(data: bytes | str, *, where: str = "recipe") -> jsonable.Answer:
    """Recipes as `Answer.to_json`, `tint solve --json` and `tint adjust --json` write them, best first.

    `where`: what to call it in an error.
    Returns every recipe with its base and loadings, and what else the file tells; spectra it does not hold.
    Raises InputError if it is no such JSON, by its key, or holds no recipe.
    """
    form = "what `tint solve --json` writes"
    told = kinds.decode(data, jsonable.Answer, where=where, form=form)
    if not told.recipes:
        raise InputError(where, "holds no recipe", form)
    return told
