"""Baseline, pull-off, works and stiffness on curves whose truth is known."""

from __future__ import annotations

import numpy as np
import pytest

from palpate.core.columns import baseline as bl
from palpate.core.columns import retract as rt
from palpate.core.columns import stiffness as st
from palpate.core.forcemap import ForceMap
from palpate.core.pipeline import analyse
from palpate.core.settings import Settings
from palpate.core.simulate import Lever, Ramp, simulate_curve
from palpate.core.steps.baseline import MOST, baseline_of_curve, free_part, take_off
from palpate.core.steps.retract import retract_of_curve
from palpate.core.steps.stiffness import stiffness_of_curve
from palpate.core.steps.tools import MAD_TO_SIGMA, select


def ramp(samples=600, travel=250.0, top=20.0):
    return np.linspace(top - travel, top, samples)


def branch(z, d, with_slope=True, extent=1.0):
    found = np.empty(bl.BRANCH_COLUMNS)
    free_part(z, d, z.size, with_slope, extent, 5.0, np.empty(2 * MOST), found)
    return found


def contact(z, slope=0.8, pull=0.0):
    """Straight contact line from z = 0, with a jump down by `pull`."""
    return np.where(z >= -pull, slope * (z + pull) - pull, 0.0)


def test_mad_factor():
    # 1/Φ⁻¹(3/4) = 1.482602, e.g. Rousseeuw & Croux, J. Am. Stat. Assoc. 88 (1993) 1273 (memory)
    from scipy.stats import norm

    assert pytest.approx(1 / norm.ppf(0.75), rel=1e-12) == MAD_TO_SIGMA
    assert pytest.approx(1.482602, rel=1e-6) == MAD_TO_SIGMA


def test_selection_agrees_with_sorting():
    rng = np.random.default_rng(0)
    for size in (1, 2, 3, 10, 101):
        values = rng.integers(0, 20, size).astype(float)
        for rank in range(size):
            assert select(values.copy(), size, rank) == np.sort(values)[rank]


@pytest.mark.parametrize("pull", [0.0, 3.0])
@pytest.mark.parametrize("tilt", [0.0, 2e-3, -2e-3])
def test_baseline_is_found_up_to_contact(pull, tilt):
    rng, z = np.random.default_rng(1), ramp()
    found = branch(z, contact(z, pull=pull) + tilt * z + 5.0 + rng.normal(0, 0.08, z.size))
    end = z[int(found[bl.B_LAST]) - 1]
    assert -pull - 8.0 < end < -pull + 1.0
    assert found[bl.B_SLOPE] == pytest.approx(tilt, abs=4 * np.sqrt(found[bl.B_VAR_SLOPE]))
    line = found[bl.B_OFFSET] - found[bl.B_SLOPE] * found[bl.B_CENTRE]
    assert line == pytest.approx(5.0, abs=0.06)


def test_noise_is_robust_and_right():
    rng, z = np.random.default_rng(2), ramp(2000)
    told = [branch(z, contact(z) + rng.normal(0, 0.08, z.size))[bl.B_NOISE] for _ in range(40)]
    assert np.mean(told) == pytest.approx(0.08, rel=0.03)
    spiked = contact(z) + rng.normal(0, 0.08, z.size)
    spiked[rng.integers(0, 1500, 30)] += 20.0
    assert branch(z, spiked)[bl.B_NOISE] == pytest.approx(0.08, rel=0.25)


def test_variances_of_the_baseline_line_hold():
    """Against the textbook variances of a fitted line, by scatter over 300 curves."""
    rng, z = np.random.default_rng(3), ramp()
    rows = np.array([branch(z, contact(z) + rng.normal(0, 0.08, z.size)) for _ in range(300)])
    scatter = rows[:, bl.B_SLOPE].std()
    assert scatter == pytest.approx(np.sqrt(np.median(rows[:, bl.B_VAR_SLOPE])), rel=0.15)


def test_a_slow_wave_does_not_cut_the_baseline_short():
    rng, z = np.random.default_rng(4), ramp()
    wave = 0.4 * np.sin(2 * np.pi * z / 335.0)
    found = branch(z, contact(z, pull=3.0) + wave + rng.normal(0, 0.07, z.size))
    assert z[int(found[bl.B_LAST]) - 1] > -12.0


