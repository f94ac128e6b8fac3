"""What a lever shows on a solid that relaxes: the deflection over time, for a known base motion.

The base is at z(t). With u = z - z0 + a the indentation and the force (over k) share it,
δ + f = u, where f is the hereditary integral of Lee & Radok while the contact grows and Ting's
after that; see ``models/viscoelastic.py``. Time is cut into even steps that begin at contact and
meet the turn: `loads` steps in, as many as are needed out, and `HOLDS` growing ones for a hold
between them. In a step δ is straight and G(δ) the parabola through its ends and its middle; between
even steps the integral of the kernel depends on their distance alone, and is worked out once.
"""

from __future__ import annotations

import math

from ..columns.viscous import POWER_LAW
from ..compiled import kernel
from ..models.forward import shape_force

NODES = 260
"""Room for steps in both branches."""
HOLDS = 5
"""Steps of a hold; they grow from its start, where the sample creeps fastest."""
# rows of the work space (ROWS, NODES)
DELTA, GROWN, FORCE, RISE, GAIN, BEND, U = 0, 1, 2, 3, 4, 5, 6
P0, Q0, A0, B0, PX, QX, AX, BX = 7, 8, 9, 10, 11, 12, 13, 14
LAG_P, LAG_Q, WA, WB, UPTO, WHEN, PLAIN = 15, 16, 17, 18, 19, 20, 21
ROWS = 22


@kernel
def primitives(par, model, reference, h, offset, count, p, q):
    """∫₀ˢ c and ∫₀ˢ s c at s = m h + offset, m = 0 .. count - 1.

    ``par`` is (ln c at `reference`, β) or (ln c∞, ln c₀/c∞, ln τ).
    """
    if model == POWER_LAW:
        b = par[1]
        scale = math.exp(par[0]) * reference**b
        for m in range(count):
            s = m * h + offset
            value = scale * s ** (1.0 - b)
            p[m] = value / (1.0 - b)
            q[m] = value * s / (2.0 - b)
        return
    low, tau = math.exp(par[0]), math.exp(par[2])
    step = low * math.expm1(par[1]) * tau
    left, ratio = math.exp(-offset / tau), math.exp(-h / tau)
    for m in range(count):
        s = m * h + offset
        p[m] = low * s + step * (1.0 - left)
        q[m] = 0.5 * low * s * s + step * (tau * (1.0 - left) - s * left)
        left *= ratio


@kernel
def weights(p, q, h, offset, count, mean, tilt):
    """Mean of the kernel over each step of lags, and its first moment about the middle."""
    for m in range(count - 1):
        change = p[m + 1] - p[m]
        mean[m] = change / h
        tilt[m] = (((m + 0.5) * h + offset) * change - (q[m + 1] - q[m])) / (h * h)


@kernel
def lag_of(value, par, model, reference, low, high, p_low, p_high):
    """The lag between `low` and `high` at which ∫₀ˢ c = value."""
    if model == POWER_LAW:
        b = par[1]
        return (value * (1.0 - b) / (math.exp(par[0]) * reference**b)) ** (1.0 / (1.0 - b))
    soft, tau = math.exp(par[0]), math.exp(par[2])
    step = soft * math.expm1(par[1])
    s = low + (high - low) * (value - p_low) / (p_high - p_low)
    for _ in range(20):
        left = math.exp(-s / tau)
        change = (soft * s + step * tau * (1.0 - left) - value) / (soft + step * left)
        s = min(max(s - change, low), high)
        if abs(change) <= 1e-12 * high:
            break
    return s


@kernel
def grown(delta, n, rows, step, unit):
    """G(δ)/g and its slope."""
    if not delta > 0.0:
        return 0.0, 0.0
    return shape_force(math.sqrt(delta), 1.0, n, rows, step, unit)


@kernel
def growing(u, past, mean, tilt, before, g_before, guess, n, rows, step, unit):
    """δ at the end of a step in which the contact grows: δ + past + this step's force = u."""
    delta = max(guess, 1e-6 * max(u, 1e-12))
    for _ in range(30):
        g, slope = grown(delta, n, rows, step, unit)
        middle, middle_slope = grown(0.5 * (before + delta), n, rows, step, unit)
        miss = (delta + past + (g - g_before) * mean
                + 4.0 * (g_before - 2.0 * middle + g) * tilt - u)  # fmt: skip
        change = miss / (1.0 + slope * (mean + 4.0 * tilt) - 4.0 * middle_slope * tilt)
        after = delta - change
        if not after > 0.0:
            after = 0.1 * delta
        if abs(after - delta) <= 1e-11 * max(abs(u), delta):
            return after
        delta = after
    return delta


