"""What the panel *Places* asks of core, and the request that carries it to the worker."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

from ..core.progress import Progress
from .law_calls import attempt
from .requests import Request, Tell


@dataclass(frozen=True, eq=False)
class AskStatistics(Request):
    """The statistics of one or two regions in one channel. Answers ``(statistics, differences)``:
    a list of core's `RegionStatistics`, and name -> `Difference` (empty for one region); or
    `Refused`.

    Attributes
    ----------
    analysis : what to work on
    masks : (name, bool (rows, cols)) of each region
    channel : its name
    left_out : bool (rows, cols), pixels left out by hand
    """

    analysis: Any
    masks: list[tuple[str, Any]]
    channel: str
    left_out: Any
    lane: ClassVar[str] = "places"
    words: ClassVar[str] = "Statistics of a region"

    def run(self, progress: Progress, tell: Tell) -> Any:
        return attempt(lambda _: self._found(), progress, "these statistics")

    def _found(self) -> tuple[list[Any], dict[str, Any]]:
        from ..core.places import differences, statistics_of

        found = [statistics_of(self.analysis, mask, name=name, channels=(self.channel,),
                               decided=self.left_out) for name, mask in self.masks]  # fmt: skip
        return found, differences(*found) if len(found) == 2 else {}
