"""Soft layer of finite thickness on a rigid base: how much stiffer than a half-space it looks.

A rigid, frictionless tip on an elastic layer of thickness h that is bonded to a rigid base, or
slides on it without friction. The ratio C = F/F_halfspace at the same indentation depends on
Poisson's ratio, the base, the shape of the tip and one number χ alone:

    paraboloid  χ = √(δR)/h        cone  χ = δ tan α/h        punch  χ = a/h

Over the contact radius, one solution (shape, ν, base) is a polynomial through 32 contacts of
`layer_solver`, good to 1e-9. The map's kernels read it as rows of ln C over s = √(δ/unit), see
`layer_rows` and `law.Table`. The published series stand in `layer_series`.

Validity: linear elastic, small slopes, no friction, no adhesion, rigid tip and rigid base, a layer
wide against h and the contact. A soft base, or a stiff layer on a soft base, is outside.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.polynomial import chebyshev

from .law import Array, Table
from .layer_solver import check_layer, solve_contact

LARGEST_CHI = 20.0
"""No solution is tabulated beyond: at χ = 20 a layer dented by its own thickness would need a tip
of 400 h. Deeper is NaN here, and outside the law for the kernels."""
USUAL_CHI = 5.0
WIDE_CONTACT = 0.04
"""Contact radius over thickness above which a neglected base biases the modulus by about 5 % (ν =
0.5, bonded: the worst case; direct solution)."""
STEP = 1.0 / 64.0
"""Step of s in the tables of the kernels: cubic Hermite then holds ln C to 1e-7."""
_CONTACTS = 32
_POWER = {"paraboloid": 1.5, "cone": 2.0}
_FACTOR = {"paraboloid": 4.0 / 3.0, "cone": 2.0 / math.pi}


def _check(poisson_ratio: float, base: str, shape: str) -> None:
    check_layer(poisson_ratio, base)
    if shape != "punch" and shape not in _POWER:
        raise ValueError(f"no layer is solved for {shape!r}; known: paraboloid, cone, punch")


@dataclass(frozen=True, eq=False)
class _Solution:
    """ln C, ½ ln(χ²/a²) or ½ ln(χ/a) (cone), G/a and ln C of the punch; each over asinh(a/h)."""

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
    for reach in (1.05 * USUAL_CHI, 2.1 * USUAL_CHI):  # a table's last row lies a step beyond
        if largest <= reach:
            return reach
    return LARGEST_CHI


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
    size : R [nm] or α [deg], see `layer_shapes.layer_size`; an impossible one gives NaN
    """
    h = np.asarray(thickness, dtype=float)
    h = np.where((h > 0.0) & (0.0 < size < (90.0 if shape == "cone" else math.inf)), h, np.nan)
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


def _read(table: Table, s: Array) -> tuple[Array, Array]:
    """Value and slope of a table at s within it, by the kernels' cubic Hermite interpolation."""
    place = s / table.step
    i = np.clip(place.astype(int), 0, len(table.rows) - 2)
    t, h = place - i, table.step
    (v0, m0), (v1, m1) = table.rows[i].T, table.rows[i + 1].T
    bend = 2.0 * (v0 - v1) / h + m0 + m1
    curve = 3.0 * (v1 - v0) / h - 2.0 * m0 - m1
    value = v0 + h * t * (m0 + t * (curve + t * bend))
    return value, m0 + t * (2.0 * curve + 3.0 * t * bend)


def combine(own: Table, layer: Table) -> Table:
    """One table for a law with a table of its own (the sphere) on a layer: the ln q are added.

    In the layer's unit of depth, at the finer of both steps, to where the shallower table ends. A
    pure power takes the layer's table as it is. For a map of thicknesses this is one table each.
    """
    if not len(own.rows):
        return layer
    scale = math.sqrt(layer.unit / own.unit)  # s of the law's own table over s of the layer's
    deepest = min((len(own.rows) - 1) * own.step / scale, (len(layer.rows) - 1) * layer.step)
    step = min(own.step / scale, layer.step)
    s = step * np.arange(math.floor(deepest / step * (1.0 + 1e-12)) + 1)
    (value, slope), (more, steeper) = _read(own, s * scale), _read(layer, s)
    rows = np.stack([value + more, slope * scale + steeper], axis=1)
    rows.flags.writeable = False
    return Table(rows, step, layer.unit)
