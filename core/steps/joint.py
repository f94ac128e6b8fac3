"""One fit of the baselines of both branches: optical fringes, drag, drift in time.

The model is linear, so it is solved and not searched for. Seven terms are known; those that are not
asked for are zero everywhere and drop out:

    separate   o_a + s_a x      (approach)     o_r + s_r x       (retract)
    drag       o_a + s x                       o_r + s x
    drift      o + s x + D t                   o + s x + D t
    with fringes, each of them + A sin qz + B cos qz, the same on both branches

Outliers are left out as for a single line: beyond five of the robust spread of their branch, once
more if that throws out more than one sample in twenty.

**What becomes of the covariance.** All later steps ask for the variance of a baseline by the
columns of an offset and a slope. With a wave those can't hold the covariance of the fit, so they
hold that of the straight line through the baseline's errors at contact and at the peak: exact at
both, right to second order in (reach/Λ) between. On the free part itself they mean nothing then.
The slope's own variance is kept as VAR_TILT. What the branches have in common (a slope, a wave)
makes their errors correlated; the variance of an area between them does not know that and is off by
up to a fifth either way.

**What the wave needs.** A free part at least half a period long (common practice, no source):
below, a wave, a slope and an offset can't be told apart. The whole free part is used then, whatever
share of it a line would use, and it is found anew once the wave is off.
"""

from __future__ import annotations

import math

from ..columns.baseline import (
    APPROACH,
    B_CENTRE,
    B_COV,
    B_FIRST,
    B_LAST,
    B_LENGTH,
    B_NOISE,
    B_OFFSET,
    B_SLOPE,
    B_TOUCH,
    B_VAR_OFFSET,
    B_VAR_SLOPE,
    BRANCH_COLUMNS,
    COLUMNS,
    DRAG,
    DRIFT,
    DURATION,
    PEAK_D,
    RETRACT,
    SLOW_DRAG,
    SLOW_DRIFT,
    SLOW_PEAK,
    SLOW_TILT,
    STEP_APPROACH,
    STEP_RETRACT,
    VAR_DRAG,
    VAR_DRIFT,
    VAR_PEAK,
    VAR_TILT,
    VAR_WAVE,
    WALK_APPROACH,
    WALK_RETRACT,
    WAVE_COS,
    WAVE_NUMBER,
    WAVE_ROOM,
    WAVE_SEEN,
    WAVE_SIN,
)
from ..compiled import kernel
from .baseline import free_part, line_variance, peak_of, peak_share, slow_part
from .marks import marks_of_spikes
from .slow import slow_offset, slow_tilt, walk_variance
from .tools import MAD_TO_SIGMA, select
from .waves import time_at, wave_at

SEPARATE, ONE_SLOPE, IN_TIME = 0, 1, 2
TERMS = 7
OFFSET_A, OFFSET_R, SLOPE_A, SLOPE_R, BY_TIME, SINE, COSINE = 0, 1, 2, 3, 4, 5, 6
WORK_ROWS = 3 * TERMS + 7
"""Rows of TERMS numbers that a fit needs as work space."""
HALF = 0.5
"""Periods that the free part must be long."""
MOST = 64  # samples of a branch that enter a robust spread
SURE = 5.0  # standard errors from which on a wave is there


@kernel
def copy(values, out):
    """``out = values``; a loop compiles in a tenth of the time of an assignment to a slice."""
    for i in range(values.size):
        out[i] = values[i]


@kernel
def zero(values):
    """Set all of an array (n, m) to 0."""
    for i in range(values.shape[0]):
        for j in range(values.shape[1]):
            values[i, j] = 0.0


@kernel
def terms(z, t, back, mode, with_slope, number, centre_a, centre_r, x):
    """The seven terms at one sample of the approach (back = 0) or the retract (back = 1)."""
    for j in range(TERMS):
        x[j] = 0.0
    if mode == IN_TIME:
        x[OFFSET_A] = 1.0
        x[BY_TIME] = t
    else:
        x[OFFSET_A + back] = 1.0
    if with_slope and mode == SEPARATE:
        x[SLOPE_A + back] = z - (centre_r if back == 1 else centre_a)
    elif with_slope:
        x[SLOPE_A] = z - centre_a
    if number > 0.0:
        x[SINE] = math.sin(number * z)
        x[COSINE] = math.cos(number * z)


