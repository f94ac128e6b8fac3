"""What changes slowly along a scan: the height, the noise, the baseline, the tip; and heights that
jump from line to line.

A drift of z is told from a slope of the sample only where neighbouring pixels of the same column
were taken at different times apart, as in a scan that runs there and back: near the turn two lines
follow each other at once, at the other end two lines' time later. In a scan that always runs the
same way a drift looks like a slope of the surface, and none is told.
"""

from __future__ import annotations

import math

import numpy as np

from ..channels import CHANNELS
from ..columns import baseline as bl
from ..steps.clock import clock_of
from .lines import BIWEIGHT, Array, location, spread
from .parts import Evidence, MapDoubt, Plot
from .trend import FEWEST, trend
from .view import View

JUMPS, DRIFT, WEAR = "jumps of z", "drift of z", "wear of the tip"
NOISE, BASELINE = "growing noise", "a drifting baseline"
"""What is judged here, in words."""
SURE = 4.0
"""Standard errors from which on a trend is told."""
JUMP = 10.0
"""Times the usual difference of two lines, from which on a height has jumped."""
BLOCK = 8
"""Pixels on a side that are taken together for an error, so that the relief is not taken for
independent from pixel to pixel."""


def z_drift(view: View) -> list[MapDoubt]:
    """The drift of the height [nm per line], where the order of the scan can tell it."""
    height = view.channel("contact_height")
    if not np.isfinite(height).any():
        height = view.channel("height")
    time = view.time
    rise, apart = np.diff(height, axis=0), np.diff(time, axis=0)
    limit = view.analysis.settings.doubts.worst_height_drift
    both = np.isfinite(rise) & np.isfinite(apart)
    if height.shape[0] < FEWEST or both.sum() < 64:
        return view.cannot(DRIFT, view.few_lines)
    if not np.std(apart[both]) > 0.2:
        return view.cannot(DRIFT, "all lines were taken the same way, so that a drift looks like a "
                                  "slope of the surface")  # fmt: skip
    rate, error, tilt = _rate(rise, apart)
    if not (abs(rate) > limit and abs(rate) > SURE * error):
        return []
    facts = {"Drift of the height": (rate, error, "nm per line"),
             "Slope of the surface along the scan": (tilt, math.nan, "nm per line")}  # fmt: skip
    said = f"{rate:+.3g} ± {error:.1g} nm from line to line"
    seconds = float(np.nanmedian(clock_of(view.analysis.map, view.curves)[:, 2]))
    if seconds > 0.0:
        a_line = seconds * height.shape[1]
        facts["Drift of the height at most"] = (rate / a_line, error / a_line, "nm/s")
        said += f", {rate / a_line:+.2g} nm/s at most"
    total = abs(rate) * (height.shape[0] - 1)
    return [MapDoubt(
        "z_drift", "mild",
        f"The height drifts by {said}, {total:.3g} nm over the map: lines that were taken one "
        "right after the other differ less than lines taken later.", abs(rate), error, limit,
        "nm per line",
        "Let the instrument rest before the map, or take the heights after levelling line by line; "
        "modulus and pull-off do not suffer.",
        Evidence((_drift_plot(rise - tilt, apart, rate),), facts, along=view.scan.word,
                 channels=("height", "contact_height")),
    )]  # fmt: skip


def _rate(rise: Array, apart: Array) -> tuple[float, float, float]:
    """Rise of the height with the time between two lines, its error, and what is left of it as the
    surface's slope; robust, errors from blocks of pixels."""
    good = np.isfinite(rise) & np.isfinite(apart)
    y, t = rise[good], apart[good]
    rows, cols = np.nonzero(good)
    block = rows // BLOCK * (rise.shape[1] // BLOCK + 1) + cols // BLOCK
    width, weight = max(spread(y), 1e-9), np.ones(y.size)
    rate = tilt = 0.0
    for _ in range(15):
        if not weight.sum() > 0.0:
            return math.nan, math.nan, math.nan
        mean = float((weight * t).sum() / weight.sum())
        size = float((weight * (t - mean) ** 2).sum())
        if not size > 0.0:
            return math.nan, math.nan, math.nan
        rate = float((weight * (t - mean) * y).sum()) / size
        tilt = float((weight * y).sum() / weight.sum()) - rate * mean
        off = y - tilt - rate * t
        weight = np.maximum(1.0 - (off / (BIWEIGHT * width)) ** 2, 0.0) ** 2
    pulls = np.bincount(block, weights=weight * (t - mean) * off)
    return rate, math.sqrt(float((pulls**2).sum())) / size, tilt


