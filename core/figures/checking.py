"""A written figure read back and held against its preset. It warns and never blocks."""
from pathlib import Path
from .parts import Check, Drawn


def check_file(path: Path, drawn: Drawn) -> tuple[Check, ...]:
    return ()
