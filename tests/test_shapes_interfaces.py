"""Interfaces between components on drawn maps whose width is known: an error function of σ.

Labels come from a threshold on the same blurred and noisy numbers, as in real use.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter
from scipy.special import erf

from palpate.core.shapes.interfaces import interface_width

SIZE = 140
ROWS, COLS = np.mgrid[:SIZE, :SIZE]
STEP = math.log(20.0)
TILTED = (COLS - 69.3) * math.cos(0.4) + (ROWS - 66.0) * math.sin(0.4)
CIRCLE = 42.0 - np.hypot(ROWS - 70.0, COLS - 69.7)
PLACES = {"tilted": TILTED, "circle": CIRCLE}


def logs_of(distance, sigma, noise=0.0):
    """ln E across a step from 0.1 to 2 GPa; `noise` in shares of the step."""
    return math.log(0.1) + STEP * (0.5 * (1.0 + erf(distance / (math.sqrt(2) * sigma))) + noise)


def labels_of(logs):
    return (logs > math.log(math.sqrt(0.2))).astype(int)


@pytest.mark.parametrize("name", list(PLACES))
@pytest.mark.parametrize("sigma", [1.0, 3.0, 6.0])
def test_a_width_is_right_within_five_per_cent_with_noise_of_a_fifth_of_the_step(name, sigma):
    """Mean of eight maps: its own scatter is below 2 %."""
    found = []
    for seed in range(8):
        noise = 0.2 * np.random.default_rng(seed).normal(size=ROWS.shape)
        logs = logs_of(PLACES[name], sigma, noise)
        found.append(interface_width(np.exp(logs), labels_of(logs), 0, 1, (1.0, 1.0)).edge.sigma)
    assert np.mean(found) == pytest.approx(sigma, rel=0.05)


@pytest.mark.parametrize("correlated", [0.0, 2.0])
def test_the_error_of_a_width_holds_the_truth_though_the_noise_is_alike_along_the_boundary(
    correlated,
):
    """±1.96 standard errors on 40 maps: 95 % if all were ideal. By counting pixels as independent
    it would be a third with correlated noise (measured before stretches were left out in turn)."""
    inside, sigma = 0, 3.0
    for seed in range(40):
        noise = np.random.default_rng(seed).normal(size=ROWS.shape)
        if correlated:
            noise = gaussian_filter(noise, correlated, mode="wrap")
        logs = logs_of(CIRCLE, sigma, 0.05 * noise / noise.std())
        edge = interface_width(np.exp(logs), labels_of(logs), 0, 1, (1.0, 1.0)).edge
        inside += abs(edge.sigma - sigma) < 1.96 * edge.sigma_error
    assert inside / 40 >= 0.8


def test_the_error_of_a_width_grows_with_noise_that_is_alike_over_some_pixels():
    errors = []
    for correlated in (0.0, 3.0):
        noise = np.random.default_rng(1).normal(size=ROWS.shape)
        if correlated:
            noise = gaussian_filter(noise, correlated, mode="wrap")
        logs = logs_of(CIRCLE, 3.0, 0.05 * noise / noise.std())
        width = interface_width(np.exp(logs), labels_of(logs), 0, 1, (1.0, 1.0))
        far = np.abs(width.distance) > 6.0  # nearer, the boundary follows the noise
        errors.append((width.edge.sigma_error, np.mean((width.errors / width.values)[far])))
    assert errors[1][0] > 2.0 * errors[0][0]
    assert errors[1][1] > 1.7 * errors[0][1]


def test_a_width_is_in_nm_where_rows_and_columns_lie_apart_differently():
    sigma, pitch = 6.0, (3.0, 2.0)
    angle = 0.7
    distance = (COLS * 2.0 - 140.0) * math.cos(angle) + (ROWS * 3.0 - 210.0) * math.sin(angle)
    logs = logs_of(distance, sigma)
    width = interface_width(np.exp(logs), labels_of(logs), 0, 1, pitch)
    assert width.edge.sigma == pytest.approx(sigma, rel=0.03)
    across = 280.0 / math.sin(angle)  # it goes from the left side to the right one
    assert width.length == pytest.approx(across, rel=0.12)


def test_the_direction_of_the_step_and_the_scale_do_not_change_the_width():
    y = 1.0 + 3.0 * 0.5 * (1.0 + erf(TILTED / (math.sqrt(2.0) * 2.0)))
    labels = (y > 2.5).astype(int)
    up = interface_width(y, labels, 0, 1, (1.0, 1.0), log=False)
    down = interface_width(y, labels, 1, 0, (1.0, 1.0), log=False)
    assert up.edge.sigma == pytest.approx(2.0, rel=0.02)
    assert down.edge.sigma == pytest.approx(up.edge.sigma, rel=1e-3)
    assert (down.edge.low, down.edge.high) == pytest.approx((4.0, 1.0), rel=0.01)
    scaled = interface_width(1e-3 * y, labels, 0, 1, (1.0, 1.0), log=False)
    assert scaled.edge.sigma == pytest.approx(up.edge.sigma, rel=1e-6)


def test_undecided_pixels_along_the_boundary_belong_to_it():
    """Pixels between the two components may be in neither: without them the middle is missing."""
    logs = logs_of(CIRCLE, 2.0)
    share = (logs - math.log(0.1)) / STEP
    labels = np.where(share < 0.25, 0, np.where(share > 0.75, 1, -1))
    usable = np.ones(labels.shape, bool)
    found = interface_width(np.exp(logs), labels, 0, 1, (1.0, 1.0), usable=usable)
    assert found.edge.sigma == pytest.approx(2.0, rel=0.02)
    whole = interface_width(np.exp(logs), labels_of(logs), 0, 1, (1.0, 1.0))
    assert found.pixels == pytest.approx(whole.pixels, rel=0.02)


def test_an_island_that_a_third_component_parts_from_the_other_has_no_interface_with_it():
    labels = np.zeros(ROWS.shape, int)
    labels[CIRCLE > 0.0] = 1
    labels[CIRCLE > 15.0] = 2
    values = np.array([0.1, 0.5, 2.0])[labels]
    apart = interface_width(values, labels, 0, 2, (1.0, 1.0))
    assert apart.length == 0.0
    assert "hardly meet" in apart.edge.reason
    assert math.isnan(apart.upper)


def test_a_sharp_boundary_is_an_upper_bound_below_a_pixel():
    labels = (COLS > 70).astype(int)
    width = interface_width(np.where(labels, 2.0, 0.1), labels, 0, 1, (5.0, 5.0))
    assert not width.edge.resolved
    assert width.edge.sigma < 5.0
    assert "upper bound" in width.edge.reason


def test_the_contact_and_small_domains_are_told():
    logs = logs_of(9.0 - np.hypot(ROWS - 70.0, COLS - 70.0), 3.0)
    found = interface_width(np.exp(logs), labels_of(logs), 0, 1, (1.0, 1.0), contact_radius=4.0)
    assert found.upper == pytest.approx(math.sqrt(found.edge.sigma**2 - 16.0 / 5.0), rel=1e-9)
    assert "upper bound" in found.words
    assert "only roughly" in found.words
    large = interface_width(np.exp(logs_of(CIRCLE, 3.0)), labels_of(logs_of(CIRCLE, 3.0)), 0, 1,
                            (1.0, 1.0))  # fmt: skip
    assert "only roughly" not in large.words
