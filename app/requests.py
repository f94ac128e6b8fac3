"""Frozen requests for the background worker: what to do, with all that it needs.

Each has a `lane` (in one lane a newer request replaces an older one, except when it is `kept`),
`words` for the status bar, ``run(progress, tell)`` and ``discard(value)`` for an answer that came
too late. Nothing here touches Qt; heavy modules are loaded where they are used, on the worker.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, ClassVar

from ..core.errors import ReadError
from ..core.progress import Progress
from .kernels import AFTERWARDS, USUAL, is_compiled, kind_of

Tell = Callable[[Any], None]


@dataclass(frozen=True, eq=False)
class Request:
    """The root of all requests."""

    lane: ClassVar[str] = ""
    words: ClassVar[str] = ""
    kept: ClassVar[bool] = False
    first: ClassVar[bool] = False

    def run(self, progress: Progress, tell: Tell) -> Any:
        """Do it, on the worker; raises what went wrong."""
        raise NotImplementedError

    def discard(self, value: Any) -> None:
        """Let go of an answer that nobody wants any more."""


@dataclass(frozen=True, eq=False)
class LoadTools(Request):
    """Load the modules that compute. Answers what is usually compiled and is not yet."""

    lane: ClassVar[str] = "tools"
    words: ClassVar[str] = "Loading the calculation"

    def run(self, progress: Progress, tell: Tell) -> list[str]:
        from ..core import explain, pipeline, readers  # noqa: F401  (that is the point)

        readers.warm_up()
        return [kind for kind in (*USUAL, *AFTERWARDS) if not is_compiled(kind)]


@dataclass(frozen=True, eq=False)
class Opened:
    """An opened map.

    Attributes
    ----------
    kind, compiled : of its samples, and whether the kernels for that kind are ready
    start : the pixel to pick first
    kept : what a saved analysis or a journal held beside the map; None for a map alone
    """

    map: Any
    kind: str
    compiled: bool
    start: tuple[int, int] | None
    kept: Kept | None = None


@dataclass(frozen=True, eq=False)
class Kept:
    """What was decided about a map before.

    Attributes
    ----------
    work : what holds
    acts : rows of its history
    loaded : of the result file, if it comes from one
    view : what was looked at: "channel", "pixel", "limits", "axes", as far as known
    notes : sentences on what is not as it was
    journal : core's `Found`, if it is recovered
    """

    work: Any
    acts: tuple[dict[str, Any], ...] = ()
    loaded: Any = None
    view: dict[str, Any] = field(default_factory=dict)
    notes: tuple[str, ...] = ()
    journal: Any = None


@dataclass(frozen=True, eq=False)
class OpenMap(Request):
    """Open a map, or a saved analysis with its map, whichever the file holds. Answers `Opened`.

    `near` and `folders` say where the map of a saved analysis may be; `journal` is one to recover.
    """

    path: Path
    near: Path | None = None
    folders: tuple[Path, ...] = ()
    journal: Any = None
    lane: ClassVar[str] = "open"
    words: ClassVar[str] = "Opening the map"
    first: ClassVar[bool] = True

    def run(self, progress: Progress, tell: Tell) -> Opened:
        from ..core import channels  # noqa: F401  (the window asks for it next)

        fmap, kept = self._opened()
        if progress.cancelled:
            fmap.close()
        progress.check()
        kind = kind_of(fmap)
        return Opened(fmap, kind, is_compiled(kind), middle_pixel(fmap), kept)

    def _opened(self) -> tuple[Any, Kept | None]:
        from ..core.readers import open_map

        if self.journal is not None:
            return self._recovered()
        try:
            return open_map(self.path), None
        except ReadError as error:
            if "this is a saved analysis" not in error.what:
                raise
        from ..core.reopening import open_analysis, usable_view

        found = open_analysis(self.path, self.near, self.folders)
        kept = Kept(found.work, tuple(found.loaded.history), found.loaded,
                    usable_view(found.loaded.view), found.notes)  # fmt: skip
        return found.map, kept

    def _recovered(self) -> tuple[Any, Kept]:
        from ..core.readers import open_map
        from ..core.reopening import with_picture_found

        fmap = open_map(self.journal.find_map(self.near, self.folders))
        work, said = with_picture_found(self.journal.work, fmap.path.parent, fmap, ours=True)
        notes = tuple(words for words in (self.journal.problem, self.journal.unsure, said)
                      if words)  # fmt: skip
        return fmap, Kept(work, self.journal.acts, notes=notes, journal=self.journal)

    def discard(self, value: Opened) -> None:
        value.map.close()


@dataclass(frozen=True, eq=False)
class Analyse(Request):
    """Analyse a map, with what was decided about single pixels. Tells the picked pixel's report
    first (if asked), then coarse analyses."""

    map: Any
    settings: Any
    previous: Any = None
    pixel: tuple[int, int] | None = None
    review: Any = None
    lane: ClassVar[str] = "analysis"
    words: ClassVar[str] = "Analysing"

    def run(self, progress: Progress, tell: Tell) -> Any:
        from ..core.corrections import reviewed
        from ..core.explain import explain
        from ..core.pipeline import analyse

        if self.pixel is not None:
            tell(explain(self.map, self.settings, *self.pixel, self.previous))
        plain = analyse(self.map, self.settings, previous=self.previous, progress=progress,
                        partial=tell)  # fmt: skip
        if self.review is None:
            return plain
        return reviewed(plain, self.review, progress, known=self.previous)


@dataclass(frozen=True, eq=False)
class Save(Request):
    """Write files. Answers the list of paths written."""

    write: Callable[[Progress], list[Path]]
    lane: ClassVar[str] = "save"
    words: ClassVar[str] = "Saving"
    kept: ClassVar[bool] = True

    def run(self, progress: Progress, tell: Tell) -> list[Path]:
        return self.write(progress)


@dataclass(frozen=True)
class Peek:
    """What the start page shows of a map; `overview` (rows, cols) height in nm, or None."""

    path: Path
    title: str
    shape: tuple[int, int]
    overview: Any
    problem: str = ""


@dataclass(frozen=True)
class Gone:
    """Maps opened before that are not there any more."""

    paths: tuple[Path, ...]


@dataclass(frozen=True, eq=False)
class PeekAt(Request):
    """Look at some maps for the start page. Tells which of the `recent` ones are `Gone`, and one
    `Peek` for each of the `samples`; answers nothing. A slow disk is waited for here."""

    samples: tuple[Path, ...] = ()
    recent: tuple[Path, ...] = ()
    lane: ClassVar[str] = "peek"

    def run(self, progress: Progress, tell: Tell) -> None:
        from ..core.errors import InputError
        from ..core.readers import open_map

        tell(Gone(tuple(path for path in self.recent if not path.is_file())))
        for path in self.samples:
            progress.check()
            try:
                with open_map(path) as fmap:
                    tell(Peek(path, fmap.title or path.stem, fmap.shape, fmap.overview))
            except InputError as error:
                tell(Peek(path, path.stem, (0, 0), None, str(error)))


def middle_pixel(fmap: Any) -> tuple[int, int] | None:
    """The pixel with a curve that is nearest to the middle of the map; None if no curve."""
    import numpy as np

    if not fmap.n_curves:
        return None
    rows, cols = fmap.shape
    away = np.hypot(fmap.pixel[:, 0] - (rows - 1) / 2, fmap.pixel[:, 1] - (cols - 1) / 2)
    row, col = fmap.pixel[int(np.argmin(away))]
    return int(row), int(col)
