"""The rehearsal: what the present settings would do to a truth that is known.

Curves are made with this map's noise, tilt, sampling, lever, tip and adhesion, and with known
moduli; the settings are run on them as on the map, and the answers are held against the truth.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

_LATER = {
    "Group": "scene",
    "Rehearsal": "running",
    "Row": "running",
    "Scene": "scene",
    "as_rehearsed": "running",
    "moduli_between": "running",
    "offered_range": "reading",
    "rehearse": "running",
    "scene_of": "reading",
    "scene_words": "telling",
    "sentences": "telling",
}

__all__ = [*_LATER]  # noqa: PLE0604


def __getattr__(name: str) -> Any:
    if name not in _LATER:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f".{_LATER[name]}", __name__), name)
