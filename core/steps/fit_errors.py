"""The covariance of a fitted law: noise, baseline, what was held, and noise that is slow.

With J the derivatives of the law and H = (JᵀJ)⁻¹, white noise gives s² H, and an error e of a
quantity that was held (offset and slope of the baseline, a measured pull-off, a contact point found
beforehand) shifts the parameters by H Jᵀ(∂d/∂quantity) e. All four parameters are treated alike.
Slow noise is carried by the weight that each sample has in a parameter, see ``steps/slow.py``.
"""

from __future__ import annotations

import math

from ..columns import baseline as bl
from ..columns import fit as ft
from ..columns.law import LN_C, PULL, Z0
from ..compiled import kernel
from .baseline import peak_share
from .contact_law import PARAMETERS, ask, prepare
from .slow import walk_variance
from .solver import COST, invert

OFFSET, SLOPE, HELD_PULL, HELD_CONTACT = 0, 1, 2, 3
"""Causes of a common shift, as they stand in `along` and `by`."""


@kernel
def weigh(z, d, first, last, par, free, law, rows, pre, centre, sums, along, jac, out, work):
    """JᵀJ and Σr² into ``sums``, Jᵀ(∂d/∂cause) into ``along`` (4, 4), J into ``jac`` (4, n).

    Returns Σ r r' over neighbouring residuals.
    """
    m = free.size
    along[:] = 0.0
    sums[:] = 0.0
    prepare(par, law, rows, pre, work)
    guess = before = -1.0
    alike = left = 0.0
    for i in range(first, last):
        now = ask(z[i] - par[Z0], par, law, rows, pre, guess, out, work)
        guess, before = (2.0 * now - before if before > 0.0 else now), now
        rest = d[i] - out[0]
        sums[COST] += rest * rest
        alike, left = alike + left * rest, rest
        for p in range(m):
            value = out[1 + free[p]]
            jac[p, i] = value
            for q in range(p + 1):
                sums[PARAMETERS * q + p] += value * jac[q, i]
            along[OFFSET, p] += value
            along[SLOPE, p] += value * (z[i] - centre)
            along[HELD_PULL, p] += value * out[1 + PULL]
            along[HELD_CONTACT, p] += value * out[1 + Z0]
    return alike


@kernel
def shifts(free, inverse, along, by):
    """``by[parameter, cause]`` (4, 4): minus the shift of each parameter for a unit of a cause."""
    by[:] = 0.0
    by[Z0, HELD_CONTACT] = -1.0  # what is held shifts with its own error
    by[PULL, HELD_PULL] = -1.0
    for p in range(free.size):
        for cause in range(PARAMETERS):
            by[free[p], cause] = 0.0
            for q in range(free.size):
                by[free[p], cause] += inverse[p, q] * along[cause, q]


@kernel
def common(by, p, q, base, branch, held):
    """Covariance of parameters p and q by the baseline and by what was held."""
    o, s = by[p, OFFSET], by[p, SLOPE]
    o2, s2 = by[q, OFFSET], by[q, SLOPE]
    return (o * o2 * base[branch + bl.B_VAR_OFFSET] + s * s2 * base[branch + bl.B_VAR_SLOPE]
            + (o * s2 + o2 * s) * base[branch + bl.B_COV]
            + by[p, HELD_PULL] * by[q, HELD_PULL] * held[0]
            + by[p, HELD_CONTACT] * by[q, HELD_CONTACT] * held[1])  # fmt: skip


@kernel
def sample_weights(first, last, free, inverse, jac):
    """Turn the derivatives in ``jac`` into each sample's weight in the parameter of that row.

    Rows of parameters that are not free become 0.
    """
    m = free.size
    left = (0.0, 0.0, 0.0, 0.0)
    for i in range(first, last):
        left = (jac[0, i], jac[1, i] if m > 1 else 0.0, jac[2, i] if m > 2 else 0.0,
                jac[3, i] if m > 3 else 0.0)  # fmt: skip
        for p in range(PARAMETERS):
            jac[p, i] = 0.0
        for p in range(m):
            for q in range(m):
                jac[free[p], i] += inverse[p, q] * left[q]


