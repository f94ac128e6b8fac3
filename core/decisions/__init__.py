"""Decisions about single pixels: keep, leave out, correct; plain frozen values."""

from .pixels import Pixels
from .review import (
    CORRECTED,
    DONE,
    KEPT,
    KINDS,
    LEFT_OUT,
    UNDECIDED,
    WORDS,
    Change,
    Decision,
    Review,
    change_of,
)

__all__ = [
    "CORRECTED", "DONE",
    "KEPT", "KINDS", "LEFT_OUT", "UNDECIDED", "WORDS", "Change", "Decision", "Pixels",
    "Review", "change_of",
]  # fmt: skip
