"""Makes the curves of a rehearsal: a map in memory whose truth is known."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import Any

import numpy as np

from ..errors import InputError
from ..forcemap import ForceMap
from ..mapparts import TIP_SHAPES
from ..progress import Progress
from ..simulate import Lever, Ramp, simulate_curve, stable_branch
from .scene import Group, Scene

Array = np.ndarray
LEVELS = 7
"""Pull-offs of one modulus: the middles of seven equal shares of a log-normal. A law's branch is
worked out once for each."""
APART = 0.5
"""Difference of the pull-offs [nN] that should be told apart (common practice, no source)."""
WORDS = "Rehearsing"


@dataclass(frozen=True)
class Part:
    """One modulus of a rehearsal: Young's modulus [GPa], and the group whose pull it takes."""

    modulus: float
    group: Group


@dataclass(frozen=True)
class Set:
    """What one curve is made with: lever with its own noise, ramp with its own peak, and truth."""

    lever: Lever
    ramp: Ramp
    modulus: float
    poisson_ratio: float
    pull_off: float
    contact: float


def sets(scene: Scene, part: Part, curves: int, rng: np.random.Generator) -> list[Set]:
    """What the curves of one modulus are made with; every other one pulls `APART` stronger.

    Raises InputError if the force can't be reached on so soft a sample.
    """
    felt = felt_modulus(scene, part.modulus)
    middle, spread = scene.peak(part.group)
    found = []
    for i in range(curves):
        noise = scene.noise * math.exp(scene.noise_spread * rng.normal())
        peak = max(middle + spread * rng.normal(), 0.1 * middle)
        ramp = scene.ramp(part.group, peak, rng.uniform(0.0, 2.0 * math.pi))
        pull = levelled(part.group, (i // 2) % LEVELS) + APART * (i % 2)
        found.append(Set(scene.lever(noise), ramp, felt, scene.poisson_ratio, pull,
                         rng.uniform(-1.0, 1.0)))  # fmt: skip
    _reachable(scene, part.modulus, found[0], middle)
    return found


def levelled(group: Group, level: int) -> float:
    """The pull-off of one level [nN]."""
    if not group.pull_off_spread > 0.0:
        return group.pull_off
    return group.pull_off * math.exp(
        group.pull_off_spread * NormalDist().inv_cdf((level + 0.5) / LEVELS)
    )


def felt_modulus(scene: Scene, modulus: float) -> float:
    """Young's modulus that a rigid tip would have to meet to feel the same [GPa]."""
    plane = 1.0 - scene.poisson_ratio**2
    return plane / (plane / modulus + scene.tip_compliance)


def _reachable(scene: Scene, modulus: float, one: Set, peak: float) -> None:
    reduced = one.modulus / (1.0 - one.poisson_ratio**2)
    _, d = stable_branch(replace(one.lever, noise=0.0), reduced, one.pull_off, one.ramp.travel)
    if not d[-1] > 1.2 * peak / scene.spring_constant:
        raise InputError(f"On a sample of {modulus:.3g} GPa the tip would sink deeper than the "
                         f"travel of {scene.travel:.4g} nm before {peak:.3g} nN are "
                         "reached. Begin the range at a higher modulus.")  # fmt: skip


@dataclass(frozen=True, eq=False)
class Played:
    """Curves with their truth. `z`, `d` : a pair (approach, retract) for each curve [nm]; `truth`
    name -> (n,)."""

    z: list[tuple[Array, Array]]
    d: list[tuple[Array, Array]]
    truth: dict[str, Array]

    def __add__(self, other: Played) -> Played:
        joined = {name: np.concatenate([values, other.truth[name]])
                  for name, values in self.truth.items()}  # fmt: skip
        return Played(self.z + other.z, self.d + other.d, joined)


def play(scene: Scene, part: Part, curves: int, rng: np.random.Generator,
         progress: Progress) -> Played:  # fmt: skip
    """The good curves of one modulus."""
    z, d, truths = [], [], []
    for i, one in enumerate(sets(scene, part, curves, rng)):
        if i % 16 == 0:
            progress.check()
        grid = scene.grids[rng.integers(len(scene.grids))] if scene.grids else _even(scene)
        zs, ds, truth = simulate_curve(one.lever, one.ramp, one.modulus, one.poisson_ratio,
                                       one.pull_off, one.contact, rng, grid)  # fmt: skip
        out = grid[0].size
        z.append((zs[:out], zs[out:]))
        d.append((ds[:out], ds[out:]))
        truths.append(truth | {"modulus": part.modulus})
    return Played(z, d, {key: np.array([t[key] for t in truths]) for key in truths[0]})


def _even(scene: Scene) -> tuple[Array, Array]:
    out, back = scene.samples
    return np.linspace(-scene.travel, 0.0, out), np.linspace(0.0, -scene.travel, back)


def as_map(scene: Scene, played: Played) -> ForceMap:
    """The curves as a map in memory, digitised as the scene is."""
    every_z = np.concatenate([v for pair in played.z for v in pair])
    volts = scene.per_volt
    d = [(out / volts, back / volts) for out, back in played.d]
    steps: tuple[float, float] | bool = False
    if scene.z_step > 0.0 and scene.d_step > 0.0:
        every_d = np.concatenate([v for pair in d for v in pair])
        steps = (_step(every_z, scene.z_step), _step(every_d, scene.d_step / volts))
    return ForceMap.from_arrays(
        played.z, d, deflection_unit="V" if scene.sensitivity > 0.0 else "nm",
        shape=(1, len(d)), digitise=steps, **_recorded(scene),
    )  # fmt: skip


def _step(values: Array, step: float) -> float:
    """The step of digitisation, made coarser only if 16 bits would not do."""
    return max(step, float(np.ptp(values)) / 65_000)


def _recorded(scene: Scene) -> dict[str, Any]:
    """Constants as `ForceMap.from_arrays` takes them."""
    from ..models import law_of

    named = dict(zip(law_of(scene.law).sizes, scene.sizes, strict=False))
    known = {name: named[name] for name in ("radius", "half_angle") if name in named}
    return known | {
        "spring_constant": scene.spring_constant,
        "deflection_sensitivity": scene.sensitivity if scene.sensitivity > 0.0 else None,
        "tip_shape": scene.law if scene.law in TIP_SHAPES else "",
        "set_force": scene.set_force if scene.set_force > 0.0 else None,
        "sampling_rate": scene.rate if scene.rate > 0.0 else None,
    }
