"""What a contact law without short-range adhesion is, and the table that the map runs it from.

Every such law of linear elasticity is F = E* G(δ) with a G [nm²] that only the tip (and a layer)
knows. G is written G = g δⁿ q(δ): g δⁿ is what it is near δ = 0, and q is 1 there. The powers
(paraboloid, cone, pyramid, punch) have q = 1 everywhere. The others give δ and G as functions of
the contact radius, and are tabulated once a run: ln q and its slope at even steps of √δ, read by
cubic Hermite interpolation in the kernels (`models/forward.py`). Where a higher derivative of the
law jumps (the cap of a blunted cone meets its flank) a node is put on the jump.

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
"""Rows that a table begins with; doubled while it is not `GOOD`."""
MOST_NODES = 16384
GOOD = 5e-9
"""Largest error of ln q, read half-way between the rows."""


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

    def log_ratio(self, depth: Array) -> Array:
        """Ln q at indentations [nm], read as the kernels read it; NaN outside the table."""
        depth = np.asarray(depth, float)
        if not len(self.rows):
            return np.zeros_like(depth)
        place = np.sqrt(depth / self.unit) / self.step
        cell = np.clip(np.nan_to_num(place).astype(int), 0, len(self.rows) - 2)
        x = place - cell
        (low, low_slope), (high, high_slope) = self.rows[cell].T, self.rows[cell + 1].T
        value = (
            low
            + (high - low) * x * x * (3.0 - 2.0 * x)
            + self.step * x * (1.0 - x) * (low_slope * (1.0 - x) - high_slope * x)
        )
        return np.where(depth <= self.deepest * (1.0 + 1e-12), value, np.nan)


POWER = Table(np.empty((0, 2)), 1.0, 1.0)
"""The table of a law that is a pure power."""


def fault_of(*names: str) -> Callable[..., str]:
    """A check of tip constants, each by itself: a length is above 0, an angle between 0 and 90°.

    Parameters
    ----------
    names : the `sizes` of the law, in order; a rounding may be 0

    Returns
    -------
    a function (*sizes) -> a sentence about the first that is impossible, or ""
    """

    def fault(*sizes: float) -> str:
        for name, size in zip(names, sizes, strict=True):
            words = name.replace("_", "-")
            if name == "half_angle":
                if not 0.0 < size < 90.0:
                    return f"The {words} must lie between 0° and 90°; it is {size:g}°."
            elif name == "rounding":
                if not 0.0 <= size < math.inf:
                    return f"The {words} must be 0 nm or more; it is {size:g} nm."
            elif not 0.0 < size < math.inf:
                return f"The {words} must be above 0 nm; it is {size:g} nm."
        return ""

    return fault


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
    kink : (*sizes) -> the contact radius [nm] at which a higher derivative jumps; infinite if none
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
    kink: Callable[..., float] = field(default=lambda *sizes: math.inf, repr=False)

    def _geometry(self, indentation: float, *sizes: float) -> tuple[float, float]:
        """G [nm²] and dG/dδ [nm] at an indentation, without a table."""
        n, g, depth = self.exponent, self.factor(*sizes), max(indentation, 0.0)
        if self.profile is None:
            return g * depth**n, n * g * depth ** (n - 1.0)
        a, area = contact_at(self, np.array([depth]), *sizes)
        return float(area[0]), 2.0 * float(a[0])

    def force(self, indentation: float, reduced_modulus: float, *sizes: float) -> float:
        """F [nN] without adhesion at an indentation [nm], for E* [GPa]; NaN beyond the law."""
        return reduced_modulus * self._geometry(indentation, *sizes)[0]

    def stiffness(self, indentation: float, reduced_modulus: float, *sizes: float) -> float:
        """dF/dδ [N/m]; for the axisymmetric laws it equals 2 E* a."""
        return reduced_modulus * self._geometry(indentation, *sizes)[1]


def radius_at(law: Law, depth: Array, *sizes: float) -> Array:
    """Contact radius [nm] at indentations (n,), by bisection of the law's own δ(a); NaN beyond it.

    The bracket is halved until nothing but rounding is left; 0 at no depth.
    """
    assert law.profile is not None
    low = np.zeros_like(depth)
    widest = law.widest(*sizes)
    high = np.full_like(depth, 1.0 if widest == math.inf else widest * (1.0 - 1e-9))
    if widest == math.inf:
        for _ in range(60):
            short = law.profile(high, *sizes)[0] < depth
            if not short.any():
                break
            high = np.where(short, 2.0 * high, high)
    beyond = ~(law.profile(high, *sizes)[0] >= depth)
    high = np.where(depth > 0.0, high, 0.0)
    for _ in range(100):
        middle = 0.5 * (low + high)
        short = law.profile(middle, *sizes)[0] < depth
        low, high = np.where(short, middle, low), np.where(short, high, middle)
        if np.all(high - low <= 2e-16 * high):
            break
    return np.where(beyond | (depth < 0.0), np.nan, 0.5 * (low + high))


def contact_at(law: Law, depth: Array, *sizes: float) -> tuple[Array, Array]:
    """Contact radius [nm] and G [nm²] at indentations [nm], without a table; NaN beyond the law.

    dG/dδ = 2a makes good what the rounding of a leaves of δ (it matters where a hardly moves).
    """
    assert law.profile is not None
    a = radius_at(law, depth, *sizes)
    reached, area = law.profile(a, *sizes)
    return a, area + 2.0 * a * (depth - reached)


def _log_ratio(law: Law, s: Array, *sizes: float) -> tuple[Array, Array]:
    """Ln q and d(ln q)/ds at s = √δ > 0, without a table; NaN beyond the law.

    From S = 2 E* a: d ln q/ds = 2 s (2a/G - n/δ).
    """
    a, g = contact_at(law, s * s, *sizes)
    value = np.log(g / (law.factor(*sizes) * s ** (2.0 * law.exponent)))
    return value, 2.0 * s * (2.0 * a / g - law.exponent / (s * s))


def _rows(law: Law, step: float, nodes: int, *sizes: float) -> Array:
    """Rows of a table at s = 0, step ...; those beyond the law are left out."""
    value, slope = _log_ratio(law, step * np.arange(1, nodes), *sizes)
    known = int(np.isfinite(value).sum())
    rows = np.vstack([[0.0, 0.0], np.stack([value, slope], axis=1)[:known]])
    if known >= 3:  # the slope at s = 0 by a parabola through the next three
        rows[0, 1] = 3.0 * rows[1, 1] - 3.0 * rows[2, 1] + rows[3, 1]
    return rows


def tabulate(law: Law, deepest: float, *sizes: float) -> Table:
    """The table of a law for indentations up to `deepest` [nm], or a little more.

    Begins with `NODES` rows and doubles them until ln q half-way between them is right to `GOOD`.
    A jump of a higher derivative (`law.kink`) falls on a node. A law that ends before `deepest`
    has a table that ends there too (`Table.deepest`).

    Parameters
    ----------
    law : any law of linear elasticity with S = 2 E* a
    deepest : indentation [nm], above 0
    sizes : tip constants that `law.fault` accepts
    """
    if law.profile is None:
        return POWER
    top, edge, nodes = math.sqrt(deepest), law.kink(*sizes), NODES
    if edge < math.inf:
        edge = math.sqrt(float(law.profile(np.array([edge]), *sizes)[0][0]))
    while True:
        step = top / (nodes - 1)
        if top / MOST_NODES < edge < top:
            step = edge / math.ceil(edge / step)
        rows = _rows(law, step, math.ceil(top / step * (1.0 - 1e-12)) + 1, *sizes)
        table = Table(rows, step, 1.0)
        between = step * (np.arange(len(rows) - 1) + 0.5)
        wrong = np.abs(table.log_ratio(between**2) - _log_ratio(law, between, *sizes)[0])
        if nodes >= MOST_NODES or not wrong.size or wrong.max() <= GOOD:
            rows.flags.writeable = False
            return table
        nodes *= 2
