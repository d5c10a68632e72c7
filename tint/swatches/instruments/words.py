"""The words of instruments' files: names of columns of spectra and colours, and of measuring geometries.

References
----------
ANSI/IES TM-27-14: the words `di:8`, `de:8`, `45a:0` and their like. CIE 15:2018: the geometries themselves; a reading
with light and view exchanged is the same (Helmholtz), so `8:di` counts as `di:8`. How columns are named is common
practice, no source.
"""

from __future__ import annotations

import itertools
import re
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

SPECULAR = {"di:8": "included", "de:8": "excluded", "45:0": "excluded"}
OF_SPHERE = {"included": "di:8", "excluded": "de:8"}  # the geometry that a sphere has by its specular component
PARTIAL = ("0:0", "de:0", "0:de", "de:8", "8:de")  # of a transmittance that lacks what is scattered
WAVELENGTHS_NM = (100.0, 3000.0)  # what a column or a row may be named by; no source, chosen by eye

_SPHERE = re.compile(r"(?<![\w.])(?:(d[ie]?)\s*[:/]\s*8|8\s*[:/]\s*(d[ie]?))(?![\w.])")
_RING = re.compile(r"(?<![\w.])(?:45\s*[acx]?\s*[:/]\s*0|0\s*[:/]\s*45\s*[acx]?)(?![\w.])")
_ENDS = r"(?<![^\W_])(?:{})(?![^\W_])|(?<![^\W_])specular[\s_-]*(?:component[\s_-]*)?(?:is[\s_-]*)?{}"
_INCLUDED = re.compile(_ENDS.format("sci|rsin|spin|spinc", "includ"))
_EXCLUDED = re.compile(_ENDS.format("sce|rsex|spex", "exclud"))


def geometry_in(text: str) -> str:
    """The geometry that a text names, in the folder's words; `d:8` when the mirror reflection is left open; else empty.

    `d/8 SCI`, `di:8` and `8:di` are one, and so are `45/0`, `45a:0` and `0:45x`.
    """
    words = in_english(text[:500]).lower().replace("°", "").replace("º", "")
    sphere = _SPHERE.search(words)
    if sphere is None:
        return "45:0" if _RING.search(words) else ""
    kind = sphere[1] or sphere[2]
    told = {"di": "included", "de": "excluded"}.get(kind) or specular_in(words)
    return OF_SPHERE.get(told, "d:8")


def specular_in(text: str) -> str:
    """Whether a text says that the mirror reflection was `included` or `excluded`; empty when neither, or both."""
    words = in_english(text[:500]).lower()
    included, excluded = _INCLUDED.search(words), _EXCLUDED.search(words)
    return "" if bool(included) == bool(excluded) else "included" if included else "excluded"


def with_gloss(geometry: str, specular: str) -> str:
    """A geometry that may be a sphere's, with what is told of the mirror reflection."""
    return OF_SPHERE.get(specular, geometry) if geometry in ("", "d:8") else geometry


def disagrees(geometry: str, own: str, quantity: str) -> bool:
    """Whether a geometry that a file tells cannot be that of the folder, `own`; what a file leaves open can.

    Of a transmittance only a part may have been caught; how the folder's reflectances are read does not matter then.
    """
    if quantity == "transmittance":
        return geometry in PARTIAL
    return bool(geometry) and geometry != own and not (geometry == "d:8" and own in ("di:8", "de:8"))


# Quantities.

_KINDS = {
    "reflectance": r"%?\s?(?:spectral )?(?:reflect(?:ance|ion|ivity)|remission)(?: factor)?|%\s?r|r\s?%|r\s?\(λ\)",
    "transmittance": r"%?\s?(?:spectral )?transmi(?:ttance|ssion)(?: factor)?|%\s?t|t\s?%",
    "absorbance": r"absorb(?:ance|tance)?|abs|(?:optical )?density|od|k/s|kubelka[- ]munk|log\(?1/r\)?",
    "emission": r"emissi(?:on|ve)|(?:spectral )?(?:ir)?radiance|(?:spectral )?power|(?:raw )?counts|intensity",
}
_UNIT = r"(?: (?:values?|data|spectr(?:um|a)))?"
_UNIT += r"\s*(?:(?:[\[(]|in|/)?\s*(?P<percent>%|percent|0 ?(?:-|to|\.\.+) ?100)\s*[\])]?|[\[(].{1,20}[\])])?"
_QUANTITIES = {kind: re.compile(rf"(?:{words}){_UNIT}", re.IGNORECASE) for kind, words in _KINDS.items()}


