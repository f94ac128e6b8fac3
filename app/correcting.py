"""Corrections: a change of settings that holds for some pixels alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from ..core.decisions import Pixels, Review
from .work import Work


def corrected(work: Work, pixels: Pixels, change: Mapping[str, Any], who: str = "") -> Work:
    """The work with some pixels corrected.

    Parameters
    ----------
    pixels : that the correction holds for. Those that were corrected before keep what else was
        changed for them, and their notes
    change : ``section.field`` -> value. What then is as the map's settings are is no correction;
        where nothing is left, the decision is taken back

    Raises
    ------
    SettingsError : the values are impossible, don't fit the settings of the map, or can hold for
        one pixel only
    """
    review, rest = work.review, pixels
    for before in work.review.decisions:
        mine = pixels.shared(before.pixels)
        if mine:
            rest = rest.without(mine)
            review = _corrected(work, review, mine, dict(before.change) | dict(change),
                                before.note, who)  # fmt: skip
    if rest:
        review = _corrected(work, review, rest, dict(change), "", who)
    return replace(work, review=review)


def _corrected(work: Work, review: Review, pixels: Pixels, change: dict[str, Any], note: str,
               who: str) -> Review:  # fmt: skip
    own = {path: value for path, value in change.items() if value != work.settings.value(path)}
    work.settings.with_values(own)
    return review.correct(pixels, own, note, who) if own else review.take_back(pixels)


def about(pixels: Pixels) -> str:
    """How many pixels, in words."""
    return f"{pixels.count:,} pixels" if pixels.count != 1 else "1 pixel"
