"""An approval sheet as one page that needs nothing else: type, pictures and all its colours are in the file."""

from __future__ import annotations

import base64
import io
import json
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from tint import appearance, colorimetry
from tint.materials import Blend
from tint.proofs import words
from tint.proofs.approval import Approval
from tint.proofs.facts import Shade
from tint.proofs.leaf import code, photo_uri, rendered, uri
from tint.proofs.lights import LIGHTS, named
from tint.proofs.part_picture import table_for
from tint.proofs.picture import png
from tint.proofs.portrait import light_of
from tint.proofs.render import LAMP, bare_spectrum, spectra_of, to_levels, to_light
from tint.proofs.views import light_in_words, limit_in_words, limit_title

Array = NDArray[np.float64]

_STEPS = 96  # of the thickness slider, at most
_POINTS = 512  # of the curve that the part is coloured from in the browser
_ROOM, _FIXED = 255.0, 165.0  # of the shorter paper, and of all but running text on it [mm]
_OF_TRIAL = 48.0  # on paper, its words among it [mm]
_LEAST, _SPAN = -0.5, 2.5  # linear light that those points hold: a lamp or gloss may pass 1, a clipped channel 0


def approval_page(sheet: Approval) -> bytes:
    """The sheet as HTML, self-contained.

    Raises
    ------
    InputError
        If what draws it is not installed.
    """
    explored = _explored(sheet)
    return rendered(
        "approval.html.j2",
        sheet=sheet,
        asked=sheet.asked,
        explored=explored,
        data=json.dumps(explored["data"], separators=(",", ":")),
        part=uri("image/png", part_png(sheet)) if sheet.shown else "",
        chips=chips_of(sheet),
        steps=sheet.facts.wedge,
        bare=sheet.facts.bare,
        behind=[words.behind(name) for name in sheet.facts.behind],
        lights=[(each, light_in_words(each, agreed=sheet.lights[0].light)) for each in sheet.lights],
        limits=[(each, limit_title(each), limit_in_words(each, sheet.facts.appearance)) for each in sheet.limits],
        own=sheet.facts.recipe,
        signs=has_signs(sheet),
        photo=photo_uri(sheet.trial),
        nearest=words.NEAREST_LINE,
        code=code,
        fit=print_size(sheet),
    )