def _drift_plot(rise: Array, apart: Array, rate: float) -> Plot:
    """Rise of the height against the time between two lines, in ten groups."""
    good = np.isfinite(rise) & np.isfinite(apart)
    y, t = rise[good], apart[good]
    parts = np.array_split(np.argsort(t), 10)
    x = np.array([t[p].mean() for p in parts])
    middle = np.array([np.median(y[p]) for p in parts])
    error = np.array([1.2533 * spread(y[p]) / math.sqrt(p.size) for p in parts])
    ends = np.array([x[0], x[-1]])
    return Plot("Height of a line over the one before", "Time between the two (lines)",
                "Rise of the height (nm)", x, middle, error, ends, rate * ends)  # fmt: skip


def height_step(view: View) -> list[MapDoubt]:
    """The largest jump of the height that all pixels of a line share."""
    height = view.channel("height")
    rise = np.diff(height, axis=0)
    limit = view.analysis.settings.doubts.worst_height_step
    if height.shape[0] < 4 or height.shape[1] < 4:
        return view.cannot(JUMPS, view.few_lines)
    width = spread(rise)
    at = location(rise, width) if width > 0.0 else np.full(rise.shape[0], np.nan)
    at = at - np.median(at[np.isfinite(at)]) if np.isfinite(at).any() else at
    if not np.isfinite(at).any():
        return view.cannot(JUMPS, view.few_lines)
    usual = np.fmax(spread(at), width / math.sqrt(height.shape[1]))
    size = np.nan_to_num(np.abs(at))
    line = int(np.argmax(size))
    whole = np.isfinite(rise[line])
    shared = np.mean((rise[line][whole] * np.sign(at[line])) > 0.5 * size[line])
    if not (size[line] > JUMP * usual and size[line] > limit and shared > 0.8):
        return []
    row = view.number(line + 1)
    word = view.scan.word
    lines = int(np.count_nonzero(size > max(JUMP * usual, limit)))
    more = f" {lines} lines jump so." * (lines > 1)
    x = np.array([float(view.number(i + 1)) for i in range(at.size)])
    return [MapDoubt(
        "height_step", "mild",
        f"At {word} {row} the height jumps by {at[line]:+.3g} ± {usual:.1g} nm in all pixels of "
        f"the line: the tip took something up or lost it, or z slipped.{more}",
        float(size[line]), float(usual), limit, "nm",
        "Level the heights line by line; look whether modulus and pull-off step there too.",
        Evidence((Plot(f"Height, {word} by {word}", word.capitalize(), "Step of the height (nm)",
                       x, at, np.full(at.size, usual), x, np.zeros(at.size)),),
                 {"Step of the height": (float(at[line]), float(usual), "nm")}, row, word,
                 ("height",)),
    )]  # fmt: skip


def noise_grows(view: View) -> list[MapDoubt]:
    """The noise along the scan."""
    y = view.log("noise")
    change, error, middle = trend(y)
    if math.isnan(change):
        return view.cannot(NOISE, view.few_lines)
    limit = view.analysis.settings.doubts.worst_trend
    if not _told(change, error, limit):
        return []
    word = "grows" if change > 0.0 else "falls"
    percent = 100.0 * math.expm1(change)
    return [MapDoubt(
        "noise_drifts", "mild",
        f"The noise {word} along the scan, by {percent:+.0f} ± {100.0 * error:.0f} % from the "
        "first line to the last.", abs(percent), 100.0 * math.exp(change) * error, limit, "%",
        "Look for what moved or warmed up; where each curve's noise counts, the ± of its numbers "
        "follows by itself.",
        _evidence(view, {"noise": (change, error, middle)}, "noise of the deflection"),
    )]  # fmt: skip


def baseline_drifts(view: View) -> list[MapDoubt]:
    """The slope of the baseline along the scan, as a pull over the travel."""
    analysis = view.analysis
    slope = view.channel("baseline_slope")
    travel = float(np.nanmedian(analysis.tables.base[:, bl.Z_RANGE]))
    pull = float(np.nanmedian(view.channel("release_force"))) / analysis.constants.force_scale
    noise = float(np.nanmedian(view.channel("noise")))
    change, error, middle = trend(slope * travel)
    if math.isnan(change):
        return view.cannot(BASELINE, view.few_lines)
    limit = analysis.settings.doubts.worst_trend
    size = max(np.nan_to_num(pull), 5.0 * noise)
    if not (abs(change) > limit / 100.0 * size and abs(change) > SURE * error):
        return []
    percent = 100.0 * abs(change) / size
    return [MapDoubt(
        "baseline_drifts", "mild",
        f"The slope of the baseline drifts along the scan, by {change / travel:+.2g} from the "
        f"first line to the last: over the travel that is {percent:.0f} % of the pull-off.",
        percent, 100.0 * error / size, limit, "%",
        "The line that is taken off each curve mends it; with “offset only” choose offset and "
        "slope.",
        _evidence(view, {"baseline_slope": (change / travel, error / travel, middle / travel)},
                  "slope of the baseline", log=False),
    )]  # fmt: skip


