"""From measured (z, d) to the axes a person chose, and back to z. Pure functions.

With k the spring constant and z0 the contact point, for z and d in nm with the baseline off:

    force F = k d [nN]     indentation δ = (z - z0) - d [nm]     separation D = -δ [nm]

"As measured" puts the baseline back, each branch its own, so that one sees what was taken off.

The person drags the fit window along whatever axis is shown; `z_at` brings its ends back to z
along the fitted branch, so that everything outside the curve view only ever hears of z. Figures for
paper use the same axes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from .curvereport import Branch, CurveReport

Array = np.ndarray

X_AXES = {"z": "base position", "separation": "separation", "indentation": "indentation"}
Y_AXES = {"force": "force", "deflection": "deflection", "measured": "as measured"}
TITLES = {
    "z": ("Base position z", "nm"), "separation": ("Separation D", "nm"),
    "indentation": ("Indentation δ", "nm"), "force": ("Force F", "nN"),
    "deflection": ("Deflection d", "nm"), "measured": ("Deflection as measured", "nm"),
}  # fmt: skip


def title(key: str, report: CurveReport | None) -> str:
    """The title of an axis with its unit."""
    if key in ("deflection", "measured") and report is not None and not report.constants.lengths:
        return "Signal (as recorded)"
    name, unit = TITLES[key]
    return f"{name} ({unit})"


@dataclass(frozen=True)
class Frame:
    """The axes in use for one curve; `k` in N/m and `z0` in nm (NaN if not needed)."""

    x: str = "z"
    y: str = "deflection"
    k: float = math.nan
    z0: float = math.nan

    def along(self, z: Array, d: Array) -> Array:
        """Base position and deflection [nm] to the x axis."""
        if self.x == "z":
            return np.asarray(z, dtype=float)
        delta = np.asarray(z, dtype=float) - self.z0 - d
        return delta if self.x == "indentation" else -delta

    def up(self, z: Array, d: Array, branch: Branch) -> Array:
        """Deflection [nm] at base positions of a branch to the y axis."""
        d = np.asarray(d, dtype=float)
        return d + baseline_of(branch, z) if self.y == "measured" else d * self.gain

    @property
    def gain(self) -> float:
        """Length on the y axis of one nm of deflection."""
        return self.k if self.y == "force" else 1.0

    def place(self, z: Array, d: Array, branch: Branch) -> tuple[Array, Array]:
        """Points (z, d) that belong to a branch, on both axes."""
        return self.along(z, d), self.up(z, d, branch)

    def point(self, at: tuple[float, float], branch: Branch) -> tuple[float, float]:
        """One (z, d) that belongs to a branch, on both axes."""
        x, y = self.place(np.array([at[0]]), np.array([at[1]]), branch)
        return float(x[0]), float(y[0])


def baseline_of(branch: Branch, z: Array) -> Array:
    """The baseline [nm] that was taken off a branch, at any z; NaN if the branch is empty.

    Beyond the branch the straight line through its ends goes on; between, what the baseline has
    beside that (a wave, a drift) is read off the samples.
    """
    if branch.z.size < 2:
        return np.full(np.shape(z), math.nan)
    z = np.asarray(z, dtype=float)
    (z0, z1), (b0, b1) = branch.z[[0, -1]], branch.line[[0, -1]]
    slope = (b1 - b0) / (z1 - z0)
    rest = branch.line - (b0 + slope * (branch.z - z0))
    order = np.argsort(branch.z, kind="stable")
    return b0 + slope * (z - z0) + np.interp(z, branch.z[order], rest[order], 0.0, 0.0)


def frame_for(report: CurveReport, x: str, y: str) -> tuple[Frame, str]:
    """The axes wanted if this curve can be drawn on them, else the nearest that it can.

    Returns the frame and a sentence for each fall-back, empty if there was none.
    """
    notes = []
    k, z0 = report.spring_constant, report.z0
    lengths = report.constants.lengths
    if y == "force" and not math.isfinite(k):
        y = "deflection"
        if lengths:
            notes.append("No spring constant: deflection is shown instead of force.")
    if x != "z" and not math.isfinite(z0):
        notes.append(f"No contact point on this curve: z is shown instead of {x}.")
        x = "z"
    if not lengths:
        notes.append("The signal can't be turned into nm: it is shown as recorded.")
    return Frame(x, y, k, z0), " ".join(notes)


def fitted_branch(report: CurveReport) -> Branch:
    """The branch that the law was fitted to."""
    return report.approach if report.window_branch == "approach" else report.retract


def slope_branch(report: CurveReport) -> Branch:
    """The branch that the contact stiffness was read off."""
    on_approach = report.settings.stiffness.branch == "approach"
    return report.approach if on_approach else report.retract


def track(report: CurveReport, frame: Frame) -> tuple[Array, Array]:
    """(z, x) along the fitted branch, z rising and x rising or falling throughout.

    Noise makes the measured x go to and fro; the fitted law is followed where there is one, a
    running mean elsewhere, and small steps back are flattened. Empty if the branch is.
    """
    branch = fitted_branch(report)
    z, d = branch.z, branch.d
    if z.size < 2 or frame.x == "z":
        return z, z
    width = max(3, z.size // 50) | 1
    padded = np.pad(d, width // 2, mode="edge")
    smooth = np.convolve(padded, np.ones(width) / width, "valid")
    if report.law_z.size:
        inside = (z >= report.law_z[0]) & (z <= report.law_z[-1])
        smooth[inside] = np.interp(z[inside], report.law_z, report.law_d)
    delta = np.maximum.accumulate(z - frame.z0 - smooth)
    return z, delta if frame.x == "indentation" else -delta


def z_at(report: CurveReport, frame: Frame, x: float) -> float:
    """Base position [nm] on the fitted branch at a place of the x axis, held inside the branch."""
    z, along = track(report, frame)
    if z.size < 2 or frame.x == "z":
        return float(x)
    rising = along if frame.x == "indentation" else -along
    wanted = x if frame.x == "indentation" else -x
    return float(np.interp(wanted, rising + 1e-9 * np.arange(rising.size), z))


def x_at(report: CurveReport, frame: Frame, z: float) -> float:
    """Place on the x axis of a base position on the fitted branch; NaN stays NaN."""
    if frame.x == "z" or not math.isfinite(z):
        return float(z)
    at, along = track(report, frame)
    return float(np.interp(z, at, along)) if at.size > 1 else math.nan


def window_on(report: CurveReport, frame: Frame) -> tuple[float, float] | None:
    """The fit window on the x axis, lower end first; None if there is none."""
    ends = [x_at(report, frame, z) for z in report.window]
    if not all(math.isfinite(e) for e in ends):
        return None
    return min(ends), max(ends)


def window_in_z(report: CurveReport, frame: Frame, ends: tuple[float, float]
                ) -> tuple[float, float]:  # fmt: skip
    """The ends of a region on the x axis as base positions, lower one first."""
    low, high = sorted(z_at(report, frame, e) for e in ends)
    return low, high


def contact_start(report: CurveReport) -> float:
    """Where to begin to show the part in contact: before contact and release, with some room."""
    marks = [z for z in (report.contact[0], report.pull_off[0], report.release[0], report.zero[0])
             if math.isfinite(z)]  # fmt: skip
    if not marks or not math.isfinite(report.peak[0]):
        return -math.inf
    first = min(marks)
    return first - 0.35 * max(report.peak[0] - first, 1.0)
