"""The transition between DMT and JKR, the Tabor parameter, and the closed fits beside them.

"direct" marks values computed apart from this program from the equations of Maugis, J. Colloid
Interface Sci. 150 (1992) 243 (their form from memory, limits checked).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import fsolve, minimize_scalar

from palpate.core.models import jkr, maugis, tabor, transitions

TABLE = [  # λ, A and Δ at P = 0, least P; direct
    (0.1, 1.3361798, 1.2924253, -1.9505949),
    (0.3, 1.4418126, 1.2007720, -1.8155558),
    (0.5, 1.5173835, 1.1651337, -1.7182453),
    (1.0, 1.6360905, 1.1298939, -1.6007349),
    (2.0, 1.7376405, 1.1109560, -1.5346032),
    (5.0, 1.8000944, 1.1025840, -1.5063500),
]


def equations(a, m, lam):
    """Maugis's three equations as printed: what should be 1, P and Δ."""
    root, arc = math.sqrt(m * m - 1), math.acos(1 / m)
    one = lam * a * a / 2 * (root + (m * m - 2) * arc)
    one += 4 * lam * lam * a / 3 * (root * arc - m + 1)
    load = a**3 - lam * a * a * (root + m * m * arc)
    return one, load, a * a - 4 / 3 * lam * a * root


@pytest.mark.parametrize(
    ("lam", "a", "m", "load", "depth"),
    [  # direct
        (1.0, 2.0, 1.17613727, 2.45620778, 2.34903636),
        (0.5, 1.5, 1.51223520, -0.08358172, 1.11560355),
    ],
)
def test_points_of_the_curve(lam, a, m, load, depth):
    t = maugis.ring_at(a, lam)
    assert math.sqrt(1 + t * t) == pytest.approx(m, rel=1e-8)
    assert maugis.ring(m) == pytest.approx(t, rel=1e-7)
    np.testing.assert_allclose(maugis.state(t, lam), (a, load, depth), rtol=1e-7)


@pytest.mark.parametrize(("lam", "a", "depth", "least"), TABLE)
def test_unloaded_contact_and_pull_off(lam, a, depth, least):
    assert maugis.unloaded(lam) == pytest.approx((a, depth), abs=6e-8)
    assert maugis.pull_off(lam) == pytest.approx(least, abs=6e-8)
    assert maugis.pull_off_read(lam) == pytest.approx(least, abs=1e-6)


@pytest.mark.parametrize("lam", [0.03, 0.4, 1.7, 8.0, 60.0])
def test_explicit_solution_satisfies_the_printed_equations(lam):
    for t in np.geomspace(0.03, 30.0, 9) / math.sqrt(lam):
        a, load, depth = (float(v) for v in maugis.state(t, lam))
        one, p, d = equations(a, math.sqrt(1 + t * t), lam)
        assert one == pytest.approx(1.0, rel=1e-9)
        assert load == pytest.approx(p, rel=1e-8, abs=1e-8)
        assert depth == pytest.approx(d, rel=1e-8, abs=1e-8)


@pytest.mark.parametrize(("lam", "load"), [(0.2, 0.0), (0.7, 3.0), (1.3, -1.0), (3.0, 20.0)])
def test_state_at_a_load_by_an_independent_root_search(lam, load):
    """Two unknowns, A and m, by scipy's fsolve on the printed equations."""

    def short(v):
        one, p, _ = equations(v[0], v[1], lam)
        return one - 1.0, p - load

    a, m = fsolve(short, ((load + 3.0) ** (1 / 3) + 0.3, 1.0 + 0.3 / lam), xtol=1e-13)
    assert maugis.at_load(load, lam) == pytest.approx((a, equations(a, m, lam)[2]), rel=1e-9)


@pytest.mark.parametrize("lam", [0.05, 0.6, 4.0])
def test_pull_off_by_an_independent_minimum(lam):
    least = minimize_scalar(
        lambda x: float(maugis.state(math.exp(x), lam)[1]),
        bounds=(math.log(0.1 / lam), math.log(50.0 / lam)), method="bounded",
        options={"xatol": 1e-10},
    )  # fmt: skip
    assert maugis.pull_off(lam) == pytest.approx(least.fun, rel=1e-12)


