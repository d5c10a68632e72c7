"""The proof: one picture of a recipe, for a customer to approve before anything is poured."""

from tint.proof.card import Layout, draw_proof, proof_layout

__all__ = ["Layout", "draw_proof", "proof_layout"]