@kernel
def keep(w, i, delta, u, n, rows, step, unit):
    """Note the end of step i: indentation, G, force, and the changes over the step."""
    g, _ = grown(delta, n, rows, step, unit)
    middle, _ = grown(0.5 * (w[DELTA, i - 1] + delta), n, rows, step, unit)
    w[DELTA, i], w[GROWN, i], w[FORCE, i] = delta, g, u - delta
    w[RISE, i] = delta - w[DELTA, i - 1]
    w[GAIN, i] = g - w[GROWN, i - 1]
    w[BEND, i] = 4.0 * (w[GROWN, i - 1] - 2.0 * middle + g)


@kernel
def lags_back(w, i, loads, base, par, model, reference):
    """Lags (as primitives) and weights of all nodes and steps up to i, seen from node i > loads.

    Nodes of a hold stand at uneven times, and theirs are worked out one by one.
    """
    known = 0
    if i >= base:  # nodes and steps of the way in
        for j in range(loads + 1):
            m = i - base + loads - j
            w[LAG_P, j], w[LAG_Q, j] = w[PX, m], w[QX, m]
            w[WA, j], w[WB, j] = w[AX, m], w[BX, m]
        known = loads + 1
    for j in range(known, min(i, base)):
        lag = w[WHEN, i] - w[WHEN, j]
        w[LAG_P, j], w[LAG_Q, j] = primitive_at(lag, par, model, reference)
    for j in range(max(base, loads + 1), i + 1):
        w[LAG_P, j], w[LAG_Q, j] = w[P0, i - j], w[Q0, i - j]
    if i < base:
        w[LAG_P, i] = w[LAG_Q, i] = 0.0
    for j in range(max(known, 1), min(i, base) + 1):
        width = w[WHEN, j] - w[WHEN, j - 1]
        change = w[LAG_P, j - 1] - w[LAG_P, j]
        middle = w[WHEN, i] - 0.5 * (w[WHEN, j] + w[WHEN, j - 1])
        w[WA, j] = change / width
        w[WB, j] = (middle * change - w[LAG_Q, j - 1] + w[LAG_Q, j]) / (width * width)
    for j in range(base + 1, i + 1):
        w[WA, j], w[WB, j] = w[A0, i - j], w[B0, i - j]


@kernel
def falling(w, i, top, u, par, model, reference, n, rows, step, unit):
    """δ at node i after the maximum at node `top`; NaN once contact has ended.

    Newton's method on δ; with t1 from Ting's condition, df/dδ = c̄ G'(δ(t1)), c̄ the mean of the
    kernel over the last step.
    """
    back = 0.0
    for j in range(top + 1, i):
        back -= w[RISE, j] * w[WA, j]
    w[UPTO, 0] = 0.0
    for j in range(1, top + 1):
        w[UPTO, j] = w[UPTO, j - 1] + w[GAIN, j] * w[WA, j] + w[BEND, j] * w[WB, j]
    before = w[DELTA, i - 1]
    delta = before
    if i > top + 1:
        delta += w[RISE, i - 1]
    k, ahead = top, 0.0
    for _ in range(40):
        need = back - (delta - before) * w[WA, i]
        ended = False
        if need <= 0.0:
            force, slope = w[UPTO, top], w[WA, i] * grown(w[DELTA, top], n, rows, step, unit)[1]
        else:
            while k > 0 and ahead + w[RISE, k] * w[WA, k] < need:
                ahead += w[RISE, k] * w[WA, k]
                k -= 1
            while k < top and ahead >= need:
                k += 1
                ahead -= w[RISE, k] * w[WA, k]
            if k == 0:
                force, slope, ended = 0.0, 0.0, True
            else:
                force, slope = cut_step(w, i, k, need - ahead, par, model, reference, n, rows,
                                        step, unit)  # fmt: skip
        change = (delta + force - u) / (1.0 + slope)
        delta -= change
        if abs(change) <= 1e-11 * (abs(u) + abs(before)):
            return math.nan if ended else delta
    return delta


