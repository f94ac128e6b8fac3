"""How sure: budgets of a pixel, of a component and of a ratio; JCGM 100 and JCGM 101 side by side.

Local terms belong to one curve (noise, baseline, contact point, pull-off, sampling, slow noise).
Common terms move all pixels together (spring constant, sensitivity, tip, Poisson ratio, layer,
temperature): they never enter a map's own ±, they do not fall by averaging, and most of them cancel
in a ratio.
"""

from .budget import CAUTION, Budget, RatioBudget, RatioTerm, Term
from .effective import correlation_of, effective_number, effective_number_of
from .groups import group_budget, ratio_budget
from .gum import (
    fitted_contact_sensitivity,
    half_angle_sensitivity,
    interval,
    point_sensitivities,
    poisson_sensitivity,
    propagate,
)
from .inputs import QUANTITIES
from .montecarlo import Draw, MonteCarlo, monte_carlo, monte_carlo_until
from .pixel import pixel_budget

__all__ = [
    "CAUTION", "QUANTITIES", "Budget", "Draw", "MonteCarlo", "RatioBudget", "RatioTerm", "Term",
    "correlation_of", "effective_number", "effective_number_of", "fitted_contact_sensitivity",
    "group_budget", "half_angle_sensitivity", "interval", "monte_carlo", "monte_carlo_until",
    "pixel_budget", "point_sensitivities", "poisson_sensitivity", "propagate", "ratio_budget",
]  # fmt: skip