def test_limit_of_long_range_is_dmt():
    """Derjaguin, Muller & Toporov, J. Colloid Interface Sci. 53 (1975) 314: P = A³ - 2, Δ = A²."""
    t = maugis.ring_at(2.0, 1e-6)
    assert maugis.state(t, 1e-6)[1] == pytest.approx(2.0**3 - 2, abs=1e-4)
    assert maugis.state(t, 1e-6)[2] == pytest.approx(2.0**2, abs=3e-3)
    assert maugis.pull_off(0.0) == -2.0
    assert maugis.pull_off(1e-3) == pytest.approx(-2.0, abs=1e-4)
    assert maugis.unloaded(0.0) == pytest.approx((1.259921, 1.587401), rel=1e-6)
    assert maugis.unloaded(1e-6) == pytest.approx(maugis.unloaded(0.0), abs=2e-3)


def test_limit_of_short_range_is_jkr():
    """P = A³ - A√(6A), Δ = A² - (2/3)√(6A): Johnson, Kendall & Roberts 1971."""
    for a in (1.2, 2.0, 4.0):
        _, load, depth = maugis.state(maugis.ring_at(a, 1e4), 1e4)
        assert load == pytest.approx(a**3 - a * math.sqrt(6 * a), abs=1e-4)
        assert depth == pytest.approx(a * a - 2 / 3 * math.sqrt(6 * a), abs=1e-4)
    assert maugis.pull_off(math.inf) == -1.5
    assert maugis.pull_off(1e4) == pytest.approx(-1.5, abs=1e-8)
    assert maugis.unloaded(math.inf) == pytest.approx((1.817121, 1.100642), rel=1e-6)
    assert maugis.unloaded(1e4) == pytest.approx(maugis.unloaded(math.inf), rel=1e-6)


def test_scales_join_it_to_jkr_in_usual_units():
    """At λ = ∞ a load of 100 nN on set A of the JKR tests gives the same a and δ."""
    modulus, radius, work = 0.01 / (1 - 0.49**2), 500.0, 0.05
    load, length, depth = maugis.scales(modulus, radius, work)
    a, d = maugis.at_load(100.0 / load, math.inf)
    assert a * length == pytest.approx(265.3970, rel=1e-6)  # direct, JKR
    assert d * depth == pytest.approx(61.27334, rel=1e-6)
    assert a * length == pytest.approx(jkr.contact_radius(100.0, modulus, radius, work), rel=1e-12)


@pytest.mark.parametrize("lam", [0.02, 0.5, 2.0, 30.0])
def test_slopes_agree_with_finite_differences(lam):
    for t in np.geomspace(0.02, 20.0, 7) / math.sqrt(lam):
        h = 1e-5 * t
        rise = np.array(maugis.state(t + h, lam)) - maugis.state(t - h, lam)
        size = np.abs(maugis.state(t, lam)) / t
        assert np.all(np.abs(rise / (2 * h) - maugis.slopes(t, lam)) < 1e-6 * (1e-3 + size))


def test_pull_off_falls_steadily_from_dmt_to_jkr():
    lam = np.geomspace(1e-4, 1e5, 200)
    read = maugis.pull_off_read(lam)
    assert np.all(np.diff(read) >= 0.0)
    assert read[0] == pytest.approx(-2.0, abs=1e-5)
    assert read[-1] == pytest.approx(-1.5, abs=1e-6)
    odd = np.array([2.3e-4, 0.0147, 0.173, 1.9, 77.0])
    np.testing.assert_allclose(
        maugis.pull_off_read(odd), [maugis.pull_off(v) for v in odd], atol=1e-6
    )


def test_impossible_states_are_nan():
    assert math.isnan(maugis.pull_off(-1.0))
    assert math.isnan(maugis.pull_off(math.nan))
    assert math.isnan(maugis.ring_at(0.0, 1.0))
    assert all(math.isnan(v) for v in maugis.at_load(-1.7, 1.0))  # below the pull-off, -1.60
    assert np.isnan(maugis.pull_off_read(np.array([np.nan, -1.0]))).all()


