"""A review laid on an analysis: corrected pixels get the numbers of their own settings.

A correction runs the same compiled loops over its few curves under its own settings, as an analysis
of its own. Its numbers, ± and doubts take the place of the map's in every channel, whatever setting
was changed; so every map, table and statistic holds them. The rows in the stages' tables stay those
of the map's settings, since they mean nothing under another law or tip.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .analysis import Analysis
from .decisions import Decision, Review
from .errors import SettingsError
from .pipeline import CHUNK, Request, request_of, some_curves
from .progress import Progress
from .settings import Settings

Array = np.ndarray


def reviewed(analysis: Analysis, review: Review, progress: Progress | None = None,
             known: Analysis | None = None) -> Analysis:  # fmt: skip
    """The analysis with what was decided about single pixels.

    Parameters
    ----------
    analysis : of the whole map
    review : of the same map; decisions about a map of another shape concern no pixel
    known : an earlier analysis of the map whose corrections are taken over where they are the
        same; `analysis` itself if None

    Returns
    -------
    Analysis : shares everything with the one given where nothing is corrected. A correction that
        does not fit the map's settings is left undone, and `problems` tells.

    Raises
    ------
    ReadError : the file is damaged or gone
    Cancelled : on request
    """
    if review == analysis.review:
        return analysis
    there = _known(analysis, known or analysis)
    made = []
    for decision in review.corrections:
        found = there.get((decision.pixels, decision.change))
        made.append(found or _one(analysis, decision, progress or Progress()))
    if not made and not analysis.corrections:
        return analysis.with_review(review)
    return replace(analysis, review=review, corrections=tuple(made), _cache={})


def settings_at(analysis: Analysis, row: int, col: int) -> Settings:
    """The settings that a pixel is analysed under: the map's, or those of its correction."""
    decision = analysis.review.at(analysis.map.shape, row, col)
    try:
        return analysis.settings if decision is None else decision.settings(analysis.settings)
    except SettingsError:  # it is told by `problems`
        return analysis.settings


def _known(base: Analysis, other: Analysis) -> dict[object, tuple[Array, Analysis]]:
    """Corrections that another analysis holds and that are the same in this one."""
    if other.map is not base.map or other.settings != base.settings:
        return {}
    both = zip(other.review.corrections, other.corrections, strict=False)
    return {(d.pixels, d.change): made for d, made in both}


def problems(analysis: Analysis) -> list[str]:
    """Sentences on corrections that do not fit the settings of the map any more."""
    found = []
    for decision in analysis.review.corrections:
        try:
            decision.settings(analysis.settings)
        except SettingsError as error:
            found.append(f"The correction of {decision.pixels.count} pixels is not in the numbers, "
                         f"since it does not fit the settings of the map: {error}")  # fmt: skip
    return found


def _one(base: Analysis, decision: Decision, progress: Progress) -> tuple[Array, Analysis]:
    """The curves of a correction, and their own analysis; no curves if it does not fit."""
    index = base.map.index_map[decision.pixels.mask(base.map.shape)]
    curves = np.sort(index[index >= 0])
    try:
        settings = decision.settings(base.settings)
    except SettingsError:
        curves, settings = curves[:0], base.settings
    request = request_of(base.map, settings)
    parts = []
    for first in range(0, max(curves.size, 1), CHUNK):
        progress.check()
        parts.append(some_curves(base.map, request, curves[first : first + CHUNK])[1])
        progress.step(first, curves.size, "Correcting")
    rows = {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}
    return curves, _own(base, request, rows)


def _own(base: Analysis, request: Request, rows: dict[str, Array]) -> Analysis:
    n = rows["baseline"].shape[0]
    return Analysis(base.map, request.settings, request.constants, rows, {}, np.ones(n, bool),
                    pooled_walk=base.walk, period=request.period)  # fmt: skip
