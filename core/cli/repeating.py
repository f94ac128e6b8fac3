"""``again``: a saved result made anew from its map, under its own settings and decisions."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import InputError, SettingsError
from .analysing import bar_of
from .parser import UsageError

if TYPE_CHECKING:
    from ..analysis import Analysis
    from ..components.repeating import Repeated
    from ..progress import Progress
    from ..readers.analysis import LoadedAnalysis


def again(args: argparse.Namespace) -> int:
    """Make a result anew, tell whether its numbers are the same, and write it if asked.

    The exit code is 1 if numbers differ.
    """
    from ..corrections import problems
    from ..reopening import again as repeat
    from ..reopening import differences, open_analysis
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
            made, lacking = _components(opened.loaded, result, progress)
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
    if not said:
        print(f"All numbers are those of {path.name}.")
    return 1 if said else 0


def _components(loaded: LoadedAnalysis, result: Analysis, progress: Progress
                ) -> tuple[Repeated | None, list[str]]:  # fmt: skip
    """The components made anew by the rule of the file, if it has any; why not, if they can't be.
    """
    from ..components.repeating import repeated

    if loaded.components is None:
        return None, []
    try:
        return repeated(result, loaded.components, progress), []
    except (ValueError, SettingsError) as error:
        why = str(error).rstrip(".")
        return None, [f"The components of {loaded.path.name} can't be made anew: {why}."]
