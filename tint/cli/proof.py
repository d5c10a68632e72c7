"""`tint proof`: a recipe as pictures, of a card or of the part itself, and as a sheet for a customer to approve;
several recipes side by side."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
import msgspec

from tint import jsonable
from tint.appearance import Setting, predict
from tint.cli import compared, options
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
    subject_options,
    tracing_options,
)
from tint.cli.wanted import Wish, target_of, target_options
from tint.errors import InputError
from tint.files import write_all
from tint.materials import Blend
from tint.palette import Palette
from tint.swatches.instruments import Given
from tint.target import Target
from tint.thickness import Wall, at_walls

if TYPE_CHECKING:
    from tint.proofs.facts import Trial
    from tint.proofs.traced.shown import TracedPart

_DEEP = (".tif", ".tiff")


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
    _check_files(out, approving, replace=replace, part=show == "part" or (show is None and subject.given))
    cast.check()
    if choice.is_comparison:
        compared.check(show, bits, subject, tracing, approving)
        palette, title = palette_of(folder, optics), approving.title or ""
        sheet = compared.of(palette, choice, wish=wish, casting=casting, said=said, cast=cast, title=title)
        contents, told = compared.drawn(sheet, out, approving), compared.told(sheet) | {"optics": optics}
        _tell(contents, f"{len(sheet.candidates)} recipes", None, lost=_lost(out, approving), more=told)
        return
    show = show or ("part" if subject.given else "card")
    _check(out, show, bits, subject, approving, cast)
    tracing.check(subject, show=show, sheet=approving.given)
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
        is_deep = bits == "16" or out.suffix.lower() in _DEEP
        contents[out] = _deep(job, out) if is_deep else _picture(job, show)
    if approving.given:
        contents |= _sheets(job)
    more = {
        "base": blend.base,
        "loadings": dict(blend.loadings),
        "optics": optics,
        "walls": [msgspec.to_builtins(wall) for wall in jsonable.walls(job.walls)],
        "warnings": list(look.warnings),
        "traced": None if traced is None else traced.told,
        "volume_cm3": None if part is None else part.volume_cm3,
    }
    named = f"{blend}, {setting.thickness_mm:g} mm"
    _tell(contents, named, part, lost=_lost(out, approving), more=more)


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


def _check_files(out: Path | None, approving: Approving, *, replace: bool, part: bool) -> None:
    if out is None and not approving.given:
        raise click.UsageError("missing option '--out', '--sheet' or '--pdf'")
    options.check_file(out, "--out", ".png", *(_DEEP if part else ()), replace=replace)
    options.check_file(approving.sheet, "--sheet", ".html", replace=replace)
    options.check_file(approving.pdf, "--pdf", ".pdf", replace=replace)


def _check(
    out: Path | None, show: str, bits: str, subject: Subject, approving: Approving, cast: Cast
) -> None:  # fmt: skip
    subject.check()
    if show == "part" and not subject.given:
        raise InputError("--show part", "there is no part", mend="name one with --part or --set height_map")
    if bits == "16" and (show != "part" or out is None):
        raise InputError("--set bits=16", "not a picture of a part", "expected --part or --set height_map with --out")
    if cast.given and show != "card" and not approving.given:
        raise InputError(
            next(iter(cast.given)), f"not shown on the picture `{show}`", "expected --show card or --sheet"
        )


def _picture(job: _Job, show: str) -> bytes:
    from tint.proofs import draw_proof, samples, wedge
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
    draw = wedge.wedge_picture if show == "wedge" else wedge.lit_picture
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


def _lost(out: Path | None, approving: Approving) -> str:
    """The letters of what the people say that the typefaces lack."""
    from tint.proofs import lettering

    said = " ".join(filter(None, (approving.title, approving.words, approving.approver)))
    lost = lettering.lost(approving.title or "") if out else ""
    lost += lettering.lost(said, sheet=True) if approving.pdf else ""
    return "".join(dict.fromkeys(lost))


def _tell(
    contents: Mapping[Path, bytes], said: str, part: Model | None, *, lost: str, more: Mapping[str, Any]
) -> None:  # fmt: skip
    """Write the files, and say which."""
    write_all(contents)
    first, *others = written = [str(path) for path in contents]

    def page(out: pages.Page) -> None:
        for path in written:
            out.print(f"Written: {path} ({said})")
        if part is not None:
            out.print(f"The part takes {part.volume_cm3:.3g} cm3, without sprue and waste.")
        if lost:
            out.print(f"Take care: `{lost}` became `?` on the picture or the PDF: its typeface has no such letters.")

    pages.answer({"written": first, "also_written": others} | dict(more), page, letters_lost=lost)
