"""Steps along the scan that all components share: where, how large, and how sure.

A line is a step if the narrow windows of `lines.WINDOWS` see the same one there, if it stands out
of what chance does elsewhere in the map, and if it is not a change of what the sample is made of:
pixels of every level (component) have to take part alike, and none may have stayed as it was. Where
the map shows one level only, the tip's own rule has to hold: the pull-off by the square of the
modulus; a pull-off that steps alone is kept apart, for it may be the sample's.

A tip does not wait for the end of a line. A line in which it changed belongs to neither side, so
where no two neighbours show a step, a line is left out and the one before it compared with the one
after.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from .lines import (
    BIWEIGHT,
    WINDOWS,
    Array,
    Series,
    differences,
    location,
    pair_width,
    series_of,
    spread,
)

CLEAR = 8.0
"""Standard deviations, of all channels together, from which on a step is no chance; measured on
maps without one (tests/test_mapdoubts_tip.py)."""
CLEAR_APART = 12.0
"""The same where a line is left out: rows that drift on their own differ more the further they are
apart."""
WORTH_A_LOOK = 4.5
"""The same, of the rough first measure, from which on a line is measured in full."""
ELSEWHERE = 20
"""Other lines at which the full measure is tried, for what chance does to it."""
AGREE = 3.5
"""Standard deviations within which the windows have to agree, and the levels."""
MOST = 6
"""Steps that are looked for."""
LINES = 6
"""Lines for each line of a window that is compared, without which it is not asked."""
STAYED = 0.2
"""Pixels that did not change over those that did, above which the step is the sample's."""
WENT = 0.35
"""Share of the pixels on either side of the line that have to take part."""
SMALL_LEVEL = 0.03
"""Share of the pixels from which on a level counts."""
NEAR = 0.10
"""By how much of the step the levels may differ: the law is not exactly the sample's."""


BLOCK = 8
"""Columns that are taken together where an error is read off their scatter."""

Levels = tuple[tuple[float, Array, Array], ...]


@dataclass(frozen=True, eq=False)
class Step:
    """A step between the lines `line` - 1 and `line`, counted as they were taken; if `split`, in
    the midst of `line`, so that `line` + 1 is the first after it.

    Attributes
    ----------
    size, error : (channels,) of the logarithms, and standard uncertainties; NaN without a value
    clear : how many standard deviations it stands out
    levels : (level, (channels,) sizes, (channels,) errors) of each level that was compared
    window : lines on either side that the sizes are from
    pull_only : True if only the pull-off steps and one level alone tells it: tip or sample
    """

    line: int
    size: Array
    error: Array
    clear: float
    levels: Levels
    window: int
    split: bool = False
    pull_only: bool = False

    def taken_out(self, y: Array, k: int) -> Array:
        """Channel k of the map without this step; a split line belongs to neither side."""
        y = y.copy()
        y[self.line :] -= self.size[k] if math.isfinite(self.size[k]) else 0.0
        if self.split:
            y[self.line] = np.nan
        return y


def find_steps(logs: list[Array], labels: Array | None, least: float) -> list[Step]:
    """All steps, in the order of the lines.

    Parameters
    ----------
    logs : one (lines, across) a channel, logarithms; NaN where missing; the first tells the levels
    labels : int (lines, across) of components, -1 none; without them the levels are found
    least : smallest step of a logarithm that is told
    """
    found: list[Step] = []
    widths = [pair_width(differences(y, 1)) for y in logs]
    left = logs
    while len(found) < MOST:
        known = {s.line + i for s in found for i in range(1 + s.split)}
        step = (largest_step(left, labels, widths, least, known)
                or largest_step(left, labels, widths, least, known, gap=1))  # fmt: skip
        if step is None:
            break
        found.append(step)
        left = [step.taken_out(y, k) for k, y in enumerate(left)]
    ordered = sorted(found, key=lambda s: s.line)
    return [_again(step, found, logs, labels, widths) for step in ordered]


