"""``report``: the report of a saved result, or of a map, as HTML and PDF."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from ..errors import InputError, WriteError
from ..settings import Settings
from ..writers.atomic import same_file
from .analysing import bar_of
from .choosing import chosen
from .parser import UsageError


def report(args: argparse.Namespace) -> int:
    """Make the report and write each file that was asked for; nothing is written unless all names
    can be used."""
    from ..findings import completed, opened_findings
    from ..report import make, write

    path, outs = Path(args.map), targets(args)
    near = Path(args.source) if args.source else None
    if near is not None and not near.exists():
        raise InputError(f"--source {near}: there is no such file or folder.")
    settings = chosen(args)
    bar, progress = bar_of(path.name, args.quiet)
    with bar, opened_findings(path, near=near, settings=settings, progress=progress) as found:
        if found.result is not None:
            _own_settings(args, settings)
        found = completed(found, progress)
        for note in found.notes:
            print(f"{path.name}: {note}", file=sys.stderr)
        made = make(found, progress)
        for out in outs:
            write(out, made, progress)
    for out in outs:
        print(f"Report: {out}")
    return 0


def targets(args: argparse.Namespace) -> list[Path]:
    """The files to write.

    Raises
    ------
    UsageError : another ending, no such folder, one name twice, the map itself, or a file that is
        there already
    """
    from ..report import check_place

    found = [Path(out) for out in args.out]
    for out in found:
        try:
            check_place(out)
        except WriteError as error:
            raise UsageError(f"--out {error}") from None
        if same_file(out, Path(args.map)):
            raise UsageError(f"--out {out} is the result or map itself. Choose another name.")
        if out.exists() and not args.replace:
            raise UsageError(f"--out {out} is there already. Give --replace to replace it, or "
                             "another name.")  # fmt: skip
    if len({out.resolve() for out in found}) < len(found):
        raise UsageError("--out names the same file twice.")
    return found


def _own_settings(args: argparse.Namespace, settings: Settings) -> None:
    """A saved result is reported as it is."""
    if args.settings or args.changes:
        raise UsageError("A saved result has its own settings, so --settings and --set can't be "
                         "used with it. Name its map instead.")  # fmt: skip