@kernel
def noise_of(variance, freedom, white, row):
    """The variance of one sample: the baseline's, or the residual's when that is larger than chance
    allows (3 standard deviations). Writes RESIDUAL and SCALE."""
    row[ft.RESIDUAL] = math.sqrt(variance)
    noise = white
    if variance > white * (1.0 + 3.0 * math.sqrt(2.0 / freedom)):
        noise = variance
    row[ft.SCALE] = math.sqrt(noise)
    return noise


@kernel
def depth_variances(z, first, last, base, branch, by, own, held, jac, row):
    """White and slow variance of the indentation at the peak: a contact point and a peak that hang
    on one baseline, if the law was fitted to the approach."""
    if branch != bl.APPROACH:
        row[ft.VAR_DEPTH] = row[ft.VAR_Z0] + base[bl.VAR_PEAK]
        row[ft.SLOW_DEPTH] = row[ft.SLOW_Z0] + base[bl.SLOW_PEAK]
        return
    o, s = by[Z0, OFFSET] + 1.0, by[Z0, SLOPE] + base[bl.PEAK_Z] - base[bl.B_CENTRE]
    a, c = by[Z0, HELD_PULL], by[Z0, HELD_CONTACT]
    line = (o * o * base[bl.B_VAR_OFFSET] + s * s * base[bl.B_VAR_SLOPE]
            + 2.0 * o * s * base[bl.B_COV])  # fmt: skip
    peak = peak_share(int(base[bl.B_KEPT])) * base[bl.B_NOISE] ** 2
    row[ft.VAR_DEPTH] = own + peak + line + a * a * held[0] + c * c * held[1]
    row[ft.SLOW_DEPTH] = a * a * held[2] + walk_variance(
        z, jac, Z0, first, last, base, branch, base[bl.PEAK_Z], 1.0
    )


@kernel
def covariance(z, d, first, last, par, free, law, rows, pre, base, branch, held, sums, out, work,
               inverse, along, by, jac, row):  # fmt: skip
    """Variances of the parameters, white and slow, into ``row``.

    Parameters
    ----------
    held : variance of a held pull-off and of a held contact point, slow variance of the pull-off
    along, by : (4, 4) work space; jac : (4, samples), on return each sample's weight in ln c, z0,
        the pull-off and the exponent
    """
    m, count = free.size, last - first
    centre = base[branch + bl.B_CENTRE]
    alike = weigh(z, d, first, last, par, free, law, rows, pre, centre, sums, along, jac, out, work)
    row[ft.ALIKE] = alike / sums[COST]
    freedom = max(count - m, 1)
    noise = noise_of(sums[COST] / freedom, freedom, base[branch + bl.B_NOISE] ** 2, row)
    if not (invert(sums, m, 0.0, inverse) and noise >= 0.0):
        row[ft.STATE] = ft.NOT_POSITIVE
        return
    shifts(free, inverse, along, by)
    sample_weights(first, last, free, inverse, jac)
    white, slow = (ft.VAR_LN_C, ft.VAR_Z0, ft.VAR_PULL, ft.VAR_EXPONENT), (
        ft.SLOW_LN_C, ft.SLOW_Z0, ft.SLOW_PULL, ft.SLOW_EXPONENT)  # fmt: skip
    own = 0.0
    row[ft.VAR_Z0] = common(by, Z0, Z0, base, branch, held)  # of a contact point that is held
    row[ft.SLOW_Z0] = 0.0
    row[ft.COV] = common(by, LN_C, Z0, base, branch, held)
    for p in range(m):
        which = free[p]
        row[white[which]] = noise * inverse[p, p] + common(by, which, which, base, branch, held)
        row[slow[which]] = by[which, HELD_PULL] ** 2 * held[2] + walk_variance(
            z, jac, which, first, last, base, branch, 0.0, 0.0
        )
        if which == Z0:
            own = noise * inverse[p, p]
            row[ft.COV] += noise * inverse[0, p]
    depth_variances(z, first, last, base, branch, by, own, held, jac, row)
    if not (row[ft.VAR_LN_C] > 0.0 and row[ft.VAR_Z0] > 0.0):
        row[ft.STATE] = ft.NOT_POSITIVE
