"""Every ± that is told knows the slow noise, not only that of the modulus.

A random walk (Wiener process) runs through approach and retract in the order of time, as a
wandering zero does. Truth is what the curves were made with, or for works and stiffness what the
same curve gives without noise. 95 % intervals must hold it, and would not without the slow part.
"""

from __future__ import annotations

import numpy as np
import pytest

from palpate.core.channels import CHANNELS, Tables
from palpate.core.columns import baseline as bl
from palpate.core.columns import retract as rt
from palpate.core.forcemap import ForceMap
from palpate.core.models.viscoelastic import PowerLawSolid, StandardSolid
from palpate.core.pipeline import analyse
from palpate.core.settings import Settings
from palpate.core.simulate import Lever, Ramp, simulate_curve
from palpate.core.simulate_relaxing import relaxing_curve
from palpate.core.steps.slow import walk_variance

K, NU, COUNT = 2.0, 0.35, 800
RAMP = Ramp(travel=200.0, samples=512, set_force=30.0, rate=5000.0)
PULL, MODULUS = 6.0, 0.3
PLAIN = Settings().with_value("sample.poisson_ratio", NU)


def walk(q: float, rng) -> np.ndarray:
    step = RAMP.travel / (RAMP.samples - 1)
    return np.cumsum(rng.normal(0, np.sqrt(q * step), 2 * RAMP.samples)).reshape(2, -1)


def elastic(q: float, noise: float = 0.08, count: int = COUNT, pull: float = PULL) -> ForceMap:
    rng, z, d = np.random.default_rng(5), [], []
    lever = Lever(K, tip_size=20.0, noise=noise)
    for shift in np.random.default_rng(9).uniform(0, RAMP.travel / (RAMP.samples - 1), count):
        one = simulate_curve(lever, RAMP, MODULUS, NU, pull, 0.0, rng)
        z.append(one[0] + shift)
        d.append(one[1] + walk(q, rng))
    return ForceMap.from_arrays(np.array(z), np.array(d), shape=(1, count), spring_constant=K,
                                radius=20.0, sampling_rate=RAMP.rate)  # fmt: skip


def relaxing(solid, q: float, noise: float = 0.08, count: int = COUNT, pull: float = PULL
             ) -> ForceMap:  # fmt: skip
    one = relaxing_curve(Lever(K, tip_size=20.0), RAMP, solid, NU, pull, 0.0)
    rng, z, d = np.random.default_rng(6), [], []
    for _ in range(count):
        z.append([one.approach_z, one.retract_z])
        both = np.stack([one.approach_d, one.retract_d]) + rng.normal(0, noise, (2, RAMP.samples))
        d.append(both + walk(q, rng))
    return ForceMap.from_arrays(np.array(z), np.array(d), shape=(1, count), spring_constant=K,
                                radius=20.0, sampling_rate=RAMP.rate)  # fmt: skip


def held(result, name: str, truth: float) -> tuple[float, float]:
    """Shares of the intervals that hold the truth: as told, and without the slow part."""
    channel, t = CHANNELS[name], result.tables
    values, told = result.channel(name).ravel(), result.errors(name).ravel()
    white = np.sqrt(channel.variance(Tables(**(vars(t) | {"walk": 0.0})))).ravel()
    good = np.isfinite(values) & np.isfinite(told)
    assert good.mean() > 0.95
    miss = np.abs(values - truth)[good]
    return float(np.mean(miss < 1.96 * told[good])), float(np.mean(miss < 1.96 * white[good]))


ELASTIC = {
    "stiffness": ({}, None),
    "drag": ({}, 0.0),
    "baseline_slope": ({}, 0.0),
    "dissipation": ({}, None),
    "work_of_adhesion": ({}, None),
    "fitted_pull_off": ({"fit.pull_off": "fitted", "fit.branch": "retract",
                         "fit.fraction_from": -15.0}, PULL),
    "exponent": ({"fit.law": "free_exponent"}, 1.5),
    "drift": ({"baseline.branches": "drift"}, 0.0),
}  # fmt: skip


