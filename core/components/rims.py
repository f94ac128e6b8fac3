"""Rims: boundary pixels of two components that look like a third one lying between them.

A pixel on the boundary of a soft and a stiff component shows something between the two, which may
be just what a third component shows. Its pixels then seem to run as a thin rim along every
boundary of the other two. A rim is told from a domain by its place: it is hardly wider than two
pixels, belongs to nothing thicker, and the other two lie close on either side.
A real layer as thin as that can't be told from a blurred boundary with these pixels; who wants it
kept says so in the rule.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np

from ..steps.tools import MAD_TO_SIGMA

Array = np.ndarray
NEAR = 2
"""Both others must lie within this many pixels."""
THIN = 3
"""A domain that holds a square of this many pixels a side is no rim."""


def between(stack: Array, labels: Array, count: int) -> list[tuple[int, int, int]]:
    """(a, b, c) wherever the medians of b lie between those of a and c on every axis, up to the
    spread inside b."""
    tables = [stack[labels == k] for k in range(count)]
    middles = [np.median(t, 0) if len(t) else None for t in tables]
    found = []
    for b, middle in enumerate(middles):
        if middle is None:
            continue
        wide = MAD_TO_SIGMA * np.median(np.abs(tables[b] - middle), 0)
        for a, c in combinations([k for k in range(count) if k != b], 2):
            one, other = middles[a], middles[c]
            if one is None or other is None:
                continue
            low, high = np.minimum(one, other), np.maximum(one, other)
            strictly = low[0] < middle[0] < high[0]
            if strictly and (middle >= low - wide).all() and (middle <= high + wide).all():
                found.append((a, b, c))
    return found


def rims_of(stack: Array, labels: Array, count: int) -> tuple[Array, Array, Array]:
    """Rims, and what their pixels are taken for.

    Parameters
    ----------
    stack : (rows, cols, D) coordinates
    labels : int (rows, cols)

    Returns
    -------
    rim : (rows, cols) bool
    taken : int (rows, cols) the label that a rim's pixel gets, the nearer one by the first axis
    share : (rows, cols) how near, from 0.5 to 1
    """
    from scipy.ndimage import binary_opening, maximum_filter

    rim = np.zeros(labels.shape, bool)
    taken, share = labels.copy(), np.ones(labels.shape)
    links = between(stack, labels, count)
    side = 2 * NEAR + 1
    near = {k: maximum_filter(labels == k, side) for a, _, c in links for k in (a, c)}
    thin: dict[int, Array] = {}
    for a, b, c in links:
        if b not in thin:
            mine = labels == b
            solid = binary_opening(np.pad(mine, THIN, mode="edge"), np.ones((THIN, THIN)))
            thin[b] = mine & ~maximum_filter(solid[THIN:-THIN, THIN:-THIN], side)
        here = thin[b] & near[a] & near[c] & ~rim
        if not here.any():
            continue
        ends = [np.median(stack[labels == k][:, 0]) for k in (a, c)]
        way = np.clip((stack[here][:, 0] - ends[0]) / (ends[1] - ends[0]), 0.0, 1.0)
        taken[here] = np.where(way < 0.5, a, c)
        share[here] = np.maximum(way, 1.0 - way)
        rim |= here
    return rim, taken, share
