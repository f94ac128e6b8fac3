"""Doubts about a whole map: raised once, with their evidence, and not at ten thousand pixels."""

from __future__ import annotations

import warnings
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from ..analysis import Analysis
from .drift import (
    BASELINE,
    DRIFT,
    JUMPS,
    NOISE,
    WEAR,
    baseline_drifts,
    height_step,
    noise_grows,
    tip_wears,
    z_drift,
)
from .overall import MANY, many_doubts
from .parts import Evidence, MapDoubt, Plot
from .sensitivity import SENSITIVITY, sensitivity_wrong
from .tip import CHANGED, tip_changed
from .view import View

__all__ = ["JUDGED", "Evidence", "Judged", "MapDoubt", "Plot", "judged", "map_doubts"]

_JUDGES = (sensitivity_wrong, tip_changed, height_step, z_drift, tip_wears, noise_grows,
           baseline_drifts, many_doubts)  # fmt: skip
JUDGED = (SENSITIVITY, CHANGED, JUMPS, DRIFT, WEAR, NOISE, BASELINE, MANY)
"""What is judged, in words, one a judge."""


@dataclass(frozen=True)
class Judged:
    """The doubts about a map as a whole, severe ones first, and what could not be judged: words of
    `JUDGED` -> why."""

    doubts: tuple[MapDoubt, ...] = ()
    lacking: Mapping[str, str] = field(default_factory=dict)


def map_doubts(analysis: Analysis, labels: np.ndarray | None = None) -> tuple[MapDoubt, ...]:
    """All doubts about a map as a whole, severe ones first; empty if there are none, or if nothing
    could be judged. Parameters and errors as in `judged`."""
    return judged(analysis, labels).doubts


def judged(analysis: Analysis, labels: np.ndarray | None = None) -> Judged:
    """What was judged of a map as a whole, and what could not be.

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
        why = "no deflection in nm" if analysis.complete else "the analysis is not complete"
        return Judged((), dict.fromkeys(JUDGED, why))
    view = View(analysis, labels)
    found: list[MapDoubt] = []
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore", RuntimeWarning)  # medians of nothing
        for judge in _JUDGES:
            found += judge(view)
    lacking = {what: view.lacking[what] for what in JUDGED if what in view.lacking}
    return Judged(tuple(sorted(found, key=lambda doubt: doubt.severity != "severe")), lacking)
