"""Roughness parameters against their definitions on surfaces whose values are known in closed form.

Definitions: ISO 25178-2:2012, ISO 13565-2:1996, ISO 16610-61, from memory.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, optimize, stats

from palpate.core.surface.filters import ALPHA, difference, sigma_of, smooth
from palpate.core.surface.roughness import SYMBOLS, roughness

N = 256
Y, X = np.mgrid[:N, :N].astype(float)


def wave(amplitude: float, cycles: int, turn: bool = False):
    return amplitude * np.sin(2.0 * np.pi * cycles * (Y if turn else X) / N + 0.1234)


def field(sigma: float, seed: int, n: int = N):
    """Gaussian heights of Sq 1 whose correlation is exp(-r²/(4σ²)); periodic, so exact."""
    f = np.fft.fftfreq(n)
    filt = np.exp(-2.0 * (np.pi * sigma) ** 2 * (f[:, None] ** 2 + f[None, :] ** 2))
    filt /= math.sqrt(np.mean(filt**2))
    rng = np.random.default_rng(seed)
    return np.fft.ifft2(np.fft.fft2(rng.normal(size=(n, n))) * filt).real


def test_a_sinusoid_has_its_closed_form_values():
    a, cycles = 3.0, 8
    q = 2.0 * np.pi * cycles / N / 2.0  # pitch 2 nm
    got = roughness(wave(a, cycles), pitch=(2.0, 2.0))
    assert got.value("Sq") == pytest.approx(a / math.sqrt(2.0), rel=1e-9)
    assert got.value("Sa") == pytest.approx(2.0 * a / math.pi, rel=2e-3)
    assert got.value("Ssk") == pytest.approx(0.0, abs=1e-9)
    assert got.value("Sku") == pytest.approx(1.5, rel=1e-9)
    assert got.value("Sz") == pytest.approx(2.0 * a, rel=5e-3)
    assert got.value("Sz") == pytest.approx(got.value("Sp") + got.value("Sv"), rel=1e-12)
    # edges of three pixels are not in it: whole waves and a rest
    assert got.value("Sdq") == pytest.approx(a * q / math.sqrt(2.0), rel=0.01)
    area = integrate.quad(lambda t: math.sqrt(1 + (a * q * math.cos(t)) ** 2), 0, 2 * math.pi)[0]
    assert got.value("Sdr") == pytest.approx(area / (2.0 * math.pi) - 1.0, rel=0.02)


def test_the_stencils_read_a_wave_as_their_transfer_functions_say():
    """sin(k)/k and (45 sin k - 9 sin 2k + sin 3k)/(30 k), for eight pixels a wave."""
    k = 2.0 * np.pi / 8.0
    surface = np.sin(k * X)
    seven = (45 * math.sin(k) - 9 * math.sin(2 * k) + math.sin(3 * k)) / (30 * k)
    for name, passed in (("seven", seven), ("central", math.sin(k) / k)):
        inner = difference(surface, 1, 1.0, name)[:, 3:-3]
        assert inner == pytest.approx(passed * k * np.cos(k * X)[:, 3:-3], abs=1e-12)
    assert 1.0 - seven == pytest.approx(k**6 / 140.0, rel=0.15)  # its first left-out term
    assert 1.0 - math.sin(k) / k == pytest.approx(0.0997, abs=1e-4)


@pytest.mark.parametrize("stencil", ["seven", "central"])
def test_an_inclined_plane_is_longer_by_one_over_the_cosine(stencil):
    angle = math.radians(35.0)
    got = roughness(math.tan(angle) * 3.0 * X, pitch=(1.0, 3.0), stencil=stencil)
    assert got.value("Sdr") == pytest.approx(1.0 / math.cos(angle) - 1.0, rel=1e-9)
    assert got.value("Sdq") == pytest.approx(math.tan(angle), rel=1e-9)


def test_a_linear_ramp_is_all_core():
    """Its material ratio curve is the straight line itself; volumes are triangles."""
    got = roughness(X, pitch=(1.0, 1.0))
    assert got.value("Sk") == pytest.approx(N, rel=0.01)
    for symbol, value in (("Spk", 0.0), ("Svk", 0.0), ("Smr1", 0.0), ("Smr2", 1.0)):
        assert got.value(symbol) == pytest.approx(value, abs=0.01 * (N if symbol[1] != "m" else 1))
    assert got.value("Vmp") == pytest.approx(0.5 * 0.1**2 * N, rel=0.05)
    assert got.value("Vvv") == pytest.approx(0.5 * 0.2**2 * N, rel=0.05)
    assert got.value("Vmc") == pytest.approx(0.5 * (0.8**2 - 0.1**2) * N, rel=0.02)
    assert got.value("Vvc") == pytest.approx(0.5 * (0.9**2 - 0.2**2) * N, rel=0.02)


def test_gaussian_heights_have_the_core_that_their_quantiles_give():
    """The construction solved with scipy on the exact quantile function."""
    height = lambda q: stats.norm.ppf(1.0 - q)  # noqa: E731
    slope = integrate.quad(lambda q: (q - 0.5) * height(q), 0.3, 0.7)[0] / (0.4**3 / 12.0)
    upper = -0.5 * slope
    first = stats.norm.sf(upper)
    spk = 2.0 * integrate.quad(lambda q: height(q) - upper, 0.0, first)[0] / first
    values = stats.norm.ppf((np.arange(N * N) + 0.5) / (N * N)).reshape(N, N)
    got = roughness(values)
    assert got.value("Sk") == pytest.approx(-slope, rel=1e-3)
    assert got.value("Smr1") == pytest.approx(first, abs=2e-3)
    assert got.value("Smr2") == pytest.approx(1.0 - first, abs=2e-3)
    assert got.value("Spk") == pytest.approx(spk, rel=5e-3)
    assert got.value("Svk") == pytest.approx(spk, rel=5e-3)


def test_a_two_level_step_has_the_moments_of_two_values():
    """A share p at height 1: Sq² = p(1-p), Ssk = (1-2p)/Sq, Sku = Ssk² + 1."""
    p = 0.25
    got = roughness(np.where(p * N > X, 1.0, 0.0))
    sq = math.sqrt(p * (1 - p))
    assert got.value("Sq") == pytest.approx(sq, rel=1e-12)
    assert got.value("Sa") == pytest.approx(2 * p * (1 - p), rel=1e-12)
    assert got.value("Ssk") == pytest.approx((1 - 2 * p) / sq, rel=1e-12)
    assert got.value("Sku") == pytest.approx(((1 - 2 * p) / sq) ** 2 + 1, rel=1e-12)
    assert got.value("Sz") == pytest.approx(1.0, rel=1e-12)
    assert got.value("Sk") == pytest.approx(0.0, abs=1e-9)  # 40 % lie on one level


def test_a_gaussian_field_has_the_values_of_its_spectrum():
    """Sdq² = -2ρ''(0) = 1/σ²; Sal where exp(-r²/4σ²) = 0.2; Sku = 3."""
    sigma = 4.0
    runs = [roughness(field(sigma, seed)) for seed in range(8)]
    mean = {s: float(np.mean([r.value(s) for r in runs])) for s in SYMBOLS if s != "Std"}
    sal = optimize.brentq(lambda r: math.exp(-((r / (2 * sigma)) ** 2)) - 0.2, 0.1, 50.0)
    assert mean["Sq"] == pytest.approx(1.0, rel=0.03)
    assert mean["Sa"] == pytest.approx(math.sqrt(2.0 / math.pi), rel=0.03)
    assert mean["Ssk"] == pytest.approx(0.0, abs=0.1)
    assert mean["Sku"] == pytest.approx(3.0, abs=0.15)
    assert mean["Sdq"] == pytest.approx(1.0 / sigma, rel=0.03)
    assert mean["Sal"] == pytest.approx(sal, rel=0.08)  # the shortest of all directions: a bit less
    assert mean["Str"] > 0.75
    assert "alike in all directions" in runs[0].parameters["Std"].note


def test_the_standard_errors_of_sq_and_sa_are_their_scatter_over_fields():
    runs = [roughness(field(4.0, seed, 96)) for seed in range(60)]
    for symbol in ("Sq", "Sa"):
        scatter = float(np.std([r.value(symbol) for r in runs], ddof=1))
        told = float(np.median([r.parameters[symbol].error for r in runs]))
        assert told == pytest.approx(scatter, rel=0.3)
        assert told > 4.0 * 0.6 / 96  # far above independent pixels


@pytest.mark.parametrize("angle", [0.0, 25.0, 70.0, 120.0])
def test_ridges_run_in_the_direction_of_the_texture(angle):
    across = math.radians(angle + 90.0)
    ridges = np.sin(0.5 * (X * math.cos(across) + Y * math.sin(across)))
    got = roughness(ridges + 0.05 * np.random.default_rng(1).normal(size=X.shape))
    off = (got.value("Std") - angle + 90.0) % 180.0 - 90.0
    assert abs(off) < 1.5
    assert math.isnan(got.value("Str"))
    assert "does not fall" in got.parameters["Str"].note


def test_a_stretched_field_has_the_aspect_ratio_of_its_stretch():
    f = np.fft.fftfreq(N)
    filt = np.exp(-2.0 * np.pi**2 * ((3.0 * f[:, None]) ** 2 + (9.0 * f[None, :]) ** 2))
    found = []
    for seed in range(4):
        white = np.random.default_rng(seed).normal(size=(N, N))
        surface = np.fft.ifft2(np.fft.fft2(white) * filt).real
        found.append(roughness(surface).value("Str"))
    assert np.mean(found) == pytest.approx(1.0 / 3.0, rel=0.15)


@pytest.mark.parametrize("pitch", [1.0, 2.5])
def test_the_filters_pass_half_of_a_wave_of_the_cut_off(pitch):
    assert pytest.approx(0.4697, abs=5e-5) == ALPHA
    surface = wave(1.0, 8)
    cut = N / 8 * pitch
    inner = np.s_[100:156, 64:192]
    mask = np.ones_like(surface, bool)
    low = smooth(surface, mask, sigma_of(cut), (pitch, pitch))
    assert low[inner] == pytest.approx(0.5 * surface[inner], abs=1e-4)
    for kw in ({"short": cut}, {"long": cut}):
        got = roughness(surface, pitch=(pitch, pitch), **kw)
        assert np.std(got.heights[inner]) == pytest.approx(0.5 / math.sqrt(2.0), rel=1e-3)
        assert "filter" in got.words


def test_a_large_map_that_is_thinned_counts_as_many_independent_pixels_as_the_whole():
    from palpate.core.surface.filters import effective_of
    from palpate.core.uncertainty.effective import effective_number

    rng, mask = np.random.default_rng(3), np.ones((384, 384), bool)
    for one in (field(4.0, 1, 384), rng.normal(size=(384, 384))):
        whole = effective_number(one, mask)
        assert effective_of(one, mask) == pytest.approx(whole, rel=0.1)


def test_filters_do_not_invent_at_holes_and_edges():
    """A constant stays a constant whatever is missing."""
    mask = (X - 128) ** 2 + (Y - 128) ** 2 < 90**2
    surface = np.where(mask, 7.0, np.nan)
    assert smooth(surface, mask, 12.0)[mask] == pytest.approx(7.0, abs=1e-12)
    assert np.isnan(smooth(surface, mask, 12.0)[~mask]).all()


def test_a_mask_is_honoured_and_what_makes_no_sense_on_it_is_told():
    surface = np.where(X < 128, field(3.0, 1), 50.0 + 5.0 * field(3.0, 2))
    surface[10:20, 10:20] = np.nan
    one = roughness(surface, X < 128)
    assert one.pixels == 128 * 256 - 100
    assert one.value("Sq") == pytest.approx(float(np.nanstd(surface[:, :128])), rel=1e-12)
    assert one.value("Sdq") == pytest.approx(1.0 / 3.0, rel=0.1)  # the edge of 50 nm is not in it
    assert "makes little sense on a mask" in one.parameters["Str"].note


def test_few_pixels_flat_surfaces_and_no_scale_give_reasons():
    few = roughness(X, X + Y < 3)
    assert all(math.isnan(p.value) for p in few.parameters.values())
    assert "20 are needed" in few.parameters["Sq"].note
    flat = roughness(0.0 * X + 4.0)
    assert flat.value("Sq") == 0.0
    assert math.isnan(flat.value("Sku"))
    assert flat.parameters["Sku"].note == "the surface is flat"
    bare = roughness(field(3.0, 1), scaled=False)
    assert math.isnan(bare.value("Sdq"))
    assert "in nm" in bare.parameters["Sdq"].note
    assert bare.parameters["Sal"].unit == "pixels"
    with pytest.raises(ValueError, match="cut-off"):
        roughness(X, short=5.0, long=4.0)
    with pytest.raises(ValueError, match="shape"):
        roughness(X, np.ones((2, 2), bool))
