"""Components found as a mixture of normal distributions, and how many there are.

The distributions are fitted to pixels away from edges only (see `Points.plain`), since pixels on a
boundary lie between two components and would become one of their own. How many components there
are is chosen by the integrated completed likelihood: Schwarz's criterion with the entropy of the
memberships added, so that a component must stand apart and not merely bend the shape of another.
Neighbouring pixels are alike, so they count as n_eff, not N: the likelihood and the entropy are
those of n_eff pixels, and ln N is ln n_eff. With N in their place every long-waved unevenness of
the map becomes a component.

References
----------
G. Schwarz, Ann. Stat. 6 (1978) 461; C. Biernacki, G. Celeux, G. Govaert, IEEE Trans. Pattern Anal.
Mach. Intell. 22 (2000) 719 (both from memory).
"""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np

from ..progress import Progress
from ..steps.tools import MAD_TO_SIGMA
from ..uncertainty.effective import effective_number
from .points import Points

Array = np.ndarray
WAY = np.arange(0.5, 24.0) / 24.0
"""Places on the way between two components where a mixed pixel is looked for."""
SAMPLE = 10_000
"""Pixels that the distributions are fitted to, drawn at random, if there are more."""
STARTS = 4
FEWEST = 12
"""Fewer usable pixels than this make no components."""
LEAST_INDEPENDENT = 30.0
"""n_eff counts as no fewer than this (unless there are fewer pixels): the unevenness that makes it
small bends a component's shape but opens no gap, and with less not even a wide gap would count."""
APART = 2.0
"""Two components nearer than this many of the pixels' own standard uncertainties are not chosen:
what seems to part them may be the measurement's own doing, such as where samples happen to fall."""
FAR = 1e-4
"""Share of a normal distribution's own pixels beyond the distance at which one counts as far."""
LOST = 1e-8
"""As FAR: a point beyond it costs a mixture no more than at it, so that a few spoiled pixels do not
decide how many components there are."""
SMALLEST = 0.005
"""A mixture with a component of a smaller share, or of fewer pixels than FEWEST, is not chosen by
itself; gates, thresholds and end members may be as small as they like."""


@dataclass(frozen=True, eq=False)
class Mixture:
    """Normal distributions in the coordinates of some axes.

    Attributes
    ----------
    weights : (K,) shares, summing to 1
    means : (K, D); covariances : (K, D, D)
    """

    weights: Array
    means: Array
    covariances: Array

    @property
    def count(self) -> int:
        return len(self.weights)

    def log_densities(self, table: Array) -> Array:
        """ln of each component's density, (N, K), without its weight."""
        out = np.empty((len(table), self.count))
        for k in range(self.count):
            square, log_root = self._distance(table, k)
            out[:, k] = -0.5 * (square + table.shape[1] * math.log(2.0 * math.pi)) - log_root
        return out

    def distances(self, table: Array) -> Array:
        """Mahalanobis distance squared from each component, (N, K)."""
        return np.stack([self._distance(table, k)[0] for k in range(self.count)], axis=1)

    def _distance(self, table: Array, k: int) -> tuple[Array, float]:
        from scipy.linalg import cholesky

        root = cholesky(self.covariances[k], lower=True)
        white = (table - self.means[k]).T.copy()
        for i in range(len(root)):  # by hand: the library's threads only wait for each other here
            for j in range(i):
                white[i] -= root[i, j] * white[j]
            white[i] /= root[i, i]
        return np.einsum("ij,ij->j", white, white), float(np.log(np.diag(root)).sum())

    def memberships(self, table: Array) -> Array:
        """Probability that each point belongs to each component, (N, K)."""
        return memberships(self.log_densities(table) + np.log(self.weights))

    def far(self, table: Array) -> Array:
        """(N,) bool: points too far from every component to be one of its own."""
        from scipy.stats import chi2

        return self.distances(table).min(1) > chi2.isf(FAR, table.shape[1])

    def between(self, table: Array) -> tuple[Array, Array]:
        """Points that lie between two components, as a pixel does that measures both.

        A point is taken for one if it is not far from some normal distribution on the way from one
        component to another, its mean and covariance passing evenly from the one's to the other's.

        Returns
        -------
        within : (N,) bool
        shares : (N, K) how far along the way: 1 - t of the one, t of the other
        """
        from scipy.stats import chi2

        best = np.full(len(table), np.inf)
        shares = np.zeros((len(table), self.count))
        for i, j in combinations(range(self.count), 2):
            for t in WAY:
                mean = (1.0 - t) * self.means[i] + t * self.means[j]
                spread = (1.0 - t) * self.covariances[i] + t * self.covariances[j]
                square = Mixture(np.ones(1), mean[None], spread[None]).distances(table)[:, 0]
                nearer = square < best
                best[nearer], shares[nearer] = square[nearer], 0.0
                shares[nearer, i], shares[nearer, j] = 1.0 - t, t
        return best <= chi2.isf(FAR, table.shape[1]), shares

    def reweighted(self, table: Array) -> Mixture:
        """The same distributions with the shares of all these points, by expectation-maximisation.

        Points that are far from all are not counted: they say nothing about the shares.
        """
        near = ~self.far(table)
        logs, weights = self.log_densities(table[near]), self.weights
        for _ in range(50):
            before, weights = weights, memberships(logs + np.log(weights)).mean(0)
            weights = np.maximum(weights, 1e-9) / np.maximum(weights, 1e-9).sum()
            if np.abs(weights - before).max() < 1e-6:
                break
        return Mixture(weights, self.means, self.covariances)

    def ordered(self) -> Mixture:
        """The components in rising order of their first coordinate."""
        by = np.argsort(self.means[:, 0], kind="stable")
        return Mixture(self.weights[by], self.means[by], self.covariances[by])


