"""The statistics of regions: what is counted, and whether the intervals hold."""

from __future__ import annotations

import math

import numpy as np
import pytest

from palpate.core.places import Rectangle, differences, mask_of, statistics_of
from palpate.core.simulate import smooth_field

SHAPE = (64, 64)
AXIS = np.arange(64) + 0.5
LEFT = mask_of(Rectangle(0, 0, 32, 64), AXIS, AXIS)


def test_the_plain_numbers_are_those_of_scipy_and_numpy():
    from scipy import stats

    values = np.random.default_rng(1).lognormal(0.0, 0.5, SHAPE)
    got = statistics_of({"a": values}, LEFT).channels["a"]
    inside = values[LEFT]
    assert got.mean == pytest.approx(np.mean(inside))
    assert got.deviation == pytest.approx(stats.tstd(inside))
    assert got.spread == pytest.approx(stats.median_abs_deviation(inside, scale="normal"))
    assert (got.lower_quartile, got.median, got.upper_quartile) == pytest.approx(
        np.quantile(inside, [0.25, 0.5, 0.75])
    )
    assert (got.minimum, got.maximum) == (inside.min(), inside.max())
    assert (got.pixels, got.used, got.area) == (2048, 2048, 2048.0)


def test_on_independent_pixels_the_errors_are_the_textbook_ones():
    """scipy.stats.sem, and √(π/2) of it for a median of a normal law."""
    from scipy import stats

    values = np.random.default_rng(2).normal(5.0, 2.0, SHAPE)
    got = statistics_of({"a": values}, LEFT).channels["a"]
    assert got.mean_error == pytest.approx(stats.sem(values[LEFT]), rel=0.06)
    assert got.median_error == pytest.approx(math.sqrt(math.pi / 2) * 2.0 / math.sqrt(2048),
                                             rel=0.1)  # fmt: skip
    low, high = got.mean_interval
    assert high - low == pytest.approx(2 * 1.96 * got.mean_error, rel=0.01)
    low, high = got.median_interval
    assert high - low == pytest.approx(2 * 1.96 * got.median_error, rel=0.15)


def test_every_pixel_of_a_region_is_used_or_left_out_for_one_reason():
    rng = np.random.default_rng(3)
    values = rng.normal(size=SHAPE)
    values[rng.random(SHAPE) < 0.1] = np.nan
    masks = {key: rng.random(SHAPE) < 0.2 for key in ("no_curve", "decided", "severe")}
    got = statistics_of({"a": values, "b": values * 0 + 1}, LEFT, pitch=(4.0, 5.0),
                        area_unit="nm²", **masks)  # fmt: skip
    one = got.channels["a"]
    left = LEFT.copy()
    for key in ("no_curve", "decided", "severe"):
        assert one.left_out[key] == (left & masks[key]).sum()
        left &= ~masks[key]
    assert one.left_out["no_value"] == (left & np.isnan(values)).sum() > 0
    assert one.used == (left & ~np.isnan(values)).sum()
    assert one.used + sum(one.left_out.values()) == one.pixels == 2048
    assert one.mean == pytest.approx(values[left & ~np.isnan(values)].mean())
    assert got.area == 2048 * 20.0
    assert one.used_area == one.used * 20.0
    assert got.channels["b"].left_out["no_value"] == one.left_out["no_value"]  # NaN * 0 is NaN


def coverage(xi, draw, truth_mean, truth_median, seed, fields=40):
    """Shares of 95 % intervals that hold the truth: of mean, of median, and naive of the mean.

    A part is cut from larger fields, since those are made with a mean of exactly zero.
    """
    rng, hits = np.random.default_rng(seed), []
    axis = np.arange(128) + 0.5
    mask = mask_of(Rectangle(5, 10, 85, 120), axis, axis)
    for _ in range(fields):
        values = draw(smooth_field((320, 320), xi, rng)[:128, :128])
        got = statistics_of({"a": values}, mask).channels["a"]
        naive = 1.96 * got.deviation / math.sqrt(got.used)
        hits.append((got.mean_interval[0] <= truth_mean <= got.mean_interval[1],
                     got.median_interval[0] <= truth_median <= got.median_interval[1],
                     abs(got.mean - truth_mean) <= naive))  # fmt: skip
    return np.mean(hits, axis=0)


@pytest.mark.parametrize("xi", [0.6, 2.0, 3.5])
def test_intervals_of_mean_and_median_hold_on_correlated_fields_where_counting_pixels_fails(xi):
    mean, median, naive = coverage(
        xi, lambda f: 5.0 + 2.0 * f, 5.0, 5.0, seed=int(10 * xi), fields=120
    )
    assert 0.90 < mean < 0.995
    assert 0.90 < median < 0.995
    assert naive < (0.85 if xi < 1 else 0.45)


