"""One number with its common inputs: the terms they make, and the model that the trials run."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..analysis import Analysis
from .budget import COMMON, LOCAL, Budget, Term, combine
from .gum import interval
from .inputs import Input, Link
from .montecarlo import Draw, MonteCarlo, summary, values_of
from .response import Answer

Array = np.ndarray
UNITS = {"modulus": "GPa", "reduced_modulus": "GPa", "stiffness": "N/m", "adhesion": "nN"}


@dataclass(frozen=True, eq=False)
class Case:
    """A quantity of one pixel or one component.

    Attributes
    ----------
    value : of the quantity, in its core unit
    local : its local standard uncertainty, relative
    inputs, links, answers : see `inputs` and `response`
    thermal : k ∝ T/s²
    spring_constant, compliance, ratio : k in use, the tip's own compliance [1/GPa], ν
    """

    quantity: str
    value: float
    local: float
    inputs: tuple[Input, ...]
    links: tuple[Link, ...]
    answers: dict[str, Answer]
    thermal: bool
    spring_constant: float
    compliance: float
    ratio: float

    @classmethod
    def of(cls, analysis: Analysis, quantity: str, value: float, local: float,
           inputs: tuple[Input, ...], links: tuple[Link, ...], answers: dict[str, Answer]
           ) -> Case:  # fmt: skip
        use = analysis.constants
        return cls(quantity, value, local, inputs, links, answers,
                   analysis.settings.uncertainty.spring_from == "thermal",
                   use.spring_constant.value, use.tip_compliance, use.poisson_ratio)  # fmt: skip

    @property
    def gain(self) -> float:
        """∂ ln Q/∂ ln E*: above 1 for the modulus under an elastic tip."""
        return gain_of(self.quantity, self.value, self.ratio, self.compliance)

    def slope(self, one: Input) -> float:
        """∂ ln Q/∂ ln x; for the Poisson ratio ∂ ln Q/∂ν."""
        inner = self.gain * self.answers[one.name].slope
        if one.name == "deflection_sensitivity" and self.thermal:
            return inner - 2.0 * self.gain
        if one.name == "poisson_ratio" and self.quantity == "modulus":
            return inner - 2.0 * one.value / (1.0 - one.value**2)
        if one.name == "tip_modulus":
            return 1.0 - self.gain
        return inner

    def common_term(self, one: Input) -> Term:
        slope = self.slope(one)
        if one.name == "poisson_ratio":
            size, shown = abs(slope) * one.error, slope * one.value
        else:
            size, shown = abs(slope) * one.relative, slope
        note = one.note
        if one.name == "deflection_sensitivity" and self.thermal:
            note = ("k ∝ s⁻²: the coefficient has the spring constant's -2 in it. " + note).strip()
        return Term(one.name, one.label, COMMON, one.value, one.error, one.unit, shown, size,
                    one.origin, note)  # fmt: skip

    def common_terms(self) -> tuple[Term, ...]:
        return tuple(self.common_term(one) for one in self.inputs)

    def of_draws(self, logs: dict[str, Array], ratio: Array, local: Array) -> Array:
        """The quantity for draws: ln(x/x₀) by name, ν, and standard normal numbers for the local
        part; NaN where there is no such number."""
        total = np.zeros_like(local)
        for one in self.inputs:
            if one.name in logs and not self._apart(one.name):
                total = total + self.answers[one.name].of(logs[one.name])
        if self.thermal:
            total = total - 2.0 * logs["deflection_sensitivity"]
        if self.quantity == "adhesion":  # the noise of a force adds to it
            return self.value * np.exp(total) * (1.0 + self.local * local)
        if self.quantity == "stiffness":
            return self._stiffness(total, logs["deflection_sensitivity"], local)
        total = total + self.answers["poisson_ratio"].slope * (ratio - self.ratio)
        sigma = self.local / self.gain
        if self.quantity == "reduced_modulus":
            return self.value * np.exp(total + sigma * local)
        return self._modulus(total + sigma * local, logs.get("tip_modulus"), ratio)

    def _apart(self, name: str) -> bool:
        return name == "deflection_sensitivity" and self.quantity == "stiffness"

    def _stiffness(self, total: Array, stretch: Array, local: Array) -> Array:
        """k m/(1-m): sensitivity and noise move m, which stays below 1."""
        m = self.value / (self.spring_constant + self.value)
        moved = m * np.exp(stretch) * (1.0 + self.local * (1.0 - m) * local)
        good = (moved > 0.0) & (moved < 1.0)
        moved = np.where(good, moved, np.nan)
        return self.spring_constant * np.exp(total) * moved / (1.0 - moved)

    def _modulus(self, log: Array, tip: Array | None, ratio: Array) -> Array:
        """E from E* by ν and the tip's own compliance."""
        start = (1.0 - self.ratio**2) / self.value + self.compliance
        reduced = np.exp(log) / start
        own = self.compliance * np.exp(-tip) if tip is not None else self.compliance
        share = 1.0 - reduced * own
        return reduced * (1.0 - ratio**2) / np.where(share > 0.0, share, np.nan)


def gain_of(quantity: str, modulus: float, ratio: float, compliance: float) -> float:
    """∂ ln E/∂ ln E* = 1/(1 - E* Cₜ) = 1 + E Cₜ/(1-ν²); 1 for all but a Young modulus."""
    return 1.0 + modulus * compliance / (1.0 - ratio**2) if quantity == "modulus" else 1.0


def draws_of(inputs: Sequence[Input], trials: int, rng: np.random.Generator, ratio: float
             ) -> tuple[dict[str, Array], Array]:  # fmt: skip
    """ln(x/x₀) by name, and ν: positive constants log-normal, ν normal between 0 and 0.5."""
    logs: dict[str, Array] = {}
    drawn = np.full(trials, ratio)
    for one in inputs:
        normal = rng.standard_normal(trials)
        if one.name == "poisson_ratio":
            drawn = values_of(Draw(one.value, one.error, "normal", one.low, one.high), normal)
        elif math.isfinite(one.high) and one.value > 0.0:
            draw = Draw(one.value, one.error, "lognormal", one.low, one.high)
            logs[one.name] = np.log(values_of(draw, normal) / one.value)
        else:
            logs[one.name] = one.relative * normal
    return logs, drawn


def trials_of(case: Case, trials: int, seed: int) -> MonteCarlo:
    """The Monte Carlo of one case."""
    rng = np.random.default_rng(seed)
    logs, ratio = draws_of(case.inputs, trials, rng, case.ratio)
    with np.errstate(all="ignore"):
        return summary(case.of_draws(logs, ratio, rng.standard_normal(trials)))


def budget_of(case: Case, local_terms: Sequence[Term], trials: int, seed: int, name: str = ""
              ) -> Budget:  # fmt: skip
    """Terms, total and both intervals of a case."""
    terms = (*local_terms, *case.common_terms())
    local, common = combine(terms, LOCAL), combine(terms, COMMON)
    total = math.hypot(local, common)
    return Budget(case.quantity, case.value, UNITS[case.quantity], terms, case.links, local, common,
                  total, interval(case.value, total), trials_of(case, trials, seed), name
                  )  # fmt: skip
