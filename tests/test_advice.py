"""The advice gives the published figures, finds each broken rule, and says what is missing.

Sources stand beside each value. "Direct solution" was computed from the cited formula.
"""

from __future__ import annotations

import math
import re
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from palpate.core.advice import adhesion_map, advise
from palpate.core.advice.contact import Contacts, Figures, radii_of
from palpate.core.advice.laws import recommend
from palpate.core.advice.parts import Check, LawAdvice
from palpate.core.advice.sticky import hertz_bias, strength
from palpate.core.errors import InputError
from palpate.core.forcemap import ForceMap
from palpate.core.models import law_of
from palpate.core.models.jkr import contact_radius, unloaded_radius
from palpate.core.models.law import radius_at
from palpate.core.models.tabor import LAMBDA_PER_MU
from palpate.core.pipeline import analyse
from palpate.core.settings import Settings
from palpate.core.simulate import Lever, Material, Ramp, simulate_map

# ---- the figures, from contacts that are known exactly


def contacts(modulus, ratio, *, radius=20.0, work=0.0, depth=5.0, k=2.0, adhesion="constant",
             distance=0.2, **more):  # fmt: skip
    """One contact of a paraboloid at an indentation, with a pull-off of 2πwR (1.5 for JKR)."""
    reduced = modulus / (1.0 - ratio**2)
    pull = (1.5 if adhesion == "jkr" else 2.0) * math.pi * work * radius
    force = law_of("paraboloid").force(depth, reduced, radius)
    given = dict(
        stiff=np.array([reduced * law_of("paraboloid").factor(radius) / k]),
        pull=np.array([pull / k]), peak=np.array([(force - pull) / k]), depth=np.array([depth]),
        fitted_law="paraboloid", law="paraboloid", adhesion=adhesion, spring_constant=k,
        radius=radius, half_angle=math.nan, rounding=0.0, poisson_ratio=ratio,
        thickness=math.nan, distance=distance,
    )  # fmt: skip
    return Contacts(**(given | more))


@pytest.mark.parametrize(
    ("modulus", "ratio", "work", "distance", "mu"),
    [
        # Tabor, J. Colloid Interface Sci. 58 (1977) 2 (from memory):
        # μ = [R w²/(E*² z0³)]^(1/3), R = 20 nm, direct solution
        (3.0, 0.35, 0.08, 0.16, 1.387929),
        (3.0, 0.35, 0.08, 0.40, 0.555172),
        (0.2, 0.45, 0.06, 0.16, 6.53820),
        (0.2, 0.45, 0.06, 0.40, 2.61528),
    ],
)
def test_tabor_parameter_has_the_published_form(modulus, ratio, work, distance, mu):
    here = contacts(modulus, ratio, work=work, distance=distance)
    assert float(here.tabor[0]) == pytest.approx(mu, rel=2e-6)


def test_maugis_parameter_is_1_157_times_tabors():
    # Lennard-Jones peak stress, Maugis, J. Colloid Interface Sci. 150 (1992) 243: 1.157012, and for
    # a glassy polymer under a sharp tip λ = 1.60585 (1.60583 with the factor cut to 1.157); direct
    # solution
    assert pytest.approx(1.157012, rel=1e-6) == LAMBDA_PER_MU
    here = contacts(3.0, 0.35, work=0.08, distance=0.16)
    assert LAMBDA_PER_MU * float(here.tabor[0]) == pytest.approx(1.60585, rel=3e-6)


def test_rubber_under_a_sharp_tip_is_far_outside_jkr():
    # zero-load contact radius (6πw/(K R))^(1/3), Johnson, Kendall & Roberts 1971: 2.36653 tip radii
    # and w/(E* R) = 0.94 for E = 2 MPa, ν = 0.5, R = 20 nm, w = 0.05 J/m²; direct solution
    here = contacts(0.002, 0.5, work=0.05, adhesion="jkr", depth=20.0)
    wide = unloaded_radius(float(here.reduced[0]), 20.0, 0.05) / 20.0
    assert wide == pytest.approx(2.36653, rel=1e-5)
    assert float(strength(here)[0]) == pytest.approx(0.9375, rel=1e-9)


