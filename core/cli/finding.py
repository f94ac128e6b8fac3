"""What the commands for paper are given: a saved result or a map, as findings."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..calibration import missing
from ..errors import InputError
from ..progress import Progress
from .analysing import bar_of
from .choosing import chosen
from .given import result_of
from .parser import UsageError

if TYPE_CHECKING:
    from ..findings import Findings


@contextmanager
def found(args: argparse.Namespace) -> Iterator[tuple[Findings, Progress, Any]]:
    """Findings of ``args.map`` while its map is open, the progress of a bar, and the bar; what is
    not as it should be is told on the error stream.

    Raises
    ------
    UsageError : settings for a saved result, which has its own
    InputError : ``--source`` is not there; ReadError, SourceError : a file can't be read
    """
    from ..findings import opened_findings

    path, near = Path(args.map), Path(args.source) if args.source else None
    if near is not None and not near.exists():
        raise InputError(f"--source {near}: there is no such file or folder.")
    settings = None
    if result_of(path) is None:
        settings = chosen(args)
    elif args.settings or args.changes:
        raise UsageError(f"{path.name} is a saved result and has its own settings: leave out "
                         "--settings and --set, or name its map.")  # fmt: skip
    bar, progress = bar_of(path.name, args.quiet)
    with bar, opened_findings(path, near=near, settings=settings, progress=progress) as findings:
        bar.clear()
        for note in findings.notes:
            print(f"{path.name}: {note}", file=sys.stderr)
        lacking = missing(findings.map, findings.analysis.settings)
        args.lacking = bool(lacking)  # the exit code tells it
        for where, sentence in lacking:
            print(f"{path.name}: {sentence} Give it with --set {where}=VALUE.", file=sys.stderr)
        yield findings, progress, bar
