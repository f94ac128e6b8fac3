"""A drift of the modulus with depth, and what it usually means.

The change is that from a shallow window (the lower part of the range) to a deep one (the upper
part). If it stands out of its ± the causes are tried, not guessed: the same two windows are fitted
without the suspect. A cause is named if the change then shrinks to less than half.

- adhesion ignored: the settings have none, the retract shows one, and with it the drift is gone;
- contact late or early: the contact is held, and with a fitted one the drift is gone. A late
  contact makes E fall with depth, an early one rise: (2n+1)/2 dδ0/δmax for a fit from 0 to δmax;
- layer or hard neighbour below: E rises, and with the exponent free that exceeds the law's and
  itself grows with depth;
- wrong law: the exponent differs from the law's, and is the same at all depths.

A sensitivity that is too large makes E of a stiff contact rise with depth, one too small fall, like
a layer or a wrong law; one map's windows do not tell that, so where one of these two or no cause is
named it is named too.

The first three are given so in many texts; which window, and "less than half", are our rules.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from ..columns import baseline as bl
from ..columns import law as cl
from ..comparison.options import option_of, settings_of
from ..models import law_of
from ..pipeline import free_of
from ..progress import Progress
from ..settings import Settings
from .differences import median_of, percent
from .grid import Grid, windowed
from .runs import Bench, Windows

Array = np.ndarray
SIGNIFICANT, LEAST = 3.0, 0.04
"""A drift is told from three times its ± on, and from 4 % on (twice the plateau's tolerance)."""
SPLIT = 0.4
"""Where the shallow window ends and the deep one begins, as a share of the range."""
HALF = 0.5
PULL = 0.02
"""Pull-off over peak force from which on adhesion is looked at as a cause."""
BENT = 0.05
"""Difference of exponents that is told."""

MEANINGS = {
    "adhesion_ignored": "This usually means that adhesion is ignored: the retract shows a pull-off "
    "of {pull:.2g} of the peak force, and with a law that has adhesion the drift shrinks to "
    "{left:+.0f} %.",
    "contact_late": "This usually means a late contact point: fitted with the law it lies "
    "{shift:.2g} nm earlier, and the drift shrinks to {left:+.0f} %.",
    "contact_early": "This usually means an early contact point: fitted with the law it lies "
    "{shift:.2g} nm later, and the drift shrinks to {left:+.0f} %.",
    "layer_below": "This usually means a layer or a hard neighbour below: the fitted exponent is "
    "{deep:.2f} where the law has {law:g}, and it grows with depth ({shallow:.2f} in the shallow "
    "part). Or the deflection sensitivity is too large: see “Whole map”.",
    "wrong_law": "This usually means a wrong law: the fitted exponent is {deep:.2f} where the law "
    "has {law:g}, and nearly the same in the shallow part ({shallow:.2f}). "
    "Or the deflection sensitivity is off: see “Whole map”.",
    "unnamed": "None of the usual causes explains it, or the deflection sensitivity is off: see "
    "“Whole map”.",
}
"""What a drift usually means -> its sentence."""


@dataclass(frozen=True)
class Drift:
    """How the modulus changes from a shallow to a deep window.

    Attributes
    ----------
    name : of `MEANINGS`; empty where there is no drift that stands out
    change, error : of ln E, deep minus shallow, and its ±
    shallow, deep : the two windows (low, high), in the unit of the grid
    left : of `change` without the cause; NaN if none was found
    shift : contact point held minus fitted [nm], the median; NaN if it is not held
    exponent, exponent_shallow : fitted, over the whole and the shallow part
    words : all of it in a sentence or two
    """

    name: str
    change: float
    error: float
    shallow: tuple[float, float]
    deep: tuple[float, float]
    left: float = math.nan
    shift: float = math.nan
    exponent: float = math.nan
    exponent_shallow: float = math.nan
    words: str = ""


class _Trial:
    """The shallow, the deep and the whole window, under any settings."""

    def __init__(self, bench: Bench, grid: Grid, settings: Settings, progress: Progress) -> None:
        self.bench, self.grid, self.settings, self.progress = bench, grid, settings, progress
        low, high = float(grid.lows[0]), float(grid.highs[-1])
        middle = low + SPLIT * (high - low)
        self.ends = [(low, middle), (middle, high), (low, high)]

    def fit(self, settings: Settings) -> Windows:
        chosen = [windowed(settings, self.grid.kind, low, high) for low, high in self.ends]
        return self.bench.fit(chosen, self.progress, "Looking for the cause of a drift")

    def change(self, windows: Windows) -> tuple[float, float]:
        """ln E deep minus shallow, and its ±; one curve: the windows share no samples."""
        return _median(windows.value[1] - windows.value[0],
                       np.hypot(windows.error[0], windows.error[1]))  # fmt: skip

    def under(self, **fit: str) -> Settings | None:
        """The settings with another law or adhesion, the window as it is."""
        s = self.settings
        option = option_of(fit.get("law", s.fit.law), fit.get("adhesion", s.fit.adhesion))
        made, _ = settings_of(self.bench.map, s, option)
        return made and replace(made, fit=replace(made.fit, window=s.fit.window))


def _median(values: Array, own: Array) -> tuple[float, float]:
    """Median over curves and its ±; of one curve the value and its own ±."""
    middle, error, _ = median_of(values)
    return float(middle), float(own[0] if values.size == 1 else error)


def drift_of(bench: Bench, grid: Grid, settings: Settings, progress: Progress) -> Drift:
    """The drift over a grid's range, with its cause if one is found."""
    trial = _Trial(bench, grid, settings, progress)
    present = trial.fit(settings)
    change, error = trial.change(present)
    shallow, deep, _ = trial.ends
    if not (abs(change) > LEAST and abs(change) > SIGNIFICANT * error):
        return Drift("", change, error, shallow, deep)
    found = [*_adhesion(trial, change), *_contact(trial, present, change)]
    if found:
        name, left, more = min(found, key=lambda one: abs(one[1]))
    else:
        name, left, more = _exponents(trial, change)
    words = f"E {'rises' if change > 0.0 else 'falls'} with depth by {abs(percent(change)):.0f} % "
    words += (f"from a window of {shallow[0]:g} to {shallow[1]:.3g} {grid.unit} to one of "
              f"{deep[0]:.3g} to {deep[1]:.3g} {grid.unit}. ")  # fmt: skip
    words += MEANINGS[name].format(left=percent(left), law=law_of(settings.fit.law).exponent,
                                   pull=pull_share(bench), deep=more.get("exponent", math.nan),
                                   shallow=more.get("exponent_shallow", math.nan),
                                   shift=abs(more.get("shift", math.nan)))  # fmt: skip
    return Drift(name, change, error, shallow, deep, left, words=words, **more)


Cause = tuple[str, float, dict[str, float]]


def pull_share(bench: Bench) -> float:
    """Pull-off over peak force, the median of the curves; 0 where it does not stand out."""
    pull, _ = bench.one.per_curve("adhesion")
    peak, _ = bench.one.per_curve("peak_force")
    noise = bench.rows["baseline"][:, bl.B_NOISE] * bench.request.constants.force_scale
    with np.errstate(all="ignore"):
        share = np.where(pull > 5.0 * noise, pull / peak, 0.0)
    share = share[np.isfinite(share)]
    return float(np.median(share)) if share.size else 0.0


def _adhesion(trial: _Trial, change: float) -> list[Cause]:
    """With adhesion, if there is some and the settings have none."""
    if trial.settings.fit.adhesion != "none" or pull_share(trial.bench) < PULL:
        return []
    found: list[Cause] = []
    round_tip = trial.settings.fit.law == "paraboloid"
    for adhesion in ("constant", "jkr") if round_tip else ("constant",):
        settings = trial.under(adhesion=adhesion)
        if settings is not None:
            left, _ = trial.change(trial.fit(settings))
            if abs(left) < HALF * abs(change):
                found.append(("adhesion_ignored", left, {}))
    return found


def _contact(trial: _Trial, present: Windows, change: float) -> list[Cause]:
    """With the contact fitted, if it is held."""
    if cl.Z0 in free_of(trial.settings):
        return []
    free = trial.fit(replace(trial.settings, fit=replace(trial.settings.fit, contact="free")))
    left, _ = trial.change(free)
    shift, _ = _median(present.contact[2] - free.contact[2], free.error[2])
    late = change < 0.0
    if not abs(left) < HALF * abs(change) or (shift > 0.0) != late:
        return []
    return [("contact_late" if late else "contact_early", left, {"shift": shift})]


def _exponents(trial: _Trial, change: float) -> Cause:
    """The exponent of the whole and of the shallow part, with contact and exponent fitted."""
    sticky = "none" if trial.settings.fit.adhesion == "none" else "constant"
    settings = trial.under(law="free_exponent", adhesion=sticky)
    if settings is None:
        return "unnamed", math.nan, {}
    free = trial.fit(replace(settings, fit=replace(settings.fit, contact="free")))
    deep, u_deep = _median(free.exponent[2], free.exponent_error[2])
    shallow, _ = _median(free.exponent[0], free.exponent_error[0])
    bend, u_bend = _median(free.exponent[2] - free.exponent[0],
                           np.hypot(free.exponent_error[2], free.exponent_error[0]))  # fmt: skip
    more = {"exponent": deep, "exponent_shallow": shallow}
    law = law_of(trial.settings.fit.law).exponent
    off = deep - law
    if not abs(off) > max(BENT, SIGNIFICANT * u_deep):
        return "unnamed", math.nan, more
    if change > 0.0 and off > 0.0 and bend > max(BENT, SIGNIFICANT * u_bend):
        return "layer_below", math.nan, more
    return ("wrong_law" if abs(bend) < abs(off) else "unnamed"), math.nan, more
