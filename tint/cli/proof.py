"""`tint proof`: a recipe as pictures, of a card or of the part itself, and as a sheet for a customer to approve."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Any

import click

from tint.appearance import Setting
from tint.cli.asked import Doses, blend_of, setting_options
from tint.cli.options import folder_argument, json_option, optics_option, palette_of, replace_option
from tint.cli.pictured import (
    PICTURES,
    Approving,
    Model,
    Subject,
    approving_options,
    check_file,
    subject_options,
)
from tint.cli.recipes import chosen, recipe_options
from tint.cli.tables import page, print_json
from tint.cli.wanted import Wish, target_of, target_options
from tint.errors import InputError
from tint.files import write_whole
from tint.materials import Blend
from tint.palette import Palette
from tint.target import Target

_DEEP = (".tif", ".tiff")
_SHEET_PIXELS = 560  # of the part on a sheet


@click.command("proof")
@folder_argument
@recipe_options
@target_options
@setting_options
@click.option("--out", metavar="FILE.png", type=click.Path(path_type=Path), help="The picture to write.")
@click.option("--show", type=click.Choice(PICTURES), help="Which picture.  [default: part where there is one, or card]")
@click.option("--bits", type=click.Choice(("8", "16")), default="8", show_default=True, help="16: the bare part.")
@subject_options
@approving_options
@replace_option
@optics_option
@json_option
def command(
    folder: Path,
    doses: Doses,
    recipe: str | None,
    pick: int | None,
    wish: Wish,
    casting: dict[str, Any],
    out: Path | None,
    show: str | None,
    bits: str,
    subject: Subject,
    approving: Approving,
    replace: bool,
    optics: str,
    as_json: bool,
) -> None:
    """A recipe: a picture for approval.

    Example: tint proof swatches_demo --base clear --load white=0.5 --thickness 3 --out proof.png

    With --part lid.stl, the part itself at its own thickness. With --sheet or --pdf, a sheet to approve.
    """
    show = show or ("part" if subject.given else "card")
    _check(out, show, bits, subject, approving, replace=replace)
    palette = palette_of(folder, optics)
    choice = chosen(doses, recipe, pick)
    blend, setting = blend_of(palette, choice.doses), choice.setting(palette, casting)
    target = target_of(palette, wish, setting)
    part = subject.read()
    tolerance = wish.asked.get("tolerance", 1.0)
    written: list[Path] = []
    if out is not None:
        draw = _deep if bits == "16" or out.suffix.lower() in _DEEP else _picture
        drawn = draw(
            palette, blend, setting=setting, target=target, part=part, show=show, tolerance=tolerance, out=out,
            thin_mm=subject.thin, title=approving.name or "", show_recipe=approving.show_formula,
        )  # fmt: skip
        write_whole(out, drawn)
        written.append(out)
    if approving.given:
        written += _sheets(palette, blend, setting, target, part, approving, tolerance)
    _tell(written, blend, setting, part, optics=optics, as_json=as_json)


def _check(
    out: Path | None, show: str, bits: str, subject: Subject, approving: Approving, *, replace: bool
) -> None:  # fmt: skip
    check_file(out, "--out", (".png", *_DEEP) if show == "part" else (".png",), replace=replace)
    check_file(approving.sheet, "--sheet", (".html",), replace=replace)
    check_file(approving.pdf, "--pdf", (".pdf",), replace=replace)
    subject.check()
    if out is None and not approving.given:
        raise click.UsageError("missing option '--out', '--sheet' or '--pdf'")
    if show == "part" and not subject.given:
        raise InputError("--show part", "there is no part", mend="name one with --part or --height-map")
    if bits == "16" and (show != "part" or out is None):
        raise InputError("--bits 16", "not a picture of a part", "expected --part or --height-map with --out")


def _picture(
    palette: Palette, blend: Blend, *, setting: Setting, target: Target | None, part: Model | None,
    show: str, tolerance: float, thin_mm: float | None, title: str, show_recipe: bool, **_: Any,
) -> bytes:  # fmt: skip
    if show == "card":
        from tint.proof import draw_proof

        return draw_proof(palette, blend, setting=setting, target=target, title=title, show_recipe=show_recipe)
    from tint.proof import views

    if show == "part":
        from tint.proof.part_picture import PIXELS, part_picture

        assert part is not None  # checked
        drawn = part_picture(palette, blend, setting=setting, shown=part.at(PIXELS), thin_mm=thin_mm, title=title)
    elif show == "lights":
        drawn = views.lights_picture(palette, blend, setting=setting, target=target, title=title)
    elif show == "limits":
        drawn = views.limits_picture(palette, blend, setting=setting, tolerance=tolerance, title=title)
    else:
        wedge = views.wedge_picture if show == "wedge" else views.lit_picture
        drawn = wedge(palette, blend, setting=setting, title=title)
    return views.draw(drawn)


def _deep(
    palette: Palette, blend: Blend, *, setting: Setting, part: Model | None, out: Path, **_: Any
) -> bytes:  # fmt: skip
    from tint.proof.files import deep_png, deep_tiff
    from tint.proof.part_picture import PIXELS, deep_part

    assert part is not None  # checked
    pixels = deep_part(palette, blend, setting=setting, shown=part.at(PIXELS))
    return deep_tiff(pixels) if out.suffix.lower() in _DEEP else deep_png(pixels)


def _sheets(
    palette: Palette, blend: Blend, setting: Setting, target: Target | None, part: Model | None,
    approving: Approving, tolerance: float,
) -> list[Path]:  # fmt: skip
    from tint.proof.approval import Asked, approval

    asked = Asked(
        name=approving.name or palette.name,
        words=approving.customer_words or "",
        who=approving.who or "",
        made=date.today(),
        expiry=approving.expiry,
        tolerance=tolerance,
        show_formula=approving.show_formula,
    )
    shown = None if part is None else part.at(_SHEET_PIXELS)
    sheet = approval(palette, blend, setting=setting, asked=asked, target=target, shown=shown)
    drawn: dict[Path, bytes] = {}
    if approving.sheet:
        from tint.proof.approval_page import approval_page

        drawn[approving.sheet] = approval_page(sheet)
    if approving.pdf:
        from tint.proof.approval_print import approval_pdf

        drawn[approving.pdf] = approval_pdf(sheet, paper=approving.paper)
    for path, data in drawn.items():
        write_whole(path, data)
    return list(drawn)


def _tell(
    written: list[Path], blend: Blend, setting: Setting, part: Model | None, *, optics: str,
    as_json: bool,
) -> None:  # fmt: skip
    volume = None if part is None else part.volume_cm3
    if as_json:
        told: dict[str, Any] = {"written": str(written[0]), "also_written": [str(path) for path in written[1:]]}
        told |= {"base": blend.base, "loadings": dict(blend.loadings), "volume_cm3": volume, "optics": optics}
        print_json(told)
        return
    with page() as out:
        for path in written:
            out.print(f"Written: {path} ({blend}, {setting.thickness_mm:g} mm)")
        if volume is not None:
            out.print(f"The part takes {volume:.3g} cm3, without sprue and waste.")