# the Tabor parameter and what follows from it


def test_lambda_over_mu():
    # Maugis 1992 with the peak of the Lennard-Jones law, direct: 1.157012
    assert pytest.approx(1.157012, rel=1e-6) == tabor.LAMBDA_PER_MU
    # with the peak rounded to 1.03 w/z0, as literature has it: 1.161069
    assert pytest.approx(1.161069, rel=1e-6) == tabor.LAMBDA_PER_MU * 1.03 / tabor.PEAK
    # the same from λ's own definition: σ0 = 1.026400 w/z0
    modulus, radius, work, reach = 2.0, 30.0, 0.07, 0.2
    k, peak = 4 / 3 * modulus, 1.026400 * work / reach
    lam = 2 * peak * (radius / (math.pi * work * k * k)) ** (1 / 3)
    assert tabor.maugis_lambda(modulus, radius, work, reach) == pytest.approx(lam, rel=1e-6)


def test_peak_of_the_lennard_jones_law():
    """The largest of (8/3)(w/z0)[(z0/z)³ - (z0/z)⁹] is 16/(9√3) w/z0, found by search."""
    z = np.linspace(1.0, 2.0, 1_000_001)
    assert pytest.approx((8 / 3 * (z**-3 - z**-9)).max(), rel=1e-10) == tabor.PEAK


@pytest.mark.parametrize(
    ("young", "poisson", "work", "reach", "mu"),
    [  # Tabor 1977 (form from memory), direct; R = 20 nm
        (3.0, 0.35, 0.08, 0.16, 1.387929),
        (3.0, 0.35, 0.08, 0.40, 0.555172),
        (0.2, 0.45, 0.06, 0.16, 6.53820),
        (0.2, 0.45, 0.06, 0.40, 2.61528),
    ],
)
def test_tabor_parameter(young, poisson, work, reach, mu):
    reduced = young / (1 - poisson**2)
    assert tabor.tabor(reduced, 20.0, work, reach) == pytest.approx(mu, rel=1e-6)


def test_glassy_polymer_under_a_sharp_tip_is_between_both():
    lam = tabor.maugis_lambda(3.0 / (1 - 0.35**2), 20.0, 0.08)  # direct: 1.60583 (1.157)
    assert lam == pytest.approx(1.60583, rel=2e-5)
    assert tabor.ZONES[int(tabor.zone(lam, 1.0))] == "Maugis"


def test_work_from_a_pull_off():
    # direct: 10 nN, R = 20 nm: 0.0795775 (DMT) and 0.106103 J/m² (JKR), ratio 4/3
    dmt = float(tabor.work_from_pull_off(10.0, 20.0, "dmt"))
    high = float(tabor.work_from_pull_off(10.0, 20.0, "jkr"))
    assert (dmt, high) == pytest.approx((0.0795775, 0.106103), rel=1e-5)
    assert high / dmt == pytest.approx(4 / 3, rel=1e-14)
    assert high == pytest.approx(jkr.work_of_adhesion(10.0, 20.0), rel=1e-14)


def test_work_from_a_pull_off_between_both_gives_that_pull_off_again():
    modulus = np.array([0.003, 0.5, 3.0, 80.0, np.nan, -1.0])
    work = tabor.work_from_pull_off(10.0, 20.0, "maugis", modulus)
    for e, w in zip(modulus[:4], work[:4], strict=True):
        least = maugis.pull_off(float(tabor.maugis_lambda(e, 20.0, w)))
        assert -least * math.pi * w * 20.0 == pytest.approx(10.0, rel=1e-6)
    assert np.all(np.diff(work[:4]) < 0.0)  # the stiffer, the nearer to DMT
    assert np.isnan(work[4:]).all()


