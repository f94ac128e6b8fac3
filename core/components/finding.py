"""Components of a map under a rule."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from ..progress import Progress
from ..steps.tools import MAD_TO_SIGMA
from .composition import Composition
from .maps import Maps
from .mixture import Candidate, Mixture, find_mixture
from .points import Points, on_axis
from .rims import rims_of
from .rule import Axis, Rule
from .smooth import smoothed
from .zones import kinds_of, nearest_other, zone_widths

Array = np.ndarray
TINY = 1e-12
"""The least membership, so that its logarithm exists."""


class _Memberships:
    """What a method leaves: ln of unnormalised memberships over the used pixels, and what follows.

    logs : (K, N); foreign : (N,) bool; spreads : (D,) inside a component
    """

    def __init__(self, logs: Array, foreign: Array, spreads: Array,
                 model: Mixture | None = None, candidates: tuple[Candidate, ...] = (),
                 independent: float = float("nan")) -> None:  # fmt: skip
        self.logs, self.foreign, self.spreads = logs, foreign, spreads
        self.model, self.candidates, self.independent = model, candidates, independent


def find(maps: Maps, rule: Rule, progress: Progress | None = None) -> Composition:
    """Make the components of a map.

    Parameters
    ----------
    maps : `Maps.of` an analysis
    rule : how

    Returns
    -------
    Composition : labels and memberships; components that come out empty stay, with no pixels

    Raises
    ------
    ValueError : too few pixels, a channel that the analysis does not have, a rule without its
        gates or end members; in words
    Cancelled : on request
    """
    axes = rule.axes[: {"thresholds": 1, "gates": 2}.get(rule.method, len(rule.axes))]
    points = Points.of(maps, axes)
    if not points.used.any():
        raise ValueError("no pixel can be used: each has a severe doubt, no value or no curve")
    made = _METHODS[rule.method](points, rule, progress)
    count = len(made.logs)
    logs = np.zeros((count, *maps.shape))
    logs[:, points.used] = made.logs
    foreign = np.zeros(maps.shape, bool)
    foreign[points.used] = made.foreign
    shares = smoothed(logs, points.stack, points.used, made.spreads, rule.smooth)
    labels, membership = _labels(shares, points.used & ~foreign, rule.least)
    rim = np.zeros(maps.shape, bool)
    if rule.rims and count > 2 and rule.method == "mixture":  # what is drawn or cut stays
        rim, labels, share = rims_of(points.stack, labels, count)
        membership[rim] = share[rim]
        shares[:, rim] = 0.0
        shares[labels[rim], *np.nonzero(rim)] = share[rim]
    if rule.method == "mixture" and not rule.count:
        gone = count - len(np.unique(labels[labels >= 0]))
        if 0 < gone < count:  # all of a component was a rim or far off, so it is none
            fewer = find(maps, replace(rule, count=count - gone), progress)
            return replace(fewer, rule=rule, candidates=made.candidates,
                           independent=made.independent)  # fmt: skip
    distances, beside = nearest_other(labels, maps.pitch)
    widths = zone_widths(maps, rule, labels, count)
    kinds = kinds_of(labels, membership, foreign, widths, distances)
    for array in (labels, membership, kinds, distances, beside, rim):
        array.flags.writeable = False
    return Composition(rule, maps, points.reasons, labels, membership, shares.astype(np.float32),
                       kinds, distances, beside, widths, rim, made.model, made.candidates,
                       made.independent)  # fmt: skip


def _labels(shares: Array, used: Array, least: float) -> tuple[Array, Array]:
    labels = shares.argmax(0).astype(np.int16)
    membership = shares.max(0)
    labels[~used | (membership < least)] = -1
    return labels, np.where(used, membership, np.nan)


def _by_mixture(points: Points, rule: Rule, progress: Progress | None) -> _Memberships:
    found = find_mixture(points, rule.count, rule.most, rule.seed, rule.plain, progress)
    return _of_model(points, found.mixture, found.candidates, found.independent)


def _of_model(points: Points, model: Mixture, candidates: tuple[Candidate, ...] = (),
              independent: float = float("nan")) -> _Memberships:  # fmt: skip
    table = points.table
    logs = model.log_densities(table) + np.log(model.weights)
    far = model.far(table)
    within, shares = model.between(table[far])
    mixed = np.flatnonzero(far)[within]
    logs[mixed] = np.log(np.maximum(shares[within], TINY))
    far[mixed] = False
    spreads = np.sqrt(np.mean([np.diag(c) for c in model.covariances], axis=0))
    return _Memberships(logs.T, far, spreads, model, candidates, independent)


def _by_end_members(points: Points, rule: Rule, progress: Progress | None) -> _Memberships:
    """Normal distributions as typed, with the shares that the map gives them."""
    if not rule.members:
        raise ValueError("no end members are given yet")
    centres = np.array([m.centre for m in rule.members], float)
    for i, axis in enumerate(rule.axes):
        if axis.log:
            centres[:, i] = np.log10(centres[:, i])
    wide = np.array([np.diag(np.square(m.spread)) for m in rule.members], float)
    equal = np.full(len(centres), 1.0 / len(centres))
    return _of_model(points, Mixture(equal, centres, wide).reweighted(points.table))


def _by_thresholds(points: Points, rule: Rule, progress: Progress | None) -> _Memberships:
    """Between cuts on the first axis; a pixel near one belongs to both sides by its own ±."""
    from scipy.special import ndtr

    axis, x, error = points.axes[0], points.table[:, 0], points.errors[points.used][:, 0]
    if axis.log and any(cut <= 0.0 for cut in rule.thresholds):
        raise ValueError("a threshold on an axis of logarithms must be above zero")
    cuts = np.array(rule.thresholds, float)
    cuts = np.log10(cuts) if axis.log else cuts
    below = np.zeros((len(cuts) + 2, len(x)))
    below[-1] = 1.0
    for i, cut in enumerate(cuts):
        below[i + 1] = np.where(error > 0.0, ndtr((cut - x) / np.where(error > 0.0, error, 1.0)),
                                x < cut)  # fmt: skip
    logs = np.log(np.maximum(np.diff(below, axis=0), TINY))
    return _Memberships(logs, np.zeros(len(x), bool), _plain_spread(points))


def _by_gates(points: Points, rule: Rule, progress: Progress | None) -> _Memberships:
    """Inside polygons drawn on the joint histogram; in two of them the later one counts."""
    if not rule.gates:
        raise ValueError("nothing is drawn on the joint histogram yet")
    inside = np.stack([in_polygon(points.table, gate.vertices, points.axes) for gate in rule.gates])
    for k in range(len(inside) - 1):
        inside[k] &= ~inside[k + 1 :].any(0)
    logs = np.where(inside, 0.0, np.log(TINY))
    return _Memberships(logs, np.asarray(~inside.any(0)), _plain_spread(points))


_METHODS: dict[str, Callable[[Points, Rule, Progress | None], _Memberships]] = {
    "mixture": _by_mixture, "thresholds": _by_thresholds, "gates": _by_gates,
    "end_members": _by_end_members,
}  # fmt: skip


def in_polygon(table: Array, vertices: tuple[tuple[float, float], ...], axes: tuple[Axis, ...]
               ) -> Array:  # fmt: skip
    """(N,) bool: points within a polygon given in channel units; straight between its corners in
    the axes' own coordinates, so that what is drawn on a logarithmic axis is what is taken.

    A corner at or below zero on an axis of logarithms counts as lying at its far end.
    """
    from skimage.measure import points_in_poly

    corners = np.array(vertices, float)
    for i, axis in enumerate(axes[:2]):
        if axis.log:
            corners[:, i] = np.log10(np.maximum(corners[:, i], 1e-300))
    low, high = corners.min(0), corners.max(0)
    near = ((table[:, :2] >= low) & (table[:, :2] <= high)).all(1)
    out = np.zeros(len(table), bool)
    out[near] = points_in_poly(table[near][:, :2], corners)
    return out


def _plain_spread(points: Points) -> Array:
    """Typical deviation of a pixel from its neighbours, (D,), where no distributions are known."""
    found = []
    for i in range(points.stack.shape[2]):
        steps = np.diff(points.stack[..., i], axis=1)
        steps = steps[np.isfinite(steps)]
        wide = MAD_TO_SIGMA * float(np.median(np.abs(steps))) / np.sqrt(2.0) if steps.size else 0.0
        found.append(wide or 1.0)
    return np.array(found)


def in_range(maps: Maps, axis: Axis, low: float, high: float) -> Array:
    """(rows, cols) bool: usable pixels whose channel lies from `low` to `high`."""
    values = maps.values[axis.channel]
    return maps.usable & (values >= low) & (values <= high)


def in_shape(
    maps: Maps, axes: tuple[Axis, ...], vertices: tuple[tuple[float, float], ...]
) -> Array:
    """(rows, cols) bool: usable pixels within a polygon on a joint histogram, as gates take it."""
    stack = np.stack([on_axis(axis, maps)[0] for axis in axes[:2]], axis=-1)
    able = maps.usable & np.isfinite(stack).all(-1)
    out = np.zeros(maps.shape, bool)
    out[able] = in_polygon(stack[able], vertices, axes)
    return out
