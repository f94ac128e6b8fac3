"""What components look like: domains, lengths of their pattern, interfaces, core and shell.

Pure functions on arrays. Names are loaded when first used, and none of the modules loads scipy by
itself.
"""

from importlib import import_module
from typing import Any

_HOME = {
    "Edge": "edge", "fit_edge": "edge", "TrueWidth": "widths", "true_width": "widths",
    "InterfaceWidth": "interfaces", "interface_width": "interfaces",
    "Domains": "domains", "Sizes": "domains", "domains_of": "domains", "closed": "domains",
    "Lengths": "lengths", "Chords": "lengths", "lengths_of": "lengths", "chords_of": "lengths",
    "boundary_length": "lengths", "boundary_density": "lengths",
    "Border": "nesting", "Shell": "nesting", "DepthProfile": "nesting", "border_of": "nesting",
    "chains": "nesting", "share_inside": "nesting", "shell_of": "nesting",
    "depth_profile": "nesting",
}  # fmt: skip

__all__ = list(_HOME)


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f".{_HOME[name]}", __name__), name)
    globals()[name] = value
    return value
