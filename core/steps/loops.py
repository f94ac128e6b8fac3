"""The map loops: each stage over many curves of a block, compiled, without the GIL.

`explain` calls the same loops with a single curve, so that the curve view and the map can't
differ: it is the same machine code. A loop reads raw samples, converts while it reads, and writes
one row of small outputs a curve.
"""

from __future__ import annotations

import numpy as np

from ..columns.baseline import COLUMNS
from ..compiled import kernel
from . import baseline as bl
from . import fit as ft
from . import joint as jt
from . import retract as rt
from . import stiffness as st
from . import viscous as vi
from . import viscous_model as vm
from .branches import marks_of_branches
from .relaxing import NODES
from .relaxing import ROWS as NODE_ROWS
from .slow import BLOCKS
from .tools import load_branch
from .works import works_of_curve


@kernel
def load_both(z, d, i, start, cut, scale, za, da, zr, dr):
    """Load approach and retract of curve `i`; returns the samples kept and those missing."""
    na = load_branch(z, d, start[i] + cut[i, 0], cut[i, 1], False, scale, za, da)
    nr = load_branch(z, d, start[i] + cut[i, 2], cut[i, 3], True, scale, zr, dr)
    return na, nr, cut[i, 1] + cut[i, 3] - na - nr


@kernel
def longest(cut):
    """Room that the longest branch of a block needs."""
    most = 8
    for i in range(cut.shape[0]):
        most = max(most, cut[i, 1], cut[i, 3])
    return most


@kernel
def baseline_loop(z, d, start, cut, scale, options, joint, clock, out):
    """Stage 1 over a block.

    Parameters
    ----------
    z, d : raw samples of the block
    start : (n,) first sample of each curve in them
    cut : (n, 4) approach offset, approach samples, retract offset, retract samples
    scale : (4,) see `load_branch`
    options : see `baseline.baseline_of_curve`
    joint, clock : see `joint.joint_of_curve`; clock is (n, 3), or (0, 3) if nothing is joint
    out : (n, baseline.COLUMNS)
    """
    m = longest(cut)
    za, da, zr, dr = np.empty(m), np.empty(m), np.empty(m), np.empty(m)
    scratch = np.empty(max(2 * bl.MOST, 4 * BLOCKS))
    together = clock.shape[0] > 0
    work = np.empty((jt.WORK_ROWS, jt.TERMS))
    clean = np.empty((7, max(m, COLUMNS) if together else 1))
    for i in range(start.size):
        na, nr, missing = load_both(z, d, i, start, cut, scale, za, da, zr, dr)
        bl.baseline_of_curve(za, da, na, zr, dr, nr, missing, options, scratch, out[i])
        jt.offset_of_branches(za, na, out[i])
        if together:
            jt.joint_of_curve(za[:na], da[:na], zr[:nr], dr[:nr], options, joint, clock[i],
                              scratch, work, clean, out[i])  # fmt: skip
        jt.slow_of_both(za[:na], zr[:nr], int(joint[2]), out[i])


@kernel
def retract_loop(z, d, start, cut, scale, base, samples, out):
    """Stage 2 over a block: pull-off (read off a line through some samples) and works."""
    m = longest(cut)
    za, da, zr, dr = np.empty(m), np.empty(m), np.empty(m), np.empty(m)
    weights = np.empty((1, m))
    for i in range(start.size):
        na, nr, _ = load_both(z, d, i, start, cut, scale, za, da, zr, dr)
        bl.take_off(za, da, na, base[i], bl.APPROACH)
        bl.take_off(zr, dr, nr, base[i], bl.RETRACT)
        at = rt.retract_of_curve(za, da, na, zr, dr, nr, base[i], samples, weights, out[i])
        marks_of_branches(za, da, na, zr, dr, nr, at, base[i], out[i])


