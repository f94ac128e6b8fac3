"""What the panel *Components* asks of core, and the request that carries it to the worker."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, ClassVar

from ..core.components.rule import Rule
from ..core.progress import Progress
from .law_calls import Refused, attempt
from .requests import Request, Tell


@dataclass(frozen=True, eq=False)
class Made:
    """Components as far as they are worked out.

    Attributes
    ----------
    composition : core's `Composition`
    table : core's `Table`; None until it is there
    pairs : of components; None until they are there
    whole : whether nothing more follows
    """

    composition: Any
    table: Any = None
    pairs: Any = None
    whole: bool = False


@dataclass(frozen=True, eq=False)
class AskComponents(Request):
    """Make components of an analysed map. Tells `Made` step by step and answers the whole, or
    `Refused` with a reason.

    Attributes
    ----------
    analysis, left_out, rule : what to work on; `left_out` is bool (rows, cols)
    known : a composition whose labels hold, because the rule differs in names only; None else
    channels : of the table; None for the usual ones
    quick : only what is seen while a hand drags: labels and the table of the rule's own channels
    """

    analysis: Any
    left_out: Any
    rule: Rule
    known: Any = None
    channels: tuple[str, ...] | None = None
    quick: bool = False
    lane: ClassVar[str] = "components"
    words: ClassVar[str] = "Looking for components"

    def run(self, progress: Progress, tell: Tell) -> Any:
        return attempt(lambda progress: self._made(progress, tell), progress, "these components")

    def _made(self, progress: Progress, tell: Tell) -> Made:
        from ..core import components as core

        if self.known is not None:
            found = replace(self.known, rule=self.rule)
        else:
            maps = core.Maps.of(self.analysis, self.left_out)
            found = core.find(maps, self.rule, progress)
        tell(Made(found))
        progress.check()
        if self.quick:
            own = tuple(axis.channel for axis in self.rule.axes)
            return Made(found, core.table_of(found, own))
        table = core.table_of(found, self.channels)
        tell(Made(found, table))
        progress.check()
        table = core.with_common(found, table)
        pairs = core.pairs_with_common(found, core.pairs_of(found, table), table)
        return Made(found, table, pairs, whole=True)


@dataclass(frozen=True, eq=False)
class AskShape(Request):
    """The shapes of a composition. Answers a `ShapeReport`, or `Refused`."""

    composition: Any
    lane: ClassVar[str] = "shape"
    words: ClassVar[str] = "Looking at shapes"

    def run(self, progress: Progress, tell: Tell) -> Any:
        from ..core.components import shape_report

        return attempt(lambda p: shape_report(self.composition, p), progress, "these shapes")


__all__ = ["AskComponents", "AskShape", "Made", "Refused"]