def tip_wears(view: View) -> list[MapDoubt]:
    """Pull-off and modulus within the components along the scan, steps of the tip taken out."""
    names = (view.stiffness_name(), "release_force")
    logs = [view.log(name) for name in names]
    for step in view.steps:
        logs = [step.taken_out(y, k) for k, y in enumerate(logs)]
    found = {}
    group = _levels_of(logs[0]) if view.labels is None else view.labels
    for name, y in zip(names, logs, strict=True):
        found[name] = trend(_within(y, group))
    if all(math.isnan(change) for change, _, _ in found.values()):
        known = any(np.isfinite(y).any() for y in logs)
        return view.cannot(WEAR, view.few_lines if known else view.no_number)
    limit = view.analysis.settings.doubts.worst_trend
    told = [name for name in found if _told(*found[name][:2], limit)]
    if not told:
        return []
    parts = [f"the {CHANNELS[n].label.lower()} by {100.0 * math.expm1(found[n][0]):+.0f} ± "
             f"{100.0 * math.exp(found[n][0]) * found[n][1]:.0f} %" for n in told]  # fmt: skip
    name = max(told, key=lambda n: abs(found[n][0]))
    change, error, _ = found[name]
    return [MapDoubt(
        "tip_wears", "mild",
        f"Within the components {' and '.join(parts)} from the first line to the last: the tip "
        "wears or takes something up as it goes, or the sample changes that way.",
        100.0 * abs(math.expm1(change)), 100.0 * math.exp(change) * error, limit, "%",
        "Measure the place again with the slow direction turned: what the sample does turns with "
        "it, what the tip does not.",
        _evidence(view, found, "within the components"),
    )]  # fmt: skip


def _told(change: float, error: float, limit: float) -> bool:
    return abs(change) > math.log1p(limit / 100.0) and abs(change) > SURE * error


def _levels_of(y: Array) -> Array:
    """Heaps of a channel over the whole map as components, int; -1 between them."""
    group = np.full(y.shape, -1)
    free = np.isfinite(y)
    least = max(0.05 * np.count_nonzero(free), 16)
    width = max(spread(np.diff(y, axis=1)) / math.sqrt(2.0), 1e-6)
    for g in range(6):
        if np.count_nonzero(free) < least:
            break
        middle = location(np.where(free, y, np.nan).reshape(1, -1), width)[0]
        group[free & (np.abs(y - middle) < 6.0 * width)] = g
        free &= np.abs(y - middle) > 8.0 * width
    return group


def _within(y: Array, group: Array) -> Array:
    """A channel less the median of each pixel's group; NaN of no group."""
    out = np.full(y.shape, np.nan)
    for g in np.unique(group[group >= 0]):
        inside = group == g
        known = y[inside]
        if np.isfinite(known).any():
            out[inside] = known - np.nanmedian(known)
    return out


def _evidence(view: View, found: dict[str, tuple[float, float, Array]], words: str,
              log: bool = True) -> Evidence:  # fmt: skip
    """Each line's median and the line through them."""
    plots, facts = [], {}
    for name, (change, error, middle) in found.items():
        channel = CHANNELS[name]
        x = np.array([float(view.number(i)) for i in range(middle.size)])
        share = np.linspace(-0.5, 0.5, middle.size)
        centre = float(np.nanmean(middle - change * share))
        fit = centre + change * share
        if log:
            shown, drawn = np.exp(middle - centre), np.exp(fit - centre)
            label = f"{channel.label} over the middle one"
            facts[f"{channel.label}, last line over first"] = (
                math.exp(change), math.exp(change) * error, "")  # fmt: skip
        else:
            shown, drawn, label = middle, fit, channel.title
            facts[f"{channel.label}, last line less first"] = (change, error, channel.unit)
        plots.append(Plot(f"{channel.label}, {words}", view.scan.word.capitalize(), label, x, shown,
                          np.full(x.size, np.nan), x, drawn))  # fmt: skip
    return Evidence(tuple(plots), facts, along=view.scan.word, channels=tuple(found))