def test_limit_of_jkr_is_where_the_zero_load_contact_is_half_the_radius():
    # 0.0088: direct solution of (6πw/(K R))^(1/3) = 1/2
    assert unloaded_radius(1.0, 100.0, 0.0088 * 100.0) == pytest.approx(50.0, rel=0.005)


def test_mean_pressure_of_a_sharp_tip_on_a_glassy_polymer():
    # F/(πa²), E = 2 GPa, ν = 0.35, R = 20 nm, δ = 5 nm: 152 nN and 484 MPa, direct solution
    here = contacts(2.0, 0.35)
    assert float(here.load[0]) == pytest.approx(151.9468, rel=1e-6)
    pressure = here.load / (math.pi * here.contact_radius**2)
    assert float(pressure[0]) == pytest.approx(0.484, abs=5e-4)


def test_deflection_over_indentation_is_two_thirds_of_the_stiffness_ratio():
    # (2/3) S/k for a sphere: E = 2 GPa, ν = 0.35, R = 20 nm, δ = 3 nm, k = 40: 0.588487; at
    # k = 2 S/3 = 23.5395 it is 1; direct solution
    here = contacts(2.0, 0.35, depth=3.0, k=40.0)
    assert float((here.peak / here.depth)[0]) == pytest.approx(0.588487, rel=1e-5)
    here = contacts(2.0, 0.35, depth=3.0, k=23.5395)
    assert float((here.peak / here.depth)[0]) == pytest.approx(1.0, rel=1e-5)


@pytest.mark.parametrize(("ratio", "bias"), [(2, 0.408), (5, 0.189), (20, 0.054), (100, 0.011)])
def test_cost_of_neglecting_adhesion(ratio, bias):
    # Hertz fitted to JKR curves with a free contact point, ratios of peak force to pull-off; direct
    # solution
    assert hertz_bias(ratio) == pytest.approx(bias, rel=1e-6)


def test_jkr_contact_radius_of_the_worked_set():
    # JKR 1971: E = 10 MPa, ν = 0.49, R = 500 nm, w = 0.05 J/m², F = 100 nN: a = 265.3970 nm,
    # direct solution
    here = contacts(0.01, 0.49, radius=500.0, work=0.05, adhesion="jkr", k=0.5,
                    peak=np.array([200.0]))  # fmt: skip
    assert float(here.contact_radius[0]) == pytest.approx(265.3970, rel=1e-6)
    reduced = float(here.reduced[0])
    assert contact_radius(100.0, reduced, 500.0, 0.05) == pytest.approx(265.3970, rel=1e-6)


@pytest.mark.parametrize(
    ("law", "sizes"),
    [("sphere", (20.0,)), ("hyperboloid", (20.0, 25.0)), ("blunted_cone", (20.0, 25.0, 0.0))],
)
def test_contact_radii_off_the_table_are_those_of_the_law(law, sizes):
    depth = np.array([0.01, 0.3, 2.0, 9.0, 30.0])
    exact = radius_at(law_of(law), depth, *sizes)  # bisection of the law's own profile
    found = radii_of(law_of(law), depth, 20.0, 25.0, sizes)
    assert found == pytest.approx(exact, rel=2e-5)


# ---- maps that are right, and maps that break one rule

GOOD = Material("film", 0.4, 0.40, 1.5)
LEVER = Lever(10.0, 50.0, "paraboloid", 50.0, 0.02)
RAMP = Ramp(travel=120.0, samples=2048, set_force=50.0)


def made(material=GOOD, lever=LEVER, ramp=RAMP, size=3):
    labels = np.zeros((size, size), dtype=int)
    return simulate_map(labels, (material,), lever=lever, ramp=ramp, relief=0.5, seed=4)