def quantity_in(text: str) -> tuple[str, bool]:
    """The quantity that a text names, and whether in percent: `% Reflectance`, `%T`, `Absorbance`; else empty."""
    words = " ".join(in_english(text).split()).strip("<>:;,")
    for kind, pattern in _QUANTITIES.items():
        if len(words) <= 60 and (match := pattern.fullmatch(words)) is not None:
            return kind, "%" in words or match["percent"] is not None
    return "", False


def statistic_in(name: str, told: Mapping[str, str]) -> str:
    """Whether a row says it is a `mean`, or a `deviation` or extreme; by the last word of its name, or another column.

    What may be initials or a dose, as SD and max, counts only in a column of such words.
    """
    found = {in_english(each).lower().strip("()[]") for each in re.split(r"[\s_-]+", name)[1:][-1:]} & {*_STATISTICS}
    for column, cell in told.items():
        word = in_english(cell).lower().strip("()[]")
        if cell != name and ((len(cell) > _INITIALS and word in _STATISTICS) or _OF_STATISTICS.search(column)):
            found.add("deviation" if word in _EXTREMES else word)
    return next((kind for kind in _STATISTICS if kind in found), "")


def of_deviations(words: Iterable[str]) -> bool:
    """Whether something that is told of a whole table says that it holds deviations: `Standard deviation of 3`."""
    return any(_DEVIATIONS.match(each) is not None for each in words)


_DEVIATIONS = re.compile(r"(?:table of )?(?:st(?:andard|d)?[ ._-]*dev|deviation|variance|sigma\b)", re.IGNORECASE)
_INITIALS = 3  # letters at most
_STATISTICS, _EXTREMES = ("deviation", "mean"), ("min", "max", "minimum", "maximum")
_OF_STATISTICS = re.compile(r"stat|type|kind|value|read|measure|^rep|^art$", re.IGNORECASE)


# Columns of a spectrum.

_CGATS = re.compile(r"(?:SPECTRAL_NM|SPECTRAL|SPEC|NM)[_ ]?(\d{3,4}(?:\.\d{1,15})?)", re.IGNORECASE | re.ASCII)
# What instruments write of a wavelength: R400, ρ400, %R400, R[400], Refl 400, 400 nm, 400_NM, 400 nm [%], 400nm SCI ...
_PLAIN = re.compile(
    r"(?P<kind>%?\s?[RTρβτ]\s?%?|%?\s?(?:spectral[ _])?"
    r"(?:refl(?:\.|ect(?:ance|ion|ivity)?)?|trans(?:\.|m(?:ittance|ission)?)?|value|data)(?: (?:at|bei|à|a))?"
    r"|(?:wave)?length|wv?l|lambda|nm|[wxλ])?"
    r"(?P<gloss>[ _]?[\[(]?(?:sci|sce)[\])]?)?\s?[ _:=@]?\s?"
    r"(?P<open>[\[(])?(?P<nm>\d{3,4}(?:[.,]\d{1,15})?)[ _.-]?(?:\(nm\)|\[nm\]|nm)?(?(open)[\])])"
    r"[ _]?(?P<more>%|\[%\]|\(%\)|%?[RT]%?|[\[(]?(?:sci|sce)[\])]?)?",
    re.IGNORECASE | re.ASCII,
)


# CIE's symbols of reflectance, radiance factor and transmittance beside the letters that instruments write.
_KIND = re.compile(r"(?<![a-z])(?:[rtρβτ](?![a-z])|refl|trans)")
_SYMBOLS = {"r": "reflectance", "ρ": "reflectance", "β": "reflectance", "t": "transmittance", "τ": "transmittance"}


@dataclass(frozen=True)
class Said:
    """What the names of a spectrum's columns say beside the wavelengths; empty where they say nothing, or disagree."""

    quantity: str = ""
    scale: str = ""
    specular: str = ""
    backing: str = ""


def said_by(columns: Iterable[str]) -> Said:
    """What the names of a spectrum's columns say: `T400` transmittance, `%R400` percent, `400 nm SCI` the gloss."""
    found = [match for name in columns if (match := _PLAIN.fullmatch(in_english(name.strip()))) is not None]
    parts = [[match[name] or "" for name in ("kind", "gloss", "more")] for match in found]
    about = [" ".join(each).lower().replace("_", " ") for each in parts]
    kinds = {kind[0] if (kind := _KIND.search(each)) else "" for each in about}
    gloss = {specular_in(each) for each in about}
    return Said(
        quantity=_SYMBOLS.get(kinds.pop()[:1], "") if len(kinds) == 1 else "",
        scale="percent" if about and all("%" in each for each in about) else "",
        specular=gloss.pop() if len(gloss) == 1 else "",
    )


