"""``methods``: the methods paragraph of a result or a map, with gaps for what is not known."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import InputError
from .finding import check_outs, found
from .parser import UsageError
from .telling import wrapped

if TYPE_CHECKING:
    from ..methods import Paragraph


def methods(args: argparse.Namespace) -> int:
    """Print the paragraph, or write it; tell its gaps on the error stream."""
    from ..methods import bibtex, file_text, paragraph

    out = [Path(name) for name in args.out]
    bib = Path(args.bibtex) if args.bibtex else None
    _check(out, bib, args.replace)
    with found(args, [*(("--out", path) for path in out), ("--bibtex", bib)]) as (findings, _, _):
        made = paragraph(findings)
    if not out:
        print(made.text, end="")
    for path in out:
        _write(path, file_text(made, path.suffix.lower()), args.replace)
    if bib is not None:
        _write(bib, bibtex(made), args.replace)
    _tell(made, Path(args.map).name, findings.notes)
    return 0


def _check(out: list[Path], bib: Path | None, replace: bool) -> None:
    from ..methods import ENDINGS

    for path in out:
        if path.suffix.lower() not in ENDINGS:
            raise UsageError(f"--out {path}: the name must end in one of {', '.join(ENDINGS)}.")
    every = [*out, *([bib] if bib is not None else [])]
    for at, path in enumerate(every):
        if path.resolve() in [other.resolve() for other in every[:at]]:
            both = "--out and --bibtex are both" if path is bib else "--out is twice"
            raise UsageError(f"{both} {path}: choose two names.")
    check_outs([("--bibtex", bib)], (), {"--bibtex": (".bib",)})
    for path in every:
        if path.exists() and not replace:
            raise InputError(f"{path} exists already: choose another name, or give --replace.")


def _write(path: Path, text: str, replace: bool) -> None:
    from ..writers.atomic import saving

    with saving(path, replace=replace) as temporary:
        temporary.write_text(text, encoding="utf-8")
    print(f"Written: {path}", file=sys.stderr)


def _tell(made: Paragraph, name: str, told: tuple[str, ...]) -> None:
    for note in made.notes:
        if note not in told:
            print("\n".join(wrapped(f"{name}: {note}")), file=sys.stderr)
    if made.gaps:
        print(f"{name}: {len(made.gaps)} gaps are to be filled:", file=sys.stderr)
        for gap in made.gaps:
            print(f"  {gap.question}", file=sys.stderr)