def test_extent_uses_the_part_nearest_to_contact():
    rng, z = np.random.default_rng(5), ramp()
    found = branch(z, contact(z) + rng.normal(0, 0.08, z.size), extent=0.3)
    assert found[bl.B_FIRST] == pytest.approx(0.7 * found[bl.B_LAST], abs=2)


def both(z, approach, retract, options=(1.0, 1.0, 5.0, 8.0)):
    """Run the baseline step and take the baselines off; retract given with z rising."""
    row = np.empty(bl.COLUMNS)
    da, dr = approach.copy(), retract.copy()
    baseline_of_curve(z, da, z.size, z, dr, z.size, 0, np.array(options),
                         np.empty(2 * MOST), row)  # fmt: skip
    take_off(z, da, z.size, row, bl.APPROACH)
    take_off(z, dr, z.size, row, bl.RETRACT)
    out = np.empty(rt.COLUMNS)
    retract_of_curve(z, da, z.size, z, dr, z.size, row, 0, np.empty((1, z.size)), out)
    return row, out


def test_adhesion_is_the_largest_pull_below_the_retract_baseline():
    # common practice, no source
    rng, z = np.random.default_rng(6), ramp(3000)
    noise = rng.normal(0, 0.02, (2, z.size))
    row, out = both(z, contact(z) + noise[0] + 1.0, contact(z, pull=4.0) + noise[1] + 0.6)
    assert out[rt.PULL] == pytest.approx(4.0, abs=0.15)
    assert out[rt.PULL_Z] == pytest.approx(-4.0, abs=0.2)
    assert row[bl.PEAK_D] == pytest.approx(16.0, abs=0.05)


def test_noise_alone_is_no_pull_off():
    rng, z = np.random.default_rng(7), ramp()
    seen = []
    for _ in range(200):
        noise = rng.normal(0, 0.08, (2, z.size))
        row, out = both(z, contact(z) + noise[0], contact(z) + noise[1])
        seen.append(out[rt.SEEN])
        assert out[rt.SEEN] or out[rt.PULL] < 4.5 * row[bl.RETRACT + bl.B_NOISE]
    assert np.mean(seen) < 0.02


def test_work_of_adhesion_is_the_area_of_the_pull():
    """A triangle: pull from 0 at z = a(1/m - 1) down to -a at z = -a has the area a²/(2m)."""
    z, a, m = ramp(6000), 4.0, 0.8
    rng = np.random.default_rng(8)
    _, out = both(z, contact(z) + rng.normal(0, 1e-3, z.size),
                  contact(z, m, a) + rng.normal(0, 1e-3, z.size))  # fmt: skip
    assert out[rt.WORK] == pytest.approx(a * a / (2 * m), rel=0.02)


def test_loop_area_over_z_equals_loop_area_over_indentation():
    """∮ F dz = ∮ F dδ for a closed curve and a linear lever, because ∮ k d dd = 0."""
    z, rng = ramp(6000), np.random.default_rng(9)
    go, back = contact(z), contact(z, pull=3.0)
    row, out = both(z, go + rng.normal(0, 1e-3, z.size), back + rng.normal(0, 1e-3, z.size))
    # the same loop over δ = z - d, jump along slope -1, from the clean curves
    back_d = np.append(0.0, back[z >= -3.0])
    back_delta = np.append(-3.0, z[z >= -3.0]) - back_d
    loop = np.trapezoid(go, z - go) - np.trapezoid(back_d, back_delta)
    # the branches end at one z but not at one d: the loop over δ is closed from peak to peak
    closing = 0.5 * (go[-1] + back[-1]) * (go[-1] - back[-1])
    assert out[rt.LOST] == pytest.approx(loop + closing, rel=0.03)


