"""What a command was given: measured maps, or saved results, which bring their settings and what
was decided about their pixels."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from ..analysis import Analysis
from ..decisions import Review
from ..errors import InputError, ReadError
from ..forcemap import ForceMap
from ..progress import Progress
from ..readers.analysis import LoadedAnalysis
from ..settings import Settings


@dataclass(frozen=True, eq=False)
class Given:
    """One map of the command line.

    Attributes
    ----------
    path : of the measured map
    saved : the result that was named in its place, None if the map itself was
    """

    path: Path
    saved: LoadedAnalysis | None = None

    @property
    def review(self) -> Review:
        """What was decided about single pixels; nothing for a map."""
        return Review() if self.saved is None else self.saved.review

    @contextmanager
    def opened(self) -> Iterator[ForceMap]:
        """The map, with the thickness of a layer that the result was made with."""
        from ..readers import open_map

        thickness = None if self.saved is None else self.saved.thickness
        with open_map(self.path) as fmap:
            yield fmap if thickness is None else fmap.with_thickness(thickness)

    def analysed(self, fmap: ForceMap, settings: Settings, progress: Progress) -> Analysis:
        """The analysis under some settings, with all that was decided; what does not fit these
        settings is told on the error stream."""
        from ..corrections import problems, reviewed
        from ..pipeline import analyse

        found = reviewed(analyse(fmap, settings, progress=progress), self.review, progress)
        for problem in problems(found):
            print(f"{self.name}: {problem}", file=sys.stderr)
        return found

    @property
    def name(self) -> str:
        """The file that was named."""
        return self.path.name if self.saved is None else self.saved.path.name

    @property
    def decided(self) -> str:
        """What of a result's decisions is in the numbers, in a sentence; empty for none."""
        return f"{self.name}: {self.review.words}." if self.review else ""

    @property
    def checksum(self) -> str:
        """That of the decisions, in a sentence; empty for none."""
        return f"Their SHA-256 is {self.review.checksum}." if self.review else ""


def given(paths: list[Path]) -> tuple[list[Given], Settings | None]:
    """The map behind each file, and the settings that the saved results among them share.

    Raises
    ------
    InputError : results of different settings; ReadError, SourceError : a file or a result's map
        can't be read or is not there
    """
    from ..workfile import find_source

    loaded = [result_of(path) for path in paths]
    results = [one for one in loaded if one is not None]
    if any(one.settings != results[0].settings for one in results):
        raise InputError(
            "The results were made with different settings, so they can't be "
            "compared. Name the maps instead, with --settings or --set."
        )
    found = [Given(path) if one is None else Given(find_source(one), one)
             for path, one in zip(paths, loaded, strict=True)]  # fmt: skip
    return found, results[0].settings if results else None


def result_of(path: Path) -> LoadedAnalysis | None:
    """A saved result, or None for anything else, which is then read as a map."""
    from ..workfile import load_analysis

    try:
        return load_analysis(path)
    except ReadError as error:
        if "not a saved analysis" in error.what:
            return None
        raise
