"""Maugis-Dugdale, its limits, the closed fits beside it, and the Tabor parameter.

Maugis, J. Colloid Interface Sci. 150 (1992) 243 (form from memory); the numbers are direct
solutions unless another source is named.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from palpate.core.models import adhesive, jkr, maugis, tables, tabor, tip, transitions


@pytest.mark.parametrize(
    ("lam", "a", "m", "p", "delta"),
    [(1.0, 2.0, 1.17613727, 2.45620778, 2.34903636),
     (0.5, 1.5, 1.51223520, -0.08358172, 1.11560355)],
)  # fmt: skip
def test_points_of_the_curve(lam, a, m, p, delta):
    ring = maugis.ring_at(a, lam)
    assert ring == pytest.approx(m, rel=1e-8)
    assert [float(v) for v in maugis.of_ring(ring, lam)] == pytest.approx([a, p, delta], rel=1e-7)


TABLE = [  # λ, A(P=0), Δ(P=0), P_min
    (0.1, 1.3361798, 1.2924253, -1.9505949),
    (0.3, 1.4418126, 1.2007720, -1.8155558),
    (0.5, 1.5173835, 1.1651337, -1.7182453),
    (1.0, 1.6360905, 1.1298939, -1.6007349),
    (2.0, 1.7376405, 1.1109560, -1.5346032),
    (5.0, 1.8000944, 1.1025840, -1.5063500),
]


@pytest.mark.parametrize(("lam", "a0", "d0", "lowest"), TABLE)
def test_zero_load_and_pull_off(lam, a0, d0, lowest):
    assert maugis.at_zero_load(lam) == pytest.approx((a0, d0), rel=1e-6)
    assert maugis.pull_off(lam) == pytest.approx(lowest, rel=1e-6)


@pytest.mark.parametrize(("lam", "a0", "d0", "lowest"), TABLE)
def test_the_kernels_table_of_the_pull_off(lam, a0, d0, lowest):
    rows = tables.pull_off_rows()
    least, slope = adhesive.weakest(lam, rows, tables.STEP, tables.START)
    assert least == pytest.approx(-lowest, rel=1e-6)
    h = 1e-3
    up, down = maugis.pull_off(lam * (1 + h)), maugis.pull_off(lam * (1 - h))
    assert slope == pytest.approx(math.log(up / down) / (2 * h), rel=1e-3)


def test_limits_are_dmt_and_jkr():
    """λ -> 0: P_min = -2, A³ = 2 and Δ = A² at zero load; λ -> ∞: -1.5, A³ = 6, JKR's Δ."""
    assert maugis.pull_off(1e-3) == pytest.approx(-2.0, rel=1e-4)
    assert maugis.at_zero_load(1e-4) == pytest.approx((2 ** (1 / 3), 2 ** (2 / 3)), rel=1e-2)
    assert maugis.pull_off(80.0) == pytest.approx(-1.5, rel=1e-4)
    assert maugis.at_zero_load(80.0) == pytest.approx((1.817121, 1.100642), rel=1e-4)
    # JKR in these units: P = A³ - A √(6A), Δ = A² - (2/3) √(6A)
    a = float(maugis.of_ring(maugis.ring_at(3.0, 80.0), 80.0)[1])
    assert a == pytest.approx(27 - 3 * math.sqrt(18), rel=1e-3)


@pytest.mark.parametrize("lam", [0.05, 0.7, 4.0])
def test_the_kernel_is_the_plain_law(lam):
    """The kernel's parameter cos φ = 1/m, series for small φ included."""
    out = np.empty(9)
    for m in (1 + 1e-6, 1 + 1e-4, 1.0002, 1.05, 3.0, 40.0):
        adhesive.maugis_point(math.acos(1 / m), lam, out)
        if m > 1.0001:  # nearer to one the plain form loses its digits
            plain = [float(v) for v in maugis.of_ring(m, lam)]
            assert out[:3] == pytest.approx(plain, rel=2e-6)
        h, phi, up, down = 1e-5, math.acos(1 / m), np.empty(9), np.empty(9)
        adhesive.maugis_point(phi * (1 + h), lam, up)
        adhesive.maugis_point(phi * (1 - h), lam, down)
        assert out[3:6] == pytest.approx((up[:3] - down[:3]) / (2 * h * phi), rel=1e-5)
        adhesive.maugis_point(phi, lam * (1 + h), up)
        adhesive.maugis_point(phi, lam * (1 - h), down)
        assert out[6:9] == pytest.approx((up[:3] - down[:3]) / (2 * h * lam), rel=1e-5, abs=1e-7)


