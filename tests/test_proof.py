"""The proof picture: its pixels and words say what the forward model says, and nothing runs out of its place."""

from __future__ import annotations

import io
import itertools
import math
import sys
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray
from PIL import Image, ImageCms

from tint import colorimetry
from tint.appearance import Setting, predict
from tint.errors import InputError
from tint.materials import Blend
from tint.palette import Palette
from tint.proofs import draw_proof, lettering, picture, words
from tint.proofs.card import proof_picture
from tint.proofs.facts import gather
from tint.proofs.picture import Box, NearSign, Patch, Picture, Pointer, Text
from tint.target import Target, target_from_lab

LID = Blend("clear", {"white": 1.2, "ochre": 0.5, "red": 0.05})
DIFFUSER = Blend("milky", {"white": 0.05, "yellow": 0.02})
SUN = Blend("clear", {"yellow": 0.9})  # beyond sRGB
RECKLESS = Blend("milky", {"yellow": 1.37, "blue": 0.61})  # beyond the swatches
THREE_MM = Setting(thickness_mm=3.0)
LONG = "Knobs for the lids of the second delivery, glossy side up, " * 5 + "with_a_file_name_that_never_ends_" * 9

CASES: dict[str, tuple[Blend, Setting, Target | None, str]] = {
    "opaque lid": (LID, THREE_MM, target_from_lab([61.0, 32.0, 32.0], contrast_ratio_min=0.95), "Lid"),
    "see-through diffuser": (DIFFUSER, Setting(thickness_mm=2.6), target_from_lab([88.0, -2.0, 50.0]), "Diffuser"),
    "out of gamut": (SUN, replace(THREE_MM, seat="wet"), target_from_lab([79.0, 16.0, 99.0]), "Pot foot"),
    "long words": (
        RECKLESS,
        Setting(thickness_mm=11.5, over="black", light="A", observer=2, geometry="45:0"),
        target_from_lab([40.0, -20.0, 10.0], source="orders/" + "readings_of_the_customer_" * 8, contrast_ratio=0.9),
        LONG,
    ),
    "no target": (LID, Setting(thickness_mm=0.07, over="none"), None, ""),
}  # fmt: skip


@pytest.fixture(scope="module")
def palette(demo_palette: Palette) -> Palette:
    return demo_palette


def pixels(png: bytes) -> NDArray[np.int64]:
    with Image.open(io.BytesIO(png)) as image:
        assert image.mode == "RGB"
        return np.asarray(image).astype(np.int64)


def centre(image: NDArray[np.int64], box: Box) -> NDArray[np.int64]:
    x, y = box.centre
    return np.asarray(image[y, x])


def levels(lab: NDArray[np.float64], palette: Palette, setting: Setting) -> NDArray[np.float64]:
    signal, _ = colorimetry.lab_to_srgb(lab, setting.viewing(palette))
    return 255.0 * signal


def texts(palette: Palette, name: str, *, show_recipe: bool = False) -> list[Text]:
    blend, setting, target, title = CASES[name]
    facts = gather(palette, blend, setting=setting, target=target, show_recipe=show_recipe)
    items = proof_picture(facts, title or palette.name, show_recipe=show_recipe).items
    return [item for item in items if isinstance(item, Text)]


def laid_out(
    palette: Palette, blend: Blend, *, setting: Setting, target: Target | None = None, title: str = ""
) -> Picture:
    facts = gather(palette, blend, setting=setting, target=target, show_recipe=False)
    return proof_picture(facts, title or palette.name)


def named(boxes: dict[str, Box], start: str) -> list[Box]:
    return [box for name, box in boxes.items() if name.startswith(start)]


def steps(boxes: dict[str, Box]) -> dict[float, list[Box]]:
    """The boxes of the wedge by thickness."""
    found: dict[float, list[Box]] = {}
    for name, box in boxes.items():
        if " mm over " in name:
            found.setdefault(float(name.split()[0]), []).append(box)
    return found


def signs(picture: Picture) -> list[Box]:
    return [item.box for item in picture.items if isinstance(item, NearSign)]


