"""What components are made of: the maps of one place, and which pixels may be used.

Everything in this room works on `Maps`, so that a measured map, a saved result and drawn arrays go
the same way.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from ..channels import CHANNELS
from ..models import law_of
from ..models.law import contact_at
from ..uncertainty.groups import pitch_of

Array = np.ndarray

USED, NO_CURVE, SEVERE, EXCLUDED, NO_VALUE, NOT_POSITIVE = range(6)
REASONS = {
    NO_CURVE: "no curve",
    SEVERE: "a severe doubt",
    EXCLUDED: "left out by hand",
    NO_VALUE: "no value",
    NOT_POSITIVE: "not above zero, so without a logarithm",
}
"""Why a pixel is left out, in the order in which a reason goes before the next."""


@dataclass(frozen=True, eq=False)
class Maps:
    """Channels of one map.

    Attributes
    ----------
    values, errors : channel -> (rows, cols) in core units and its local standard uncertainty; NaN
        where missing; a channel without an uncertainty is not in `errors`
    reasons : uint8 (rows, cols), `USED` or why a pixel may not be used whatever the channel
    pitch : distance between rows and between columns [nm, or pixels without a scale]
    scaled : whether `pitch` is in nm
    contact_radius : contact radius [nm] at indentations [nm]; None where tip or scale is not known
    source : the analysis, for budgets; None for arrays
    """

    values: Mapping[str, Array]
    errors: Mapping[str, Array] = field(default_factory=dict)
    reasons: Array = field(default_factory=lambda: np.zeros((0, 0), np.uint8))
    pitch: tuple[float, float] = (1.0, 1.0)
    scaled: bool = False
    contact_radius: Callable[[Array], Array] | None = None
    source: Any = None

    def __post_init__(self) -> None:
        if self.reasons.shape != self.shape:
            object.__setattr__(self, "reasons", np.zeros(self.shape, np.uint8))

    @property
    def shape(self) -> tuple[int, int]:
        rows, cols = next(iter(self.values.values())).shape
        return rows, cols

    @property
    def usable(self) -> Array:
        """(rows, cols) bool: pixels with a curve, no severe doubt and not left out by hand."""
        return self.reasons == USED

    @property
    def pixel_area(self) -> float:
        """Of one pixel [nm², or 1 without a scale]."""
        return self.pitch[0] * self.pitch[1]

    @classmethod
    def of(cls, analysis: Any, excluded: Array | None = None) -> Maps:
        """The maps of an analysis; `excluded` is a bool map of pixels left out by hand, those of
        the analysis if None."""
        channels = analysis.channels()
        excluded = getattr(analysis, "left_out", None) if excluded is None else excluded
        reasons = np.zeros(analysis.map.shape, np.uint8)
        if excluded is not None:
            reasons[np.asarray(excluded, bool)] = EXCLUDED
        reasons[analysis.severe] = SEVERE
        reasons[analysis.map.index_map < 0] = NO_CURVE
        return cls({c.name: v for c, v, _ in channels},
                   {c.name: e for c, _, e in channels if e is not None}, reasons,
                   pitch_of(analysis), analysis.map.has_scale, contact_radius_of(analysis),
                   analysis)  # fmt: skip


def contact_radius_of(analysis: Any) -> Callable[[Array], Array] | None:
    """Contact radius [nm] at indentations (n,) [nm] under the law in use; None without a tip.

    Of a law F = E* G(δ) it is a = G'(δ)/2 (from S = 2 E* a; Pharr, Oliver & Brotzen, J. Mater. Res.
    7 (1992) 613). Without adhesion's part: JKR's contact is wider.
    """
    law = law_of(analysis.settings.fit.law)
    sizes = tuple(one.value for one in analysis.constants.sizes)[: len(law.sizes)]
    if not (analysis.map.has_scale and all(math.isfinite(size) for size in sizes)):
        return None

    def radius(depth: Array) -> Array:
        depth = np.maximum(np.asarray(depth, float), 0.0)
        if law.profile is not None:
            return contact_at(law, depth, *sizes)[0]
        n = law.exponent
        return np.asarray(0.5 * n * law.factor(*sizes) * depth ** (n - 1.0))

    return radius


def label_of(channel: str, log: bool = False) -> str:
    """A channel's words with its unit, as an axis says it."""
    known = CHANNELS.get(channel)
    words = known.title if known else channel
    return f"log₁₀ {words}" if log else words
