"""The tip gives way too: reduced modulus of two elastic bodies.

    1/E* = (1-ν²)/E + (1-ν_t²)/E_t

Symbols: E, ν modulus [GPa] and Poisson ratio of the sample, E_t, ν_t of the tip. A rigid tip has
E_t = ∞. Validity: isotropic, linear elastic, both small in slope; silicon is not isotropic (130,
169 and 188 GPa along <100>, <110>, <111>: Hopcroft, Nix & Kenny, J. MEMS 19 (2010) 229, the last
from memory). Source: Hertz, J. reine angew. Math. 92 (1882) 156 (form from memory).
"""

from __future__ import annotations

import math


def reduced_modulus(
    modulus: float, poisson: float, tip_modulus: float = math.inf, tip_poisson: float = 0.0
) -> float:
    """E* [GPa] of sample and tip; NaN for a modulus not above 0 or a ν outside -1 to 0.5.

    Parameters
    ----------
    modulus, poisson : E [GPa] and ν of the sample
    tip_modulus, tip_poisson : of the tip; infinite for a rigid one
    """
    if not (_possible(modulus, poisson) and _possible(tip_modulus, tip_poisson)):
        return math.nan
    return 1.0 / ((1.0 - poisson**2) / modulus + (1.0 - tip_poisson**2) / tip_modulus)


def sample_modulus(
    reduced: float, poisson: float, tip_modulus: float = math.inf, tip_poisson: float = 0.0
) -> float:
    """E [GPa] of the sample from E* [GPa], the inverse of `reduced_modulus`.

    NaN for constants that are not possible, and for an E* at or above the tip's own
    E_t/(1-ν_t²): no sample is so stiff.
    """
    if not (_possible(reduced, poisson) and _possible(tip_modulus, tip_poisson)):
        return math.nan
    left = 1.0 / reduced - (1.0 - tip_poisson**2) / tip_modulus
    return (1.0 - poisson**2) / left if left > 0.0 else math.nan


def rigid_tip_bias(
    modulus: float, poisson: float, tip_modulus: float, tip_poisson: float = 0.0
) -> float:
    """How far E* lies below that of a rigid tip, relative to it (a negative number)."""
    with_tip = reduced_modulus(modulus, poisson, tip_modulus, tip_poisson)
    return with_tip / reduced_modulus(modulus, poisson) - 1.0


def _possible(modulus: float, poisson: float) -> bool:
    return modulus > 0.0 and -1.0 < poisson <= 0.5
