"""Whether the law describes the curves and may be used, and every setting."""

from __future__ import annotations

import math
from dataclasses import fields
from typing import Any

import numpy as np

from ..advice import advise
from ..advice.parts import in_percent, in_words
from ..columns import fit as ft
from ..errors import InputError
from ..settings import ADHESIONS, SHAPES, Settings, declarations
from .parts import Block, Column, Listing, Note, Paragraph, Section, Table
from .words import NONE, Draft, count, percent, plain

STATES = {
    ft.GOOD: "good", ft.TOO_FEW: "too few samples", ft.NO_CONTACT: "no contact",
    ft.NOT_CONVERGED: "not converged", ft.NOT_POSITIVE: "covariance not positive",
    ft.AT_BOUND: "a parameter at its bound", ft.NOT_MOVED: "never moved",
    ft.NO_POINT: "no contact point",
}  # fmt: skip


def quality(draft: Draft) -> Section:
    """How the fits ended, and how well the law describes the curves."""
    analysis = draft.findings.analysis
    states = analysis.stage_tables["fit"][analysis.done, ft.STATE]
    known = states[np.isfinite(states)]
    rows = [(words, f"{n:,}", percent(n / max(states.size, 1)))
            for state, words in STATES.items() if (n := int(np.count_nonzero(known == state)))]
    lost = states.size - known.size
    if lost:
        rows.append(("not fitted", f"{lost:,}", percent(lost / max(states.size, 1))))
    columns = (Column("How the fit ended"), Column("Curves", number=True),
               Column("Share", number=True))  # fmt: skip
    blocks: list[Block] = []
    if rows:
        blocks.append(Table("How the fits of the map's law ended", columns, tuple(rows)))
    blocks += _residuals(draft)
    return Section("quality", "Quality of the fits", tuple(blocks))


def _residuals(draft: Draft) -> list[Block]:
    columns = (
        Column("Pixels"), Column("Residual, median", "× noise", True),
        Column("Quartiles", "× noise", True), Column("Above the limit", number=True),
        Column("± of the modulus, median", number=True), Column("Samples in the window, median",
                                                               number=True),
    )  # fmt: skip
    limit = draft.findings.analysis.settings.doubts.worst_residual
    rows = [row for title, mask in draft.groups() if (row := _residual(draft, title, mask, limit))]
    if not rows:
        return [Note("No pixel that is used has a fit to be judged.")]
    note = (f"Root mean square residual of the fit over the noise of the curve's own baseline: 1 "
            f"for the right law and white noise; the limit is {limit:g}. ± of the modulus: local, "
            "of a single pixel.")  # fmt: skip
    return [Table("How well the law describes the curves that are used", columns, tuple(rows),
                  (note,))]  # fmt: skip


def _residual(draft: Draft, title: str, mask: Any, limit: float) -> tuple[str, ...] | None:
    analysis = draft.findings.analysis
    values = analysis.channel("residual")
    used = mask & draft.trusted & np.isfinite(values)
    if not used.any():
        return None
    low, middle, high = np.percentile(values[used], [25.0, 50.0, 75.0])
    errors = analysis.errors("reduced_modulus")
    with np.errstate(all="ignore"):
        relative = np.abs(errors / analysis.channel("reduced_modulus"))[used]
    relative = relative[np.isfinite(relative)]
    samples = analysis.channel("n_points")[used]
    return (title, plain(float(middle)), f"{plain(float(low))} to {plain(float(high))}",
            percent(float(np.mean(values[used] > limit))),
            percent(float(np.median(relative))) if relative.size else NONE,
            f"{np.nanmedian(samples):.0f}")  # fmt: skip


