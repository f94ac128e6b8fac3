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
