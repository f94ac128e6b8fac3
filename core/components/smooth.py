"""Memberships that go with their neighbours, but not across an edge.

Each pixel's memberships are weighed with those of its eight neighbours as far as these look like
it: log q(k) = log p(k) + β Σ w q'(k), w = exp(-d²/4) with d the difference of the two pixels in
units of the components' spreads, diagonal neighbours at 1/√2. This is the mean-field answer of a
Potts model whose bonds are cut at edges, so a boundary stays where the numbers put it, while a
lone pixel that noise has carried over is brought back.

References
----------
J. Besag, J. R. Stat. Soc. B 48 (1986) 259, for the model; G. Celeux, F. Forbes, N. Peyrard, Pattern
Recognit. 36 (2003) 131, for its mean field (both from memory).
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

Array = np.ndarray
NEIGHBOURS = ((0, 1), (1, 0), (1, 1), (1, -1))
"""Half of the eight neighbours (rows, cols); the others are the same bonds from the other end."""
ROUNDS = 30
STILL = 1e-3


def smoothed(logs: Array, stack: Array, used: Array, spreads: Array, strength: float) -> Array:
    """Memberships smoothed in space.

    Parameters
    ----------
    logs : (K, rows, cols) ln of each component's unnormalised membership; ignored where not `used`
    stack : (rows, cols, D) coordinates of the pixels
    used : (rows, cols) bool
    spreads : (D,) typical standard deviation inside a component
    strength : β; 0 leaves the memberships as they are

    Returns
    -------
    (K, rows, cols) float64, summing to 1 where `used`, 0 elsewhere
    """
    own = np.where(used, logs, 0.0)
    shares = _normalised(own, used)
    if strength <= 0.0 or len(logs) < 2:
        return shares
    bonds = list(_bonds(stack, used, spreads))
    for _ in range(ROUNDS):
        pull = np.zeros_like(shares)
        for here, there, weight in bonds:
            pull[(slice(None), *here)] += weight * shares[(slice(None), *there)]
            pull[(slice(None), *there)] += weight * shares[(slice(None), *here)]
        new = _normalised(own + strength * pull, used)
        moved = float(np.abs(new - shares).max(initial=0.0))
        shares = 0.5 * (shares + new)  # two halves of a chessboard could swap for ever
        if moved < STILL:
            break
    return shares


def _normalised(logs: Array, used: Array) -> Array:
    shares = np.exp(logs - logs.max(0))
    shares /= shares.sum(0)
    return np.where(used, shares, 0.0)


Slices = tuple[slice, slice]


def _bonds(stack: Array, used: Array, spreads: Array) -> Iterator[tuple[Slices, Slices, Array]]:
    """(pixels, their neighbours, weight of the bond) for each of four directions."""
    rows, cols = used.shape
    scaled = np.where(used[..., None], stack / spreads, 0.0)
    for down, right in NEIGHBOURS:
        here = (slice(0, rows - down), slice(max(0, -right), cols - max(0, right)))
        there = (slice(down, rows), slice(max(0, right), cols - max(0, -right)))
        square = np.square(scaled[here] - scaled[there]).mean(-1)
        both = used[here] & used[there]
        yield here, there, np.where(both, np.exp(-0.25 * square) / np.hypot(down, right), 0.0)
