"""What the page *Range* asks of core, and the request that carries it to the worker."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

from ..core.progress import Progress
from .law_calls import attempt
from .requests import Request, Tell


@dataclass(frozen=True, eq=False)
class AskRange(Request):
    """Try fit windows. Answers core's `Scan`, or `Refused`.

    Attributes
    ----------
    map, settings : what to work on
    known : the complete analysis, or None; what holds of it is taken over
    curve : number of a curve; None for a sample
    mask : bool (rows, cols), the pixels that the sample is taken of; None for the map
    """

    map: Any
    settings: Any
    known: Any
    curve: int | None = None
    mask: Any = None
    lane: ClassVar[str] = "range"
    words: ClassVar[str] = "Trying fit windows"
    first: ClassVar[bool] = True  # its page is looked at now

    def run(self, progress: Progress, tell: Tell) -> Any:
        what = "this curve" if self.curve is not None else "these curves"
        return attempt(self._made, progress, what)

    def _made(self, progress: Progress) -> Any:
        from ..core.holding import sample_of, scan

        known = self.known
        curves = [self.curve] if self.curve is not None else sample_of(known, self.mask)
        return scan(self.map, self.settings, curves, known=known, progress=progress)


__all__ = ["AskRange"]
