"""``again``: a saved result made anew from its map, under its own settings and decisions."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from ..errors import InputError
from .analysing import bar_of
from .parser import UsageError

COMPARED = ("Compared were the maps, their ±, doubts, which pixels are used, and the components: "
            "whose each pixel is, areas and medians.")  # fmt: skip


def again(args: argparse.Namespace) -> int:
    """Make a result anew, tell whether its numbers are the same, and write it if asked.

    The exit code is 1 if numbers differ.
    """
    from ..corrections import problems
    from ..reopening import again as repeat
    from ..reopening import components_again, differences, not_compared, open_analysis
    from ..workfile import Beside, save_analysis
    from ..writers.atomic import same_file

    path, out = Path(args.result), Path(args.out) if args.out else None
    if out is not None and same_file(out, path):
        raise UsageError(f"--out {out} is the result itself. Choose another name.")
    near = Path(args.source) if args.source else None
    if near is not None and not near.exists():
        raise InputError(f"--source {near}: there is no such file or folder.")
    opened = open_analysis(path, near)
    with opened.map:
        for note in opened.notes:
            print(f"{path.name}: {note}", file=sys.stderr)
        bar, progress = bar_of(path.name, args.quiet)
        with bar:
            result = repeat(opened, progress)
            made, lacking = components_again(opened.loaded, result, progress)
        for problem in problems(result):
            print(f"{path.name}: {problem}", file=sys.stderr)
        said = [*differences(opened.loaded, result, made), *lacking]
        if out is not None:
            beside = Beside(made.write if made is not None else None, opened.work,
                            opened.loaded.view, opened.loaded.history)  # fmt: skip
            save_analysis(out, result, beside)
            print(f"Result: {out}")
    for sentence in said:
        print(f"palpate: {sentence}", file=sys.stderr)
    unknown = not_compared(opened.loaded, result)
    if unknown:
        print(f"Not compared, since it is not in {path.name}: {', '.join(unknown)}.")
    if not said:
        print(f"All numbers are those of {path.name}. {COMPARED}")
    return 1 if said else 0