def said(palette: Palette, name: str, *, show_recipe: bool = False) -> str:
    return " ".join(text.words for text in texts(palette, name, show_recipe=show_recipe))


@pytest.mark.parametrize("name", CASES)
def test_the_chips_show_what_is_predicted(palette: Palette, name: str) -> None:
    blend, setting, target, title = CASES[name]
    image = pixels(draw_proof(palette, blend, setting=setting, target=target, title=title))
    boxes = laid_out(palette, blend, setting=setting, target=target, title=title).boxes
    seen = predict(palette, blend, setting=setting)
    predicted = 255.0 * colorimetry.hex_to_srgb(seen.srgb)
    assert np.abs(centre(image, boxes["recipe"]) - predicted).max() <= 1
    for box, lab in zip(named(boxes, "over"), (seen.lab_black, seen.lab_white), strict=True):
        assert np.abs(centre(image, box) - levels(lab, palette, setting)).max() <= 1
    wanted = {"target": target.lab} if target else {}
    assert {"target"} & set(boxes) == set(wanted)
    for place, lab in wanted.items():
        assert np.abs(centre(image, boxes[place]) - levels(lab, palette, setting)).max() <= 1


@pytest.mark.parametrize("name", CASES)
def test_every_step_of_the_wedge_is_the_prediction_at_its_thickness(palette: Palette, name: str) -> None:
    blend, setting, target, title = CASES[name]
    image = pixels(draw_proof(palette, blend, setting=setting, target=target, title=title))
    boxes = laid_out(palette, blend, setting=setting, target=target, title=title).boxes
    told = [text.words for text in texts(palette, name)]
    wedge = steps(boxes)
    assert setting.thickness_mm in wedge
    assert list(wedge) == sorted(wedge)
    for thickness, step in wedge.items():
        seen = predict(palette, blend, setting=replace(setting, thickness_mm=thickness))
        for box, lab in zip(step, (seen.lab_black, seen.lab_white), strict=True):
            assert np.abs(centre(image, box) - levels(lab, palette, setting)).max() <= 1
        assert f"contrast {seen.contrast_ratio:.2f}" in told
        assert any(line.startswith(f"{thickness:g} mm") for line in told)


def test_target_and_recipe_share_an_edge(palette: Palette) -> None:
    blend, setting, target, title = CASES["out of gamut"]  # where signs could come between
    assert target is not None
    boxes = laid_out(palette, blend, setting=setting, target=target, title=title).boxes
    left_box, right_box = boxes["target"], boxes["recipe"]
    assert (left_box.right, left_box.top, left_box.bottom) == (right_box.left, right_box.top, right_box.bottom)
    image = pixels(draw_proof(palette, blend, setting=setting, target=target, title=title))
    rows = slice(right_box.top, right_box.bottom)
    left, right = image[rows, right_box.left - 40 : right_box.left], image[rows, right_box.left :][:, :40]
    assert np.all(left == centre(image, left_box))
    assert np.all(right == centre(image, right_box))
    assert np.any(centre(image, left_box) != centre(image, right_box))


def test_bare_backings_show_around_what_lies_on_them(palette: Palette) -> None:
    image = pixels(draw_proof(palette, DIFFUSER, setting=THREE_MM))
    boxes = laid_out(palette, DIFFUSER, setting=THREE_MM).boxes
    view = THREE_MM.viewing(palette)
    for name in ("black", "white"):
        bare, strip, over = boxes[f"bare {name}"], boxes[f"wedge on {name}"], boxes[f"over {name}"]
        card = levels(colorimetry.lab(palette.backings[name], view), palette, THREE_MM)
        assert bare.holds(over)
        assert np.abs(image[bare.top + 3, bare.centre[0]] - card).max() <= 1
        assert np.abs(image[bare.bottom - 4, bare.centre[0]] - card).max() <= 1
        assert np.abs(image[strip.centre[1], strip.left + 3] - card).max() <= 1