def test_impossible_inputs_of_the_tabor_parameter_are_nan():
    assert np.isnan(tabor.tabor(np.array([0.0, -1.0, np.nan]), 20.0, 0.05)).all()
    assert np.isnan(tabor.tabor(1.0, 0.0, 0.05))
    assert np.isnan(tabor.work_from_pull_off(-1.0, 20.0, "dmt"))
    assert np.isnan(tabor.work_from_pull_off(1.0, -20.0, "jkr"))
    with pytest.raises(KeyError, match="maugis"):
        tabor.work_from_pull_off(1.0, 20.0, "glue")


def test_edges_of_the_adhesion_map():
    """Above the Hertz edge adhesion is under 5 % of A³, which is load + adhesion.

    DMT 2/A³ = 0.05, JKR √6 A^(-3/2) = 0.05.
    """
    assert tabor.hertz_load(0.0) == pytest.approx(38.0, rel=1e-12)
    assert tabor.hertz_load(1e-5) == pytest.approx(38.0, rel=1e-3)
    assert tabor.hertz_load(math.inf) == pytest.approx(2280.0, rel=1e-12)
    assert tabor.hertz_load(1e5) == pytest.approx(2280.0, rel=1e-6)
    load = tabor.hertz_load(1.0)
    a = maugis.at_load(load, 1.0)[0]
    assert (a**3 - load) / a**3 == pytest.approx(0.05, rel=1e-9)
    # rigid corner: R = 20 nm, w = 0.05 J/m², z0 = 0.16 nm, μ = 0.02: E* from μ, δ by DMT
    mu = 0.02
    modulus = math.sqrt(20.0 * 0.05**2 / (mu * 0.16) ** 3)
    force = tabor.rigid_load(mu * tabor.LAMBDA_PER_MU) * math.pi * 0.05 * 20.0
    depth = (0.75 * (force + 2 * math.pi * 0.05 * 20.0) / (modulus * math.sqrt(20.0))) ** (2 / 3)
    assert depth / 0.16 == pytest.approx(0.05, rel=1e-9)


def test_zones_of_the_adhesion_map():
    points = [
        (0.001, 0.0),
        (0.001, 1e5),
        (0.05, 0.0),
        (1.0, 0.0),
        (1.0, 900.0),
        (9.0, 1e3),
        (9, 1e4),
    ]
    names = [tabor.ZONES[i] for i in tabor.zone(*np.transpose(points))]
    assert names == ["rigid", "Hertz", "DMT", "Maugis", "Hertz", "JKR", "Hertz"]
    assert tabor.zone([math.nan, 1.0], [1.0, math.nan]).tolist() == [-1, -1]


# the closed fits


def test_generalised_fit_gives_its_published_numbers():
    # Carpick, Ogletree & Salmeron, J. Colloid Interface Sci. 211 (1999) 395 (from memory), direct
    for alpha, lam in ((0.25, 0.271999), (0.5, 0.659135), (0.75, 1.338109)):
        assert transitions.lambda_of(alpha) == pytest.approx(lam, rel=2e-6)
        assert transitions.alpha_of(transitions.lambda_of(alpha)) == pytest.approx(alpha, rel=1e-12)
    assert transitions.lambda_of(1.0) == math.inf
    assert transitions.generalised_radius(1.0, 1.0, 1.0, 0.5) == pytest.approx(1.176520, rel=1e-6)
    assert transitions.unloaded_of(1.0) == pytest.approx(1.648878, rel=1e-6)
    assert transitions.pull_off_of(1.0) == pytest.approx(-1.599206, rel=1e-6)
    assert np.isnan(transitions.generalised_radius(-1.1, 1.0, 1.0, 0.5))


@pytest.mark.parametrize("lam", [0.05, 0.2, 0.659135, 2.0, 10.0])
def test_generalised_fit_stays_within_a_per_cent_of_the_solved_transition(lam):
    a0, least = maugis.unloaded(lam)[0], maugis.pull_off(lam)
    for load in (0.0, 1.0, 8.0, 30.0):
        fit = transitions.generalised_radius(load, -least, a0, transitions.alpha_of(lam))
        assert fit == pytest.approx(maugis.at_load(load, lam)[0], rel=0.0095)
    assert transitions.unloaded_of(lam) == pytest.approx(a0, rel=0.017)
    assert transitions.pull_off_of(lam) == pytest.approx(least, rel=0.017)


