"""The words of instruments' programs and spreadsheets in German, French, Italian and Spanish, said in English.

What a header or a line above a table says is understood through this; names of samples are left as they stand. The
words are from memory and common practice, no source.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

_ENGLISH = {
    "wavelength": r"wellenlaengen?|wellenlangen?|longueurs? d.?onde|lunghezz[ae] d.?onda|longitud(?:es)? de onda",
    "reflectance factor": r"reflexionsfaktor|facteur de (?:reflexion|reflectance)|fattore di riflettanza"
    r"|factor de reflectancia|radiance factor|strahldichtefaktor",
    "reflectance": r"reflexion|reflexions?grad|reflektion|reflektanz|remissionsgrad|riflettanza|riflessione"
    r"|reflectancia",
    "transmittance": r"transmissionsgrad|transmittanz|trasmittanza|trasmissione|transmitancia",
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
    "backing": r"untergrund|hinterlegung|unterlage|support|sfondo|fondo",
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
