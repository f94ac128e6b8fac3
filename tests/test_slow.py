"""Noise that is slow is estimated from the free baseline and carried into every interval.

A random walk of known strength is laid on simulated curves (Wiener process; any text on stochastic
processes). The weights' variance is checked against the walk's own covariance, min(x, x').
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from palpate.core.columns import baseline as bl
from palpate.core.forcemap import ForceMap
from palpate.core.pipeline import analyse
from palpate.core.settings import Settings
from palpate.core.simulate import Lever, Ramp, simulate_curve
from palpate.core.steps.slow import ahead_of_line, walk_variance

LEVER = Lever(2.0, tip_size=20.0, noise=0.08)
RAMP = Ramp(travel=200.0, samples=512, set_force=30.0)
PULL = 6.0


def shifts(count: int):
    """Where each curve's contact lies: anywhere between two samples."""
    return np.random.default_rng(9).uniform(0, RAMP.travel / (RAMP.samples - 1), count)


def walking(q: float, count: int = 1500, modulus: float = 1.0, seed: int = 4) -> ForceMap:
    """Curves with a slow noise that walks by q nm² a nm, through approach and retract."""
    rng = np.random.default_rng(seed)
    z, d = [], []
    step = RAMP.travel / (RAMP.samples - 1)
    for shift in shifts(count):
        one = simulate_curve(LEVER, RAMP, modulus, 0.35, PULL, 0.0, rng)
        walk = np.cumsum(rng.normal(0, np.sqrt(q * step), 2 * RAMP.samples)).reshape(2, -1)
        z.append(one[0] + shift)
        d.append(one[1] + walk)
    return ForceMap.from_arrays(np.array(z), np.array(d), shape=(1, count), spring_constant=2.0,
                                radius=20.0)  # fmt: skip


SETTINGS = Settings().with_value("sample.poisson_ratio", 0.35)


@pytest.mark.parametrize("q", [1e-5, 4e-5, 3e-4])
def test_the_walk_is_found(q):
    assert analyse(walking(q), SETTINGS).walk == pytest.approx(q, rel=0.12)


def test_white_noise_has_no_walk():
    result = analyse(walking(0.0), SETTINGS)
    assert result.walk < 1e-6
    found = result.stage_tables["baseline"][:, bl.WALK_APPROACH]
    error = found.std() / np.sqrt(found.size)
    assert abs(found.mean()) < 4 * error  # no bias either way


@pytest.mark.parametrize("q", [4e-5, 3e-4])
@pytest.mark.parametrize("modulus", [0.05, 1.0])
def test_intervals_hold_under_slow_noise(q, modulus):
    """Without the slow part they would hold far less: that is checked too."""
    result = analyse(walking(q, modulus=modulus), SETTINGS)
    e, told = result.channel("modulus")[0], result.errors("modulus")[0]
    miss = np.abs(np.log(e / modulus))
    held = np.mean(miss < 1.96 * told / e)
    assert 0.93 <= held <= 0.98
    fit = result.stage_tables["fit"]
    from palpate.core.columns import fit as ft

    white = np.mean(miss < 1.96 * np.sqrt(fit[:, ft.VAR_LN_C]))
    assert white < held - 0.02
    contact, error = result.channel("contact_point")[0], result.errors("contact_point")[0]
    assert np.mean(np.abs(contact - shifts(contact.size)) < 1.96 * error) > 0.9
    pull, error = result.channel("adhesion")[0], result.errors("adhesion")[0]
    assert np.mean(np.abs(pull - PULL) < 1.96 * error) > 0.9


def test_with_fringes_taken_off_the_intervals_are_no_wider_than_they_need_be():
    """A wave of 0.15 nm: subtracted, the ± is near the scatter of equal curves."""
    rng = np.random.default_rng(6)
    ramp = replace(RAMP, travel=400.0, samples=800, fringe=0.15, period=300.0)
    z, d = zip(*(simulate_curve(LEVER, replace(ramp, fringe_phase=rng.uniform(0, 6)), 1.0, 0.35,
                                PULL, 0.0, rng)[:2] for _ in range(300)), strict=True)  # fmt: skip
    fmap = ForceMap.from_arrays(np.array(z), np.array(d), shape=(1, 300), spring_constant=2.0,
                                radius=20.0)  # fmt: skip
    result = analyse(fmap, SETTINGS.with_values({"baseline.fringes": "subtract",
                                                 "baseline.period": 300.0}))  # fmt: skip
    for name in ("modulus", "peak_force"):
        values, told = result.channel(name)[0], result.errors(name)[0]
        assert 0.8 < np.median(told) / values.std() < 1.6, name


def test_the_variance_of_weights_is_that_of_a_walk():
    """∫ G² dz against wᵀ min(z, z') w, with the baseline's line written out as weights."""
    rng = np.random.default_rng(2)
    z = np.linspace(0.0, 100.0, 401)
    row = np.zeros(bl.COLUMNS)
    first, last, noise, centre = 40, 240, 0.1, z[140]
    x = z[first:last] - centre
    inverse = np.linalg.inv([[x.size, x.sum()], [x.sum(), (x * x).sum()]]) * noise**2
    row[[bl.B_FIRST, bl.B_LAST, bl.B_CENTRE, bl.B_NOISE]] = first, last, centre, noise
    row[[bl.B_VAR_OFFSET, bl.B_VAR_SLOPE, bl.B_COV]] = inverse[0, 0], inverse[1, 1], inverse[0, 1]
    g = np.zeros((1, z.size))
    g[0, 300:380] = rng.normal(size=80)
    for extra in (0.0, 1.5):
        weights = g[0].copy()
        weights[400] += extra
        a = np.stack([np.ones(x.size), x])
        line = np.linalg.inv(a @ a.T) @ a  # offset and slope as weights on the baseline
        weights[first:last] -= line.T @ [weights[300:].sum(),
                                         (weights[300:] * (z[300:] - centre)).sum()]
        exact = weights @ np.minimum.outer(z, z) @ weights
        found = walk_variance(z, g, 0, 300, 380, row, 0, z[400], extra)
        assert found == pytest.approx(exact, rel=0.03)


def test_the_yardstick_of_the_estimate_is_that_of_a_walk():
    """A mean ahead of a line through means, against the covariance of averaged walks."""
    m, ahead, w = 10, 3, 16
    g = np.zeros(64)
    squares, walked = ahead_of_line(m, ahead, g)
    weights = np.zeros((m - 1 + ahead + 1) * w)
    for j in range(m):
        weights[j * w : (j + 1) * w] = g[j] / w
    weights[-w:] += 1.0 / w
    x = np.arange(m)
    line = np.polyfit(x, np.eye(m), 1)
    assert g[:m] == pytest.approx(-(line[0] * (m - 1 + ahead) + line[1]), abs=1e-12)
    assert squares == pytest.approx(1.0 + (g[:m] ** 2).sum())
    place = np.arange(weights.size) / w
    assert walked == pytest.approx(weights @ np.minimum.outer(place, place) @ weights, rel=0.01)


def test_one_curve_takes_the_maps_walk():
    """A curve explained with its map has the map's ±; alone it has only its own evidence."""
    from palpate.core.explain import explain

    fmap = walking(1e-4, count=60)
    whole = analyse(fmap, SETTINGS)
    report = explain(fmap, SETTINGS, 0, 7, whole)
    assert report.values["modulus"][1] == whole.errors("modulus")[0, 7]
    alone = explain(fmap, SETTINGS, 0, 7)
    assert alone.values["modulus"][0] == report.values["modulus"][0]