def test_the_part_s_own_thickness_is_marked_in_shape_and_words(palette: Palette) -> None:
    blend, setting, _, _ = CASES["see-through diffuser"]
    boxes = laid_out(palette, blend, setting=setting).boxes
    column, own = steps(boxes)[2.6][0], boxes["own"]
    assert column.left < own.left < own.right < column.right
    assert own.bottom < column.top
    assert [line.words for line in texts(palette, "see-through diffuser") if "this part" in line.words] == [
        "2.6 mm, this part"
    ]
    image = pixels(draw_proof(palette, blend, setting=setting))
    assert tuple(image[own.top + 3, own.centre[0]]) == picture.DARK


@pytest.mark.parametrize(("own", "usual"), [(2.0, 6), (2.1, 6), (2.6, 7), (0.5, 6), (40.0, 7), (0.02, 7)])
def test_a_usual_thickness_gives_way_to_the_part_s_own(palette: Palette, own: float, usual: int) -> None:
    thicknesses = steps(laid_out(palette, LID, setting=Setting(thickness_mm=own)).boxes)
    assert own in thicknesses
    assert len(thicknesses) == usual


def test_steps_thinner_or_thicker_than_any_swatch_say_so(palette: Palette) -> None:
    told = [text.words for text in texts(palette, "long words")]
    assert told.count("no swatch so thin") == 1  # 0.5 mm
    assert told.count("no swatch so thick") == 1  # 11.5 mm; 6 mm was cast


def test_a_colour_beyond_the_screen_bears_a_sign_and_words(palette: Palette) -> None:
    blend, setting, target, title = CASES["out of gamut"]
    assert not predict(palette, blend, setting=setting).in_gamut
    boxes = laid_out(palette, blend, setting=setting, target=target, title=title).boxes
    laid = laid_out(palette, blend, setting=setting, target=target, title=title)
    image = pixels(draw_proof(palette, blend, setting=setting, target=target, title=title))
    on_recipe = [sign for sign in signs(laid) if boxes["recipe"].holds(sign)]
    assert len(on_recipe) == 1
    sign = on_recipe[0]
    inside = image[sign.top : sign.bottom, sign.left : sign.right].reshape(-1, 3)
    assert np.all(inside == 255, axis=1).sum() > 200  # a white disc ...
    assert np.all(inside == picture.DARK, axis=1).sum() > 50  # ... with dark strokes, on whatever colour
    assert not any(box.meets(sign) for box in [Box(*boxes["recipe"].centre, *np.add(boxes["recipe"].centre, 1))])
    assert words.NEAREST in said(palette, "out of gamut")
    assert words.NEAREST_LINE in said(palette, "out of gamut")


def test_every_patch_beyond_the_screen_bears_a_sign_and_no_other_does(palette: Palette) -> None:
    for blend in (SUN, LID, DIFFUSER):
        laid = laid_out(palette, blend, setting=THREE_MM)
        wedge = steps(laid.boxes)
        patches = [laid.boxes["recipe"], *named(laid.boxes, "over"), *(box for step in wedge.values() for box in step)]
        seen = [predict(palette, blend, setting=replace(THREE_MM, thickness_mm=d)) for d in wedge]
        part = seen[list(wedge).index(3.0)]
        labs = [part.lab, part.lab_black, part.lab_white, *(lab for s in seen for lab in (s.lab_black, s.lab_white))]
        _, shown = colorimetry.lab_to_srgb(np.stack(labs), THREE_MM.viewing(palette))
        marked = [any(patch.holds(sign) for sign in signs(laid)) for patch in patches]
        assert marked == [not ok for ok in shown]


def test_a_colour_that_a_screen_can_show_bears_no_sign(palette: Palette) -> None:
    blend, setting, target, title = CASES["opaque lid"]
    assert signs(laid_out(palette, blend, setting=setting, target=target, title=title)) == []
    assert words.NEAREST not in said(palette, "opaque lid")


