"""The modulus over many fit windows: what holds, what drifts, and what the drift is called.

Truths are simulated from the laws' plain formulas by the contact radius (core/simulate.py), which
know nothing of the fit.
"""

from __future__ import annotations

import numpy as np
import pytest

from palpate.core.errors import Cancelled, InputError
from palpate.core.forcemap import ForceMap
from palpate.core.holding import sample_of, scan
from palpate.core.holding.differences import alone
from palpate.core.holding.grid import grid_of
from palpate.core.holding.runs import Bench
from palpate.core.models.layers import layer_ratio
from palpate.core.pipeline import analyse
from palpate.core.progress import Progress
from palpate.core.settings import Settings
from palpate.core.simulate import Lever, Material, Ramp, simulate_map

TIP = Settings().with_values({"tip.radius": 30.0})


def simulated(law="paraboloid", size=30.0, *, adhesion="constant", pull=3.0, noise=0.04,
              modulus=0.3, shape=(12, 12), k=2.0, force=30.0, samples=256):  # fmt: skip
    lever = Lever(k, 60.0, law, size, noise, adhesion)
    ramp = Ramp(travel=120.0, samples=samples, set_force=force)
    film = Material("film", modulus, 0.40, pull)
    return simulate_map(np.zeros(shape, dtype=int), (film,), lever=lever, ramp=ramp, relief=0.5,
                        seed=3).as_map()  # fmt: skip


def scanned(fmap, settings=TIP, **more):
    analysis = analyse(fmap, settings)
    return scan(fmap, settings, sample_of(analysis), known=analysis, **more)


@pytest.fixture(scope="module")
def hertz():
    return simulated()


@pytest.fixture(scope="module")
def found(hertz):
    return scanned(hertz)


@pytest.mark.parametrize("factor", [0.92, 1.06])
def test_a_drift_that_a_wrong_sensitivity_makes_names_it(factor):
    """Truth: the law and the contact are right, the recorded sensitivity is `factor` times the true
    one; stiff contacts (d/δ of 4 at the peak) then drift with depth."""
    film = Material("film", 1.5, 0.40, 3.0)
    made = simulate_map(np.zeros((8, 8), int), (film,), lever=Lever(2.0, 60.0, "paraboloid", 30.0),
                        ramp=Ramp(travel=120.0, samples=256), seed=3, sensitivity_factor=factor)
    found = scanned(made.as_map(), steps=8)
    assert (found.drift.change > 0.0) == (factor > 1.0)
    assert "the deflection sensitivity is" in found.drift.words
    assert "“Whole map”" in found.drift.words


# ---- a truth that holds


def test_the_right_law_holds_over_nearly_all_windows_and_no_drift_is_named(found):
    assert found.plateau.share > 0.9
    assert found.plateau.holds_present
    assert found.plateau.within <= 0.05
    assert found.drift.name == ""
    assert abs(found.drift.change) < 0.02
    best = found.modulus[found.plateau.at]
    assert best == pytest.approx(0.3, rel=0.01)  # what went in
    assert "Plateau over" in found.words
    assert "No drift" in found.words


def test_the_window_in_force_is_among_the_windows_and_shows_the_analysis_own_number(hertz, found):
    analysis = analyse(hertz, TIP)
    own = analysis.per_curve("modulus")[0][found.curves]
    i, j = found.at
    assert (found.lows[i], found.highs[j]) == (10.0, 95.0)
    # of the two middle ones the median of logarithms takes the geometric mean
    assert found.modulus[found.at] == pytest.approx(float(np.median(own)), rel=1e-5)
    assert found.change[found.at] == 0.0
    assert np.isnan(found.modulus[-1, 0])  # a lower end above the upper one: no answer


@pytest.mark.parametrize("kind", ["force", "indentation"])
def test_ends_are_given_in_the_kind_in_force(hertz, kind):
    settings = TIP.with_values({"fit.window": kind})
    found = scanned(hertz, settings, steps=6)
    assert found.unit == {"force": "nN", "indentation": "nm"}[kind]
    peak = {"force": 30.0, "indentation": 5.3}[kind]  # what went in; depth from Hertz, below
    if kind == "indentation":  # F + pull = 4/3 E* √R δ^1.5, E* = 0.3/(1 - 0.4²)
        peak = (33.0 / (4.0 / 3.0 * 0.3 / 0.84 * 30.0**0.5)) ** (2.0 / 3.0)
    assert found.highs[-1] == pytest.approx(peak, rel=0.03)
    assert found.plateau.share > 0.8
    assert found.drift.name == ""
    assert set(found.change_to(*found.plateau.at)) == {f"fit.{kind}_from", f"fit.{kind}_to"}


