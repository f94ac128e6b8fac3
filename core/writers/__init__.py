"""Writing maps, single channels and anything else that must not be half-written."""

from __future__ import annotations

from .exports import export_channel
from .native import save_map, write_map

__all__ = ["export_channel", "save_map", "write_map"]
