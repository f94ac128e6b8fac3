"""Soft layer of finite thickness on a rigid base: how much stiffer than a half-space it looks.

A rigid, frictionless tip on an elastic layer of thickness h that is bonded to a rigid base, or
slides on it without friction. The ratio C = F/F_halfspace at the same indentation depends on
Poisson's ratio, the base, the shape of the tip and one number χ alone:

    paraboloid  χ = √(δR)/h        cone  χ = δ tan α/h        punch  χ = a/h

All lengths inside are in units of h. With L the layer's kernel (1 for a half-space) the pressure
follows from a function φ on the contact's radius a,

    φ(x) + (2/π) ∫₀ᵃ φ(t) ∫₀^∞ (L(s) - 1) cos(sx) cos(st) ds dt = g(x),   F = 2 E* ∫₀ᵃ φ dx,

g = δ - x²/R (paraboloid), δ - (π/2) x cot α (cone), δ (punch). Where the tip leaves the surface
smoothly φ(a) = 0, which fixes δ; so a is the parameter here. dF/dδ is the stiffness of a punch of
the same contact radius, on a layer as on a half-space; that gives every slope without a
difference quotient.

Over a, one solution (shape, ν, base) is a polynomial through 32 solved contacts, good to 1e-9.
The map's kernels read it as rows of ln C over s = √(δ/unit), see `layer_rows`, `law.Table`.

References
----------
The integral equation and kernels are those of the linear problem, solved directly here (Lebedev &
Ufliand, PMM 22 (1958) 320, for the bonded layer: from memory, print not seen). Published series
stand in `layer_series`. Validity: linear elastic, small slopes, no friction, no adhesion, rigid
tip and rigid base, a layer wide against h and the contact. Soft on soft or stiff on soft is outside.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.polynomial import chebyshev, legendre

from .law import Array, Table

BASES = ("bonded", "sliding")
LARGEST_CHI = 20.0
"""No solution is tabulated beyond: at χ = 20 a layer dented by its own thickness would need a tip
of 400 h. Deeper is NaN here, and outside the law for the kernels."""
USUAL_CHI = 5.0
WIDE_CONTACT = 0.04
"""Contact radius over thickness above which a neglected base biases the modulus by about 5 % (ν =
0.5, bonded: the worst case; direct solution)."""
STEP = 1.0 / 64.0
"""Step of s in the tables of the kernels: cubic Hermite then holds ln C to 1e-7."""
_DECAY = 22.0
"""L - 1 falls as exp(-2t); it is below 1e-15 from here on."""
_CONTACTS = 32
_POWER = {"paraboloid": 1.5, "cone": 2.0}
_FACTOR = {"paraboloid": 4.0 / 3.0, "cone": 2.0 / math.pi}


def _check(poisson_ratio: float, base: str, shape: str = "punch") -> None:
    if base not in BASES:
        raise ValueError(f"a layer is {' or '.join(BASES)}, not {base!r}")
    if not 0.0 <= poisson_ratio <= 0.5:
        raise ValueError(f"a Poisson ratio of {poisson_ratio:g} is not between 0 and 0.5")
    if shape != "punch" and shape not in _POWER:
        raise ValueError(f"no layer is solved for {shape!r}; known: paraboloid, cone, punch")


def kernel_deficit(t: Array, poisson_ratio: float, base: str) -> Array:
    """L(t) - 1 at t > 0, without cancellation (t is wave number times thickness).

    bonded   L = [2κ sinh 2t - 4t]/[2κ cosh 2t + 1 + κ² + 4t²], κ = 3 - 4ν
    sliding  L = (cosh 2t - 1)/(sinh 2t + 2t), any ν
    """
    fall = np.exp(-2.0 * t)
    if base == "bonded":
        kappa = 3.0 - 4.0 * poisson_ratio
        top = 2.0 * kappa * fall + (1.0 + 2.0 * t) ** 2 + kappa * kappa
        whole = kappa * (1.0 + fall * fall) + (1.0 + kappa * kappa + 4.0 * t * t) * fall
        return -top * fall / whole
    return (np.expm1(-2.0 * t) - 2.0 * t) * fall / (2.0 * t * fall - 0.5 * np.expm1(-4.0 * t))


@lru_cache(maxsize=64)
def _gauss(count: int) -> tuple[Array, Array]:
    """Nodes and weights on 0 to 1."""
    x, weight = legendre.leggauss(count)
    return 0.5 + 0.5 * x, 0.5 * weight


def _panels(contact: float) -> tuple[Array, Array]:
    """Nodes and weights in t over 0 to _DECAY that resolve cos(2 a t)."""
    x, weight = _gauss(20)
    edges = np.linspace(0.0, _DECAY, math.ceil(_DECAY * max(1.0, contact / 5.0)) + 1)
    width = edges[1]
    return (edges[:-1, None] + width * x).ravel(), np.tile(width * weight, edges.size - 1)


@lru_cache(maxsize=64)
def moments(poisson_ratio: float, base: str) -> tuple[float, float]:
    """α0 = ∫(L-1) dt and β0 = -¼ ∫(L-1) t² dt over 0 to ∞, which the series are made of."""
    _check(poisson_ratio, base)
    t, weight = _panels(0.0)
    part = weight * kernel_deficit(t, poisson_ratio, base)
    return float(part.sum()), float(-0.25 * (part * t * t).sum())


@dataclass(frozen=True)
class Contact:
    """One solved contact of radius a, in units of the thickness; forces over E*.

    Attributes
    ----------
    depth : δ over the length that the profile g was given in (see `solve_contact`)
    force : F/(E* a) over the same length
    stiffness : dF/dδ over E* a; 2 on a half-space
    """

    depth: float
    force: float
    stiffness: float


def solve_contact(contact: float, poisson_ratio: float, base: str, profile: Array | str) -> Contact:
    """A contact of radius `contact` (in units of h, from 0 on) solved with Gauss nodes.

    Parameters
    ----------
    profile : "paraboloid", "cone", or the nodes' values of G(x) with g = δ - G(x) for any other
        axisymmetric tip, at `contact_nodes(contact)` (the last is x = a). The paraboloid's lengths
        are in units of a²/R, the cone's in units of a cot α, any other's in those of G.
    """
    x, weight = _gauss(_count(contact))
    ends = np.append(x, 1.0)
    if isinstance(profile, str):
        profile = ends * ends if profile == "paraboloid" else 0.5 * math.pi * ends
    t, steps = _panels(contact)
    wave = np.cos(contact * np.outer(ends, t))
    matrix = (wave * (steps * kernel_deficit(t, poisson_ratio, base))) @ wave[:-1].T
    matrix *= 2.0 * contact / math.pi * weight
    right = np.stack([np.ones(ends.size), profile], axis=1)
    phi = np.linalg.solve(np.eye(x.size) + matrix[:-1], right[:-1])
    flat, shaped = right[-1] - matrix[-1] @ phi
    depth = shaped / flat  # φ(a) = 0
    flat_force, shaped_force = weight @ phi
    return Contact(float(depth), float(2.0 * (depth * flat_force - shaped_force)),
                   float(2.0 * flat_force))  # fmt: skip


def _count(contact: float) -> int:
    return 16 * math.ceil(1.0 + 0.25 * contact)  # few different counts: nodes are kept


def contact_nodes(contact: float) -> Array:
    """x/a where `solve_contact` wants the profile of a tip of another shape; the last one is 1."""
    return np.append(_gauss(_count(contact))[0], 1.0)


@dataclass(frozen=True, eq=False)
class _Solution:
    """ln C, ½ ln(χ^m/a^m), G/a and ln(punch ratio) as polynomials of y = asinh(a/h)."""

    shape: str
    top: float
    series: Array

    def at(self, y: Array, column: int, slope: bool = False) -> Array:
        rows = chebyshev.chebder(self.series[:, column]) if slope else self.series[:, column]
        value = chebyshev.chebval(2.0 * y / self.top - 1.0, rows)
        return value * (2.0 / self.top) if slope else value

    def chi(self, y: Array) -> Array:
        return np.sinh(y) * np.exp(self.at(y, 1) * (1.0 if self.shape == "paraboloid" else 2.0))

    def place(self, chi: Array) -> Array:
        """y where the contact has that χ: interpolation, then Newton's method on ln χ."""
        rough = np.linspace(0.0, self.top, 200)
        y = np.maximum(np.interp(chi, self.chi(rough), rough), 1e-300)
        factor = 1.0 if self.shape == "paraboloid" else 2.0
        for _ in range(6):
            slope = 1.0 / np.tanh(y) + factor * self.at(y, 1, slope=True)
            ratio = np.divide(self.chi(y), chi, out=np.ones_like(chi), where=chi > 0.0)
            y = np.maximum(y - np.log(ratio) / slope, 1e-300)
        return np.where(chi > 0.0, y, 0.0)