@kernel
def cut_step(w, i, k, rest, par, model, reference, n, rows, step, unit):
    """Force up to t1, which lies in step k, and its slope with respect to δ now.

    `rest` is the part of Ting's condition that step k has to make up.
    """
    width = w[WHEN, k] - w[WHEN, k - 1]
    value = w[LAG_P, k] + rest * width / w[RISE, k]
    near, far = w[WHEN, i] - w[WHEN, k], w[WHEN, i] - w[WHEN, k - 1]
    lag = lag_of(value, par, model, reference, near, far, w[LAG_P, k], w[LAG_P, k - 1])
    lag = min(max(lag, near), far)
    short = far - lag
    depth = w[DELTA, k - 1] + w[RISE, k] * short / width
    g, slope = grown(depth, n, rows, step, unit)
    force = w[UPTO, k - 1]
    if short > 1e-9 * width:
        middle, _ = grown(0.5 * (depth + w[DELTA, k - 1]), n, rows, step, unit)
        p, q = value, moment_at(lag, value, par, model, reference)
        change = w[LAG_P, k - 1] - p
        tilt = (0.5 * (lag + far) * change - (w[LAG_Q, k - 1] - q)) / (short * short)
        force += (g - w[GROWN, k - 1]) * change / short
        force += 4.0 * (w[GROWN, k - 1] - 2.0 * middle + g) * tilt
    return force, w[WA, i] * slope


@kernel
def primitive_at(s, par, model, reference):
    """∫₀ˢ c and ∫₀ˢ s c at one lag."""
    if model == POWER_LAW:
        b = par[1]
        value = math.exp(par[0]) * reference**b * s ** (1.0 - b)
        return value / (1.0 - b), value * s / (2.0 - b)
    low, tau = math.exp(par[0]), math.exp(par[2])
    left = math.exp(-s / tau)
    step = low * math.expm1(par[1]) * tau
    return (low * s + step * (1.0 - left),
            0.5 * low * s * s + step * (tau * (1.0 - left) - s * left))  # fmt: skip


@kernel
def moment_at(s, primitive, par, model, reference):
    """∫₀ˢ s c at one lag, its ∫₀ˢ c being known."""
    if model == POWER_LAW:
        return primitive * s * (1.0 - par[1]) / (2.0 - par[1])
    return primitive_at(s, par, model, reference)[1]


@kernel
def contact_time(t, z, turn, level):
    """When the base passes `level` for the last time before the turn; NaN if it does not."""
    if not z[turn] > level:
        return math.nan
    i = turn
    while i > 0 and z[i - 1] > level:
        i -= 1
    if i == 0:
        return math.nan
    return t[i - 1] + (level - z[i - 1]) / (z[i] - z[i - 1]) * (t[i] - t[i - 1])


@kernel
def base_motion(t, z, start, when, count, zero, out):
    """u = z(t) - zero at the times start + when, which rise."""
    at = 0
    for m in range(count):
        now = start + when[m]
        while at < t.size - 2 and t[at + 1] < now:
            at += 1
        share = (now - t[at]) / (t[at + 1] - t[at])
        out[m] = z[at] + share * (z[at + 1] - z[at]) - zero


@kernel
def march(par, z0, model, reference, t, z, turn, hold, end, a, loads, n, rows, step, unit, w,
          grid):  # fmt: skip
    """Forces (over k) at the nodes into w[FORCE]; False if the base never touches.

    Parameters
    ----------
    par, model, reference : see `primitives`
    t, z : the base over time, both branches in order; a hold ends with a point of its own
    turn : index of the last sample of the approach; hold : seconds until the retract begins
    end : until when the force is asked [s]
    a : pull-off deflection [nm]
    loads : steps of the way in
    n, rows, step, unit : G, see `models.forward.shape_force`
    w : (ROWS, NODES) work space
    grid : (5,) gets contact time, step, node of the turn's end, its time, last node
    """
    start = contact_time(t, z, turn, z0 - a)
    top_time = t[turn]
    if not start < top_time:
        return False
    h = (top_time - start) / loads
    base = loads + HOLDS if hold > 0.0 else loads
    out = int((end - top_time - hold) / h) + 3
    last = min(base + max(out, 4), NODES - 2)
    count = last + 2
    grid[0], grid[1], grid[2], grid[3], grid[4] = start, h, base, top_time + hold, last
    for i in range(last + 1):
        w[WHEN, i] = i * h if i <= loads else loads * h + hold + (i - base) * h
    for i in range(loads + 1, base):
        w[WHEN, i] = loads * h + hold * ((i - loads) / HOLDS) ** 2
    base_motion(t, z, start, w[WHEN], last + 1, z0 - a, w[U])
    primitives(par, model, reference, h, 0.0, count, w[P0], w[Q0])
    weights(w[P0], w[Q0], h, 0.0, count, w[A0], w[B0])
    if hold > 0.0:
        primitives(par, model, reference, h, hold, count, w[PX], w[QX])
        weights(w[PX], w[QX], h, hold, count, w[AX], w[BX])
    else:
        for row in range(4):
            for m in range(count):
                w[PX + row, m] = w[P0 + row, m]
    w[DELTA, 0] = w[GROWN, 0] = w[FORCE, 0] = w[U, 0] = 0.0
    way_in(w, loads, n, rows, step, unit)
    way_out(w, par, model, reference, loads, base, last, n, rows, step, unit)
    return math.isfinite(w[FORCE, loads] + w[FORCE, base])


