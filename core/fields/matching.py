"""Which component of one map is which of another.

With given places (thresholds, gates, end members) the numbers say it. A mixture can be fitted to
all maps together, each with the same weight, and every map is then labelled by it; or each map has
its own, and components are matched by how near their means lie. Lever and tip may differ between
maps: an error of their constants moves all positive channels of a map by a common factor, so an
offset for each map on the logarithmic axes can be allowed for. It only helps to match: the values
of the maps stay as they are, and the difference is then scatter between maps.

References
----------
Assignment of the least total cost: H. W. Kuhn, Nav. Res. Logist. Q. 2 (1955) 83 (from memory), as
scipy has it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from ..components import Composition, EndMember, Maps, Rule, find
from ..components.maps import NO_VALUE
from ..components.mixture import Mixture, find_mixture
from ..components.points import Points, in_channel
from ..progress import Progress

Array = np.ndarray
TOGETHER, NEAREST = "together", "nearest"
HOW = {
    TOGETHER: "one mixture fitted to all maps together",
    NEAREST: "a mixture a map, matched by nearest means",
}
LIMIT = 3.0
"""Mahalanobis distance beyond which two components are not the same. Two normal distributions of
equal width whose means lie three standard deviations apart share 13 % of their area."""
PASSES = 20
SETTLED = 1e-4


@dataclass(frozen=True, eq=False)
class Matched:
    """Components of several maps under one numbering.

    Attributes
    ----------
    titles : of the maps
    rule : that was asked for
    compositions : one a map
    numbers : int (maps, K), the number in the map's own composition; -1 where it has none
    names : (K,) as in the rule, or letters
    offsets : (maps, D) on the rule's axes, taken off before matching; 0 where none are allowed
    how : a sentence
    reasons : (map, component) -> why a map has no such component
    """

    titles: tuple[str, ...]
    rule: Rule
    compositions: tuple[Composition, ...]
    numbers: Array
    names: tuple[str, ...]
    offsets: Array
    how: str
    reasons: dict[tuple[int, int], str] = field(default_factory=dict)

    @property
    def count(self) -> int:
        """Of components."""
        return int(self.numbers.shape[1])

    @property
    def words(self) -> str:
        """How components were matched, and the offsets as factors."""
        said = [self.how]
        for i, axis in enumerate(self.rule.axes[: self.offsets.shape[1]]):
            if axis.log and np.any(self.offsets[:, i]):
                factors = ", ".join(
                    f"{title} {10.0**value:.4g}"
                    for title, value in zip(self.titles, self.offsets[:, i], strict=True)
                )
                said.append(f"A factor of {axis.channel} was allowed for each map, as another "
                            f"lever or tip makes it; found: {factors}. It is used for matching "
                            "only; the maps' values keep it.")  # fmt: skip
        return " ".join(said)

    @property
    def remarks(self) -> list[str]:
        """Components that a map does not have."""
        return [f"{self.titles[m]} has no component {self.names[k]}: {why}."
                for (m, k), why in sorted(self.reasons.items())]  # fmt: skip


def match(
    maps: Sequence[Maps], rule: Rule, titles: Sequence[str] = (), how: str = TOGETHER,
    offsets: bool = False, progress: Progress | None = None,
) -> Matched:  # fmt: skip
    """Make the components of several maps, and number them alike.

    Parameters
    ----------
    maps : two or more
    rule : the same for all; if it has places of its own (no mixture), `how` and `offsets` do not
        matter
    titles : of the maps, for words
    how : one of `HOW`
    offsets : whether each map may have a factor of its own on the logarithmic axes

    Raises
    ------
    ValueError : in words, naming the map that can't be used
    Cancelled : on request
    """
    if how not in HOW:
        raise ValueError(f"{how!r} is no way to match; one of {', '.join(HOW)}")
    if len(maps) < 2:
        raise ValueError("only one map is given; two at least are needed")
    names = tuple(titles) or tuple(f"map {i + 1}" for i in range(len(maps)))
    if rule.method != "mixture":
        found = _found(maps, [rule] * len(maps), names, progress)
        return _numbered(names, rule, found, np.zeros((len(maps), len(rule.axes))),
                         "Components are those of one rule with given places.")  # fmt: skip
    if how == NEAREST:
        return _nearest(maps, rule, names, offsets, progress)
    return _together(maps, rule, names, offsets, progress)


def _found(maps: Sequence[Maps], rules: Sequence[Rule], titles: Sequence[str],
           progress: Progress | None) -> tuple[Composition, ...]:  # fmt: skip
    made = []
    for one, rule, title in zip(maps, rules, titles, strict=True):
        try:
            made.append(find(one, rule, progress))
        except ValueError as error:
            raise ValueError(f"{title}: {error}") from None
    return tuple(made)


def _numbered(titles: tuple[str, ...], rule: Rule, found: tuple[Composition, ...], offsets: Array,
              how: str) -> Matched:  # fmt: skip
    """Where the compositions' own numbers match already."""
    count = found[0].count
    numbers = np.tile(np.arange(count), (len(found), 1))
    reasons = {}
    for m, one in enumerate(found):
        for k in range(count):
            if not one.pixels(k).any():
                numbers[m, k] = -1
                reasons[m, k] = "no pixel belongs to it"
    return Matched(titles, rule, found, numbers, tuple(rule.name(k) for k in range(count)),
                   offsets, how, reasons)  # fmt: skip


