"""Figures that tell of the relaxing solid."""

from __future__ import annotations

import numpy as np

from ..columns import baseline as bl
from ..columns import viscous as vs
from .case import Array, Case


def viscous(c: Case, column: int) -> Array:
    """A column of the viscous stage; NaN where no relaxing solid was asked for."""
    table = c.tables.viscous
    if table is None or table.shape[1] == 0:
        return c.filled(np.nan)
    return table[:, column]


def viscous_state(c: Case) -> Array:
    return viscous(c, vs.STATE)


def viscous_residual(c: Case) -> Array:
    return viscous(c, vs.RESIDUAL) / c.tables.base[:, bl.B_NOISE]


def relaxing_error(c: Case) -> Array:
    """The largest local standard uncertainty of ln E(t_L), ln E∞ and ln τ, in per cent."""
    pairs = ((vs.VAR_LN_C, vs.SLOW_LN_C), (vs.VAR_RELAXED, vs.SLOW_RELAXED),
             (vs.VAR_TIME, vs.SLOW_TIME))  # fmt: skip
    own = [viscous(c, white) + c.tables.walk * viscous(c, slow) for white, slow in pairs]
    worst = np.fmax(np.fmax(own[0], own[1]), own[2])
    return np.where(viscous_state(c) == vs.GOOD, 100.0 * np.sqrt(worst), np.nan)


def below_zero(c: Case) -> Array:
    """By how many standard errors the loss fraction is below zero."""
    own = viscous(c, vs.VAR_LOSS) + c.tables.walk * viscous(c, vs.SLOW_LOSS)
    return -viscous(c, vs.LOSS) / np.sqrt(own)
