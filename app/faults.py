"""Faults of ours, in words: what is shown instead of a traceback, and what can be copied."""

from __future__ import annotations

import platform
import sys
import traceback
from dataclasses import dataclass
from importlib import metadata


@dataclass(frozen=True)
class Fault:
    """Something that is not the person's mistake: a sentence, and a report to copy."""

    words: str
    details: str


def fault_of(error: BaseException | None, doing: str = "") -> Fault:
    """A fault in words; `doing` is what the program was at, such as "Analysing"."""
    if isinstance(error, MemoryError):
        words = "There was not enough memory. Close other programs, or open a smaller map."
    else:
        at = f" ({doing.lower()})" if doing else ""
        words = (f"Something went wrong inside Palpate{at}. Your map and your settings are as "
                 "they were.")  # fmt: skip
    told = "".join(traceback.format_exception(error)) if error is not None else ""
    return Fault(words, f"{about_this()}\n\n{told}")


def about_this() -> str:
    """One line on program and machine, for reports."""
    return f"Palpate {version()}, Python {platform.python_version()}, {sys.platform}"


def version() -> str:
    """The installed version of Palpate; empty where it is not installed."""
    try:
        return metadata.version("palpate")
    except metadata.PackageNotFoundError:
        return ""