def analysed(material=GOOD, lever=LEVER, ramp=RAMP, **settings):
    fmap = made(material, lever, ramp).as_map()
    values = {name.replace("__", "."): value for name, value in settings.items()}
    return analyse(fmap, Settings().with_values(values))


@pytest.fixture(scope="module")
def good():
    return analysed()


def not_fitting(advice):
    return {check.name: check.verdict for check in advice.checks if check.verdict != "fits"}


def test_nothing_is_complained_of_where_nothing_is_wrong(good):
    for advice in (advise(good), advise(good, 1, 1)):
        assert not_fitting(advice) == {}
        assert advice.present.verdict == "fits"
        name = "The paraboloid, constant pull (DMT), is in use and may be used "
        assert advice.sentence.startswith(name)
        assert advice.sentence.count(".") == 1


def test_every_check_and_every_law_carries_words_and_a_figure(good):
    advice = advise(good, 0, 2)
    for check in advice.checks:
        assert check.sentence.endswith(".")
        assert check.source
        assert check.limit
        assert math.isfinite(check.value) or check.name == "tip_shape"
    for law in advice.laws:
        assert law.reasons
        figure = any(ch.isdigit() for ch in law.reasons[0])
        assert figure or law.verdict == "unknown" or "records a tip" in law.reasons[0]


def test_figures_of_a_simulated_map_are_the_truth(good):
    # E* = 0.4/(1-0.16), F_ad = 1.5 nN = 2πwR, F = 50 nN; formulas as above
    reduced, work = 0.4 / (1 - 0.16), 1.5 / (2 * math.pi * 50.0)
    mu = (50.0 * work**2 / (reduced**2 * 0.2**3)) ** (1 / 3)
    depth = ((50.0 + 1.5) / (4 / 3 * reduced * math.sqrt(50.0))) ** (2 / 3)
    advice = advise(good)
    assert advice.check("tabor").value == pytest.approx(mu, rel=0.03)
    assert advice.check("depth").value == pytest.approx(depth / 50.0, rel=0.01)
    assert advice.check("contact_width").value == pytest.approx(math.sqrt(depth / 50), rel=0.01)
    assert advice.check("lever").value == pytest.approx(5.0 / depth, rel=0.01)
    assert advice.check("adhesive_load").value == pytest.approx(3.0, rel=0.04)
    stiffness = 2 * reduced * math.sqrt(50.0 * depth)  # at the peak; the slope is of 60 to 95 %
    assert advice.check("slope").value == pytest.approx(stiffness / (10 + stiffness), rel=0.05)


BREAKS = [
    # what breaks it, the check, its verdict, other checks that may follow from it
    (dict(material=replace(GOOD, pull_off=15.0), fit__adhesion="none"),
     "adhesive_load", "broken", {"pressure"}),
    (dict(material=replace(GOOD, pull_off=25.0)), "lambda", "broken", {"tabor"}),
    (dict(material=replace(GOOD, pull_off=8.0)), "lambda", "strained", {"tabor"}),
    (dict(material=replace(GOOD, pull_off=8.0), fit__adhesion="jkr"), "lambda", "strained",
     {"tabor"}),
    (dict(lever=replace(LEVER, spring_constant=0.4), ramp=replace(RAMP, travel=300.0)),
     "lever", "broken", {"slope"}),
    (dict(lever=replace(LEVER, spring_constant=300.0, noise=0.001)), "lever", "broken", set()),
    (dict(ramp=replace(RAMP, samples=300)), "samples", "strained", set()),
    (dict(ramp=replace(RAMP, set_force=250.0), lever=replace(LEVER, spring_constant=30.0)),
     "contact_width", "strained", set()),
    (dict(sample__poisson_ratio=0.5, material=replace(GOOD, modulus=0.8),
          ramp=replace(RAMP, set_force=60.0)), "poisson", "strained", {"pressure"}),
    (dict(layer__base="bonded", layer__thickness=10.0), "layer", "strained", None),
    (dict(fit__law="cone", tip__half_angle=20.0), "tip_shape", "broken", None),
    (dict(lever=replace(LEVER, law="sphere", tip_size=20.0)), "depth", "strained",
     {"contact_width", "residual"}),
    (dict(fit__law="punch"), "residual", "strained", None),
]  # fmt: skip


