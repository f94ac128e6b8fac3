"""Names inside a pack: ours can be used on every system; those of others are looked at first."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Container

from ..writers.folder import OF_THE_SYSTEM

LONGEST = 240
RESERVED = {"con", "prn", "aux", "nul", *(f"{name}{n}" for name in ("com", "lpt")
                                          for n in range(1, 10))}  # fmt: skip
"""Names that one system keeps for its devices."""
LEFT_BY_SYSTEMS = {*OF_THE_SYSTEM, "__MACOSX", "__pycache__"}
"""What file managers and Python leave behind; no part of a pack."""


def plain_name(words: str, taken: Container[str] = (), ending: str = "") -> str:
    """A file name of letters, digits, dots, dashes and underscores, unlike those taken."""
    text = unicodedata.normalize("NFKD", words).encode("ascii", "ignore").decode()
    text = re.sub(r"[^A-Za-z0-9._-]+", "_", text).strip("._-")[:60].rstrip("._-")
    if not text or text.split(".")[0].lower() in RESERVED:
        text = f"x_{text}".rstrip("_") if text else "unnamed"
    found, number = f"{text}{ending}", 2
    while found in taken:
        found, number = f"{text}_{number}{ending}", number + 1
    return found


def wrong_name(name: str) -> str:
    """Why a name inside a pack can't be used; empty if it can."""
    if not name or len(name) > LONGEST:
        return "it is empty or too long"
    if not name.isprintable() or any(sign in name for sign in '\\:*?"<>|'):
        return "it has signs that a name must not have"
    if name.startswith("/"):
        return "it begins at the root of the disk"
    for part in name.split("/"):
        if part in ("", ".", ".."):
            return "it leads out of the pack"
        if part[-1] in ". " or part.split(".")[0].lower() in RESERVED:
            return "some systems can't hold it"
    return ""


def left_by_system(name: str) -> bool:
    """Whether a file manager or Python left it."""
    return bool(LEFT_BY_SYSTEMS & set(name.split("/")))
