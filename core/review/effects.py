"""What a decision does to the numbers: the analysis with it against the one without it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from .. import units
from ..analysis import Analysis
from ..channels import CHANNELS
from ..corrections import reviewed
from ..decisions import CORRECTED, KEPT, LEFT_OUT, Decision, Review
from ..progress import Progress
from ..reference import Change, changes, median_of

Array = np.ndarray
SHOWN = ("modulus", "reduced_modulus", "adhesion", "release_force", "stiffness", "indentation",
         "dissipation", "contact_height")  # fmt: skip
"""Channels whose medians are compared."""
ACTS = {KEPT: "keeping", LEFT_OUT: "leaving out", CORRECTED: "correcting"}
SMALL = 0.0005
"""A change below this share is told as none."""


@dataclass(frozen=True, eq=False)
class Effect:
    """What some decisions change.

    Attributes
    ----------
    decision : the one that it is about; None for all of them together
    pixels : how many pixels they concern
    rows : of `changes`, without and with them: all pixels first, then each component
    chance : (channel, number of the component) -> the relative standard deviation that leaving out,
        or keeping, as many pixels at random would change the median by; NaN where unknown
    """

    decision: Decision | None
    pixels: int
    rows: tuple[Change, ...]
    chance: Mapping[tuple[str, int | None], float] = field(default_factory=dict, repr=False)

    @property
    def sentences(self) -> list[str]:
        """What changes by half a thousandth or more, the strongest first; one sentence if nothing
        does. Where there are components, nothing is said of all pixels together: that median lies
        in whichever component has more of them, and can jump from one to the other."""
        parts = any(row.number is not None for row in self.rows)
        told = [(abs(share), _sentence(self, row, share)) for row in self.rows
                if math.isfinite(share := share_of(row)) and abs(share) >= SMALL
                and (row.number is not None or not parts)]  # fmt: skip
        if not told:
            return [f"{_begin(self)} changes no median by as much as 0.05 %."]
        return [words for _, words in sorted(told, key=lambda one: -one[0])]


def share_of(row: Change) -> float:
    """Relative change of the median; NaN for a height, or without a median on either side."""
    if CHANNELS[row.channel].kind != "magnitude" or not (math.isfinite(row.before) and row.before):
        return math.nan
    return row.after / row.before - 1.0


def _begin(effect: Effect) -> str:
    act = "deciding" if effect.decision is None else ACTS[effect.decision.kind]
    if effect.pixels == 1:
        return f"{act} this pixel".capitalize()
    return f"{act} these {effect.pixels:,}".capitalize()


def _sentence(effect: Effect, row: Change, share: float) -> str:
    channel = CHANNELS[row.channel]
    where = "all pixels" if row.number is None else f"component {row.title}"
    before, after = (units.text_of(v, channel.unit) for v in (row.before, row.after))
    name = channel.label if channel.label.startswith("Young") else channel.label.lower()
    return (f"{_begin(effect)} changes the {name} of {where} by {100.0 * share:+.2g} %, "
            f"from {before} to {after}{_against_chance(effect, row)}.")  # fmt: skip


def _against_chance(effect: Effect, row: Change) -> str:
    """What as many pixels at random would do, or the ± of paired values; empty if not known."""
    by_chance = effect.chance.get((row.channel, row.number), math.nan)
    if math.isfinite(by_chance):
        return f" (as many at random: ±{100.0 * by_chance:.1g} %)"
    return ""


def effect(analysis: Analysis, number: int | None = None, labels: Array | None = None,
           titles: Sequence[str] = (), progress: Progress | None = None) -> Effect:  # fmt: skip
    """What one decision, or all of them, does to the medians.

    Parameters
    ----------
    analysis : with its review
    number : place in `review.decisions`; None for all decisions together
    labels : (rows, cols) int, component of each pixel, as it is with the decision; -1 for none
    titles : of the components

    Returns
    -------
    Effect : components are held as they are, so that only the numbers change and not what they
        are taken over; a pixel that was left out counts in the component of most of its neighbours
        without the decision

    Raises
    ------
    ReadError : the file is damaged or gone
    Cancelled : on request
    """
    review = analysis.review
    decision = None if number is None else review.decisions[number]
    less = Review() if decision is None else review.take_back(decision.pixels)
    without = reviewed(analysis, less, progress)
    there = ~without.trusted | ~analysis.trusted
    before = labels if labels is None else _spread(labels, there)
    rows = changes(without, analysis, before, SHOWN, titles, before)
    concerned = sum(d.pixels.count for d in review.decisions) if decision is None else (
        decision.pixels.count)  # fmt: skip
    return Effect(decision, concerned, rows, _chances(without, rows, before))


def _chances(without: Analysis, rows: Sequence[Change], labels: Array | None
             ) -> dict[tuple[str, int | None], float]:  # fmt: skip
    """Of a sample of n drawn without replacement from N, the median differs from that of all by
    (standard error of the median of n) √(1 - n/N) (finite population, from memory: W. G. Cochran,
    Sampling Techniques)."""
    found = {}
    for row in rows:
        fewer, more = sorted((row.trusted_before, row.trusted_after))
        if fewer == more or fewer < 5 or not row.before:
            continue
        mine = without.trusted if row.number is None else without.trusted & (labels == row.number)
        values = without.channel(row.channel)[mine]
        error = median_of(values[np.isfinite(values)], float(fewer))[1]
        found[row.channel, row.number] = abs(error / row.before) * math.sqrt(1.0 - fewer / more)
    return found


def _spread(labels: Array, missing: Array) -> Array:
    """Pixels in no component that are `missing` get the commonest one among their neighbours."""
    out = labels.copy()
    rows, cols = np.nonzero(missing & (labels < 0))
    for row, col in zip(rows, cols, strict=True):
        around = labels[max(row - 1, 0) : row + 2, max(col - 1, 0) : col + 2]
        around = around[around >= 0]
        if around.size:
            out[row, col] = int(np.bincount(around).argmax())
    return out
