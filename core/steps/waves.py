"""What a baseline may hold beside its line: an optical wave, and a drift in time.

The wave is A sin qz + B cos qz with q = 2π/Λ. Light that the sample reflects interferes with the
lever's own, and the path between them changes with the base position; so the wave is one function
of z on both branches, and it is taken to go on under the contact. The drift is linear in time,
which runs against z on the retract.

References
----------
Λ about half the wavelength near normal incidence: common practice, no source. Drift linear in time:
ISO 11039 (from memory).
"""

from __future__ import annotations

import math

from ..columns.baseline import (
    DRIFT,
    RETRACT,
    STEP_APPROACH,
    STEP_RETRACT,
    WAVE_COS,
    WAVE_NUMBER,
    WAVE_SIN,
)
from ..compiled import kernel


@kernel
def wave_at(row, z):
    """The wave [nm] at a base position."""
    angle = row[WAVE_NUMBER] * z
    return row[WAVE_SIN] * math.sin(angle) + row[WAVE_COS] * math.cos(angle)


@kernel
def time_at(row, branch, i):
    """Time of sample `i` of a branch (z rising): -1/2 at the curve's first sample, 1/2 at its last.

    Samples that are missing are counted as if they were spread evenly.
    """
    if branch == RETRACT:
        return 0.5 + row[STEP_RETRACT] * i
    return -0.5 + row[STEP_APPROACH] * i


@kernel
def take_wave_off(z, d, count, row):
    """Subtract the wave in place; nothing if there is none."""
    if not row[WAVE_NUMBER] > 0.0:
        return
    for i in range(count):
        d[i] -= wave_at(row, z[i])


@kernel
def take_drift_off(d, count, row, branch):
    """Subtract the drift in time in place; nothing if it was not fitted."""
    if not math.isfinite(row[DRIFT]):
        return
    for i in range(count):
        d[i] -= row[DRIFT] * time_at(row, branch, i)