@pytest.mark.parametrize("distance", [0.05, 0.3, 2.0])
def test_the_kernels_deflection_and_derivatives(distance):
    """d(u) satisfies the plain law in nN and nm, and its derivatives are differences."""
    stiff, radius, lever, pull = 0.4, 20.0, 2.0, 6.0  # K, R, k, pull-off
    rows = tables.pull_off_rows()

    def deflection(u, ln_c, a):
        pre, out, work = np.zeros(8), np.zeros(5), np.zeros(9)
        pre[:5] = adhesive.maugis_scales(math.exp(ln_c), a, distance, rows, tables.STEP,
                                         tables.START)
        pre[5], pre[6] = adhesive.maugis_fold(pre[0], pre[1], pre[2], work), a
        adhesive.maugis_deflection(u, pre, -1.0, out, work)
        return out[0], out[1:4], pre

    ln_c, a = math.log(stiff * math.sqrt(radius) / lever), pull / lever
    for u in (0.5, 5.0, 30.0):
        d, slopes, pre = deflection(u, ln_c, a)
        work = pre[0] * lever / (math.pi * radius)
        lam = float(tabor.maugis_lambda(radius, work, 0.75 * stiff, distance))
        assert pre[2] == pytest.approx(lam, rel=1e-9)
        assert -maugis.pull_off(lam) * math.pi * work * radius == pytest.approx(pull, rel=1e-6)
        unit = (math.pi**2 * work**2 * radius / stiff**2) ** (1 / 3)
        e = np.linspace(-18, 8, 400001)
        _, p, delta = maugis.of_ring(1 + np.exp(e), lam)
        force, depth = p * math.pi * work * radius, delta * unit
        i = np.argmin(depth + force / lever)  # the plain branch, down to where the lever lets go
        i = np.flatnonzero(np.diff(depth + force / lever) > 0)
        end = i[0] + 1 if i.size else e.size
        path = (depth + force / lever)[:end][::-1]
        assert d == pytest.approx(np.interp(u, path, force[:end][::-1]) / lever, rel=1e-5, abs=1e-6)
        h = 1e-3
        by_c = (deflection(u, ln_c + h, a)[0] - deflection(u, ln_c - h, a)[0]) / (2 * h)
        by_u = (deflection(u + h, ln_c, a)[0] - deflection(u - h, ln_c, a)[0]) / (2 * h)
        by_a = (deflection(u, ln_c, a + h)[0] - deflection(u, ln_c, a - h)[0]) / (2 * h)
        assert slopes == pytest.approx([by_c, -by_u, by_a], rel=1e-4, abs=1e-5)


def test_lambda_over_mu():
    """1.157012 from the Lennard-Jones peak; 1.161069 with the rounded 1.03 w/z0 (Maugis 1992)."""
    assert pytest.approx(1.157012, rel=1e-6) == tabor.LAMBDA_OVER_MU
    assert pytest.approx(1.026400, rel=1e-6) == tabor.PEAK_STRESS
    assert pytest.approx(1.161069, rel=1e-6) == 1.03 / tabor.PEAK_STRESS * tabor.LAMBDA_OVER_MU


@pytest.mark.parametrize(
    ("modulus", "ratio", "work", "distance", "mu"),
    [(3.0, 0.35, 0.08, 0.16, 1.387929), (3.0, 0.35, 0.08, 0.4, 0.555172),
     (0.2, 0.45, 0.06, 0.16, 6.53820), (0.2, 0.45, 0.06, 0.4, 2.61528)],
)  # fmt: skip
def test_tabor_parameter(modulus, ratio, work, distance, mu):
    """Tabor, J. Colloid Interface Sci. 58 (1977) 2 (from memory), R = 20 nm; direct solution."""
    found = tabor.tabor(20.0, work, modulus / (1 - ratio**2), distance)
    assert found == pytest.approx(mu, rel=1e-5)
    if mu == 1.387929:
        lam = tabor.maugis_lambda(20.0, work, modulus / (1 - ratio**2), distance)
        assert lam == pytest.approx(1.60585, rel=1e-5)  # 1.157012 μ


