"""Propagation of uncertainty: JCGM 100 on the logarithm, JCGM 101 by trials, independent pixels.

The worked case is a sphere read off one point: k = 2 N/m, s = 50 nm/V, R = 30 nm, V = 0.5 V,
z = 35 nm, ν = 0.35; its figures were computed independently of this code from E = F (1-ν²)/(g δⁿ)
(JCGM 100:2008 eq. 10 and 13, JCGM 101:2008; numbers of equations and clauses from memory).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import integrate, stats

from palpate.core.models import layers
from palpate.core.uncertainty import (
    Draw,
    correlation_of,
    effective_number,
    effective_number_of,
    fitted_contact_sensitivity,
    half_angle_sensitivity,
    interval,
    monte_carlo,
    monte_carlo_until,
    point_sensitivities,
    poisson_sensitivity,
    propagate,
)
from palpate.core.uncertainty.effective import lag_lengths
from palpate.core.uncertainty.montecarlo import draw_all, tolerance

K, S, R, V, Z, NU = 2.0, 50.0, 30.0, 0.5, 35.0, 0.35


def modulus(k=K, s=S, radius=R, contact=0.0, signal=V, poisson_ratio=NU, z=Z):
    """E [GPa] of a sphere from one point; NaN without an indentation."""
    depth = z - contact - s * signal
    depth = np.where(depth > 0.0, depth, np.nan)
    return (k * s * signal * (1.0 - poisson_ratio**2)
            / (4.0 / 3.0 * np.sqrt(radius) * depth**1.5))  # fmt: skip


# ---- propagation


def case(thermal: bool) -> tuple[list[float], list[float]]:
    """Coefficients and errors of k, s, R, δ0, V."""
    by = point_sensitivities(1.5, 25.0, 10.0, NU, thermal=thermal)
    names = ("spring_constant", "deflection_sensitivity", "radius", "contact_point", "signal")
    return [by[name] for name in names], [0.05 if thermal else 0.10, 0.04, 0.10, 1.0, 0.002]


def test_the_worked_case_gives_its_modulus_contributions_and_total():
    assert float(modulus()) == pytest.approx(0.1899843, rel=1e-6)
    contributions, total = propagate(*case(thermal=False))
    assert contributions == pytest.approx([0.10, 0.19, 0.05, 0.15, 0.0095], rel=1e-9)
    assert total == pytest.approx(0.266815, rel=1e-5)


def test_a_thermal_spring_constant_tied_to_the_sensitivity_lowers_the_total():
    """k = κT/s², κ known to 5 %: as independent inputs, and as a correlated k of 9.43 %."""
    assert propagate(*case(thermal=True))[1] == pytest.approx(0.199224, rel=1e-5)
    sensitivities, errors = case(thermal=False)
    errors[0] = math.hypot(0.05, 2.0 * 0.04)
    linked = {(0, 1): -2.0 * 0.04 / errors[0]}
    assert propagate(sensitivities, errors, linked)[1] == pytest.approx(0.199224, rel=1e-5)


def test_ignoring_that_correlation_makes_the_total_too_large():
    """0.264575 is without the signal's own 0.2 %; with it 0.264746."""
    sensitivities, errors = case(thermal=False)
    errors[0] = math.hypot(0.05, 0.08)
    assert propagate(sensitivities[:4], errors[:4])[1] == pytest.approx(0.264575, rel=1e-5)
    assert propagate(sensitivities, errors)[1] == pytest.approx(0.264746, rel=1e-5)


def test_impossible_errors_and_correlations_are_refused_and_an_unknown_one_gives_nan():
    with pytest.raises(ValueError, match="negative"):
        propagate([1.0], [-0.1])
    with pytest.raises(ValueError, match="impossible"):
        propagate([1.0, 1.0], [0.1, 0.1], {(0, 1): 1.2})
    with pytest.raises(ValueError, match="together"):
        propagate([1.0] * 3, [0.1] * 3, {(0, 1): 0.9, (1, 2): 0.9, (0, 2): -0.9})
    contributions, total = propagate([1.0, math.nan], [0.1, 0.1])
    assert contributions[0] == pytest.approx(0.1)
    assert math.isnan(contributions[1])
    assert math.isnan(total)
    assert propagate([1.0, 1.0], [0.1, 0.1], {(0, 1): -1.0})[1] == pytest.approx(0.0, abs=1e-12)


def test_the_interval_on_the_logarithm_is_that_of_a_log_normal():
    """scipy.stats.lognorm."""
    assert interval(2.0, 0.3) == pytest.approx(stats.lognorm(0.3, scale=2.0).interval(0.95))


