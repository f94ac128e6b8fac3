"""One contact on a layer of finite thickness, solved exactly: the linear problem, no series.

A rigid, frictionless tip on an elastic layer of thickness h that is bonded to a rigid base, or
slides on it without friction. All lengths here are in units of h. With L the layer's kernel (1 for
a half-space) the pressure follows from a function φ on the contact's radius a,

    φ(x) + (2/π) ∫₀ᵃ φ(t) ∫₀^∞ (L(s) - 1) cos(sx) cos(st) ds dt = g(x),   F = 2 E* ∫₀ᵃ φ dx,

g = δ - x²/R (paraboloid), δ - (π/2) x cot α (cone), δ (punch). Where the tip leaves the surface
smoothly φ(a) = 0, which fixes δ; so a is the parameter here. dF/dδ is the stiffness of a punch of
the same contact radius, on a layer as on a half-space; that gives every slope without a
difference quotient.

References
----------
Lebedev & Ufliand, PMM 22 (1958) 320, for the integral equation of the bonded layer (from memory).
The kernels are checked in the tests against the elastic layer solved numerically.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.polynomial import legendre

from .law import Array

BASES = ("bonded", "sliding")
_DECAY = 22.0
"""L - 1 falls as exp(-2t); it is below 1e-15 from here on."""


def check_layer(poisson_ratio: float, base: str) -> None:
    """ValueError for an unknown base or a Poisson ratio outside 0 to 0.5."""
    if base not in BASES:
        raise ValueError(f"a layer is {' or '.join(BASES)}, not {base!r}")
    if not 0.0 <= poisson_ratio <= 0.5:
        raise ValueError(f"a Poisson ratio of {poisson_ratio:g} is not between 0 and 0.5")


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
    edges = np.linspace(0.0, _DECAY, math.ceil(_DECAY * max(1.0, contact / 10.0)) + 1)
    width = edges[1]
    return (edges[:-1, None] + width * x).ravel(), np.tile(width * weight, edges.size - 1)


@lru_cache(maxsize=64)
def moments(poisson_ratio: float, base: str) -> tuple[float, float]:
    """α0 = ∫(L-1) dt and β0 = -¼ ∫(L-1) t² dt over 0 to ∞, which the series are made of."""
    check_layer(poisson_ratio, base)
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
