"""Pictures: the proof of a recipe, for a customer to approve; a blend drawn against thickness; an answer; a reach."""

from tint.proofs.against_thickness import draw_translucency, translucency_layout
from tint.proofs.card import Layout, Proof, draw_proof, proof_layout
from tint.proofs.gamut import draw_reach, reach_layout
from tint.proofs.strip import answer_layout, draw_answer

__all__ = [
    "Layout",
    "Proof",
    "answer_layout",
    "draw_answer",
    "draw_proof",
    "draw_reach",
    "draw_translucency",
    "proof_layout",
    "reach_layout",
    "translucency_layout",
]
