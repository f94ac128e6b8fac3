"""How wide an edge can truly be, given that the contact has a size of its own."""

from __future__ import annotations

import math
from dataclasses import dataclass

TELLS = 0.95
"""The contact limits a width if it may be less than this share of what was measured: chosen for
Palpate."""


@dataclass(frozen=True)
class TrueWidth:
    """The standard width σ of an edge behind the measured one.

    Attributes
    ----------
    upper : the measured width; the true one is not above it
    low, high : the range that taking off the contact's share leaves; NaN if the contact radius is
        not known; low is 0 where the contact alone may be all of the width
    limited : whether the contact's share can be seen in the width
    words : the same for people, one or two sentences
    """

    upper: float
    low: float
    high: float
    limited: bool
    words: str


def true_width(measured: float, contact_radius: float) -> TrueWidth:
    """Bounds of the true width of an edge, from the measured one and the contact radius.

    A contact of radius a averages over about itself. Weighed by Hertz's pressure it blurs an edge
    by a σ of a/√5, flat by a/2, and the stress reaches further; so σ² of the edge is the measured
    one less (a/√5 ... a)².

    Parameters
    ----------
    measured : standard width σ of the fitted edge [nm], also NaN
    contact_radius : a [nm]; NaN if it is not known

    References
    ----------
    a/√5 is the second moment of √(1 - r²/a²) along one direction; that the width is at most that of
    the contact: common practice, no source.
    """
    if not measured >= 0.0:
        return TrueWidth(math.nan, math.nan, math.nan, False, "No width was found.")
    if not contact_radius >= 0.0:
        return TrueWidth(measured, math.nan, math.nan, True, "The contact radius is not known: the "
                         "measured width is an upper bound of the true one.")  # fmt: skip
    low = math.sqrt(max(measured**2 - contact_radius**2, 0.0))
    high = math.sqrt(max(measured**2 - contact_radius**2 / 5.0, 0.0))
    if low >= TELLS * measured:
        return TrueWidth(measured, low, high, False, "The contact is small against the width.")
    if high == 0.0:
        return TrueWidth(measured, 0.0, measured, True, "The measured width is no larger than the "
                         "contact itself gives: the true edge may be sharp. The measured width is "
                         "an upper bound.")  # fmt: skip
    return TrueWidth(measured, low, high, True, "The contact radius "
                     f"({contact_radius:.3g} nm) is not small against the width: the true width "
                     f"lies between about {low:.3g} and {high:.3g} nm; the measured one is an "
                     "upper bound.")  # fmt: skip
