"""Fields: the same components over several maps, and how much the maps differ."""

from __future__ import annotations

from .pooling import Pooled, pool
from .trends import Trend, trend

__all__ = ["Pooled", "Trend", "pool", "trend"]