@pytest.mark.parametrize("show_recipe", [False, True])
@pytest.mark.parametrize("name", CASES)
def test_nothing_runs_out_of_its_place(palette: Palette, name: str, show_recipe: bool) -> None:
    blend, setting, target, title = CASES[name]
    facts = gather(palette, blend, setting=setting, target=target, show_recipe=show_recipe)
    layout = proof_picture(facts, title or palette.name, show_recipe=show_recipe)
    items = layout.items
    lines = [item for item in items if isinstance(item, Text)]
    shapes = [item for item in items if isinstance(item, (Patch, Pointer))]
    assert all(layout.canvas.grown(-30).holds(item.box) for item in items)
    for at, line in enumerate(lines):
        assert not [other.words for other in lines[:at] if line.box.meets(other.box)]
        assert not [shape for shape in shapes if line.box.meets(shape.box)]
        assert lettering.text_width(line.words, line.size, line.face) <= line.box.width
    assert not [sign for sign in signs(layout) for line in lines if sign.meets(line.box)]
    image = pixels(draw_proof(palette, blend, setting=setting, target=target, title=title, show_recipe=show_recipe))
    assert image.shape == (layout.canvas.height, layout.canvas.width, 3)
    rim = np.ones(image.shape[:2], dtype=bool)
    rim[30:-30, 30:-30] = False
    assert np.all(image[rim] == picture.PAPER)


def test_letters_keep_to_their_box() -> None:
    for size, words_ in itertools.product((21, 22, 26, 38, 44), ("Ag(|) Qy_fT," + "W" * 20, "ÅŽgj(|) Qy_fT, ΐΫ Щд")):
        lines, end = picture.paragraph(words_, left=100, top=100, width=2000, size=size)
        assert len(lines) == 1
        image = pixels(picture.paint(Picture(Box(0, 0, 2200, end + 100), [*lines], {})))
        rows, columns = np.nonzero(np.any(image != picture.PAPER, axis=-1))
        box = lines[0].box
        assert box.holds(Box(int(columns.min()), int(rows.min()), int(columns.max()) + 1, int(rows.max()) + 1))


def test_the_png_is_tagged_srgb_and_equal_for_equal_input(palette: Palette) -> None:
    blend, setting, target, title = CASES["out of gamut"]
    png = draw_proof(palette, blend, setting=setting, target=target, title=title)
    assert png == draw_proof(palette, blend, setting=setting, target=target, title=title)
    with Image.open(io.BytesIO(png)) as image:
        assert (image.format, image.width) == ("PNG", 1600)
        profile = image.info["icc_profile"]
    named = ImageCms.getProfileDescription(ImageCms.ImageCmsProfile(io.BytesIO(profile)))
    assert "sRGB" in named
    # ICC.1:2010, 7.2.8: year, month, day, hour, minute, second; the time of drawing would change the bytes
    assert np.frombuffer(profile[24:36], dtype=">u2").tolist() == [2000, 1, 1, 0, 0, 0]


@pytest.mark.parametrize("name", ["long words", "see-through diffuser"])
def test_the_formula_is_told_only_when_asked(palette: Palette, name: str) -> None:
    blend = CASES[name][0]
    coloured = {pigment: loading for pigment, loading in blend.loadings.items() if pigment != "white"}  # also a backing
    discreet, open_ = said(palette, name), said(palette, name, show_recipe=True)
    for pigment, loading in coloured.items():
        assert pigment not in discreet
        assert f"{loading:g} %" not in discreet
        assert f"{pigment} {loading:g} %" in open_


def test_warnings_are_told_without_betraying_the_formula(palette: Palette) -> None:
    blend, setting, _, _ = CASES["long words"]
    warnings = predict(palette, blend, setting=setting).warnings
    plain = [warning for warning in warnings if "mm is outside" in warning or "were read with" in warning]
    assert 0 < len(plain) < len(warnings)
    discreet, open_ = said(palette, "long words"), said(palette, "long words", show_recipe=True)
    assert all(warning in open_ for warning in warnings)
    assert all(warning in discreet for warning in plain)
    assert "the recipe goes beyond the swatches" in discreet
    assert "the recipe goes beyond" not in said(palette, "opaque lid")


