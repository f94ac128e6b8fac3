"""Two components against each other."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from palpate.core.components.pairs import Pair, _adjusted, pair_of
from palpate.core.components.table import Summary


def summary(median: float, error: float, independent: float) -> Summary:
    nan = math.nan
    return Summary("adhesion", "nN", 100, independent, nan, median, error, nan, nan, nan, nan,
                   *[nan] * 10)  # fmt: skip


def test_the_test_of_two_components_is_welch_s_of_scipy():
    one, other = summary(5.0, 0.10, 30.0), summary(5.4, 0.15, 12.0)
    pair = pair_of(0, 1, one, other)
    wanted = stats.ttest_ind_from_stats(5.4, 0.15 * math.sqrt(12), 12, 5.0, 0.10 * math.sqrt(30),
                                        30, equal_var=False)  # fmt: skip
    assert pair.p == pytest.approx(wanted.pvalue, rel=1e-9)
    ends = stats.t(pair.degrees, 0.4, math.hypot(0.1, 0.15)).interval(0.95)
    assert (pair.low, pair.high) == pytest.approx(ends)
    assert math.isnan(pair.ratio)


def test_several_comparisons_are_counted_as_holm_does():
    """p .01 .04 .03 and one unknown: 3 x .01; 2 x .03; .04 raised to .06 (worked by hand)."""
    made = [Pair(0, 1, "adhesion", "nN", *[math.nan] * 8, p, 0.5, 9.0)
            for p in (0.01, 0.04, math.nan, 0.03)]  # fmt: skip
    found = [pair.adjusted for pair in _adjusted(made)]
    assert found == pytest.approx([0.03, 0.06, np.nan, 0.06], nan_ok=True)
