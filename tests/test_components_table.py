"""The numbers of the table of components."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from palpate.core.components.table import fraction_interval, lognormal, summary_of
from palpate.core.uncertainty.effective import Lags


def test_a_log_normal_distribution_has_the_mean_mode_and_variation_of_scipy():
    mean, mode, cv = lognormal(math.log(2.0), 0.25)
    assert (mean, mode, cv) == pytest.approx((2.063487, 1.878826, 0.253958), abs=1e-6)
    known = stats.lognorm(0.25, scale=2.0)
    assert mean == pytest.approx(known.mean())
    assert cv == pytest.approx(known.std() / known.mean())


def test_an_area_fraction_is_as_sure_as_its_independent_pixels():
    """√(p(1-p)/n): any handbook of statistics."""
    assert fraction_interval(0.3, 72.55)[0] == pytest.approx(0.0538, abs=5e-5)
    assert fraction_interval(0.3, 65536)[0] == pytest.approx(0.00179007, rel=1e-5)
    error, low, high = fraction_interval(0.01, 20.0)
    assert 0.0 < low < 0.01 < high < 1.0
    assert all(math.isnan(x) for p in (0.0, 1.0) for x in fraction_interval(p, 50.0))


def test_on_independent_pixels_a_summary_is_that_of_numpy():
    values = np.exp(np.random.default_rng(3).normal(0.5, 0.2, (64, 64)))
    used = np.ones(values.shape, bool)
    seen = summary_of("reduced_modulus", values, 0.1 * values, used, Lags(used))
    logs = np.log(values)
    assert seen.independent == pytest.approx(4096, rel=0.1)
    assert seen.median == pytest.approx(np.median(values), rel=1e-6)  # of two middle ones
    assert seen.mean == pytest.approx(values.mean())
    assert seen.deviation == pytest.approx(values.std(ddof=1))
    assert (seen.lower, seen.upper) == pytest.approx(tuple(np.quantile(values, (0.25, 0.75))))
    assert seen.sigma == pytest.approx(stats.median_abs_deviation(logs.ravel(), scale="normal"),
                                       rel=1e-5)  # fmt: skip
    wanted = math.sqrt(math.pi / 2.0) * 0.2 / 64.0  # of a median of normal values, any handbook
    assert seen.median_error / seen.median == pytest.approx(wanted, rel=0.1)
    assert seen.own == pytest.approx(0.1 * np.median(values))
    assert seen.beyond == pytest.approx(math.sqrt(seen.spread**2 - seen.own**2))
