"""What a rehearsal plays: how this map was measured, as numbers that may be overridden."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np

from ..errors import InputError
from ..models import law_of
from ..simulate import BRANCHES, Lever, Ramp

Array = np.ndarray


@dataclass(frozen=True)
class Group:
    """Some curves of about one stiffness, and how their surface pulls.

    Attributes
    ----------
    modulus : median of Young's modulus [GPa]
    pull_off : median pull-off [nN]; `pull_off_spread` its relative deviation from curve to curve
    jump : distance at which the tip jumps on, as a share of the pull-off deflection
    curves : how many
    peak_force, peak_spread : where their approaches stop, and its deviation [nN]; NaN: as in the
        whole map
    """

    modulus: float
    pull_off: float
    pull_off_spread: float = 0.0
    jump: float = 0.0
    curves: int = 0
    peak_force: float = math.nan
    peak_spread: float = math.nan


@dataclass(frozen=True)
class Scene:
    """How a map was measured. Units: nm, nN, N/m, GPa, Hz; NaN where a number was not to be had.

    Attributes
    ----------
    noise, noise_spread : white noise of the deflection, and its relative deviation between curves
    walk : slow noise [nm²/nm], as a random walk along the way of the base
    tilt, tilt_spread : slope of the baseline (nm per nm), and its deviation between curves
    fringe, period : amplitude and period of a wave in the baseline; 0 and NaN if there is none
    drag, drift : offset of approach less retract; deflection that drifts over a whole curve
    samples : of approach and of retract
    travel : of the approach
    z_step, d_step : digitisation of base position and deflection; 0 if not digitised
    peak_force, peak_spread : at which the approach stops, and its deviation between curves
    set_force : as recorded; NaN if it is not
    spring_constant, sensitivity : in use; the sensitivity is NaN if the signal is a length
    law, sizes, tip_compliance : of the tip, see `models`; compliance (1-ν²)/E [1/GPa], 0 if rigid
    poisson_ratio : of the sample, as assumed by the analysis
    adhesion, distance : kind of adhesion of the truth, as `simulate` knows it
    groups : pull-off by modulus, softest first; a modulus takes the nearest on a log scale
    rate : samples a second; NaN if not recorded
    grids : z of approach and retract less that of the peak, of some curves; empty: even steps
    assumed : sentences about what was not measured and what was taken instead
    """

    noise: float
    peak_force: float
    spring_constant: float
    law: str
    sizes: tuple[float, ...]
    groups: tuple[Group, ...]
    travel: float
    samples: tuple[int, int]
    noise_spread: float = 0.0
    walk: float = 0.0
    tilt: float = 0.0
    tilt_spread: float = 0.0
    fringe: float = 0.0
    period: float = math.nan
    drag: float = 0.0
    drift: float = 0.0
    z_step: float = 0.0
    d_step: float = 0.0
    peak_spread: float = 0.0
    set_force: float = math.nan
    sensitivity: float = math.nan
    tip_compliance: float = 0.0
    poisson_ratio: float = 0.3
    adhesion: str = "constant"
    distance: float = 0.2
    rate: float = math.nan
    grids: tuple[tuple[Array, Array], ...] = field(default=(), compare=False, repr=False)
    assumed: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for name in ("noise", "peak_force", "spring_constant", "travel"):
            _check(name, getattr(self, name), above=True)
        for name in ("noise_spread", "walk", "tilt_spread", "fringe", "peak_spread", "z_step",
                     "d_step", "tip_compliance"):  # fmt: skip
            _check(name, getattr(self, name))
        if self.adhesion not in BRANCHES:
            raise InputError(f"A rehearsal knows the adhesions {', '.join(BRANCHES)}; not "
                             f"“{self.adhesion}”.")  # fmt: skip
        if self.adhesion in ("jkr", "maugis") and self.law != "paraboloid":
            raise InputError(f"With the adhesion {self.adhesion} the law must be the paraboloid.")
        law = law_of(self.law)
        if len(self.sizes) < len(law.sizes) or not all(map(math.isfinite, self.sizes)):
            raise InputError(f"The {law.label} needs its {' and '.join(law.sizes)}: a tip that is "
                             "not known can't be rehearsed. Give it in the settings.")  # fmt: skip
        if not self.groups:
            raise InputError("A rehearsal needs a pull-off for at least one modulus.")
        if min(self.samples) < 16:
            raise InputError("A rehearsal needs 16 samples in each branch; this scene has "
                             f"{min(self.samples)}.")  # fmt: skip

    def changed(self, **values: Any) -> Scene:
        """The same scene with other numbers; `pull_off` [nN] and `jump` are set for all moduli, and
        the recorded set force follows the peak force.

        Raises InputError for an unknown name or an impossible number.
        """
        every = {name: values.pop(name) for name in ("pull_off", "pull_off_spread", "jump")
                 if name in values}  # fmt: skip
        unknown = set(values) - {spec.name for spec in fields(Scene)}
        if unknown:
            raise InputError(f"A scene has no “{min(unknown)}”.")
        if {"travel", "samples"} & set(values):
            values = {"grids": ()} | values
        if "peak_force" in values:
            share = values["peak_force"] / self.peak_force
            groups = tuple(replace(group, peak_force=group.peak_force * share)
                           for group in self.groups)  # fmt: skip
            values = {"set_force": self.set_force * share, "groups": groups} | values
        if every:
            groups = values.get("groups", self.groups)
            values["groups"] = tuple(replace(group, **every) for group in groups)
        return replace(self, **values)

    def near(self, modulus: float) -> Group:
        """The group whose modulus is nearest on a log scale."""
        return min(self.groups, key=lambda group: abs(math.log(group.modulus / modulus)))

    def peak(self, group: Group) -> tuple[float, float]:
        """Median and deviation of the peak force of a group [nN]."""
        own = group.peak_force, group.peak_spread
        return own if all(map(math.isfinite, own)) else (self.peak_force, self.peak_spread)

    def lever(self, noise: float) -> Lever:
        """Lever, tip and detector as `simulate` takes them."""
        first, *others = self.sizes
        return Lever(self.spring_constant, self.per_volt, self.law, first, noise, self.adhesion,
                     self.distance, tuple(others))  # fmt: skip

    def ramp(self, group: Group, peak: float, phase: float) -> Ramp:
        """How one curve is taken, as `simulate` takes it."""
        wave = self.period if self.period > 0.0 else 1.0
        return Ramp(self.travel, self.samples[0], peak, 0.0, self.tilt,
                    self.fringe if self.period > 0.0 else 0.0, wave, phase, self.drag, self.drift,
                    group.jump, self.rate, self.tilt_spread, self.walk)  # fmt: skip

    @property
    def per_volt(self) -> float:
        """Deflection sensitivity [nm/V]; 1 if the signal is a length."""
        return self.sensitivity if self.sensitivity > 0.0 else 1.0


def _check(name: str, value: float, above: bool = False) -> None:
    if math.isfinite(value) and (value > 0.0 or (value == 0.0 and not above)):
        return
    least = "above 0" if above else "0 or more"
    raise InputError(f"The scene's {name.replace('_', ' ')} is {value:g}; it must be {least}.")