# ---- drifts


def test_a_contact_held_late_is_named(hertz):
    soft = simulated(modulus=0.02, pull=0.0, noise=0.3, force=10.0, k=0.5)
    found = scanned(soft, TIP.with_values({"fit.contact": "threshold"}), steps=8)
    assert found.drift.name == "contact_late"
    assert found.drift.change < -0.1
    assert abs(found.drift.left) < 0.05
    assert found.drift.shift > 0.3
    assert "late contact" in found.words


def held(fmap, truth, shift):
    """Scan of one curve whose contact is held off the true one by `shift` nm."""
    settings = TIP.with_values({"fit.contact": "given", "fit.contact_at": truth + shift,
                                "fit.fraction_from": 0.0, "fit.fraction_to": 100.0})  # fmt: skip
    return scan(fmap, settings, [0], steps=8)


def test_a_held_contact_changes_the_modulus_as_the_formula_says():
    """dE/E = (2n+1)/2 dδ0/δmax for least squares over the whole contact, n = 3/2: 2 dδ0/δmax;
    derived for samples even in δ with noise in F, so a lever much softer than the contact is left
    out, and a small shift is taken on both sides."""
    lever = Lever(20.0, 60.0, "paraboloid", 30.0, 0.0005, "none")
    ramp = Ramp(travel=120.0, samples=2048, set_force=30.0)
    made = simulate_map(np.zeros((1, 1), int), (Material("film", 0.05, 0.4, 0.0),), lever=lever,
                        ramp=ramp, relief=0.0, seed=1)  # fmt: skip
    fmap = made.as_map()
    truth, depth = float(made.truth["contact"][0, 0]), float(made.truth["indentation"][0, 0])
    shift = 0.02 * depth
    late, early = held(fmap, truth, shift), held(fmap, truth, -shift)
    slope = 0.5 * np.log(late.modulus[late.at] / early.modulus[early.at]) / 0.02
    assert slope == pytest.approx(2.0, rel=0.05)
    # one curve alone: the shift of a held contact is larger than its own ± only where it is far
    far_late, far_early = held(fmap, truth, 0.1 * depth), held(fmap, truth, -0.1 * depth)
    assert far_late.drift.name == "contact_late"
    assert far_early.drift.name == "contact_early"
    assert far_late.drift.shift == pytest.approx(0.1 * depth, rel=0.05)


def test_a_cone_fitted_as_a_paraboloid_is_a_wrong_law(hertz):
    found = scanned(simulated("cone", 35.0), steps=8)
    assert found.drift.name == "wrong_law"
    assert found.drift.change > 0.1
    assert found.drift.exponent == pytest.approx(2.0, abs=0.05)  # Sneddon's cone
    assert found.plateau is None


def test_jkr_fitted_without_adhesion_is_adhesion_ignored():
    fmap = simulated(size=200.0, adhesion="jkr", pull=20.0, modulus=0.01)
    settings = TIP.with_values({"tip.radius": 200.0, "fit.adhesion": "none"})
    found = scanned(fmap, settings, steps=8)
    assert found.drift.name == "adhesion_ignored"
    assert found.drift.change < -0.1  # a modulus too high, most where the pull counts most
    assert found.plateau is None


def layered(thickness=60.0, modulus=0.05, radius=200.0, noise=0.03, curves=40):
    """Curves on a layer (ν = 0.5) bonded to a rigid base, by the exact ratio of `models/layers.py`,
    which tests/test_layers.py holds against published series."""
    rng = np.random.default_rng(5)
    k, samples, travel, force = 2.0, 256, 120.0, 60.0
    depth = np.linspace(0.0, 40.0, 4000)
    chi = np.sqrt(radius * depth) / thickness
    load = 4.0 / 3.0 * modulus / 0.75 * np.sqrt(radius) * depth**1.5 * layer_ratio(
        chi, "paraboloid", 0.5, "bonded")
    top = float(np.interp(force, load, depth)) + force / k
    z = np.linspace(top - travel, top, samples)
    d = np.interp(z, depth + load / k, load / k, left=0.0)
    both = np.stack([d, d[::-1]])[None] + rng.normal(0.0, noise, (curves, 2, samples))
    pixel = np.stack([np.zeros(curves, int), np.arange(curves)], axis=1)
    return ForceMap.from_arrays(
        z=np.repeat(np.stack([z, z[::-1]])[None], curves, 0), deflection=both / 60.0,
        deflection_unit="V", pixel=pixel, shape=(1, curves), scan_size=(1e3, 1e3),
        sampling_rate=2e4, digitise=True, spring_constant=k, radius=radius,
        deflection_sensitivity=60.0, tip_shape="paraboloid", set_force=force,
    )  # fmt: skip


