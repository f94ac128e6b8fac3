"""Places on a map: named regions and line profiles, their numbers, and their files.

Regions and profiles are frozen values in map coordinates (nm, or pixels where the map has no
scale), so they survive another grid of the same place and can stand in a list of undo.

Names are loaded when first used: a collection of places needs neither kernels nor scipy.
"""

from importlib import import_module
from typing import Any

_HOME = {
    "Rectangle": "regions", "Polygon": "regions", "Brush": "regions", "OfComponent": "regions",
    "Combined": "regions", "Region": "regions", "mask_of": "regions", "why_empty": "regions",
    "Profile": "profiles", "Sampled": "profiles", "sample": "profiles",
    "sample_analysis": "profiles", "Between": "cursors", "between": "cursors",
    "points_between": "cursors",
    "RegionStatistics": "statistics", "ChannelStatistics": "statistics",
    "statistics_of": "statistics", "Difference": "differences", "differences": "differences",
    "Places": "collection", "save_profile": "exports", "save_statistics": "exports",
    "save_differences": "exports",
}  # fmt: skip

__all__ = list(_HOME)


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f".{_HOME[name]}", __name__), name)
    globals()[name] = value
    return value