def wavelength_in(column: str, *, plain: bool = False) -> float | None:
    """The wavelength [nm] that a column is named by, as `SPECTRAL_NM400`, `SPEC_400` or `nm400`; None when by none.

    If `plain`, a bare number counts too, as `400`, `400 nm` or `R400`.
    """
    name = column.strip()
    if len(name) > 40:
        return None
    if plain and re.fullmatch(r"\d[.,]\d+e\+?0?2", name, re.IGNORECASE | re.ASCII):  # 4.00E+02
        name = f"{float(name.replace(',', '.')):g}"
    match = _CGATS.fullmatch(name)
    told = match[1] if match else ""
    if match is None and plain and (named := _PLAIN.fullmatch(in_english(name))) is not None:
        told = named["nm"].replace(",", ".")
    low, high = WAVELENGTHS_NM
    return float(told) if told and low <= float(told) <= high else None


# Columns of values, each row being one wavelength.

_VALUES = {
    "reflectance": ("reflectance", "reflectancefactor", "rfactor", "r", "refl", "rλ", "remission"),
    "transmittance": ("transmittance", "transmittancefactor", "tfactor", "t", "tλ", "transmission"),
    "": ("value", "values", "spectrum"),
}
# What stands behind the name of a sample whose column this is: its unit, quantity or specular component.
_BEHIND = re.compile(
    r"(?P<name>.*[^\s,_-])[ ,_-]*"
    r"(?:[\[(]\s*(?P<in>%\s?[RT]?|[RT]\s?%?|sci|sce)\s*[\])]|[ _](?P<out>%\s?[RT]|[RT]\s?%|sci|sce))",
    re.IGNORECASE,
)
_LETTER = re.compile(r"(?P<name>.*\S)[ _](?P<out>[RT])(?P<in>)")  # before a unit: lid R [%]


def value_kinds(column: str) -> list[str]:
    """The quantity of a column that is called by one, or by values, whose quantity is empty; none of any other."""
    word = bare(re.sub(r"\b(?:sci|sce|percent)\b", "", column, flags=re.IGNORECASE))
    return [kind for kind, words in _VALUES.items() if word in words or (not word and not kind and specular_in(column))]


def parted(column: str) -> tuple[str, str]:
    """The name of a sample, and what stands behind it in small letters: `lid (SCI) [%]`."""
    told = ""
    while match := _BEHIND.fullmatch(column) or ("%" in told and _LETTER.fullmatch(column)):
        column, told = match["name"], f"{match['in'] or match['out']} {told}".lower()
    return column, told


# Columns of Lab and XYZ.

_TRIPLES: dict[str, list[tuple[str, ...]]] = {
    "lab": [(each, f"lab{each}", f"cielab{each}", f"cie{each}", f"{each}star", f"cie{each}star") for each in "lab"],
    "xyz": [(each, f"xyz{each}", f"cie{each}", f"ciexyz{each}") for each in "xyz"],
}
_LIGHT = re.compile(r"\b(?:D\d\d|FL?\d{1,2}|[AC])\b", re.IGNORECASE)
_ANGLE = re.compile(r"(?<!\d)(10|2)\s*(?:°|º|deg|$)|(?<=[/,-])\s*(10|2)(?!\d)", re.IGNORECASE)
_VIEW = re.compile(
    r"[\[(]\s*(?:(?:D\d\d|FL?\d{1,2}|[AC]|10|2|°|º|deg(?:ree)?s?)[/,;:\s-]*)+[\])]"
    r"|(?<=[\s_])(?:D\d\d|FL?\d{1,2}|[AC](?=\s?[/,-]))(?:\s?[/,-]\s?(?:10|2)\s?(?:°|º|deg)?)?$",
    re.IGNORECASE,
)


def bare(column: str) -> str:
    """A column's name for comparison: its English letters only, small; a light in brackets is no part of it."""
    return "".join(each for each in in_english(_VIEW.sub("", column)).lower() if each.isalpha())


def view_in(columns: Iterable[str]) -> tuple[str, str]:
    """Light and observer that the names of colour columns tell, as `L*(10°/D65)`; empty where they tell none."""
    told = {match[0].strip("()[] ") for name in columns if (match := _VIEW.search(name)) is not None}
    words = told.pop() if len(told) == 1 else ""
    light, angle = _LIGHT.search(words), _ANGLE.search(words)
    return (light[0].upper() if light else ""), (angle[1] or angle[2] if angle else "")


