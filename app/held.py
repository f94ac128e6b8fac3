"""What the person holds for a while to look at: a reference, and pixels to lay over each other.

Neither is decided about the map, so neither is in the history; both are forgotten with the map.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

MOST_OVERLAID = 12
"""More single curves than this can't be told apart."""


@dataclass(frozen=True, eq=False)
class Reference:
    """A result that is kept beside the present one.

    Attributes
    ----------
    analysis : complete, with the pixels that were left out by hand
    when : time of day at which it was held, as text
    labels : the component of each pixel then, int (rows, cols); None if none were made
    """

    analysis: Any
    when: str
    labels: Any = None

    @property
    def settings(self) -> Any:
        return self.analysis.settings
