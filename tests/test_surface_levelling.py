"""Levelling takes off what it says, over the chosen pixels only, and tells it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from palpate.core.surface.levelling import Levelling, level

SHAPE = (60, 80)
Y, X = np.mgrid[: SHAPE[0], : SHAPE[1]].astype(float)


def dented():
    """A tilted plane; a soft component in one half is pressed down by an uneven dent."""
    labels = np.where(X < 30, 0, 1)
    plane = 0.02 * X - 0.01 * Y + 5.0
    dent = np.where(labels == 0, 3.0 + 0.05 * (30 - X), 0.0)
    noise = np.random.default_rng(1).normal(0.0, 0.01, SHAPE)
    return plane, plane - dent + noise, labels


def test_a_plane_is_found_over_one_component_whatever_the_dent_of_the_other():
    plane, height, labels = dented()
    got = level(height, Levelling(on=(1,)), labels=labels, pitch=(2.0, 2.0))
    assert got.removed == pytest.approx(plane, abs=0.01)
    assert got.tilt == pytest.approx((0.01, -0.005), abs=2e-5)
    everything = level(height, Levelling(), pitch=(2.0, 2.0))
    assert abs(everything.tilt[0] - 0.01) > 0.005  # the dent does tilt it otherwise


def test_the_words_tell_the_tilt_in_mrad_and_degrees():
    _, height, labels = dented()
    words = level(height, Levelling(on=(1,)), labels=labels, pitch=(2.0, 2.0)).words
    steep = math.hypot(0.01, 0.005)  # 11.18 mrad
    assert "11.2 mrad" in words
    assert f"{math.degrees(math.atan(steep)):.3g}°" in words


def test_a_step_between_two_deciding_components_tilts_nothing_and_stays():
    plane, height, labels = dented()
    flat_dent = plane - np.where(labels == 0, 3.0, 0.0)
    got = level(flat_dent, Levelling(on=(0, 1)), labels=labels)
    step = np.median(got.values[labels == 1]) - np.median(got.values[labels == 0])
    assert got.tilt == pytest.approx((0.02, -0.01), abs=1e-9)
    assert step == pytest.approx(3.0, abs=1e-6)


@pytest.mark.parametrize("order", [0, 1, 2, 3])
def test_a_polynomial_of_the_order_is_taken_off_exactly(order):
    x, y = X / 80, Y / 60
    powers = [x**i * y**j for i in range(4) for j in range(4) if i + j <= order]
    height = sum((k + 1.0) * p for k, p in enumerate(powers))
    assert level(height, Levelling(order)).values == pytest.approx(0.0 * height, abs=1e-8)


def test_outliers_do_not_tilt_the_plane():
    height = 0.02 * X
    height[:10, 60:] += 50.0  # particles on 4 % of the map
    noise = np.random.default_rng(2).normal(0.0, 0.05, SHAPE)
    assert level(height + noise, Levelling()).tilt == pytest.approx((0.02, 0.0), abs=3e-4)


def test_missing_pixels_stay_missing_and_height_is_the_sum():
    _, height, _ = dented()
    height[5:9, 3:50] = np.nan
    for lines in ("none", "median", "differences"):
        got = level(height, Levelling(2, lines))
        assert np.array_equal(np.isnan(got.values), np.isnan(height))
        assert np.isfinite(got.removed).all()
        assert np.nanmax(np.abs(got.values + got.removed - height)) < 1e-12


@pytest.mark.parametrize("lines", ["median", "differences"])
def test_shifted_lines_are_put_back_over_the_chosen_component(lines):
    rng = np.random.default_rng(3)
    labels = np.where((X // 10) % 2 == 0, 0, 1)
    shifts = rng.normal(0.0, 1.0, SHAPE[0])
    soft = np.where(labels == 0, -4.0 - 0.5 * np.sin(Y), 0.0)
    height = soft + shifts[:, None] + rng.normal(0.0, 0.01, SHAPE)
    got = level(height, Levelling(0, lines, on=(1,)), labels=labels)
    rest = np.median(np.where(labels == 1, got.values, np.nan)[:, 10:20], axis=1)
    assert np.std(rest) < 0.05
    assert np.corrcoef(got.shifts, shifts)[0, 1] > 0.999


def test_a_line_without_chosen_pixels_is_left_counted_and_told():
    labels = np.ones(SHAPE, int)
    labels[20:23] = 0
    height = np.random.default_rng(4).normal(0.0, 1.0, SHAPE)
    got = level(height, Levelling(0, "median", on=(1,)), labels=labels)
    assert got.left == 3
    assert (got.shifts[20:23] == 0.0).all()
    assert "3 lines without such pixels were left" in got.words


def test_the_drift_of_summed_differences_is_the_one_told():
    """Monte Carlo: white noise of 1 nm; the last line against the first."""
    rng = np.random.default_rng(5)
    ends, told = [], []
    for _ in range(150):
        got = level(rng.normal(0.0, 1.0, (40, 60)), Levelling(0, "differences"))
        ends.append(got.shifts[-1] - got.shifts[0])
        told.append(got.drift)
    assert np.mean(told) == pytest.approx(np.std(ends), rel=0.2)
    assert "drift" in got.words


def test_too_few_pixels_lower_the_order_and_none_level_nothing():
    height = 0.1 * X
    usable = np.zeros(SHAPE, bool)
    usable[4, :] = True
    got = level(height, Levelling(1), usable=usable)
    assert got.order == 0
    assert "don't determine it" in got.words
    none = level(height, Levelling(1), usable=np.zeros(SHAPE, bool))
    assert np.array_equal(none.values, height)
    assert "not levelled" in none.words


def test_unknown_orders_ways_and_shapes_are_refused():
    with pytest.raises(ValueError, match="order"):
        Levelling(4)
    with pytest.raises(ValueError, match="line levelling"):
        Levelling(1, "mean")
    with pytest.raises(ValueError, match="labels"):
        level(X, Levelling(on=(1,)))
    with pytest.raises(ValueError, match="shape"):
        level(X, Levelling(), usable=np.ones((3, 3), bool))
