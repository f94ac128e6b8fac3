"""Laws are compared on the same samples, by a criterion that scipy confirms; the right one wins."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import least_squares

from palpate.core import comparison
from palpate.core.comparison import (
    compare_on_curve,
    compare_on_map,
    curves_of,
    default_options,
    option_of,
    runs,
)
from palpate.core.errors import Cancelled, InputError
from palpate.core.explain import explain
from palpate.core.pipeline import analyse
from palpate.core.progress import Progress
from palpate.core.settings import Settings
from palpate.core.simulate import Lever, Material, Ramp, simulate_map
from palpate.core.units import text_of

BOTH = Settings().with_values({"tip.radius": 30.0, "tip.half_angle": 35.0})
SHARP = [option_of("paraboloid", "constant"), option_of("cone", "constant")]


def simulated(law, size, shape, *, adhesion="constant", noise=0.04, pull=3.0, seed=2, modulus=0.3):
    lever = Lever(2.0, 60.0, law, size, noise, adhesion)
    ramp = Ramp(travel=150.0, samples=400, set_force=30.0)
    film = Material("film", modulus, 0.40, pull)
    return simulate_map(np.zeros(shape, dtype=int), (film,), lever=lever, ramp=ramp,
                        relief=0.5, seed=seed).as_map()  # fmt: skip


@pytest.fixture(scope="module")
def pointed():
    return simulated("cone", 35.0, (10, 20))


@pytest.fixture(scope="module")
def rounded():
    return simulated("paraboloid", 30.0, (10, 20))


@pytest.fixture(scope="module")
def small():
    return simulated("paraboloid", 30.0, (4, 5))


# ---- the right law wins


@pytest.mark.parametrize("right", ["paraboloid", "cone"])
def test_the_right_law_wins_on_most_of_200_curves(right, pointed, rounded):
    fmap = pointed if right == "cone" else rounded
    found = {f.option.law: f for f in compare_on_map(analyse(fmap, BOTH), SHARP)}
    wrong = "cone" if right == "paraboloid" else "paraboloid"
    assert found[right].count == 200
    assert found[right].best_share > 0.9
    assert found[right].excess == 0.0
    assert found[wrong].excess > 10.0  # decisive: Kass & Raftery 1995 (from memory)
    assert found[right].alike > 0.9
    assert found[wrong].alike < 0.1  # the curves do tell them apart
    assert found[right].residual == pytest.approx(1.0, abs=0.05)  # residual over noise
    assert found[wrong].residual > found[right].residual
    assert found[right].modulus == pytest.approx(0.3, rel=0.03)  # what went in


def test_jkr_wins_on_curves_of_jkr():
    fmap = simulated("paraboloid", 200.0, (4, 5), adhesion="jkr", pull=20.0, modulus=0.01)
    chosen = Settings().with_values({"fit.fraction_from": -50.0, "fit.branch": "retract"})
    options = [option_of("paraboloid", name) for name in ("none", "constant", "jkr")]
    found = {f.option.adhesion: f for f in compare_on_map(analyse(fmap, chosen), options)}
    assert found["jkr"].best_share > 0.9
    assert found["jkr"].modulus == pytest.approx(0.01, rel=0.03)  # what went in


def test_free_exponent_tells_the_shape_of_the_tip(pointed, rounded):
    # exponents of cone and paraboloid: Sneddon, Int. J. Eng. Sci. 3 (1965) 47
    for fmap, exponent in ((pointed, 2.0), (rounded, 1.5)):
        free = compare_on_map(analyse(fmap, BOTH), [option_of("free_exponent", "constant")])[0]
        assert free.exponent == pytest.approx(exponent, abs=0.05)
        assert math.isnan(free.modulus)
        one = compare_on_curve(fmap, BOTH, 3, 3, [option_of("free_exponent", "constant")])[0]
        assert one.possible
        assert math.isnan(one.modulus)


# ---- the criterion


@pytest.mark.parametrize("law", ["paraboloid", "cone"])
def test_criterion_is_that_of_an_independent_fit(small, law):
    """n ln(RSS/n) + p ln n (Schwarz 1978, noise fitted) with RSS of a fit by scipy."""
    exponent = {"paraboloid": 1.5, "cone": 2.0}[law]
    report = explain(small, BOTH, 2, 1)
    low, high = report.window
    inside = (report.approach.z >= low) & (report.approach.z <= high)
    z, d = report.approach.z[inside], report.approach.d[inside]
    pull = explain(small, BOTH.with_value("fit.law", law), 2, 1)

    def bent(p):  # d where δ + c δⁿ = z - z0 + a, by a fine table
        depth = np.linspace(0.0, 1.0, 40000) ** 2 * 60.0
        load = np.exp(p[0]) * depth**exponent
        return np.interp(z - p[1] + a, depth + load, load) - a - d

    one = {f.option.law: f for f in compare_on_curve(small, BOTH, 2, 1, SHARP)}
    a = held_pull(small, law)
    start = [math.log(0.3), pull.z0]
    rss = 2.0 * least_squares(bent, start, xtol=1e-12, ftol=1e-12, x_scale=[0.01, 0.1]).cost
    n = z.size
    assert one[law].criterion == pytest.approx(n * math.log(rss / n) + 2 * math.log(n), rel=1e-5)
    assert one[law].residual == pytest.approx(math.sqrt(rss / (n - 2)) / report.noise, rel=1e-4)


def held_pull(fmap, law):
    """Pull-off deflection [nm] that the law with a constant pull was given."""
    from palpate.core.columns import fit as ft

    return float(analyse(fmap, BOTH.with_value("fit.law", law)).tables.fit[
        fmap.curve_at(2, 1), ft.PULL])  # fmt: skip


def test_more_parameters_cost_more(small):
    """The free exponent fits no worse, and pays ln n for its third parameter."""
    options = [option_of("paraboloid", "constant"), option_of("free_exponent", "constant")]
    plain, free = compare_on_map(analyse(small, BOTH), options)
    assert free.residual <= plain.residual * 1.01
    assert plain.best_share > 0.8


def test_excess_is_above_the_best_and_laws_of_one_curve_share_a_place(small):
    options = [option_of(law, "constant") for law in ("paraboloid", "cone", "pyramid")]
    found = compare_on_curve(small, BOTH, 1, 1, options)
    best = min(f.criterion for f in found)
    for f in found:
        assert f.excess == pytest.approx(f.criterion - best, abs=1e-9)
    assert found[1].criterion == found[2].criterion
    assert found[1].modulus != found[2].modulus


# ---- the same numbers as an analysis


def test_moduli_are_those_of_an_analysis_under_that_law(small):
    present = analyse(small, BOTH)
    cone = analyse(small, BOTH.with_value("fit.law", "cone"))
    found = compare_on_map(present, SHARP)[1]
    change = cone.channel("modulus") / present.channel("modulus") - 1.0
    assert np.array_equal(found.change_map, change, equal_nan=True)
    assert found.change == pytest.approx(float(np.median(change)), rel=1e-12)
    one = compare_on_curve(small, BOTH, 3, 2, SHARP, walk=cone.walk)
    assert one[1].modulus == cone.channel("modulus")[3, 2]
    assert one[1].modulus_error == pytest.approx(cone.errors("modulus")[3, 2], rel=1e-12)
    assert one[1].change == pytest.approx(change[3, 2], rel=1e-12)
    assert one[0].change == 0.0


def test_uncertainties_are_the_same_wherever_they_are_shown(small):
    """Values, comparison, contact points and budget: one local ±, the map's slow noise in it."""
    from palpate.core.contacts import compare_contacts
    from palpate.core.uncertainty import pixel_budget

    analysis = replace(analyse(small, BOTH), pooled_walk=2e-5, _cache={})
    modulus, error = (float(m[2, 3]) for m in (analysis.channel("modulus"),
                                               analysis.errors("modulus")))  # fmt: skip
    place = float(analysis.errors("contact_point")[2, 3])
    walk = analysis.walk
    option = compare_on_curve(small, BOTH, 2, 3, SHARP, walk=walk)[0]
    contact = next(c for c in compare_contacts(small, BOTH, 2, 3, walk=walk) if c.used)
    budget = pixel_budget(analysis, 2, 3, trials=100)
    assert option.modulus_error == pytest.approx(error, rel=1e-9)
    assert contact.modulus_error == pytest.approx(error, rel=1e-9)
    assert budget.local * modulus == pytest.approx(error, rel=1e-9)
    assert contact.error == pytest.approx(place, rel=1e-9)
    white = replace(analysis, pooled_walk=0.0, _cache={}).errors("contact_point")
    assert place > 1.01 * float(white[2, 3])  # the slow noise is in all of them
    told = next(t for t in budget.terms if t.name == "contact_point").note
    assert text_of(contact.z0, "nm", place) in told
    pull = pixel_budget(analysis, 2, 3, trials=100, quantity="adhesion")
    assert pull.local * pull.value == pytest.approx(float(analysis.errors("adhesion")[2, 3]))
    told = next(t for t in budget.terms if t.name == "pull_off").note
    assert text_of(pull.value, "nN", pull.local * pull.value) in told


