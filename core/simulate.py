"""Curves and maps whose truth is known; makes ``sample_maps/`` and feeds the tests.

A lever of stiffness k meets a surface quasi-statically. In contact k d = F(δ), with δ + d = z - z₀;
the tip jumps on within the range of the attraction and lets go where no equilibrium is left. The
equilibrium is read off a finely tabulated branch of the law, taken from its plain formula by the
contact radius, not off the solver that the fit uses, so that one can test the other. Noise, tilt,
optical fringes, drag, drift and spoiled curves are laid on top, and everything is digitised like a
real signal.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from .forcemap import ForceMap
from .models import law_of
from .writers.atomic import saving

Array = np.ndarray

SPOILS = ("no_contact", "saturated", "spikes", "short_travel", "second_pull")
"""How a curve can be spoiled; the truth names it."""


@dataclass(frozen=True)
class Lever:
    """Lever, tip and detector. Units: N/m, nm/V, nm (radius) or degrees (half-angle), nm.

    `adhesion` is that of the settings (constant, jkr, maugis with its `distance` at rest);
    `more_sizes` are what a law takes beside `tip_size`.
    """

    spring_constant: float = 2.0
    sensitivity: float = 60.0
    law: str = "paraboloid"
    tip_size: float = 20.0
    noise: float = 0.08
    adhesion: str = "constant"
    distance: float = 0.2
    more_sizes: tuple[float, ...] = ()

    @property
    def sizes(self) -> tuple[float, ...]:
        """All sizes that the law takes."""
        return (self.tip_size, *self.more_sizes)[: len(law_of(self.law).sizes)]


@dataclass(frozen=True)
class Ramp:
    """How a curve is taken. Lengths in nm, force in nN, rate in Hz, angles in radian.

    Attributes
    ----------
    travel, samples : of each branch; the peak is `set_force`, exceeded at random by `overshoot`
    tilt : slope of the baseline, from curve to curve with the deviation `tilt_spread`; `fringe`
        and `period` of a wave in it; `fringe_phase`
    drag : offset of approach minus retract; drift : nm of deflection over the whole curve
    jump : distance from contact at which the tip jumps on, as a share of the pull-off deflection
    walk : slow noise, a random walk along the way of the base [nm² per nm of travel]
    """

    travel: float = 250.0
    samples: int = 512
    set_force: float = 30.0
    overshoot: float = 0.0
    tilt: float = 0.0
    fringe: float = 0.0
    period: float = 320.0
    fringe_phase: float = 0.0
    drag: float = 0.0
    drift: float = 0.0
    jump: float = 0.4
    rate: float = 20000.0
    tilt_spread: float = 0.0
    walk: float = 0.0


@dataclass(frozen=True)
class Material:
    """One component: Young modulus [GPa], Poisson ratio, pull-off [nN], and relative spreads."""

    name: str
    modulus: float
    poisson_ratio: float
    pull_off: float
    modulus_spread: float = 0.0
    pull_off_spread: float = 0.0


@dataclass(frozen=True)
class TipChange:
    """From this line (row) on the tip has another size, and pulls as many times stronger.

    A radius times `factor` makes the apparent E* √factor times as large. `within` is the share of
    the line that was taken before; `pull` is by how much more the pull-off grows (something that
    sticks to the tip), beside the factor.
    """

    line: int
    factor: float
    within: float = 0.0
    pull: float = 1.0

    def taken(self, place: int, across: int) -> bool:
        """Whether the curve at a place of the scan was taken after the change."""
        return place >= (self.line + self.within) * across


@dataclass(frozen=True, eq=False)
class Simulated:
    """A simulated map with its truth, in core units.

    `z` and `deflection` are (P, 2, samples): approach and retract in time order, nm. `truth` holds
    (rows, cols) arrays modulus, reduced_modulus, pull_off, contact, peak_force, indentation and
    label, and `spoiled`, text, empty where the curve is good. The recorded deflection sensitivity
    is `sensitivity_factor` times the true one.
    """

    z: Array
    deflection: Array
    pixel: Array
    shape: tuple[int, int]
    lever: Lever
    ramp: Ramp
    materials: tuple[Material, ...]
    truth: dict[str, Array] = field(repr=False)
    scan_size: tuple[float, float] = (1000.0, 1000.0)
    sensitivity_factor: float = 1.0

    def arrays(self, *, calibrated: bool = True) -> dict[str, Any]:
        """Keyword arguments for `write_map` and `ForceMap.from_arrays`; volts, 16 bits."""
        lever = self.lever
        size = "radius" if law_of(lever.law).sizes[:1] == ("radius",) else "half_angle"
        known: dict[str, Any] = {}
        if calibrated:
            known = {"spring_constant": lever.spring_constant, size: lever.tip_size,
                     "deflection_sensitivity": lever.sensitivity * self.sensitivity_factor,
                     "tip_shape": lever.law,
                     "set_force": self.ramp.set_force * self.sensitivity_factor}  # fmt: skip
        return known | {
            "z": self.z, "deflection": self.deflection / lever.sensitivity,
            "deflection_unit": "V", "pixel": self.pixel, "shape": self.shape,
            "scan_size": self.scan_size, "sampling_rate": self.ramp.rate,
            "digitise": bool(np.isfinite(self.deflection).all()),
        }  # fmt: skip

    def as_map(self) -> ForceMap:
        """The map in memory, as if it had been opened from a file."""
        return ForceMap.from_arrays(**self.arrays())


POINTS = 6000


def shape_branch(lever: Lever, reduced: float, pull: float, top: float) -> tuple[Array, Array]:
    """u and d of a law with a constant pull, from first contact to beyond `top` [nm]."""
    law, k = law_of(lever.law), lever.spring_constant
    even = np.linspace(0.0, 1.0, POINTS) ** 2
    if law.profile is None:
        depth = even * top
        force = reduced * law.factor(*lever.sizes) * depth**law.exponent
    else:
        most = min(law.widest(*lever.sizes) * (1.0 - 1e-9), 1e3 * lever.tip_size)
        a = np.linspace(1e-4, 1.0, 40 * POINTS) * most
        depth, area = law.profile(a, *lever.sizes)
        depth, area = depth[depth <= 1.5 * top], area[depth <= 1.5 * top]
        depth, force = np.append(0.0, depth), np.append(0.0, reduced * area)
    return depth + (force - pull) / k, (force - pull) / k


def jkr_branch(lever: Lever, reduced: float, pull: float, top: float) -> tuple[Array, Array]:
    """u and d of JKR by the contact radius a, from the rim of stability to beyond `top` [nm]."""
    radius, k, stiff = lever.tip_size, lever.spring_constant, 4.0 / 3.0 * reduced
    work = pull / (1.5 * np.pi * radius)
    a = (1.5 * np.pi * work * radius**2 / stiff) ** (1.0 / 3.0) * np.geomspace(0.4807, 1.0, POINTS)
    most = np.sqrt(radius * top) * 1.2 + a[-1] * 3.0
    a = np.append(a[:-1], np.linspace(a[-1], most, 4 * POINTS))
    d = (stiff * a**3 / radius - np.sqrt(6.0 * np.pi * work * stiff * a**3)) / k
    return a**2 / radius - 2.0 / 3.0 * np.sqrt(6.0 * np.pi * work * a / stiff) + d, d


def maugis_branch(lever: Lever, reduced: float, pull: float, top: float) -> tuple[Array, Array]:
    """u and d of Maugis-Dugdale by m, whose pull-off is `pull`, by root finding on w."""
    from scipy.optimize import brentq

    radius, k, stiff = lever.tip_size, lever.spring_constant, 4.0 / 3.0 * reduced
    m = 1.0 + np.geomspace(1e-9, 1e3, 4 * POINTS)[::-1]

    def both(work: float) -> tuple[Array, Array]:
        lam = (2.0 * 16.0 / (9.0 * np.sqrt(3.0)) * work / lever.distance
               * (radius / (np.pi * work * stiff**2)) ** (1.0 / 3.0))  # fmt: skip
        root, angle = np.sqrt(m * m - 1.0), np.arccos(1.0 / m)
        one, two = root + (m * m - 2.0) * angle, root * angle - m + 1.0
        big = 4.0 / 3.0 * lam**2 * two
        a = 2.0 / (big + np.sqrt(big**2 + 2.0 * lam * one))
        force = a**3 - lam * a**2 * (root + m * m * angle)
        depth = a**2 - 4.0 / 3.0 * lam * a * root
        return (force * np.pi * work * radius,
                depth * (np.pi**2 * work**2 * radius / stiff**2) ** (1.0 / 3.0))  # fmt: skip

    guess = pull / (1.7 * np.pi * radius)
    work = brentq(lambda w: both(w)[0].min() + pull, 0.5 * guess, 2.0 * guess, xtol=1e-14)
    force, depth = both(work)
    return depth + force / k, force / k


BRANCHES = {"constant": shape_branch, "none": shape_branch, "jkr": jkr_branch,
            "maugis": maugis_branch}  # fmt: skip


@lru_cache(maxsize=32)
def stable_branch(lever: Lever, reduced: float, pull: float, top: float) -> tuple[Array, Array]:
    """u = δ + d rising, and d, along the branch that a lever can hold [nm]; read-only."""
    u, d = BRANCHES[lever.adhesion](lever, reduced, pull, top)
    rim = u.size - 1 - int(np.argmin(u[::-1]))  # where the lever lets go
    u, d = u[rim:], d[rim:]
    u.flags.writeable = d.flags.writeable = False
    return u, d


def simulate_curve(
    lever: Lever, ramp: Ramp, modulus: float, poisson_ratio: float, pull_off: float,
    contact: float, rng: np.random.Generator, grid: tuple[Array, Array] | None = None,
) -> tuple[Array, Array, dict[str, float]]:  # fmt: skip
    """One curve: z and deflection, (2, samples) each in time order [nm], and its truth.

    `grid` holds z of approach and retract less that of the peak [nm], in place of even steps over
    the ramp's travel; z and deflection are then flat, the approach first.
    """
    k, reduced = lever.spring_constant, modulus / (1.0 - poisson_ratio**2)
    peak = ramp.set_force * (1.0 + ramp.overshoot * rng.random())
    u, d = stable_branch(replace(lever, noise=0.0), reduced, pull_off, ramp.travel)
    z_peak = contact + float(np.interp(peak / k, d[np.argmin(d) :], u[np.argmin(d) :]))
    indentation = z_peak - contact - peak / k
    if grid is None:
        out = np.linspace(z_peak - ramp.travel, z_peak, ramp.samples)
        back = out[::-1]
    else:
        out, back = z_peak + grid[0], z_peak + grid[1]
    snap = -ramp.jump * pull_off / k if lever.adhesion == "constant" else 0.0
    z = np.concatenate([out, back])
    free = np.concatenate([out < contact + snap, back - contact < u[0]])
    bent = np.where(free, 0.0, np.interp(z - contact, u, d))
    lay_on(bent, ramp, z, out.size, rng)
    bent += rng.normal(0.0, lever.noise, z.size)
    truth = {"modulus": modulus, "reduced_modulus": reduced, "pull_off": pull_off,
             "contact": contact, "peak_force": peak, "indentation": indentation}  # fmt: skip
    return (z.reshape(2, -1), bent.reshape(2, -1), truth) if grid is None else (z, bent, truth)


def lay_on(d: Array, ramp: Ramp, z: Array, approach: int, rng: np.random.Generator) -> None:
    """Add to d what a deflection holds beside contact and white noise [nm]; the first `approach`
    samples are the way out."""
    tilt = ramp.tilt + (ramp.tilt_spread * rng.normal() if ramp.tilt_spread else 0.0)
    d += tilt * z + ramp.fringe * np.sin(2 * np.pi * z / ramp.period + ramp.fringe_phase)
    d += 0.5 * ramp.drag * np.where(np.arange(z.size) < approach, 1.0, -1.0)
    d += ramp.drift * np.linspace(0.0, 1.0, z.size)
    if ramp.walk:
        steps = np.sqrt(ramp.walk * np.abs(np.diff(z, prepend=z[0])))
        d += np.cumsum(steps * rng.normal(size=z.size))


def spoil(kind: str, z: Array, d: Array, lever: Lever, contact: float, rng: np.random.Generator
          ) -> tuple[Array, Array]:  # fmt: skip
    """Spoil a curve in one of the ways of `SPOILS`."""
    samples = z.shape[1]
    if kind == "no_contact":
        return z, rng.normal(0.0, lever.noise, d.shape)
    if kind == "saturated":
        return z, np.minimum(d, 0.55 * float(d.max()))
    if kind == "spikes":
        at = rng.integers(0, samples, 5)
        d = d.copy()
        d[rng.integers(0, 2, 5), at] += rng.choice([-1.0, 1.0], 5) * rng.uniform(5, 30, 5)
        return z, d
    if kind == "short_travel":
        top = float(z.max())
        near = np.linspace(contact - 8.0, top, samples)
        order = np.argsort(z[1])
        return np.stack([near, near[::-1]]), np.stack(
            [np.interp(near, z[0], d[0]), np.interp(near, z[1][order], d[1][order])[::-1]]
        )
    bump = -2.0 * np.exp(-(((z[1] - contact + 30.0) / 4.0) ** 2))
    return z, np.stack([d[0], d[1] + bump])


def blobs(shape: tuple[int, int], count: int, radius: tuple[float, float],
          rng: np.random.Generator) -> Array:  # fmt: skip
    """A mask of `count` discs at random places, radii in pixels from a range."""
    rows, cols = np.mgrid[: shape[0], : shape[1]]
    mask = np.zeros(shape, dtype=bool)
    for _ in range(count):
        r, c = rng.uniform(0, shape[0]), rng.uniform(0, shape[1])
        mask |= (rows - r) ** 2 + (cols - c) ** 2 <= rng.uniform(*radius) ** 2
    return mask


def smooth_field(shape: tuple[int, int], width: float, rng: np.random.Generator) -> Array:
    """A smooth random field of mean 0 and standard deviation 1; `width` in pixels."""
    ky = np.fft.fftfreq(shape[0])[:, None]
    kx = np.fft.rfftfreq(shape[1])[None, :]
    damp = np.exp(-2.0 * (np.pi * width) ** 2 * (kx**2 + ky**2))
    out = np.fft.irfft2(np.fft.rfft2(rng.normal(size=shape)) * damp, shape)
    return (out - out.mean()) / max(float(out.std()), 1e-12)


def snake(shape: tuple[int, int]) -> Array:
    """Pixels (P, 2) in the order of a scan that runs there and back."""
    rows, cols = np.mgrid[: shape[0], : shape[1]]
    cols[1::2] = cols[1::2, ::-1]
    return np.stack([rows.ravel(), cols.ravel()], axis=1)


def simulate_map(
    labels: Array, materials: tuple[Material, ...], *, lever: Lever | None = None,
    ramp: Ramp | None = None, relief: float = 4.0, scan_size: tuple[float, float] = (1e3, 1e3),
    spoiled: float = 0.0, seed: int = 1, tip_changes: tuple[TipChange, ...] = (),
    z_drift: float = 0.0, sensitivity_factor: float = 1.0,
) -> Simulated:  # fmt: skip
    """A whole map from an image of component labels.

    Parameters
    ----------
    labels : int (rows, cols), index into `materials`
    relief : standard deviation of the surface's height [nm]
    spoiled : share of curves that are spoiled, all kinds alike
    seed : of everything random
    tip_changes : what became of the tip, and from which line on
    z_drift : how far z drifts towards the tip in the time of one line [nm]
    sensitivity_factor : by how much the recorded deflection sensitivity is wrong
    """
    lever, ramp, rng = lever or Lever(), ramp or Ramp(), np.random.default_rng(seed)
    shape = labels.shape
    contact = relief * smooth_field(shape, min(shape) / 20.0, rng)
    pixel = snake((shape[0], shape[1]))
    contact[pixel[:, 0], pixel[:, 1]] -= z_drift * np.arange(len(pixel)) / shape[1]
    z = np.empty((len(pixel), 2, ramp.samples))
    d = np.empty_like(z)
    truth: dict[str, Array] = {"label": labels, "spoiled": np.full(shape, "", dtype="U16")}
    for i, (r, c) in enumerate(pixel):
        m = materials[labels[r, c]]
        modulus = m.modulus * np.exp(m.modulus_spread * rng.normal())
        pull = m.pull_off * np.exp(m.pull_off_spread * rng.normal())
        here = replace(ramp, fringe_phase=rng.uniform(0, 2 * np.pi))
        past = [change for change in tip_changes if change.taken(i, shape[1])]
        grown = math.prod(change.factor for change in past)
        pull *= grown * math.prod(change.pull for change in past)
        tip = replace(lever, tip_size=lever.tip_size * grown)
        z[i], d[i], found = simulate_curve(
            tip, here, modulus, m.poisson_ratio, pull, contact[r, c], rng
        )
        if rng.random() < spoiled:
            kind = SPOILS[rng.integers(len(SPOILS))]
            z[i], d[i] = spoil(kind, z[i], d[i], lever, contact[r, c], rng)
            truth["spoiled"][r, c] = kind
        for name, value in found.items():
            truth.setdefault(name, np.full(shape, np.nan))[r, c] = value
    return Simulated(z, d, pixel, (shape[0], shape[1]), lever, ramp, materials, truth, scan_size,
                     sensitivity_factor)  # fmt: skip


SKI_BOOT = (
    Material("polyamide 12", 1.4, 0.40, 6.0, 0.05, 0.04),
    Material("rubber", 0.06, 0.49, 10.0, 0.07, 0.05),
    Material("acrylic beads", 3.0, 0.36, 8.0, 0.05, 0.04),
)
"""Shell of an invented ski boot: toughened with rubber, stiffened with acrylic beads."""

DOOR_SEAL = (
    Material("rubber", 0.004, 0.49, 6.0, 0.08, 0.05),
    Material("filler", 0.08, 0.45, 4.0, 0.15, 0.08),
)
"""An invented door seal: soft rubber with filler particles."""


def ski_boot(size: int = 64, seed: int = 7, samples: int = 384) -> Simulated:
    """The three-component sample map, with 2 % spoiled curves."""
    rng = np.random.default_rng(seed)
    shape = (size, size)
    labels = np.zeros(shape, dtype=np.int64)
    labels[blobs(shape, max(3, size // 4), (size / 20, size / 9), rng)] = 1
    labels[blobs(shape, max(3, size // 5), (size / 32, size / 20), rng)] = 2
    ramp = Ramp(travel=170.0, samples=samples, set_force=35.0, overshoot=0.02, tilt=2e-4,
                fringe=0.05, drag=0.1, drift=0.05)  # fmt: skip
    return simulate_map(labels, SKI_BOOT, lever=Lever(2.5, 58.0, "paraboloid", 16.0, 0.07),
                        ramp=ramp, scan_size=(3000.0, 3000.0), spoiled=0.02, seed=seed)  # fmt: skip


def door_seal(size: int = 48, seed: int = 11, samples: int = 256) -> Simulated:
    """The two-component soft map, measured with a cone."""
    rng = np.random.default_rng(seed)
    shape = (size, size)
    labels = np.zeros(shape, dtype=np.int64)
    labels[blobs(shape, size // 2, (size / 40, size / 16), rng)] = 1
    ramp = Ramp(travel=900.0, samples=samples, set_force=8.0, overshoot=0.03, tilt=1e-4,
                drag=0.3)  # fmt: skip
    return simulate_map(labels, DOOR_SEAL, lever=Lever(0.1, 90.0, "cone", 20.0, 0.25), ramp=ramp,
                        relief=12.0, scan_size=(5e3, 5e3), spoiled=0.01, seed=seed)  # fmt: skip


SCENES = {"ski-boot": ski_boot, "door-seal": door_seal}
"""Scenes that ``palpate simulate`` can make."""

TRUTH_UNITS = {"modulus": "GPa", "reduced_modulus": "GPa", "pull_off": "nN", "contact": "nm",
         "peak_force": "nN", "indentation": "nm"}  # fmt: skip


def write_truth(path: str | Path, made: Simulated) -> None:
    """Write what was put into a simulated map, one dataset a quantity, (rows, cols).

    Only tests and benchmarks read it; the program never does.
    """
    import h5py

    with saving(path) as temporary, h5py.File(temporary, "w", libver=("v110", "v110")) as file:
        file.attrs["palpate_format"] = "truth"
        file.attrs["component"] = [m.name for m in made.materials]
        file.attrs["poisson_ratio"] = [m.poisson_ratio for m in made.materials]
        file.attrs["law"] = made.lever.law
        for name, values in made.truth.items():
            if name == "spoiled":
                file.create_dataset(name, data=values.astype(object), dtype=h5py.string_dtype())
            elif values.dtype.kind == "f":
                file.create_dataset(name, data=values.astype(np.float32), compression="gzip",
                                    shuffle=True).attrs["units"] = TRUTH_UNITS[name]  # fmt: skip
            else:
                file.create_dataset(name, data=values.astype(np.uint8), compression="gzip")
