"""Correlation lengths, spacings, chords and boundaries of patterns whose numbers are known."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import j0

from palpate.core.shapes.lengths import (
    boundary_density,
    boundary_length,
    chords_of,
    lengths_of,
)
from palpate.core.uncertainty import effective_number_of

PLACES = ((30, 40, 12), (70, 100, 15), (90, 30, 9), (40, 130, 8))
ROWS, COLS = np.mgrid[:120, :160]


def disc(row, col, radius):
    return np.hypot(ROWS - row, COLS - col) <= radius


def caps(core=0.55):
    """Discs of 1 with cores of 2 in a ground of 0."""
    labels = np.zeros(ROWS.shape, int)
    for row, col, radius in PLACES:
        labels[disc(row, col, radius)] = 1
        labels[disc(row, col, core * radius)] = 2
    return labels


def test_stripes_have_their_period_and_chords():
    stripes = (COLS % 20) < 8
    found = lengths_of(stripes.astype(float), np.ones(stripes.shape, bool), (3.0, 3.0))
    assert found.spacing_x == pytest.approx(60.0, rel=0.02)
    assert math.isnan(found.decay_y)  # it never falls along a stripe
    chords = chords_of(stripes, (3.0, 3.0))
    assert (chords.inside_x, chords.between_x) == pytest.approx((24.0, 36.0))
    assert math.isnan(chords.inside_y)


def test_an_exponential_field_has_its_correlation_length():
    """ρ = exp(-h/ξ) has its 1/e length and its integral at ξ."""
    rng = np.random.default_rng(7)
    size, xi = 1024, 8.0
    k2 = np.fft.fftfreq(size)[:, None] ** 2 + np.fft.fftfreq(size)[None, :] ** 2
    damp = (1.0 + (2.0 * np.pi * xi) ** 2 * k2) ** -0.75
    field = np.fft.ifft2(np.fft.fft2(rng.normal(size=(size, size))) * damp).real
    found = lengths_of(field, np.ones(field.shape, bool))
    assert found.decay == pytest.approx(xi, rel=0.08)
    assert found.integral == pytest.approx(xi, rel=0.15)
    assert found.anisotropy == pytest.approx(1.0, rel=0.15)


def test_the_length_of_a_boundary_is_that_of_the_circles():
    labels = caps()
    around = sum(2.0 * math.pi * radius for _, _, radius in PLACES)
    assert boundary_length(labels, 0, 1, (1.0, 1.0)) == pytest.approx(around, rel=0.06)
    assert boundary_length(labels, 0, 2) == 0.0


def test_the_length_of_boundaries_per_area_is_the_sum_of_the_pairs():
    labels = caps()
    pitch = (2.0, 3.0)
    pairs = sum(boundary_length(labels, a, b, pitch) for a, b in ((0, 1), (1, 2), (0, 2)))
    assert boundary_density(labels, pitch) == pytest.approx(pairs / (120 * 160 * 6.0), rel=1e-12)
    assert math.isnan(boundary_density(np.full((4, 4), -1)))


def test_a_wave_has_its_period_along_its_own_direction():
    """cos(2πx/p) has ρ = cos(2πh/p) along x (exact), J₀(2πh/p) over all directions: its first
    minimum lies at 3.8317 and its next maximum at 7.0156 (zeros of J₁; scipy finds the same)."""
    period = 20.0
    wave = np.cos(2.0 * np.pi * np.arange(400) / period)[None, :].repeat(400, axis=0)
    found = lengths_of(wave, np.ones(wave.shape, bool), (1.0, 1.0))
    assert found.spacing_x == pytest.approx(period, rel=0.01)
    k = np.linspace(0.5, 9.0, 100_000)
    assert k[np.argmin(j0(k))] == pytest.approx(3.8317, abs=1e-3)
    assert found.least == pytest.approx(3.8317 / (2.0 * np.pi) * period, rel=0.03)
    assert found.spacing == pytest.approx(7.0156 / (2.0 * np.pi) * period, rel=0.03)
    assert found.strength == pytest.approx(float(j0(7.0156)), abs=0.03)


def test_left_out_pixels_do_not_change_the_lengths():
    rng = np.random.default_rng(11)
    stripes = ((COLS + ROWS) % 24 < 12).astype(float)
    mask = rng.random(stripes.shape) > 0.2
    whole = lengths_of(stripes, np.ones(stripes.shape, bool))
    found = lengths_of(np.where(mask, stripes, 1e9), mask)
    assert found.decay == pytest.approx(whole.decay, rel=0.02)
    assert found.spacing_x == pytest.approx(24.0, rel=0.02)


def test_chords_that_end_at_a_pixel_that_is_not_known_are_left_out():
    stripes = (COLS % 20) < 8
    known = np.ones(stripes.shape, bool)
    known[::2, 3::40] = False
    found = chords_of(stripes, known=known)
    assert (found.inside_x, found.between_x) == pytest.approx((8.0, 12.0))
    plain = chords_of(stripes & known)
    assert plain.inside_x < 7.5


def test_the_mean_chord_of_a_disc_is_a_quarter_of_pi_of_its_diameter():
    """Area over width, π d/4 (Cauchy; from memory)."""
    found = chords_of(disc(60.2, 80.3, 50.4), (2.0, 2.0))
    assert found.inside_x == pytest.approx(np.pi / 4.0 * 201.6, rel=0.02)
    assert found.inside_y == pytest.approx(np.pi / 4.0 * 201.6, rel=0.02)


def test_the_number_of_independent_pixels_is_the_published_one():
    """A 5 µm square with ρ = exp(-h/0.25 µm): 72.5533, by integration of the square's own
    distribution of distances."""
    size = 256
    pitch = 5.0 / size
    found = effective_number_of(
        lambda h: np.exp(-h / 0.25), np.ones((size, size), bool), (pitch, pitch)
    )
    assert found == pytest.approx(72.5533, rel=2e-3)


def test_a_map_without_a_pattern_has_no_lengths():
    flat = lengths_of(np.ones((30, 30)), np.ones((30, 30), bool))
    assert flat.correlation.max() == 0.0
    assert math.isnan(flat.spacing)
    assert math.isnan(chords_of(np.ones((5, 5), bool)).inside_x)
