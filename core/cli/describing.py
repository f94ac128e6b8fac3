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

    out = Path(args.out) if args.out else None
    bib = Path(args.bibtex) if args.bibtex else None
    _check(out, bib, args.replace)
    with found(args, (("--out", out), ("--bibtex", bib))) as (findings, _, _):
        made = paragraph(findings)
    if out is None:
        print(made.text, end="")
    else:
        _write(out, file_text(made, out.suffix.lower()), args.replace)
    if bib is not None:
        _write(bib, bibtex(made), args.replace)
    _tell(made, Path(args.map).name, findings.notes)
    return 0


def _check(out: Path | None, bib: Path | None, replace: bool) -> None:
    from ..methods import ENDINGS

    if out is not None and out.suffix.lower() not in ENDINGS:
        raise UsageError(f"--out {out}: the name must end in one of {', '.join(ENDINGS)}.")
    if out is not None and bib is not None and out.resolve() == bib.resolve():
        raise UsageError(f"--out and --bibtex are both {out}: choose two names.")
    check_outs([("--bibtex", bib)], (), {"--bibtex": (".bib",)})
    for path in (out, bib):
        if path is not None and path.exists() and not replace:
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
