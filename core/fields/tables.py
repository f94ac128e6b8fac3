"""Everything about the components of several maps in one place, for display and for a file.

Positive channels are pooled as ln, area fractions as ln(p/(1 - p)), the others as they are; what is
shown is turned back, so that of a positive channel it is the geometric mean of the maps' medians.
What all maps share (the same lever, the same tip, an assumed Poisson ratio) does not become less
with more maps and is added at the end; what is not shared differs from map to map and is then part
of the scatter between them.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from ..channels import CHANNELS
from ..components.composition import Composition
from ..components.rule import SIGNED, letter
from ..components.table import USUAL, Row, Summary, Table, table_of
from ..errors import WriteError
from ..steps.tools import MEDIAN_COST
from ..uncertainty.budget import COMMON
from ..uncertainty.groups import group_budget
from ..uncertainty.inputs import QUANTITIES
from ..writers.atomic import saving
from .matching import Matched
from .pooling import Pooled, pool
from .trends import Trend, trend

Array = np.ndarray
AREA = "area_fraction"
PLAIN, LOG, LOGIT = "plain", "ln", "logit"
GROUPS = {
    "lever": ("spring_constant", "deflection_sensitivity", "temperature"),
    "sample": ("poisson_ratio", "thickness"),
}
"""Constants that go together; all others are the tip's. The sample's are always shared."""
SHARED = {"lever": "the same lever and its calibration", "tip": "the same tip"}
AS_ADHESION = ("release_force", "work_of_adhesion", "dissipation", "peak_force")
TRIALS = 500
"""Draws of the Monte Carlo that every budget makes; only its terms are used."""


@dataclass(frozen=True, eq=False)
class Entry:
    """One quantity of one component over the maps.

    Attributes
    ----------
    number, letter, name : of the component
    quantity, label, unit : a channel, or the area fraction
    scale : on which it is pooled, "plain", "ln" or "logit"
    values, lows, highs : (maps,) as measured, with 95 % intervals of the map alone; NaN where a map
        has none
    errors : (maps,) local standard errors on the scale
    pooled : on the scale
    trend : against the condition, on the scale; None if there are no conditions
    """

    number: int
    letter: str
    name: str
    quantity: str
    label: str
    unit: str
    scale: str
    values: Array
    lows: Array
    highs: Array
    errors: Array
    pooled: Pooled
    trend: Trend | None = None

    def back(self, value: float) -> float:
        """From the scale to the unit."""
        if self.scale == LOG:
            return math.exp(min(value, 700.0)) if math.isfinite(value) else math.nan
        if self.scale == LOGIT:
            return 0.5 * (1.0 + math.tanh(0.5 * value))
        return value

    @property
    def value(self) -> float:
        """Over all maps, in the unit."""
        return self.back(self.pooled.mean)

    @property
    def interval(self) -> tuple[float, float]:
        """95 %, without what is common to all maps."""
        return self.back(self.pooled.low), self.back(self.pooled.high)

    @property
    def total_interval(self) -> tuple[float, float]:
        """95 %, with it."""
        return self.back(self.pooled.total_low), self.back(self.pooled.total_high)

    @property
    def other_interval(self) -> tuple[float, float]:
        """Where another map would lie, 95 %, measured without error and with the same constants."""
        return self.back(self.pooled.other_low), self.back(self.pooled.other_high)

    @property
    def title(self) -> str:
        """Component and quantity."""
        own = self.letter if self.name == self.letter else f"{self.letter} {self.name}"
        return f"{own}, {self.label.lower()}"


@dataclass(frozen=True, eq=False)
class FieldsTable:
    """The components of several maps.

    Attributes
    ----------
    titles : of the maps
    entries : component after component, area fraction first
    conditions : (maps,) or None; `condition` is what it is called, `log` whether ln of it is taken
    matching, shared : sentences: how components were matched, what the maps share
    remarks : what else should be told
    """

    titles: tuple[str, ...]
    entries: tuple[Entry, ...]
    conditions: Array | None
    condition: str
    log: bool
    matching: str
    shared: str
    remarks: tuple[str, ...] = field(default=())

    def entry(self, number: int, quantity: str) -> Entry:
        """One of them; raises KeyError."""
        for one in self.entries:
            if (one.number, one.quantity) == (number, quantity):
                return one
        raise KeyError((number, quantity))


def fields_table(
    matched: Matched, channels: Sequence[str] | None = None, *,
    conditions: Sequence[float] | None = None, condition: str = "condition", log: bool = False,
    shared: Sequence[str] = ("lever", "tip"),
) -> FieldsTable:  # fmt: skip
    """Pool all components of matched maps.

    Parameters
    ----------
    channels : names; the usual ones that all maps have if None
    conditions : one a map, for trends; NaN leaves a map out of them
    condition : what it is called
    log : whether ln of it is taken
    shared : of "lever" and "tip", what all maps have in common

    Raises
    ------
    ValueError : an unknown word in `shared`, not one condition a map
    KeyError : a channel that a map does not have
    """
    if not set(shared) <= set(SHARED):
        raise ValueError(f"maps can share {' and '.join(SHARED)}, not {', '.join(shared)}")
    if conditions is not None and len(conditions) != len(matched.titles):
        raise ValueError(f"{len(conditions)} conditions are given for {len(matched.titles)} maps")
    given = None if conditions is None else np.array(conditions, float)
    names = _channels(matched) if channels is None else tuple(channels)
    tables = [table_of(one, names) for one in matched.compositions]
    budgets = _Budgets(matched, shared)
    entries = []
    for k in range(matched.count):
        rows = [None if own < 0 else table.rows[own]
                for own, table in zip(matched.numbers[:, k], tables, strict=True)]  # fmt: skip
        entries.append(_of_area(matched, k, rows, tables, given, log))
        entries += [_of_channel(matched, k, rows, name, given, log, budgets) for name in names]
    return FieldsTable(matched.titles, tuple(entries), given, condition, log, matched.words,
                       _shared_words(matched, shared),
                       tuple(_remarks(matched, entries, tables)))  # fmt: skip


def _channels(matched: Matched) -> tuple[str, ...]:
    known = [one.maps.values for one in matched.compositions]
    return tuple(n for n in USUAL if all(n in v and np.isfinite(v[n]).any() for v in known))


def _of_area(matched: Matched, k: int, rows: Sequence[Row | None], tables: Sequence[Table],
             given: Array | None, log: bool) -> Entry:  # fmt: skip
    shares = [None if row is None else row.share for row in rows]
    p, s, low, high = (np.array([math.nan if one is None else getattr(one, name) for one in shares])
                       for name in ("fraction", "error", "low", "high"))  # fmt: skip
    with np.errstate(all="ignore"):
        x, errors = np.log(p / (1.0 - p)), s / (p * (1.0 - p))
    x = np.where(np.isfinite(errors), x, math.nan)
    pixels = sum(one.pixels for one in shares if one is not None)
    total = sum(table.labelled for table, one in zip(tables, shares, strict=True) if one)
    mean = pixels / total if total else math.nan
    naive = 1.0 / math.sqrt(total * mean * (1.0 - mean)) if 0.0 < mean < 1.0 else math.nan
    return Entry(k, letter(k), matched.names[k], AREA, "Area fraction", "", LOGIT, p, low, high,
                 errors, pool(x, errors, 0.0, naive), _trend(x, errors, given, log))  # fmt: skip


def _of_channel(matched: Matched, k: int, rows: Sequence[Row | None], name: str,
                given: Array | None, log: bool, budgets: _Budgets) -> Entry:  # fmt: skip
    found = [None if row is None else row.summaries[name] for row in rows]
    median, error, low, high = (
        np.array([math.nan if one is None else getattr(one, what) for one in found])
        for what in ("median", "median_error", "low", "high")
    )
    known = np.isfinite(median)
    scale = LOG if name not in SIGNED and bool((median[known] > 0.0).all()) else PLAIN
    x, errors = (np.log(median), error / median) if scale == LOG else (median, error)
    middle = 1.0 if scale == LOG else abs(float(np.median(median[known]))) if known.any() else 0.0
    common = budgets.common(k, name)
    pooled = pool(x, errors, middle * common if math.isfinite(common) else 0.0,
                  _naive(found, scale))  # fmt: skip
    about = CHANNELS.get(name)
    return Entry(k, letter(k), matched.names[k], name, about.label if about else name,
                 about.unit if about else "", scale, median, low, high, errors, pooled,
                 _trend(x, errors, given, log))  # fmt: skip


def _naive(found: Sequence[Summary | None], scale: str) -> float:
    """Standard error of the median of all maps' pixels thrown together as independent ones."""
    known = [one for one in found if one is not None and math.isfinite(one.spread)]
    pixels = sum(one.pixels for one in known)
    if not pixels:
        return math.nan
    wide = [one.pixels * (one.spread / (one.median if scale == LOG else 1.0)) ** 2 for one in known]
    return MEDIAN_COST * math.sqrt(sum(wide)) / pixels