def _again(step: Step, found: list[Step], logs: list[Array], labels: Array | None,
           widths: list[float]) -> Step:  # fmt: skip
    """The sizes of a step once more, with all others taken out."""
    clean = list(logs)
    for other in found:
        if other is not step:
            clean = [other.taken_out(y, k) for k, y in enumerate(clean)]
    clean, labels = _without(clean, labels, step.line, int(step.split))
    size, error, window, levels = _measured(clean, labels, step.line, widths, step.size)
    return replace(step, size=size, error=np.fmax(error, step.error), window=window, levels=levels)


def _without(logs: list[Array], labels: Array | None, line: int, gap: int
             ) -> tuple[list[Array], Array | None]:  # fmt: skip
    """Channels and labels without `gap` lines from a line on."""
    gone = np.arange(line, line + gap)
    return ([np.delete(y, gone, axis=0) for y in logs],
            None if labels is None else np.delete(labels, gone, axis=0))  # fmt: skip


def largest_step(logs: list[Array], labels: Array | None, widths: list[float], least: float,
                 known: set[int], gap: int = 0) -> Step | None:  # fmt: skip
    """The clearest step that is not the sample's own; None if there is none. With a gap of one line
    that line is left out."""
    lines = logs[0].shape[0]
    windows = [w for w in WINDOWS if lines >= LINES * w]
    usable = [k for k, width in enumerate(widths) if width > 0.0]
    if not windows or not usable:
        return None
    series = {(w, k): series_of(logs[k], w, widths[k], gap) for w in windows for k in usable}
    score, widest = _score(series, windows, usable, lines)
    edge = 2 + 2 * gap  # too few lines beyond
    score[:edge], score[lines + 1 - edge - gap :] = 0.0, 0.0
    for line in known:
        score[max(line - 1, 0) : line + 2] = 0.0
    chance: Array | None = None
    for _ in range(MOST):
        line = int(np.argmax(score))
        if score[line] < WORTH_A_LOOK:
            return None
        rough = np.full(len(logs), np.nan)
        rough[usable] = [series[int(widest[line]), k].at[line] for k in usable]
        some, named = _without(logs, labels, line, gap)
        size, error, window, levels = _measured(some, named, line, widths, rough)
        if chance is None:
            chance = _chance(logs, labels, widths, line, gap)
        error = np.fmax(error, chance)
        clear = math.sqrt(float(np.nansum((size / error) ** 2)))
        near = _levels(some, named, line, 2, widths, rough)
        if (clear >= (CLEAR_APART if gap else CLEAR)
                and np.nanmax(np.abs(size), initial=0.0) >= least
                and _common(some, line, size, error, widths, levels, near)):  # fmt: skip
            one = max(len(levels), len(near)) < 2
            return Step(line, size, error, clear, levels, window, bool(gap),
                        one and not of_a_tip(size, error))  # fmt: skip
        score[max(line - 1, 0) : line + 2] = 0.0
    return None


