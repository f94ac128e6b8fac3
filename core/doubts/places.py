"""Where on a curve a doubt is seen: branch, and z from and to [nm, as measured]."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ..columns import baseline as bl
from ..columns import fit as ft
from ..columns import retract as rt
from ..columns import stiffness as st
from .case import APPROACH, RETRACT, Array, Case, Places, step_of

Place = Callable[[Case], Places]


def on(branch: int | bool, low: Array, high: Array) -> Places:
    """A stretch on one branch, the same for all curves."""
    return np.full(low.shape, int(branch)), low, high


def marked(bit: int, low: Array, high: Array, c: Case) -> Places:
    """A stretch on the branch that a bit of the column BACKS tells."""
    back = (np.nan_to_num(c.tables.base[:, bl.BACKS]).astype(np.int64) & bit) != 0
    return np.where(back, RETRACT, APPROACH), low, high


def free_part(branch: int) -> Place:
    """The part of a branch's baseline that was used."""

    def place(c: Case) -> Places:
        b = c.tables.base
        half = 0.5 * (b[:, branch + bl.B_LAST] - b[:, branch + bl.B_FIRST]) * step_of(c, branch)
        centre = b[:, branch + bl.B_CENTRE]
        return on(branch == bl.RETRACT, centre - half, centre + half)

    return place


def start_of_travel(c: Case) -> Places:
    """From the far end of the approach to where it touches."""
    b = c.tables.base
    far = b[:, bl.PEAK_Z] - b[:, bl.Z_RANGE]
    return on(APPROACH, far, far + np.nan_to_num(b[:, bl.B_TOUCH]) * step_of(c))


def end_of_travel(c: Case) -> Places:
    """From the far end to the largest pull, on the retract."""
    b, pull = c.tables.base, c.tables.pull[:, rt.PULL_Z]
    far = b[:, bl.PEAK_Z] - b[:, bl.Z_RANGE]
    return on(RETRACT, np.fmin(far, pull), pull)


def peak(c: Case) -> Places:
    z = c.tables.base[:, bl.PEAK_Z]
    return on(APPROACH, z, z)


def top(c: Case) -> Places:
    """From where a flat top begins to the peak."""
    b = c.tables.base
    return marked(bl.FLAT_BACK, b[:, bl.FLAT_Z], np.fmax(b[:, bl.PEAK_Z], b[:, bl.FLAT_Z]), c)


def largest_spike(c: Case) -> Places:
    z = c.tables.base[:, bl.SPIKE_Z]
    return marked(bl.SPIKE_BACK, z, z, c)


def hole(c: Case) -> Places:
    b = c.tables.base
    return marked(bl.HOLE_BACK, b[:, bl.HOLE_Z], b[:, bl.HOLE_END], c)


def standstill(c: Case) -> Places:
    z = c.tables.base[:, bl.STILL_Z]
    return marked(bl.STILL_BACK, z, z, c)


def window(c: Case) -> Places:
    """The fit window."""
    return on(c.fit_back, c.tables.fit[:, ft.FIRST_Z], c.tables.fit[:, ft.LAST_Z])


def slope(c: Case) -> Places:
    """The stretch behind the slope in contact."""
    s = c.tables.slope
    return on(c.slope_back, s[:, st.FIRST_Z], s[:, st.LAST_Z])


def contact_point(c: Case) -> Places:
    z = c.tables.fit[:, ft.Z0]
    return on(c.fit_back, z, z)


def in_contact(c: Case) -> Places:
    """From the contact point to the peak."""
    z0, z = c.tables.fit[:, ft.Z0], c.tables.base[:, bl.PEAK_Z]
    return on(c.fit_back, np.fmin(z0, z), z)


def second_pull(c: Case) -> Places:
    z = c.tables.pull[:, rt.SECOND_Z]
    return on(RETRACT, z, z)


def neck(c: Case) -> Places:
    return on(RETRACT, c.tables.pull[:, rt.NECK_Z], c.tables.pull[:, rt.PULL_Z])


def upper_half(c: Case) -> Places:
    """Where both branches are compared: from zero force to the peak, on the retract."""
    return on(RETRACT, c.tables.pull[:, rt.ZERO_Z], c.tables.base[:, bl.PEAK_Z])


def uppermost(c: Case) -> Places:
    return on(APPROACH, c.tables.pull[:, rt.TOP_Z], c.tables.base[:, bl.PEAK_Z])
