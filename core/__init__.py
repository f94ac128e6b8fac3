"""Palpate's analysis core: from a map of force-distance curves to numbers that can be defended.

    from palpate.core import open_map, analyse, Settings

    fmap = open_map("blend.h5")
    result = analyse(fmap, Settings().with_value("fit.law", "cone"))
    result.channel("modulus")      # (rows, cols), GPa, NaN where missing

Names are loaded when first used, so that ``import palpate.core`` costs nothing.
"""

from importlib import import_module
from typing import Any

_HOME = {
    "ForceMap": "forcemap", "open_map": "readers", "write_map": "writers.native",
    "Settings": "settings", "Progress": "progress", "Analysis": "analysis", "analyse": "pipeline",
    "explain": "explain", "CHANNELS": "channels", "DOUBTS": "doubts", "LAWS": "models",
    "save_analysis": "workfile", "load_analysis": "workfile", "open_analysis": "reopening",
    "simulate_map": "simulate",
    "PalpateError": "errors", "InputError": "errors", "ReadError": "errors",
    "SettingsError": "errors", "WriteError": "errors", "Cancelled": "errors",
}  # fmt: skip

__all__ = list(_HOME)


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    # a submodule may bear the same name as what it holds (`explain`): the object wins
    value = getattr(import_module(f".{_HOME[name]}", __name__), name)
    globals()[name] = value
    return value