def test_intervals_hold_on_moduli_that_are_log_normal():
    """Median e^μ, mean e^{μ+σ²/2}: μ = 0, σ = 0.5."""
    mean, median, naive = coverage(
        2.0, lambda f: np.exp(0.5 * f), math.exp(0.125), 1.0, seed=5, fields=120
    )
    assert 0.90 < mean < 0.995
    assert 0.90 < median < 0.995
    assert naive < 0.5


def test_the_median_interval_needs_no_normal_law():
    """Two kinds of pixels in one region: the robust spread says nothing about a median there, the
    ranks do."""
    rng, hits = np.random.default_rng(6), []
    for _ in range(300):
        kinds = rng.random(SHAPE) < 0.5
        values = np.where(kinds, rng.normal(1.0, 0.1, SHAPE), rng.exponential(3.0, SHAPE) + 1.0)
        small = statistics_of({"a": values}, mask_of(Rectangle(0, 0, 15, 15), AXIS, AXIS))
        low, high = small.channels["a"].median_interval
        hits.append((low, high))
    many = np.random.default_rng(7)
    kinds = many.random(400_000) < 0.5
    truth = np.median(np.where(kinds, many.normal(1.0, 0.1, 400_000),
                               many.exponential(3.0, 400_000) + 1.0))  # fmt: skip
    held = np.mean([low <= truth <= high for low, high in hits])
    assert 0.91 < held < 0.99


def test_an_empty_region_or_one_pixel_gives_nan_and_a_reason():
    values = np.random.default_rng(8).normal(size=SHAPE)
    none = statistics_of({"a": values}, np.zeros(SHAPE, dtype=bool)).channels["a"]
    assert math.isnan(none.mean)
    assert "holds no pixel" in none.reason
    lost = statistics_of({"a": values}, LEFT, severe=np.ones(SHAPE, dtype=bool)).channels["a"]
    assert "can be used" in lost.reason
    assert lost.left_out["severe"] == 2048
    one = statistics_of({"a": values}, mask_of(Rectangle(3, 3, 4, 4), AXIS, AXIS)).channels["a"]
    assert one.mean == one.median == values[3, 3]
    assert math.isnan(one.mean_error)
    assert "One pixel" in one.reason
    flat = statistics_of({"a": np.ones(SHAPE)}, LEFT).channels["a"]
    assert (flat.mean, flat.deviation, flat.mean_error, flat.median_error) == (1.0, 0.0, 0.0, 0.0)
    with pytest.raises(ValueError, match="shape"):
        statistics_of({"a": values[1:]}, LEFT)


def test_the_noise_of_measurement_is_told_beside_the_spread():
    own = np.full(SHAPE, 0.3)
    own[0, 0] = np.nan
    got = statistics_of({"a": np.random.default_rng(9).normal(size=SHAPE)}, LEFT,
                        errors={"a": own}).channels["a"]  # fmt: skip
    assert got.pixel_error == pytest.approx(0.3)


# ---- an analysis


@pytest.fixture(scope="module")
def analysis():
    from palpate.core import Settings, analyse
    from palpate.core.simulate import SKI_BOOT, Lever, Ramp, simulate_map

    labels = np.zeros((16, 20), dtype=np.int64)
    labels[:, 10:] = 2
    lever = Lever(2.5, 58.0, "paraboloid", 16.0, 0.07)
    made = simulate_map(labels, SKI_BOOT, lever=lever, spoiled=0.06, seed=3,
                        ramp=Ramp(travel=170.0, samples=200, set_force=35.0),
                        scan_size=(400.0, 640.0))  # fmt: skip
    return analyse(made.as_map(), Settings())


def test_an_analysis_gives_all_its_channels_and_counts_its_doubts(analysis):
    from palpate.core.channels import asked_for

    x, y = analysis.map.x, analysis.map.y
    mask = mask_of(Rectangle(x[0] - 1, y[0] - 1, x[9] + 1, y[-1] + 1), x, y)
    assert mask.sum() == 160
    decided = np.zeros(mask.shape, dtype=bool)
    decided[0, :5] = True
    got = statistics_of(analysis, mask, name="left", decided=decided)
    assert tuple(got.channels) == tuple(asked_for(analysis.settings))
    one = got.channels["modulus"]
    used = mask & analysis.trusted & ~decided & np.isfinite(analysis.channel("modulus"))
    assert one.used == used.sum() > 100
    assert one.left_out["decided"] == 5
    assert one.left_out["severe"] == (mask & analysis.severe & ~decided).sum() > 0
    assert one.median == pytest.approx(np.median(analysis.channel("modulus")[used]))
    assert one.unit == "GPa"
    assert got.area_unit == "nm²"
    assert got.area == pytest.approx(160 * (x[1] - x[0]) * (y[1] - y[0]))
    assert one.pixel_error > 0.0


