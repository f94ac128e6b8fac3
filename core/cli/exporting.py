"""``export``: what an analysis holds as plain files in a folder that describes itself."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

from ..errors import InputError
from .finding import found
from .parser import CAUTION, UsageError


def export(args: argparse.Namespace) -> int:
    """Write the folder, and tell what is in it."""
    from ..exporting import export_all

    wanted, out = wanted_of(args), Path(args.out)
    _check_place(out, args.replace)
    with found(args, [("--out", out)]) as (findings, progress, _):
        made = export_all(findings, out, wanted, progress=progress, replace=args.replace,
                          parents=True)  # fmt: skip
    print(f"Written: {made.folder} ({len(made.files)} files, {_size(made.size)})")
    print(CAUTION)
    return 0


def wanted_of(args: argparse.Namespace) -> Any:
    """What the words of the command line ask for. Raises UsageError."""
    from ..exporting import PARTS, Body, Wanted

    parts = tuple(PARTS) if args.what.strip() == "all" else _words(args.what)
    if "curves" not in parts and (args.pixel or args.all_pixels):
        parts = (*parts, "curves")
    if "curves" in parts and not (args.pixel or args.all_pixels):
        if args.what.strip() != "all":
            raise UsageError("Of which pixels? Name some with --pixel ROW,COL, or --all-pixels.")
        parts = tuple(part for part in parts if part != "curves")
        print("palpate: no curves are written: name pixels with --pixel ROW,COL, or "
              "--all-pixels.", file=sys.stderr)  # fmt: skip
    usual = Body()
    try:
        body = Body(formats=_words(args.surface), vertical=args.vertical,
                    colour=args.colour or usual.colour)  # fmt: skip
        return Wanted(parts, _words(args.format), tuple(args.channel), tuple(args.unit),
                      not args.with_doubtful, tuple(_pixel(text) for text in args.pixel),
                      args.all_pixels, _words(args.curves), body)  # fmt: skip
    except InputError as error:
        raise UsageError(str(error)) from None


def _words(text: str) -> tuple[str, ...]:
    return tuple(dict.fromkeys(word.strip() for word in text.split(",") if word.strip()))


def _pixel(text: str) -> tuple[int, int]:
    try:
        row, col = (int(part) for part in text.split(","))
    except ValueError:
        raise UsageError(f"“{text[:40]}” is no pixel; write ROW,COL such as 12,30, counted from "
                         "0.") from None  # fmt: skip
    return row, col


def _check_place(out: Path, replace: bool) -> None:
    """What is known to be wrong with the place, before anything is analysed."""
    from ..writers.folder import problems

    for problem in problems(out, replace=replace, parents=True, thorough=True):
        raise InputError(problem.replace("Replace it,", "Replace it with --replace,"))


def _size(size: int) -> str:
    from ..exporting.everything import size_words

    return size_words(size)
