"""Laws of the form F = C δⁿ - F_ad: paraboloid, cone, four-sided pyramid, flat punch.

C = E* g(tip), with E* the reduced modulus and g a length to the power 2 - n. Validity of all:
linear elastic, small slopes, half-space, no friction, rigid tip; adhesion none (F_ad = 0) or a
constant pull (DMT). A curve is measured as deflection d against base position z, so what is fitted
is d(z), the solution of

    k d = C δⁿ - F_ad,   δ = z - z0 - d.

With c = C/k and a = F_ad/k this holds only lengths: δ + c δⁿ = u, u = z - z0 + a, d = c δⁿ - a.

References
----------
Hertz, J. reine angew. Math. 92 (1882) 156. Sneddon, Int. J. Eng. Sci. 3 (1965) 47. Bilodeau,
J. Appl. Mech. 59 (1992) 519 (coefficient from memory). Derjaguin, Muller & Toporov, J. Colloid
Interface Sci. 53 (1975) 314.
"""

from __future__ import annotations

import math

from .law import Law, fault_of

PYRAMID = 0.7453
"""Bilodeau's published coefficient (from memory)."""
PYRAMID_SOLVED = 0.73762
"""A boundary-element solution of the same contact (1024² cells; it gives the cone's coefficient to
3e-7). The 1 % between the two is the uncertainty of the published law."""


def _tan(degrees: float) -> float:
    return math.tan(math.radians(degrees))


POWERS: tuple[Law, ...] = (
        Law("paraboloid", "paraboloid (Hertz)", 1.5, ("radius",),
            lambda radius: 4.0 / 3.0 * math.sqrt(radius),
            lambda delta, radius: math.sqrt(radius * delta),
            "F = (4/3) E* √R δ^(3/2)", "exact for a paraboloid; a sphere while δ is well below R",
            "Hertz, J. reine angew. Math. 92 (1882) 156",
            fault=fault_of("radius")),
        Law("cone", "cone (Sneddon)", 2.0, ("half_angle",),
            lambda angle: 2.0 / math.pi * _tan(angle),
            lambda delta, angle: 2.0 / math.pi * delta * _tan(angle),
            "F = (2/π) E* tan α δ²", "depth well above the rounding of the apex",
            "Sneddon, Int. J. Eng. Sci. 3 (1965) 47",
            fault=fault_of("half_angle")),
        Law("pyramid", "four-sided pyramid", 2.0, ("half_angle",),
            lambda angle: PYRAMID * _tan(angle),
            lambda delta, angle: math.sqrt(1.480 / math.pi) * delta * _tan(angle),
            "F = 0.7453 E* tan θ δ²", "θ from the axis to the face; coefficient good to 1 %",
            "Bilodeau, J. Appl. Mech. 59 (1992) 519 (coefficient from memory)",
            fault=fault_of("half_angle")),
        Law("pyramid_solved", "four-sided pyramid (solved)", 2.0, ("half_angle",),
            lambda angle: PYRAMID_SOLVED * _tan(angle),
            lambda delta, angle: math.sqrt(1.480 / math.pi) * delta * _tan(angle),
            "F = 0.7376 E* tan θ δ²", "θ from the axis to the face",
            "a boundary-element solution of the frictionless contact, made for Palpate",
            fault=fault_of("half_angle")),
        Law("punch", "flat punch", 1.0, ("radius",),
            lambda radius: 2.0 * radius,
            lambda delta, radius: radius,
            "F = 2 E* a δ", "flat face in full contact",
            "Sneddon, Int. J. Eng. Sci. 3 (1965) 47",
            fault=fault_of("radius")),
        Law("free_exponent", "free exponent (diagnostic)", 1.5, (),
            lambda: math.nan,
            lambda delta: math.nan,
            "F = C δⁿ, n fitted", "a diagnostic of the tip's shape (1 punch, 1.5 sphere, 2 cone); "
            "it gives no modulus",
            "exponents of Sneddon, Int. J. Eng. Sci. 3 (1965) 47"),
)  # fmt: skip