# ---- the table of coefficients, row by row against finite differences


def point_modulus(n, *, k=K, s=S, size=R, v=V, z0=0.0, nu=NU, h=60.0, base="", thermal=False):
    """E from one point for any exponent; the size is a radius, or a half-angle [deg] at n = 2."""
    if thermal:
        k = K * (S / s) ** 2
    depth = Z - z0 - s * v
    angle = math.tan(math.radians(size)) if n == 2.0 else math.nan
    factor = {1.5: lambda: 4 / 3 * math.sqrt(size), 2.0: lambda: 2 / math.pi * angle,
              1.0: lambda: 2 * size}.get(n, lambda: size ** (2.0 - n))()  # fmt: skip
    ratio = 1.0
    if base:
        shape = {1.5: "paraboloid", 2.0: "cone", 1.0: "punch"}[n]
        chi = {1.5: math.sqrt(size * depth) / h, 2.0: depth * angle / h, 1.0: size / h}[n]
        ratio = float(layers.layer_ratio(chi, shape, 0.5, base))
    return k * s * v * (1 - nu**2) / (factor * depth**n * ratio)


def logarithmic(function, x: float) -> float:
    step = 1e-4
    return (math.log(function(x * (1 + step))) - math.log(function(x * (1 - step)))) / (
        math.log1p(step) - math.log1p(-step)
    )


@pytest.mark.parametrize("thermal", [False, True])
@pytest.mark.parametrize(
    ("n", "base"), [(n, base) for n in (1.5, 2.0, 1.0) for base in ("", "bonded")] + [(1.7, "")]
)
def test_every_coefficient_is_the_derivative_of_the_modulus(n, base, thermal):
    size, h, gain = (35.0 if n == 2.0 else R), 60.0, 0.0
    if base:
        shape = {1.5: "paraboloid", 2.0: "cone", 1.0: "punch"}[n]
        chi = {1.5: math.sqrt(size * 10.0) / h, 2.0: 10.0 * math.tan(math.radians(size)) / h,
               1.0: size / h}[n]  # fmt: skip
        gain = float(layers.gain(chi, shape, 0.5, base))
    by = point_sensitivities(n, 25.0, 10.0, NU, thermal=thermal, layer_gain=gain,
                             half_angle=size if n == 2.0 else math.nan)  # fmt: skip
    same = dict(size=size, h=h, base=base, thermal=thermal)

    def slope(name: str, x: float) -> float:
        return logarithmic(lambda value: point_modulus(n, **(same | {name: value})), x)

    if not thermal:
        assert by["spring_constant"] == pytest.approx(slope("k", K), rel=1e-6)
    assert by["deflection_sensitivity"] == pytest.approx(slope("s", S), rel=1e-5)
    assert by["signal"] == pytest.approx(slope("v", V), rel=1e-5)
    assert by["poisson_ratio"] == pytest.approx(slope("nu", NU), rel=1e-5)
    name = "half_angle" if n == 2.0 else "radius"
    assert by[name] == pytest.approx(slope("size", size), rel=1e-5)
    if base:
        assert by["thickness"] == pytest.approx(slope("h", h), rel=1e-4)
    step = 1e-4
    up, down = (math.log(point_modulus(n, z0=x, **same)) for x in (step, -step))
    assert by["contact_point"] == pytest.approx((up - down) / (2 * step), rel=1e-5)


def test_the_rows_of_the_table_have_their_worked_values():
    sphere = point_sensitivities(1.5, 25.0, 10.0, NU)
    cone = point_sensitivities(2.0, 25.0, 10.0, NU, half_angle=35.0)
    assert sphere["deflection_sensitivity"] == pytest.approx(1 + 1.5 * 2.5)
    assert sphere["radius"] == -0.5
    assert cone["deflection_sensitivity"] == pytest.approx(1 + 2 * 2.5)
    assert cone["radius"] == 0.0
    assert math.isnan(sphere["half_angle"])
    per_radian = half_angle_sensitivity(35.0) / math.radians(35.0)
    assert per_radian == pytest.approx(-2.128356, rel=1e-6)
    assert abs(per_radian) * math.radians(2.0) == pytest.approx(0.0742936, rel=1e-5)
    assert poisson_sensitivity(0.35) / 0.35 == pytest.approx(-0.797721, rel=1e-6)