def test_work_of_adhesion_from_a_pull_off():
    """10 nN at 20 nm: 0.0795775 (DMT), 0.106103 J/m² (JKR), ratio 4/3; direct solution."""
    assert tabor.work_of(10.0, 20.0, "constant") == pytest.approx(0.0795775, rel=1e-6)
    assert tabor.work_of(10.0, 20.0, "jkr") == pytest.approx(0.106103, rel=1e-5)


def test_closed_fit_of_carpick():
    """Carpick, Ogletree & Salmeron 1999 (from memory), evaluated; and how near it is."""
    assert [transitions.carpick_lambda(a) for a in (0.25, 0.5, 0.75)] == pytest.approx(
        [0.271999, 0.659135, 1.338109], rel=1e-5)  # fmt: skip
    assert transitions.carpick_radius(0.5, 1.0) == pytest.approx(1.176520, rel=1e-6)
    assert transitions.carpick_zero_load(1.0) == pytest.approx((1.648878, -1.599206), rel=1e-6)
    for lam, a0, _, lowest in TABLE:
        fit = transitions.carpick_zero_load(lam)
        assert fit == pytest.approx((a0, lowest), rel=0.017)


def test_closed_fit_of_pietrement():
    """Pietrement & Troyon 2000 (from memory), evaluated at α = 0.5 and 1."""
    assert transitions.pietrement(0.5) == pytest.approx(
        (0.521202, 0.220125, 1.546687, 1.683250), rel=1e-5)  # fmt: skip
    assert transitions.pietrement_indentation(0.5, 1.0) == pytest.approx(0.844010, rel=1e-6)
    assert transitions.pietrement(1.0) == pytest.approx((0.6661, 0.497, 1.815, 1.5), rel=1e-4)


def test_schwarz_and_its_limits():
    """Schwarz, J. Colloid Interface Sci. 261 (2003) 99, derived anew; R = 500 nm, w = 0.05 J/m²."""
    radius, work, stiff = 500.0, 0.05, 1.754617e-2
    pull = 1.75 * math.pi * work * radius
    assert transitions.schwarz_alpha(pull, radius, work) == pytest.approx(0.654654, rel=1e-6)
    assert transitions.schwarz(100.0, pull, stiff, radius, work) == pytest.approx(
        (247.6314, 68.27489), rel=1e-6)  # fmt: skip
    full = 1.5 * math.pi * work * radius  # the JKR end
    a, depth = transitions.schwarz(100.0, full, stiff, radius, work)
    assert (a, depth) == pytest.approx((265.3970, 61.27334), rel=1e-6)
    assert [6 / (3 + a * a) for a in (0, 0.25, 0.5, 0.75, 1)] == pytest.approx(
        [2, 1.959184, 1.846154, 1.684211, 1.5], rel=1e-6)  # fmt: skip
    none = transitions.schwarz(100.0, 2 * math.pi * work * radius, stiff, radius, work)
    assert none[1] == pytest.approx(none[0] ** 2 / radius, rel=1e-12)  # the DMT end


def test_an_elastic_tip():
    """1/E* in series (Hertz 1882): 3 GPa, 0.35 with 170 GPa, 0.28; direct solution."""
    rigid = 3.0 / (1 - 0.35**2)
    assert rigid == pytest.approx(3.418803, rel=1e-6)
    soft = tip.reduced_modulus(3.0, 0.35, 170.0, 0.28)
    assert soft == pytest.approx(3.356593, rel=1e-6)
    assert soft / rigid - 1 == pytest.approx(-0.0181967, rel=1e-5)
    assert tip.reduced_modulus(3.0, 0.35, 130.0, 0.28) == pytest.approx(3.337904, rel=1e-6)
    rubber = tip.reduced_modulus(2e-3, 0.49, 170.0, 0.28) * (1 - 0.49**2) / 2e-3
    assert rubber - 1 == pytest.approx(-1.43e-5, rel=1e-2)


def test_jkr_of_the_two_modules_agrees():
    """Maugis's JKR limit in his units is the JKR of `jkr`."""
    radius, work, reduced = 500.0, 0.05, 0.013
    stiff = 4 / 3 * reduced
    a = 2.5 * (math.pi * work * radius**2 / stiff) ** (1 / 3)
    p = 2.5**3 - 2.5 * math.sqrt(6 * 2.5)
    assert jkr.force(a, reduced, radius, work) == pytest.approx(p * math.pi * work * radius)