@pytest.mark.parametrize("name", CASES)
def test_conditions_base_and_the_screen_s_limits_are_told(palette: Palette, name: str) -> None:
    blend, setting, _, _ = CASES[name]
    told = said(palette, name)
    assert f"{blend.base} base" in told
    assert predict(palette, blend, setting=setting).conditions in told
    assert words.SCREEN_LINE in told


def test_difference_and_error_are_told(palette: Palette) -> None:
    blend, setting, target, _ = CASES["opaque lid"]
    assert target is not None
    seen = predict(palette, blend, setting=setting)
    delta_e = float(colorimetry.difference(target.lab, seen.lab))
    told = said(palette, "opaque lid")
    assert f"{delta_e:.2f} from the target (CIEDE2000): {words.difference_in_words(delta_e)}." in told
    assert f"That is {'within' if delta_e <= target.tolerance else 'more than'} the agreed 1." in told
    assert f"{seen.expected_error:.1f} expected error" in told
    assert f"{seen.contrast_ratio:.2f} contrast ratio. Opaque" in told
    assert "Asked for: at least 0.95. That is met." in told
    assert "from the target" not in said(palette, "no target")


def test_the_ends_of_an_opacity_are_told_apart(palette: Palette) -> None:
    facts = gather(palette, DIFFUSER, setting=THREE_MM, target=None, show_recipe=False)
    for ratio, error, told in ((0.9802, 0.003, "0.977 to 0.983"), (0.95, 0.02, "0.93 to 0.97"), (1.0, 1e-5, "1.000")):
        seen = replace(facts.appearance, contrast_ratio=ratio, contrast_ratio_error=error)
        assert f"95 of 100 castings have {told}." in words.of_opacity(replace(facts, appearance=seen))[0][1]


def test_missed_opacity_is_told_with_its_side(palette: Palette) -> None:
    seen = predict(palette, DIFFUSER, setting=THREE_MM)
    for asked, side in ((seen.contrast_ratio + 0.1, "low"), (seen.contrast_ratio - 0.1, "high")):
        target = target_from_lab(seen.lab, contrast_ratio=asked)
        facts = gather(palette, DIFFUSER, setting=THREE_MM, target=target, show_recipe=False)
        assert f"This is 0.1 too {side}." in words.of_opacity(facts)[0][1]


@pytest.mark.parametrize(
    ("delta_e", "told"),
    [(0.0, "not seen"), (0.5, "hardly"), (1.0, "careful"), (2.0, "plainly"), (4.0, "at once"), (50.0, "at once")],
)
def test_differences_in_words(delta_e: float, told: str) -> None:
    assert told in words.difference_in_words(delta_e)


@pytest.mark.parametrize(
    ("ratio", "told"), [(1.0, "Opaque"), (0.98, "Opaque"), (0.97, "Nearly"), (0.7, "Translucent"), (0.1, "Very")]
)
def test_opacities_in_words(ratio: float, told: str) -> None:
    assert words.opacity_in_words(ratio).startswith(told)


@pytest.mark.parametrize("kept", [("white",), ()])
def test_a_palette_without_two_backings_says_that_opacity_is_not_known(palette: Palette, kept: tuple[str, ...]) -> None:
    lone = replace(palette, backings={name: palette.backings[name] for name in kept})
    image = pixels(draw_proof(lone, DIFFUSER, setting=THREE_MM))
    boxes = laid_out(lone, DIFFUSER, setting=THREE_MM).boxes
    seen = predict(lone, DIFFUSER, setting=THREE_MM)
    (over,) = named(boxes, "over")
    assert all(len(step) == 1 for step in steps(boxes).values())
    assert np.abs(centre(image, over) - levels(seen.lab, lone, THREE_MM)).max() <= 1
    facts = gather(lone, DIFFUSER, setting=THREE_MM, target=None, show_recipe=False)
    told = " ".join(item.words for item in proof_picture(facts, "").items if isinstance(item, Text))
    assert "is not known" in told
    assert "contrast" not in told.lower()
    assert "nan" not in told.split()


