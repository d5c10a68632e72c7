"""Pictures: the proof of a recipe, for a customer to approve; a blend drawn against thickness; an answer; a reach."""

from tint.proof.against_thickness import draw_translucency, translucency_layout
from tint.proof.axes import plot_spectra
from tint.proof.card import Layout, draw_proof, proof_layout
from tint.proof.gamut import draw_reach, reach_layout
from tint.proof.strip import answer_layout, draw_answer

__all__ = [
    "Layout",
    "answer_layout",
    "draw_answer",
    "draw_proof",
    "draw_reach",
    "draw_translucency",
    "plot_spectra",
    "proof_layout",
    "reach_layout",
    "translucency_layout",
]
