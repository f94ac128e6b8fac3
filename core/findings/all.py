"""The value itself."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ..analysis import Analysis
from ..corrections import settings_at
from ..explain import explain
from ..mapdoubts import Judged, MapDoubt, judged
from ..review.ranking import Ranking, ranking
from ..work import Work

if TYPE_CHECKING:
    from ..components import Composition, Pair, Table
    from ..curvereport import CurveReport
    from ..forcemap import ForceMap

Array = np.ndarray


@dataclass(frozen=True, eq=False)
class Findings:
    """An analysis with all that was decided and found about it.

    Attributes
    ----------
    analysis : complete, with its review and corrections
    work : what was decided: settings, rule, review, places, picture, levelling, sheets, answers
    composition, table, pairs : components with their table; None and () if there are none
    view : what is looked at, as plain values
    result : the result file that it is saved in; None if it is not
    notes : sentences on what is not as it should be, such as components that can't be made
    """

    analysis: Analysis
    work: Work
    composition: Composition | None = None
    table: Table | None = None
    pairs: tuple[Pair, ...] = ()
    view: dict[str, Any] = field(default_factory=dict)
    result: Path | None = None
    notes: tuple[str, ...] = ()

    @property
    def map(self) -> ForceMap:
        return self.analysis.map

    @property
    def name(self) -> str:
        """Name of the map, for people."""
        path = self.map.path
        return self.map.title or (path.name if path is not None else "unnamed map")

    @property
    def labels(self) -> Array | None:
        """Component of each pixel, int (rows, cols), -1 in none; None without components."""
        return None if self.composition is None else np.asarray(self.composition.labels)

    @cached_property
    def judged(self) -> Judged:
        """Doubts about the map as a whole, and what of it could not be judged."""
        return judged(self.analysis, self.labels)

    @cached_property
    def map_doubts(self) -> tuple[MapDoubt, ...]:
        """Doubts about the map as a whole."""
        return self.judged.doubts

    @property
    def not_judged(self) -> Mapping[str, str]:
        """What of the map as a whole could not be judged -> why."""
        return self.judged.lacking

    @cached_property
    def ranking(self) -> Ranking:
        """The doubtful pixels, worst first."""
        return ranking(self.analysis)

    def explain(self, row: int, col: int) -> CurveReport | None:
        """One pixel with all that was found on its curve, corrected as the review says; None where
        there is no curve. Raises ReadError if the file is damaged or gone."""
        settings = settings_at(self.analysis, row, col)
        return explain(self.map, settings, row, col, self.analysis)