def test_a_layer_on_a_hard_base_fitted_as_a_thick_sample_is_named():
    settings = TIP.with_values({"tip.radius": 200.0, "fit.adhesion": "none"})
    found = scanned(layered(), settings, steps=8)
    assert found.drift.name == "layer_below"
    assert found.drift.change > 0.1
    assert found.drift.exponent > 1.6
    assert found.drift.exponent > found.drift.exponent_shallow
    assert found.plateau is None


# ---- the ± of a difference


def test_the_uncertainty_of_a_difference_of_two_windows_is_that_of_its_scatter(hertz, found):
    """For each curve alone, against the scatter of the same difference over 144 curves that differ
    in their noise only."""
    bench = Bench(hertz, TIP, np.arange(144), analyse(hertz, TIP), None)
    grid = grid_of(TIP, 100.0, 6)
    cells = grid.cells()
    windows = bench.fit([grid.settings(TIP, *cell) for cell in cells], Progress())
    at = cells.index(grid.at)
    scatter = np.nanstd(windows.value - windows.value[at], axis=1)
    said = []
    for curve in range(0, 144, 6):
        one = Bench(hertz, TIP, np.array([curve]), None, bench.walk)
        fits = one.fit([grid.settings(TIP, *cell) for cell in cells], Progress())
        said.append(alone(fits, grid, cells, at, False)[1])
    said = np.nanmedian(said, axis=0)
    other = np.array([k != at and np.isfinite(scatter[k]) and scatter[k] < 0.3
                      for k in range(len(cells))])  # fmt: skip
    ratio = said[other] / scatter[other]
    assert np.median(ratio) == pytest.approx(1.0, abs=0.2)
    assert ratio.min() > 0.6
    assert ratio.max() < 1.7
    apart = np.hypot(windows.error.mean(1), windows.error.mean(1)[at])
    assert np.nanmedian(said[other] / apart[other]) < 0.9  # less than the two ± apart


def test_bad_input_is_told_in_words(hertz):
    with pytest.raises(InputError, match="no trusted curve"):
        scan(hertz, TIP, [])
    with pytest.raises(InputError, match="a constant or the contact is missing"):
        scan(hertz, TIP.with_values({"fit.force_from": 500.0, "fit.force_to": 900.0,
                                     "fit.window": "force"}), [0], steps=1)  # fmt: skip
    with pytest.raises(InputError, match="two points"):
        scan(hertz, TIP.with_values({"fit.adhesion": "two_point"}), [0])
    with pytest.raises(InputError, match="free exponent"):
        scan(hertz, TIP.with_values({"fit.law": "free_exponent"}), [0])


def test_a_scan_is_stopped_on_request_and_tells_how_far_it_is(hertz):
    told = []
    progress = Progress(lambda done, total, words: told.append((done, total, words)))
    scan(hertz, TIP, [0], steps=4, progress=progress)
    assert told[0][0] == 1
    assert "Trying windows" in told[0][2]
    progress.cancel()
    with pytest.raises(Cancelled):
        scan(hertz, TIP, [0], steps=4, progress=progress)


def test_noise_without_an_answer_is_no_plateau():
    fmap = simulated(noise=0.6, shape=(3, 3), force=10.0, modulus=0.5)
    found = scan(fmap, TIP, [4], steps=6)
    assert found.plateau is None
    assert "No plateau" in found.words


def test_only_the_fit_stage_runs_again(hertz, monkeypatch):
    analysis = analyse(hertz, TIP)

    def never(*_):
        raise AssertionError("a stage ran again that the windows do not change")

    for name in ("baseline_loop", "retract_loop", "stiffness_loop"):
        monkeypatch.setattr(f"palpate.core.pipeline.loops.{name}", never)
    found = scan(hertz, TIP, [0, 1, 2], known=analysis, steps=4)
    assert np.isfinite(found.modulus[found.at])


def test_a_map_of_two_components_holds_where_each_of_its_curves_does():
    """Half the curves are ten times as stiff: the median jumps, the paired differences do not."""
    both = (Material("matrix", 0.3, 0.40, 3.0), Material("stripe", 0.03, 0.40, 3.0))
    labels = np.zeros((6, 6), int)
    labels[:, 3:] = 1
    lever, ramp = Lever(2.0, 60.0, "paraboloid", 30.0, 0.04), Ramp(travel=150.0, samples=256)
    fmap = simulate_map(labels, both, lever=lever, ramp=ramp, relief=0.5, seed=3).as_map()
    found = scanned(fmap, steps=6)
    assert found.plateau.share > 0.5
    assert found.plateau.within <= 0.05
