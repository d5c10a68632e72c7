"""Pictures: the proof of a recipe, for a customer to approve; a blend drawn against thickness; an answer; a reach."""

from tint.proofs.card import Proof, draw_proof
from tint.proofs.diagrams import draw_reach, draw_translucency
from tint.proofs.strip import draw_answer

__all__ = ["Proof", "draw_answer", "draw_proof", "draw_reach", "draw_translucency"]
