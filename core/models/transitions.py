"""Closed fits between DMT and JKR, for comparison with the direct solution; no fit uses them.

All take α from 0 (DMT) to 1 (JKR) and X = [α + √(1 + F/F_ad)]/(1 + α).

Carpick, Ogletree & Salmeron, J. Colloid Interface Sci. 211 (1999) 395 (coefficients from memory);
Pietrement & Troyon, J. Colloid Interface Sci. 226 (2000) 166 (from memory); Schwarz, J. Colloid
Interface Sci. 261 (2003) 99 (derived anew). Against Maugis-Dugdale the first is within 1.7 %, the
second within 3 %; Schwarz splits short- and long-range forces and differs by what that means.
"""

from __future__ import annotations

import math


def carpick_lambda(alpha: float) -> float:
    """λ of α, below α = 0.98: -0.924 ln(1 - 1.02 α)."""
    return -0.924 * math.log(1.0 - 1.02 * alpha)


def carpick_zero_load(lam: float) -> tuple[float, float]:
    """Contact radius at zero load and pull-off, in Maugis's units."""
    up, pull = 2.28 * lam**1.3, 4.04 * lam**1.4
    return 1.54 + 0.279 * (up - 1.0) / (up + 1.0), -1.75 + 0.25 * (pull - 1.0) / (pull + 1.0)


def load_term(alpha: float, load: float) -> float:
    """X at F/F_ad = `load`."""
    return (alpha + math.sqrt(1.0 + load)) / (1.0 + alpha)


def carpick_radius(alpha: float, load: float) -> float:
    """a/a0 at F/F_ad = `load`."""
    return load_term(alpha, load) ** (2.0 / 3.0)


def pietrement(alpha: float) -> tuple[float, float, float, float]:
    """S, β, a0 and the pull-off (Maugis's units) of the indentation fit."""
    s = -2.160 * alpha**0.019 + 2.7531 * alpha**0.064 + 0.073 * alpha**1.919
    beta = 0.516 * alpha**4 - 0.683 * alpha**3 + 0.235 * alpha**2 + 0.429 * alpha
    a0 = -0.451 * alpha**4 + 1.417 * alpha**3 - 1.365 * alpha**2 + 0.950 * alpha + 1.264
    return s, beta, a0, 0.267 * alpha**2 - 0.767 * alpha + 2.000


def pietrement_indentation(alpha: float, load: float) -> float:
    """δ R/a0² at F/F_ad = `load`."""
    s, beta, _, _ = pietrement(alpha)
    x = load_term(alpha, load)
    return x ** (4.0 / 3.0) - s * x ** (2.0 * beta / 3.0)


def schwarz_alpha(pull: float, radius: float, work: float) -> float:
    """α from a pull-off force between 1.5 and 2 πwR."""
    b = 6.0 * math.pi * work * radius - 3.0 * pull
    return math.sqrt(b / pull)


def schwarz(load: float, pull: float, stiff: float, radius: float, work: float
            ) -> tuple[float, float]:  # fmt: skip
    """a [nm] and δ [nm] at a force [nN]; K [GPa], w [nN/nm], the pull-off as a positive number."""
    b = 6.0 * math.pi * work * radius - 3.0 * pull
    a = (radius / stiff * (math.sqrt(b) + math.sqrt(load + pull)) ** 2) ** (1.0 / 3.0)
    return a, a * a / radius - 4.0 / 3.0 * math.sqrt(b * a / (radius * stiff))
