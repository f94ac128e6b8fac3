"""Numbers pooled over maps: against scipy's own optimum of the restricted likelihood, closed forms
for equal errors, and coverage on drawn series.

The restricted likelihood of a normal model is written out again here (D. A. Harville, J. Am. Stat.
Assoc. 72 (1977) 320, from memory) and maximised by another method.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import optimize, stats

from palpate.core.fields.between import between, misfit, tau_interval
from palpate.core.fields.pooling import between_field, pool

VALUES = np.array([0.62, 0.71, 0.35, 0.94, 0.58, 0.80])
ERRORS = np.array([0.05, 0.12, 0.07, 0.10, 0.04, 0.20])


def restricted(tau2, x, s, design):
    """ln of the restricted likelihood through the multivariate normal law of error contrasts."""
    full = np.linalg.svd(design, full_matrices=True)[0]
    contrasts = full[:, design.shape[1] :].T  # any basis orthogonal to the design
    spread = contrasts @ np.diag(s**2 + tau2) @ contrasts.T
    return stats.multivariate_normal(np.zeros(len(contrasts)), spread).logpdf(contrasts @ x)


@pytest.mark.parametrize("seed", range(6))
def test_tau_is_where_the_restricted_likelihood_of_error_contrasts_is_largest(seed):
    rng = np.random.default_rng(seed)
    s = rng.uniform(0.03, 0.2, 7)
    x = rng.normal(1.0, np.hypot(s, 0.1))
    design = np.stack([np.ones(7), rng.normal(size=7)], 1)[:, : 1 + seed % 2]
    found = optimize.differential_evolution(
        lambda t: -restricted(t[0] ** 2, x, s, design), [(0.0, 1.0)], seed=1, tol=1e-10
    )
    assert between(x, s, design).tau == pytest.approx(float(found.x[0]), abs=2e-5)


def test_a_worked_example_follows_from_the_weights_by_hand():
    tau = between(VALUES, ERRORS, np.ones((6, 1))).tau
    w = 1.0 / (ERRORS**2 + tau**2)
    mean = np.average(VALUES, weights=w)
    error = math.sqrt(np.sum(w * (VALUES - mean) ** 2) / (5 * w.sum()))
    made = pool(VALUES, ERRORS)
    assert (made.mean, made.error) == pytest.approx((mean, error), rel=1e-9)
    assert made.high - made.mean == pytest.approx(stats.t.ppf(0.975, 5) * error, rel=1e-9)
    own = 1.0 / ERRORS**2
    q = np.sum(own * (VALUES - np.average(VALUES, weights=own)) ** 2)
    assert (made.q, made.p) == pytest.approx((q, stats.chi2.sf(q, 5)), rel=1e-9)
    assert made.differ
    assert "more than their own errors explain" in made.words()


def test_for_equal_errors_tau_is_the_variance_less_the_errors_and_the_mean_is_plain():
    made = pool(VALUES, np.full(6, 0.06))
    assert made.tau == pytest.approx(math.sqrt(VALUES.var(ddof=1) - 0.06**2), rel=1e-5)
    assert made.mean == pytest.approx(VALUES.mean(), rel=1e-12)


@pytest.mark.parametrize("error", [0.01, 0.06, 1.0])
def test_for_equal_errors_the_interval_is_the_between_field_route_of_astm_e562(error):
    """Mean ± t s/√n with s the standard deviation between fields (E562, from memory)."""
    made = pool(VALUES, np.full(6, error))
    mean, step, reach = between_field(VALUES)
    assert step == pytest.approx(VALUES.std(ddof=1) / math.sqrt(6))
    low, high = stats.t.interval(0.95, 5, VALUES.mean(), step)
    assert (mean - reach, mean + reach) == pytest.approx((low, high))
    assert (made.low, made.high) == pytest.approx((low, high), rel=1e-9)


def test_the_interval_of_tau_ends_where_q_meets_the_quantiles():
    design = np.ones((6, 1))
    low, high = tau_interval(VALUES, ERRORS, design)
    assert misfit(VALUES, ERRORS, design, low) == pytest.approx(stats.chi2.ppf(0.975, 5))
    assert misfit(VALUES, ERRORS, design, high) == pytest.approx(stats.chi2.ppf(0.025, 5))
    assert low < between(VALUES, ERRORS, design).tau < high


def test_maps_that_agree_have_no_scatter_between_them():
    made = pool([1.0, 1.01, 0.99, 1.005], [0.1] * 4)
    assert made.tau == 0.0
    assert made.tau_low == made.tau_high == 0.0
    assert not made.differ
    assert "no more than their own errors" in made.words()


@pytest.mark.parametrize("maps", [3, 5, 12])
@pytest.mark.parametrize("ratio", [0.0, 0.5, 3.0])
def test_intervals_hold_the_truth_in_93_to_97_of_100_series(maps, ratio):
    """Errors differ from map to map by up to a factor of 1.5; beside it the naive interval, which
    takes the pixels' errors for all there is."""
    rng = np.random.default_rng(int(100 * maps + 10 * ratio))
    s = np.linspace(0.08, 0.12, maps)
    runs = 700
    held = naive = other = 0
    for _ in range(runs):
        x = rng.normal(0.0, np.hypot(s, 0.1 * ratio))
        made = pool(x, s, look=False)
        held += made.low <= 0.0 <= made.high
        other += made.other_low <= rng.normal(0.0, 0.1 * ratio) <= made.other_high
        w = 1.0 / s**2
        naive += abs(np.average(x, weights=w)) < 1.96 / math.sqrt(w.sum())
    print(f"{maps} maps, tau {ratio} s: {held / runs:.3f}, naive {naive / runs:.3f}, "
          f"another map {other / runs:.3f}")  # fmt: skip
    assert 0.93 <= held / runs <= 0.97
    assert other / runs >= 0.92
    if ratio == 3.0:
        assert naive / runs < 0.6


def test_what_all_maps_share_passes_through_undiminished():
    many = pool(np.tile(VALUES, 20), np.tile(ERRORS, 20), common=0.1)
    assert many.high - many.mean < 0.05
    assert many.total_high - many.mean == pytest.approx(
        math.hypot(many.high - many.mean, 1.959964 * 0.1)
    )


def test_a_map_that_stands_apart_is_named_and_only_that_one():
    x = np.array([1.0, 1.05, 0.97, 1.02, 2.0, 0.99])
    made = pool(x, np.full(6, 0.04))
    assert made.apart == 4
    assert "five stands apart" in made.words(["one", "two", "three", "four", "five", "six"])
    assert pool(np.delete(x, 4), np.full(5, 0.04)).apart == -1


def test_naming_maps_that_stand_apart_raises_few_false_alarms():
    rng = np.random.default_rng(5)
    alarms = [pool(rng.normal(0.0, 0.15, 6), np.full(6, 0.1)).apart >= 0 for _ in range(250)]
    assert np.mean(alarms) < 0.09


def test_one_map_has_a_reason_and_no_number_and_nan_is_left_out():
    made = pool([1.0, math.nan, 2.0], [0.1, 0.1, math.nan])
    assert math.isnan(made.mean)
    assert "Only one map" in made.words()
    made = pool([1.0, math.nan, 1.2], [0.1, 0.1, 0.1])
    assert made.used == (0, 2)
    assert math.isnan(made.other_low)
    assert "Two maps" in made.words()


def test_equal_values_without_errors_are_no_accident():
    made = pool([2.0, 2.0, 2.0], [0.0, 0.0, 0.0])
    assert made.mean == pytest.approx(2.0)
    assert made.tau == pytest.approx(0.0, abs=1e-6)
