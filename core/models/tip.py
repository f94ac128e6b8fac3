"""Sample and tip in series: 1/E* = (1-ν²)/E + (1-νₜ²)/Eₜ (Hertz 1882)."""

from __future__ import annotations


def reduced_modulus(modulus: float, poisson_ratio: float, tip_modulus: float, tip_ratio: float
                    ) -> float:  # fmt: skip
    """E* [GPa] of a sample and an elastic tip."""
    return 1.0 / ((1.0 - poisson_ratio**2) / modulus + (1.0 - tip_ratio**2) / tip_modulus)