def test_slope_in_contact_is_found_within_its_uncertainty():
    m = 0.8
    rng, z = np.random.default_rng(10), ramp()
    d = contact(z, m) + rng.normal(0, 0.05, z.size)
    row, _ = both(z, d, d)
    slope = np.empty(st.COLUMNS)
    stiffness_of_curve(z, d, z.size, row, 0, 0.3, 0.95, np.empty((1, z.size)), slope)
    assert slope[st.SLOPE] == pytest.approx(m, abs=4 * np.sqrt(slope[st.VAR_SLOPE]))


def test_spikes_flat_tops_and_lost_samples_are_counted():
    rng, z = np.random.default_rng(11), ramp()
    noise = rng.normal(0, 0.08, (2, z.size))
    clean, _ = both(z, contact(z) + noise[0], contact(z, pull=3.0) + noise[1])
    assert clean[bl.SPIKES] == 0
    assert clean[bl.FLAT_TOP] < 1.0
    spiked = contact(z) + noise[0]
    spiked[[100, 200, 300]] += 9.0
    assert both(z, spiked, contact(z) + noise[1])[0][bl.SPIKES] == 3
    flat = np.minimum(contact(z) + noise[0], 10.0)
    assert both(z, flat, contact(z) + noise[1])[0][bl.FLAT_TOP] > 1.0
    assert both(z, contact(z) + noise[1], flat)[0][bl.FLAT_TOP] > 1.0  # the retract's counts too


@pytest.mark.parametrize("samples", [512, 1024, 4096])
@pytest.mark.parametrize(("modulus", "force", "pull"), [(0.005, 4.0, 2.0), (0.02, 8.0, 1.0),
                                                        (0.01, 10.0, 0.0)])  # fmt: skip
def test_soft_contact_at_low_force_is_not_taken_for_baseline(samples, modulus, force, pull):
    """Peaks of 25 to 60 noises that rise gently: the free part must end before contact."""
    rng = np.random.default_rng(4)
    lever, ramp_ = Lever(2.0, 60.0, "paraboloid", 20.0, 0.08), Ramp(250.0, samples, force)
    curves = [simulate_curve(lever, ramp_, modulus, 0.35, pull, 0.0, rng)[:2] for _ in range(40)]
    z, d = (np.array(part) for part in zip(*curves, strict=True))
    fmap = ForceMap.from_arrays(z, d, shape=(1, 40), spring_constant=2.0, radius=20.0)
    result = analyse(fmap, Settings().with_value("sample.poisson_ratio", 0.35))
    base = result.stage_tables["baseline"]
    ends = [fmap.samples(i).approach_z[int(base[i, bl.B_LAST]) - 1] for i in range(40)]
    assert np.median(ends) < 2.0  # a toe of 2 nm is 0.2 noises high
    assert np.median(base[:, bl.RETRACT + bl.B_NOISE]) == pytest.approx(0.08, rel=0.05)
    assert np.median(result.channel("adhesion")) == pytest.approx(pull, abs=0.4)
    assert np.median(result.channel("modulus")) == pytest.approx(modulus, rel=0.1)


@pytest.mark.parametrize("change", [
    {"fit.window": "indentation"}, {"fit.fraction_from": -50.0}, {"fit.fraction_from": -5.0},
    {"fit.window": "force", "fit.force_from": -8.0},
    {"fit.window": "indentation", "fit.branch": "retract"},
])  # fmt: skip
def test_a_window_never_reaches_before_contact(change):
    """On a sticky sample, samples from before the jump would make the modulus worthless."""
    rng = np.random.default_rng(5)
    lever, ramp_ = Lever(2.0, 60.0, "paraboloid", 20.0, 0.08), Ramp(250.0, 512, 30.0)
    curves = [simulate_curve(lever, ramp_, 1.0, 0.35, 8.0, 0.0, rng)[:2] for _ in range(60)]
    z, d = (np.array(part) for part in zip(*curves, strict=True))
    fmap = ForceMap.from_arrays(z, d, shape=(1, 60), spring_constant=2.0, radius=20.0)
    result = analyse(fmap, Settings().with_values({"sample.poisson_ratio": 0.35} | change))
    assert np.median(result.channel("modulus")) == pytest.approx(1.0, rel=0.03)
    assert np.nanmedian(result.channel("residual")) < 1.2