# -- one mixture for all ---------------------------------------------------------------------------


def _together(maps: Sequence[Maps], rule: Rule, titles: tuple[str, ...], offsets: bool,
              progress: Progress | None) -> Matched:  # fmt: skip
    points = _points_of(maps, rule, titles)
    shifts = np.zeros((len(maps), len(rule.axes)))
    log = np.array([axis.log for axis in rule.axes])
    for _ in range(PASSES):
        pooled = _pooled(points, shifts, rule)
        mixture = find_mixture(pooled, rule.count, rule.most, rule.seed, False, progress).mixture
        if not (offsets and log.any()):
            break
        before = shifts
        shifts = _shifts_under(mixture, points, shifts, log)
        if np.abs(shifts - before).max() < SETTLED:
            break
    rules = [_as_members(mixture, shift, rule) for shift in shifts]
    said = (f"Components are those of {HOW[TOGETHER]}, each map with the same number of pixels "
            f"({mixture.count} components); each map was then labelled by the nearest of them, "
            "by their spreads along the axes.")  # fmt: skip
    return _numbered(titles, rule, _found(maps, rules, titles, progress), shifts, said)


def _points_of(maps: Sequence[Maps], rule: Rule, titles: Sequence[str]) -> list[Points]:
    found = []
    for one, title in zip(maps, titles, strict=True):
        try:
            points = Points.of(one, rule.axes)
        except ValueError as error:
            raise ValueError(f"{title}: {error}") from None
        if not points.used.any():
            raise ValueError(f"{title}: no pixel can be used: each has a severe doubt, no value "
                             "or no curve")  # fmt: skip
        found.append(points)
    return found


def _pooled(points: Sequence[Points], shifts: Array, rule: Rule) -> Points:
    """One tall map of all: as many pixels of each, laid so far apart that no two maps' pixels are
    neighbours at any lag that occurs within a map."""
    wheres = [one.plain if rule.plain else one.used for one in points]
    share = min(int(np.count_nonzero(where)) for where in wheres)
    rows, cols = (max(one.used.shape[i] for one in points) for i in (0, 1))
    stack = np.full((2 * rows * len(points), cols, len(rule.axes)), np.nan)
    errors = np.zeros_like(stack)
    rng = np.random.default_rng(rule.seed)
    for m, (one, where) in enumerate(zip(points, wheres, strict=True)):
        kept = np.flatnonzero(where)
        kept = kept if kept.size == share else rng.choice(kept, share, False)
        r, c = np.unravel_index(kept, where.shape)
        stack[2 * rows * m + r, c] = one.stack[r, c] - shifts[m]
        errors[2 * rows * m + r, c] = one.errors[r, c]
    reasons = np.where(np.isfinite(stack).all(-1), 0, NO_VALUE).astype(np.uint8)
    return Points(rule.axes, stack, errors, reasons)


def _shifts_under(mixture: Mixture, points: Sequence[Points], shifts: Array, log: Array) -> Array:
    """Each map's offset: the middle of its components' median deviations, each component with as
    many pixels counting alike (no more than a hundredth of them is needed); mean 0 over maps."""
    made = np.zeros_like(shifts)
    for m, one in enumerate(points):
        table = one.stack[one.plain]
        near = table - shifts[m]
        own = mixture.memberships(near).argmax(1)
        keep = ~mixture.far(near)
        off, size = [], []
        for k in range(mixture.count):
            mine = own == k
            if np.count_nonzero(mine & keep) > max(5.0, 0.01 * len(table)):
                off.append(np.median(table[mine] - mixture.means[k], axis=0))
                size.append(np.sqrt(np.count_nonzero(mine)))
        if off:
            made[m] = np.average(off, axis=0, weights=size)
    made[:, ~log] = 0.0
    return made - made.mean(0)


