"""Walking the doubtful pixels: which, in which order, which are alike, and what a decision does.

The decisions themselves are plain values in `decisions`; here stands what is asked of an analysis.
"""

from .effects import Effect, effect
from .exports import decision_rows
from .ranking import Alike, Filter, Ranking, alike, figures, like, ranking

__all__ = ["Alike", "Effect", "Filter", "Ranking", "alike", "decision_rows", "effect", "figures",
           "like", "ranking"]  # fmt: skip