@pytest.mark.parametrize("name", ELASTIC)
def test_intervals_of_elastic_curves_hold_under_slow_noise(name):
    change, truth = ELASTIC[name]
    settings = PLAIN.with_values(change)
    if truth is None:
        truth = float(np.median(analyse(elastic(0.0, 1e-3, 40), settings).channel(name)))
    told, white = held(analyse(elastic(3e-4), settings), name, truth)
    assert 0.90 <= told <= 0.995, (told, white)
    assert white < told - 0.03, (told, white)


@pytest.mark.parametrize("q", [3e-4, 1e-3])
def test_a_wandering_zero_is_not_taken_for_adhesion(q):
    """Curves without any pull: none far from contact may be found, and no ± may be missing."""
    result = analyse(elastic(q, pull=0.0), PLAIN)
    table, base = result.stage_tables["retract"], result.stage_tables["baseline"]
    assert (table[:, rt.SEEN] == 1.0).mean() < 0.01
    touch = base[:, bl.PEAK_Z] - 40.0  # contact is some 20 nm below the peak
    assert (table[:, rt.PULL_Z] > touch).all()
    assert (table[:, [rt.SLOW_PULL, rt.SLOW_WORK, rt.SLOW_LOST]] >= 0.0).all()
    for name in ("work_of_adhesion", "dissipation"):
        value, error = result.per_curve(name)
        assert np.isfinite(error).all()
        assert np.mean(np.abs(value) < 1.96 * error) > 0.9, name


def test_the_weights_of_a_window_inside_the_free_part_are_those_of_a_walk():
    """∫ G² dz against wᵀ min(z, z') w, where window and free part overlap."""
    rng = np.random.default_rng(3)
    z = np.linspace(0.0, 100.0, 401)
    row = np.zeros(bl.COLUMNS)
    first, last, centre = 40, 240, z[140]
    row[[bl.B_FIRST, bl.B_LAST, bl.B_CENTRE, bl.B_NOISE]] = first, last, centre, 0.1
    row[bl.B_VAR_SLOPE] = 1.0
    x = z[first:last] - centre
    a = np.stack([np.ones(x.size), x])
    line = np.linalg.inv(a @ a.T) @ a
    for begin, end in ((200, 300), (10, 100), (100, 150)):
        g = np.zeros((1, z.size))
        g[0, begin:end] = rng.normal(size=end - begin) + 0.3
        weights = g[0].copy()
        weights[first:last] -= line.T @ [g[0].sum(), (g[0] * (z - centre)).sum()]
        exact = weights @ np.minimum.outer(z, z) @ weights
        found = walk_variance(z, g, 0, begin, end, row, 0, 0.0, 0.0)
        assert found == pytest.approx(exact, rel=1e-6)


POWER, STANDARD = PowerLawSolid(0.05, 0.2), StandardSolid(0.03, 0.1, 0.004)
WORKS = ("loss_fraction", "viscous_work", "adhesion_loss")
RELAXING = [
    *((POWER, "power_law", name) for name in ("relaxation_modulus", "relaxation_exponent", *WORKS)),
    *((STANDARD, "standard_solid", name) for name in ("relaxation_modulus", "modulus_instant",
                                                      "modulus_relaxed", "relaxation_time")),
]  # fmt: skip


@pytest.fixture(scope="module")
def analysed():
    """Analyses of relaxing solids, with and without noise, made once."""
    found = {}

    def get(solid, model: str, quiet: bool):
        if (model, quiet) not in found:
            q, noise, count = (0.0, 1e-3, 40) if quiet else (1e-3, 0.08, 400)
            found[model, quiet] = analyse(relaxing(solid, q, noise, count),
                                          PLAIN.with_value("viscous.model", model))  # fmt: skip
        return found[model, quiet]

    return get


@pytest.mark.parametrize(("solid", "model", "name"), RELAXING, ids=lambda x: str(x)[:20])
def test_intervals_of_relaxing_solids_hold_under_slow_noise(solid, model, name, analysed):
    truth = float(np.nanmedian(analysed(solid, model, True).channel(name)))
    told, white = held(analysed(solid, model, False), name, truth)
    assert 0.90 <= told <= 0.995, (told, white)
    assert white < told - 0.05, (told, white)