@lru_cache(maxsize=32)
def _solution(shape: str, poisson_ratio: float, base: str, reach: float) -> _Solution:
    """Solved up to χ = reach; the contact radius is never beyond 2 χ h (paraboloid, thin limit)."""
    top = math.asinh(2.0 * reach)
    y = 0.5 * top * (1.0 - np.cos(math.pi * (np.arange(_CONTACTS) + 0.5) / _CONTACTS))
    power, factor = _POWER[shape], _FACTOR[shape]
    share = 2.0 if shape == "paraboloid" else 1.0
    rows = np.empty((_CONTACTS, 4))
    for row, a in zip(rows, np.sinh(y), strict=True):
        one = solve_contact(a, poisson_ratio, base, shape)
        row[0] = math.log(one.force / (factor * one.depth**power))
        row[1] = 0.5 * math.log(one.depth)
        row[2] = share * (one.depth * one.stiffness / one.force - power) / a
        row[3] = math.log(0.5 * one.stiffness)
    return _Solution(shape, top, chebyshev.chebfit(2.0 * y / top - 1.0, rows, _CONTACTS - 1))


def _reach(largest: float) -> float:
    usual = 1.05 * USUAL_CHI  # the last row of a table may lie a step beyond
    return usual if largest <= usual else LARGEST_CHI