@pytest.mark.parametrize(("n", "factor"), [(1.5, 2.0), (2.0, 2.5), (1.0, 1.5)])
def test_a_wrong_contact_point_biases_a_fit_by_its_coefficient(n, factor):
    """Least squares of C (δ-δ0)ⁿ over 0 to δmax with δ0 held 1e-3 δmax too late."""
    depth, late = np.linspace(0.0, 10.0, 200_001), 0.01
    model = np.maximum(depth - late, 0.0) ** n
    bias = math.log((depth**n @ model) / (model @ model))
    assert fitted_contact_sensitivity(n, 10.0) == pytest.approx(factor / 10.0)
    assert bias == pytest.approx(fitted_contact_sensitivity(n, 10.0) * late, rel=2e-3)
    if n == 1.5:
        assert math.expm1(bias) == pytest.approx(0.002003, rel=1e-3)


# ---- trials


def draws_of_case(kind: str) -> list[Draw]:
    return [Draw(K, 0.1 * K, kind), Draw(S, 0.04 * S, kind), Draw(R, 0.1 * R, kind),
            Draw(0.0, 1.0), Draw(V, 0.002 * V, kind)]  # fmt: skip


def sampling_errors(trials: int = 1_000_000) -> tuple[float, float, float, float, float]:
    """Standard errors of mean, median, deviation and ends for the worked case, by the textbook:
    σ/√M, √(p(1-p)/M)/f(quantile) with f that of a log-normal of 0.2668, σ√((κ-1)/4M)."""
    law, root = stats.lognorm(0.2668), math.sqrt(trials)
    ends = [math.sqrt(p * (1 - p)) / root / law.pdf(law.ppf(p)) for p in (0.5, 0.025, 0.975)]
    kurtosis = float(law.stats("k")) + 3.0
    return (0.305 / root, ends[0], 0.305 * math.sqrt((kurtosis - 1) / 4) / root, ends[1], ends[2])


def test_trials_of_the_worked_case_reproduce_mean_median_spread_and_interval():
    """With normal draws: mean 1.052, median 1.001, 30.5 %, [0.613, 1.788] of E."""
    found = monte_carlo(modulus, draws_of_case("normal"), trials=1_000_000, seed=3)
    unit = float(modulus())
    values = np.array([found.mean, found.median, found.deviation, found.low, found.high]) / unit
    expected = (1.052, 1.001, 0.305, 0.613, 1.788)
    for value, known, error in zip(values, expected, sampling_errors(), strict=True):
        assert abs(value - known) < 4.0 * error + 0.0005  # the known ones have three decimals
    assert found.trials == 1_000_000
    assert found.failed == 0.0


def test_the_interval_on_the_logarithm_is_nearer_to_the_trials_than_a_symmetric_one():
    found = monte_carlo(modulus, draws_of_case("lognormal"), trials=400_000)
    unit, total = float(modulus()), propagate(*case(thermal=False))[1]
    low, high = interval(1.0, total)
    assert 1.0 - 1.96 * total == pytest.approx(0.477, abs=5e-4)
    assert 1.0 + 1.96 * total == pytest.approx(1.523, abs=5e-4)
    assert abs(low - found.low / unit) < 0.03 < abs(0.477 - found.low / unit)
    assert abs(high - found.high / unit) < 0.15 < abs(1.523 - found.high / unit)


def test_log_normal_draws_of_a_product_of_powers_give_exactly_the_law_of_propagation():
    """ln E is then a sum of normal numbers: mean e^(σ²/2), median 1, ends e^(±1.96σ)."""
    draws = [Draw(2.0, 0.2, "lognormal"), Draw(30.0, 9.0, "lognormal")]
    found = monte_carlo(lambda k, r: k / np.sqrt(r), draws, trials=400_000)
    sigma, unit = math.hypot(0.1, 0.15), 2.0 / math.sqrt(30.0)
    assert found.median / unit == pytest.approx(1.0, abs=4 * 1.2533 * sigma / math.sqrt(4e5))
    error = 4 * sigma / math.sqrt(4e5)
    assert found.mean / unit == pytest.approx(math.exp(sigma**2 / 2), abs=error)
    assert (found.low, found.high) == pytest.approx(interval(unit, sigma), rel=0.005)