@kernel
def fit_loop(z, d, start, cut, scale, base, pull, contact, backwards, law, rows, units, by, low,
             high, free, out):  # fmt: skip
    """Stage 3 over a block: the contact law.

    Parameters
    ----------
    pull : (n, 3) pull-off deflection, its variance, its slow variance
    contact : (n, 2) a contact point to hold and its variance; NaN to fit it
    law, rows : the law's numbers (see `columns.law`) and its table
    units : (n,) the table's unit for each curve
    free : indices of the free parameters
    """
    m = longest(cut)
    zb, db = np.empty(m), np.empty(m)
    space, jac, own = np.empty((ft.SPACE, ft.SUMS)), np.empty((4, m)), law.copy()
    branch = bl.RETRACT if backwards else bl.APPROACH
    column = 2 if backwards else 0
    for i in range(start.size):
        count = load_branch(
            z, d, start[i] + cut[i, column], cut[i, column + 1], backwards, scale, zb, db
        )
        bl.take_off(zb, db, count, base[i], branch)
        ft.fit_of_curve(zb, db, count, base[i], branch, pull[i], contact[i], own, rows, units[i],
                        by, low, high, free, space, jac, out[i])  # fmt: skip


@kernel
def stiffness_loop(z, d, start, cut, scale, base, backwards, low, high, out):
    """Stage 4 over a block: the slope in contact."""
    m = longest(cut)
    zb, db, weights = np.empty(m), np.empty(m), np.empty((1, m))
    branch = bl.RETRACT if backwards else bl.APPROACH
    column = 2 if backwards else 0
    for i in range(start.size):
        count = load_branch(
            z, d, start[i] + cut[i, column], cut[i, column + 1], backwards, scale, zb, db
        )
        bl.take_off(zb, db, count, base[i], branch)
        st.stiffness_of_curve(zb, db, count, base[i], branch, low, high, weights, out[i])


@kernel
def viscous_loop(z, d, start, cut, timing, scale, base, pull, model, n, rows, step, units, by, low,
                 out):  # fmt: skip
    """The viscous stage over a block: a relaxing solid, and the works of both branches.

    Parameters
    ----------
    timing : (n, 3) s a sample on the approach and on the retract, and the length of a hold
    pull : (n, 3) pull-off deflection, its variance, its slow variance
    model : see ``columns/viscous.py``
    n, rows, step, units : exponent and table of the law, and the table's unit for each curve
    by, low : the lower end of the window, see `viscous.fit_relaxing`
    """
    m = longest(cut)
    za, da, ta, zr, dr, tr = (np.empty(m), np.empty(m), np.empty(m), np.empty(m), np.empty(m),
                              np.empty(m))  # fmt: skip
    t, zt = np.empty(2 * m + 1), np.empty(2 * m + 1)
    w, grid, small = np.zeros((NODE_ROWS, NODES)), np.zeros(5), np.zeros((20, 25))
    space, weights = np.zeros((vm.ROWS, 2 * vm.GROUPS + 2)), np.empty((1, m))
    for i in range(start.size):
        na = vm.load_timed(z, d, start[i] + cut[i, 0], cut[i, 1], False, scale, za, da, ta)
        nr = vm.load_timed(z, d, start[i] + cut[i, 2], cut[i, 3], True, scale, zr, dr, tr)
        bl.take_off(za, da, na, base[i], bl.APPROACH)
        bl.take_off(zr, dr, nr, base[i], bl.RETRACT)
        out[i, :] = np.nan
        works_of_curve(za, da, na, zr, dr, nr, base[i], weights, out[i])
        vi.fit_relaxing(za, da, ta, na, zr, dr, tr, nr, base[i], pull[i], timing[i], model, n,
                        rows, step, units[i], by, low, t, zt, w, grid, space, small,
                        weights, out[i])  # fmt: skip


@kernel
def sum_loop(z, d, start, cut):
    """One pass that only sums the raw samples of a block: the yardstick of the benchmarks."""
    total = 0.0
    for i in range(start.size):
        for j in range(start[i] + cut[i, 0], start[i] + cut[i, 0] + cut[i, 1]):
            total += z[j]
            total += d[j]
        for j in range(start[i] + cut[i, 2], start[i] + cut[i, 2] + cut[i, 3]):
            total += z[j]
            total += d[j]
    return total
