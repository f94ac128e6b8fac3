"""The compiled JKR and Maugis-Dugdale are the plain laws, and their derivatives are right.

Sources of the plain laws and their check values: `tests/test_jkr.py`, `tests/test_maugis.py`.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq

from palpate.core.models import adhesive, jkr, maugis, tables, tabor

E_STAR, R, W = 0.01 / (1 - 0.49**2), 500.0, 0.05


@pytest.mark.parametrize("ratio", [0.01, 0.1, 0.5, 1.0, 2.0, 5.0, 10.0, 100.0])
def test_the_kernel_lets_go_where_the_lever_does(ratio):
    """S(a) = -k by root finding; F1/|δ1| = 3 K a1, so k/(K a1) = `ratio` is a/h = 3/ratio."""
    assert adhesive.jkr_fold(1.0, 3.0 / ratio) ** 2 == pytest.approx(jkr.jump_off(ratio), rel=1e-7)


@pytest.mark.parametrize("lever", [0.05, 0.5, 5.0])
def test_jkr_solves_the_dimensional_equations(lever):
    """d(z) against scipy.optimize.brentq on F(a) and δ(a); derivatives by differences."""
    pull, a1, _ = jkr.scales(E_STAR, R, W)
    c, a = 4 / 3 * E_STAR * math.sqrt(R) / lever, pull / lever
    out = np.empty(5)

    def deflection(u, ln_c, a_):
        h = (a_ / math.exp(ln_c)) ** (2 / 3) / 3
        adhesive.jkr_point(u, math.exp(ln_c), a_, h, adhesive.jkr_fold(h, a_), -1.0, out)
        return out[0], out[1:4].copy()

    for u in (20.0, 60.0, 400.0):

        def beyond(x, u=u):
            return float(jkr.indentation(x, E_STAR, R, W) + jkr.force(x, E_STAR, R, W) / lever) - u

        radius = brentq(beyond, a1, 50 * a1, xtol=1e-12)
        d, slopes = deflection(u, math.log(c), a)
        assert d == pytest.approx(float(jkr.force(radius, E_STAR, R, W)) / lever, rel=1e-8)
        h = 1e-5
        by_c = (deflection(u, math.log(c) + h, a)[0] - deflection(u, math.log(c) - h, a)[0]) / 2 / h
        by_u = (deflection(u + h, math.log(c), a)[0] - deflection(u - h, math.log(c), a)[0]) / 2 / h
        up, down = deflection(u, math.log(c), a * (1 + h)), deflection(u, math.log(c), a * (1 - h))
        assert slopes[0] == pytest.approx(by_c, rel=1e-5)
        assert slopes[1] == pytest.approx(-by_u, rel=1e-5)
        assert slopes[2] == pytest.approx((up[0] - down[0]) / (2 * h * a), rel=1e-5)


@pytest.mark.parametrize("lam", [0.1, 0.3, 0.5, 1.0, 2.0, 5.0])
def test_the_table_of_the_pull_off(lam):
    rows = tables.pull_off_rows()
    least, slope = adhesive.weakest(lam, rows, tables.STEP, tables.START)
    assert least == pytest.approx(-maugis.pull_off(lam), rel=1e-6)
    h = 1e-3
    up, down = maugis.pull_off(lam * (1 + h)), maugis.pull_off(lam * (1 - h))
    assert slope == pytest.approx(math.log(up / down) / (2 * h), rel=1e-3)


@pytest.mark.parametrize("lam", [0.05, 0.7, 4.0])
def test_maugis_in_the_kernels_parameter(lam):
    """cos φ = 1/m, series for small φ included."""
    out, up, down = np.empty((3, adhesive.POINT))
    for t in (1e-3, 1e-2, 0.019, 0.0205, 0.3, 2.8, 40.0):  # t = tan φ
        phi = math.atan(t)
        adhesive.maugis_point(phi, lam, out)
        plain = [float(v) for v in maugis.state(t, lam)]
        assert out[:3] == pytest.approx(plain, rel=1e-7)
        h = 1e-5
        adhesive.maugis_point(phi * (1 + h), lam, up)
        adhesive.maugis_point(phi * (1 - h), lam, down)
        assert out[3:6] == pytest.approx((up[:3] - down[:3]) / (2 * h * phi), rel=1e-5)
        adhesive.maugis_point(phi, lam * (1 + h), up)
        adhesive.maugis_point(phi, lam * (1 - h), down)
        assert out[6:9] == pytest.approx((up[:3] - down[:3]) / (2 * h * lam), rel=1e-5, abs=1e-7)


@pytest.mark.parametrize("distance", [0.05, 0.3, 2.0])
def test_maugis_deflection_and_derivatives(distance):
    """d(u) lies on the plain law in nN and nm; derivatives by differences."""
    stiff, radius, lever, pull = 0.4, 20.0, 2.0, 6.0  # K, R, k, pull-off
    rows = tables.pull_off_rows()

    def deflection(u, ln_c, a):
        pre, out, work = np.zeros(8), np.zeros(5), np.zeros(adhesive.POINT)
        adhesive.maugis_prepare(math.exp(ln_c), a, distance, rows, tables.STEP, tables.START, pre,
                                work)  # fmt: skip
        adhesive.maugis_deflection(u, pre, -1.0, out, work)
        return out[0], out[1:4], pre

    ln_c, a = math.log(stiff * math.sqrt(radius) / lever), pull / lever
    for u in (0.5, 5.0, 30.0):
        d, slopes, pre = deflection(u, ln_c, a)
        work = pre[0] * lever / (math.pi * radius)
        lam = float(tabor.maugis_lambda(0.75 * stiff, radius, work, distance))
        assert pre[2] == pytest.approx(lam, rel=1e-9)
        assert -maugis.pull_off(lam) * math.pi * work * radius == pytest.approx(pull, rel=1e-6)
        unit = (math.pi**2 * work**2 * radius / stiff**2) ** (1 / 3)
        _, p, delta = maugis.state(np.geomspace(1e-4, 1e3, 400001), lam)
        force, depth = p * math.pi * work * radius, delta * unit
        rising = np.flatnonzero(np.diff(depth + force / lever) > 0)  # where the lever lets go
        end = rising[0] + 1 if rising.size else force.size
        path = (depth + force / lever)[:end][::-1]
        assert d == pytest.approx(np.interp(u, path, force[:end][::-1]) / lever, rel=1e-5, abs=1e-6)
        h = 1e-3
        by_c = (deflection(u, ln_c + h, a)[0] - deflection(u, ln_c - h, a)[0]) / (2 * h)
        by_u = (deflection(u + h, ln_c, a)[0] - deflection(u - h, ln_c, a)[0]) / (2 * h)
        by_a = (deflection(u, ln_c, a + h)[0] - deflection(u, ln_c, a - h)[0]) / (2 * h)
        assert slopes == pytest.approx([by_c, -by_u, by_a], rel=1e-4, abs=1e-5)
