"""The maps opened last, newest first; kept in the person's own settings."""

from __future__ import annotations

import json
from pathlib import Path

from PySide6.QtCore import QSettings

MOST = 8
KEY = "recent"


def paths() -> list[Path]:
    """The remembered maps, whether they still exist or not."""
    text = QSettings("palpate", "palpate").value(KEY, "[]", type=str)
    try:
        found = json.loads(text)
    except ValueError:
        return []
    return [Path(p) for p in found if isinstance(p, str)][:MOST] if isinstance(found, list) else []


def add(path: Path) -> None:
    """Put a map at the top."""
    path = path.absolute()
    _store([path, *(p for p in paths() if p != path)])


def remove(path: Path) -> None:
    """Forget a map."""
    _store([p for p in paths() if p != path])


def _store(found: list[Path]) -> None:
    text = json.dumps([str(p) for p in found[:MOST]])
    QSettings("palpate", "palpate").setValue(KEY, text)
