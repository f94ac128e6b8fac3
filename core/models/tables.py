"""The pull-off of Maugis-Dugdale over its parameter, as the kernels read it."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

START, STEP, NODES = -7.0, 0.05, 281
"""ln λ from -7 (DMT to 1e-3) to 7 (JKR to 1e-3); the ends serve beyond."""


@lru_cache(maxsize=1)
def pull_off_rows() -> np.ndarray:
    """(NODES, 2) ln|P_min| and its slope over ln λ = START, START + STEP ..."""
    from .adhesive import fill_pull_off

    rows = np.empty((NODES, 2))
    fill_pull_off(START, STEP, rows)
    rows.flags.writeable = False
    return rows
