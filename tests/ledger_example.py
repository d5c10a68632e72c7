"""A small invented ledger: an order from the wish to a second lot of pigment, an entry of every kind."""

from __future__ import annotations

from tint.ledger import (
    Approval,
    Batch,
    Ledger,
    Lesson,
    Lot,
    Order,
    Reading,
    Recipe,
    Reference,
    Trial,
    Weighing,
    add,
)
from tint.weighing import Kept

DIGEST = "d" * 64
WEIGHED = (Weighing(what="part A", part="A", grams=54.56), Weighing(what="white", part="A", grams=0.55))


def recipe(order: int | None = None, **more: object) -> Recipe:
    """A recipe as it was solved, of the demo's pigments."""
    told: dict[str, object] = {
        "base": "clear",
        "loadings_percent": {"white": 0.5, "yellow": 0.3},
        "lots": {"white": "W-203", "yellow": "Y-117"},
        "thickness_mm": 3.0,
        "backing": "white",
        "seat": "air",
        "light": "D65",
        "observer_degrees": 10,
        "lab_l": 82.0,
        "lab_a": 5.0,
        "lab_b": 80.0,
        "reached": True,
    }
    return Recipe(order_id=order, **{**told, **more})  # type: ignore[arg-type]  # by name, each of its own type


def colour(*lab: float, **more: object) -> Reading:
    """A reading of a colour, D65 and 10 degrees."""
    lightness, a, b = lab
    seen: dict[str, object] = {"light": "D65", "observer_degrees": 10, "backing": "white", "geometry": "di:8"}
    return Reading(lab_l=lightness, lab_a=a, lab_b=b, **{**seen, **more})  # type: ignore[arg-type]


def fill(ledger: Ledger) -> dict[str, int]:
    """Add an entry of every kind; kind to number."""
    order = add(ledger, Order(name="celadon lid", customer_words="as the glaze, »grün«", target={"lab": [70, -8, 6]}))
    solved = add(ledger, recipe(order))
    left = Kept(name="blue premix 1:79", pigment="blue", base="clear", part="A", whole=80, grams=4.2, lot="B-142")
    batch = add(
        ledger,
        Batch(
            recipe_id=solved, base="clear", weighed=WEIGHED, premixes=(left,), total_grams=110.0, temperature_c=21.0
        ),
    )  # fmt: skip
    trial = add(ledger, Trial(recipe_id=solved, batch_id=batch, thickness_mm=3.1, cure_days=2.0, mould="lid 2"))
    kept = Reference(name="R-1", trial_id=trial, made_on="2025-03-01", expires_on="2026-03-01")
    reference = add(ledger, kept)
    reading = add(ledger, colour(70.0, -8.0, 6.0, reference_id=reference, read_on="2025-03-01"))
    lot = Lot(
        material="white", lot="W-204", relative_to_lot="W-203", strength=0.8, strength_error=0.04, verdict="rescale"
    )
    word = Approval(
        order_id=order,
        recipe_id=solved,
        reference_id=reference,
        approved_by="the customer",
        limit_samples=("R-1", "R-2, the darkest"),
        light="D65",
        approved_on="2025-03-02",
        expires_on="2026-03-02",
    )
    return {
        "order": order,
        "recipe": solved,
        "batch": batch,
        "trial": trial,
        "reference": reference,
        "reading": reading,
        "lot": add(ledger, lot),
        "approval": add(ledger, word),
        "lesson": add(ledger, Lesson(text="Stir the white again after an hour", order_id=order, material="white")),
    }