def _trend(x: Array, errors: Array, given: Array | None, log: bool) -> Trend | None:
    return None if given is None else trend(x, errors, given, log)


# -- what the maps share ---------------------------------------------------------------------------


def group_of_constant(name: str) -> str:
    """Whether a constant is the lever's, the sample's or the tip's."""
    return next((group for group, names in GROUPS.items() if name in names), "tip")


class _Budgets:
    """Relative standard uncertainties of what all maps share; each budget is made once."""

    def __init__(self, matched: Matched, shared: Sequence[str]) -> None:
        self.matched, self.kept = matched, {*shared, "sample"}
        self.known: dict[tuple[int, str], float] = {}

    def common(self, k: int, name: str) -> float:
        """Of a component and channel: the median over the maps; NaN if no map has a budget."""
        quantity = "adhesion" if name in AS_ADHESION else name
        if (k, quantity) not in self.known:
            found = [
                self._of(one, int(own), quantity)
                for one, own in zip(
                    self.matched.compositions, self.matched.numbers[:, k], strict=True
                )
                if own >= 0
            ]
            sure = [value for value in found if math.isfinite(value)]
            self.known[k, quantity] = float(np.median(sure)) if sure else math.nan
        return self.known[k, quantity]

    def _of(self, one: Composition, own: int, quantity: str) -> float:
        analysis: Any = one.maps.source
        if analysis is None or quantity not in QUANTITIES:
            return math.nan
        mask = one.pixels(own, pure=True)
        try:
            budget = group_budget(analysis, mask, quantity=quantity, trials=TRIALS)
        except ValueError:  # too few pixels with a value: the map's own numbers are NaN as well
            return math.nan
        common = [term for term in budget.terms if term.kind == COMMON]
        return math.sqrt(math.fsum(term.contribution**2 for term in common
                                   if group_of_constant(term.name) in self.kept))  # fmt: skip


