"""The fit agrees with a general library and with theory."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import curve_fit

from palpate.core.columns import baseline as bl
from palpate.core.columns import fit as ft
from palpate.core.columns import law as cl
from palpate.core.models import POWER
from palpate.core.steps.contact_law import WORK
from palpate.core.steps.fit import SPACE, fit_of_curve
from palpate.core.steps.solver import FINE, SUMS, minimise

N = {"paraboloid": 1.5, "cone": 2.0, "punch": 1.0}


def plain_deflection(z, ln_c, z0, a, n):
    """d(z) by tabulating z(δ): no solver shared with the program."""
    delta = np.linspace(0, 1, 40001) ** 2 * (z.max() - z0 + a)
    elastic = math.exp(ln_c) * delta**n
    return np.interp(z - z0 + a, delta + elastic, elastic) - a


def fitted(z, d, n, a=0.0, low=0.1, high=0.95, noise=0.05, by=0):
    base = np.zeros(bl.COLUMNS)
    base[bl.B_NOISE], base[bl.PEAK_D] = noise, d[-5:].mean()
    row = np.empty(ft.COLUMNS)
    law = numbers(n)
    fit_of_curve(z, d, z.size, base, 0, np.array([a, 0.0, 0.0]), np.full(2, np.nan), law,
                 POWER.rows, 1.0, by, low, high, np.array([cl.LN_C, cl.Z0]),
                 np.empty((SPACE, SUMS)), np.empty((4, z.size)), row)  # fmt: skip
    return row


def numbers(n):
    law = np.zeros(cl.NUMBERS)
    law[[cl.STEP, cl.UNIT, cl.DEEPEST, cl.EXPONENT_START]] = 1.0, 1.0, math.inf, n
    return law


@pytest.mark.parametrize("law", N)
@pytest.mark.parametrize(("c", "a"), [(0.05, 0.0), (0.5, 2.0), (4.0, 3.0)])
def test_same_answer_as_scipy_curve_fit(law, c, a):
    """Parameters and covariance of scipy.optimize.curve_fit on the same samples."""
    n, rng = N[law], np.random.default_rng(3)
    z = np.linspace(-60, 25, 700)
    d = plain_deflection(z, math.log(c), 0.7, a, n)
    d = np.where(z > 0.7 - a, d, 0.0) + rng.normal(0, 0.05, z.size)
    row = fitted(z, d, n, a)
    assert row[ft.STATE] == ft.GOOD
    inside = (z >= row[ft.FIRST_Z]) & (z <= row[ft.LAST_Z])
    best, cov = curve_fit(
        lambda x, ln_c, z0: plain_deflection(x, ln_c, z0, a, n), z[inside], d[inside],
        (row[ft.LN_C] + 0.05, row[ft.Z0] - 0.05), sigma=np.full(inside.sum(), row[ft.SCALE]),
        absolute_sigma=True, xtol=1e-12, ftol=1e-12,
    )  # fmt: skip
    assert row[ft.SAMPLES] == inside.sum()
    assert row[ft.LN_C] == pytest.approx(best[0], abs=2e-3 * math.sqrt(cov[0, 0]) + 1e-6)
    assert row[ft.Z0] == pytest.approx(best[1], abs=2e-3 * math.sqrt(cov[1, 1]) + 1e-6)
    assert row[ft.VAR_LN_C] == pytest.approx(cov[0, 0], rel=0.01)
    assert row[ft.VAR_Z0] == pytest.approx(cov[1, 1], rel=0.01)
    assert row[ft.COV] == pytest.approx(cov[0, 1], rel=0.01)


def test_precision_of_a_fit_with_free_contact_point():
    """White force noise σ, N samples even in δ, contact free: u(ln E) = 6 σ/(F_max √N).

    σ/F_max = 0.01 and N = 400 give 0.00300 (Cramér-Rao, derived from the law; Monte Carlo within
    3 %). A very stiff lever makes z the indentation.
    """
    rng, c = np.random.default_rng(4), 1e-7
    z = np.linspace(0.0, 10.0, 400)
    clean = c * z**1.5
    noise = 0.01 * clean[-1]
    found = []
    for _ in range(400):
        d = clean + rng.normal(0, noise, z.size)
        par = np.array([math.log(c), 0.0, 0.0, 1.5])
        state = minimise(z, d, 0, z.size, 1, 1e-6, FINE, par, np.array([cl.LN_C, cl.Z0]),
                         numbers(1.5), POWER.rows, np.empty(8), np.empty(SUMS), np.empty(5),
                         np.empty(WORK), np.empty((4, 4)), np.empty((4, SUMS)))  # fmt: skip
        assert state == ft.GOOD
        found.append(par[0])
    assert np.std(found) == pytest.approx(0.00300, rel=0.08)


@pytest.mark.parametrize("law", N)
def test_noiseless_curve_is_returned_exactly(law):
    z = np.linspace(-50, 20, 900)
    d = plain_deflection(z, math.log(0.6), 1.3, 0.0, N[law])
    row = fitted(z, d, N[law], noise=1e-6)
    assert row[ft.LN_C] == pytest.approx(math.log(0.6), abs=2e-5)
    assert row[ft.Z0] == pytest.approx(1.3, abs=2e-4)


def test_window_by_indentation_takes_the_asked_depths():
    z = np.linspace(-50, 20, 2000)
    d = plain_deflection(z, math.log(0.3), 0.0, 0.0, 1.5)
    row = fitted(z, d, 1.5, low=1.0, high=4.0, noise=1e-4, by=2)
    depth = [z_ - plain_deflection(z, math.log(0.3), 0, 0, 1.5)[np.searchsorted(z, z_)]
             for z_ in (row[ft.FIRST_Z], row[ft.LAST_Z])]  # fmt: skip
    assert depth[0] == pytest.approx(1.0, abs=0.05)
    assert depth[1] == pytest.approx(4.0, abs=0.05)


def test_too_few_samples_is_a_state_and_not_a_number():
    z = np.linspace(-50, 20, 60)
    d = plain_deflection(z, math.log(0.3), 0.0, 0.0, 1.5)
    row = fitted(z, d, 1.5, low=0.5, high=0.55)
    assert row[ft.STATE] == ft.TOO_FEW
    assert math.isnan(row[ft.LN_C])


def test_no_contact_is_a_state():
    rng = np.random.default_rng(1)
    row = fitted(np.linspace(-50, 20, 300), rng.normal(0, 0.05, 300), 1.5)
    assert row[ft.STATE] == ft.NO_CONTACT


def test_a_curve_that_is_all_law_and_no_indentation_never_looks_fine():
    """A rigid sample: d = z. The modulus has no upper bound; the fit must say so."""
    rng = np.random.default_rng(2)
    z = np.linspace(-50, 20, 400)
    d = np.maximum(z, 0.0) + rng.normal(0, 0.05, z.size)
    row = fitted(z, d, 1.5)
    told = math.sqrt(row[ft.VAR_LN_C]) if row[ft.VAR_LN_C] > 0 else math.inf
    assert row[ft.STATE] != ft.GOOD or told > 0.3