def test_all_options_see_the_same_samples(small):
    from palpate.core.columns import fit as ft

    seen = set()
    for option in default_options(small, BOTH):
        changed = BOTH.with_values({"fit.law": option.law, "fit.adhesion": option.adhesion})
        fit = analyse(small, changed).tables.fit
        seen.add(fit[:, [ft.SAMPLES, ft.FIRST_Z, ft.LAST_Z]].tobytes())
    assert len(seen) == 1


def test_a_window_by_indentation_becomes_one_by_force_and_says_so(small):
    by_depth = BOTH.with_value("fit.window", "indentation")
    found = compare_on_curve(small, by_depth, 0, 0, SHARP)
    plain = compare_on_curve(small, BOTH, 0, 0, SHARP)
    assert [f.criterion for f in found] == [f.criterion for f in plain]
    assert "10 to 95 % of the peak force" in found[0].note
    assert plain[0].note == ""
    on_map = compare_on_map(analyse(small, by_depth), SHARP)
    assert "peak force" in on_map[0].note


# ---- the same curves for all


def failing(monkeypatch, law, every):
    """Fits of one law do not converge on each curve whose number can be divided."""
    from palpate.core.columns import fit as ft

    real = runs.run_rows

    def broken(request, fmap, block, part, stale):
        real(request, fmap, block, part, stale)
        if request.settings.fit.law == law:
            part["fit"][block.curves % every == 0, ft.STATE] = ft.NOT_CONVERGED

    monkeypatch.setattr(runs, "run_rows", broken)


