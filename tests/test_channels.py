"""Each channel has the right value, sign, unit and uncertainty.

The truth is worked out in truth_curves.py from the cited laws, with scipy and not with the program.
"""

from __future__ import annotations

import h5py
import numpy as np
import pytest
from truth_curves import NU, RADIUS, SENSITIVITY, K, Truth

from palpate.core.channels import CHANNELS, asked_for
from palpate.core.forcemap import ForceMap
from palpate.core.pipeline import analyse
from palpate.core.settings import Settings
from palpate.core.workfile import save_analysis

COUNT = 300
MODULI = (0.05, 0.5, 3.0)
# how well a median over 300 curves must agree: relative, absolute in core units. Adhesion and
# works: the tip lets go between two samples, and the lowest of several noisy samples is taken.
CLOSE = {"adhesion": (0.0, 0.25), "release_force": (0.0, 0.15),
         "work_of_adhesion": (0.03, 0.4), "dissipation": (0.05, 0.6),
         "stiffness": (0.03, 0.0), "n_points": (0.0, 3.0), "contact_point": (0.0, 0.15),
         "contact_height": (0.0, 0.15), "indentation": (0.0, 0.15), "residual": (0.03, 0.0),
         "noise": (0.02, 0.0), "baseline_slope": (0.1, 0.0), "height": (1e-9, 0.0),
         "peak_force": (0.0, 0.05), "modulus": (0.012, 0.0), "reduced_modulus": (0.012, 0.0),
         "drag": (0.0, 0.02)}  # fmt: skip
SI = {"nm": ("m", 1e-9), "nN": ("N", 1e-9), "GPa": ("Pa", 1e9), "aJ": ("J", 1e-18),
      "N/m": ("N/m", 1.0), "": ("1", 1.0)}  # fmt: skip


def as_map(truth: Truth, signal: str = "V", count: int = COUNT) -> ForceMap:
    z, d = truth.noisy(count)
    common = dict(shape=(1, count), spring_constant=K, radius=RADIUS, set_force=truth.peak_force)
    if signal == "V":
        return ForceMap.from_arrays(z, d / SENSITIVITY, deflection_unit="V",
                                    deflection_sensitivity=SENSITIVITY, **common)  # fmt: skip
    if signal == "nN":
        return ForceMap.from_arrays(z, force=d * K, **common)
    return ForceMap.from_arrays(z, d, **common)


ALWAYS = list(asked_for(Settings()))
"""Channels that need no setting to be there; of the others, the drift is tested in
test_baselines.py and those of a relaxing solid in test_viscous_fit.py."""
SETTINGS = Settings().with_value("sample.poisson_ratio", NU)


@pytest.fixture(scope="module", params=MODULI)
def case(request):
    truth = Truth(request.param)
    return truth, analyse(as_map(truth), SETTINGS), truth.values()


@pytest.mark.parametrize("name", ALWAYS)
def test_the_value_is_the_truth(case, name):
    _, result, values = case
    rel, absolute = CLOSE[name]
    found = np.median(result.channel(name))
    assert found == pytest.approx(values[name], rel=rel or 1e-12, abs=absolute or 1e-12)


# Root mean square of (value - truth)/uncertainty over 300 curves: 1 if the uncertainty is right,
# with a statistical spread of 4 %. The limits leave room for what is one-sided (sampling of the
# jump: adhesion, works) and for terms that are correlated; a wrong unit, a missing or a doubled
# term falls outside.
LIMITS = {"adhesion": (0.5, 1.6), "work_of_adhesion": (0.5, 1.7), "dissipation": (0.6, 1.4)}


@pytest.mark.parametrize("name", [n for n in ALWAYS if CHANNELS[n].variance is not None])
def test_the_uncertainty_is_the_scatter_about_the_truth(case, name):
    _, result, values = case
    score = (result.channel(name)[0] - values[name]) / result.errors(name)[0]
    low, high = LIMITS.get(name, (0.8, 1.25))
    rms = float(np.sqrt(np.mean(score**2)))
    assert low < rms < high, rms


@pytest.mark.parametrize("signal", ["nm", "nN"])
def test_every_kind_of_signal_gives_the_same_numbers(case, signal):
    truth, result, _ = case
    other = analyse(as_map(truth, signal, 20), SETTINGS)
    for name in ALWAYS:
        assert np.allclose(other.channel(name), result.channel(name)[:, :20], rtol=1e-7), name


@pytest.mark.parametrize("name", ALWAYS)
def test_the_result_file_holds_si_units(case, name, tmp_path):
    _, result, values = case
    path = save_analysis(tmp_path / "r.h5", result)
    rel, absolute = CLOSE[name]
    symbol, factor = SI[CHANNELS[name].unit]
    with h5py.File(path) as file:
        saved = file["entry/maps"][name]
        assert saved.attrs["units"] == symbol
        assert np.median(saved[()]) == pytest.approx(values[name] * factor, rel=rel or 1e-9,
                                                     abs=absolute * factor or 1e-30)  # fmt: skip
        if CHANNELS[name].variance is not None:
            errors = file["entry/maps"][f"{name}_errors"]
            assert np.allclose(errors[()], result.errors(name) * factor, rtol=1e-9)


def test_a_set_force_goes_with_the_spring_constant_that_is_used():
    """The instrument stops at a signal: F = k d, so with twice the k it was twice the force."""
    from palpate.core.calibration import constants

    fmap = as_map(Truth(0.5), count=2)
    was = constants(fmap, Settings()).set_force
    other = Settings().with_values({"calibration.spring_constant": 2.0 * K})
    assert constants(fmap, other).set_force == pytest.approx(2.0 * was)


def test_a_set_point_in_volts_is_turned_into_a_force():
    from dataclasses import replace

    from palpate.core.calibration import constants
    from palpate.core.mapparts import Constant

    fmap = as_map(Truth(0.5), count=2)
    volts = Constant(0.32, "V")
    fmap.recorded = replace(fmap.recorded, set_point=volts)
    assert constants(fmap, Settings()).set_force == pytest.approx(0.32 * SENSITIVITY * K)


def test_a_hold_with_creep_is_work_and_a_late_retract_is_not(case):
    """At 40 nN the base moves on by 4 nm during a hold: 160 aJ more are lost."""
    truth, result, values = case
    z, d = truth.noisy(30)
    plain = np.median(result.channel("dissipation"))
    moved = [[z[i, 0], z[i, 1] + 4.0] for i in range(30)]
    crept = ForceMap.from_arrays(moved, [list(pair) for pair in d], shape=(1, 30),
                                 spring_constant=K, radius=RADIUS)  # fmt: skip
    lost = analyse(crept, SETTINGS)
    assert np.median(lost.channel("dissipation")) == pytest.approx(plain + 160.0, rel=0.03)
    assert "open_loop" in lost.doubt_counts()
    late = ForceMap.from_arrays([[z[i, 0], z[i, 1, 40:]] for i in range(30)],
                                [[d[i, 0], d[i, 1, 40:]] for i in range(30)], shape=(1, 30),
                                spring_constant=K, radius=RADIUS)  # fmt: skip
    cut = analyse(late, SETTINGS)
    assert np.median(cut.channel("dissipation")) == pytest.approx(plain, abs=4.0)
    assert cut.doubt_counts().get("open_loop") == 30