def test_an_unknown_pigment_is_refused(palette: Palette) -> None:
    with pytest.raises(InputError, match="`puce` is not in the palette"):
        draw_proof(palette, Blend("clear", {"puce": 0.1}), setting=THREE_MM)


@given(words_=st.text(max_size=80), width=st.integers(60, 600))
def test_wrapped_lines_fit_and_lose_no_letter(words_: str, width: int) -> None:
    lines = lettering.wrap(words_, size=22, width=width)
    face = lettering.face_of(lettering.spelled(words_))
    assert all(lettering.text_width(line, 22, face) <= width for line in lines)
    assert "".join(lines).replace(" ", "") == lettering.spelled(words_).replace(" ", "")


@pytest.mark.parametrize(
    ("written", "drawn", "without"),
    [("Großküche", "Großküche", "Grosskuche"), ("crème brûlée", "crème brûlée", "creme brulee"),
     ("Žluťoučký Ελιά Мох", "Žluťoučký Ελιά Мох", "Zlutoucky ???? ???"),
     ("2 × 3 – 4 µm", "2 x 3 - 4 um", "2 x 3 - 4 um"), ("茶", "?", "?"), ("10°", "10°", "10°"),
     ("a\n\tb\u00a0c", "a b c", "a b c"), ("e\u0301", "é", "e")],
)  # fmt: skip
def test_letters_that_no_face_has_are_spelled_with_those_it_has(
    monkeypatch: pytest.MonkeyPatch, written: str, drawn: str, without: str
) -> None:
    monkeypatch.setitem(sys.modules, "font_source_serif_pro", None)
    assert lettering.spelled(written) == without
    assert lettering.face_of(without) == lettering.PLAIN
    monkeypatch.undo()
    pytest.importorskip("font_source_serif_pro")
    assert lettering.spelled(written) == drawn
    assert lettering.face_of(drawn) == (lettering.PLAIN if drawn == without else lettering.SERIF)


def test_letters_that_are_lost_are_named() -> None:
    assert lettering.lost("茶 and 茶, 黒? Ok") == "茶黒"
    assert lettering.lost("crème?") == ""


def test_every_letter_of_the_plain_face_is_in_the_other() -> None:
    pytest.importorskip("font_source_serif_pro")
    solid = [letter for letter in map(chr, range(33, 0x2200)) if not letter.isspace()]
    plain = [letter for letter in solid if lettering.face_of(letter) == lettering.PLAIN]
    assert len(plain) > 90
    assert [letter for letter in plain if letter not in lettering.letters_of("regular")] == []


def test_a_customer_s_name_is_drawn_with_its_accents(palette: Palette) -> None:
    pytest.importorskip("font_source_serif_pro")
    name = "Étang Žluťoučký, Ελιά, Мох"
    facts = gather(palette, LID, setting=THREE_MM, target=None, show_recipe=False)
    drawn = [item for item in proof_picture(facts, name).items if isinstance(item, Text)]
    assert [(line.words, line.face) for line in drawn if line.size == 44] == [(name, lettering.SERIF)]
    assert {line.face for line in drawn if line.size != 44} == {lettering.PLAIN}


def test_what_the_card_itself_says_needs_no_spelling(palette: Palette) -> None:
    own = [*(words.difference_in_words(x) for x in (0, 0.7, 1.5, 3, 9)), words.SCREEN_LINE, words.NEAREST_LINE]
    own += [words.RATIO_LINE, predict(palette, LID, setting=THREE_MM).conditions]
    assert [lettering.spelled(line) for line in own] == own


def test_words_stand_out_from_the_paper() -> None:
    def luminance(ink: picture.Ink) -> float:
        return float(colorimetry.decode(np.array(ink) / 255.0) @ [0.2126, 0.7152, 0.0722])

    for ink in (picture.DARK, picture.QUIET):
        # WCAG 2.1, success criterion 1.4.6: 7 to 1
        assert (luminance(picture.PAPER) + 0.05) / (luminance(ink) + 0.05) >= 7.0
    assert not math.isclose(luminance(picture.DARK), luminance(picture.QUIET))
