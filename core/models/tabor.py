"""Where between DMT and JKR a contact lies: the Tabor parameter.

μ = [R w²/(E*² ε³)]^(1/3), ε the distance of the surfaces at rest; Maugis's λ = 1.157012 μ with the
peak stress of a Lennard-Jones attraction, σ₀ = 16 w/(9√3 ε). Below λ = 0.1 DMT serves, above 5 JKR
does; some authors use the same numbers for μ. ε is 0.16 to 0.4 nm, and μ goes with 1/ε.

Tabor, J. Colloid Interface Sci. 58 (1977) 2 (from memory); Greenwood, Proc. R. Soc. A 453 (1997)
1277; Maugis, J. Colloid Interface Sci. 150 (1992) 243; Johnson & Greenwood, J. Colloid Interface
Sci. 192 (1997) 326 (from memory).
"""

from __future__ import annotations

import math

import numpy as np

Array = np.ndarray

PEAK_STRESS = 16.0 / (9.0 * math.sqrt(3.0))
"""σ₀ ε/w."""
LAMBDA_OVER_MU = 2.0 * PEAK_STRESS * (9.0 / (16.0 * math.pi)) ** (1.0 / 3.0)
"""1.157012: λ = 2σ₀ [R/(πwK²)]^(1/3), K = 4E*/3."""
DISTANCES = (0.16, 0.4)
"""The range of ε in use [nm] (from memory)."""
DMT_BELOW, JKR_ABOVE = 0.1, 5.0


def tabor(radius: float, work: Array | float, reduced_modulus: Array | float, distance: float
          ) -> Array:  # fmt: skip
    """μ for R [nm], w [nN/nm], E* [GPa], ε [nm]."""
    return np.cbrt(radius * np.square(work) / (np.square(reduced_modulus) * distance**3))


def maugis_lambda(radius: float, work: Array | float, reduced_modulus: Array | float,
                  distance: float) -> Array:  # fmt: skip
    """λ for R [nm], w [nN/nm], E* [GPa], ε [nm]."""
    return LAMBDA_OVER_MU * tabor(radius, work, reduced_modulus, distance)


def work_of(pull: Array | float, radius: float, adhesion: str) -> Array:
    """w [nN/nm] from a pull-off force [nN]: 2πwR for a constant pull, 1.5πwR for JKR.

    Maugis-Dugdale lies between; its middle, 1.75πwR, is within 14 % of both.
    """
    share = {"jkr": 1.5, "two_point": 1.5, "maugis": 1.75}.get(adhesion, 2.0)
    return np.asarray(pull) / (share * math.pi * radius)
