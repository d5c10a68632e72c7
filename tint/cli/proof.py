"""`tint proof`: a recipe as pictures, of a card or of the part itself, and as a sheet for a customer to approve."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
import msgspec

from tint import jsonable
from tint.appearance import Setting, predict
from tint.cli import options
from tint.cli import show as pages
from tint.cli.asked import Doses, chosen, palette_of, recipes_options, setting_options
from tint.cli.keys import Command, option
from tint.cli.proof_compared import comparison_json, comparison_of, drawn
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

MOST_COMPARED = 6  # recipes that find room side by side on one sheet
_DEEP = (".tif", ".tiff")


@click.command("proof", cls=Command)
@options.folder
@recipes_options
@target_options
@setting_options
@options.walls
@options.under(
    "What is drawn",
    option("--out", metavar="FILE.png", type=options.PATH, help="The picture to write."),
    option(
        "--show", type=click.Choice(PICTURES), help="Which picture.  [default: part where there is one, or card]"
    ),
    option(
        "--set bits", type=click.Choice(("8", "16")), default="8", show_default=True,
        help="Of the picture: 16, of the part alone.",
    ),
)  # fmt: skip
@subject_options
@tracing_options
@cast_options
@approving_options
@options.replace
@options.as_json
@options.optics
def command(
    folder: Path, doses: Doses, recipe: str | None, pick: tuple[int, ...] | None, wish: Wish,
    casting: dict[str, Any], walls_mm: tuple[float, ...], said: Given, out: Path | None, show: str | None, bits: str,
    subject: Subject, tracing: Tracing, cast: Cast,
    approving: Approving, replace: bool, optics: str, as_json: bool,
) -> None:  # fmt: skip
    """A recipe: a picture for approval.

    Example: tint proof swatches_demo --base clear --load white=0.5 --thickness 3 --out proof.png

    With --part lid.stl, the part itself at its own thickness. With --sheet or --pdf, a sheet to approve. With several
    recipes to --pick, all of them side by side, for the workshop.
    """
    _check_files(out, approving, replace=replace, part=show == "part" or (show is None and subject.given))
    cast.check()
    more: dict[str, Any]
    if pick is not None and len(pick) != 1:
        _check_some(out, approving)
        _check_compared(show, bits, subject, approving)
        choice = chosen(doses, recipe, pick, most=MOST_COMPARED)
        palette = palette_of(folder, optics)
        sheet = comparison_of(
            palette, choice, wish=wish, casting=casting, said=said, cast=cast, title=approving.title or ""
        )
        more = comparison_json(sheet) | {"optics": optics}
        named = f"{len(sheet.candidates)} recipes"
        _tell(_write(drawn(sheet, out, approving)), named, None, lost=_lost(out, approving), more=more, as_json=as_json)
        return
    show = show or ("part" if subject.given else "card")
    _check(out, show, bits, subject, approving, cast)
    tracing.check(subject)
    palette = palette_of(folder, optics)
    choice = chosen(doses, recipe, pick)
    (blend,), setting = choice.blends(palette).values(), choice.setting(palette, casting)
    target = target_of(palette, wish, setting, said)
    walls = at_walls(
        palette, target, predict(palette, blend, setting=setting), walls_mm=choice.further_walls(setting, walls_mm)
    )
    part, trial = subject.read(), cast.trial(palette, blend, setting, said)
    tolerance = 1.0 if wish.tolerance is None else wish.tolerance
    with pages.progress(quiet=as_json) as tell:
        traced = tracing.of(palette, blend, part, setting=setting, side=subject.side, progress=tell)
    more = {"base": blend.base, "loadings": dict(blend.loadings), "optics": optics}
    contents: dict[Path, bytes] = {}
    if out is not None:
        draw = _deep if bits == "16" or out.suffix.lower() in _DEEP else _picture
        contents[out] = draw(
            palette, blend, setting=setting, target=target, part=part, show=show, tolerance=tolerance, out=out,
            thin_mm=subject.thin_mm, title=approving.title or "", show_recipe=approving.show_recipe, trial=trial,
            walls=walls, traced=traced,
        )  # fmt: skip
    if approving.given:
        contents |= _sheets(palette, blend, setting, target, part, approving, tolerance, trial, walls, traced)
    more["walls"] = [msgspec.to_builtins(wall) for wall in jsonable.walls(walls)]
    more["warnings"] = list(predict(palette, blend, setting=setting).warnings)
    more["traced"] = None if traced is None else traced.told
    more["volume_cm3"] = None if part is None else part.volume_cm3
    named = f"{blend}, {setting.thickness_mm:g} mm"
    _tell(_write(contents), named, part, lost=_lost(out, approving), more=more, as_json=as_json)


def _check_files(out: Path | None, approving: Approving, *, replace: bool, part: bool) -> None:
    options.check_file(out, "--out", ".png", *(_DEEP if part else ()), replace=replace)
    options.check_file(approving.sheet, "--sheet", ".html", replace=replace)
    options.check_file(approving.pdf, "--pdf", ".pdf", replace=replace)


def _check(
    out: Path | None, show: str, bits: str, subject: Subject, approving: Approving, cast: Cast
) -> None:  # fmt: skip
    subject.check()
    _check_some(out, approving)
    if show == "part" and not subject.given:
        raise InputError("--show part", "there is no part", mend="name one with --part or --set height_map")
    if bits == "16" and (show != "part" or out is None):
        raise InputError("--set bits=16", "not a picture of a part", "expected --part or --set height_map with --out")
    if cast.given and show != "card" and not approving.given:
        raise InputError(
            next(iter(cast.given)), f"not shown on the picture `{show}`", "expected --show card or --sheet"
        )


def _check_some(out: Path | None, approving: Approving) -> None:
    if out is None and not approving.given:
        raise click.UsageError("missing option '--out', '--sheet' or '--pdf'")


def _check_compared(show: str | None, bits: str, subject: Subject, approving: Approving) -> None:
    """Refuse what a comparison does not show."""
    others = {
        "--show": show, "--part": subject.part, "--set height_map": subject.height_map,
        "--set thin_mm": subject.thin_mm,
        "--set words": approving.words, "--set approver": approving.approver, "--set expiry": approving.expiry,
        "--set bits=16": bits == "16" or None,
    }  # fmt: skip
    for name, value in others.items():
        if value is not None:
            raise InputError(name, "not part of a comparison", mend="leave it out, or --pick one recipe")


def _write(contents: Mapping[Path, bytes]) -> list[Path]:
    write_all(contents)
    return list(contents)


def _picture(
    palette: Palette, blend: Blend, *, setting: Setting, target: Target | None, part: Model | None,
    show: str, tolerance: float, thin_mm: float | None, title: str, show_recipe: bool, trial: Trial | None,
    walls: tuple[Wall, ...], traced: TracedPart | None, **_: Any,
) -> bytes:  # fmt: skip
    if traced is not None:
        from tint.proofs.picture import paint
        from tint.proofs.traced.shown import traced_picture

        return paint(traced_picture(traced, title=title or palette.name))
    if show == "card":
        from tint.proofs import draw_proof

        return draw_proof(
            palette,
            blend,
            setting=setting,
            target=target,
            title=title,
            show_recipe=show_recipe,
            trial=trial,
            walls=walls,
        )
    from tint.proofs import samples
    from tint.proofs.picture import paint

    if show == "part":
        from tint.proofs.part_picture import PIXELS, part_picture

        assert part is not None  # checked
        drawn = part_picture(
            palette, blend, setting=setting, shown=part.at(PIXELS), thin_mm=thin_mm, title=title, target=target
        )
    elif show == "lights":
        drawn = samples.lights_picture(palette, blend, setting=setting, target=target, title=title)
    elif show == "limits":
        agreed = target.tolerance if target else tolerance
        drawn = samples.limits_picture(palette, blend, setting=setting, tolerance=agreed, target=target, title=title)
    else:
        wedge = samples.wedge_picture if show == "wedge" else samples.lit_picture
        drawn = wedge(palette, blend, setting=setting, title=title)
    return paint(drawn)


def _deep(
    palette: Palette, blend: Blend, *, setting: Setting, part: Model | None, out: Path, traced: TracedPart | None,
    **_: Any,
) -> bytes:  # fmt: skip
    from tint.proofs.part_picture import PIXELS, deep_part
    from tint.proofs.picture import deep_png, deep_tiff
    from tint.proofs.render import deep_levels

    assert part is not None  # checked
    if traced is None:
        pixels = deep_part(palette, blend, setting=setting, shown=part.at(PIXELS))
    else:
        pixels = deep_levels(traced.picture.light)
    return deep_tiff(pixels) if out.suffix.lower() in _DEEP else deep_png(pixels)


def _sheets(
    palette: Palette, blend: Blend, setting: Setting, target: Target | None, part: Model | None,
    approving: Approving, tolerance: float, trial: Trial | None, walls: tuple[Wall, ...], traced: TracedPart | None,
) -> dict[Path, bytes]:  # fmt: skip
    from tint.proofs.approval import Asked, approval
    from tint.proofs.part_picture import SHEET_PIXELS

    asked = Asked(
        name=approving.title or palette.name,
        words=approving.words or "",
        who=approving.approver or "",
        made=date.today(),
        expiry=approving.expiry,
        tolerance=tolerance,
        show_formula=approving.show_recipe,
    )
    shown = None if part is None else part.at(SHEET_PIXELS)
    sheet = approval(
        palette,
        blend,
        setting=setting,
        asked=asked,
        target=target,
        shown=shown,
        trial=trial,
        walls=walls,
        traced=traced,
    )
    contents: dict[Path, bytes] = {}
    if approving.sheet:
        from tint.proofs.approval_page import approval_page

        contents[approving.sheet] = approval_page(sheet)
    if approving.pdf:
        from tint.proofs.approval_page import approval_pdf

        contents[approving.pdf] = approval_pdf(sheet, paper=approving.paper)
    return contents


def _lost(out: Path | None, approving: Approving) -> str:
    """The letters of what the people say that the typefaces lack."""
    from tint.proofs import lettering

    said = " ".join(filter(None, (approving.title, approving.words, approving.approver)))
    lost = lettering.lost(approving.title or "") if out else ""
    lost += lettering.lost(said, sheet=True) if approving.pdf else ""
    return "".join(dict.fromkeys(lost))


def _tell(
    written: list[Path], said: str, part: Model | None, *, lost: str, more: Mapping[str, Any], as_json: bool
) -> None:  # fmt: skip
    if as_json:
        told: dict[str, Any] = {"written": str(written[0]), "also_written": [str(path) for path in written[1:]]}
        pages.json(told | dict(more), letters_lost=lost)
        return
    with pages.page() as out:
        for path in written:
            out.print(f"Written: {path} ({said})")
        if part is not None:
            out.print(f"The part takes {part.volume_cm3:.3g} cm3, without sprue and waste.")
        if lost:
            out.print(f"Take care: `{lost}` became `?` on the picture or the PDF: its typeface has no such letters.")