def _solve_for(chi: Array, shape: str, poisson_ratio: float, base: str) -> tuple[_Solution, Array]:
    """The solution that covers these χ, and y at each; NaN below 0 and beyond the largest χ."""
    known = np.isfinite(chi) & (chi >= 0.0) & (chi <= LARGEST_CHI)
    inside = np.where(known, chi, 0.0)
    found = _solution("paraboloid" if shape == "punch" else shape, poisson_ratio, base,
                      _reach(float(inside.max(initial=0.0))))  # fmt: skip
    y = np.arcsinh(inside) if shape == "punch" else found.place(inside)
    return found, np.where(known, y, np.nan)


def layer_ratio(chi: Array | float, shape: str, poisson_ratio: float, base: str) -> Array:
    """C = F_layer/F_halfspace at the same indentation (see the module's text for χ).

    Parameters
    ----------
    chi : any shape, 0 to `LARGEST_CHI`; else NaN
    shape : "paraboloid", "cone" or "punch"
    poisson_ratio : 0 to 0.5
    base : "bonded" or "sliding"

    Returns
    -------
    C, as chi. F_halfspace is taken with the same E* = E/(1-ν²)

    Raises
    ------
    ValueError : an unknown shape or base, an impossible Poisson ratio
    """
    _check(poisson_ratio, base, shape)
    chi = np.asarray(chi, dtype=float)
    found, y = _solve_for(chi, shape, poisson_ratio, base)
    return np.exp(found.at(y, 3 if shape == "punch" else 0))


def punch_ratio(chi: Array | float, poisson_ratio: float, base: str) -> Array:
    """C of the flat punch at χ = a/h; it does not depend on the indentation. See `layer_ratio`."""
    return layer_ratio(chi, "punch", poisson_ratio, base)


def layer_contact(chi: Array | float, shape: str, poisson_ratio: float, base: str) -> Array:
    """Contact radius over thickness on the layer, a/h; larger than the half-space's. NaN beyond."""
    _check(poisson_ratio, base, shape)
    return np.sinh(_solve_for(np.asarray(chi, dtype=float), shape, poisson_ratio, base)[1])


def gain(chi: Array | float, shape: str, poisson_ratio: float, base: str) -> Array:
    """G = d ln C/d ln χ: what an error of the thickness does, ∂ ln E/∂ ln h = +G.

    E = F/(C g δⁿ) and χ falls with h, so a thickness 10 % too large gives a modulus 10·G % too
    large. The radius then counts -1/2 - G/2 (paraboloid). 0 at χ = 0; NaN beyond `LARGEST_CHI`.
    """
    _check(poisson_ratio, base, shape)
    found, y = _solve_for(np.asarray(chi, dtype=float), shape, poisson_ratio, base)
    if shape == "punch":
        return np.tanh(y) * found.at(y, 3, slope=True)
    return np.sinh(y) * found.at(y, 2)


def layer_bias(chi: Array | float, shape: str, poisson_ratio: float, base: str) -> Array:
    """Relative error of the modulus if the base is neglected: 0.05 means 5 % too stiff."""
    return layer_ratio(chi, shape, poisson_ratio, base) - 1.0