@pytest.mark.parametrize(("change", "name", "verdict", "follows"), BREAKS)
def test_a_broken_rule_is_found_and_no_other(change, name, verdict, follows):
    change = dict(change)
    parts = {k: change.pop(k) for k in ("material", "lever", "ramp") if k in change}
    advice = advise(analysed(**parts, **change))
    check = advice.check(name)
    assert check.verdict == verdict, check.sentence
    if follows is not None:
        assert set(not_fitting(advice)) <= {name, *follows}


def test_plastic_contact_of_a_glassy_polymer():
    advice = advise(analysed(Material("glass", 2.0, 0.35, 0.5), Lever(40.0, 50.0, "paraboloid",
                    20.0, 0.01), Ramp(60.0, 2048, 152.0)))  # fmt: skip
    check = advice.check("pressure")
    assert check.verdict == "broken"
    assert check.value == pytest.approx(0.484, rel=0.02)  # the case of the figure above
    assert "fully plastic" in advice.sentence


@pytest.mark.parametrize(("load", "verdict"), [(500.0, "strained"), (50.0, "fits")])
def test_a_round_tip_strains_a_glassy_polymer_from_first_yield_on(load, verdict):
    """First yield at a mean pressure of 1.1 σ_y, full plasticity at 2.8 σ_y: Johnson, Contact
    Mechanics (1985), chapter 6 (from memory); σ_y of glass 50 to 100 MPa (from memory)."""
    from palpate.core.advice.curves import YIELD, check_pressure

    assert pytest.approx((1.1 * 0.05, 2.8 * 0.10)) == YIELD
    # E = 2 GPa, ν = 0.35, R = 500 nm; Hertz: a = (0.75 R F/E*)^(1/3)
    reduced = 2.0 / (1 - 0.35**2)
    depth = (load / (4 / 3 * reduced * math.sqrt(500.0))) ** (2 / 3)
    here = contacts(2.0, 0.35, radius=500.0, depth=depth)
    wide = (0.75 * 500.0 * load / reduced) ** (1 / 3)
    check = check_pressure(figures_like(here))
    assert check.value == pytest.approx(load / (math.pi * wide**2), rel=1e-6)
    assert check.verdict == verdict
    assert ("less force" in check.sentence) == (verdict == "strained")


def test_less_force_is_not_advised_under_a_point():
    """E* cot α/2 at any depth: 2/(1-0.35²) cot 35°/2 = 1.63 GPa (Sneddon 1965)."""
    from palpate.core.advice.curves import check_pressure

    found = []
    for depth in (2.0, 20.0):
        load = law_of("cone").force(depth, 2.0 / (1 - 0.35**2), 35.0)
        here = contacts(2.0, 0.35, depth=depth, fitted_law="cone", law="cone", half_angle=35.0,
                        stiff=np.array([law_of("cone").factor(35.0) * 2.0 / (1 - 0.35**2) / 2.0]),
                        peak=np.array([load / 2.0]))  # fmt: skip
        found.append(check_pressure(figures_like(here)))
    for check in found:
        exact = 0.5 * 2.0 / (1 - 0.35**2) / math.tan(math.radians(35.0))
        assert check.value == pytest.approx(exact, rel=1e-6)
        assert check.verdict == "broken"
        assert "same at any depth" in check.sentence
        assert "Use less force" not in check.sentence


def figures_like(here):
    """The figures of one contact without errors, for a check that asks for no more."""
    return Figures(None, np.array([0]), True, here, ())


def test_rubber_is_not_said_to_yield(good):
    check = advise(good).check("pressure")
    assert check.verdict == "fits"
    assert "does not yield" in check.sentence


