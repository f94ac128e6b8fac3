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
from collections.abc import Callable
from dataclasses import dataclass

PYRAMID = 0.7453
"""Bilodeau's published coefficient (from memory). A boundary-element solution of the same contact
gives 0.73762; the 1 % between them is the uncertainty of the law."""


@dataclass(frozen=True)
class Law:
    """One contact law.

    Attributes
    ----------
    name, label : identifier and words
    exponent : n in F = C δⁿ
    size : which tip constant it needs, "radius" [nm] or "half_angle" [deg]
    factor : g(size) with C = E* g, in nm^(2-n)
    contact_radius : (δ, size) -> a [nm]
    formula, validity, source : for help and the methods paragraph
    """

    name: str
    label: str
    exponent: float
    size: str
    factor: Callable[[float], float]
    contact_radius: Callable[[float, float], float]
    formula: str
    validity: str
    source: str

    def force(self, indentation: float, reduced_modulus: float, size: float) -> float:
        """F [nN] without adhesion at an indentation [nm], for E* [GPa]."""
        return reduced_modulus * self.factor(size) * max(indentation, 0.0) ** self.exponent

    def stiffness(self, indentation: float, reduced_modulus: float, size: float) -> float:
        """dF/dδ [N/m]; for the axisymmetric laws it equals 2 E* a."""
        n = self.exponent
        return n * reduced_modulus * self.factor(size) * max(indentation, 0.0) ** (n - 1.0)


def _tan(degrees: float) -> float:
    return math.tan(math.radians(degrees))


LAWS: dict[str, Law] = {
    law.name: law
    for law in (
        Law("paraboloid", "paraboloid (Hertz)", 1.5, "radius",
            lambda radius: 4.0 / 3.0 * math.sqrt(radius),
            lambda delta, radius: math.sqrt(radius * delta),
            "F = (4/3) E* √R δ^(3/2)", "exact for a paraboloid; a sphere while δ is well below R",
            "Hertz, J. reine angew. Math. 92 (1882) 156"),
        Law("cone", "cone (Sneddon)", 2.0, "half_angle",
            lambda angle: 2.0 / math.pi * _tan(angle),
            lambda delta, angle: 2.0 / math.pi * delta * _tan(angle),
            "F = (2/π) E* tan α δ²", "depth well above the rounding of the apex",
            "Sneddon, Int. J. Eng. Sci. 3 (1965) 47"),
        Law("pyramid", "four-sided pyramid", 2.0, "half_angle",
            lambda angle: PYRAMID * _tan(angle),
            lambda delta, angle: math.sqrt(1.480 / math.pi) * delta * _tan(angle),
            "F = 0.7453 E* tan θ δ²", "θ from the axis to the face; coefficient good to 1 %",
            "Bilodeau, J. Appl. Mech. 59 (1992) 519 (coefficient from memory)"),
        Law("punch", "flat punch", 1.0, "radius",
            lambda radius: 2.0 * radius,
            lambda delta, radius: radius,
            "F = 2 E* a δ", "flat face in full contact",
            "Sneddon, Int. J. Eng. Sci. 3 (1965) 47"),
    )
}  # fmt: skip


def law_of(name: str) -> Law:
    """The law of that name; KeyError lists the known ones."""
    if name not in LAWS:
        raise KeyError(f"no contact law {name!r}; known: {', '.join(LAWS)}")
    return LAWS[name]
