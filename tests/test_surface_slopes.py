"""Slope, direction and curvature against surfaces whose derivatives are known."""

from __future__ import annotations

import numpy as np
import pytest

from palpate.core.surface.slopes import slopes

Y, X = np.mgrid[:64, :80].astype(float)


def test_an_inclined_plane_has_its_angle_and_its_direction():
    steep = np.tan(np.radians(30.0))
    turn = np.radians(40.0)
    height = steep * (5.0 * X * np.cos(turn) + 2.0 * Y * np.sin(turn))
    got = slopes(height, (2.0, 5.0))
    inner = np.s_[1:-1, 1:-1]
    assert got.slope[inner] == pytest.approx(np.full((62, 78), 30.0), abs=1e-9)
    assert got.direction[inner] == pytest.approx(np.full((62, 78), 40.0), abs=1e-9)
    assert np.nanmax(np.abs(got.curvature)) < 1e-12
    assert got.steep[inner].all()
    assert not slopes(height, (2.0, 5.0), limit=31.0).steep.any()


def test_a_spherical_bowl_has_the_curvature_of_its_radius_and_a_cap_the_negative():
    radius = 500.0
    bowl = radius - np.sqrt(radius**2 - (X - 40) ** 2 - (Y - 32) ** 2)
    inner = slopes(bowl).curvature[2:-2, 2:-2]
    assert inner == pytest.approx(np.full(inner.shape, 1.0 / radius), rel=2e-4)
    assert slopes(-bowl).curvature[32, 40] == pytest.approx(-1.0 / radius, rel=2e-4)


def test_smoothing_damps_a_wave_as_a_gaussian_does():
    """exp(-(qσ)²/2), the Fourier transform of a Gaussian."""
    q, sigma = 2.0 * np.pi / 16.0, 2.0
    wave = np.sin(q * X)
    raw, soft = slopes(wave), slopes(wave, smoothing=sigma)
    inner = np.s_[20:40, 20:60]
    ratio = np.std(soft.along_x[inner]) / np.std(raw.along_x[inner])
    assert ratio == pytest.approx(np.exp(-0.5 * (q * sigma) ** 2), rel=1e-3)


def test_missing_pixels_leave_their_neighbours_missing_and_are_not_flagged():
    height = 3.0 * X
    height[30, 30] = np.nan
    got = slopes(height)
    assert np.isnan(got.slope[30, 29])
    assert np.isnan(got.slope[30, 30])
    assert not got.steep[30, 29]
    assert got.slope[30, 33] == pytest.approx(np.degrees(np.arctan(3.0)))
    usable = np.isfinite(height)
    usable[10, 10] = False
    assert np.isnan(slopes(height, usable=usable).slope[10, 11])