def test_wrong_sensitivity_is_named_first():
    glass = Material("glass", 3.0, 0.35, 0.5)
    wrong = analysed(glass, Lever(2.0, 50.0, "paraboloid", 50.0, 0.02), RAMP,
                     calibration__deflection_sensitivity=55.0)  # fmt: skip
    for advice in (advise(wrong), advise(wrong, 1, 1)):
        check = advice.check("slope")
        assert check.verdict == "broken"
        # the slope that was, 10 % larger: S/(k+S) with the sensitivity wrong by 10 %
        assert check.value == pytest.approx(1.1 * 0.97, rel=0.02)
        assert "sensitivity is wrong" in advice.sentence


def test_a_sample_that_does_not_pull_needs_no_adhesion():
    smooth = analysed(replace(GOOD, pull_off=0.0), fit__adhesion="none")
    for advice in (advise(smooth), advise(smooth, 0, 1)):
        assert advice.present.verdict == "fits"
        # the lowest of a thousand samples: 3.2 standard deviations of 0.02 nm x 10 N/m of 50 nN
        assert advice.check("adhesive_load").value == pytest.approx(1.3, abs=0.7)
        assert "No pull-off stands out" in advice.check("adhesive_load").sentence
        assert "upper limit" in advice.check("tabor").sentence
        two_point = next(law for law in advice.laws if law.adhesion == "two_point")
        assert two_point.verdict == "broken"


def test_loss_beyond_adhesion_is_found():
    plain = made()
    shifted = plain.deflection.copy()
    for z, d in zip(plain.z, shifted, strict=True):  # a dent of 2 nm stays: the retract lies lower
        order = np.argsort(z[1])
        d[1] = np.where(z[1] > z[1].max() - 1e-9, d[1], np.interp(z[1] - 2.0, z[1][order],
                                                                  d[1][order]))  # fmt: skip
    arrays = replace(plain, deflection=shifted).arrays()
    advice = advise(analyse(ForceMap.from_arrays(**arrays)))
    check = advice.check("branches")
    assert check.verdict == "broken"
    # area of the loop 2 nm x 50 nN over the elastic energy (2/5) F δ, F = 51.5 nN, δ = 5.1 nm
    assert check.value == pytest.approx(100 * 2 * 50 / (0.4 * 51.5 * 5.1), rel=0.15)


def test_thickness_without_a_layer_costs_what_the_exact_solution_says(good):
    thick = good.map.with_thickness(np.full(good.map.shape, 158.0))
    check = advise(analyse(thick)).check("layer")
    assert check.value == pytest.approx(0.1, rel=0.03)  # a = 15.9 nm
    assert check.verdict == "strained"
    # bonded, ν = 0.4, χ = 0.1: 1.108442, exact solution of the layer
    assert "11 %" in check.sentence


def test_on_a_layer_the_published_series_stand_beside_the_exact_solution(good):
    """Coefficients of the two papers at ν = 1/2 (from memory): 1 + 1.133 χ + 1.283 χ² + 0.769 χ³ +
    0.0975 χ⁴ and 1 + 1.133 χ + 1.497 χ² + 1.469 χ³ + 0.755 χ⁴."""
    change = {"layer.base": "bonded", "layer.thickness": 50.0, "sample.poisson_ratio": 0.5}
    result = analyse(good.map, good.settings.with_values(change))
    check = advise(result).check("layer")
    x = check.value
    for c in ((1.133, 1.283, 0.769, 0.0975), (1.133, 1.497, 1.469, 0.755)):
        share = 100.0 * sum(part * x ** (i + 1) for i, part in enumerate(c))
        assert f"{share:.0f} %" in check.sentence
    assert "Dimitriadis" in check.sentence
    assert "Garcia" in check.sentence


