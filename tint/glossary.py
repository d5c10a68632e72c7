"""The words of optics and of the trade that a maker meets, each explained in a few plain sentences."""

from __future__ import annotations

import difflib

from tint.errors import InputError
from tint.kinds import checked
from tint.opacity import WORDS

# Words by which a traced picture is chosen: where the part stands, and how finely it is traced.
SCENES = {
    "window": "on a table by a window",
    "behind": "in front of a large even lamp",
    "inside": "on a table in a dim room, a lamp inside",
    "page": "held against a printed page",
}
QUALITIES = ("preview", "sheet", "print")

_CONTRAST = (
    "Contrast ratio is how much a black card behind the part darkens it: the luminance Y of the part over a black "
    "card, divided by that over a white card, at the same thickness. At 1 nothing behind the part shows; at 0.98 the "
    "trade calls a coating hiding (ISO 6504-3); at 0.5 the part is clearly see-through."
)

_PLAIN: dict[str, str] = {
    "contrast ratio": _CONTRAST,
    "opacity": f"How far a part hides what lies behind it. tint measures it by the contrast ratio. {_CONTRAST}",
    "transmittance": (
        "The share of the light that comes out at the back of a part with nothing behind it. Luminous transmittance "
        "weighs the wavelengths as the eye does. A lamp shade that glows lets through a fifth or more."
    ),
    "regular transmittance": (
        "The share of the light that passes a part as a beam, within 2.5 degrees of its direction. It is what one sees "
        "through: a part that scatters all the light that it lets through shows nothing behind it."
    ),
    "haze": (
        "The share of the light let through that is scattered by more than 2.5 degrees (ASTM D1003). Up to 0.3 print "
        "close behind the part can be read; from there on a material is called diffusing; near 1 only a glow comes "
        "through."
    ),
    "edge loss": (
        "Light that wanders sideways in a see-through casting and comes out beside the spot that the instrument sees. "
        "The reading is too dark, over a white card by up to half. Where palette.toml states aperture_mm and lit_mm, "
        "tint allows for it, and predicts what the eye sees of a wide part."
    ),
    "finish": (
        "How smooth the faces of a part are: gloss, satin or matt. A rough face spreads its mirror-like reflection, so "
        "that a matt part looks paler than a glossy one of the same rubber, and blurs what lies behind it."
    ),
    "reflectance": (
        "The share of the light that comes back from the part, at one wavelength, from 0 (black) to 1 (a perfect "
        "white). A spectrophotometer reads it at many wavelengths; colour is worked out from all of them."
    ),
    "ciede2000": (
        "A number for how different two colours look (ISO/CIE 11664-6). Below 0.5 hardly anybody sees a difference; "
        "1 is a common tolerance for a good match; 3 is plainly another colour."
    ),
    "lab": (
        "CIELAB describes a colour by three numbers: L* is lightness from 0 (black) to 100 (white), a* runs from "
        "green (negative) to red, b* from blue (negative) to yellow. It holds for one light and one observer."
    ),
    "d65": "The standard daylight of CIE. D50 is the warmer light of print shops, A is an old light bulb.",
    "observer": (
        "The standard eye that a colour is worked out for. The 10 degree observer stands for a large field of view, "
        "the 2 degree observer for a small one; figures of the two must not be mixed."
    ),
    "geometry": (
        "How the instrument lights and looks. di:8 is a sphere with the specular reflection included, de:8 with it "
        "excluded; 45:0 lights at 45 degrees and looks along the normal, without it. Makers of instruments write SCI "
        "for di:8 and SCE for de:8."
    ),
    "specular": (
        "The mirror-like reflection of a smooth face. About 3 % of the light returns from silicone in this way before "
        "any pigment sees it, so a black part never reads darker than that in a geometry that includes it."
    ),
    "metamerism": (
        "Two colours that match in one light and differ in another are metameric. A recipe of other pigments than "
        "the sample's may match in daylight and not under a shop's lamps."
    ),
    "absorption": "How much light a pigment takes away: K, in 1/mm; k is that of one percent. Dyes only absorb.",
    "scattering": (
        "How much light a pigment turns aside: S, in 1/mm; s is that of one percent. White pigments scatter and hardly "
        "absorb. Scattering is what makes a part hide."
    ),
    "g": (
        "The anisotropy of scattering: how far scattered light keeps its direction. At 1 it goes straight on, at 0 it "
        "goes every way alike. It matters for thin and see-through parts."
    ),
    "refractive index": (
        "How much slower light runs in the rubber than in air: about 1.41 in silicone. It decides how much light each "
        "face reflects."
    ),
    "many-flux": (
        "The usual layer model: it follows light in many directions through the casting and its faces (radiative "
        "transfer), and holds for clear, milky and opaque rubber alike."
    ),
    "two-flux": (
        "The classical layer model of Kubelka and Munk, with light in two directions only. It is fast, and too rough "
        "for see-through castings: there it misses by several CIEDE2000."
    ),
    "residual": "How far a reading is from what the fit says of it.",
    "chance": (
        "How likely it is that a casting of the recipe, poured and read, meets the tolerance and the opacity asked for."
    ),
    "ladder": "Castings of one pigment in one base from a thin to a strong loading. They show how its strength grows.",
    "letdown": (
        "A casting of a pigment with white, at a dose where it is strong but not yet dark. It shows a change of "
        "strength or hue best, and so judges a new lot."
    ),
    "proof": "A picture of a recipe to approve before anything is poured. A cured swatch must confirm it.",
    "base": (
        "An uncoloured silicone: two parts, a cure chemistry (addition, also called platinum; or condensation, also "
        "called tin), a mixing ratio, and the largest total of pigment that it bears."
    ),
    "loading": "Percent by mass of the finished mix. All pigments and the base together make 100.",
    "swatch": "A cured casting of a known blend and thickness, kept to be measured. A folder of them teaches tint.",
    "backing": (
        "What lies behind a part while it is read: a black or a white card with its own measured reflectance, or "
        "nothing. Reading over both is what tells opacity."
    ),
    "seat": (
        "How a part meets its backing. With an air seat a film of air lies between, as when a part lies on a table; a "
        "wet seat is optical contact, as when it is cast on the card or oiled to it."
    ),
    "palette": "The fitted bases and pigments of a folder: what each does to light, and how well that is known.",
    "expected error": (
        "The colour difference within which a casting of the blend, poured and read, is expected to fall 95 times in "
        "100. It counts what the swatches leave open, pouring and reading."
    ),
    "premix": (
        "A pigment let down in the base beforehand, one part in ten or in a hundred, so that a small dose becomes "
        "large enough to weigh."
    ),
    "trial": "A pour made from a recipe, with what was really weighed and what was read. `tint adjust` learns from it.",
    "lot": "One batch of a pigment or base as it was bought. Another lot may be stronger, weaker or of another hue.",
    "cure": (
        "How the rubber sets. Addition (platinum) cures are stopped by sulphur, amines and tin; condensation (tin) "
        "cures shrink a little. A pigment may be safe in one and not in the other: the supplier's data sheet decides."
    ),
    "model error": (
        "What the physics cannot explain of the readings, after subtracting their noise. It makes the stated error of "
        "every prediction larger; a large one means that some castings are not what was written down."
    ),
    "kind": (
        "What a pigment is, as palette.toml may tell it: titanium dioxide, zinc oxide, carbon black, iron oxide red, "
        "iron oxide yellow, organic red, ultramarine, phthalocyanine and others. It says where its g is likely to lie; "
        "castings overrule it, so leave it out where you are not sure."
    ),
    "least-squares objective": (
        "The sum of squared differences that a fit or a search makes as small as it can, each counted in units of its "
        "own standard deviation."
    ),
    "optical contact": "Rubber and backing touch without a film of air between: the wet seat.",
    "leave-one-out": (
        "Each casting is predicted from all the others, as if it had never been poured. How far the prediction misses "
        "tells how far predictions of new blends will."
    ),
    "gamut": "All the colours that a set of pigments can make in a base, at a thickness and an opacity.",
}