def test_laws_are_compared_on_the_curves_that_all_of_them_fit(small, monkeypatch):
    """A law that fails on the hard curves must not look better for it."""
    analysis = analyse(small, BOTH)
    failing(monkeypatch, "cone", 4)  # 0, 4, 8, 12, 16 of 20
    plain, cone = compare_on_map(analysis, SHARP)
    kept = np.arange(20) % 4 != 0
    assert (plain.count, plain.taken, plain.failed) == (15, 20, 0)
    assert (cone.count, cone.taken, cone.failed) == (15, 20, 5)
    modulus = analysis.per_curve("modulus")[0]
    residual = analysis.per_curve("residual")[0]
    assert plain.modulus == pytest.approx(float(np.median(modulus[kept])), rel=1e-12)
    assert plain.residual == pytest.approx(float(np.median(residual[kept])), rel=1e-6)
    assert plain.best_share + cone.best_share == pytest.approx(1.0)


def test_a_law_that_fails_on_most_curves_is_left_out_of_the_comparison(small, monkeypatch):
    failing(monkeypatch, "cone", 1)
    plain, cone = compare_on_map(analyse(small, BOTH), SHARP)
    assert (plain.possible, plain.count, plain.best_share) == (True, 20, 1.0)
    assert (cone.possible, cone.failed) == (False, 20)
    monkeypatch.undo()
    failing(monkeypatch, "paraboloid", 20)
    analysis = analyse(small, BOTH.with_value("fit.law", "cone"))
    real = comparison.FEWEST
    monkeypatch.setattr(comparison, "FEWEST", 0.96)  # one of 20 is then too many
    plain = compare_on_map(analysis, SHARP)[0]
    assert real == 0.5
    assert not plain.possible
    assert "no value on 1 of 20 curves" in plain.reason


def test_slow_noise_is_said_to_overstate_the_differences(small):
    quiet, slow = (compare_on_curve(small, BOTH, 1, 1, SHARP, walk=walk)[0] for walk in (0.0, 1e-2))
    assert quiet.note == ""
    assert "overstated" in slow.note
    assert slow.modulus_error > quiet.modulus_error


