"""What the commands for paper are given: a saved result or a map, as findings."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..calibration import missing
from ..errors import InputError
from ..progress import Progress
from ..writers.atomic import same_file
from .analysing import bar_of
from .choosing import chosen
from .given import result_of
from .parser import UsageError

if TYPE_CHECKING:
    from ..findings import Findings


Outs = Iterable[tuple[str, "str | Path | None"]]
"""Files or folders that a command will write, each with the flag that named it."""


def check_outs(outs: Outs, inputs: Iterable[str | Path | None],
               endings: Mapping[str, Sequence[str]] | None = None) -> None:  # fmt: skip
    """Refuse to write over what is read, whatever may be replaced.

    Parameters
    ----------
    inputs : files that the command reads
    endings : flag -> endings that its file may have

    Raises UsageError.
    """
    read = [Path(one) for one in inputs if one]
    for flag, name in outs:
        if name is None:
            continue
        path, allowed = Path(name), (endings or {}).get(flag, ())
        if allowed and path.suffix.lower() not in allowed:
            raise UsageError(f"{flag} {path}: the name must end in {' or '.join(allowed)}.")
        if any(same_file(path, one) for one in read):
            raise UsageError(f"{flag} {path} is a file that is read: the map, its result, or what "
                             "belongs to them. Choose another name.")  # fmt: skip


@contextmanager
def found(args: argparse.Namespace, outs: Outs) -> Iterator[tuple[Findings, Progress, Any]]:
    """Findings of ``args.map`` while its map is open, the progress of a bar, and the bar; what is
    not as it should be is told on the error stream.

    `outs` are what the command will write: none of them may be what it reads.

    Raises
    ------
    UsageError : settings for a saved result, which has its own; see `check_outs`
    InputError : ``--source`` is not there; ReadError, SourceError : a file can't be read
    """
    from ..findings import opened_findings

    path, near = Path(args.map), Path(args.source) if args.source else None
    outs = list(outs)
    check_outs(outs, (path, near, args.settings))
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
        laid = findings.work.picture
        check_outs(outs, (findings.map.path, findings.result, laid.path if laid else None))
        bar.clear()
        for note in findings.notes:
            print(f"{path.name}: {note}", file=sys.stderr)
        lacking = missing(findings.map, findings.analysis.settings)
        args.lacking = bool(lacking)  # the exit code tells it
        for where, sentence in lacking:
            print(f"{path.name}: {sentence} Give it with --set {where}=VALUE.", file=sys.stderr)
        yield findings, progress, bar
