"""Frozen requests for the background worker: what to do, with all that it needs.

Each has a `lane` (in one lane a newer request replaces an older one, except when it is `kept`),
`words` for the status bar, ``run(progress, tell)`` and ``discard(value)`` for an answer that came
too late. Nothing here touches Qt; heavy modules are loaded where they are used, on the worker.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

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
    """

    map: Any
    kind: str
    compiled: bool
    start: tuple[int, int] | None


@dataclass(frozen=True, eq=False)
class OpenMap(Request):
    """Open a map. Answers `Opened`."""

    path: Path
    lane: ClassVar[str] = "open"
    words: ClassVar[str] = "Opening the map"
    first: ClassVar[bool] = True

    def run(self, progress: Progress, tell: Tell) -> Opened:
        from ..core import channels  # noqa: F401  (the window asks for it next)
        from ..core.readers import open_map

        fmap = open_map(self.path)
        if progress.cancelled:
            fmap.close()
        progress.check()
        kind = kind_of(fmap)
        return Opened(fmap, kind, is_compiled(kind), middle_pixel(fmap))

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
