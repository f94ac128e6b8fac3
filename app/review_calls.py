"""What the panel *Doubts* asks of core, and the requests that carry it to the worker."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

from ..core.progress import Progress
from .law_calls import attempt
from .requests import Request, Tell


@dataclass(frozen=True, eq=False)
class AskRanking(Request):
    """Rank the doubtful pixels. Answers a `Ranking`, or `Refused`."""

    analysis: Any
    lane: ClassVar[str] = "ranking"
    words: ClassVar[str] = "Looking for doubtful pixels"

    def run(self, progress: Progress, tell: Tell) -> Any:
        from ..core.review import ranking

        return attempt(lambda _: ranking(self.analysis), progress, "the list of doubtful pixels")


@dataclass(frozen=True, eq=False)
class AskEffect(Request):
    """What a decision does to the medians. Answers an `Effect`, or `Refused`.

    Attributes
    ----------
    number : of the decision; None for all together
    labels, titles : of the components; None and () without any
    """

    analysis: Any
    number: int | None
    labels: Any = None
    titles: tuple[str, ...] = ()
    lane: ClassVar[str] = "effect"
    words: ClassVar[str] = "Working out what the decision changes"

    def run(self, progress: Progress, tell: Tell) -> Any:
        from ..core.review import effect

        return attempt(lambda p: effect(self.analysis, self.number, self.labels, self.titles, p),
                       progress, "this decision")  # fmt: skip


@dataclass(frozen=True, eq=False)
class AskMapDoubts(Request):
    """The doubts about the whole map. Answers a tuple of `MapDoubt`, or `Refused`.

    Attributes
    ----------
    labels : int (rows, cols), component of each pixel; None without components
    """

    analysis: Any
    labels: Any = None
    lane: ClassVar[str] = "map doubts"
    words: ClassVar[str] = "Looking at the map as a whole"

    def run(self, progress: Progress, tell: Tell) -> Any:
        from ..core.mapdoubts import map_doubts

        return attempt(lambda _: map_doubts(self.analysis, self.labels), progress,
                       "the doubts about the map")  # fmt: skip
