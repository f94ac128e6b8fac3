"""One door to all contact laws: prepare a law for given parameters, then ask it at each sample.

Parameters are (ln c, z0, a, n): stiffness c = E* g/k [nm^(1-n)], contact point [nm], pull-off
deflection [nm], exponent. A law answers with the deflection and its derivatives by these four.
To add a family: give it a kind, its scales in `prepare` and its answer in `ask`.
"""

from __future__ import annotations

import math

import numpy as np

from ..columns.law import DISTANCE, JKR, KIND, MAUGIS, SHAPE, STEP, TABLE_START, UNIT
from ..compiled import kernel
from ..models.adhesive import POINT, jkr_fold, jkr_point, maugis_deflection, maugis_prepare
from ..models.forward import shape_depth, shape_force

PARAMETERS = 4
PRE = 8
OUT = 4
WORK = POINT


@kernel
def prepare(par, law, rows, pre, work):
    """What a law works out once for a set of parameters, into ``pre`` (PRE,); False: impossible."""
    c, a = math.exp(par[0]), par[2]
    pre[0], pre[6] = c, a
    kind = law[KIND]
    if kind == SHAPE:
        pre[1] = 0.0
        return a >= 0.0
    if not a > 0.0:
        return False
    if kind == JKR:
        pre[1] = (a / c) ** (2.0 / 3.0) / 3.0
        pre[5] = jkr_fold(pre[1], a)
        return True
    maugis_prepare(c, a, law[DISTANCE], rows, law[STEP], law[TABLE_START], pre, work)
    return math.isfinite(pre[0])


@kernel
def ask(u, par, law, rows, pre, guess, out, work):
    """d and its derivatives by ln c, z0, a, n at u = z - z0 into ``out`` (OUT + 1,).

    `guess` is what the neighbouring sample returned, or -1. Before contact d is that of the end of
    the branch and only the pull moves it.
    """
    kind = law[KIND]
    if kind == JKR:
        out[4] = 0.0
        return jkr_point(u, pre[0], par[2], pre[1], pre[5], guess, out)
    if kind == MAUGIS:
        out[4] = 0.0
        return maugis_deflection(u, pre, guess, out, work)
    a, n = par[2], par[3]
    if u + a <= 0.0:
        out[0], out[1], out[2], out[3], out[4] = -a, 0.0, 0.0, -1.0, 0.0
        return -1.0
    s = shape_depth(u + a, pre[0], n, rows, law[STEP], law[UNIT], guess)
    f, slope = shape_force(s, pre[0], n, rows, law[STEP], law[UNIT])
    share = 1.0 / (1.0 + slope)
    out[0] = f - a
    out[1] = f * share
    out[2] = -slope * share
    out[3] = -share
    out[4] = 2.0 * f * math.log(s) * share
    return s


@kernel
def depth_at(z, par, law, rows, pre, out, work):
    """Indentation [nm] that the law gives at a base position."""
    ask(z - par[1], par, law, rows, pre, -1.0, out, work)
    return z - par[1] - out[0]


@kernel
def law_curve(z, par, law, rows, d, by_c, by_z0):
    """d(z) of a law and its derivatives by ln c and z0, (n,) each, for drawing and for checks.

    NaN where the law has no contact.
    """
    pre, out, work = np.empty(PRE), np.empty(OUT + 1), np.empty(WORK)
    if not prepare(par, law, rows, pre, work):
        d[:] = math.nan
        return
    guess = -1.0
    for i in range(z.size):
        guess = ask(z[i] - par[1], par, law, rows, pre, guess, out, work)
        d[i], by_c[i], by_z0[i] = out[0], out[1], out[2]
        if out[2] == 0.0:
            d[i] = math.nan
