"""A window that holds: the modulus against both ends of the fit window.

Where a law is right and the contact is right, it does not matter which part of the curve is
fitted. `scan` runs the fit over a grid of windows, on one curve or on many, finds the plateau (the
windows that agree with each other) and, where there is a drift with depth, names what it usually
means. Baseline and pull-off are those of the settings; only the fit stage runs again.

`grid` lays out the windows, `runs` fits them, `plateau` and `drift` judge what came out.
"""

from __future__ import annotations

from .drift import MEANINGS, Drift
from .plateau import Plateau
from .scan import MOST, Scan, sample_of, scan

__all__ = ["MEANINGS", "MOST", "Drift", "Plateau", "Scan", "sample_of", "scan"]