def _shared_words(matched: Matched, shared: Sequence[str]) -> str:
    if all(one.maps.source is None for one in matched.compositions):
        return "Nothing is known of constants that the maps share."
    has = [words for name, words in SHARED.items() if name in shared]
    lacks = [name for name in SHARED if name not in shared]
    said = [f"All maps are taken to have {' and '.join(has)}: an error of these moves all maps "
            "together, so more maps do not lessen it." if has else ""]  # fmt: skip
    if lacks:
        said.append(f"The {' and the '.join(lacks)} may differ from map to map: an error of it is "
                    "then part of the scatter between maps.")  # fmt: skip
    said.append("The Poisson ratio and a layer's thickness are shared in any case.")
    return " ".join(filter(None, said))


def _remarks(matched: Matched, entries: Sequence[Entry], tables: Sequence[Table]) -> list[str]:
    said = list(matched.remarks)
    for title, table in zip(matched.titles, tables, strict=True):
        said += [f"{title}: {remark}" for remark in table.remarks]
    for one in entries:
        lost = [matched.titles[m] for m in range(len(matched.titles)) if m not in one.pooled.used]
        if lost and one.quantity == AREA and one.pooled.used:
            said.append(f"{one.title}: {', '.join(lost)} can't count, for lack of the component or "
                        "of anything else; the mean is of maps that have it.")  # fmt: skip
    lines = sum(one.trend is not None and not one.trend.reason for one in entries)
    if lines > 4:
        said.append(f"{lines} trends were looked at: about one in twenty seems to be there by "
                    "chance where there is none.")  # fmt: skip
    without = sorted({one.label.lower() for one in entries if one.quantity != AREA
                      and one.quantity not in QUANTITIES
                      and one.quantity not in AS_ADHESION})  # fmt: skip
    if without and any(one.maps.source is not None for one in matched.compositions):
        said.append(f"No budget of common errors is known for {', '.join(without)}.")
    return said


