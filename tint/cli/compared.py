"""Several recipes of a file side by side on one sheet, for the workshop: what `tint proof --pick 1,2,3` draws."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tint.appearance import Setting
from tint.cli import show as pages
from tint.cli.asked import Chosen
from tint.cli.proof_options import Approving, Cast, Subject, Tracing
from tint.cli.solve import bound
from tint.cli.wanted import Wish, target_of
from tint.errors import InputError
from tint.palette import Palette
from tint.swatches.instruments import Given
from tint.target import Target, target_from_written

if TYPE_CHECKING:
    from tint.proofs.comparison import Comparison

_SEEN = ("over", "seat", "light", "observer", "geometry")  # what a target in a file holds for


def check(show: str | None, bits: str, subject: Subject, tracing: Tracing, approving: Approving) -> None:
    """Refuse what a comparison does not show."""
    others = {
        "--show": show, "--part": subject.part, "--set height_map": subject.height_map,
        "--set thin_mm": subject.thin_mm, "--trace": tracing.trace,
        "--set words": approving.words, "--set approver": approving.approver, "--set expiry": approving.expiry,
        "--set bits=16": bits == "16" or None,
    }  # fmt: skip
    for name, value in others.items():
        if value is not None:
            raise InputError(name, "a comparison of several recipes does not show it", mend="--pick one recipe")


def of(
    palette: Palette, choice: Chosen, *, wish: Wish, casting: Mapping[str, Any], said: Given, cast: Cast, title: str
) -> Comparison:  # fmt: skip
    """The recipes of a file, compared."""
    from tint.proofs.comparison import compare

    setting, blends = choice.setting(palette, casting), choice.blends(palette)
    return compare(
        palette,
        list(blends.values()),
        setting=setting,
        target=_target(palette, choice, wish, setting, casting, said),
        ranks=list(blends),
        limits=[[bound(limit) for limit in each.limits] for each in choice.recipes.values()],
        trial=cast.trial(palette, next(iter(blends.values())), setting, said),
        title=title,
    )


def _target(
    palette: Palette, choice: Chosen, wish: Wish, setting: Setting, casting: Mapping[str, Any], said: Given
) -> Target | None:  # fmt: skip
    """The target that options name, else the file's, which holds only for the setting it was solved in."""
    own = choice.file.target if choice.file is not None else None
    if wish.given or own is None:
        return target_of(palette, wish, setting, said)
    for name in _SEEN:
        told = choice.solved_in.get(name)
        if told is not None and casting.get(name, told) != told:
            raise InputError(
                f"--{name}", f"{casting[name]}, but the target in the file holds for {told}",
                mend="name a target for it, as with --target-lab, or leave it out",
            )  # fmt: skip
    return replace(target_from_written(own), **wish.asked)  # type: ignore[arg-type]


def drawn(sheet: Comparison, out: Path | None, approving: Approving) -> dict[Path, bytes]:
    """What is to be written of a comparison, by file."""
    from tint.proofs.comparison_drawn import comparison_page, comparison_pdf, draw_comparison

    contents: dict[Path, bytes] = {}
    if out:
        contents[out] = draw_comparison(sheet)
    if approving.sheet:
        contents[approving.sheet] = comparison_page(sheet)
    if approving.pdf:
        contents[approving.pdf] = comparison_pdf(sheet, made=date.today(), paper=approving.paper)
    return contents


def told(sheet: Comparison) -> dict[str, Any]:
    """What a comparison says of each recipe."""
    from tint.proofs.comparison import differences, shift_in

    return {
        "recipes": [
            {
                "rank": each.rank,
                "base": each.look.blend.base,
                "loadings": dict(each.look.blend.loadings),
                "delta_e": each.delta_e,
                "expected_error": each.beside.expected_error,
                **pages.fields(each.look, "contrast_ratio", "contrast_ratio_error"),
                "shifts": {light.light: shift_in(light) for light in each.lights},
                **pages.fields(each, "price_per_kg", "limits"),
                "differs": said,
            }
            for each, said in zip(sheet.candidates, differences(sheet.candidates), strict=True)
        ]
    }