@kernel
def way_in(w, loads, n, rows, step, unit):
    """Solve the loading nodes one after the other."""
    for i in range(1, loads + 1):
        past = 0.0
        for j in range(1, i):
            past += w[GAIN, j] * w[A0, i - j] + w[BEND, j] * w[B0, i - j]
        guess = w[U, i] if i == 1 else w[DELTA, i - 1] + w[RISE, i - 1]
        delta = growing(w[U, i], past, w[A0, 0], w[B0, 0], w[DELTA, i - 1], w[GROWN, i - 1],
                        guess, n, rows, step, unit)  # fmt: skip
        keep(w, i, delta, w[U, i], n, rows, step, unit)


@kernel
def way_out(w, par, model, reference, loads, base, last, n, rows, step, unit):
    """Solve the nodes after the turn: first while the contact may still grow, then falling."""
    top = loads
    for i in range(loads + 1, last + 1):
        lags_back(w, i, loads, base, par, model, reference)
        if top == i - 1:
            past = 0.0
            for j in range(1, i):
                past += w[GAIN, j] * w[WA, j] + w[BEND, j] * w[WB, j]
            delta = growing(w[U, i], past, w[WA, i], w[WB, i], w[DELTA, top], w[GROWN, top],
                            w[DELTA, top], n, rows, step, unit)  # fmt: skip
            if delta >= w[DELTA, top]:
                keep(w, i, delta, w[U, i], n, rows, step, unit)
                top = i
                continue
        delta = falling(w, i, top, w[U, i], par, model, reference, n, rows, step, unit)
        if not delta > 0.0:
            for j in range(i, last + 1):
                w[FORCE, j] = 0.0
            return
        keep(w, i, delta, w[U, i], n, rows, step, unit)


@kernel
def read_off(times, inward, beta, w, loads, grid, out):
    """Forces at some times, by interpolation between the nodes.

    Cubic; but just after the turn of a power-law solid the force goes with x^(1-β), x the time
    since the turn, and the first steps are read off 1, x^(1-β), x, x^(2-β) instead.
    ``inward`` is how many of the times belong to the way in.
    """
    start, h, base, turned = grid[0], grid[1], int(grid[2]), grid[3]
    last = int(grid[4])
    f = w[FORCE]
    for g in range(inward):
        x = (times[g] - start) / h
        out[g] = cubic(f, x, 0, loads) if x > 0.0 else 0.0
    one, two, three = f[base + 1] - f[base], f[base + 2] - f[base], f[base + 3] - f[base]
    root2, root3 = 2.0 ** (1.0 - beta), 3.0 ** (1.0 - beta)
    d = (root2 - 2.0) * (3.0 * root3 - 3.0) - (2.0 * root2 - 2.0) * (root3 - 3.0)
    near, far = two - 2.0 * one, three - 3.0 * one
    special = beta > 0.02 and f[base + 3] > 0.0
    by_root = (near * (3.0 * root3 - 3.0) - (2.0 * root2 - 2.0) * far) / d if special else 0.0
    by_both = ((root2 - 2.0) * far - near * (root3 - 3.0)) / d if special else 0.0
    by_x = one - by_root - by_both
    for g in range(inward, times.size):
        x = (times[g] - turned) / h
        if special and x < 2.0:
            root = max(x, 0.0) ** (1.0 - beta)
            out[g] = f[base] + by_root * root + by_x * x + by_both * root * x
        else:
            out[g] = cubic(f, x, base, last)


@kernel
def cubic(f, x, first, last):
    """Value at `x` steps after node `first`, from the four nodes around."""
    i = min(max(int(x), 1), last - first - 2)
    s = x - i
    at = first + i
    return (f[at] * (1.0 - s * s) * (2.0 - s) * 0.5 + f[at + 1] * s * (1.0 + s) * (2.0 - s) * 0.5
            - f[at - 1] * s * (1.0 - s) * (2.0 - s) / 6.0
            - f[at + 2] * s * (1.0 - s) * (1.0 + s) / 6.0)  # fmt: skip
