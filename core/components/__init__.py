"""Components: which pixel belongs to which, how much of each there is, how stiff and how sticky."""

from __future__ import annotations

from .composition import Composition
from .finding import find, in_range, in_shape
from .maps import Maps
from .rule import Axis, EndMember, Gate, Rule, letter

__all__ = [
    "Axis",
    "Composition",
    "EndMember",
    "Gate",
    "Maps",
    "Rule",
    "find",
    "in_range",
    "in_shape",
    "letter",
]
