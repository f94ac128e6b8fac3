"""What ``analyse`` says of a result: the table, what it was made with, and the advice."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator
from typing import Any

from ..analysis import Analysis
from ..settings import ADHESIONS, SHAPES

WIDTH = 100
MANY = 0.2
"""Share of the curves with contact from which two-point JKR's failures earn a hint."""


def told(result: Analysis) -> str:
    """All that is printed of one result."""
    notes = (f"Note: {remark}" for remark in result.remarks)
    return "\n".join([summary(result), *notes, *doubt_lines(result), *advice_lines(result),
                      *hints(result)])  # fmt: skip


def summary(result: Analysis) -> str:
    """A table of the channels over the pixels without a severe doubt, and the doubts."""
    import numpy as np

    from ..doubts import DOUBTS
    from ..units import best_unit

    good = result.trusted
    lines = [f"{result.map.title or result.map.path}: {result.map.n_curves} curves, "
             f"{int(good.sum())} pixels without a severe doubt (the medians are theirs)",
             made_with(result),
             f"{'':26}{'median':>10} {'quartiles':>21}"]  # fmt: skip
    for channel, values, _ in result.channels():
        kept = values[good & np.isfinite(values)]
        if kept.size == 0:
            lines.append(f"{channel.label:26}{'–':>10}")
            continue
        low, middle, high = np.percentile(kept, [25, 50, 75])
        unit, factor = best_unit(middle, channel.unit)
        lines.append(f"{channel.label:26}{middle * factor:10.4g} {low * factor:10.4g} "
                     f"{high * factor:10.4g} {unit}")  # fmt: skip
    for name, count in result.doubt_counts().items():
        doubt, curves = DOUBTS[name], "curve, " if count == 1 else "curves,"
        lines.append(f"{count:7d} {curves} {doubt.severity}: {doubt.sentence}")
    return "\n".join(lines)


def doubt_lines(result: Analysis) -> Iterator[str]:
    """The doubts about the whole map, each with what mends it."""
    from ..mapdoubts import map_doubts

    for doubt in map_doubts(result):
        yield from wrapped(f"Map, {doubt.severity}: {doubt.sentence} {doubt.repair}")


def made_with(result: Analysis) -> str:
    """Law, adhesion, layer and Poisson ratio in one line."""
    fit, layer = result.settings.fit, result.settings.layer
    words = [f"Law: {SHAPES[fit.law]}", f"adhesion: {ADHESIONS[fit.adhesion]}"]
    if fit.adhesion not in ("none", "two_point"):
        words.append(f"pull-off {'fitted' if fit.pull_off == 'fitted' else 'as measured'}")
    if layer.base != "none":
        thick = "thickness from a map" if result.map.thickness is not None else ""
        words.append(f"layer {layer.base}, {thick or f'{layer.thickness:g} nm thick'}")
    words.append(f"Poisson ratio {result.poisson_ratio:g} (assumed)")
    return "; ".join(words)


def advice_lines(result: Analysis) -> Iterator[str]:
    """The advice's headline, and each check that is strained or broken with figure and sentence."""
    from ..advice import advise

    if not result.trusted.any():
        yield "Advice: no pixel is without a severe doubt, so there is nothing to judge the law by."
        return
    advice = advise(result)
    yield from wrapped(f"Advice: {advice.sentence}")
    for verdict in ("broken", "strained"):
        for check in advice.checks:
            if check.verdict == verdict:
                head = f"{check.label}{figure(check)} (limit: {check.limit}{spread(check)})"
                yield from wrapped(head, f"  {verdict:10}", " " * 12)
                yield from wrapped(check.sentence, " " * 12, " " * 12)


def wrapped(text: str, first: str = "", rest: str = " " * 8) -> list[str]:
    """Lines of at most `WIDTH` signs, begun with `first` and then `rest`."""
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest,
                         break_on_hyphens=False, break_long_words=False)  # fmt: skip


def figure(check: Any) -> str:
    """``: λ = 1.55 ± 0.31``, or nothing where the check has no figure."""
    from ..units import text_of

    if not math.isfinite(check.value):
        return ""
    known = math.isfinite(check.error) and check.error > 0.0
    number = text_of(check.value, "", check.error) if known else f"{check.value:.3g}"
    return f": {check.symbol} = {number} {check.unit}".rstrip()


def spread(check: Any) -> str:
    """``; middle half of the curves 0.4 to 2.1``, so that a median hides no two components."""
    low, high = check.quartiles
    if not (math.isfinite(low) and math.isfinite(high)):
        return ""
    return f"; middle half of the curves {low:.3g} to {high:.3g}"


def hints(result: Analysis) -> Iterator[str]:
    """What another setting would mend, where many curves give no modulus."""
    import numpy as np

    from ..doubts import DOUBTS

    if result.settings.fit.adhesion != "two_point":
        return
    own = np.uint64(sum(DOUBTS[name].mask for name in ("few_samples", "fit_failed")))
    other = np.uint64(result.severe_mask) & ~own
    sound = (result.curve_doubts & other) == 0
    lost = int(np.count_nonzero(sound & ((result.curve_doubts & own) != 0)))
    if lost > MANY * np.count_nonzero(sound):
        text = (f"Hint: in {lost} of {int(sound.sum())} otherwise sound curves JKR from two points "
               "has too few samples or no answer: it reads the retract from the release up to a "
               "third of the pull above zero only. --set fit.adhesion=maugis (or jkr, on soft and "
               "sticky samples) fits the whole window.")  # fmt: skip
        yield from wrapped(text)
