"""Components: which pixel belongs to which, how much of each there is, how stiff and how sticky.

The rule is light and at hand at once; what works it out is loaded when it is first asked for.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

from .rule import Axis, EndMember, Gate, Rule, letter

_LATER = {
    "Composition": "composition",
    "Maps": "maps",
    "Pair": "pairs",
    "Table": "table",
    "find": "finding",
    "in_range": "finding",
    "in_shape": "finding",
    "pairs_of": "pairs",
    "pairs_with_common": "common",
    "shape_report": "shape",
    "table_of": "table",
    "with_common": "common",
}

__all__ = ["Axis", "EndMember", "Gate", "Rule", "letter", *_LATER]  # noqa: PLE0604


def __getattr__(name: str) -> Any:
    if name not in _LATER:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f".{_LATER[name]}", __name__), name)
