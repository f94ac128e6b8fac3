"""``report``: the report of a saved result, or of a map, as HTML and PDF."""

from __future__ import annotations

import argparse
from pathlib import Path

from ..errors import WriteError
from .finding import found
from .parser import UsageError


def report(args: argparse.Namespace) -> int:
    """Make the report and write each file that was asked for; nothing is written unless all names
    can be used."""
    from ..findings import completed
    from ..report import make, write

    outs = targets(args)
    with found(args, [("--out", out) for out in outs]) as (findings, progress, _):
        made = make(completed(findings, progress), progress)
        for out in outs:
            write(out, made, progress)
    for out in outs:
        print(f"Report: {out}")
    return 0


def targets(args: argparse.Namespace) -> list[Path]:
    """The files to write.

    Raises
    ------
    UsageError : another ending, no such folder, one name twice, or a file that is there already
    """
    from ..report import check_place

    outs = [Path(out) for out in args.out]
    for out in outs:
        try:
            check_place(out)
        except WriteError as error:
            raise UsageError(f"--out {error}") from None
        if out.exists() and not args.replace:
            raise UsageError(f"--out {out} is there already. Give --replace to replace it, or "
                             "another name.")  # fmt: skip
    if len({out.resolve() for out in outs}) < len(outs):
        raise UsageError("--out names the same file twice.")
    return outs
