"""What the tab *Rehearsal* asks of core, and the request that carries it to the worker."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, ClassVar

from ..core.progress import Progress
from .law_calls import Refused, attempt
from .requests import Request, Tell


@dataclass(frozen=True)
class Wish:
    """What the form asks for: moduli [GPa] from `low` to `high`, curves of each, seed, and curves
    of each modulus with each kind of fault (0: none); `changes` of the scene by name."""

    low: float
    high: float
    steps: int = 8
    curves: int = 100
    seed: int = 1
    faults: int = 10
    changes: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, eq=False)
class AskRehearsal(Request):
    """Rehearse the settings of an analysed map. Answers a `Rehearsal`, or `Refused`.

    Attributes
    ----------
    analysis : what the scene is read off, and whose settings are run
    labels : of its components (rows, cols); None if they are not worked out
    """

    analysis: Any
    wish: Wish
    labels: Any = None
    lane: ClassVar[str] = "rehearsal"
    words: ClassVar[str] = "Rehearsing"

    def run(self, progress: Progress, tell: Tell) -> Any:
        return attempt(self._made, progress, "this map")

    def _made(self, progress: Progress) -> Any:
        from ..core import rehearsal as core

        wish = self.wish
        moduli = core.moduli_between(wish.low, wish.high, wish.steps)
        scene = core.scene_of(self.analysis, self.labels).changed(**dict(wish.changes))
        return core.rehearse(scene, self.analysis.settings, moduli, wish.curves, wish.seed,
                             progress, wish.faults)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Offer:
    """What a map offers: a range of moduli [GPa], and the scene that was read off it."""

    low: float
    high: float
    scene: Any


def offered(analysis: Any, labels: Any = None) -> Offer | Refused:
    """What a map offers, or why it offers nothing."""
    from ..core.errors import InputError
    from ..core.rehearsal import offered_range, scene_of

    try:
        return Offer(*offered_range(analysis, labels), scene_of(analysis, labels))
    except InputError as error:
        return Refused(str(error))


__all__ = ["AskRehearsal", "Offer", "Refused", "Wish", "offered"]
