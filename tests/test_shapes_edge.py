"""Edges and interfaces: widths against the error function's own, and simulated boundaries."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from scipy.optimize import curve_fit
from scipy.special import erf, ndtri

from palpate.core.shapes.edge import (
    WIDTH_10_90,
    WIDTH_12_88,
    WIDTH_25_75,
    fit_edge,
)
from palpate.core.shapes.interfaces import interface_width
from palpate.core.shapes.widths import true_width


def profile(x, position=1.3, sigma=2.0, a=0.4, b=1.9):
    return 0.5 * (a + b) + 0.5 * (b - a) * erf((x - position) / (math.sqrt(2.0) * sigma))


def test_the_widths_are_those_of_the_error_function():
    """10-90 %, 12-88 % (the parameter D12-88 of ISO 18516, by its scope) and 25-75 %, in σ:
    2.563103, 2.349974, 1.348980, from the inverse of the normal distribution (scipy)."""
    for width, low in ((WIDTH_10_90, 0.10), (WIDTH_12_88, 0.12), (WIDTH_25_75, 0.25)):
        assert width == pytest.approx(ndtri(1.0 - low) - ndtri(low), rel=1e-8)
    found = (WIDTH_10_90, WIDTH_12_88, WIDTH_25_75)
    assert found == pytest.approx((2.563103, 2.349974, 1.348980), abs=6e-7)


@pytest.mark.parametrize("log", [False, True])
def test_an_exact_profile_gives_its_own_numbers(log):
    x = np.linspace(-9.0, 12.0, 60)
    y = np.exp(profile(x)) if log else profile(x)
    edge = fit_edge(x, y, log=log)
    assert (edge.position, edge.sigma) == pytest.approx((1.3, 2.0), rel=1e-5)
    levels = (math.exp(0.4), math.exp(1.9)) if log else (0.4, 1.9)
    assert (edge.low, edge.high) == pytest.approx(levels, rel=1e-5)
    assert edge.width_10_90 == pytest.approx(2.0 * WIDTH_10_90, rel=1e-5)
    assert np.allclose(edge.at(x), y, rtol=1e-5)
    assert edge.log == log


def test_the_fit_and_its_errors_are_those_of_a_general_fit():
    """Against scipy.optimize.curve_fit."""
    rng = np.random.default_rng(2)
    x = np.linspace(-8.0, 9.0, 80)
    y = profile(x) + 0.05 * rng.normal(size=x.size)
    edge = fit_edge(x, y, np.full(x.size, 0.05))
    best, cov = curve_fit(profile, x, y, (0.0, 1.0, 0.0, 2.0), np.full(x.size, 0.05),
                          absolute_sigma=True)  # fmt: skip
    found = (edge.position, edge.sigma, edge.low, edge.high)
    errors = (edge.position_error, edge.sigma_error, edge.low_error, edge.high_error)
    assert found == pytest.approx(tuple(best), rel=1e-4)
    assert errors == pytest.approx(tuple(np.sqrt(np.diag(cov))), rel=0.02)


def test_the_errors_hold_the_truth():
    rng = np.random.default_rng(4)
    x = np.linspace(-8.0, 9.0, 60)
    inside = 0
    for _ in range(200):
        edge = fit_edge(x, profile(x) + 0.1 * rng.normal(size=x.size), np.full(x.size, 0.1))
        inside += abs(edge.sigma - 2.0) < 1.96 * edge.sigma_error
    assert 0.90 <= inside / 200 <= 0.985


@pytest.mark.parametrize(
    ("x", "y", "why"),
    [
        (np.arange(4.0), np.arange(4.0), "fewer than 5"),
        (np.arange(30.0), np.random.default_rng(0).normal(size=30), "no step|settle"),
        (np.arange(30.0), np.full(30, math.nan), "fewer than 5"),
    ],
)
def test_what_is_no_edge_says_why(x, y, why):
    edge = fit_edge(x, y)
    assert re.search(why, edge.reason)
    assert math.isnan(edge.sigma)


def test_a_step_between_two_points_is_an_upper_bound():
    x = np.arange(20.0)
    edge = fit_edge(x, np.where(x < 9.5, 1.0, 3.0))
    assert not edge.resolved
    assert edge.sigma == pytest.approx(0.5)
    assert "upper bound" in edge.reason
    assert math.isnan(edge.sigma_error)
    assert edge.position_error == pytest.approx(1.0 / math.sqrt(12.0))  # evenly between two points


@pytest.mark.parametrize("truth", [0.3, 0.8, 1.5])
def test_an_upper_bound_of_a_width_lies_below_the_truth_in_one_of_twenty_profiles_at_most(truth):
    """Steps so narrow and noisy that many fits can't tell them from sharp ones. A bound of 95 % may
    fail in 5 % of all profiles (binomial: 5 ± 1.5 % of 200); plain half the points' distance would
    fail for each of them."""
    x, told, low = np.arange(24.0), 0, 0
    for seed in range(200):
        noise = 0.15 * np.random.default_rng(seed).normal(size=24)
        edge = fit_edge(x, profile(x, 11.3, truth, 0.0, 1.0) + noise, np.full(24, 0.15))
        if "upper bound" in edge.reason:
            told += 1
            low += edge.sigma < truth
    assert told >= 5
    assert low <= 0.09 * 200


def test_the_contacts_own_width_is_taken_off_as_bounds():
    """Weighed by Hertz's pressure √(1 - r²/a²) a disc blurs by a/√5: its second moment along one
    direction, by quadrature (scipy). With a = √(20 nm · 3 nm) and a measured σ of 10 nm the true
    one lies between √(100 - 60) and √(100 - 12)."""
    from scipy.integrate import quad

    chord = quad(lambda x: x * x * (1.0 - x * x), -1.0, 1.0)[0]
    whole = quad(lambda x: 1.0 - x * x, -1.0, 1.0)[0]
    a = math.sqrt(60.0)
    found = true_width(10.0, a)
    assert (found.upper, found.low) == pytest.approx((10.0, math.sqrt(40.0)))
    assert found.high == pytest.approx(math.sqrt(100.0 - a * a * chord / whole))
    assert found.limited
    assert "upper bound" in found.words
    assert not true_width(100.0, a).limited
    sharp = true_width(3.0, a)  # an upper bound of nothing would be a claim
    assert (sharp.low, sharp.high) == (0.0, 3.0)
    assert "may be sharp" in sharp.words
    assert "not known" in true_width(10.0, math.nan).words
    assert math.isnan(true_width(math.nan, a).upper)


ROWS, COLS = np.mgrid[:96, :96]
BOUNDARIES = {
    "straight": COLS - 47.3,
    "tilted": (COLS - 47.3) * math.cos(0.4) + (ROWS - 40) * math.sin(0.4),
    "circle": 30.0 - np.hypot(ROWS - 48, COLS - 48.2),
    "small circle": 15.0 - np.hypot(ROWS - 48, COLS - 48.2),
}


@pytest.mark.parametrize("name", list(BOUNDARIES))
@pytest.mark.parametrize("sigma", [1.0, 2.0, 4.0, 6.0])
@pytest.mark.parametrize("noise", [0.0, 0.05, 0.1])
def test_the_width_of_a_simulated_boundary_is_right_within_five_per_cent(name, sigma, noise):
    """Mean of four maps; labels by a threshold on the same noisy numbers, as in real use."""
    step = math.log(20.0)
    found = []
    for seed in range(4):
        rng = np.random.default_rng(seed)
        smooth = 0.5 * (1.0 + erf(BOUNDARIES[name] / (math.sqrt(2.0) * sigma)))
        logs = math.log(0.1) + step * smooth + noise * step * rng.normal(size=(96, 96))
        labels = (logs > math.log(math.sqrt(0.2))).astype(int)
        found.append(interface_width(np.exp(logs), labels, 0, 1, (1.0, 1.0)).edge.sigma)
    assert np.mean(found) == pytest.approx(sigma, rel=0.05)


def test_a_third_component_and_left_out_pixels_do_not_count():
    sigma = 1.5
    values = np.exp(profile(BOUNDARIES["straight"], 0.0, sigma, math.log(0.1), math.log(2.0)))
    labels = (values > math.sqrt(0.2)).astype(int)
    values[60:, :], labels[60:, :] = 50.0, 2
    values[10:14, 40:55] = 1e6
    usable = values < 1e5
    width = interface_width(values, labels, 0, 1, (2.0, 2.0), usable=usable)
    assert width.edge.sigma == pytest.approx(2.0 * sigma, rel=0.05)
    assert width.length == pytest.approx(2.0 * (60 - 4), rel=0.15)
    none = interface_width(values, labels, 0, 5, (1.0, 1.0))
    assert "hardly meet" in none.edge.reason
