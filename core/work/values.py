"""What the person has decided about a map: one frozen value, an entry of the history each.

Undo takes back settings, the rule for components, places on the map and pixels left out alike,
since all of them stand in here.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ..components.rule import Rule
from ..decisions import Review
from ..settings import Settings
from ..sheets import Sheet
from ..surface.levelling import Levelling
from .answers import Answers


@dataclass(frozen=True)
class Laid:
    """Another picture of the place, and how it lies on the map.

    Attributes
    ----------
    path : the file
    alignment : core's `Alignment`, which also knows the file by its checksum
    pairs : landmarks as (column, row) in the picture and (x, y) on the map [nm]
    kind : what landmarks may do to the picture: "shift", "similarity" or "affine"
    """

    path: Path
    alignment: Any = None
    pairs: tuple[tuple[float, float, float, float], ...] = ()
    kind: str = "similarity"


@dataclass(frozen=True)
class Work:
    """See the module. `review` holds what was decided about single pixels; `places` regions and
    profiles, `picture` another picture of the map's place, None while there are none; `levelling`
    is what is taken off the heights, None for nothing; `sheets` are recipes of figures, `answers`
    what the person said where the methods paragraph asks."""

    settings: Settings = field(default_factory=Settings)
    rule: Rule = field(default_factory=Rule)
    review: Review = field(default_factory=Review)
    places: Any = None
    picture: Laid | None = None
    levelling: Levelling | None = field(default_factory=Levelling)
    sheets: tuple[Sheet, ...] = ()
    answers: Answers = field(default_factory=Answers)
