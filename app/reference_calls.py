"""What the page *Reference* asks of core, and the request that carries it to the worker."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

from ..core.progress import Progress
from .law_calls import attempt
from .requests import Request, Tell


@dataclass(frozen=True)
class Changes:
    """Core's `Change` of some channels.

    Attributes
    ----------
    rows : channel by channel; in each, all pixels first
    whole : whether all channels are in it; else only the one in front
    """

    rows: tuple[Any, ...]
    whole: bool


@dataclass(frozen=True, eq=False)
class AskChanges(Request):
    """What changed from a reference. Answers `Changes`, or `Refused`.

    Attributes
    ----------
    reference, now : analyses; `now` may be coarse
    channels : to look at, the one in front first
    labels, titles, labels_before : of the components, as core's `changes` takes them
    quick : only the channel in front, while a hand drags
    """

    reference: Any
    now: Any
    channels: tuple[str, ...]
    labels: Any = None
    titles: tuple[str, ...] = ()
    labels_before: Any = None
    quick: bool = False
    lane: ClassVar[str] = "reference"
    words: ClassVar[str] = "Comparing with the reference"

    def run(self, progress: Progress, tell: Tell) -> Any:
        return attempt(lambda _: self._found(), progress, "this comparison")

    def _found(self) -> Changes:
        from ..core.reference import changes

        names = self.channels[:1] if self.quick else self.channels
        return Changes(changes(self.reference, self.now, self.labels, names, self.titles,
                               self.labels_before), not self.quick)  # fmt: skip
