"""The script that draws a figure again from its analysis, and what it needs."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import ReadError, SettingsError
from ..sheets import Sheet

if TYPE_CHECKING:
    from ..findings import Findings
    from ..work import Work

LARGEST_WORK = 64_000_000
SCRIPT = '''"""Draws {title} again from its analysis, and compares the numbers.

    python redraw.py [ANALYSIS] [--source MAP_OR_FOLDER] [--out FIGURE [--replace]]

The numbers are those of the CSV files here. Nothing is written without --out. ANALYSIS is the
saved result, or the measured map, which is then analysed as work.json says. The exit code is 1 if
numbers differ. Needs palpate (made with version {version}).
"""

import argparse
import json
import sys
from pathlib import Path

from palpate.core.errors import PalpateError
from palpate.core.figures import draw_sheet, write_drawn
from palpate.core.figures.data import differences
from palpate.core.figures.script import opened_for_figure
from palpate.core.sheets import Sheet

HERE = Path(__file__).resolve().parent


def main():
    words = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    words.add_argument("analysis", nargs="?", default=HERE / {default}, type=Path)
    words.add_argument("--source", type=Path, help="where the measured map is, if it was moved")
    words.add_argument("--out", type=Path, metavar="FIGURE",
                       help="write the picture; ends in .pdf, .svg, .png or .tif")
    words.add_argument("--replace", action="store_true", help="replace a file of that name")
    chosen = words.parse_args()
    sheet = Sheet.from_dict(json.loads((HERE / "recipe.json").read_text(encoding="utf-8")))
    with opened_for_figure(chosen.analysis, HERE / "work.json", chosen.source) as findings:
        drawn = draw_sheet(sheet, findings)
        if chosen.out is not None:
            for check in write_drawn(chosen.out, drawn, chosen.replace).checks:
                print(f"{{check.state}}: {{check.words}}")
        different = differences(HERE, drawn)
    print("\\n".join(different) or "All numbers are those of the CSV files.")
    return 1 if different else 0


if __name__ == "__main__":
    try:
        sys.exit(main())
    except PalpateError as error:
        sys.exit(f"redraw.py: {{error}}")
'''


def script_of(sheet: Sheet, findings: Findings, folder: Path) -> str:
    """The script for a folder; it finds the result (or the map) from where it lies."""
    from ..writers import nexus

    home = findings.result or findings.map.path
    near = "analysis.h5" if home is None else relative(home, folder)
    title = repr(f"the figure “{sheet.name}”")[1:-1].replace('"', "'")
    return SCRIPT.format(title=title, version=nexus.version(), default=repr(near))


def relative(path: Path, folder: Path) -> str:
    """A path as seen from a folder; the whole path on another drive."""
    try:
        return Path(os.path.relpath(path.resolve(), folder.resolve())).as_posix()
    except ValueError:
        return path.resolve().as_posix()


@contextmanager
def opened_for_figure(path: Path, work: Path | None = None, near: Path | None = None
                      ) -> Iterator[Findings]:  # fmt: skip
    """Findings of a saved result; or of a map under the settings, decisions, places and rule that
    a file ``work.json`` beside a figure holds.

    Raises
    ------
    ReadError, SourceError : a file can't be read or is not there; SettingsError : the file of the
        work is damaged
    """
    from ..corrections import reviewed
    from ..findings import findings_of, opened_findings
    from ..pipeline import analyse
    from ..readers import open_map
    from ..workfile import load_analysis

    try:
        load_analysis(path)
    except ReadError as error:
        if work is None or "not a saved analysis" not in error.what:
            raise
        decided = _work_of(work)
        with open_map(path) as fmap:
            found = reviewed(analyse(fmap, decided.settings), decided.review)
            yield findings_of(found, decided)
        return
    with opened_findings(path, near=near) as findings:
        yield findings


def _work_of(path: Path) -> Work:
    from ..work.parts import from_parts

    try:
        if path.stat().st_size > LARGEST_WORK:
            raise SettingsError("work", f"{path} is larger than it can be.")
        data = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError) as error:
        raise SettingsError("work", f"{path} can't be read: {str(error)[:120]}.") from None
    if not isinstance(data, dict) or data.pop("palpate_work", None) != 1:
        raise SettingsError("work", f"{path} is none that this version reads.")
    return from_parts(data)