def _of_opacity() -> dict[str, str]:
    """The words for opacity with what they mean in numbers."""
    told = {}
    for word, bounds in WORDS.items():
        for kind, (low, high) in bounds.items():
            ends = (("at least", low), ("at most", high))
            limits = [f"{which} {end:g}" for which, end in ends if end is not None]
            meaning = _CONTRAST if kind == "contrast_ratio" else _PLAIN[kind]
            asked = f"{kind.replace('_', ' ')} of {' and '.join(limits)}"
            told[word] = f"An opacity that can be asked for: a {asked}, at the thinnest wall. {meaning}"
    return told


GLOSSARY = _PLAIN | _of_opacity()

# What makers, instruments and tables call the same.
_ALSO = {
    **dict.fromkeys(("di:8", "de:8", "45:0", "sci", "sce"), "geometry"),
    **dict.fromkeys(("δe00", "δe", "delta e", "de2000", "colour difference", "tolerance"), "ciede2000"),
    **dict.fromkeys(("contrast", "hiding"), "contrast ratio"),
    **dict.fromkeys(("d50", "a", "light", "illuminant"), "d65"),
    **dict.fromkeys(("l*", "a*", "b*", "cielab", "l*a*b*"), "lab"),
    **dict.fromkeys(("air", "wet"), "seat"),
    **dict.fromkeys(("platinum", "tin", "addition", "condensation"), "cure"),
    "opaque": "solid", "transparent": "see-through", "translucent": "milky", "gloss": "specular", "card": "backing",
    "error": "expected error", "anisotropy": "g", "casting": "swatch", "black card": "backing", "let down": "letdown",
    "k": "absorption", "s": "scattering", "out of reach": "gamut", "regular": "regular transmittance",
}  # fmt: skip


@checked(word="a word, as in tint.explain('haze')")
def explain(word: str) -> str:
    """A word of optics or of the trade, in a few plain sentences.

    Parameters
    ----------
    word : str
        As it stands in what tint says; case does not matter.

    Raises
    ------
    InputError
        If it is not among those explained; the error names the nearest.

    Examples
    --------
    >>> explain("solid")[:60]
    'An opacity that can be asked for: a contrast ratio of at lea'
    """
    asked = " ".join(word.lower().replace("_", " ").split())
    asked = _ALSO.get(asked, asked)
    if asked in GLOSSARY:
        return GLOSSARY[asked]
    near = difflib.get_close_matches(asked, GLOSSARY, n=1, cutoff=0.5)
    mend = f"did you mean {near[0]}? " if near else ""
    raise InputError("explain", f"`{word}` is not explained", mend=f"{mend}`tint explain` lists the words that are")