def memberships(logs: Array) -> Array:
    """Probabilities from unnormalised logarithms, (N, K)."""
    logs = logs - logs.max(1, keepdims=True)
    shares = np.exp(logs)
    return shares / shares.sum(1, keepdims=True)


@dataclass(frozen=True)
class Candidate:
    """One number of components and what the criterion says of it; less is better.

    Attributes
    ----------
    count, parameters : of the mixture
    log_likelihood, entropy : a pixel
    criterion : with n_eff; the one that decides
    naive : Schwarz's criterion as if all pixels were independent, for comparison
    least : share of the smallest component
    allowed : whether it may be chosen: no component too small, none too near another
    """

    count: int
    parameters: int
    log_likelihood: float
    entropy: float
    criterion: float
    naive: float
    least: float
    allowed: bool


@dataclass(frozen=True, eq=False)
class Found:
    """A mixture, and the candidates among which it was chosen.

    Attributes
    ----------
    mixture : the chosen one, its components in rising order of the first axis
    candidates : empty if the number was given
    independent : n_eff of the pixels that the distributions were fitted to
    pixels : how many those were
    """

    mixture: Mixture
    candidates: tuple[Candidate, ...]
    independent: float
    pixels: int


def find_mixture(
    points: Points, count: int, most: int, seed: int, plain: bool = True,
    progress: Progress | None = None,
) -> Found:  # fmt: skip
    """Fit a mixture; the criterion chooses how many components if `count` is 0.

    Parameters
    ----------
    points : of the map
    count : of components, 0 to choose from 1 to `most`
    seed : of the sample and of the starts; the same seed gives the same answer
    plain : whether to fit it to pixels away from edges only

    Raises
    ------
    ValueError : too few pixels, or fewer different values than components
    Cancelled : on request
    """
    progress = progress or Progress()
    where = points.plain if plain else points.used
    inside = points.stack[where]
    if len(inside) < FEWEST:
        raise ValueError(f"only {len(inside)} pixels can be used; components need {FEWEST}")
    unit = _unit(inside)
    rng = np.random.default_rng(seed)
    drawn = inside if len(inside) <= SAMPLE else inside[rng.choice(len(inside), SAMPLE, False)]
    table = drawn / unit
    different = len(np.unique(table[:, :1] if table.shape[1] == 1 else table, axis=0))
    counts = [count] if count else list(range(1, min(most, len(table) // FEWEST, different) + 1))
    if count and different < count:
        raise ValueError(f"{count} components need as many different values; there are {different}")
    fitted: list[Any] = []
    for k in counts:
        progress.step(k - counts[0], len(counts), "Looking for components")
        progress.check()
        fitted.append(_fitted(table, k, seed))
    independent = _independent(points.stack, where, unit, fitted[-1])
    own = np.median(points.errors[where], axis=0) / unit
    candidates = tuple(_candidate(one, table, independent, len(inside), own) for one in fitted)
    best = int(np.argmin([c.criterion if c.allowed else math.inf for c in candidates]))
    chosen = fitted[best]
    mixture = Mixture(chosen.weights_, chosen.means_ * unit,
                      chosen.covariances_ * unit[:, None] * unit[None, :])  # fmt: skip
    mixture = mixture.reweighted(points.table).ordered()
    return Found(mixture, () if count else candidates, independent, len(inside))


def _unit(table: Array) -> Array:
    """A robust width of each coordinate, (D,)."""
    wide = MAD_TO_SIGMA * np.median(np.abs(table - np.median(table, 0)), 0)
    wide = np.where(wide > 0.0, wide, table.std(0))
    return np.where(wide > 0.0, wide, 1.0)


def _fitted(table: Array, count: int, seed: int) -> Any:
    """The best of some starts, then fitted again without the points that are far from all."""
    from scipy.stats import chi2
    from sklearn.mixture import GaussianMixture
    from threadpoolctl import threadpool_limits  # small products: threads only wait for each other

    made, kept, begin = None, table, dict(n_init=STARTS)
    for _ in range(3):
        with warnings.catch_warnings(), threadpool_limits(1):
            warnings.simplefilter("ignore")  # of a start that has not settled; the best one counts
            made = GaussianMixture(count, random_state=seed, reg_covar=1e-6, **begin).fit(kept)
        near = Mixture(made.weights_, made.means_, made.covariances_).distances(table).min(1)
        inner = table[near <= chi2.isf(FAR, table.shape[1])]
        if len(inner) == len(kept) or len(inner) < max(FEWEST, count):
            break
        kept = inner
        begin = dict(weights_init=made.weights_ / made.weights_.sum(), means_init=made.means_,
                     precisions_init=made.precisions_)  # fmt: skip
    return made


def _independent(stack: Array, inside: Array, unit: Array, model: Any) -> float:
    """How many independent pixels what the finest description leaves unexplained is worth.

    Deviations from the pixel's own component in units of its spread, cut at three; the least of
    the axes counts.
    """
    table = stack[inside] / unit
    own = model.predict(table)
    left = np.zeros_like(table)
    for k in np.unique(own):
        mine = own == k
        off = table[mine] - np.median(table[mine], 0)
        wide = np.maximum(MAD_TO_SIGMA * np.median(np.abs(off), 0), 1e-12)
        left[mine] = np.clip(off / wide, -3.0, 3.0)
    found = []
    for i in range(table.shape[1]):
        image = np.zeros(inside.shape)
        image[inside] = left[:, i]
        found.append(effective_number(image, inside))
    least = min(LEAST_INDEPENDENT, float(len(table)))
    return max(float(np.nanmin(found)), least) if np.isfinite(found).any() else float(len(table))


def _candidate(model: Any, table: Array, independent: float, pixels: int, own: Array) -> Candidate:
    count, dims = model.means_.shape
    parameters = count * (1 + dims + dims * (dims + 1) // 2) - 1
    mixture = Mixture(model.weights_, model.means_, model.covariances_)
    near = ~mixture.far(table)
    logs = np.maximum(mixture.log_densities(table), _floor(mixture)) + np.log(mixture.weights)
    likelihood = float(np.logaddexp.reduce(logs, axis=1).mean())
    shares = memberships(logs[near])
    entropy = -float(np.sum(shares * np.log(np.maximum(shares, 1e-300)), 1).sum()) / len(table)
    least = float(model.weights_.min())
    large = least >= max(SMALLEST, FEWEST / pixels)
    return Candidate(
        count, parameters, likelihood, entropy,
        independent * (-2.0 * likelihood + 2.0 * entropy) + parameters * math.log(independent),
        -2.0 * likelihood * pixels + parameters * math.log(pixels),
        least, count == 1 or (large and _nearest(model.means_, own) >= APART),
    )  # fmt: skip


def _nearest(means: Array, own: Array) -> float:
    """The least distance of two components in units of the pixels' own uncertainty; ∞ where one
    axis has none."""
    with np.errstate(divide="ignore", invalid="ignore"):
        gaps = [np.abs(means[i] - means[j]) / own for i, j in combinations(range(len(means)), 2)]
    return min((float(np.hypot.reduce(np.where(np.isnan(gap), 0.0, gap))) for gap in gaps),
               default=math.inf)  # fmt: skip


def _floor(mixture: Mixture) -> Array:
    """ln of each component's density at the distance `LOST`, (K,)."""
    from scipy.stats import chi2

    dims = mixture.means.shape[1]
    roots = 0.5 * np.linalg.slogdet(mixture.covariances)[1]
    return -0.5 * (chi2.isf(LOST, dims) + dims * math.log(2.0 * math.pi)) - roots
