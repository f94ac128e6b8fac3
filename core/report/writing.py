"""Which writer a file's ending asks for."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

from ..errors import WriteError
from ..progress import Progress
from .html import write_html
from .parts import Report
from .pdf import write_pdf

Writer = Callable[[Path, Report, "Progress | None"], Path]
ENDINGS: dict[str, Writer] = {".html": write_html, ".htm": write_html, ".pdf": write_pdf}
"""Ending of a file -> what writes it."""


def write(path: str | os.PathLike[str], report: Report, progress: Progress | None = None) -> Path:
    """Write a report as its file's ending asks for. Raises WriteError as the writers do, and for
    another ending."""
    path = Path(path)
    check_place(path)
    return ENDINGS[path.suffix.lower()](path, report, progress)


def check_place(path: Path) -> None:
    """Raise WriteError for a file that no report can be written as: to be asked before the report
    is made, too, since that takes its time."""
    if path.suffix.lower() not in ENDINGS:
        raise WriteError(f"{path}: a report is written as .html or as .pdf. Give the file one of "
                         "these endings.")  # fmt: skip
    if not path.parent.is_dir():
        raise WriteError(f"{path} could not be saved: there is no folder {path.parent}.")
