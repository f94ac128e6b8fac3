"""What a picture's contrast follows, against fields whose truth is known."""

import math

import numpy as np
import pytest
from scipy import ndimage, stats

from palpate.core.errors import InputError
from palpate.core.pictures.comparing import compare, correlated, slope_of


def field(rng, n=64, width=3.0):
    g = ndimage.gaussian_filter(rng.standard_normal((2 * n, 2 * n)), width)[:n, :n]
    return (g - g.mean()) / g.std()


ALL = np.ones((64, 64), dtype=bool)


def test_unrelated_smooth_fields_are_rejected_about_one_time_in_twenty_naively_far_too_often():
    rng = np.random.default_rng(3)
    found = [correlated(field(rng), field(rng, width=w), ALL) for w in [2.0, 3.0, 4.0] * 80]
    modified = np.mean([f.p < 0.05 for f in found])
    naive = np.mean([f.p_naive < 0.05 for f in found])
    assert 0.02 <= modified <= 0.09  # 240 pairs: standard error 0.014
    assert naive > 0.5


def test_the_correlation_is_the_rank_correlation_of_scipy():
    rng = np.random.default_rng(4)
    a = field(rng)
    b = a + field(rng)
    found = correlated(a, np.exp(b), ALL)
    assert found.value == pytest.approx(stats.spearmanr(a.ravel(), b.ravel())[0], abs=1e-12)
    assert found.low < found.value < found.high


def test_white_fields_count_every_pixel():
    rng = np.random.default_rng(5)
    found = correlated(rng.standard_normal((64, 64)), rng.standard_normal((64, 64)), ALL)
    assert found.effective == pytest.approx(64 * 64, rel=0.05)
    assert found.p == pytest.approx(found.p_naive, abs=0.05)


def test_a_partial_correlation_is_that_of_the_residuals():
    rng = np.random.default_rng(6)
    z = field(rng)
    a, b = z + 0.5 * field(rng), z + 0.5 * field(rng)
    r = {k: stats.spearmanr(p.ravel(), q.ravel())[0]
         for k, p, q in (("ab", a, b), ("az", a, z), ("bz", b, z))}  # fmt: skip
    # first-order partial correlation, any text on statistics
    wanted = (r["ab"] - r["az"] * r["bz"]) / math.sqrt((1 - r["az"] ** 2) * (1 - r["bz"] ** 2))
    found = correlated(a, b, ALL, given=[z])
    assert found.value == pytest.approx(wanted, abs=1e-9)


def scene(seed):
    rng = np.random.default_rng(seed)
    shared = field(rng, 96, 2.5)
    return dict(modulus=shared + 0.7 * field(rng, 96, 2.0),
                adhesion=-shared + 0.7 * field(rng, 96, 2.0),
                height=field(rng, 96, 2.5)), rng  # fmt: skip


@pytest.mark.parametrize("name", ["modulus", "adhesion"])
def test_the_channel_that_makes_the_contrast_is_named_though_both_go_with_it(name):
    channels, rng = scene(7)
    laid = -np.exp(channels[name]) + 0.2 * rng.standard_normal((96, 96))
    found = compare(laid, channels)
    assert found.verdict == name
    other = {"modulus": "adhesion", "adhesion": "modulus"}[name]
    assert found.channels[other].overall.p < 0.05  # it goes with both
    assert abs(found.pairwise[other, name].value) < 0.1  # but not beyond the one
    assert abs(found.pairwise[name, other].value) > 0.5


def test_a_contrast_of_both_is_said_to_be_of_both():
    channels, _ = scene(8)
    found = compare(channels["modulus"] - 2 * channels["adhesion"], channels)
    assert found.verdict == "both"


def test_channels_that_are_one_can_not_be_told_apart():
    channels, _ = scene(9)
    channels["adhesion"] = -channels["modulus"]
    found = compare(np.exp(channels["modulus"]), channels)
    assert found.verdict == "alike"
    assert "told apart" in found.words


def test_a_contrast_of_the_height_or_of_its_slope_is_topography():
    channels, _ = scene(10)
    assert compare(channels["height"] ** 3, channels).verdict == "topography"
    steep = slope_of(channels["height"], (1.0, 1.0))
    assert compare(steep, channels).verdict == "topography"


def test_neither_says_how_large_a_correlation_could_have_been_missed():
    channels, rng = scene(11)
    found = compare(field(rng, 96, 2.5), channels)
    assert found.verdict == "neither"
    assert 0.05 < found.missed < 0.6
    assert f"{found.missed:.2f}" in found.words


def test_components_alone_make_a_correlation_between_but_none_within():
    rng = np.random.default_rng(12)
    labels = (field(rng, 96, 4.0) > 0).astype(int)
    modulus = 3.0 * labels + field(rng, 96, 1.0)
    laid = 5.0 - 4.0 * labels + field(rng, 96, 1.0)
    found = compare(laid, {"modulus": modulus}, labels=labels)
    assert found.channels["modulus"].overall.value < -0.5
    assert abs(found.channels["modulus"].within.value) < 0.1
    (apart,) = found.between
    assert apart.distance < -2.0
    assert apart.correlated.p < 1e-3


def test_what_can_not_be_said_is_nan_with_a_reason():
    flat = correlated(np.ones((64, 64)), field(np.random.default_rng(1)), ALL)
    assert math.isnan(flat.value)
    assert flat.reason
    slope = np.tile(np.arange(64.0), (64, 1))
    assert "independent" in correlated(slope, slope.T + slope, ALL).reason
    empty = compare(np.full((64, 64), np.nan), {"modulus": slope})
    assert empty.verdict == "unknown"
    with pytest.raises(InputError, match="shape"):
        compare(slope, {"modulus": np.ones((3, 3))})