@kernel
def places(back, plan):
    """Where the terms of one branch (1, x, t, sine, cosine) stand among the seven; -1 for none."""
    in_time, wave = plan[0] == IN_TIME, plan[2] > 0.0
    offset = OFFSET_A if in_time else OFFSET_A + back
    slope = -1 if plan[1] < 0.5 else (SLOPE_A + back if plan[0] == SEPARATE else SLOPE_A)
    return (offset, slope, BY_TIME if in_time else -1, SINE if wave else -1,
            COSINE if wave else -1)  # fmt: skip


@kernel
def line_of(back, row, plan, parameters):
    """Offset, slope, centre, drift, its start and step, sine and cosine of a branch's model."""
    branch = RETRACT if back == 1 else APPROACH
    centre = row[RETRACT + B_CENTRE] if back == 1 and plan[0] == SEPARATE else row[B_CENTRE]
    offset = parameters[OFFSET_A if plan[0] == IN_TIME else OFFSET_A + back]
    slope = parameters[SLOPE_A + back if plan[0] == SEPARATE else SLOPE_A]
    start = time_at(row, branch, 0)
    step = time_at(row, branch, 1) - start
    if plan[0] != IN_TIME:
        start = step = 0.0
    return (offset, slope, centre, parameters[BY_TIME], start, step, parameters[SINE],
            parameters[COSINE])  # fmt: skip


@kernel
def gather(z, d, sine, cosine, back, row, plan, parameters, limit, matrix, right):
    """Normal equations of one branch about `parameters`, without samples further than `limit`.

    `plan` is (mode, with slope, wave number); `sine` and `cosine` are those of the wave at each
    sample, zero without one. Fills ``matrix`` (TERMS, TERMS) and ``right``. Returns the samples
    kept, their Σr², and the samples there were.
    """
    zero(matrix)
    for j in range(TERMS):
        right[j] = 0.0
    branch = RETRACT if back == 1 else APPROACH
    if not row[branch + B_LAST] > row[branch + B_FIRST]:
        return 0.0, 0.0, 0.0
    first, last = int(row[branch + B_FIRST]), int(row[branch + B_LAST])
    offset, slope, centre, drift, start, step, a, b = line_of(back, row, plan, parameters)
    n = sx = sxx = st = sxt = stt = ss = sxs = sts = sss = sc = sxc = stc = ssc = scc = 0.0
    sr = sxr = str_ = ssr = scr = srr = 0.0
    for i in range(first, last):
        x, t, s, c = z[i] - centre, start + step * i, sine[i], cosine[i]
        r = d[i] - offset - slope * x - drift * t - a * s - b * c
        if abs(r) <= limit:
            n += 1.0
            sx += x
            sxx += x * x
            st += t
            sxt += x * t
            stt += t * t
            ss += s
            sxs += x * s
            sts += t * s
            sss += s * s
            sc += c
            sxc += x * c
            stc += t * c
            ssc += s * c
            scc += c * c
            sr += r
            sxr += x * r
            str_ += t * r
            ssr += s * r
            scr += c * r
            srr += r * r
    at = places(back, plan)
    sums = ((n, sx, st, ss, sc), (sx, sxx, sxt, sxs, sxc), (st, sxt, stt, sts, stc),
            (ss, sxs, sts, sss, ssc), (sc, sxc, stc, ssc, scc))  # fmt: skip
    rights = (sr, sxr, str_, ssr, scr)
    for j in range(5):
        if at[j] >= 0:
            right[at[j]] = rights[j]
            for k in range(5):
                if at[k] >= 0:
                    matrix[at[j], at[k]] = sums[j][k]
    return n, srr, float(last - first)