def test_draws_have_the_law_the_limits_and_the_correlation_they_claim():
    """scipy's own laws, by Kolmogorov and Smirnov."""
    draws = [Draw(0.45, 0.05, "normal", 0.0, 0.5), Draw(30.0, 6.0, "lognormal"),
             Draw(159.0, 16.7, "uniform"), Draw(85.0, 8.5, "lognormal", 0.0, 89.9)]  # fmt: skip
    ratio, radius, tip, angle = draw_all(draws, 40_000, np.random.default_rng(2))
    cut = stats.truncnorm(-9.0, 1.0, 0.45, 0.05)
    wide = 16.7 * math.sqrt(12.0)
    for values, law in ((ratio, cut), (radius, stats.lognorm(0.2, scale=30.0)),
                        (tip, stats.uniform(159.0 - wide / 2, wide))):  # fmt: skip
        assert stats.kstest(values, law.cdf).pvalue > 0.001
    assert 0.0 <= ratio.min() <= ratio.max() <= 0.5
    assert angle.max() < 89.9 + 1e-9
    pair = [Draw(1.0, 0.1), Draw(2.0, 0.1)]
    a, b = draw_all(pair, 40_000, np.random.default_rng(4), {(0, 1): -0.8})
    assert np.corrcoef(a, b)[0, 1] == pytest.approx(-0.8, abs=0.01)
    assert a.std() == pytest.approx(0.1, rel=0.02)


def test_the_correlation_by_trials_agrees_with_the_law_of_propagation():
    """k tied to s: the trials' spread of ln E falls as propagation says (errors made small)."""
    small, own = 0.1, 0.05
    total_k = math.hypot(own, 0.08)
    draws = [Draw(K, K * total_k * small, "lognormal"), Draw(S, S * 0.04 * small, "lognormal")]
    found = monte_carlo(lambda k, s: np.log(modulus(k, s)), draws, 200_000,
                        correlations={(0, 1): -0.08 / total_k})  # fmt: skip
    _, expected = propagate([1.0, 2.75], [own * small, 0.04 * small])
    assert found.deviation == pytest.approx(expected, rel=0.01)


def test_the_adaptive_scheme_stops_when_its_digits_are_good_and_is_right_then():
    """Four uniform numbers of variance 1 each; ends ±3.88 (JCGM 101, 9.2.3, from memory)."""
    draws = [Draw(0.0, 1.0, "uniform")] * 4
    found = monte_carlo_until(lambda *x: sum(x), draws, digits=2)
    assert 20_000 <= found.trials < 4_000_000
    assert found.deviation == pytest.approx(2.0, abs=0.05)
    assert (found.low, found.high) == pytest.approx((-3.88, 3.88), abs=0.05)
    assert monte_carlo_until(lambda *x: sum(x), draws, digits=1).trials < found.trials
    assert monte_carlo_until(lambda *x: sum(x), draws, digits=4, most=50_000).trials == 50_000
    assert tolerance(0.35, 2) == pytest.approx(0.005)  # 35 · 10⁻²: half of 10⁻²
    assert tolerance(35.0, 1) == pytest.approx(5.0)


def test_trials_without_a_number_are_counted_and_leave_no_upper_bound():
    found = monte_carlo(lambda x: np.where(x > 1.0, np.nan, x), [Draw(0.0, 1.0)], 100_000)
    assert found.failed == pytest.approx(stats.norm.sf(1.0), abs=0.005)
    assert found.high == math.inf
    assert math.isnan(found.mean)
    assert found.median == pytest.approx(0.0, abs=0.02)
    assert found.low == pytest.approx(-1.96, abs=0.05)


def test_the_same_seed_gives_the_same_answer():
    draws = draws_of_case("lognormal")
    assert monte_carlo(modulus, draws, 10_000, 7) == monte_carlo(modulus, draws, 10_000, 7)
    assert monte_carlo(modulus, draws, 10_000, 7) != monte_carlo(modulus, draws, 10_000, 8)


# ---- independent pixels

SIDE, LENGTH = 5.0, 0.25  # µm
LAWS = {
    "exponential": (lambda r: np.exp(-r / LENGTH), 2 * math.pi * LENGTH**2),
    "gaussian": (lambda r: np.exp(-(r**2) / (2 * LENGTH**2)), 2 * math.pi * LENGTH**2),
    "narrow gaussian": (lambda r: np.exp(-(r**2) / LENGTH**2), math.pi * LENGTH**2),
}


def square(pixels: int, side: float = SIDE) -> tuple[np.ndarray, tuple[float, float]]:
    return np.ones((pixels, pixels), dtype=bool), (side / pixels, side / pixels)


def test_a_field_of_64_pixels_has_72_4207_independent_ones():
    assert effective_number_of(LAWS["exponential"][0], *square(64)) == pytest.approx(
        72.4207, rel=1e-6
    )