def test_figures_on_a_layer_use_the_modulus_of_the_layer(good):
    """μ goes with E*^(-2/3) and the radius cancels, whatever the shape: a punch on a layer."""
    change = {"fit.law": "punch", "layer.base": "bonded", "layer.thickness": 100.0}
    thin = analyse(good.map, good.settings.with_values(change))
    thick = analyse(good.map, good.settings.with_values({"fit.law": "punch"}))
    mu = [advise(a).check("tabor").value for a in (thin, thick)]
    modulus = [float(np.median(a.channel("reduced_modulus"))) for a in (thin, thick)]
    assert modulus[0] < 0.8 * modulus[1]
    assert mu[0] / mu[1] == pytest.approx((modulus[1] / modulus[0]) ** (2 / 3), rel=1e-3)


# ---- uncertainty


def test_uncertainty_of_the_tabor_parameter_is_what_another_analysis_finds(good):
    """The spring constant and the radius cancel; the sensitivity moves it as it says."""
    here = advise(good).check("tabor")
    s = good.settings

    def again(**values):
        values = {k.replace("__", "."): v for k, v in values.items()}
        return advise(analyse(good.map, s.with_values(values))).check("tabor").value

    assert again(calibration__spring_constant=11.0) == pytest.approx(here.value, rel=1e-6)
    assert again(tip__radius=60.0) == pytest.approx(here.value, rel=1e-6)
    moved = again(calibration__deflection_sensitivity=50.0 * 1.02) / here.value - 1.0
    # 4 % is taken where no uncertainty is recorded, so 2 % moves half of the ±
    assert abs(moved) == pytest.approx(0.5 * here.error / here.value, rel=0.25)


def test_uncertainty_follows_the_settings(good):
    wide = good.settings.with_values({"uncertainty.tip": 40.0})
    one, two = (advise(a).check("depth").error for a in (good, analyse(good.map, wide)))
    assert two > 1.5 * one
    # δ/R with u(R)/R = 40 % alone would be 40 %
    check = advise(analyse(good.map, wide)).check("depth")
    assert 0.40 < check.error / check.value < 0.45


# ---- which law is recommended


def test_sticky_soft_contact_is_told_to_use_jkr():
    advice = advise(analysed(replace(GOOD, pull_off=25.0)))
    by_name = {(law.law, law.adhesion): law for law in advice.laws}
    assert by_name["paraboloid", "jkr"].verdict == "fits"
    assert by_name["paraboloid", "constant"].verdict == "broken"
    assert advice.sentence.endswith("better: the paraboloid, JKR.")
    assert "λ is" in advice.sentence


VERDICT = ["fits", "strained", "broken"]


def made_up(rng):
    """Laws of a round tip with verdicts thrown at random, as `judge` would put them together."""
    found = []
    common = int(rng.integers(3))  # a check of the same outcome for all
    names = (("paraboloid", "none"), ("paraboloid", "constant"), ("paraboloid", "jkr"),
             ("sphere", "constant"), ("hyperboloid", "none"))  # fmt: skip
    for law, adhesion in names:
        codes = [common, *rng.integers(0, 3, 3)]
        codes = codes[: int(rng.integers(2, 5))]
        checks = tuple(
            Check(name, name, "", 0.5, math.nan, "", "below 0.3", VERDICT[code],
                  f"{name} is {VERDICT[code]}.", "invented")
            for name, code in zip(("layer", "lambda", "depth", "domain"), codes, strict=False)
        )  # fmt: skip
        reasons = tuple(c.sentence for c in checks if c.verdict == VERDICT[max(codes)])
        found.append(LawAdvice(law, adhesion, f"{law}, {adhesion}", VERDICT[max(codes)], reasons,
                               checks))  # fmt: skip
    return found