# -- the file --------------------------------------------------------------------------------------

COLUMNS = (
    "component", "name", "quantity", "unit", "scale", "map", "condition", "value",
    "standard error (on the scale)", "low 95 %", "high 95 %", "common (on the scale)",
    "low 95 % with common", "high 95 % with common", "between maps (on the scale)",
    "between maps low", "between maps high", "another map low", "another map high", "Q", "p",
    "naive error (on the scale)", "stands apart", "slope (on the scale)", "slope error",
    "slope low", "slope high", "slope p", "slope visible", "note",
)  # fmt: skip
ALL = "(all maps)"


def table_lines(table: FieldsTable) -> list[list[Any]]:
    """The rows of the file: for each entry one a map, then one over all maps."""
    lines: list[list[Any]] = []
    for one in table.entries:
        head = [one.letter, one.name, one.quantity, one.unit or "1", one.scale]
        for m, title in enumerate(table.titles):
            at = "" if table.conditions is None else float(table.conditions[m])
            own = [float(a[m]) for a in (one.values, one.errors, one.lows, one.highs)]
            lines.append([*head, title, at, *own, *[""] * (len(COLUMNS) - 11)])
        lines.append([*head, ALL, "", *_pooled_line(one, table)])
    return lines


def _pooled_line(one: Entry, table: FieldsTable) -> list[Any]:
    p, t = one.pooled, one.trend
    slope: list[Any] = [""] * 6
    if t is not None:
        slope = [t.slope, t.error, t.low, t.high, t.p, t.visible]
    apart = table.titles[p.apart] if p.apart >= 0 else ""
    note = " ".join(filter(None, (p.reason, t.reason if t is not None else "")))
    return [one.value, p.error, *one.interval, p.common, *one.total_interval, p.tau, p.tau_low,
            p.tau_high, *one.other_interval, p.q, p.p, p.naive_error, apart, *slope,
            note]  # fmt: skip


def write_table(path: str | Path, table: FieldsTable) -> Path:
    """Write the table as CSV in core units and full precision, what is to be told in comment
    lines (#) before it.

    Raises
    ------
    WriteError : it can't be saved there
    """
    path = Path(path)
    lines = table_lines(table)
    about = [("maps", str(len(table.titles))), ("matching", table.matching),
             ("shared", table.shared), ("missing", "nan")]  # fmt: skip
    if table.conditions is not None:
        about.append(("condition", f"{table.condition}, {'as ln' if table.log else 'as it is'}"))
    about += [("note", remark) for remark in table.remarks]

    def check(temporary: Path) -> None:
        with temporary.open(encoding="utf-8", newline="") as file:
            rows = list(csv.reader(line for line in file if not line.startswith("# ")))
        if len(rows) != len(lines) + 1 or any(len(row) != len(COLUMNS) for row in rows):
            raise WriteError(f"{path} could not be saved: what was written doesn't read back.")

    with (
        saving(path, check=check) as temporary,
        temporary.open("w", newline="", encoding="utf-8") as file,
    ):
        for key, value in about:
            file.write(f"# {key}: {' '.join(value.split())}\n")
        rows = csv.writer(file, lineterminator="\n")
        rows.writerow(COLUMNS)
        rows.writerows(lines)
    return path
