"""Axes of the curve, limits of colours, lengths and ticks: plain functions with plain numbers."""

from __future__ import annotations

import math

import numpy as np
import pytest
from views_data import bare_report, report

from palpate.app.views import scales
from palpate.core import curveaxes as axes


def test_force_separation_and_indentation_follow_their_formulas():
    frame = axes.Frame("indentation", "force", k=2.0, z0=10.0)
    z, d = np.array([5.0, 14.0]), np.array([0.0, 3.0])
    assert frame.along(z, d) == pytest.approx([-5.0, 1.0])  # (z - z0) - d
    branch = report().approach
    assert frame.up(z, d, branch) == pytest.approx([0.0, 6.0])  # k d
    assert axes.Frame("separation", "force", 2.0, 10.0).along(z, d) == pytest.approx([5.0, -1.0])
    assert axes.Frame("z", "deflection").up(z, d, branch) == pytest.approx(d)


def test_as_measured_gives_back_the_recorded_deflection():
    found = report()
    for branch in (found.approach, found.retract):
        up = axes.Frame("z", "measured").up(branch.z, branch.d, branch)
        assert up == pytest.approx(branch.raw, abs=1e-9)
        assert axes.baseline_of(branch, branch.z) == pytest.approx(branch.line, abs=1e-9)


@pytest.mark.parametrize("x", ["z", "separation", "indentation"])
def test_window_comes_back_to_the_same_z_on_every_axis(x):
    found = report()
    frame, note = axes.frame_for(found, x, "force")
    assert note == ""
    ends = axes.window_on(found, frame)
    assert ends is not None
    assert ends[0] < ends[1]
    assert axes.window_in_z(found, frame, ends) == pytest.approx(found.window, abs=1e-3)


@pytest.mark.parametrize("branch", ["approach", "retract"])
def test_fitted_branch_is_one_to_one_on_the_axes(branch):
    found = report(fit__branch=branch)
    for x, way in (("indentation", 1.0), ("separation", -1.0)):
        z, along = axes.track(found, axes.frame_for(found, x, "force")[0])
        assert z.size == along.size > 100
        assert (way * np.diff(along) >= 0.0).all()


def test_axes_that_need_a_missing_constant_fall_back_and_say_so():
    frame, note = axes.frame_for(bare_report(), "separation", "force")
    assert (frame.x, frame.y) == ("z", "deflection")
    assert "spring constant" in note
    assert "contact point" in note
    frame, note = axes.frame_for(bare_report("V"), "z", "deflection")
    assert "as recorded" in note
    assert axes.title("deflection", bare_report("V")) == "Signal (as recorded)"


def test_no_window_on_a_curve_without_a_fit():
    found = bare_report()
    assert axes.window_on(found, axes.frame_for(found, "z", "force")[0]) is None


def test_robust_limits_are_the_2nd_and_98th_percentile():
    values = np.arange(101.0)
    assert scales.robust_limits(values) == pytest.approx((2.0, 98.0))
    values[0] = np.nan
    assert math.isfinite(sum(scales.robust_limits(values)))


def test_signed_limits_are_centred_on_zero():
    low, high = scales.robust_limits(np.linspace(-1.0, 3.0, 101), "signed")
    assert low == -high
    assert high == pytest.approx(2.92)


@pytest.mark.parametrize("values", [[np.nan, np.nan], [], [5.0, 5.0], [0.0, 0.0], [-2.0], [1e-300]])
def test_limits_are_finite_and_apart_whatever_the_values(values):
    low, high = scales.robust_limits(np.array(values))
    assert math.isfinite(low)
    assert math.isfinite(high)
    assert low < high


def test_colour_index_clips_and_keeps_missing_values_apart():
    values = np.array([[-9.0, 0.0, 1.0, 9.0, np.nan, np.inf]])
    index = scales.colour_index(values, 0.0, 1.0)
    assert index.tolist() == [[0, 0, 254, 254, scales.NO_VALUE, scales.NO_VALUE]]


@pytest.mark.parametrize("width", [0.37, 1.0, 48.0, 999.0, 2000.0, 7.7e4])
def test_scale_bar_is_a_round_length_near_a_quarter_of_the_width(width):
    length = scales.nice_length(width)
    mantissa = length / 10.0 ** math.floor(math.log10(length) + 1e-9)
    assert round(mantissa, 9) in (1.0, 2.0, 5.0)
    assert 0.157 < length / width < 0.4


def test_ticks_are_round_inside_and_not_too_many():
    ticks = scales.nice_ticks(0.031, 1.7, 6)
    assert ticks == pytest.approx([0.5, 1.0, 1.5])
    assert scales.tick_texts(ticks) == ["0.5", "1.0", "1.5"]
    assert scales.nice_ticks(1.0, 1.0) == []
    assert len(scales.nice_ticks(-3e-7, 4e-7, 6)) <= 8
