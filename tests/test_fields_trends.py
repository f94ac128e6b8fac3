"""A line against a condition: against numpy.polyfit, closed forms, and coverage."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from palpate.core.fields.trends import trend

C = np.array([1.0, 2.0, 4.0, 8.0, 16.0])


def test_for_equal_errors_it_is_the_plain_line_of_scipy():
    rng = np.random.default_rng(3)
    x = 0.3 * C + rng.normal(0.0, 0.2, 5)
    made, line = trend(x, np.full(5, 0.05), C), stats.linregress(C, x)
    assert made.slope == pytest.approx(line.slope, rel=1e-9)
    assert made.error == pytest.approx(line.stderr, rel=1e-9)
    assert made.p == pytest.approx(line.pvalue, rel=1e-6)
    assert made.level == pytest.approx(line.intercept + line.slope * made.at)


def test_a_power_law_has_its_exponent_as_slope_on_logarithms():
    made = trend(np.log(0.5 * C**0.15), np.full(5, 0.02), C, log=True)
    assert made.slope == pytest.approx(0.15, rel=1e-9)
    assert made.tau == pytest.approx(0.0, abs=1e-6)


def test_maps_with_small_errors_count_more_as_in_a_weighted_fit():
    x, s = np.array([1.0, 2.1, 3.7, 8.2, 15.0]), np.array([0.1, 1.0, 0.5, 0.2, 2.0])
    made = trend(x, s, C)
    weight = 1.0 / np.hypot(s, made.tau)
    assert made.slope == pytest.approx(np.polyfit(C, x, 1, w=weight)[0], rel=1e-9)


@pytest.mark.parametrize("tau", [0.0, 0.3])
def test_the_interval_of_the_slope_holds_it_in_93_to_97_of_100_series(tau):
    rng = np.random.default_rng(11)
    s = np.array([0.08, 0.1, 0.12, 0.1, 0.09])
    held = seen = 0
    for _ in range(700):
        made = trend(0.2 * C + rng.normal(0.0, np.hypot(s, tau)), s, C)
        held += made.low <= 0.2 <= made.high
        seen += trend(rng.normal(0.0, np.hypot(s, tau)), s, C).seen
    assert 0.93 <= held / 700 <= 0.97
    assert 0.03 <= seen / 700 <= 0.07


def test_a_slope_told_as_visible_is_seen_in_about_four_of_five_series():
    """With equal errors: the true step of the slope is known, and so is what it makes visible."""
    rng = np.random.default_rng(4)
    c = np.arange(30.0)
    step = 0.1 / math.sqrt(np.sum((c - c.mean()) ** 2))
    true = (stats.t.ppf(0.975, 28) + stats.t.ppf(0.8, 28)) * step
    made = [trend(true * c + rng.normal(0.0, 0.1, 30), np.full(30, 0.1), c) for _ in range(400)]
    assert np.mean([one.seen for one in made]) == pytest.approx(0.8, abs=0.06)
    assert np.median([one.visible for one in made]) == pytest.approx(true, rel=0.05)


def test_without_a_trend_the_visible_slope_is_told():
    made = trend([1.0, 1.2, 0.9, 1.1, 1.05], [0.1] * 5, C)
    assert not made.seen
    assert f"a slope of {made.visible:.3g} would have been" in made.words("modulus", "speed")


def test_two_conditions_or_a_condition_without_logarithm_have_a_reason():
    made = trend([1.0, 2.0, 1.1, 2.1], [0.1] * 4, [1.0, 2.0, 1.0, 2.0])
    assert math.isnan(made.slope)
    assert "2 different conditions" in made.words()
    assert "no logarithm" in trend([1.0, 2.0, 3.0], [0.1] * 3, [0.0, 1.0, 2.0], log=True).words()