def test_pixels_left_out_by_hand_do_not_count_unless_told_otherwise(analysis):
    """Checked with numpy's median."""
    left_out = np.zeros(analysis.map.shape, dtype=bool)
    left_out[:, ::3] = True
    whole, reviewed = np.ones(left_out.shape, dtype=bool), analysis.without(left_out)
    got = statistics_of(reviewed, whole).channels["modulus"]
    used = analysis.channel("modulus")[analysis.trusted & ~left_out]
    assert got.median == pytest.approx(np.nanmedian(used), rel=1e-12)
    assert got.left_out["decided"] == left_out.sum()
    every = statistics_of(reviewed, whole, decided=~whole).channels["modulus"]
    assert every == statistics_of(analysis, whole).channels["modulus"]


def test_the_difference_of_two_regions_of_an_analysis(analysis):
    x, y = analysis.map.x, analysis.map.y
    left = mask_of(Rectangle(x[0] - 1, y[0] - 1, x[9] + 1, y[-1] + 1), x, y)
    a, b = statistics_of(analysis, ~left, name="beads"), statistics_of(analysis, left, name="rest")
    found = differences(a, b)["modulus"]
    assert found.ratio == pytest.approx(3.0 / 1.4, rel=0.15)  # the simulated moduli
    assert found.ratio_interval[0] < 3.0 / 1.4 * 1.1
    assert "Spring constant" in found.cancels
    assert "Poisson" in found.cancels
    assert "Poisson" not in differences(a, b)["reduced_modulus"].cancels
    assert "offset" in differences(a, b)["height"].cancels


# ---- differences


def test_a_difference_is_that_of_welch_on_independent_pixels():
    from scipy import stats

    rng = np.random.default_rng(10)
    values = np.where(LEFT, rng.normal(5.0, 1.0, SHAPE), rng.normal(3.0, 2.0, SHAPE))
    small = mask_of(Rectangle(0, 0, 8, 8), AXIS, AXIS)
    other = mask_of(Rectangle(40, 0, 60, 20), AXIS, AXIS)
    a, b = (statistics_of({"a": values}, m) for m in (small, other))
    found = differences(a, b)["a"]
    want = stats.ttest_ind(values[small], values[other], equal_var=False).confidence_interval()
    assert found.mean == pytest.approx(values[small].mean() - values[other].mean())
    assert found.mean_interval == pytest.approx(tuple(want), abs=0.15)


def test_intervals_of_differences_and_ratios_hold_and_a_common_factor_leaves_the_ratio_alone():
    rng, hits = np.random.default_rng(11), []
    right = mask_of(Rectangle(70, 0, 128, 128), np.arange(128) + 0.5, np.arange(128) + 0.5)
    left = mask_of(Rectangle(0, 0, 60, 128), np.arange(128) + 0.5, np.arange(128) + 0.5)
    for _ in range(80):
        factor = rng.lognormal(0.0, 0.2)  # a spring constant's error, the same everywhere
        values = np.exp(0.2 * smooth_field((256, 256), 2.0, rng)[:128, :128])
        values = factor * np.where(left, 2.0, 1.0) * values
        a, b = (statistics_of({"modulus": values}, m) for m in (left, right))
        one = differences(a, b)["modulus"]
        hits.append((one.ratio_interval[0] < 2.0 < one.ratio_interval[1],
                     one.median_interval[0] < factor < one.median_interval[1]))  # fmt: skip
    ratio, difference = np.mean(hits, axis=0)
    assert ratio > 0.87
    assert difference > 0.87


def test_regions_that_share_pixels_get_no_error_and_are_told_why():
    values = np.random.default_rng(12).normal(5.0, 1.0, SHAPE)
    a = statistics_of({"a": values}, LEFT)
    b = statistics_of({"a": values}, mask_of(Rectangle(30, 0, 64, 64), AXIS, AXIS))
    found = differences(a, b)["a"]
    assert "share 128 pixels" in found.reason
    assert math.isnan(found.mean_error)
    assert found.mean == pytest.approx(a.channels["a"].mean - b.channels["a"].mean)
    none = statistics_of({"a": values}, np.zeros(SHAPE, dtype=bool))
    assert "no pixel" in differences(a, none)["a"].reason
