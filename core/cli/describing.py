"""``methods``: the methods paragraph of a result or a map, with gaps for what is not known."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import InputError
from .analysing import bar_of
from .choosing import chosen
from .given import result_of
from .parser import UsageError
from .telling import wrapped

if TYPE_CHECKING:
    from ..methods import Paragraph
    from ..settings import Settings


def methods(args: argparse.Namespace) -> int:
    """Print the paragraph, or write it; tell its gaps on the error stream."""
    from ..findings import opened_findings
    from ..methods import bibtex, file_text, paragraph

    out = Path(args.out) if args.out else None
    bib = Path(args.bibtex) if args.bibtex else None
    _check(out, bib, args.replace)
    path = Path(args.map)
    settings = _settings(args, path)
    near = Path(args.source) if args.source else None
    bar, progress = bar_of(path.name, args.quiet)
    with bar, opened_findings(path, near=near, settings=settings, progress=progress) as found:
        made = paragraph(found)
    if out is None:
        print(made.text, end="")
    else:
        _write(out, file_text(made, out.suffix.lower()))
    if bib is not None:
        _write(bib, bibtex(made))
    _tell(made, path.name)
    return 0


def _settings(args: argparse.Namespace, path: Path) -> Settings | None:
    """For a map what the command line chooses; a saved result has its own."""
    if result_of(path) is None:
        return chosen(args, None)
    if args.settings or args.changes:
        raise UsageError(f"{path.name} is a saved result and has its own settings: leave out "
                         "--settings and --set, or name the map.")  # fmt: skip
    return None


def _check(out: Path | None, bib: Path | None, replace: bool) -> None:
    from ..methods import ENDINGS

    if out is not None and out.suffix.lower() not in ENDINGS:
        raise UsageError(f"--out {out}: the name must end in one of {', '.join(ENDINGS)}.")
    if out is not None and bib is not None and out.resolve() == bib.resolve():
        raise UsageError(f"--out and --bibtex are both {out}: choose two names.")
    for path in (out, bib):
        if path is not None and path.exists() and not replace:
            raise InputError(f"{path} exists already: choose another name, or give --replace.")


def _write(path: Path, text: str) -> None:
    from ..writers.atomic import saving

    with saving(path) as temporary:
        temporary.write_text(text, encoding="utf-8")
    print(f"Written: {path}", file=sys.stderr)


def _tell(made: Paragraph, name: str) -> None:
    for note in made.notes:
        print("\n".join(wrapped(f"{name}: {note}")), file=sys.stderr)
    if made.gaps:
        print(f"{name}: {len(made.gaps)} gaps are to be filled:", file=sys.stderr)
        for gap in made.gaps:
            print(f"  {gap.question}", file=sys.stderr)
