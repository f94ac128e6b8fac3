"""Figures for paper: sheets drawn with Matplotlib, written, checked, and the data behind them.

Names are loaded when first used; Matplotlib is imported when something is drawn.
"""

from importlib import import_module
from typing import Any

_HOME = {
    "GOOD": "parts", "WARNING": "parts", "Check": "parts", "DataTable": "parts", "Drawn": "parts",
    "DrawnPanel": "parts", "Drawer": "parts", "PanelError": "parts", "Style": "parts",
    "Written": "parts",
    "PRESETS": "presets", "Preset": "presets", "load_presets": "presets", "preset": "presets",
    "DRAWERS": "panel_drawers",
    "first_sheet": "first", "write_data": "data", "read_sheet": "data",
    "draw_sheet": "drawing", "picture": "drawing",
    "write_drawn": "writing", "write_sheet": "writing", "check_file": "checking",
    "FIRST_CHOICE": "map_pictures", "pictures": "map_pictures", "robust_limits": "colouring",
}  # fmt: skip

__all__ = list(_HOME)


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f".{_HOME[name]}", __name__), name)
    globals()[name] = value
    return value
