"""Doubts about a whole map: raised once, with their evidence, and not at ten thousand pixels."""

from __future__ import annotations

import warnings

import numpy as np

from ..analysis import Analysis
from .drift import baseline_drifts, height_step, noise_grows, tip_wears, z_drift
from .overall import many_doubts
from .parts import Evidence, MapDoubt, Plot
from .sensitivity import sensitivity_wrong
from .tip import tip_changed
from .view import View

__all__ = ["Evidence", "MapDoubt", "Plot", "map_doubts"]

_JUDGES = (sensitivity_wrong, tip_changed, height_step, z_drift, tip_wears, noise_grows,
           baseline_drifts, many_doubts)  # fmt: skip
FEWEST = 4
"""Lines and columns of a map that can be judged line by line."""


def map_doubts(analysis: Analysis, labels: np.ndarray | None = None) -> tuple[MapDoubt, ...]:
    """All doubts about a map as a whole, severe ones first; empty if there are none.

    Parameters
    ----------
    analysis : complete
    labels : int (rows, cols), the component of each pixel, -1 for none; without them components
        are told by their modulus

    Raises
    ------
    ValueError : labels of another shape
    """
    if labels is not None and np.shape(labels) != analysis.map.shape:
        raise ValueError(f"the labels have the shape {np.shape(labels)}, but the map is "
                         f"{analysis.map.shape}")  # fmt: skip
    if not analysis.complete or not analysis.constants.lengths:
        return ()
    view = View(analysis, labels)
    found: list[MapDoubt] = []
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore", RuntimeWarning)  # medians of nothing
        for judge in _JUDGES:
            found += judge(view)
    return tuple(sorted(found, key=lambda doubt: doubt.severity != "severe"))
