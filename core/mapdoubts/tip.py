"""Whether the tip changed: a step from one scan line to the next that all components share.

A radius R₂ in place of R₁ makes the apparent reduced modulus √(R₂/R₁) times as large, and the
pull-off of a round tip R₂/R₁ times (C = 4/3 E* √R; F = n π R w with n of 3/2 to 2 by the law). A
pull-off that steps alone in the only component there is may be the sample's: that is mild.
"""

from __future__ import annotations

import math

import numpy as np

from ..channels import CHANNELS
from .lines import Array, spread
from .parts import Evidence, MapDoubt, Plot, factor_words
from .steps import LINES, Step, of_a_tip
from .view import View

PULL = "release_force"
CHANGED = "a change of the tip"
"""What is judged here, in words."""


def tip_changed(view: View) -> list[MapDoubt]:
    """One doubt for each step, the largest first."""
    names = (view.stiffness_name(), PULL)
    logs = [view.log(name) for name in names]
    limit = view.analysis.settings.doubts.least_step
    lines, across = view.good.shape
    if lines < LINES or across < 4 or not any(np.isfinite(y).any() for y in logs):
        known = any(np.isfinite(y).any() for y in logs)
        return view.cannot(CHANGED, view.few_lines if known else view.no_number)
    steps = sorted(view.steps, key=lambda s: -float(np.nanmax(np.abs(s.size))))
    return [_doubt(view, step, names, logs, limit) for step in steps]


def _doubt(view: View, step: Step, names: tuple[str, ...], logs: list[Array], limit: float
           ) -> MapDoubt:  # fmt: skip
    row, word = view.number(step.line), view.scan.word
    largest = int(np.nanargmax(np.abs(step.size)))
    words, implied = _implied(step, names)
    factor = math.exp(float(step.size[largest]))
    plots = tuple(_plot(view, step, name, y, k)
                  for k, (name, y) in enumerate(zip(names, logs, strict=True))
                  if math.isfinite(step.size[k]))  # fmt: skip
    if step.pull_only:
        words = _pull_words(step)
    elif len(step.levels) < 2:
        words += (" Only one component lies on both sides, so a boundary along this line would "
                  "look alike.")  # fmt: skip
    sentence = (f"Within {word} {row} something changed: after it {words}" if step.split else
                f"From {word} {row} on {words}")
    out = f", and leave {word} {row} out" * step.split
    evidence = Evidence(plots, _facts(view, step, names, implied), row, word,
                        tuple(n for n, s in zip(names, step.size, strict=True) if s == s))
    return MapDoubt(
        "pull_off_stepped" if step.pull_only else "tip_changed",
        "mild" if step.pull_only else "severe", sentence, 100.0 * abs(factor - 1.0),
        100.0 * factor * float(step.error[largest]), limit, "%",
        f"Judge the {word}s before and from {row} on apart, or leave one part out{out}; look "
        "at the tip, and measure the place again.", evidence,
    )  # fmt: skip


def _facts(view: View, step: Step, names: tuple[str, ...], implied: tuple[float, float] | None
           ) -> dict[str, tuple[float, float, str]]:  # fmt: skip
    """Factors of both channels, of the tip's radius and of the roughness, and of each level."""
    facts = {}

    def told(words: str, log: float, error: float) -> None:
        facts[words] = (math.exp(log), math.exp(log) * error, "")

    for name, size, error in zip(names, step.size, step.error, strict=True):
        if math.isfinite(size):
            told(f"{CHANNELS[name].label} after over before", size, error)
    if implied is not None:
        told("Tip radius after over before", *implied)
    sharper = _sharpness(view, step.line)
    if sharper is not None:
        told("Roughness from pixel to pixel, after over before", *sharper)
    stiff = CHANNELS[names[0]]
    for level, sizes, errors in step.levels:
        told(f"{stiff.label} after over before, near {math.exp(level):.3g} {stiff.unit}",
             sizes[0], errors[0])  # fmt: skip
    return facts


def _pull_words(step: Step) -> str:
    return (f"the {CHANNELS[PULL].label.lower()} is {factor_words(step.size[1], step.error[1])} "
            "times what it was before, and the modulus stays: something sticks to the tip or came "
            "off, or the sample's surface changes along this line. With one component the map does "
            "not tell which.")  # fmt: skip


def _implied(step: Step, names: tuple[str, ...]) -> tuple[str, tuple[float, float] | None]:
    """The sentence's end, and ln R₂/R₁ with its error where a radius explains both channels."""
    parts = [f"the {CHANNELS[name].label.lower()} is {factor_words(size, error)} times"
             for name, size, error in zip(names, step.size, step.error, strict=True)
             if math.isfinite(size)]  # fmt: skip
    alike = ", in all components alike" if len(step.levels) > 1 else ""
    said = f"{' and '.join(parts)} what it was before{alike}: the tip changed"
    size, error = step.size, step.error
    if of_a_tip(size, error) and names[0] == "reduced_modulus":
        weights = np.array([1.0 / (2.0 * error[0]) ** 2, 1.0 / error[1] ** 2])
        mean = float((weights * np.array([2.0 * size[0], size[1]])).sum() / weights.sum())
        own = float(1.0 / math.sqrt(weights.sum()))
        return f"{said}. Both fit a tip radius {factor_words(mean, own)} times as large.", (
            mean, own)  # fmt: skip
    if np.isfinite(size).all() and abs(size[0]) <= 3.0 * error[0]:
        return (f"{said}. The modulus does not follow, so its size stayed: something sticks to it, "
                "or came off."), None  # fmt: skip
    return f"{said}, but not its radius alone: the factors are not those of one.", None


def _sharpness(view: View, line: int) -> tuple[float, float] | None:
    """ln of the height's roughness from pixel to pixel after a line over that before, and ±."""
    height = view.channel("height")
    bend = height[:, 2:] - 2.0 * height[:, 1:-1] + height[:, :-2]
    rough = np.array([spread(row) for row in bend])
    with np.errstate(divide="ignore", invalid="ignore"):
        rough = np.log(np.where(rough > 0.0, rough, np.nan))
    before, after = (part[np.isfinite(part)] for part in (rough[max(line - 8, 0) : line],
                                                          rough[line : line + 8]))  # fmt: skip
    if min(before.size, after.size) < 4:
        return None
    error = math.hypot(*(1.2533 * spread(p) / math.sqrt(p.size) for p in (before, after)))
    return float(np.median(after) - np.median(before)), error


def _plot(view: View, step: Step, name: str, y: Array, k: int) -> Plot:
    """The factor of each line against the line before the step, column by column."""
    lines = y.shape[0]
    low, high = max(step.line - 12, 0), min(step.line + 12, lines)
    reference = np.nanmedian(np.where(np.isfinite(y), y, np.nan)[low : step.line], axis=0)
    off = y[low:high] - reference
    x = np.array([float(view.number(i)) for i in range(low, high)])
    middle = np.array([np.nanmedian(row) if np.isfinite(row).any() else np.nan for row in off])
    error = np.array([1.2533 * spread(row) / math.sqrt(max(np.isfinite(row).sum(), 1))
                      for row in off])  # fmt: skip
    value = np.exp(middle)
    fit = np.where(np.arange(low, high) < step.line, 1.0, math.exp(step.size[k]))
    label = CHANNELS[name].label
    word = view.scan.word
    return Plot(f"{label}, {word} by {word}", word.capitalize(), f"{label} over that before", x,
                value, value * error, x, fit)  # fmt: skip