# ---- what is impossible


def test_impossible_options_say_why(small):
    settings = Settings().with_values({"tip.radius": 30.0})
    options = [option_of("cone", "jkr"), option_of("cone", "none"), option_of("egg", "none"),
               option_of("paraboloid", "two_point"), option_of("paraboloid", "none")]  # fmt: skip
    on_curve = compare_on_curve(small, settings, 0, 0, options)
    on_map = compare_on_map(analyse(small, settings), options)
    for found in (on_curve, on_map):
        assert [f.possible for f in found] == [False, False, False, False, True]
        assert "paraboloid only" in found[0].reason
        assert "half-angle" in found[1].reason
        assert "egg" in found[2].reason
        assert "retract" in found[3].reason
        assert all(math.isnan(f.criterion) for f in found[:4])


def test_a_law_that_can_not_be_run_is_impossible_and_no_error(small, monkeypatch):
    real = runs.run_rows

    def broken(request, *rest):
        if request.settings.fit.law == "cone":
            raise KeyError("no kernel")
        real(request, *rest)

    monkeypatch.setattr(runs, "run_rows", broken)
    found = compare_on_curve(small, BOTH, 0, 0, SHARP)
    assert [f.possible for f in found] == [True, False]
    assert "no kernel" in found[1].reason


def test_a_curve_without_contact_is_impossible_and_no_error():
    film = Material("film", 0.3, 0.4, 3.0)
    made = simulate_map(np.zeros((1, 20), dtype=int), (film,), spoiled=1.0, seed=5)
    chosen = list(made.truth["spoiled"].ravel())
    assert "no_contact" in chosen
    found = compare_on_curve(made.as_map(), BOTH, 0, chosen.index("no_contact"), SHARP)
    assert all(not f.possible and f.reason for f in found)


def test_default_options_are_what_tip_and_law_allow(small):
    only_radius = {(o.law, o.adhesion) for o in default_options(small, Settings())}
    assert {("paraboloid", a) for a in ("none", "constant", "jkr", "maugis")} <= only_radius
    assert ("cone", "constant") in only_radius  # once, to say that the angle is missing
    assert ("cone", "none") not in only_radius
    assert not any(law == "punch" for law, _ in only_radius)  # the map records a paraboloid
    both = {(o.law, o.adhesion) for o in default_options(small, BOTH)}
    assert {("cone", "none"), ("cone", "constant"), ("blunted_cone", "constant")} <= both


def test_a_pixel_without_a_curve_is_refused(small):
    with pytest.raises(InputError, match="row 40"):
        compare_on_curve(small, BOTH, 40, 0)


# ---- long runs


def test_progress_runs_from_start_to_end_and_cancel_stops_it(small):
    seen = []
    analysis = analyse(small, BOTH)
    compare_on_map(analysis, SHARP, Progress(lambda done, total, words: seen.append(done / total)))
    assert seen == sorted(seen)
    assert seen[-1] == 1.0

    def stop(done, total, words):
        if done / total >= 0.5:
            progress.cancel()

    progress = Progress(stop)
    with pytest.raises(Cancelled):
        compare_on_map(analysis, SHARP, progress)


def test_a_large_map_is_compared_on_a_grid_and_says_so(rounded, monkeypatch):
    analysis = analyse(rounded, BOTH)
    monkeypatch.setattr(comparison, "curves_of", lambda fmap: curves_of(fmap, 60))
    found = compare_on_map(analysis, SHARP)[1]
    # a step of 2 is the smallest that leaves at most 60 of 10 x 20 pixels
    assert found.count == 50
    assert found.note.startswith("50 of 200 curves")
    rows, cols = np.nonzero(np.isfinite(found.change_map))
    assert set(rows % 2) == set(cols % 2) == {0}


def test_spoiled_curves_are_left_out():
    film = Material("film", 0.3, 0.4, 3.0)
    made = simulate_map(np.zeros((5, 8), dtype=int), (film,), lever=Lever(2.0, tip_size=30.0),
                        spoiled=0.5, seed=3)  # fmt: skip
    analysis = analyse(made.as_map(), BOTH)
    found = compare_on_map(analysis, SHARP)[0]
    left_out = int(np.count_nonzero(analysis.severe))
    assert left_out > 5
    assert found.count == 40 - left_out