def test_no_advice_contradicts_itself():
    """The recommended law is no worse than any other one, and is never one called broken for a
    reason that another law does not share."""
    rng = np.random.default_rng(7)
    figures = SimpleNamespace(
        one=True, contacts=SimpleNamespace(fitted_law="paraboloid"),
        analysis=SimpleNamespace(map=SimpleNamespace(recorded=SimpleNamespace(tip_shape="sphere"))),
    )  # fmt: skip
    recommended = without = 0
    for _ in range(3000):
        laws = made_up(rng)
        present = laws[int(rng.integers(3))]
        sentence = recommend(figures, [], laws, present)
        everywhere = [name for name in ("layer", "lambda", "depth", "domain")
                      if all(any(c.name == name and c.verdict == "broken" for c in law.checks)
                             for law in laws)]  # fmt: skip
        for name in everywhere:  # said once, and before everything else
            assert sentence.count(f"{name} is broken.") == 1
            assert sentence.startswith("No law helps against this: ")
        told = re.search(r"etter: the (\w+, \w+)", sentence)
        if told is None:
            without += 1
            continue
        recommended += 1
        best = next(law for law in laws if law.label == told[1])
        assert best is not present
        codes = {law.label: VERDICT.index(law.verdict) for law in laws}
        assert codes[best.label] == min(codes.values()), sentence
        own = [c for c in best.checks if c.name not in everywhere]
        assert all(c.verdict != "broken" for c in own), sentence
        told_so = "strained)" in sentence or "strained too)" in sentence
        assert told_so == any(c.verdict == "strained" for c in own)
    assert recommended > 500
    assert without > 500


def test_a_law_tells_only_the_checks_that_are_its_verdicts_reason():
    """On a map of two materials a median may be within the limit and a part of the map outside."""
    labels = np.zeros((4, 6), dtype=int)
    labels[:, 4:] = 1
    sticky = replace(GOOD, name="sticky", pull_off=25.0)
    fmap = simulate_map(labels, (replace(GOOD, pull_off=0.3), sticky), lever=LEVER, ramp=RAMP,
                        relief=0.5, seed=4).as_map()  # fmt: skip
    advice = advise(analyse(fmap))
    check = advice.check("lambda")
    assert check.verdict == "strained"
    assert check.outside == pytest.approx(8 / 24, abs=0.05)
    assert "33 % of its curves are not" in check.sentence
    low, high = check.quartiles  # the first quarter is of the one material, the last of the other
    assert 10 * low < high
    for law in advice.laws:
        made = {c.sentence: c.verdict for c in law.checks}
        for reason in law.reasons:
            if law.verdict in ("strained", "broken") and law.checks:
                assert made[reason] == law.verdict
    assert "over the whole map" in advice.sentence
    assert "as a constant pull assumes" not in " ".join(advice.present.reasons)
    assert all(math.isnan(x) for c in advise(analyse(fmap), 0, 0).checks for x in c.quartiles)


def test_the_advice_changes_nothing(good):
    before = good.settings
    advise(good)
    assert good.settings == before
    assert good.settings.fit.adhesion == "constant"


def test_a_law_without_its_size_is_unknown_and_says_which(good):
    by_name = {(law.law, law.adhesion): law for law in advise(good).laws}
    cone = by_name["cone", "constant"]
    assert cone.verdict == "unknown"
    assert "half-angle" in cone.reasons[0]


def test_layer_rules_out_what_is_not_solved_for_it():
    layered = analysed(layer__base="bonded", layer__thickness=100.0)
    by_name = {(law.law, law.adhesion): law for law in advise(layered).laws}
    assert by_name["paraboloid", "jkr"].verdict == "broken"
    assert by_name["paraboloid", "constant"].verdict == "fits"


def test_blunted_cone_is_recommended_where_the_flank_touches():
    lever = Lever(10.0, 50.0, "blunted_cone", 10.0, 0.02, more_sizes=(40.0, 0.0))
    fmap = ForceMap.from_arrays(**{**made(lever=lever).arrays(), "half_angle": 40.0})
    chosen = Settings().with_values({"tip.radius": 10.0, "fit.law": "cone"})
    advice = advise(analyse(fmap, chosen))
    # the flank begins at b²/R = R cot²α = 14.2 nm; Briscoe, Sebastian & Adams 1994
    flank = 10.0 / math.tan(math.radians(40.0)) ** 2
    check = advice.check("rounding")
    assert f"{flank:.3g} nm" in check.sentence
    assert check.verdict in ("strained", "broken")
    assert "blunted cone" in advice.sentence


