"""A channel that follows the topography is told, one that does not is not, and p-values hold."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from palpate.core.surface.artefacts import (
    NOTHING,
    UNKNOWN,
    WARN,
    corrected,
    effective_pairs,
    topography_check,
)


def field(sigma: float, rng: np.random.Generator, n: int = 64):
    """A Gaussian field cut out of a larger periodic one, with correlation exp(-r²/(4σ²))."""
    f = np.fft.fftfreq(2 * n)
    filt = np.exp(-2.0 * (np.pi * sigma) ** 2 * (f[:, None] ** 2 + f[None, :] ** 2))
    filt /= math.sqrt(np.mean(filt**2))
    return np.fft.ifft2(np.fft.fft2(rng.normal(size=(2 * n, 2 * n))) * filt).real[:n, :n]


def by_name(findings, component=None):
    return {f.quantity: f for f in findings if f.component == component}


@pytest.mark.parametrize("sigmas", [(2.5, 2.5), (1.5, 4.0)])
def test_independent_correlated_fields_are_rejected_at_the_level_the_naive_test_far_above(sigmas):
    """Monte Carlo, 5 %: 300 pairs, two standard errors are 2.5 %."""
    rng = np.random.default_rng(11)
    fair = naive = 0
    runs = 300
    for _ in range(runs):
        found = topography_check(np.exp(field(sigmas[0], rng, 48)), field(sigmas[1], rng, 48),
                                 quantities=("height",))  # fmt: skip
        height = by_name(found)["height"]
        fair += height.p_value < 0.05
        naive += height.naive < 0.05
    assert 0.02 <= fair / runs <= 0.09
    assert naive / runs > 0.5


def test_white_fields_count_all_their_pixels_and_r_is_spearmans():
    rng = np.random.default_rng(1)
    a, b = rng.normal(size=(2, 40, 40))
    assert effective_pairs(a, b, np.ones((40, 40), bool)) == pytest.approx(1601.0, rel=0.02)
    found = by_name(topography_check(np.exp(a), b))["height"]
    assert found.correlation == pytest.approx(stats.spearmanr(a.ravel(), b.ravel()).statistic)


def test_the_variance_of_r_is_the_one_of_the_known_correlations():
    """ρ₁ρ₂ summed over the plane: 2πs² with exp(-r²/(2s²)), s² = σ² for equal fields; edges left
    out, which is right to a few per cent."""
    rng = np.random.default_rng(2)
    sigma, n = 3.0, 96
    found = [effective_pairs(field(sigma, rng, n), field(sigma, rng, n), np.ones((n, n), bool))
             for _ in range(12)]  # fmt: skip
    assert np.median(found) == pytest.approx(n * n / (2.0 * np.pi * sigma**2), rel=0.2)


@pytest.mark.parametrize("quantity", ["height", "slope", "curvature", "along_x", "along_y"])
def test_a_channel_made_to_follow_a_quantity_is_warned_of_with_its_size(quantity):
    from palpate.core.surface.slopes import slopes

    rng = np.random.default_rng(3)
    height = 5.0 * field(3.0, rng)
    s = slopes(height)
    topo = {"height": height, "slope": s.slope, "curvature": s.curvature, "along_x": s.along_x,
            "along_y": s.along_y}[quantity]  # fmt: skip
    low, high = np.nanquantile(topo, (0.1, 0.9))
    modulus = 2.0 * np.exp(math.log(1.3) * (topo - low) / (high - low))  # 30 % from 10 to 90 %
    noise = np.exp(rng.normal(0.0, 0.05, height.shape))
    found = by_name(topography_check(modulus * noise, height, name="modulus"))[quantity]
    assert found.verdict == WARN
    assert found.change == pytest.approx(30.0, abs=6.0)
    assert f"{found.change:+.0f} %" in found.words
    assert found.words.startswith("The modulus follows")


def test_a_component_that_stands_higher_and_is_stiffer_is_no_artefact():
    rng = np.random.default_rng(4)
    labels = (field(5.0, rng) > 0.0).astype(int)
    height = 20.0 * labels + field(2.0, rng)
    modulus = np.exp(2.0 * labels + 0.1 * field(2.0, rng))
    one = by_name(topography_check(modulus, height))["height"]
    within = by_name(topography_check(modulus, height, labels))["height"]
    assert one.verdict == WARN  # without the labels it looks like one
    assert within.verdict == NOTHING
    assert abs(within.correlation) < 0.2


def test_each_component_is_told_apart():
    rng = np.random.default_rng(5)
    labels = np.where(np.arange(64)[None, :] < 32, 0, 1) + np.zeros((64, 1), int)
    height = field(1.5, rng)
    follows = np.where(labels == 1, 0.2 * height, 0.0)
    modulus = np.exp(follows + 0.05 * rng.normal(size=height.shape))
    found = topography_check(modulus, height, labels)
    assert by_name(found, 1)["height"].verdict == WARN
    assert by_name(found, 0)["height"].verdict == NOTHING


def test_what_counts_as_few_independent_pixels_can_not_be_told():
    y, x = np.mgrid[:40, :40]
    found = by_name(topography_check(np.exp(0.01 * x), np.sin(x / 30.0) + y / 40.0))["height"]
    assert found.verdict == UNKNOWN
    few = topography_check(np.ones((4, 4)), np.ones((4, 4)))
    assert {f.verdict for f in few} == {UNKNOWN}
    assert all(math.isnan(f.p_value) for f in few)


def test_left_out_and_missing_pixels_do_not_count():
    rng = np.random.default_rng(6)
    height, modulus = field(1.5, rng), np.exp(0.1 * rng.normal(size=(64, 64)))
    usable = np.ones((64, 64), bool)
    usable[:, :20] = False
    spoiled = np.where(usable, modulus, np.exp(10.0 * height))
    spoiled[3, 40] = np.nan
    found = by_name(topography_check(spoiled, height, usable=usable))["height"]
    assert found.pixels == 64 * 44 - 1
    assert found.verdict == NOTHING


def test_corrected_takes_off_what_was_put_in_keeps_the_middle_and_says_so():
    rng = np.random.default_rng(7)
    labels = np.where(np.arange(64)[None, :] < 32, 0, 1) + np.zeros((64, 1), int)
    height = field(3.0, rng)
    truth = np.where(labels == 0, 0.5, 3.0) * np.exp(0.03 * rng.normal(size=height.shape))
    modulus = truth * np.exp(np.where(labels == 0, 0.2, -0.1) * (height - np.median(height)))
    got = corrected(modulus, height, labels, on=("height",), name="modulus")
    for c in (0, 1):
        inside = labels == c
        ratio = np.log(got.values / truth)[inside]
        assert np.std(ratio) < 0.006
        middle = np.median(got.values[inside]) / np.median(modulus[inside])
        assert middle == pytest.approx(1.0, abs=0.02)
    assert np.nanmax(np.abs(got.values + got.removed - modulus)) < 1e-12
    assert "Real structure" in got.words
    assert got.components == (0, 1)
    with pytest.raises(ValueError, match="no topographic quantity"):
        corrected(modulus, height, on=("colour",))