@kernel
def spread(z, d, sine, cosine, back, row, plan, parameters, scratch):
    """Robust standard deviation of one branch about the model; NaN without a free part."""
    branch = RETRACT if back == 1 else APPROACH
    if not row[branch + B_LAST] - row[branch + B_FIRST] >= 3.0:
        return math.nan
    first, last = int(row[branch + B_FIRST]), int(row[branch + B_LAST])
    offset, slope, centre, drift, start, step, a, b = line_of(back, row, plan, parameters)
    count = 0
    for i in range(first, last, max(1, (last - first) // MOST)):
        if count == scratch.size:
            break
        line = offset + slope * (z[i] - centre) + drift * (start + step * i)
        scratch[count] = abs(d[i] - line - a * sine[i] - b * cosine[i])
        count += 1
    return MAD_TO_SIGMA * select(scratch, count, count // 2)


@kernel
def invert(matrix, scale):
    """Invert a symmetric matrix in place by sweeping; terms that are nowhere stay zero.

    Scaled to a unit diagonal first. False if a pivot falls below 1e-9: the terms that are asked for
    can't be told apart on this curve.
    """
    for j in range(TERMS):
        scale[j] = 1.0 / math.sqrt(matrix[j, j]) if matrix[j, j] > 0.0 else 0.0
    for j in range(TERMS):
        for k in range(TERMS):
            matrix[j, k] *= scale[j] * scale[k]
    for p in range(TERMS):
        if scale[p] == 0.0:
            continue
        pivot = matrix[p, p]
        if not pivot > 1e-9:
            return False
        for j in range(TERMS):
            if j == p:
                continue
            factor = matrix[j, p] / pivot
            for k in range(TERMS):
                if k != p:
                    matrix[j, k] -= factor * matrix[p, k]
            matrix[j, p] = factor
        for k in range(TERMS):
            if k != p:
                matrix[p, k] /= -pivot
        matrix[p, p] = 1.0 / pivot
    for j in range(TERMS):
        for k in range(TERMS):
            matrix[j, k] *= scale[j] * scale[k]
    return True


@kernel
def product(left, matrix, right):
    """leftᵀ M right."""
    total = 0.0
    for j in range(TERMS):
        for k in range(TERMS):
            total += left[j] * matrix[j, k] * right[k]
    return total


@kernel
def fit_both(za, da, zr, dr, waves, row, plan, work, scratch):
    """Least squares over both free parts without outliers.

    ``waves`` (4, longest branch) are sine and cosine of the wave on the approach, then the retract.
    Leaves the parameters in ``work[0]`` and their covariance in ``work[6:6+TERMS]``; the noise of
    each branch is its own, so a noisier one does not spoil the other's uncertainty. Returns whether
    there is an answer, and the two noises.
    """
    parameters, step, scale = work[0], work[2], work[3]
    right_a, right_r = work[4], work[5]
    inverse = work[6 : 6 + TERMS]
    of_a, of_r = work[6 + TERMS : 6 + 2 * TERMS], work[6 + 2 * TERMS : 6 + 3 * TERMS]
    for j in range(TERMS):
        parameters[j] = 0.0
    limit_a = limit_r = math.inf
    noise_a = noise_r = math.nan
    for turn in range(3):
        na, sa, all_a = gather(za, da, waves[0], waves[1], 0, row, plan, parameters, limit_a,
                               of_a, right_a)  # fmt: skip
        nr, sr, all_r = gather(zr, dr, waves[2], waves[3], 1, row, plan, parameters, limit_r,
                               of_r, right_r)  # fmt: skip
        for j in range(TERMS):
            for k in range(TERMS):
                inverse[j, k] = of_a[j, k] + of_r[j, k]
        if not invert(inverse, scale):
            return False, math.nan, math.nan
        used = 0.0
        for j in range(TERMS):
            step[j] = 0.0
            used += 1.0 if scale[j] > 0.0 else 0.0
            for k in range(TERMS):
                step[j] += inverse[j, k] * (right_a[k] + right_r[k])
            parameters[j] += step[j]
        if not na + nr > used + 2.0:
            return False, math.nan, math.nan
        share = 1.0 - used / (na + nr)
        for j in range(TERMS):
            sa -= 2.0 * step[j] * right_a[j]
            sr -= 2.0 * step[j] * right_r[j]
        sa, sr = sa + product(step, of_a, step), sr + product(step, of_r, step)
        noise_a = math.sqrt(max(sa, 0.0) / (na * share)) if na > 0.0 else math.nan
        noise_r = math.sqrt(max(sr, 0.0) / (nr * share)) if nr > 0.0 else math.nan
        lost = all_a + all_r - na - nr
        if turn == 2 or (turn == 1 and 20.0 * lost <= all_a + all_r):
            break
        limit_a = 5.0 * spread(za, da, waves[0], waves[1], 0, row, plan, parameters, scratch)
        limit_r = 5.0 * spread(zr, dr, waves[2], waves[3], 1, row, plan, parameters, scratch)
    for j in range(TERMS):  # H (σa² Ma + σr² Mr) H, with H = (Ma + Mr)⁻¹
        for k in range(TERMS):
            of_a[j, k] = (of_a[j, k] * noise_a**2 if na > 0.0 else 0.0) + (
                of_r[j, k] * noise_r**2 if nr > 0.0 else 0.0
            )
    for j in range(TERMS):
        for k in range(TERMS):
            of_r[j, k] = product(inverse[j], of_a, inverse[k])
    for j in range(TERMS):
        copy(of_r[j], inverse[j])
    return True, noise_a, noise_r


@kernel
def write_branch(z, back, noise, row, plan, work):
    """One branch's baseline, noise and covariance (see the module's text) into ``row``."""
    branch = RETRACT if back == 1 else APPROACH
    if not row[branch + B_LAST] > row[branch + B_FIRST]:
        return
    mode, parameters, covariance = int(plan[0]), work[0], work[6 : 6 + TERMS]
    centre_a, centre_r = row[B_CENTRE], row[RETRACT + B_CENTRE]
    offset = OFFSET_A + back if mode != IN_TIME else OFFSET_A
    slope = SLOPE_A + back if mode == SEPARATE else SLOPE_A
    touch = int(row[branch + B_TOUCH]) if row[branch + B_TOUCH] >= 0.0 else 0
    at = min(touch, z.size - 1)
    end = z.size - 1
    near, far = z[at], max(z[end], z[at] + 1.0)
    one, two = work[4], work[5]
    terms(near, time_at(row, branch, at), back, mode, plan[1] > 0.5, plan[2], centre_a, centre_r,
          one)  # fmt: skip
    terms(far, time_at(row, branch, end), back, mode, plan[1] > 0.5, plan[2], centre_a, centre_r,
          two)  # fmt: skip
    centre = centre_r if mode == SEPARATE and back == 1 else centre_a
    for j in range(TERMS):
        two[j] = (two[j] - one[j]) / (far - near)
        one[j] += (centre - near) * two[j]
    row[branch + B_OFFSET], row[branch + B_SLOPE] = parameters[offset], parameters[slope]
    row[branch + B_NOISE] = noise
    row[branch + B_VAR_OFFSET] = product(one, covariance, one)
    row[branch + B_VAR_SLOPE] = product(two, covariance, two)
    row[branch + B_COV] = product(one, covariance, two)


@kernel
def write_both(za, zr, noise_a, noise_r, row, plan, work):
    """The answer of `fit_both` into ``row`` (COLUMNS,)."""
    mode, number = int(plan[0]), plan[2]
    parameters, covariance = work[0], work[6 : 6 + TERMS]
    write_branch(za, 0, noise_a, row, plan, work)
    write_branch(zr, 1, noise_r, row, plan, work)
    row[VAR_TILT] = covariance[SLOPE_A, SLOPE_A]
    row[DRAG] = row[VAR_DRAG] = row[DRIFT] = row[VAR_DRIFT] = math.nan
    if mode == IN_TIME:
        row[DRIFT], row[VAR_DRIFT] = parameters[BY_TIME], covariance[BY_TIME, BY_TIME]
    if mode == ONE_SLOPE:
        row[DRAG] = parameters[OFFSET_A] - parameters[OFFSET_R]
        row[VAR_DRAG] = (covariance[OFFSET_A, OFFSET_A] + covariance[OFFSET_R, OFFSET_R]
                         - 2.0 * covariance[OFFSET_A, OFFSET_R])  # fmt: skip
    if mode == SEPARATE and row[B_TOUCH] >= 0.0 and row[RETRACT + B_LAST] >= 0.0:
        z = za[min(int(row[B_TOUCH]), za.size - 1)]
        a, r = z - row[B_CENTRE], z - row[RETRACT + B_CENTRE]
        x = work[1]
        x[OFFSET_A], x[OFFSET_R], x[SLOPE_A], x[SLOPE_R] = 1.0, -1.0, a, -r
        x[BY_TIME] = x[SINE] = x[COSINE] = 0.0
        row[DRAG] = 0.0
        for j in range(4):
            row[DRAG] += x[j] * parameters[j]
        row[VAR_DRAG] = product(x, covariance, x)
    if mode != SEPARATE:
        row[RETRACT + B_CENTRE] = row[B_CENTRE]
    if number > 0.0:
        row[WAVE_NUMBER] = number
        row[WAVE_SIN], row[WAVE_COS] = parameters[SINE], parameters[COSINE]
        size = math.hypot(parameters[SINE], parameters[COSINE])
        s, c = parameters[SINE] / size, parameters[COSINE] / size
        row[VAR_WAVE] = (s * s * covariance[SINE, SINE] + c * c * covariance[COSINE, COSINE]
                         + 2.0 * s * c * covariance[SINE, COSINE])  # fmt: skip


@kernel
def write_peak(za, da, zr, dr, clean_a, clean_r, options, scratch, row):
    """What else of a row hangs on the baseline: peak, spikes and slow noise.

    `da` and `dr` are as measured, `clean_a` and `clean_r` without the wave.
    """
    na = za.size
    z_peak, d_peak = peak_of(za, da, na)
    line = row[B_OFFSET] + row[B_SLOPE] * (z_peak - row[B_CENTRE])
    if row[WAVE_NUMBER] > 0.0:
        line += wave_at(row, z_peak)
    if math.isfinite(row[DRIFT]):
        line += row[DRIFT] * time_at(row, APPROACH, na - 1)
    row[PEAK_D] = d_peak - line
    row[VAR_PEAK] = peak_share(na) * row[B_NOISE] ** 2 + line_variance(row, APPROACH, z_peak)
    row[WALK_APPROACH] = slow_part(za, clean_a, row, APPROACH, scratch)
    row[WALK_RETRACT] = slow_part(zr, clean_r, row, RETRACT, scratch)
    row[SLOW_PEAK] = walk_variance(za, scratch.reshape(1, -1), 0, 0, 0, row, APPROACH, z_peak, 1.0)
    marks_of_spikes(za, da, na, zr, dr, zr.size, options[3] * row[B_NOISE], row)


@kernel
def find_again(za, clean_a, zr, clean_r, options, scratch, row):
    """Find the free parts anew, all of them used."""
    free_part(za, clean_a, za.size, options[0] > 0.5, 1.0, options[2], scratch,
              row[:BRANCH_COLUMNS])  # fmt: skip
    free_part(zr, clean_r, zr.size, options[0] > 0.5, 1.0, options[2], scratch,
              row[RETRACT : RETRACT + BRANCH_COLUMNS])  # fmt: skip


@kernel
def set_waves(z, number, sine, cosine):
    """Sine and cosine of the wave at each sample."""
    for i in range(z.size):
        sine[i], cosine[i] = math.sin(number * z[i]), math.cos(number * z[i])


@kernel
def without_wave(d, sine, cosine, row, out):
    """``out = d`` less the wave."""
    for i in range(d.size):
        out[i] = d[i] - row[WAVE_SIN] * sine[i] - row[WAVE_COS] * cosine[i]


@kernel
def with_wave(za, da, zr, dr, clean_a, clean_r, waves, options, plan, scratch, work, row):
    """Fit line and wave into ``row``; the free parts are found with the wave in, then without.

    Leaves the branches without the wave in `clean_a` and `clean_r`. False if there is no answer.
    """
    set_waves(za, plan[2], waves[0], waves[1])
    set_waves(zr, plan[2], waves[2], waves[3])
    copy(da, clean_a)
    copy(dr, clean_r)
    for _turn in range(2):
        find_again(za, clean_a, zr, clean_r, options, scratch, row)
        good, noise_a, noise_r = fit_both(za, da, zr, dr, waves, row, plan, work, scratch)
        if not good:
            return False
        write_both(za, zr, noise_a, noise_r, row, plan, work)
        without_wave(da, waves[0], waves[1], row, clean_a)
        without_wave(dr, waves[2], waves[3], row, clean_r)
    return True


@kernel
def offset_of_branches(za, na, row):
    """The baseline of the approach less that of the retract where the tip touches, and its
    variance, for lines that were fitted each for itself."""
    row[DRAG] = row[VAR_DRAG] = math.nan
    if not (row[B_TOUCH] >= 0.0 and row[RETRACT + B_NOISE] >= 0.0):
        return
    z = za[min(int(row[B_TOUCH]), na - 1)]
    there = row[B_OFFSET] + row[B_SLOPE] * (z - row[B_CENTRE])
    back = row[RETRACT + B_OFFSET] + row[RETRACT + B_SLOPE] * (z - row[RETRACT + B_CENTRE])
    row[DRAG] = there - back
    row[VAR_DRAG] = line_variance(row, APPROACH, z) + line_variance(row, RETRACT, z)


@kernel
def slow_of_both(za, zr, mode, row):
    """Slow variances of tilt, of the branches' offset, and of a drift, into ``row``.

    A drift is the offset of the means over the time that lies between them.
    """
    row[SLOW_TILT] = slow_tilt(za, row)
    row[SLOW_DRAG] = row[SLOW_DRIFT] = math.nan
    if not (row[B_TOUCH] >= 0.0 and row[RETRACT + B_TOUCH] >= 0.0 and row[RETRACT + B_NOISE] >= 0):
        return
    at = za[min(int(row[B_TOUCH]), za.size - 1)]
    slow = slow_offset(za, zr, at, mode == SEPARATE, row)
    row[SLOW_DRAG] = slow
    if mode == IN_TIME:
        there = time_at(row, APPROACH, 0.5 * (row[B_FIRST] + row[B_LAST]))
        back = time_at(row, RETRACT, 0.5 * (row[RETRACT + B_FIRST] + row[RETRACT + B_LAST]))
        row[SLOW_DRIFT] = slow / max((back - there) ** 2, 1e-12)


@kernel
def set_clock(clock, na, nr, row):
    """Steps of time from sample to sample, the whole curve lasting 1, from ``clock`` (3,): the
    shares of approach and retract in it, and the seconds that it lasts."""
    row[STEP_APPROACH] = clock[0] / max(na - 1.0, 1.0)
    row[STEP_RETRACT] = -clock[1] / max(nr - 1.0, 1.0)
    row[DURATION] = clock[2]


@kernel
def joint_of_curve(za, da, zr, dr, options, joint, clock, scratch, work, clean, row):
    """Fit both baselines of one curve together, where that is asked for, over ``row`` (COLUMNS,).

    Parameters
    ----------
    za, da, zr, dr : the samples as measured, z rising
    options : see `baseline.baseline_of_curve`
    joint : (fringes: 0 none, 1 looked for, 2 subtracted; their period [nm]; how the branches go
        together: SEPARATE, ONE_SLOPE or IN_TIME)
    clock : see `set_clock`
    work : (WORK_ROWS, TERMS); clean : (7, longest branch or COLUMNS)
    """
    fringes, period, mode = joint[0], joint[1], int(joint[2])
    if za.size < 8 or not row[B_NOISE] >= 0.0:
        return
    both = row[RETRACT + B_NOISE] >= 0.0
    if not both:
        mode = SEPARATE  # one branch alone tells neither drag nor drift
    set_clock(clock, za.size, zr.size, row)
    clean_a, clean_r = clean[0, : za.size], clean[1, : zr.size]
    waves, plan = clean[3:], work[WORK_ROWS - 1]
    plan[0], plan[1], plan[2] = float(mode), options[0], 0.0
    fit_work = work[: WORK_ROWS - 1]
    if fringes > 0.5 and period > 0.0:
        room = row[B_LENGTH] / period
        if both:
            room = max(room, row[RETRACT + B_LENGTH] / period)
        before = clean[2, :COLUMNS]
        copy(row, before)
        plan[2] = 2.0 * math.pi / period
        good = room >= HALF and with_wave(
            za, da, zr, dr, clean_a, clean_r, waves, options, plan, scratch, fit_work, row
        )
        seen = 0.0
        if good:
            size = math.hypot(row[WAVE_SIN], row[WAVE_COS])
            seen = size / row[B_NOISE] if size > SURE * math.sqrt(row[VAR_WAVE]) else 0.0
        if good and fringes > 1.5:
            row[WAVE_ROOM] = room
            write_peak(za, da, zr, dr, clean_a, clean_r, options, scratch, row)
            return
        copy(before, row)
        row[WAVE_ROOM] = room if good or room < HALF else 0.0
        row[WAVE_SEEN] = seen if good else math.nan
        plan[2] = 0.0
    if mode == SEPARATE:
        return
    zero(waves)
    good, noise_a, noise_r = fit_both(za, da, zr, dr, waves, row, plan, fit_work, scratch)
    if good:
        write_both(za, zr, noise_a, noise_r, row, plan, fit_work)
        write_peak(za, da, zr, dr, da, dr, options, scratch, row)