def print_size(sheet: Approval) -> float:
    """By how much the printed page is made smaller so that it stays one: 1 for all but crowded sheets.

    Heights in mm and letters a line are those of the print rules in the template, measured on it.
    """
    told = [(meaning, 82, 3.9) for _, meaning in sheet.terms]
    told += [(line, 102, 3.9) for line in (*sheet.caveats, *(f"Take care: {care}." for care in sheet.cares))]
    told += [(sheet.asked.words, 80, 4.8)] * bool(sheet.asked.words) + [(sheet.promise, 102, 3.9)]
    lights = [" ".join(light_in_words(each, agreed=sheet.lights[0].light)) for each in sheet.lights]
    trial = _OF_TRIAL if sheet.trial else 0.0
    text = sum(mm * -(-len(line) // letters) for line, letters, mm in told)
    narrow = 3.5 * max(-(-len(line) // 14) for line in lights)
    return min(1.0, max(0.6, _ROOM / (_FIXED + text + narrow + trial)))


def chips_of(sheet: Approval) -> list[tuple[str, Shade]]:
    """Target beside recipe, or the recipe alone."""
    wanted = [("what was asked for", sheet.facts.wanted)] if sheet.facts.wanted else []
    return [(name, shade) for name, shade in [*wanted, ("this recipe", sheet.facts.recipe)] if shade]


def has_signs(sheet: Approval) -> bool:
    """Whether anything on the sheet is beyond a screen."""
    shades = [each.shade for each in sheet.lights] + [each.shade for each in sheet.limits]
    shades += [shade for _, _, shade in sheet.trial.chips] if sheet.trial else []
    shades += [shade for step in sheet.facts.wedge for shade in step.shades]
    return not all(shade.exact for shade in [*shades, *(shade for _, shade in chips_of(sheet))])


def part_png(sheet: Approval) -> bytes:
    """The part as agreed, as a PNG tagged sRGB; nothing without one."""
    if sheet.shown is None:
        return b""
    portrait = sheet.shown.portrait
    table = table_for(sheet.palette, sheet.blend, setting=sheet.setting, portrait=portrait)
    return png(to_levels(light_of(portrait, table)))


def _explored(sheet: Approval) -> dict[str, Any]:
    """What the sliders choose from, and the colour of every choice."""
    own = sheet.setting
    depths = slider_thicknesses(own.thickness_mm)
    overs = slider_backings(sheet)
    lights = list(dict.fromkeys((own.light, *LIGHTS)))
    data: dict[str, Any] = {
        "thicknesses": [f"{depth:g} mm" for depth in depths],
        "beyond": [_beyond(sheet, depth) for depth in depths],
        "backings": [_over_in_words(over) for over in overs],
        "lamp": overs.index(LAMP) if LAMP in overs else -1,
        "lights": [named(light) for light in lights],
    }
    views = [colorimetry.viewing(sheet.palette.wavelengths, light=light, observer=own.observer) for light in lights]
    cards = [bare_spectrum(sheet.palette, over) for over in overs]
    spectra = [
        spectra_of(sheet.palette, sheet.blend, setting=own, over=over, thickness_mm=np.asarray(depths))
        for over in overs
    ]
    seen = [[_levels(to_light(each, view)) for each in spectra] for view in views]
    data["bare"] = [[_levels(to_light(card[None], view))[0][0] for card in cards] for view in views]
    data["colours"] = [[codes for codes, _ in row] for row in seen]
    data["exact"] = [[exact for _, exact in row] for row in seen]
    start = {
        "thickness": depths.index(own.thickness_mm),
        "backing": overs.index(sheet.facts.appearance.over),
        "light": 0,
    }
    if sheet.shown is not None:
        data["part"] = _part(sheet, overs, views)
    return {"data": data, "start": start}


def slider_thicknesses(own_mm: float) -> list[float]:
    """Round thicknesses from thin to twice the part's own, its own among them [mm]."""
    most = max(2.0 * own_mm, 4.0)
    step = next(step for step in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0) if most / step <= _STEPS or step == 5.0)
    count = int(most / step + 1e-9)
    round_ = {round(step * n, 6) for n in range(1, count + 1)}
    return sorted({*(depth for depth in round_ if abs(depth - own_mm) > 1e-6), own_mm})


def slider_backings(sheet: Approval) -> list[str]:
    """Backings from dark to light, the sheet's own among them, and a lamp behind; its own alone where none is known."""
    if not sheet.palette.tells_opacity:
        return [sheet.facts.appearance.over]
    luminance = sheet.setting.viewing(sheet.palette).weights[:, 1]
    cards = sorted(sheet.palette.backings, key=lambda name: float(sheet.palette.backings[name] @ luminance))
    own = sheet.facts.appearance.over
    return [*(["none"] if own == "none" else []), *cards, LAMP]


def _over_in_words(over: str) -> str:
    return "with a lamp behind" if over == LAMP else words.behind(over) if over != "none" else "with nothing behind it"


def _beyond(sheet: Approval, depth: float) -> str:
    setting = replace(sheet.setting, thickness_mm=depth, geometry="")
    plain = Blend(sheet.blend.base, {})
    if not appearance.outside(sheet.palette, plain, setting=setting):
        return ""
    thin = depth < sheet.palette.seen[sheet.blend.base].thickness_mm[0]
    return f", {'thinner' if thin else 'thicker'} than any swatch"


def _levels(linear: Array) -> tuple[list[str], list[int]]:
    signal = colorimetry.encode(np.clip(linear, 0.0, 1.0))
    exact = np.max(np.abs(signal - colorimetry.encode_signed(linear)), axis=-1) <= 0.5 / 255.0
    return [colorimetry.hex_code(each) for each in signal], exact.astype(int).tolist()


def _part(sheet: Approval, overs: list[str], views: list[colorimetry.Viewing]) -> dict[str, Any]:
    """What the browser colours the part from: thickness and form as a picture, and the curves of light."""
    assert sheet.shown is not None  # the caller has looked
    portrait = sheet.shown.portrait
    place = np.rint(65535.0 * np.sqrt(portrait.thickness_mm / portrait.upto_mm)).astype(np.uint16)
    upper = np.stack((place >> 8, place & 255, np.rint(255.0 * portrait.cover)), axis=-1)
    lower = np.stack((np.rint(200.0 * portrait.shade), np.rint(255.0 * np.sqrt(portrait.gloss)), 0.0 * place), axis=-1)
    packed = np.concatenate((upper, lower)).clip(0, 255).astype(np.uint8)
    out = io.BytesIO()
    Image.fromarray(packed).save(out, format="PNG")  # numbers, no colours: no profile
    depth = portrait.upto_mm * np.linspace(0.0, 1.0, _POINTS) ** 2
    curves = []
    for over in overs:
        spectra = spectra_of(sheet.palette, sheet.blend, setting=sheet.setting, over=over, thickness_mm=depth)
        curves.append([to_light(spectra, view) for view in views])
    linear = np.swapaxes(np.asarray(curves), 0, 1)  # by light, then by backing
    coded = np.rint(np.clip((linear - _LEAST) / _SPAN, 0.0, 1.0) * 65535.0).astype("<u2")
    return {
        "width": portrait.cover.shape[1],
        "height": portrait.cover.shape[0],
        "map": uri("image/png", out.getvalue()),
        "points": _POINTS,
        "least": _LEAST,
        "span": _SPAN,
        "curves": base64.b64encode(coded.tobytes()).decode("ascii"),
    }
