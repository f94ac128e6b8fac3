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


def test_a_channel_that_made_the_components_is_not_tested_on_them():
    """One component cut in two differs in what it was cut by, and that proves nothing."""
    from palpate.core.components import Axis, Maps, Rule, find, pairs_of, table_of
    from palpate.core.components.pairs import words_of

    rng = np.random.default_rng(1)
    modulus = np.exp(0.2 * rng.normal(size=(60, 60)))
    maps = Maps({"reduced_modulus": modulus, "modulus": 0.8 * modulus,
                 "adhesion": 5.0 + 0.3 * rng.normal(size=(60, 60))})  # fmt: skip
    rule = Rule("thresholds", (Axis("reduced_modulus", True),), thresholds=(1.0,))
    found = find(maps, rule)
    pairs = {p.channel: p for p in pairs_of(found, table_of(found))}
    for name in ("reduced_modulus", "modulus"):
        assert pairs[name].made_by
        assert math.isnan(pairs[name].p)
        assert "no test" in words_of(pairs[name], ("A", "B"), "Modulus")
    assert not pairs["adhesion"].made_by
    assert pairs["adhesion"].p > 0.01
    assert pairs["reduced_modulus"].superiority == pytest.approx(1.0, abs=0.01)


def test_the_superiority_is_that_of_mann_and_whitney():
    from palpate.core.components import Axis, Maps, Rule, find, pairs_of, table_of

    rng = np.random.default_rng(2)
    sides = (np.mgrid[:40, :40][1] >= 20).astype(float)
    maps = Maps({"height": sides + 0.01 * rng.normal(size=sides.shape),
                 "adhesion": 5.0 + 0.4 * sides + 0.5 * rng.normal(size=sides.shape)})  # fmt: skip
    rule = Rule("thresholds", (Axis("height"),), thresholds=(0.5,), zone="none")
    found = find(maps, rule)
    (pair,) = pairs_of(found, table_of(found, ["adhesion"]))
    a, b = (maps.values["adhesion"][found.pixels(k)] for k in (0, 1))
    wanted = stats.mannwhitneyu(b, a).statistic / (a.size * b.size)
    assert pair.superiority == pytest.approx(wanted, abs=1e-12)


def test_half_a_nanonewton_is_told_apart_within_a_few_micrometres():
    """Common practice, no source: adhesion differences of 0.5 nN must be told apart."""
    from palpate.core.components import Axis, Maps, Rule, find, pairs_of, table_of

    rng = np.random.default_rng(3)
    rows, cols = np.mgrid[:48, :48]
    stiff = np.hypot(rows - 24, cols - 24) < 12
    modulus = np.where(stiff, 1.8, 0.4) * np.exp(0.05 * rng.normal(size=(48, 48)))
    maps = Maps({"reduced_modulus": modulus,
                 "adhesion": np.where(stiff, 5.0, 5.5) + 0.4 * rng.normal(size=(48, 48))},
                pitch=(60.0, 60.0), scaled=True)  # fmt: skip
    found = find(maps, Rule("thresholds", (Axis("reduced_modulus", True),), thresholds=(0.9,)))
    (pair,) = pairs_of(found, table_of(found, ["adhesion"]))
    assert pair.told_apart
    assert pair.difference == pytest.approx(-0.5, abs=0.06)
    assert pair.low < -0.5 < pair.high
