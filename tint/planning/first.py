"""A first plan, by rule, for a workshop that has no swatches yet."""

from __future__ import annotations

from collections.abc import Mapping

from tint.materials import Base, Blend, Pigment


def first_swatches(bases: Mapping[str, Base], pigments: Mapping[str, Pigment]) -> tuple[tuple[Blend, float, str], ...]:
    """A first plan for a workshop without swatches: blend, thickness [mm] and reason of each casting.

    Notes
    -----
    The fewest that leave no base or pigment unknown: each base thin and thick, each pigment once, weak enough to see
    through so that two backings tell its absorption from its scattering. From there `next_swatches` knows better than
    any rule. On the bench of tests/figures/planning.py eight pigments in two bases so start at a mean CIEDE2000 of 0.7.
    """
    first = next(iter(bases))
    plan: list[tuple[Blend, float, str]] = []
    for name in bases:
        plan += [(Blend(name), 2.0, f"{name} itself"), (Blend(name), 5.0, f"{name} itself, thick")]
    for name, pigment in pigments.items():
        home = next((b for b, base in bases.items() if pigment.cures is None or base.cure in pigment.cures), first)
        most = min(bases[home].max_loading, pigment.max_loading or bases[home].max_loading)
        plan.append((Blend(home, {name: float(f"{0.1 * most:.2g}")}), 2.0, f"{name}, see-through"))
    return tuple(plan)