def test_split_of_short_and_long_range_gives_its_published_numbers():
    # Schwarz, J. Colloid Interface Sci. 261 (2003) 99 (derived again), direct; set A, F = 100 nN
    modulus, radius, work = 0.01 / (1 - 0.49**2), 500.0, 0.05
    pull = 1.75 * math.pi * work * radius
    assert transitions.split_alpha(pull, radius, work) == pytest.approx(0.654654, rel=1e-6)
    a, depth = transitions.split_contact(100.0, pull, modulus, radius, work)
    assert (a, depth) == pytest.approx((247.6314, 68.27489), rel=1e-6)
    for alpha, ratio in ((0, 2), (0.25, 1.959184), (0.5, 1.846154), (0.75, 1.684211), (1, 1.5)):
        assert transitions.split_pull(alpha) == pytest.approx(ratio, rel=1e-6)
        back = transitions.split_alpha(ratio * math.pi * work * radius, radius, work)
        assert back == pytest.approx(alpha, abs=2e-3 if alpha == 0 else 1e-5)


def test_split_has_jkr_and_dmt_at_its_ends_and_nothing_beyond():
    modulus, radius, work = 0.01 / (1 - 0.49**2), 500.0, 0.05
    unit = math.pi * work * radius
    a, depth = transitions.split_contact(100.0, 1.5 * unit, modulus, radius, work)
    assert (a, depth) == pytest.approx((265.3970, 61.27334), rel=1e-6)  # direct, JKR
    a, depth = transitions.split_contact(100.0, 2.0 * unit, modulus, radius, work)
    assert a == pytest.approx(((100 + 2 * unit) * radius / (4 / 3 * modulus)) ** (1 / 3), rel=1e-6)
    assert depth == pytest.approx(a * a / radius, rel=1e-6)
    assert math.isnan(transitions.split_alpha(2.1 * unit, radius, work))
    assert math.isnan(transitions.split_alpha(1.4 * unit, radius, work))


def test_split_disagrees_with_the_solved_transition_at_equal_alpha():
    # direct: α(λ = 1) = 0.648 gives 1.754 against 1.6007
    alpha = transitions.alpha_of(1.0)
    assert alpha == pytest.approx(0.648, abs=5e-4)
    assert transitions.split_pull(alpha) == pytest.approx(1.754, abs=5e-4)
    assert -maugis.pull_off(1.0) == pytest.approx(1.6007, abs=5e-5)


def test_fitted_depth_gives_its_published_numbers():
    # Piétrement & Troyon, J. Colloid Interface Sci. 226 (2000) 166 (from memory), direct
    half = transitions.fitted_constants(0.5)
    assert half == pytest.approx((0.521202, 0.220125, 1.546687, 1.683250), rel=1e-6)
    assert transitions.fitted_depth(1.0, 1.0, 1.0, 1.0, 0.5) == pytest.approx(0.844010, rel=1e-6)
    end = transitions.fitted_constants(1.0)
    assert end == pytest.approx((0.6661, 0.497, 1.815, 1.5), rel=1e-4)
    # JKR itself: S = 2/3, β = 1/2, ā0 = 1.8171
    assert end == pytest.approx((2 / 3, 0.5, 1.817121, 1.5), rel=7e-3)


def test_fitted_depth_is_near_the_solved_transition():
    """Up to 0.06 in Δ at small loads (direct); at equal α, by the λ of the generalised fit."""
    for alpha in (0.3, 0.5, 0.7):
        lam = transitions.lambda_of(alpha)
        _, _, a0, pull = transitions.fitted_constants(alpha)
        for load in (0.0, 1.0, 3.0):
            fit = transitions.fitted_depth(load, pull, a0, 1.0, alpha)
            assert fit == pytest.approx(maugis.at_load(load, lam)[1], abs=0.08)
