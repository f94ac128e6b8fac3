"""What a contact law without short-range adhesion is, and the table that the map runs it from.

Every such law of linear elasticity is F = E* G(δ) with a G [nm²] that only the tip (and a layer)
knows. G is written G = g δⁿ q(δ): g δⁿ is what it is near δ = 0, and q is 1 there. The powers
(paraboloid, cone, pyramid, punch) have q = 1 everywhere. The others give δ and G as functions of
the contact radius, and are tabulated once a run: ln q and its slope at even steps of √δ, read by
cubic Hermite interpolation in the kernels (`models/forward.py`).

References
----------
Galin (1946) and Sneddon, Int. J. Eng. Sci. 3 (1965) 47, for the axisymmetric rule
δ = a ∫ f'/√(a²-r²) dr, F = 2 E* ∫ r² f'/√(a²-r²) dr (from memory). S = dF/dδ = 2 E* a: Pharr,
Oliver & Brotzen, J. Mater. Res. 7 (1992) 613.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

Array = np.ndarray
NODES = 512
"""Steps of a table: enough for 1e-8 on a smooth law."""


@dataclass(frozen=True, eq=False)
class Table:
    """ln q and d(ln q)/ds at s = √(δ/unit) = 0, step, 2 step ...; see the module's text.

    Attributes
    ----------
    rows : (nodes, 2), or (0, 2) for a pure power
    step : of s
    unit : the length that δ is measured in [nm]
    """

    rows: Array
    step: float
    unit: float

    @property
    def deepest(self) -> float:
        """Largest indentation [nm] that the table knows; infinite for a pure power."""
        return ((len(self.rows) - 1) * self.step) ** 2 * self.unit if len(self.rows) else math.inf


POWER = Table(np.empty((0, 2)), 1.0, 1.0)
"""The table of a law that is a pure power."""


@dataclass(frozen=True)
class Law:
    """One contact law.

    Attributes
    ----------
    name, label : identifier and words
    exponent : n in F = E* g δⁿ q
    sizes : the tip constants that it takes, in order: "radius" [nm], "half_angle" [deg],
        "rounding" [nm] (where a rounded end meets the flank)
    factor : g(*sizes) in nm^(2-n)
    contact_radius : (δ, *sizes) -> a [nm]
    formula, validity, source : for help and the methods paragraph
    profile : (a, *sizes) -> δ [nm], G [nm²], a an array of contact radii; None for a pure power
    widest : (*sizes) -> the contact radius that can't be exceeded [nm]; infinite if there is none
    fault : (*sizes) -> a sentence if these sizes are impossible together, else ""
    """

    name: str
    label: str
    exponent: float
    sizes: tuple[str, ...]
    factor: Callable[..., float]
    contact_radius: Callable[..., float]
    formula: str
    validity: str
    source: str
    profile: Callable[..., tuple[Array, Array]] | None = field(default=None, repr=False)
    widest: Callable[..., float] = field(default=lambda *sizes: math.inf, repr=False)
    fault: Callable[..., str] = field(default=lambda *sizes: "", repr=False)

    def _geometry(self, indentation: float, *sizes: float) -> tuple[float, float]:
        """G [nm²] and dG/dδ [nm] at an indentation, without a table."""
        n, g, depth = self.exponent, self.factor(*sizes), max(indentation, 0.0)
        if self.profile is None:
            return g * depth**n, n * g * depth ** (n - 1.0)
        a = radius_at(self, np.array([depth]), *sizes)
        return float(self.profile(a, *sizes)[1][0]), 2.0 * float(a[0])

    def force(self, indentation: float, reduced_modulus: float, *sizes: float) -> float:
        """F [nN] without adhesion at an indentation [nm], for E* [GPa]; NaN beyond the law."""
        return reduced_modulus * self._geometry(indentation, *sizes)[0]

    def stiffness(self, indentation: float, reduced_modulus: float, *sizes: float) -> float:
        """dF/dδ [N/m]; for the axisymmetric laws it equals 2 E* a."""
        return reduced_modulus * self._geometry(indentation, *sizes)[1]


def radius_at(law: Law, depth: Array, *sizes: float) -> Array:
    """Contact radius [nm] at indentations (n,), by bisection of the law's own δ(a); NaN beyond it.

    80 halvings of a bracket leave nothing but rounding.
    """
    assert law.profile is not None
    low = np.zeros_like(depth)
    high = np.full_like(depth, min(law.widest(*sizes), 1.0))
    if law.widest(*sizes) == math.inf:
        for _ in range(60):
            short = law.profile(high, *sizes)[0] < depth
            if not short.any():
                break
            high = np.where(short, 2.0 * high, high)
    else:
        high[:] = law.widest(*sizes) * (1.0 - 1e-12)
    beyond = law.profile(high, *sizes)[0] < depth
    for _ in range(80):
        middle = 0.5 * (low + high)
        short = law.profile(middle, *sizes)[0] < depth
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return np.where(beyond, np.nan, 0.5 * (low + high))


def tabulate(law: Law, deepest: float, *sizes: float) -> Table:
    """The table of a law for indentations up to `deepest` [nm].

    d(ln q)/ds follows from S = 2 E* a: with δ = s², d ln q/ds = 2 s (2a/G - n/δ); 0 at s = 0 for
    a law that is even in s, else taken from the first nodes.
    """
    if law.profile is None:
        return POWER
    step = math.sqrt(deepest) / (NODES - 1)
    s = step * np.arange(1, NODES)
    a = radius_at(law, s * s, *sizes)
    known = np.isfinite(a)
    s, a = s[known], a[known]
    g = law.profile(a, *sizes)[1]
    value = np.log(g / (law.factor(*sizes) * s ** (2.0 * law.exponent)))
    slope = 2.0 * s * (2.0 * a / g - law.exponent / (s * s))
    first = slope[0] - (slope[1] - slope[0]) if s.size > 1 else 0.0
    rows = np.vstack([[0.0, first], np.stack([value, slope], axis=1)])
    rows.flags.writeable = False
    return Table(rows, step, 1.0)
