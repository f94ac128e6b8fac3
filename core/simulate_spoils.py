"""Maps with known faults: each kind of spoiled curve that a doubt should tell.

A good map comes from `simulate`; chosen curves are then made anew with one fault in them, from the
same material, place and noise. `EXPECTED` says which doubt each kind deserves.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from .simulate import (
    SPOILS,
    Lever,
    Material,
    Ramp,
    Simulated,
    simulate_curve,
    simulate_map,
    spoil,
)

Array = np.ndarray
Curve = tuple[Array, Array]


@dataclass(frozen=True)
class Spot:
    """The curve that is to be spoiled: what it is measured with, and its truth (nm, nN, GPa)."""

    lever: Lever
    ramp: Ramp
    modulus: float
    poisson_ratio: float
    pull_off: float
    contact: float

    @property
    def pull(self) -> float:
        """Deflection at pull-off [nm]."""
        return self.pull_off / self.lever.spring_constant

    def made(self, rng: np.random.Generator, *, clean: bool = False, **change: Any) -> Curve:
        """The curve, with other numbers in ramp or truth, and without noise if `clean`."""
        own = {k: v for k, v in change.items() if k in ("modulus", "pull_off", "contact")}
        ramp = replace(self.ramp, **{k: v for k, v in change.items() if k not in own})
        lever = replace(self.lever, noise=0.0) if clean else self.lever
        now = {"modulus": self.modulus, "pull_off": self.pull_off, "contact": self.contact} | own
        z, d, _ = simulate_curve(lever, ramp, now["modulus"], self.poisson_ratio, now["pull_off"],
                                 now["contact"], rng)  # fmt: skip
        return z, d

    def noise(self, shape: tuple[int, ...], rng: np.random.Generator) -> Array:
        return rng.normal(0.0, self.lever.noise, shape)


def _noisy(spot: Spot, z: Array, d: Array, rng: np.random.Generator) -> Curve:
    return z, d + spot.noise(d.shape, rng)


def _clipped(spot: Spot, rng: np.random.Generator) -> Curve:
    """The base runs into a limit, at the peak or far away, and stands there."""
    z, d = spot.made(rng, clean=True)
    if rng.random() < 0.5:
        limit = float(z.max()) - rng.uniform(0.6, 0.8) * (float(z.max()) - spot.contact)
        stopped = float(np.interp(limit, z[0], d[0]))
        z, d = np.minimum(z, limit), np.where(z > limit, stopped, d)
    else:
        z = np.maximum(z, float(z.min()) + rng.uniform(0.1, 0.25) * spot.ramp.travel)
    return _noisy(spot, z, d, rng)


def _missing(spot: Spot, rng: np.random.Generator) -> Curve:
    z, d = spot.made(rng)
    at = int(rng.integers(0, d.shape[1] - 8))
    d[rng.integers(0, 2), at : at + int(rng.integers(2, 7))] = np.nan
    return z, d


def _loud(spot: Spot, rng: np.random.Generator) -> Curve:
    z, d = spot.made(rng)
    return z, d + 8.0 * spot.noise(d.shape, rng)


def _filtered(spot: Spot, rng: np.random.Generator) -> Curve:
    """The same noise, but smoothed over four samples."""
    z, d = spot.made(rng, clean=True)
    white = spot.noise((2, d.shape[1] + 3), rng)
    return z, d + np.stack([np.convolve(w, np.full(4, 0.5), "valid") for w in white])


def _neck(spot: Spot, rng: np.random.Generator) -> Curve:
    """A neck: after the lowest point the pull falls slowly over tens of nanometres."""
    z, d = spot.made(rng, clean=True)
    gone = spot.contact - spot.pull - z[1]
    tail = -rng.uniform(0.5, 0.9) * spot.pull * np.exp(-gone / rng.uniform(15.0, 40.0))
    d[1] += np.where(gone > 0.0, tail, 0.0)
    return _noisy(spot, z, d, rng)


def _plastic(spot: Spot, rng: np.random.Generator) -> Curve:
    """The retract is six times as stiff and ends in a dent."""
    z, d = spot.made(rng, overshoot=0.0)
    harder, deflected = spot.made(rng, overshoot=0.0, modulus=6.0 * spot.modulus)
    moved = float(z.max()) - float(harder.max())
    return np.stack([z[0], harder[1] + moved]), np.stack([d[0], deflected[1]])


def _two_slopes(spot: Spot, rng: np.random.Generator) -> Curve:
    """A soft layer, and half-way in something rigid below it."""
    z, d = spot.made(rng, clean=True, modulus=rng.uniform(0.1, 0.4))
    middle = spot.contact + 0.5 * (float(z.max()) - spot.contact)
    there = float(np.interp(middle, z[0], d[0]))
    return _noisy(spot, z, np.where(z > middle, there + 0.99 * (z - middle), d), rng)


def _slip(spot: Spot, rng: np.random.Generator) -> Curve:
    """The tip slips sideways in contact: the deflection drops by a step."""
    z, d = spot.made(rng, clean=True)
    middle = spot.contact + rng.uniform(0.45, 0.7) * (float(z.max()) - spot.contact)
    step = np.where(z[0] > middle, rng.uniform(8.0, 16.0) * spot.lever.noise, 0.0)
    return _noisy(spot, z, np.stack([d[0] - step, d[1] - step[-1] * (d[1] > 0.0)]), rng)


def _soft_top(spot: Spot, rng: np.random.Generator) -> Curve:
    """The detector saturates softly: it bends over without repeating a value."""
    z, d = spot.made(rng, clean=True)
    end = 0.6 * float(d.max())
    return _noisy(spot, z, np.where(d > 0.0, end * np.tanh(d / end), d), rng)


def _stuck(spot: Spot, rng: np.random.Generator) -> Curve:
    """The retract ends before the tip lets go."""
    z, d = spot.made(rng, clean=True)
    back = np.linspace(float(z.max()), spot.contact - 0.6 * spot.pull, z.shape[1])
    held = np.interp(back, z[1][::-1], d[1][::-1])
    return _noisy(spot, np.stack([z[0], back]), np.stack([d[0], held]), rng)


def _sign(rng: np.random.Generator) -> float:
    return float(rng.choice([-1.0, 1.0]))


def _tilted(spot: Spot, rng: np.random.Generator) -> Curve:
    return spot.made(rng, tilt=_sign(rng) * rng.uniform(1.5, 3.0) * spot.pull / spot.ramp.travel)


def _wavy(spot: Spot, rng: np.random.Generator) -> Curve:
    return spot.made(rng, fringe=rng.uniform(6.0, 10.0) * spot.lever.noise,
                     period=rng.uniform(60.0, 120.0))  # fmt: skip


def _feeble(spot: Spot, rng: np.random.Generator) -> Curve:
    """The lever is too stiff: the deflection at the peak is a few noises."""
    peak = rng.uniform(13.0, 17.0) * spot.lever.noise * spot.lever.spring_constant
    return spot.made(rng, set_force=peak, pull_off=0.3 * peak)


SPOILERS: dict[str, Callable[[Spot, np.random.Generator], Curve]] = {
    "z_clipped": _clipped, "missing_samples": _missing, "noisy": _loud, "filtered": _filtered,
    "set_force_short": lambda s, r: s.made(r, set_force=r.uniform(0.5, 0.8) * s.ramp.set_force),
    "set_force_over": lambda s, r: s.made(r, set_force=r.uniform(1.3, 1.8) * s.ramp.set_force),
    "neck": _neck, "plastic": _plastic, "two_slopes": _two_slopes, "slip": _slip,
    "soft_top": _soft_top, "stuck": _stuck, "tilt": _tilted, "fringe_burst": _wavy,
    "drag": lambda s, r: s.made(r, drag=_sign(r) * r.uniform(0.5, 1.0) * s.pull),
    "too_stiff": _feeble, "too_soft": lambda s, r: s.made(r, modulus=20.0 + 10.0 * r.random()),
}  # fmt: skip
"""How a curve is spoiled, beside the kinds of `simulate.SPOILS`."""

KINDS = (*SPOILS, *SPOILERS)

EXPECTED: dict[str, tuple[str, ...]] = {
    "no_contact": ("no_contact",), "saturated": ("saturated",), "spikes": ("spikes",),
    "short_travel": ("no_baseline",), "second_pull": ("second_pull",),
    "z_clipped": ("z_clipped",), "missing_samples": ("missing_samples",), "noisy": ("noisy",),
    "filtered": ("noise_correlated",), "set_force_short": ("set_force_missed",),
    "set_force_over": ("set_force_exceeded",), "neck": ("neck",),
    "plastic": ("branches_differ",), "two_slopes": ("residuals_structured",),
    "slip": ("residuals_structured",), "soft_top": ("slope_falls",), "stuck": ("no_release",),
    "tilt": ("tilt",), "fringe_burst": ("baseline_wavy",), "drag": ("drag",),
    "too_stiff": ("lever_too_stiff",), "too_soft": ("lever_too_soft",),
}  # fmt: skip
"""The doubts any of which tells a kind rightly."""


def spoiled_map(
    labels: Array, materials: tuple[Material, ...], *, lever: Lever | None = None,
    ramp: Ramp | None = None, share: float = 0.01, kinds: tuple[str, ...] = KINDS, seed: int = 1,
    relief: float = 4.0, scan_size: tuple[float, float] = (1e3, 1e3),
) -> Simulated:  # fmt: skip
    """A map of which `share` of the curves is spoiled in each of the `kinds`.

    The truth names the kind of each; modulus and pull-off there are those of the good curve.

    Raises ValueError for a kind that is none, or if there are more of them than curves.
    """
    unknown = sorted(set(kinds) - set(KINDS))
    if unknown:
        raise ValueError(f"No kinds of spoiled curves: {', '.join(unknown)}.")
    good = simulate_map(labels, materials, lever=lever, ramp=ramp, relief=relief,
                        scan_size=scan_size, seed=seed)  # fmt: skip
    rng = np.random.default_rng([seed, 1])
    each = max(1, round(share * len(good.pixel)))
    if each * len(kinds) > len(good.pixel):
        raise ValueError(f"{each} curves of each of {len(kinds)} kinds are more than the map has.")
    chosen = rng.permutation(len(good.pixel))[: each * len(kinds)]
    z, d, truth = good.z.copy(), good.deflection.copy(), dict(good.truth)
    truth["spoiled"] = truth["spoiled"].copy()
    for i, kind in zip(chosen, np.repeat(kinds, each), strict=True):
        at = tuple(good.pixel[i])
        truth["spoiled"][at] = kind
        if kind not in SPOILERS:
            z[i], d[i] = spoil(str(kind), z[i], d[i], good.lever, truth["contact"][at], rng)
            continue
        here = replace(good.ramp, fringe_phase=rng.uniform(0, 2 * np.pi))
        spot = Spot(good.lever, here, truth["modulus"][at],
                    materials[labels[at]].poisson_ratio, truth["pull_off"][at],
                    truth["contact"][at])  # fmt: skip
        z[i], d[i] = SPOILERS[str(kind)](spot, rng)
    return replace(good, z=z, deflection=d, truth=truth)