def triple_columns(columns: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """The columns of `lab` and those of `xyz`, each empty when one of the three is missing.

    Of colours in several lights the first is taken; columns that nothing tells apart are none.
    """
    named: dict[tuple[str, str], list[tuple[str, str]]] = {}
    for column in columns:
        if wavelength_in(column, plain=True) is None:
            named.setdefault(view_in([column]), []).append((bare(column), column))
    read: dict[str, tuple[str, ...]] = {"lab": (), "xyz": ()}
    for of_view, (name, three) in itertools.product(reversed(named.values()), _TRIPLES.items()):
        found = [[column for word, column in of_view if word in words] for words in three]
        if all(len(each) == 1 for each in found):
            read[name] = tuple(each[0] for each in found)
    return read


# Words of programs and spreadsheets in German, French, Italian and Spanish, said in English; from memory and common
# practice, no source. Headers and lines above a table are understood through this; names of samples are not.


_ENGLISH = {
    "wavelength": r"wellenlaengen?|wellenlangen?|longueurs? d.?onde|lunghezz[ae] d.?onda|longitud(?:es)? de onda",
    "reflectance factor": r"reflexionsfaktor|facteur de (?:reflexion|reflectance)|fattore di riflettanza"
    r"|factor de reflectancia|radiance factor|strahldichtefaktor",
    "reflectance": r"reflexion|remission|ρ|reflexions?grad|reflektion|reflektanz|remissionsgrad|riflettanza|riflessione"
    r"|reflectancia",
    "transmittance": r"τ|transmissionsgrad|transmittanz|trasmittanza|trasmissione|transmitancia",
    "absorbance": r"extinktion|absorbanz|absorptionsgrad|absorption|absorbanza|assorbanza|assorbimento|absorbancia"
    r"|absorcion|densite optique",
    "emission": r"intensitat|intensite|intensita|zahlrate|strahldichte|radianza|radiancia",
    "specular included": r"(?:mit|inkl\.?|inklusive) glanz|glanz (?:eingeschlossen|inklusive)|glanzeinschluss"
    r"|speculaire inclu[se]?e?|brillan(?:t|ce) inclu[se]?e?|speculare incluso|especular incluido",
    "specular excluded": r"(?:ohne|exkl\.?|exklusive) glanz|glanz (?:ausgeschlossen|exklusive)|glanzausschluss"
    r"|speculaire exclu[se]?e?|brillan(?:t|ce) exclu[se]?e?|speculare escluso|especular excluido",
    "included": r"eingeschlossen|incluse?|incluso|incluido",
    "excluded": r"ausgeschlossen|excluse?|escluso|excluido|exclue?",
    "specular": r"glanz|brillant|speculaire|speculare|especular",
    "geometry": r"messgeometrie|geometrie|geometria",
    "backing": r"untergrund|hinterlegung|unterlage|support|sfondo|fondo?|background|substrate",
    "black": r"schwarze?[rs]?|noire?|nero|nera|negro|negra",
    "white": r"weisse?[rs]?|blanc|blanche|bianco|bianca|blanco|blanca",
    "deviation": r"std\.? ?dev\.?|stdev|sd|s\.d\.|standard deviation|standardabweichung|stabw\.?|ecart[- ]type"
    r"|deviazione standard|desviacion estandar|differen[cz]e?|σ|±|variance",
    "mean": r"average|avg\.?|mittelwert|mittel|moyenne|media",
    "sample": r"probe|probenname|proben-?id|muster|bezeichnung|echantillon|campione|muestra",
    "name": r"nom|nome|nombre",
    "light": r"lichtart|illuminante|iluminante",
    "observer": r"beobachter|observateur|osservatore|observador",
    "instrument": r"messgerat|messgeraet|appareil|strumento|instrumento",
    "mode": r"messmodus|messart",
    "percent": r"prozent|pour ?cent|per cento|por ciento",
}
_FOREIGN = re.compile(
    r"(?<![^\W_])(?:" + "|".join(f"(?P<w{at}>{words})" for at, words in enumerate(_ENGLISH.values())) + r")(?![^\W_])",
    re.IGNORECASE,
)
_WORDS = tuple(_ENGLISH)
_NO_ACCENT = str.maketrans({"ß": "ss", "’": "'", "µ": "μ"})


@lru_cache(maxsize=8192)  # the same labels are asked about for every row
def in_english(text: str) -> str:
    """A label with words of measuring said in English, without accents: `Wellenlänge [nm]` is `wavelength [nm]`."""
    if not text.isascii():
        apart = unicodedata.normalize("NFD", text.translate(_NO_ACCENT))
        text = "".join(each for each in apart if not unicodedata.combining(each))
    return _FOREIGN.sub(lambda match: _WORDS[int((match.lastgroup or "w0")[1:])], text)
