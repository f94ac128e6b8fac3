"""Faults that a rehearsal plants, one in a curve, and whether the right doubt tells them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..doubts import DOUBTS, severe_mask
from ..progress import Progress
from ..simulate import simulate_curve, spoil
from ..simulate_spoils import EXPECTED, SPOILERS, Spot
from .faring import Ratio, ratio
from .making import Part, Played, Set, sets
from .scene import Scene

Array = np.ndarray


@dataclass(frozen=True)
class Told:
    """How the curves with one kind of fault fared at one modulus.

    Attributes
    ----------
    kind : of fault
    right : share that carries a doubt which this kind deserves
    severe : share that carries a severe doubt, so that its numbers are not used
    """

    kind: str
    right: Ratio
    severe: Ratio


def spoiled(kind: str, one: Set, rng: np.random.Generator) -> tuple[Array, Array]:
    """z and deflection of a curve with one kind of fault, over even steps of z [nm]."""
    if kind in SPOILERS:
        return SPOILERS[kind](Spot(one.lever, one.ramp, one.modulus, one.poisson_ratio,
                                   one.pull_off, one.contact), rng)  # fmt: skip
    z, d, _ = simulate_curve(one.lever, one.ramp, one.modulus, one.poisson_ratio, one.pull_off,
                             one.contact, rng)  # fmt: skip
    return spoil(kind, z, d, one.lever, one.contact, rng)


def plant(scene: Scene, part: Part, each: int, rng: np.random.Generator, progress: Progress
          ) -> tuple[Played, Array]:  # fmt: skip
    """Curves of one modulus with `each` of every kind, over even steps of z; and their kinds.

    A kind that leaves samples without a number is left out where the map holds whole numbers.
    """
    whole = scene.z_step > 0.0
    z, d, names = [], [], []
    for kind in EXPECTED:
        progress.check()
        for one in sets(scene, part, each, rng):
            zs, ds = spoiled(kind, one, rng)
            if whole and not (np.isfinite(ds).all() and np.isfinite(zs).all()):
                break
            z.append((zs[0], zs[1]))
            d.append((ds[0], ds[1]))
            names.append(kind)
    return Played(z, d, {"modulus": np.full(len(names), part.modulus)}), np.array(names)


def told(bits: Array, names: Array) -> tuple[Told, ...]:
    """How the doubts (n,) of curves with these faults (n,) tell them, kind by kind."""
    severe = (bits & np.uint64(severe_mask())) != 0
    found = []
    for kind, deserved in EXPECTED.items():
        here = names == kind
        if not here.any():
            continue
        mask = np.uint64(sum(DOUBTS[name].mask for name in deserved))
        right = int(np.count_nonzero((bits[here] & mask) != 0))
        count = int(np.count_nonzero(here))
        found.append(Told(kind, ratio(right, count),
                          ratio(int(np.count_nonzero(severe[here])), count)))  # fmt: skip
    return tuple(found)