def _chance(logs: list[Array], labels: Array | None, widths: list[float], line: int, gap: int
            ) -> Array:  # fmt: skip
    """How much the same measure scatters at other lines of the map, (channels,)."""
    lines = logs[0].shape[0]
    others = [at for at in range(2, lines - 1 - gap) if abs(at - line) > 4]
    others = others[:: max(len(others) // ELSEWHERE, 1)]
    still = np.zeros(len(logs))
    sizes = [_measured(*_without(logs, labels, at, gap), at, widths, still)[0] for at in others]
    if len(sizes) < 4:
        return np.full(len(logs), np.nan)
    return np.array([spread(column) for column in np.stack(sizes).T])


def _score(series: dict[tuple[int, int], Series], windows: list[int], usable: list[int],
           lines: int) -> tuple[Array, Array]:  # fmt: skip
    """How far the steps at each line stand out, and the widest window that agrees with all narrower
    ones, (lines + 1,) each; 0 where not even the two narrowest agree.

    A wide window may see another component's heap, so it is not asked where it disagrees.
    """
    agree, widest = np.ones(lines + 1, bool), np.full(lines + 1, windows[0])
    best = np.zeros(lines + 1)
    with np.errstate(invalid="ignore"):
        for i, w in enumerate(windows):
            total = np.zeros(lines + 1)
            for k in usable:
                here = series[w, k]
                total += np.nan_to_num(here.at / here.chance) ** 2
                for v in windows[:i]:
                    narrow = series[v, k]
                    agree &= ~(np.abs(here.at - narrow.at) > AGREE * narrow.chance)
            if i == 1:
                best[~agree] = 0.0
            known = agree & np.logical_or.reduce([np.isfinite(series[w, k].at) for k in usable])
            best = np.where(agree, np.maximum(best, np.sqrt(total)), best)
            widest = np.where(known, w, widest)
    return best, widest


def _measured(logs: list[Array], labels: Array | None, line: int, widths: list[float], rough: Array
              ) -> tuple[Array, Array, int, Levels]:  # fmt: skip
    """Sizes, errors, window and levels at a line; of the windows that have room there the one with
    the smallest errors. Where no level has enough pixels the sizes stay rough, without an error."""
    lines = logs[0].shape[0]
    room = min(line, lines - line)
    best: tuple[Array, Array, int, Levels] = rough, np.full(len(logs), np.nan), 0, ()
    for w in (2, 4, 8):
        if w > room and w > 2:
            break
        levels = _levels(logs, labels, line, min(w, room), widths, rough)
        if not levels:
            continue
        size, error = _pooled(levels)
        if best[2] == 0 or np.nansum(error**2) < np.nansum(best[1] ** 2):
            best = size, error, w, levels
    return best


def _pooled(levels: Levels) -> tuple[Array, Array]:
    """Mean of the levels, weighted by their errors, and its error."""
    sizes, errors = (np.stack([level[i] for level in levels]) for i in (1, 2))
    weight = np.where(np.isfinite(sizes), 1.0 / errors**2, 0.0)
    total = weight.sum(axis=0)
    with np.errstate(invalid="ignore", divide="ignore"):
        return (np.where(total > 0.0, np.nansum(weight * np.nan_to_num(sizes), axis=0) / total,
                         np.nan), np.sqrt(1.0 / total))  # fmt: skip


def _pairs(logs: list[Array], line: int, w: int) -> list[tuple[Array, Array]]:
    """Values before and after a line, each of w lines with up to four of w, one pair of arrays a
    channel."""
    before = np.tile(np.arange(w), min(w, 4))
    after = (before + np.repeat(np.arange(min(w, 4)), w)) % w
    return [(y[line - 1 - before].ravel(), y[line + after].ravel()) for y in logs]


def _levels(logs: list[Array], labels: Array | None, line: int, w: int, widths: list[float],
            rough: Array) -> Levels:  # fmt: skip
    """The step of each level: of each component, or of each heap of the first channel."""
    pairs = _pairs(logs, line, w)
    group = _grouped(pairs, labels, line, w, rough, widths)
    column = np.tile(np.arange(logs[0].shape[1]), w * min(w, 4)) // BLOCK
    out = []
    for g in range(int(group.max(initial=-1)) + 1):
        inside = group == g
        n = np.count_nonzero(inside)
        if n < max(SMALL_LEVEL * np.count_nonzero(group >= 0), 4 * w):
            continue
        sizes, errors = np.full(len(logs), np.nan), np.full(len(logs), np.nan)
        for k, width in enumerate(widths):
            moved = (pairs[k][1] - pairs[k][0])[inside]
            if width > 0.0 and np.isfinite(moved).sum() >= 4:
                sizes[k], errors[k] = _mean_of(moved, column[inside], width, w)
        out.append((float(np.nanmedian(pairs[0][0][inside])), sizes, errors))
    return tuple(out)


def _mean_of(moved: Array, block: Array, width: float, w: int) -> tuple[float, float]:
    """Location of one level's steps, and its error from how blocks of columns scatter: what is
    correlated over less than a block is not taken for independent."""
    size = float(location(moved[None, :], width)[0])
    off = moved - size
    near = np.isfinite(off) & (np.abs(off) < BIWEIGHT * width)
    n = max(int(near.sum()), 1)
    sums = np.bincount(block[near], weights=off[near] - off[near].mean())
    least = width * math.sqrt(1.1 * w / n)
    return size, max(math.sqrt(float(np.sum(sums**2))) / n, least)


def _grouped(pairs: list[tuple[Array, Array]], labels: Array | None, line: int, w: int,
             rough: Array, widths: list[float]) -> Array:  # fmt: skip
    """Which level each pair belongs to, -1 for none."""
    before, after = pairs[0]
    if labels is not None:
        ((first, second),) = _pairs([labels], line, w)
        return np.where(first == second, first, -1)
    group = np.full(before.size, -1)
    width = widths[0] if widths[0] > 0.0 else 1.0
    size = float(np.nan_to_num(rough[0]))
    level = 0.5 * (before + after - size)
    free = np.isfinite(level) & (np.abs(after - before - size) < BIWEIGHT * width)
    least = max(SMALL_LEVEL * np.count_nonzero(free), 4)
    for g in range(5):
        if np.count_nonzero(free) < least:
            break
        middle = location(np.where(free, level, np.nan)[None, :], width)[0]
        group[free & (np.abs(level - middle) < 3.0 * width)] = g
        free &= np.abs(level - middle) > 4.0 * width
    return group


def _common(logs: list[Array], line: int, size: Array, error: Array, widths: list[float],
            levels: Levels, near: Levels) -> bool:  # fmt: skip
    """Whether all levels take part alike, in the lines next to the step too (`near`: there a rare
    one is still compared with itself), and nothing stayed as it was."""
    pairs = _pairs(logs, line, max(min(4, line, logs[0].shape[0] - line), 1))
    known = [k for k, width in enumerate(widths) if width > 0.0 and math.isfinite(size[k])]
    if any(abs(size[k]) > 6.0 * widths[k] for k in known):
        stayed = _near(pairs, np.zeros(size.size), known, widths)
        if stayed > STAYED * _near(pairs, size, known, widths):
            return False
    if _near(_pairs(logs, line, 1), size, known, widths) < WENT:
        return False
    if not _together(size, error):
        return False
    radius = of_a_tip(size, error)
    if max(len(levels), len(near)) < 2:
        return radius or of_the_pull(size, error)
    enough = any if radius else all  # small domains are blurred, most where the contrast is large
    for _, own, own_error in (*levels, *near):
        limit = AGREE * np.hypot(own_error, error) + NEAR * np.abs(size)
        if not enough(abs(own[k] - size[k]) <= limit[k] for k in known):
            return False
    return True


def _near(pairs: list[tuple[Array, Array]], size: Array, known: list[int], widths: list[float]
          ) -> float:  # fmt: skip
    """Share of the pairs that changed by a size in every channel, within three widths."""
    moved = [pairs[k][1] - pairs[k][0] for k in known]
    there = np.logical_and.reduce([np.isfinite(m) for m in moved])
    near = np.logical_and.reduce([np.abs(m - size[k]) < 3.0 * widths[k]
                                  for m, k in zip(moved, known, strict=True)])  # fmt: skip
    return float(near.sum() / max(there.sum(), 1))


def _together(size: Array, error: Array) -> bool:
    """False where the modulus steps and the pull-off does not go with it: no tip does that."""
    if size.size < 2 or not np.isfinite(size[:2]).all():
        return True
    if abs(size[0]) <= 3.0 * np.nan_to_num(error[0]):
        return True
    return bool(size[1] * np.sign(size[0]) > 0.3 * abs(size[0]))


def of_a_tip(size: Array, error: Array) -> bool:
    """Whether modulus and pull-off change as with another radius of the tip: R^(1/2) and R."""
    if size.size < 2 or not np.isfinite(size[:2]).all() or not np.isfinite(error[:2]).all():
        return False
    off = abs(size[1] - 2.0 * size[0])
    seen = abs(size[0]) > 3.0 * error[0] and abs(size[1]) > 3.0 * error[1]
    return bool(seen and off < 3.0 * math.hypot(error[1], 2.0 * error[0]) + NEAR * abs(size[1]))


def of_the_pull(size: Array, error: Array) -> bool:
    """Whether the pull-off changes and the modulus does not: a tip that took something up."""
    if size.size < 2 or not np.isfinite(size[:2]).all() or not np.isfinite(error[:2]).all():
        return False
    still = abs(size[0]) <= 3.0 * error[0] and abs(size[0]) < NEAR * abs(size[1])
    return bool(still and abs(size[1]) > 3.0 * error[1])