def test_fine_pixels_approach_the_exact_finite_field():
    """72.5533, the double integral over all pairs of places, here by scipy's quadrature too."""
    rho = LAWS["exponential"][0]
    pairs = integrate.dblquad(lambda y, x: 4 * (SIDE - x) * (SIDE - y) * rho(np.hypot(x, y)),
                              0, SIDE, 0, SIDE)[0]  # fmt: skip
    assert SIDE**4 / pairs == pytest.approx(72.5533, rel=1e-5)
    coarse, fine = (effective_number_of(rho, *square(n)) for n in (128, 256))
    assert fine + (fine - coarse) / 3.0 == pytest.approx(72.5533, rel=1e-4)


@pytest.mark.parametrize("law", LAWS)
def test_large_fields_hold_area_over_the_integral_of_the_correlation(law):
    """63.6620 for the exponential and the Gaussian, twice that for exp(-r²/ξ²). The rim's share of
    N²/n_eff falls with 1/side: two sides give the limit."""
    rho, area = LAWS[law]
    once = effective_number_of(rho, *square(96))
    twice = effective_number_of(rho, *square(192, 2 * SIDE)) / 4.0
    limit = 1.0 / (2.0 / twice - 1.0 / once)
    assert limit == pytest.approx(SIDE**2 / area, rel=0.01)
    assert SIDE**2 / LAWS["exponential"][1] == pytest.approx(63.6620, rel=1e-6)


def fields(rho, pixels: int, pitch: float, count: int) -> np.ndarray:
    """Random fields of a given correlation, cut from periodic ones of twice the size."""
    rng = np.random.default_rng(3)
    spectrum = np.fft.fft2(rho(lag_lengths((2 * pixels, 2 * pixels), (pitch, pitch)))).real
    noise = np.fft.fft2(rng.standard_normal((count, 4 * pixels, 4 * pixels)))
    whole = np.fft.ifft2(noise * np.sqrt(np.maximum(spectrum, 0.0))).real
    return whole[:, :pixels, :pixels]


@pytest.mark.parametrize("law", LAWS)
def test_the_number_estimated_from_a_map_itself_is_that_of_its_correlation(law):
    rho, _ = LAWS[law]
    made, pitch = fields(rho, 64, SIDE / 64, 24), (SIDE / 64, SIDE / 64)
    scattered = np.random.default_rng(5).random((64, 64)) < 0.3
    for mask in (np.ones((64, 64), dtype=bool), scattered):
        known = effective_number_of(rho, mask, pitch)
        found = np.array([effective_number(one, mask, pitch) for one in made])
        assert np.median(found) == pytest.approx(known, rel=0.25)
        means = made[:, mask].mean(axis=1)  # what n_eff is for: the scatter of means
        assert known == pytest.approx(1.0 / np.mean(means**2), rel=4 * math.sqrt(2 / 24))


def test_pixels_of_white_noise_all_count():
    values = np.random.default_rng(6).standard_normal((20, 64, 64))
    mask = np.hypot(*np.mgrid[-32:32, -32:32]) < 20
    found = [effective_number(one, mask) for one in values]
    assert np.median(found) == np.count_nonzero(mask)
    assert np.mean(found) > 0.93 * np.count_nonzero(mask)


def test_the_correlation_of_a_mask_is_that_of_its_pairs():
    """The Fourier transforms against a plain loop over pairs."""
    rng = np.random.default_rng(8)
    values, mask = rng.standard_normal((7, 9)), rng.random((7, 9)) < 0.7
    values[2, 3] = np.nan
    rho, pairs, lengths = correlation_of(values, mask, (2.0, 3.0))
    use = mask & np.isfinite(values)
    centred = np.where(use, values - values[use].mean(), 0.0)
    for dy, dx in ((0, 0), (1, 0), (0, 2), (3, -4)):
        moved = [(r, c) for r, c in zip(*np.nonzero(use), strict=True)
                 if 0 <= r + dy < 7 and 0 <= c + dx < 9 and use[r + dy, c + dx]]  # fmt: skip
        products = [centred[r, c] * centred[r + dy, c + dx] for r, c in moved]
        assert pairs[dy, dx] == len(moved)
        assert rho[dy, dx] == pytest.approx(np.mean(products) / np.mean(centred[use] ** 2))
        assert lengths[dy, dx] == pytest.approx(math.hypot(2.0 * dy, 3.0 * dx))


def test_too_few_or_equal_pixels_give_no_surprise():
    one = np.zeros((4, 4), dtype=bool)
    one[1, 1] = True
    assert math.isnan(effective_number(np.ones((4, 4)), one))
    assert effective_number(np.ones((4, 4)), np.ones((4, 4), dtype=bool)) == 16.0
    assert math.isnan(effective_number_of(LAWS["gaussian"][0], np.zeros((4, 4), dtype=bool)))
