"""The registry of doubts: why a pixel should not be believed.

A doubt has a name, a sentence a person understands, the measured figure that trips it, the
threshold from the settings, the place on the curve where it is seen, and what to do about it. A
severe doubt means that the numbers of this curve are not to be used; a mild one means that they
should be looked at. One bad curve never stops a map.

`registry` holds the list, `case` what a doubt is, `samples`, `contact` and `relaxing` the figures,
`places` where each is seen, `scoring` how well they tell spoiled curves whose fault is known.
"""

from .case import BRANCHES, MILD, SEVERE, Case, Doubt
from .registry import (
    DOUBTS,
    NOISES,
    UNKNOWN,
    WITHOUT_LENGTHS,
    names_of,
    raise_doubts,
    severe_mask,
)

__all__ = ["BRANCHES", "DOUBTS", "MILD", "NOISES", "SEVERE", "UNKNOWN", "WITHOUT_LENGTHS", "Case",
           "Doubt", "names_of", "raise_doubts", "severe_mask"]  # fmt: skip