def chi_of_bias(bias: Array | float, shape: str, poisson_ratio: float, base: str) -> Array:
    """χ where a neglected base biases the modulus by that share; NaN if beyond `LARGEST_CHI`."""
    _check(poisson_ratio, base, shape)
    bias = np.asarray(bias, dtype=float)
    low, high = np.zeros_like(bias), np.full_like(bias, LARGEST_CHI)
    possible = (bias >= 0.0) & (bias <= layer_bias(LARGEST_CHI, shape, poisson_ratio, base))
    for _ in range(60):
        middle = 0.5 * (low + high)
        short = layer_bias(middle, shape, poisson_ratio, base) < bias
        low, high = np.where(short, middle, low), np.where(short, high, middle)
    return np.where(possible, 0.5 * (low + high), np.nan)


def halfspace_contact(chi: Array | float, shape: str) -> Array:
    """a/h with the contact radius of a half-space at that χ: what the warning is written in."""
    return np.asarray(chi, dtype=float) * (2.0 / math.pi if shape == "cone" else 1.0)


def layer_unit(shape: str, thickness: Array | float, size: float) -> Array:
    """The length [nm] that δ is measured in, s = √(δ/unit), one per thickness.

    Parameters
    ----------
    shape : "paraboloid" (unit = h²/R) or "cone" (unit = h/tan α)
    thickness : h [nm], any shape; NaN or not above 0 gives NaN
    size : R [nm] or α [deg], see `layer_size`
    """
    h = np.asarray(thickness, dtype=float)
    h = np.where(h > 0.0, h, np.nan)
    if shape == "paraboloid":
        return h * h / size
    if shape == "cone":
        return h / math.tan(math.radians(size))
    raise ValueError(f"a layer has a unit of depth for a paraboloid or a cone, not for {shape!r}")


@lru_cache(maxsize=32)
def layer_rows(
    shape: str, poisson_ratio: float, base: str, largest_chi: float = USUAL_CHI
) -> tuple[Array, float]:
    """ln C and d(ln C)/ds at s = 0, step, 2 step ..., for any tip of that shape and any thickness.

    Parameters
    ----------
    shape : "paraboloid" (s = χ) or "cone" (s = √χ); a punch needs `punch_ratio` only
    largest_chi : how far; cut at `LARGEST_CHI`. The last row is there or just beyond

    Returns
    -------
    rows (nodes, 2), read-only, and the step of s
    """
    if shape not in _POWER:
        raise ValueError(f"rows are made for a paraboloid or a cone, not for {shape!r}")
    _check(poisson_ratio, base, shape)
    largest = min(max(float(largest_chi), STEP), LARGEST_CHI)
    root = shape == "cone"
    count = max(math.floor((math.sqrt(largest) if root else largest) / STEP), 1)
    count += (count * STEP) ** (2 if root else 1) < largest < LARGEST_CHI
    s = STEP * np.arange(count + 1)
    found, y = _solve_for(s * s if root else s, shape, poisson_ratio, base)
    squeeze = np.exp(-found.at(y, 1))  # a/s is this (paraboloid) or s times its square (cone)
    over = 2.0 * s * squeeze**2 if root else squeeze
    rows = np.stack([found.at(y, 0), found.at(y, 2) * over], axis=1)
    rows[0, 0] = 0.0
    rows.flags.writeable = False
    return rows, STEP


def layer_table(
    shape: str, poisson_ratio: float, base: str, deepest: float, thickness: float, size: float
) -> Table:
    """The kernels' table of one layer: q = C at δ = unit s², for indentations up to `deepest` [nm].

    Depths beyond `LARGEST_CHI` are not in it (`Table.deepest` tells), and outside the law.
    thickness [nm] and size as in `layer_unit`; a map of thicknesses takes one `layer_rows` and a
    `layer_unit` per curve.

    Raises
    ------
    ValueError : a thickness or depth that is not a positive number
    """
    unit = float(layer_unit(shape, thickness, size))
    if not (math.isfinite(unit) and unit > 0.0 and deepest > 0.0):
        raise ValueError(f"a layer of {thickness:g} nm dented by {deepest:g} nm is impossible")
    s = min(math.sqrt(deepest / unit), LARGEST_CHI)
    rows, step = layer_rows(shape, poisson_ratio, base, s * s if shape == "cone" else s)
    return Table(rows, step, unit)
