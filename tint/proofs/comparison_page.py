"""A comparison as one page for a browser, for the workshop's screen, phone or printer; it needs nothing else."""

from __future__ import annotations

from tint.proofs import words
from tint.proofs.comparison import Comparison
from tint.proofs.comparison_words import FOR_MAKER, closing, common, differences, dose_in_words, figures_of, lines_of
from tint.proofs.page import code, photo_uri, rendered

_ACROSS, _CROWDED = 3, 0.8  # on paper; by how much two rows are made smaller so that they stay on one page


def comparison_page(sheet: Comparison) -> bytes:
    """The comparison as HTML, self-contained.

    Raises
    ------
    InputError
        If what draws it is not installed.
    """
    differs = differences(sheet.candidates)
    return rendered(
        "comparison.html.j2",
        sheet=sheet,
        for_maker=FOR_MAKER,
        common=common(sheet.candidates),
        columns=[
            (
                each,
                [(name, dose_in_words(loading)) for name, loading in each.doses],
                figures_of(each),
                lines_of(each, said),
            )
            for each, said in zip(sheet.candidates, differs, strict=True)
        ],
        behind=[words.behind(name) for name in sheet.behind],
        over=words.behind(sheet.over),
        notes=[*closing(sheet), *(sheet.trial.notes if sheet.trial else [])],
        nearest=words.NEAREST_LINE,
        code=code,
        photo=photo_uri(sheet.trial),
        fit=_CROWDED if len(sheet.candidates) > _ACROSS else 1.0,
    )