def law(draft: Draft) -> Section:
    """The advice on the law in use: its checks and the verdicts on the others."""
    fit = draft.findings.analysis.settings.fit
    blocks: list[Block] = [Paragraph(f"In use: {SHAPES[fit.law]}; adhesion: "
                                     f"{ADHESIONS[fit.adhesion]}.")]  # fmt: skip
    try:
        advice = advise(draft.findings.analysis)
    except InputError as error:
        draft.left_out.append(f"The advice on the law: {error}")
        return Section("law", "The contact law", (*blocks, Note(f"No advice: {error}")))
    blocks.append(Note(advice.sentence))
    columns = (Column("Check"), Column("Figure", number=True), Column("Middle half", number=True),
               Column("Limit"), Column("Verdict"), Column("Outside", number=True),
               Column("What it means"))  # fmt: skip
    strong = frozenset(at for at, c in enumerate(advice.checks) if c.verdict == "broken")
    blocks.append(Table("Checks of the law in use, over the map", columns,
                        tuple(_check(check) for check in advice.checks),
                        ("Figure: the median over the map. Its ± is that of the median: what the "
                         "constants leave open, and the standard error of a median, which falls "
                         "with the number of curves. How much single curves differ is told by the "
                         "middle half. Outside: share of the curves that do not fit the limit.",),
                        strong))  # fmt: skip
    blocks += [Paragraph("Where the limits come from:"),
               Listing(tuple(f"{c.label}: {c.source}" for c in advice.checks))]  # fmt: skip
    heads = (Column("Law"), Column("Verdict"), Column("Why"))
    rows = tuple((one.label, one.verdict, " ".join(one.reasons) or NONE) for one in advice.laws)
    now = frozenset(at for at, one in enumerate(advice.laws)
                    if (one.law, one.adhesion) == (fit.law, fit.adhesion))  # fmt: skip
    blocks.append(Table("Laws that could be used", heads, rows,
                        ("The law in use stands out.",), now))  # fmt: skip
    return Section("law", "The contact law", tuple(blocks))


def _check(check: Any) -> tuple[str, ...]:
    name = f"{check.label} {check.symbol}".strip()
    figure = NONE
    if math.isfinite(check.value):
        figure = in_words(check.value, check.error, check.unit).replace("-", "−")
    low, high = check.quartiles
    middle = f"{plain(low)} to {plain(high)}" if math.isfinite(low) else NONE
    outside = in_percent(check.outside) if math.isfinite(check.outside) else NONE
    return name, figure, middle, check.limit, check.verdict, outside, check.sentence


def settings(draft: Draft) -> Section:
    """Every setting; those that were changed stand out."""
    used, default = draft.findings.analysis.settings, Settings()
    rows: list[tuple[str, ...]] = []
    strong: set[int] = set()
    for path, spec in declarations():
        value, usual = used.value(path), default.value(path)
        changed = value != usual
        if changed:
            strong.add(len(rows))
        rows.append((path, spec.metadata["label"], _value(spec, value), _value(spec, usual),
                     "changed" if changed else NONE))  # fmt: skip
    changed_words = (f"{count(len(strong), 'setting differs', 'settings differ')} from the "
                     "defaults.") if strong else "All settings are the defaults."  # fmt: skip
    columns = (Column("Setting"), Column("What it is"), Column("Value", number=True),
               Column("Default", number=True), Column("Changed"))  # fmt: skip
    blocks: list[Block] = [Paragraph(changed_words)]
    if strong:
        blocks.append(Listing(tuple(f"{rows[at][1]} ({rows[at][0]}): {rows[at][2]} in place of "
                                    f"{rows[at][3]}" for at in sorted(strong))))  # fmt: skip
    blocks.append(Table("All settings", columns, tuple(rows), (
        "Settings that the chosen law does not use are listed all the same.",),
        frozenset(strong)))  # fmt: skip
    blocks += _rule(draft)
    return Section("settings", "Settings", tuple(blocks))


def _value(spec: Any, value: Any) -> str:
    meta = spec.metadata
    if value is None:
        return "as recorded"
    if meta["kind"] == "choice":
        return str(meta["options"].get(value, value))
    one = value == 1 and meta["unit"] == "samples"
    return f"{value:,.12g} {'sample' if one else meta['unit']}".strip()


def _rule(draft: Draft) -> list[Block]:
    """The rule for components, as the result file has it."""
    if draft.findings.composition is None:
        return []
    rule = draft.findings.composition.rule
    rows = tuple((spec.name.replace("_", " "), _plain(getattr(rule, spec.name)))
                 for spec in fields(rule))  # fmt: skip
    return [Table("The rule that made the components", (Column("What"), Column("Value")), rows)]


def _plain(value: Any) -> str:
    if isinstance(value, tuple):
        return ", ".join(_plain(one) for one in value) or NONE
    if hasattr(value, "channel"):
        return f"{'log ' if getattr(value, 'log', False) else ''}{value.channel}"
    return NONE if value is None or value == "" else str(value)


