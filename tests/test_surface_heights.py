"""How much of the height contrast between components is a dent."""

from __future__ import annotations

import math

import numpy as np
import pytest

from palpate.core.surface.heights import height_report


def scene(seed: int, n: int = 64, step: float = 2.0):
    """Soft 0 with a dent of 6 nm, stiff 1 with 1 nm and `step` higher; one bending of 10 nm."""
    rng = np.random.default_rng(seed)
    f = np.fft.fftfreq(n)
    filt = np.exp(-2.0 * (np.pi * 2.0) ** 2 * (f[:, None] ** 2 + f[None, :] ** 2))
    relief = np.fft.ifft2(np.fft.fft2(rng.normal(size=(n, n))) * filt / np.sqrt(np.mean(filt**2)))
    labels = np.where((np.arange(n) // 8) % 2 == 0, 0, 1)[None, :] + np.zeros((n, 1), int)
    contact = relief.real + step * labels
    dent = np.where(labels == 0, 6.0, 1.0) + 0.1 * rng.normal(size=(n, n))
    return contact - dent - 10.0, contact, dent, labels


def test_the_contrast_at_the_peak_is_told_apart_into_relief_and_dent():
    peak, contact, dent, labels = scene(1)
    got = height_report(peak, contact, dent, labels)
    one = got.contrasts[0]
    assert (one.upper, one.lower) == (1, 0)
    assert one.at_peak[0] == pytest.approx(7.0, abs=3.0 * one.at_peak[1])
    assert one.at_contact[0] == pytest.approx(2.0, abs=3.0 * one.at_contact[1])
    assert one.dent[0] == pytest.approx(5.0, abs=0.02)
    assert one.share == pytest.approx(5.0 / 7.0, rel=0.1)
    assert got.of(0).bending.value == pytest.approx(10.0, abs=1e-9)
    # the relief, which moves both heights of a pixel, is not in the error of their difference
    assert got.of(0).drop.error < 0.1 * got.of(0).at_contact.error


def test_the_errors_are_the_scatter_over_maps():
    found = [height_report(*scene(seed)).of(0).at_contact for seed in range(50)]
    scatter = np.std([m.value for m in found], ddof=1)
    told = np.median([m.error for m in found])
    # neighbouring stripes share relief; a median of a smooth field costs less than the 1.2533
    assert 0.8 < told / scatter < 1.6
    assert told > 2.0 * 1.2533 / math.sqrt(64 * 32)  # far above independent pixels


def test_a_contrast_within_its_error_has_no_share_and_missing_pixels_are_left_out():
    peak, contact, dent, labels = scene(2, step=-5.0)
    usable = np.ones(peak.shape, bool)
    usable[:5] = False
    contact[10, 3] = np.nan
    got = height_report(peak, contact, dent, labels, usable)
    assert got.of(0).dent.pixels == 59 * 32 - 1
    assert math.isnan(got.contrasts[0].share)
    assert "alone would make" in got.contrasts[0].words
    few = height_report(peak, contact, dent, np.where(np.arange(64) == 0, labels, -1), peak > 1e9)
    assert math.isnan(few.of(0).dent.value)
    with pytest.raises(ValueError, match="shape"):
        height_report(peak, contact, dent[:3], labels)
