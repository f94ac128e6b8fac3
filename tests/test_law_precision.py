"""Every law, fitted to simulated curves: unbiased, as precise as the noise allows, honest about it.

The curves have white noise, a tilt, drift in time, and the lever's own jumps (it jumps on, and
lets go where no equilibrium is left). They come from `simulate`, which reads the equilibrium off a
table of each law's plain formula and shares no solver with the fit. The bound is Cramér-Rao (Kay,
Fundamentals of Statistical Signal Processing (1993), chapter 3, from memory), from finite
differences of that table over the samples of window and baseline.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest
from test_layers import independent_ratio

from palpate.core.columns import baseline as bl
from palpate.core.columns import fit as ft
from palpate.core.columns import retract as rt
from palpate.core.forcemap import ForceMap
from palpate.core.pipeline import analyse, backwards
from palpate.core.settings import Settings
from palpate.core.simulate import BRANCHES, Lever, Ramp, simulate_curve, stable_branch

NU, COUNT = 0.35, 2000
STIFF = Ramp(travel=200.0, samples=512, set_force=30.0, tilt=3e-4, drift=0.3)
SOFT = Ramp(travel=1500.0, samples=768, set_force=200.0, tilt=3e-4, drift=1.0)


@dataclass(frozen=True)
class Case:
    """One law on one sample: how it is measured, and how it is fitted."""

    lever: Lever
    ramp: Ramp
    modulus: float
    pull: float
    settings: dict
    pull_is_fitted: bool = False

    @property
    def constant_pull(self) -> bool:
        return self.lever.adhesion not in ("jkr", "maugis")


@cache
def layer_ratio():
    """ln F/F_halfspace of a paraboloid on a bonded layer against χ = √(Rδ)/h, solved for without
    the program (`independent_ratio` in the tests of the layers)."""
    from scipy.interpolate import CubicSpline

    contacts = np.linspace(0.05, 1.2, 24)
    chi, ratio = np.transpose([independent_ratio("paraboloid", a, NU, "bonded") for a in contacts])
    return CubicSpline(np.append(0.0, chi), np.append(0.0, np.log(ratio)))


def layer_branch(lever: Lever, reduced: float, pull: float, top: float):
    """As `simulate.shape_branch`, for a paraboloid on a layer bonded to a rigid base."""
    ln_ratio = layer_ratio()
    deepest = (0.98 * ln_ratio.x[-1] * THICKNESS) ** 2 / lever.tip_size
    depth = np.linspace(0.0, 1.0, 6000) ** 2 * deepest
    half_space = 4.0 / 3.0 * reduced * np.sqrt(lever.tip_size) * depth**1.5
    force = half_space * np.exp(ln_ratio(np.sqrt(depth * lever.tip_size) / THICKNESS)) - pull
    return depth + force / lever.spring_constant, force / lever.spring_constant


THICKNESS = 20.0  # nm
SHARP = Lever(2.0, tip_size=20.0, noise=0.08)
BALL = Lever(0.5, tip_size=500.0, noise=0.3, adhesion="jkr")
RETRACT = {"fit.pull_off": "fitted", "fit.branch": "retract"}
CASES = {
    "paraboloid": Case(replace(SHARP, adhesion="none"), STIFF, 0.5, 0.0, {"fit.adhesion": "none"}),
    "constant pull": Case(SHARP, STIFF, 1.0, 6.0, {}),
    "constant pull, fitted": Case(SHARP, STIFF, 0.5, 6.0,
                                  RETRACT | {"fit.fraction_from": -15.0}, True),
    "sphere": Case(replace(SHARP, law="sphere"), replace(STIFF, set_force=60.0), 0.3, 6.0,
                   {"fit.law": "sphere"}),
    "blunted cone": Case(replace(SHARP, law="blunted_cone", tip_size=10.0, more_sizes=(60.0, 0.0)),
                         replace(STIFF, set_force=60.0), 0.3, 6.0,
                         {"fit.law": "blunted_cone", "tip.half_angle": 60.0}),
    "hyperboloid": Case(replace(SHARP, law="hyperboloid", tip_size=15.0, more_sizes=(25.0,)),
                        replace(STIFF, set_force=60.0), 0.3, 6.0,
                        {"fit.law": "hyperboloid", "tip.half_angle": 25.0}),
    "cone": Case(replace(SHARP, law="cone", tip_size=25.0, adhesion="none"), STIFF, 0.5, 0.0,
                 {"fit.law": "cone", "tip.half_angle": 25.0, "fit.adhesion": "none"}),
    "pyramid": Case(replace(SHARP, law="pyramid", tip_size=25.0, adhesion="none"), STIFF, 0.5, 0.0,
                    {"fit.law": "pyramid", "tip.half_angle": 25.0, "fit.adhesion": "none"}),
    "solved pyramid": Case(replace(SHARP, law="pyramid_solved", tip_size=25.0, adhesion="none"),
                           STIFF, 0.5, 0.0, {"fit.law": "pyramid_solved", "fit.adhesion": "none",
                                             "tip.half_angle": 25.0}),
    "punch": Case(replace(SHARP, law="punch", tip_size=10.0, adhesion="none"), STIFF, 0.3, 0.0,
                  {"fit.law": "punch", "fit.adhesion": "none"}),
    "layer": Case(replace(SHARP, adhesion="layer"), replace(STIFF, set_force=60.0), 0.3, 6.0,
                  {"layer.base": "bonded", "layer.thickness": THICKNESS}),
    "JKR": Case(BALL, SOFT, 0.01, 117.0, {"fit.adhesion": "jkr"}),
    "JKR, retract, pull fitted": Case(BALL, SOFT, 0.01, 117.0, RETRACT | {
        "fit.adhesion": "jkr", "fit.fraction_from": -50.0}, True),
    "JKR, two points": Case(BALL, SOFT, 0.01, 117.0, {"fit.adhesion": "two_point"}, True),
    "Maugis-Dugdale": Case(replace(SHARP, adhesion="maugis"), STIFF, 0.5, 6.0,
                           {"fit.adhesion": "maugis"}),
    "Maugis-Dugdale, retract, pull fitted": Case(
        replace(SHARP, adhesion="maugis"), STIFF, 0.3, 6.0,
        RETRACT | {"fit.adhesion": "maugis", "fit.fraction_from": -15.0}, True),
}  # fmt: skip


def series(case: Case) -> ForceMap:
    rng = np.random.default_rng(12)
    z, d = [], []
    for _ in range(COUNT):  # the pixels' heights differ, so jumps fall anywhere between samples
        one = simulate_curve(case.lever, case.ramp, case.modulus, NU, case.pull,
                             rng.uniform(-0.5, 0.5), rng)
        shift = rng.uniform(0, 1) * case.ramp.travel / case.ramp.samples
        z.append(one[0] + shift)
        d.append(one[1])
    lever = case.lever
    known = {} if lever.law in ("cone", "pyramid", "pyramid_solved") else {"radius": lever.tip_size}
    return ForceMap.from_arrays(np.array(z), np.array(d), shape=(1, COUNT),
                                spring_constant=lever.spring_constant, **known)


def model(case: Case, z, ln_c: float, z0: float, ln_pull: float):
    reduced = case.modulus / (1 - NU**2) * np.exp(ln_c)
    u, d = stable_branch(case.lever, reduced, case.pull * np.exp(ln_pull), case.ramp.travel)
    return np.interp(z - z0, u, d)


def pull_error(case: Case, z, free, at: float) -> float:
    """Standard error of the pull-off that the law takes [nm], from the noise that was put in.

    The estimators are the documented ones. With a constant pull: a straight line through five
    samples on the contact side (fifteen where the curve rises by less than a third of the noise
    from one to the next), read half a step before the first, good to half a step. Else: the lowest
    sample, as far from the clean curve's lowest point as samples anywhere on it are. Both less the
    line through the free samples. (Variance of a fitted line: any text on regression; of a place
    anywhere within a step: step²/12.)
    """
    u, d = stable_branch(case.lever, case.modulus / (1 - NU**2), case.pull, case.ramp.travel)
    step = float(np.diff(z).mean())
    line = 1.0 / free.size + (at - free.mean()) ** 2 / ((free - free.mean()) ** 2).sum()
    if case.constant_pull:
        rise = np.interp(u[0] + step * np.arange(5), u, d) - d[0]
        m = 5 if rise[4] / 4.0 > case.lever.noise / 3.0 else 15
        own, missed = 1.0 / m + (0.5 * m) ** 2 / (m * (m * m - 1.0) / 12.0), rise[1] ** 2 / 12.0
    else:
        places = u[0] + step * (np.arange(100)[:, None] + np.linspace(0.0, 1.0, 101)[:-1])
        own, missed = 1.0, np.mean((np.interp(places, u, d).min(axis=0) - d.min()) ** 2)
    return float(np.sqrt(case.lever.noise**2 * (own + line) + missed))


def bound(case: Case, free, inside, pull_error: float) -> float:
    """Smallest standard deviation of ln E: window and baseline samples, offset and slope unknown,
    the pull-off either fitted or known with its own error (a measurement beside the others)."""
    h = 2e-3
    rows = np.concatenate([free, inside])

    def column(**by):
        zero = dict(ln_c=0.0, z0=0.0, ln_pull=0.0)
        up = model(case, inside, **(zero | by))
        down = model(case, inside, **(zero | {k: -v for k, v in by.items()}))
        return np.concatenate([np.zeros(free.size), (up - down) / (2 * h)])

    columns = [column(ln_c=h), column(z0=h), np.ones(rows.size), rows - rows.mean()]
    if case.pull > 0:
        columns.append(column(ln_pull=h))
    jacobian = np.stack(columns, axis=1)
    information = jacobian.T @ jacobian / case.lever.noise**2
    if case.pull > 0 and not case.pull_is_fitted:
        information[4, 4] += (case.pull / case.lever.spring_constant / pull_error) ** 2
    return float(np.sqrt(np.linalg.inv(information)[0, 0]))


@pytest.mark.parametrize("name", CASES)
def test_law_is_unbiased_precise_and_honest(name, monkeypatch):
    monkeypatch.setitem(BRANCHES, "layer", layer_branch)
    case = CASES[name]
    fmap = series(case)
    result = analyse(fmap, Settings().with_values(case.settings | {"sample.poisson_ratio": NU}))
    ln_e = np.log(result.channel("modulus")[0] / case.modulus)
    fitted = np.isfinite(ln_e)
    told = (result.errors("modulus") / result.channel("modulus"))[0]
    fit, base = result.stage_tables["fit"], result.stage_tables["baseline"]
    back = backwards(result.settings)
    at = bl.RETRACT if back else bl.APPROACH
    limits, errors, retract = [], [], result.stage_tables["retract"]
    for i in np.flatnonzero(fitted)[:: max(1, COUNT // 12)]:
        s = fmap.samples(int(i))
        z = s.retract_z[::-1] if back else s.approach_z
        first, last = int(base[i, at + bl.B_FIRST]), int(base[i, at + bl.B_LAST])
        inside = (z >= fit[i, ft.FIRST_Z]) & (z <= fit[i, ft.LAST_Z])
        z0 = fit[i, ft.Z0]
        error = math.nan
        if case.pull > 0:
            rising, ends = s.retract_z[::-1], [bl.RETRACT + bl.B_FIRST, bl.RETRACT + bl.B_LAST]
            free = rising[slice(*base[i, ends].astype(int))]
            error = pull_error(case, rising, free, retract[i, rt.PULL_Z])
            errors.append(error)
        limits.append(bound(case, z[first:last] - z0, z[inside] - z0, error))
    limit, median = float(np.median(limits)), float(np.median(ln_e[fitted]))
    ends = np.percentile(ln_e[fitted], [15.865, 84.135])
    scatter = float(ln_e[fitted].std())
    held = float(np.mean(np.abs(ln_e[fitted]) < 1.96 * told[fitted]))
    print(f"\n{name}: bias {100 * median:+.2f} %, scatter {100 * scatter:.2f} % "
          f"(middle {50 * (ends[1] - ends[0]):.2f} %) over the bound {100 * limit:.2f} %: "
          f"{scatter / limit:.3f}; 95 % intervals hold {100 * held:.1f} % "
          f"of {fitted.sum()}")  # fmt: skip
    if errors:
        off = retract[:, rt.PULL_LET_GO if case.constant_pull else rt.PULL] - (
            case.pull / case.lever.spring_constant)  # fmt: skip
        off_by, should = float(np.sqrt(np.mean(off**2))), float(np.median(errors))
        print(f"pull-off: {off_by:.3f} nm off, {should:.3f} nm by the noise that was put in")
        assert off_by < 1.4 * should  # the curve bends away from the estimator's straight line
    assert fitted.mean() > 0.99
    assert abs(median) < 0.01
    assert scatter < 1.15 * limit
    assert 0.93 <= held <= 0.97
