"""Curves of a lever on a sticky elastic sample, made without any of the program's own physics.

k d = (4/3) E* √R δ^(3/2) - F_ad in contact (Hertz 1882 with a constant pull: Derjaguin, Muller &
Toporov, J. Colloid Interface Sci. 53 (1975) 314), 0 outside; the tip jumps on a little before
contact and lets go where no equilibrium is left. Solved by scipy.optimize.brentq on a grid.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

K, SENSITIVITY, RADIUS, NU = 2.5, 50.0, 18.0, 0.37  # N/m, nm/V, nm: none of them 1
Z0, TILT, NOISE, SHIFT = 3.0, 4e-4, 0.06, 1.3


@dataclass(frozen=True)
class Truth:
    """A sample and the clean curves on it, in nm; `z` rises from far away to the peak."""

    modulus: float
    pull_off: float = 8.0
    peak_force: float = 40.0
    travel: float = 160.0
    samples: int = 1600

    @property
    def reduced(self) -> float:
        return self.modulus / (1 - NU**2)

    def depth(self, force: float) -> float:
        stiff = 4 / 3 * self.reduced * np.sqrt(RADIUS)
        return ((force + self.pull_off) / stiff) ** (2 / 3)

    @property
    def z(self) -> np.ndarray:
        top = Z0 + self.depth(self.peak_force) + self.peak_force / K
        return np.linspace(top - self.travel, top, self.samples)

    def contact(self, z: np.ndarray) -> np.ndarray:
        """d on the law at base positions z >= Z0 - a (a = pull-off / k)."""
        stiff = 4 / 3 * self.reduced * np.sqrt(RADIUS)

        def rest(d: float, at: float) -> float:
            return K * d + self.pull_off - stiff * max(at - Z0 - d, 0.0) ** 1.5

        low = -self.pull_off / K
        return np.array([brentq(rest, low, max(at - Z0, low) + 1e-9, args=(at,), xtol=1e-12)
                         for at in z])  # fmt: skip

    def branches(self, jump: float = 0.3) -> tuple[np.ndarray, np.ndarray]:
        """Clean approach and retract over `z`."""
        a, z = self.pull_off / K, self.z
        touching = np.zeros(z.size)
        inside = z >= Z0 - a
        touching[inside] = self.contact(z[inside])
        return np.where(z >= Z0 - jump * a, touching, 0.0), touching

    def values(self, jump: float = 0.3) -> dict[str, float]:
        """What each channel should be, in core units."""
        a = self.pull_off / K
        zero_z = Z0 + self.depth(0.0)
        fine = np.linspace(Z0 - a, zero_z, 800)
        gone = np.linspace(Z0 - a, Z0 - jump * a, 800)
        z, (_, back) = self.z, self.branches()
        part = (K * back >= 0.6 * self.peak_force) & (K * back <= 0.95 * self.peak_force)
        m = np.polyfit(z[part], back[part], 1)[0]
        fitted = (K * back >= 0.1 * self.peak_force) & (K * back <= 0.95 * self.peak_force)
        return {
            "height": -float(z[-1]), "contact_height": -Z0, "contact_point": Z0,
            "modulus": self.modulus, "reduced_modulus": self.reduced,
            "stiffness": K * m / (1 - m), "adhesion": self.pull_off,
            "release_force": self.pull_off,
            "work_of_adhesion": -K * float(np.trapezoid(self.contact(fine), fine)),
            "dissipation": -K * float(np.trapezoid(self.contact(gone), gone)),
            "indentation": self.depth(self.peak_force), "peak_force": self.peak_force,
            "noise": NOISE, "baseline_slope": TILT, "residual": 1.0, "n_points": fitted.sum(),
            "drag": 0.0,
        }  # fmt: skip

    def noisy(self, count: int, seed: int = 1, noise: float = NOISE
              ) -> tuple[np.ndarray, np.ndarray]:  # fmt: skip
        """z and raw deflection (count, 2, samples) in the order of time."""
        rng, z = np.random.default_rng(seed), self.z
        out, back = self.branches()
        both = np.stack([out, back[::-1]])
        base = np.stack([z, z[::-1]])
        d = both + TILT * base + SHIFT + rng.normal(0, noise, (count, *both.shape))
        return np.broadcast_to(base, d.shape).copy(), d
