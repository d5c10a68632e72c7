"""`tint photograph`: colours of castings from a photograph with a 24-patch chart in it."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any

import click

from tint.cli import options, show
from tint.cli.keys import Command
from tint.colorimetry import viewing
from tint.errors import InputError
from tint.files import write_whole
from tint.materials import SEATS
from tint.photographs.colours import Photographed, chart_reference, check_chart, photograph
from tint.photographs.mailed import Mailed, wanted_colour
from tint.photographs.picture import Picture, draw, read_picture
from tint.photographs.places import Spot, find_arrangement, find_corners, locate
from tint.photographs.squares import Found, by_squares, check_apart, looks_bare
from tint.photographs.tables import colours_csv, photo_readings, read_chart, read_spots, read_squares, repeatability
from tint.swatches.records import PHOTOGRAPH

_PLACE = "NAME[/BACKING[/SEAT]]=X,Y[,SIZE], as in lid-3/black=410,620"


def _point(given: object, where: str = "--corners") -> tuple[float, float]:
    parts = str(given).split(",")
    if len(parts) != 2:
        raise InputError(where, f"`{given}`", "X,Y in pixels, as in 412,88")
    return options.number_in(parts[0], where, "pixels"), options.number_in(parts[1], where, "pixels")


def _spot(given: str) -> Spot:
    named, sign, place = given.rpartition("=")
    names, numbers = [part.strip() for part in named.split("/")], place.split(",")
    if not sign or not all(names) or len(names) > 3 or len(numbers) not in (2, 3):
        raise InputError("--at", f"`{given}`", _PLACE)
    name, backing, seat = (*names, "", "")[:3]
    if seat and seat not in SEATS:
        raise InputError("--at", f"`{seat}` in `{given}` is no seat", f"one of {', '.join(SEATS)}")
    x, y, *size = (options.number_in(part, "--at", "pixels") for part in numbers)
    return Spot(name=name, backing=backing, seat=seat, x=x, y=y, size=size[0] if size else None)


def _colours_of(light: str, observer: int, chart: Path | None) -> dict[str, Any]:
    # The usual chart's weights are asked for even with a chart of one's own: they name the light as the CIE does.
    known = viewing(range(400, 701, 10), light=light, observer=observer).light
    read = chart_reference(known, observer) if chart is None else None
    reference, white = read or read_chart(chart or "", light=known, observer=observer)
    return {"reference": reference, "white": white, "light": known, "observer": observer}


@click.command("photograph", cls=Command)
@click.argument("picture", type=options.PATH)
@click.argument("folder", type=options.PATH, required=False)
@options.grouped(
    "spots",
    lambda at, spots: (*at, *(read_spots(spots) if spots else ())),
    options.several("--at", "A spot: NAME[/BACKING[/SEAT]]=X,Y[,SIZE], in pixels.", "PLACE", type=_spot),
    options.path("--spots", "Spots as CSV: name,backing,seat,x,y,size."),
)
@click.option(
    "--corners", nargs=4, type=_point, metavar="X,Y X,Y X,Y X,Y",
    help="Centres of the chart's four corner patches, in pixels, in order round it.",
)  # fmt: skip
@options.flag("--find", "Find the chart in the picture, in place of --corners.  [default: with a folder]")
@click.option(
    "--white", "card", metavar="NAME", default="white", show_default=True,
    help="The name of the spots that lie on one white card.",
)  # fmt: skip
@options.grouped(
    "colours",
    _colours_of,
    *options.view(light="The CIE light that the colours hold for."),
    options.path("--chart", "Your chart's own spectra or colours as CSV."),
)
@options.flag("--no-chart", "There is none: colours with what light and camera leave open.")
@options.path("--chips", "With --no-chart: the span of the spot, to choose from.", "FILE.html")
@options.path("--out", "Write the colours as CSV.")
@options.path("--look", "Draw the places on the photograph, as PNG.")
@options.replace
@options.as_json
def command(
    picture: Path, folder: Path | None, spots: tuple[Spot, ...], corners: tuple[tuple[float, float], ...], find: bool,
    card: str, colours: dict[str, Any], no_chart: bool, chips: Path | None, out: Path | None, look: Path | None,
    replace: bool,
) -> None:  # fmt: skip
    """Read colours off a photograph, each with an error.

    Example: tint photograph swatches_demo/photograph.jpg --spots swatches_demo/spots.csv
    --corners 319,61 526,59 535,186 326,190

    With a swatch FOLDER, castings are found by the label squares beside them (tint start FOLDER --squares). Name four
    places or more of the white card too: they show how evenly the light falls. A picture without a chart tells a colour
    only roughly: --no-chart says how roughly.
    """
    options.check_file(look, "--look", ".png", replace=replace)
    options.check_file(out, "--out", ".csv", replace=replace)
    if folder is None and not spots:
        mend = "list them in a file for --spots, or name the folder whose label squares are in the picture"
        raise InputError("--at", "no spot is named", _PLACE, mend)
    if no_chart:
        if folder is not None:
            raise InputError("--no-chart", "given together with a folder", mend="name the spot with --at")
        if corners or find or out or look:
            others = "given together with --corners, --find, --out or --look"
            raise InputError("--no-chart", others, mend="leave it out")
        _without_chart(picture, spots, colours, chips, replace=replace)
        return
    if chips is not None:
        raise InputError("--chips", "given without --no-chart", "a picture without a chart")
    if bool(corners) == (find or (folder is not None and not corners)):
        raise InputError("--corners", "given together with --find" if find else "not given", "--corners or --find")
    seen = read_picture(picture)
    found = None if folder is None else by_squares(seen, read_squares(folder))
    # Corners in the chart's own order, and by how far a bare matrix misses the chart.
    chart = {name: colours[name] for name in ("reference", "white")}
    tried = (find_arrangement(seen, each, **chart) for each in ([corners] if corners else find_corners(seen)))
    ordered, plain = min(tried, key=lambda arranged: arranged[1])
    spots = (*(() if found is None else found.spots), *spots)
    places = locate(ordered, spots, width=seen.width, height=seen.height)
    if look is not None:
        names, outlines = [spot.where for spot in spots], () if found is None else tuple(found.outlines)
        write_whole(look, draw(seen, places.patches, places.spots, names, outlines))
    check_chart(plain)
    if found is not None:
        check_apart(found, places)
    told = photograph(seen, places, spots, **colours, card=card)
    if out is not None:
        write_whole(out, colours_csv(told))
    show.answer(_as_json(told, seen, ordered, out, found), lambda page: _show(page, told, seen, out, found))


def _without_chart(
    picture: Path, spots: tuple[Spot, ...], colours: dict[str, Any], chips: Path | None, *, replace: bool
) -> None:  # fmt: skip
    options.check_file(chips, "--chips", ".html", replace=replace)
    if chips is not None and len(spots) > 1:
        raise InputError("--chips", f"{len(spots)} spots are named", "one, whose span is shown")
    view = viewing(range(400, 701, 10), light=colours["light"], observer=colours["observer"])
    seen = [wanted_colour(Mailed(file=str(picture), spot=(each.x, each.y), size=each.size), view) for each in spots]
    if chips is not None:
        from tint.proofs.photo import choosing_page

        write_whole(chips, choosing_page(seen[0], spot=(spots[0].x, spots[0].y), title=spots[0].name))
    spots_seen = list(zip(spots, seen, strict=True))
    clipped = [each.span is not None and each.span.clipped for each in seen]
    told = [
        show.fields(spot, "name", "x", "y")
        | {"lab": each.lab, "expected_error": each.error, "clipped": is_clipped}
        | {"chips": {chip.name: show.fields(chip, "srgb", "lab") for chip in each.chips}}
        for (spot, each), is_clipped in zip(spots_seen, clipped, strict=True)
    ]

    def page(out: show.Page) -> None:
        out.title(f"{show.counted(len(spots), 'spot')} of {picture}", f"{view}; no chart beside it")
        rows = [
            (spot.where, *(f"{x:.0f}" for x in each.lab), f"{each.error:.0f}", each.chips[7].srgb)
            for spot, each in spots_seen
        ]
        out.table(("<spot", "L*", "a*", "b*", "error", "<screen"), rows)
        out.apart("error: the CIEDE2000 that holds 95 times in 100; nobody knows light and camera.", style=show.QUIET)
        care = ["a casting made after it may be refused: have a sample read, or photograph it with a chart"]
        at_end = "a channel is at the end of its range, so the true colour is purer, lighter or darker"
        care += [f"{spot.where}: {at_end}" for spot, ends in zip(spots, clipped, strict=True) if ends]
        out.notes("Before you trust it", care, style=show.CARE)
        if chips is not None:
            out.print(f"\nWritten: {chips}, for the customer to choose from.")

    show.answer({"picture": str(picture), "spots": told, "written": None if chips is None else str(chips)}, page)


def _show(out: show.Page, told: Photographed, seen: Picture, written: Path | None, found: Found | None) -> None:
    conditions = f"{told.light}, {told.observer}° observer; from a photograph"
    out.title(f"{show.counted(len(told.spots), 'spot')} of {seen.file}", conditions)
    rows = [
        (str(at), each.spot.where, *(f"{x:.2f}" for x in each.lab),
         *(f"{x:.1f}" for x in (each.error, each.of_noise, each.of_light)))
        for at, each in enumerate(told.spots, start=1)
    ]  # fmt: skip
    out.table(("", "<spot", "L*", "a*", "b*", "error", "of noise", "of light"), rows)
    out.apart(
        "error: the CIEDE2000 that holds 95 times in 100, of chart, noise and light together.\n", style=show.QUIET
    )
    missed = f"{told.missed_mean:.1f} mean, {told.missed_95:.1f} at 95 %, {told.missed_most:.1f} at most"
    light = f"{show.counted(told.card_places, 'place')} of white card" if told.card_places else "the chart alone"
    facts = [
        ("chart", missed, "CIEDE2000 of its patches, each predicted from the others"),
        ("correction", f"of degree {told.calibration.degree}", "root polynomial; curve and flare by the chart"),
        ("evenness", light, "what tells how the light falls"),
        ("repeatability", f"{repeatability(told):.2g}", "of such photographs, as palette.toml states it"),
    ]
    out.facts(facts if found is None else [("squares", f"{len(found.seen)} found", _not_there(found)), *facts])
    out.notes("Before you trust it", _doubts(told, found), style=show.CARE)
    spared = [f"too pure for the picture, so left out of the fit: {', '.join(told.left_out)}"] if told.left_out else []
    out.notes("How the photograph was read", [*seen.notes, *spared])
    if written is not None:
        readings = photo_readings(told)
        averaged = ", places of one name averaged" if len(readings) < len(told.spots) else ""
        out.apart(f"Written: {show.counted(len(readings), 'colour')} into {written}{averaged}.", style=show.HEAD)
        out.print(
            f"Now run `tint import FOLDER {written}`, where palette.toml states under [instrument]: "
            f'light = "{told.light}", observer = {told.observer}, repeatability = {repeatability(told):.2g}. '
            "They stay marked as from a photograph."
        )


def _doubts(told: Photographed, found: Found | None) -> list[str]:
    return [*([] if found is None else looks_bare(told, found)), *told.warnings]


def _not_there(found: Found) -> str:
    """What the table of squares has besides: castings by name, places of a bare card that there are enough of not."""
    bare = {spot.name for spot in found.spots if not spot.backing}
    names = [each.where for each in found.missing if each.backing or each.name not in bare]
    told = f"not in this picture: {', '.join(dict.fromkeys(names))}" if names else "every casting of the folder"
    again = {number: times for number, times in Counter(each.number for each in found.seen).items() if times > 1}
    twice = [f"{number} ({times} times, of bare card)" for number, times in again.items()]
    return f"{told}; printed more than once: {', '.join(twice)}" if twice else told


def _as_json(
    told: Photographed, seen: Picture, corners: Any, written: Path | None, found: Found | None
) -> dict[str, Any]:
    squares: dict[str, Any] = {}
    if found is not None:
        seen_at = zip(found.seen, found.spots, strict=True)
        squares["squares"] = {
            "found": [{"square": each.number, "where": spot.where, "corners": each.corners} for each, spot in seen_at],
            "missing": [{"square": each.number, "where": each.where} for each in found.missing],
        }
    return {
        "picture": seen.file,
        "source": PHOTOGRAPH,
        **show.fields(told, "light", "observer"),
        "corners": corners,
        "chart": {
            **show.fields(told, "missed_mean", "missed_95", "missed_most"),
            "degree": told.calibration.degree,
            "left_out": told.left_out,
        },
        "card_places": told.card_places,
        "repeatability": repeatability(told),
        "spots": [
            {
                **{name: getattr(each.spot, name) or None for name in ("name", "backing", "seat")},
                **show.fields(each.spot, "x", "y"),
                "lab": each.lab,
                "expected_error": each.error,
                **show.fields(each, "of_noise", "of_light"),
                "outside_chart": each.outside,
            }
            for each in told.spots
        ],
        **squares,
        "written": None if written is None else str(written),
        "warnings": _doubts(told, found),
        "notes": seen.notes,
    }
