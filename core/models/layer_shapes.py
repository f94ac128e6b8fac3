"""Which contact laws may be corrected for a layer, with which solved shape, and why."""

from __future__ import annotations

import math

from .power import PYRAMID, PYRAMID_SOLVED

LAYER_SHAPES: dict[str, tuple[str | None, str]] = {
    "paraboloid": ("paraboloid", "Solved exactly."),
    "cone": ("cone", "Solved exactly."),
    "punch": ("punch", "Solved exactly; the correction does not change with depth."),
    "sphere": (
        "paraboloid",
        "The sphere's own force times the paraboloid's layer correction at the same depth and "
        "radius. The force comes out too large by less than 0.2 % up to a contact radius of 0.1 R, "
        "0.9 % up to 0.2 R and 2.2 % up to 0.3 R (sphere solved on the layer, R up to 10 times the "
        "thickness).",
    ),
    "pyramid": (
        "cone",
        "The layer correction of the cone that needs the same force on a thick sample. That is "
        "exact to first order in depth over thickness; beyond it is an estimate, the pyramid on a "
        "layer is not solved.",
    ),
    "blunted_cone": (
        None,
        "Rounded end and flank see the layer differently: the correction depends on two lengths "
        "and is not tabulated. Use the paraboloid for depths within the rounded end, the cone for "
        "depths well above it.",
    ),
    "hyperboloid": (
        None,
        "Radius and half-angle see the layer differently: the correction depends on two lengths "
        "and is not tabulated. Use the paraboloid for small depths, the cone for large ones.",
    ),
    "free_exponent": (None, "A diagnostic of the tip's shape; it gives no modulus to correct."),
}
"""By the law's name: the solved shape (None: no layer for this law) and the reason in words."""
LAYER_SHAPES["pyramid_solved"] = LAYER_SHAPES["pyramid"]


def layer_shape(law_name: str) -> str | None:
    """ "paraboloid", "cone" or "punch": whose layer correction a law takes; None if it takes none.

    None for a law that isn't known here too. `layer_reason` says why.
    """
    return LAYER_SHAPES.get(law_name, (None, ""))[0]


def layer_reason(law_name: str) -> str:
    """Why a law takes that layer correction, or takes none; a sentence for the user."""
    missing = "No solution of a layer is known for this law."
    return LAYER_SHAPES.get(law_name, (None, missing))[1]


def layer_size(law_name: str, size: float) -> float:
    """The size that the solved shape has in place of the law's own first size.

    For a pyramid (half-angle θ [deg] from axis to face) the half-angle [deg] of the cone of equal
    force on a half-space, (2/π) tan α = 0.7453 tan θ. To first order a base under the layer lifts
    the whole contact by |α0| F/(π E* h) (far field of a load, whatever the shape), so the
    correction depends on the shape through its force alone. For all others the size itself.
    """
    factor = {"pyramid": PYRAMID, "pyramid_solved": PYRAMID_SOLVED}.get(law_name)
    if factor is None:
        return size
    return math.degrees(math.atan(0.5 * math.pi * factor * math.tan(math.radians(size))))