# ---- what is missing


def test_without_constants_everything_is_unknown_and_named():
    fmap = ForceMap.from_arrays(**made().arrays(calibrated=False))
    advice = advise(analyse(fmap), 1, 1)
    assert advice.present.verdict == "unknown"
    for check in advice.checks:
        if check.name not in ("tip_shape",):
            assert check.verdict == "unknown", check
            assert math.isnan(check.value)
    assert "sensitivity" in advice.check("slope").sentence
    assert "tip radius" in advice.check("tabor").sentence
    drawn = adhesion_map(analyse(fmap))
    assert drawn.x.size == 0
    assert len(drawn.edges) == 4


def test_without_a_radius_only_what_needs_it_is_unknown(good):
    arrays = made().arrays()
    arrays.pop("radius")
    advice = advise(analyse(ForceMap.from_arrays(**arrays)))
    assert advice.check("tabor").verdict == "unknown"
    assert "tip radius" in advice.check("tabor").sentence
    assert advice.check("lever").verdict == "fits"
    assert advice.check("slope").verdict == "fits"


def test_free_exponent_gives_no_modulus_to_judge_by(good):
    advice = advise(analyse(good.map, good.settings.with_value("fit.law", "free_exponent")))
    assert advice.present.verdict == "unknown"
    assert "diagnostic" in advice.present.reasons[0]


def test_a_pixel_without_a_curve_is_refused(good):
    with pytest.raises(InputError, match="row 7"):
        advise(good, 7, 0)


# ---- the adhesion map


def test_pixels_lie_where_their_figures_say(good):
    drawn = adhesion_map(good)
    assert drawn.x.shape == drawn.y.shape == (9,)
    assert {tuple(p) for p in drawn.pixels} == {(r, c) for r in range(3) for c in range(3)}
    advice = advise(good)
    assert np.median(10**drawn.x) == pytest.approx(advice.check("lambda").value, rel=1e-6)
    # F/(πwR) with F_ad = 2πwR is 2 F/F_ad
    assert np.median(10**drawn.y) == pytest.approx(2 * 50 / 1.5, rel=0.04)


def test_edges_of_the_regimes_are_the_published_limits(good):
    drawn = adhesion_map(good)
    edges = {label: (x, y) for label, x, y in drawn.edges}
    # Maugis 1992: DMT below λ = 0.1, JKR above 5
    assert edges["DMT"][0] == pytest.approx(math.log10(0.1))
    assert edges["JKR"][0] == pytest.approx(math.log10(5.0))
    # adhesion is 5 % of the load that the contact feels: P = 2/0.05 - 2 for DMT (P = A³ - 2), and
    # 0.95 · 6/0.05² = 2280 for JKR (P = A³ - A√(6A)); forms of Maugis 1992 (from memory)
    x, y = edges["Hertz"]
    assert 10 ** y[0] == pytest.approx(38.0, rel=0.01)
    assert 10 ** y[-1] == pytest.approx(2280.0, rel=0.02)
    # at λ = 1 the same by the Maugis-Dugdale equations, written out once more
    load = 10 ** float(np.interp(0.0, x, y))
    t = np.geomspace(1e-4, 1.0, 200_001)
    theta, m = np.arctan(t), np.sqrt(1 + t * t)
    u, v, w = t + (m * m - 2) * theta, t * theta - m + 1, t + m * m * theta
    a = 2.0 / (4 / 3 * v + np.sqrt((4 / 3 * v) ** 2 + 2 * u))
    p = a**3 - a * a * w
    here = np.argmin(np.abs((a**3 - p) / a**3 - 0.05))
    assert load == pytest.approx(p[here], rel=1e-3)
    assert {label for label, _, _ in drawn.names} == {"Hertz", "DMT", "Maugis", "JKR", "rigid"}
    assert "other authors" in drawn.note
