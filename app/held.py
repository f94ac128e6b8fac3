"""What the person holds for a while to look at: a reference, and pixels to lay over each other.

Neither is decided about the map, so neither is in the history; both are forgotten with the map.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from ..core.errors import SettingsError

MOST_OVERLAID = 12
"""More single curves than this can't be told apart."""


@dataclass(frozen=True, eq=False)
class Reference:
    """A result that is kept beside the present one.

    Attributes
    ----------
    analysis : complete, with what was decided about single pixels then
    when : time of day at which it was held, as text
    labels : the component of each pixel then, int (rows, cols); None if none were made
    """

    analysis: Any
    when: str
    labels: Any = None

    @property
    def settings(self) -> Any:
        return self.analysis.settings

    def settings_at(self, row: int, col: int) -> Any:
        """The settings that a pixel was analysed under: the map's, or those of its correction."""
        decision = self.analysis.review.at(self.analysis.map.shape, row, col)
        try:
            return decision.settings(self.settings) if decision is not None else self.settings
        except SettingsError:  # the correction did not fit, so it was not in the numbers
            return self.settings
