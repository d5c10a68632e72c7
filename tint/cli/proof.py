"""`tint proof`: a recipe as pictures, of a card or of the part itself, and as a sheet for a customer to approve;
several recipes side by side."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from tint import jsonable
from tint.appearance import Setting, predict
from tint.cli import options
from tint.cli import show as pages
from tint.cli.asked import Chosen, palette_of, recipes_options, setting_options
from tint.cli.keys import Command
from tint.cli.proof_options import (
    PICTURES,
    Approving,
    Cast,
    Model,
    Subject,
    Tracing,
    approving_options,
    cast_options,
    check_compared,
    subject_options,
    tracing_options,
)
from tint.cli.solve import bound
from tint.cli.wanted import Wish, target_of, target_options
from tint.errors import InputError
from tint.files import write_all
from tint.materials import Blend
from tint.palette import Palette
from tint.swatches.instruments import Given
from tint.target import Target, target_from_written
from tint.thickness import Wall, at_walls

if TYPE_CHECKING:
    from tint.proofs.comparison import Comparison
    from tint.proofs.facts import Trial
    from tint.proofs.traced.shown import TracedPart

_DEEP = (".tif", ".tiff")
_SEEN = ("over", "seat", "light", "observer", "geometry")  # what a target in a file holds for


@click.command("proof", cls=Command)
@options.folder
@recipes_options
@target_options
@setting_options
@options.walls
@options.under(
    "What is drawn",
    options.path("--out", "The picture to write.", "FILE.png"),
    options.choice("--show", PICTURES, "Which picture.  [default: part where there is one, or card]"),
    options.choice("--set bits", ("8", "16"), "Of the picture: 16, of the part alone.", default="8"),
)  # fmt: skip
@subject_options
@tracing_options
@cast_options
@approving_options
@options.replace
@options.as_json
@options.optics
def command(
    folder: Path, choice: Chosen, wish: Wish,
    casting: dict[str, Any], walls_mm: tuple[float, ...], said: Given, out: Path | None, show: str | None, bits: str,
    subject: Subject, tracing: Tracing, cast: Cast,
    approving: Approving, replace: bool, optics: str,
) -> None:  # fmt: skip
    """Draw a recipe for the customer to approve.

    Example: tint proof swatches_demo --base clear --load white=0.5 --thickness 3 --out proof.png

    With --part lid.stl, the part itself at its own thickness. With --sheet or --pdf, a sheet to approve. With several
    recipes to --pick, all of them side by side, for the workshop.
    """
    if out is None and not approving.given:
        raise click.UsageError("missing option '--out', '--sheet' or '--pdf'")
    shown = show or ("part" if subject.given else "card")
    options.check_file(out, "--out", ".png", *(_DEEP if shown == "part" else ()), replace=replace)
    options.check_file(approving.sheet, "--sheet", ".html", replace=replace)
    options.check_file(approving.pdf, "--pdf", ".pdf", replace=replace)
    cast.check()
    if choice.is_comparison:
        check_compared(show, bits, subject, tracing, approving)
        sheet = _compared(palette_of(folder, optics), choice, wish, casting, said, cast, approving.title or "")
        told: dict[str, Any] = {"recipes": _compared_json(sheet), "optics": optics}
        _tell(_drawn_compared(sheet, out, approving), f"{len(sheet.candidates)} recipes", None, out, approving, told)
        return
    subject.check(shown)
    if bits == "16" and (shown != "part" or out is None):
        raise InputError("--set bits=16", "not a picture of a part", "expected --part or --set height_map with --out")
    if cast.given and shown != "card" and not approving.given:
        found = f"not shown on the picture `{shown}`"
        raise InputError(next(iter(cast.given)), found, "expected --show card or --sheet")
    tracing.check(subject, show=shown, sheet=approving.given)
    palette = palette_of(folder, optics)
    (blend,), setting = choice.blends(palette).values(), choice.setting(palette, casting)
    target, look = target_of(palette, wish, setting, said), predict(palette, blend, setting=setting)
    part = subject.read()
    with pages.progress() as tell:
        traced = tracing.of(palette, blend, part, setting=setting, side=subject.side, progress=tell)
    job = _Job(
        palette=palette, blend=blend, setting=setting, target=target, part=part, traced=traced,
        tolerance=1.0 if wish.tolerance is None else wish.tolerance, thin_mm=subject.thin_mm,
        trial=cast.trial(palette, blend, setting, said), approving=approving,
        walls=at_walls(palette, target, look, walls_mm=choice.further_walls(setting, walls_mm)),
    )  # fmt: skip
    contents = {}
    if out is not None:
        contents[out] = _deep(job, out) if bits == "16" or out.suffix.lower() in _DEEP else _picture(job, shown)
    if approving.given:
        contents |= _sheets(job)
    told = {
        "base": blend.base,
        "loadings": dict(blend.loadings),
        "optics": optics,
        "walls": jsonable.walls(job.walls),
        "warnings": look.warnings,
        "traced": None if traced is None else traced.told,
        "volume_cm3": None if part is None else part.volume_cm3,
    }
    _tell(contents, f"{blend}, {setting.thickness_mm:g} mm", part, out, approving, told)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Job:
    """A recipe with all that its pictures and sheets show."""

    palette: Palette
    blend: Blend
    setting: Setting
    target: Target | None
    part: Model | None
    traced: TracedPart | None
    tolerance: float
    thin_mm: float | None
    trial: Trial | None
    walls: tuple[Wall, ...]
    approving: Approving


def _picture(job: _Job, show: str) -> bytes:
    from tint.proofs import draw_proof, samples
    from tint.proofs.picture import paint

    palette, blend, title = job.palette, job.blend, job.approving.title or ""
    seen: dict[str, Any] = {"setting": job.setting, "target": job.target, "title": title}
    if job.traced is not None and show == "part":
        from tint.proofs.traced.shown import traced_picture

        return paint(traced_picture(job.traced, title=title or palette.name))
    if show == "card":
        more: dict[str, Any] = {"show_recipe": job.approving.show_recipe, "trial": job.trial, "walls": job.walls}
        return draw_proof(palette, blend, **seen, **more)
    if show == "part":
        from tint.proofs.part_picture import PIXELS, part_picture

        assert job.part is not None  # checked
        return paint(part_picture(palette, blend, shown=job.part.at(PIXELS), thin_mm=job.thin_mm, **seen))
    if show == "lights":
        return paint(samples.lights_picture(palette, blend, **seen))
    if show == "limits":
        agreed = job.target.tolerance if job.target else job.tolerance
        return paint(samples.limits_picture(palette, blend, tolerance=agreed, **seen))
    draw = samples.wedge_picture if show == "wedge" else samples.lit_picture
    return paint(draw(palette, blend, setting=job.setting, title=title))


def _deep(job: _Job, out: Path) -> bytes:
    from tint.proofs.part_picture import PIXELS, deep_part
    from tint.proofs.render import deep_levels, deep_png, deep_tiff

    assert job.part is not None  # checked
    if job.traced is None:
        pixels = deep_part(job.palette, job.blend, setting=job.setting, shown=job.part.at(PIXELS))
    else:
        pixels = deep_levels(job.traced.picture.light)
    return deep_tiff(pixels) if out.suffix.lower() in _DEEP else deep_png(pixels)


def _sheets(job: _Job) -> dict[Path, bytes]:
    from tint.proofs.approval import Asked, approval
    from tint.proofs.approval_page import approval_page, approval_pdf
    from tint.proofs.part_picture import SHEET_PIXELS

    told = job.approving
    asked = Asked(
        name=told.title or job.palette.name, words=told.words or "", who=told.approver or "", made=date.today(),
        expiry=told.expiry, tolerance=job.tolerance, show_formula=told.show_recipe,
    )  # fmt: skip
    sheet = approval(
        job.palette, job.blend, setting=job.setting, asked=asked, target=job.target, trial=job.trial, walls=job.walls,
        shown=None if job.part is None else job.part.at(SHEET_PIXELS), traced=job.traced,
    )  # fmt: skip
    contents = {told.sheet: approval_page(sheet)} if told.sheet else {}
    return contents | ({told.pdf: approval_pdf(sheet, paper=told.paper)} if told.pdf else {})


# Several recipes of a file side by side on one sheet, for the workshop.


def _compared(
    palette: Palette, choice: Chosen, wish: Wish, casting: Mapping[str, Any], said: Given, cast: Cast, title: str
) -> Comparison:  # fmt: skip
    from tint.proofs.comparison import compare

    setting, blends = choice.setting(palette, casting), choice.blends(palette)
    file = choice.file.target if choice.file is not None else None
    if wish.given or file is None:
        target = target_of(palette, wish, setting, said)
    else:  # the file's holds only for the setting that it was solved in
        for name in _SEEN:
            own = choice.solved_in.get(name)
            if own is not None and casting.get(name, own) != own:
                found = f"{casting[name]}, but the target in the file holds for {own}"
                mend = "name a target for it, as with --target-lab, or leave it out"
                raise InputError(f"--{name}", found, mend=mend)
        target = replace(target_from_written(file), **wish.asked)  # type: ignore[arg-type]
    return compare(
        palette,
        list(blends.values()),
        setting=setting,
        target=target,
        ranks=list(blends),
        limits=[[bound(limit) for limit in each.limits] for each in choice.recipes.values()],
        trial=cast.trial(palette, next(iter(blends.values())), setting, said),
        title=title,
    )


def _drawn_compared(sheet: Comparison, out: Path | None, approving: Approving) -> dict[Path, bytes]:
    from tint.proofs.comparison_drawn import comparison_page, comparison_pdf, draw_comparison

    paper = partial(comparison_pdf, made=date.today(), paper=approving.paper)
    drawn: dict[Path | None, Callable[[Comparison], bytes]] = {
        out: draw_comparison,
        approving.sheet: comparison_page,
        approving.pdf: paper,
    }
    return {path: draw(sheet) for path, draw in drawn.items() if path is not None}


def _compared_json(sheet: Comparison) -> list[dict[str, Any]]:
    from tint.proofs.comparison import differences, shift_in

    return [
        {
            "rank": each.rank,
            "base": each.look.blend.base,
            "loadings": dict(each.look.blend.loadings),
            "delta_e": each.delta_e,
            "expected_error": each.beside.expected_error,
            **pages.fields(each.look, "contrast_ratio", "contrast_ratio_error"),
            "shifts": {light.light: shift_in(light) for light in each.lights},
            **pages.fields(each, "price_per_kg", "limits"),
            "differs": differs,
        }
        for each, differs in zip(sheet.candidates, differences(sheet.candidates), strict=True)
    ]


# What is written, and what is said of it.


def _tell(
    contents: Mapping[Path, bytes], said: str, part: Model | None, out: Path | None, approving: Approving,
    told: Mapping[str, Any],
) -> None:  # fmt: skip
    from tint.proofs import lettering

    words = " ".join(filter(None, (approving.title, approving.words, approving.approver)))
    lost = lettering.lost(approving.title or "") if out else ""
    lost += lettering.lost(words, sheet=True) if approving.pdf else ""
    lost = "".join(dict.fromkeys(lost))  # letters that the typefaces lack
    write_all(contents)
    first, *others = written = [str(path) for path in contents]

    def page(out: pages.Page) -> None:
        for path in written:
            out.print(f"Written: {path} ({said})")
        if part is not None:
            out.print(f"The part takes {part.volume_cm3:.3g} cm3, without sprue and waste.")
        if lost:
            out.print(f"Take care: `{lost}` became `?` on the picture or the PDF: its typeface has no such letters.")

    pages.answer({"written": first, "also_written": others, **told}, page, letters_lost=lost)
