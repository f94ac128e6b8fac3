"""Corrections: a change of settings that holds for some pixels alone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from ..core.decisions import Decision, Pixels
from .work import Work


def corrected(work: Work, pixels: Pixels, before: Decision | None, change: Mapping[str, Any],
              who: str = "") -> Work:  # fmt: skip
    """The work with some pixels corrected.

    Parameters
    ----------
    pixels : that the correction holds for
    before : the decision about the picked one of them; what it changes is kept, and its note
    change : ``section.field`` -> value. What then is as the map's settings are is no correction;
        where nothing is left, the decision is taken back

    Raises
    ------
    SettingsError : the values are impossible, or don't fit the settings of the map
    """
    own = dict(before.change) if before is not None else {}
    own |= dict(change)
    own = {path: value for path, value in own.items() if value != work.settings.value(path)}
    work.settings.with_values(own)
    note = before.note if before is not None else ""
    if own:
        review = work.review.correct(pixels, own, note, who)
    else:
        review = work.review.take_back(pixels)
    return replace(work, review=review)


def about(pixels: Pixels) -> str:
    """How many pixels, in words."""
    return f"{pixels.count:,} pixels" if pixels.count != 1 else "1 pixel"