def _as_members(mixture: Mixture, shift: Array, rule: Rule) -> Rule:
    """The mixture's distributions as known end members, so that `find` labels a map by them."""
    members = []
    for mean, covariance in zip(mixture.means + shift, mixture.covariances, strict=True):
        centre = tuple(float(in_channel(axis, value))
                       for axis, value in zip(rule.axes, mean, strict=True))  # fmt: skip
        members.append(EndMember(centre, tuple(map(float, np.sqrt(np.diag(covariance))))))
    return replace(rule, method="end_members", members=tuple(members), count=0)


# -- a mixture a map -------------------------------------------------------------------------------


def _nearest(maps: Sequence[Maps], rule: Rule, titles: tuple[str, ...], offsets: bool,
             progress: Progress | None) -> Matched:  # fmt: skip
    found = _found(maps, [rule] * len(maps), titles, progress)
    models = [one.model for one in found if one.model is not None]
    log = np.array([axis.log for axis in rule.axes])
    first = int(np.argmax([model.count for model in models]))
    means, spreads = list(models[first].means), list(models[first].covariances)
    shifts = np.zeros((len(maps), len(rule.axes)))
    taken: list[dict[int, int]] = [{} for _ in maps]  # common number -> the map's own
    reasons: dict[tuple[int, int], str] = {}
    for m in sorted(range(len(maps)), key=lambda m: m != first):
        pairs, shift = _paired(models[m], np.array(means), np.array(spreads),
                               log if offsets and m != first else log & False)  # fmt: skip
        shifts[m], taken[m] = shift, pairs
        for own in set(range(models[m].count)) - set(pairs.values()):
            taken[m][len(means)] = own
            means.append(models[m].means[own] - shift)
            spreads.append(models[m].covariances[own])
    order = np.argsort([mean[0] for mean in means], kind="stable")
    numbers = np.array([[taken[m].get(int(k), -1) for k in order] for m in range(len(maps))])
    for m, k in np.argwhere(numbers < 0):
        at = Mixture(np.ones(1), means[order[k]][None], spreads[order[k]][None])
        far = np.sqrt(at.distances(models[m].means - shifts[m]).min())
        reasons[int(m), int(k)] = (
            f"its nearest one not taken lies {far:.3g} standard deviations away, and the limit is "
            f"{LIMIT:g}" if far > LIMIT else "its nearest one is nearer to another component"
        )  # fmt: skip
    said = (f"Components are those of {HOW[NEAREST]} (the least total distance; further than "
            f"{LIMIT:g} standard deviations is another component).")  # fmt: skip
    names = tuple(rule.name(k) for k in range(len(order)))
    shifts -= shifts.mean(0)
    return Matched(titles, rule, found, numbers, names, shifts, said, reasons)


def _paired(model: Mixture, means: Array, spreads: Array, free: Array
            ) -> tuple[dict[int, int], Array]:  # fmt: skip
    """Common number -> own number, and the offset on the `free` axes.

    An offset is looked for from every pair of components that it could bring together; the one
    with the least total cost counts, and is then settled on its own pairs.
    """
    starts = [np.zeros(means.shape[1])]
    if free.any():
        starts += [np.where(free, own - mean, 0.0) for own in model.means for mean in means]
    best, least = (dict[int, int](), starts[0]), np.inf
    for start in starts:
        shift = start
        for _ in range(PASSES):
            pairs, cost = _assigned(model, means, spreads, shift)
            before = shift
            if pairs and free.any():
                off = np.mean([model.means[own] - means[k] for k, own in pairs.items()], axis=0)
                shift = np.where(free, off, 0.0)
            if np.abs(shift - before).max() < SETTLED:
                break
        if cost < least - 1e-9:
            best, least = (pairs, shift), cost
    return best


def _assigned(model: Mixture, means: Array, spreads: Array, shift: Array
              ) -> tuple[dict[int, int], float]:  # fmt: skip
    """The pairs of least total squared distance, none beyond the limit, and that total."""
    from scipy.optimize import linear_sum_assignment

    gaps = (model.means - shift)[None, :, :] - means[:, None, :]
    both = 0.5 * (spreads[:, None] + model.covariances[None, :])
    square = np.einsum("kod,kod->ko", gaps, np.linalg.solve(both, gaps[..., None])[..., 0])
    cost = np.minimum(square, LIMIT**2)
    rows, cols = linear_sum_assignment(cost)
    pairs = {int(k): int(own) for k, own in zip(rows, cols, strict=True)
             if square[k, own] < LIMIT**2}  # fmt: skip
    return pairs, float(cost[rows, cols].sum())
