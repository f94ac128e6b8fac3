"""All tables of an analysis: what was found, what was decided, and what it was made with."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ..components import letter
from ..components.exports import pair_rows, table_rows
from ..doubts import DOUBTS
from ..errors import InputError
from ..progress import Progress
from ..review import decision_rows
from ..settings import Settings, declarations
from ..uncertainty.inputs import Input, common_inputs
from ..writers.atomic import saving
from ..writers.datapackage import Resource, columns_of, write_table

if TYPE_CHECKING:
    from ..findings import Findings

Rows = list[list[Any]]
BUDGETS = ("modulus", "reduced_modulus", "stiffness", "adhesion")
TRIALS = 50_000
"""Of the Monte Carlo of a budget."""


@dataclass(frozen=True)
class Table:
    """A table as it will be written: name of the file without its ending, a sentence, and rows
    whose first is the head."""

    name: str
    description: str
    rows: Rows


def tables_of(findings: Findings, progress: Progress | None = None) -> list[Table]:
    """All tables that there are; of doubts there is one even if no curve carries any."""
    progress = progress or Progress()
    found: list[Table] = []
    for done, (name, (make, description)) in enumerate(TABLES.items()):
        progress.step(done, len(TABLES), f"Exporting tables: {name.replace('_', ' ')}")
        rows = make(findings)
        if rows:
            found.append(Table(name, description, rows))
    return found + profiles(findings)


def write_tables(folder: Path, findings: Findings, progress: Progress) -> list[Resource]:
    """Write the tables and the settings; what was written, for the package."""
    made = []
    for table in tables_of(findings, progress):
        file = f"{table.name}.csv"
        columns = columns_of(table.rows, words=WORDS.get(table.name, {}))
        write_table(folder / file, columns, table.rows[1:])
        made.append(Resource(file, table.description, columns))
    for file, text, words in _texts(findings):
        with saving(folder / file) as temporary:
            temporary.write_text(text, encoding="utf-8")
        made.append(Resource(file, words))
    return made


def _texts(findings: Findings) -> list[tuple[str, str, str]]:
    found = [("settings.toml", findings.analysis.settings.to_toml(),
              "The settings, as the program reads them back.")]  # fmt: skip
    if findings.composition is not None:
        found.append(("rule.json", findings.composition.rule.to_json(),
                      "How components are made, as the program reads it back."))  # fmt: skip
    if findings.work.places:
        found.append(("places.json", findings.work.places.to_json(),
                      "Regions and profiles, as the program reads them back."))  # fmt: skip
    return found


# ---- what was found


def components(findings: Findings) -> Rows:
    return [] if findings.table is None else table_rows(findings.table)


def pairs(findings: Findings) -> Rows:
    if findings.table is None or not findings.pairs:
        return []
    return pair_rows(findings.table, findings.pairs)


def doubts(findings: Findings) -> Rows:
    """Each doubt that some curve carries."""
    analysis = findings.analysis
    counts, total = analysis.doubt_counts(), max(findings.map.n_curves, 1)
    rows: Rows = [["doubt", "severity", "curves", "share of curves (%)", "bit", "sentence"]]
    rows += [[name, DOUBTS[name].severity, count, 100.0 * count / total, DOUBTS[name].bit,
              DOUBTS[name].sentence] for name, count in counts.items()]  # fmt: skip
    return rows


def pixels_used(findings: Findings) -> Rows:
    """How many pixels there are, and how many are used."""
    analysis = findings.analysis
    curve = findings.map.index_map >= 0
    out = np.zeros(curve.shape, bool) if analysis.left_out is None else analysis.left_out
    return [["what", "pixels"], ["of the map", int(curve.size)],
            ["with a curve", int(curve.sum())],
            ["with a severe doubt, not kept", int((analysis.severe & curve).sum())],
            ["left out by hand", int((out & curve).sum())],
            ["used", int(analysis.trusted.sum())]]  # fmt: skip


def map_doubts(findings: Findings) -> Rows:
    rows: Rows = [["doubt", "severity", "figure", "standard uncertainty", "limit", "unit",
                   "sentence", "repair"]]  # fmt: skip
    rows += [[d.name, d.severity, float(d.figure), float(d.error), float(d.threshold),
              d.unit or "1", d.sentence, d.repair] for d in findings.map_doubts]  # fmt: skip
    return rows


def decisions(findings: Findings) -> Rows:
    return decision_rows(findings.analysis) if findings.analysis.review else []


# ---- what it was made with


def constants(findings: Findings) -> Rows:
    """The calibration card: each constant with where it is from, the ± that stands beside it and
    the one that budgets use, which is a usual one where none is known."""
    use = findings.analysis.constants
    used = {one.name: one for one in common_inputs(findings.analysis, "modulus")[0]}
    rows: Rows = [["constant", "value", "standard uncertainty", "unit", "from", "method",
                   "standard uncertainty in use", "in use from"]]  # fmt: skip
    for one in (use.spring_constant, use.deflection_sensitivity, *use.sizes):
        rows.append([one.label, float(one.value), float(one.error), one.unit, one.origin,
                     one.method, *_in_use(used.get(one.name))])  # fmt: skip
    rows.append(["Poisson ratio of the sample", float(use.poisson_ratio), math.nan, "1", "assumed",
                 "", *_in_use(used.get("poisson_ratio"))])  # fmt: skip
    rows.append(["Set force", float(use.set_force), math.nan, "nN", "recorded"
                 if math.isfinite(use.set_force) else "missing", "", math.nan, ""])  # fmt: skip
    return rows


def _in_use(one: Input | None) -> tuple[float, str]:
    return (math.nan, "") if one is None else (float(one.error), one.origin)


def settings(findings: Findings) -> Rows:
    now, usual = findings.analysis.settings, Settings()
    rows: Rows = [["setting", "label", "value", "unit", "default"]]
    for path, spec in declarations():
        about = spec.metadata
        rows.append([path, about["label"], _plain(now.value(path)), about.get("unit") or "",
                     _plain(usual.value(path))])  # fmt: skip
    return rows


def _plain(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    return f"{value:.9g}" if isinstance(value, float) else json.dumps(value)


def budgets(findings: Findings) -> Rows:
    """What the uncertainty of each component's medians is made of; of all pixels in use where there
    are no components."""
    from ..uncertainty import group_budget
    from ..uncertainty.budget import COLUMNS, lines_of

    rows: Rows = [["component", "quantity", *(f"term {c}" if c == "name" else c for c in COLUMNS)]]
    for name, mask in _groups(findings):
        for quantity in BUDGETS:
            try:
                found = group_budget(findings.analysis, mask, name, quantity=quantity,
                                     trials=TRIALS)  # fmt: skip
            except (ValueError, InputError):  # no such number here
                continue
            rows += [[name, quantity, *line] for line in lines_of(found, {})[1:]]
    return rows


def _groups(findings: Findings) -> list[tuple[str, np.ndarray]]:
    made = findings.composition
    if made is None:
        return [("all", findings.analysis.trusted)]
    return [(letter(k), made.pixels(k, pure=True) > 0) for k in range(made.count)]


# ---- places


def regions(findings: Findings) -> Rows:
    from ..places import mask_of, statistics_of
    from ..places.exports import statistic_rows

    places, fmap = findings.work.places, findings.map
    if not places or not places.regions:
        return []
    found = [statistics_of(findings.analysis, mask_of(r, fmap.x, fmap.y, findings.labels),
                           name=r.name) for r in places.regions]  # fmt: skip
    head, rows = statistic_rows(found)
    return [list(head), *rows]


def profiles(findings: Findings) -> list[Table]:
    """A table for each line profile that reads something."""
    from ..places import sample_analysis
    from ..places.exports import profile_columns

    places = findings.work.places
    found = []
    for number, profile in enumerate(places.profiles if places else (), 1):
        sampled = sample_analysis(profile, findings.analysis, labels=findings.labels)
        if not sampled.distance.size:
            continue
        columns = profile_columns(sampled)
        rows: Rows = [[title for title, _ in columns]]
        rows += [list(row) for row in zip(*(values for _, values in columns), strict=True)]
        found.append(Table(f"profile_{number}", f"The profile “{profile.name}”. ± are local only.",
                           rows))  # fmt: skip
    return found


WORDS: dict[str, dict[str, str]] = {
    "components": {
        "area_pixels": "pixels of the component",
        "area_area": "in the square of length_unit, or pixels without a scale",
        "area_fraction": "of all pixels that belong to a component",
        "area_error": "standard error of area_fraction",
        "area_low": "95 % interval of area_fraction, from", "area_high": "and to",
        "area_naive_half_width_95": "if all pixels were independent, which they are not",
        "area_independent": "effective number of independent pixels of the pattern",
        "area_length": "correlation length of the pattern",
        "area_low_zone": "area_fraction if all pixels of boundary zones were the others'",
        "area_high_zone": "and if they were its own",
        "pixels": "used for this channel", "independent": "effective number of independent pixels",
        "length": "correlation length of the values", "median_error": "standard error, local",
        "low": "95 % interval of the median, from", "high": "and to",
        "mean_error": "standard error, local", "mu": "median of ln of the values",
        "sigma": "robust standard deviation of ln of the values", "cv": "coefficient of variation",
        "deviation": "standard deviation",
        "spread": "1.4826 times the median absolute deviation",
        "lower": "quartile", "upper": "quartile",
        "own": "median of the pixels' own local standard uncertainty; the spread holds it",
        "common_relative": "relative standard uncertainty that all pixels share",
    },
    "pairs": {
        "difference": "of the medians, b - a", "difference_error": "standard error, local",
        "low": "95 % interval of the difference, from", "high": "and to", "ratio": "b/a",
        "ratio_error": "standard error, local", "ratio_low": "95 % interval, from",
        "ratio_high": "and to", "p": "of the hypothesis that both are the same",
        "adjusted": "p adjusted for all pairs and channels",
        "superiority": "probability that a pixel of b shows more than one of a",
        "degrees": "of freedom of Student's t",
        "components_made_by_this": "whether the components were made by this channel",
        "ratio_common_relative": "relative standard uncertainty of the ratio that is left of what "
        "is common to all pixels",
        "difference_common": "what all pixels share leaves open of the difference",
        "told_apart": "whether the two differ at the 5 % level, all comparisons counted",
    },
    "budgets": {
        "kind": "result, local (of the pixels), common (moves all together), combined, correlation",
        "contribution (relative)": "to the relative standard uncertainty of the quantity",
        "sensitivity": "d ln quantity / d ln term where no unit is named",
    },
    "doubts": {"bit": "place in the sum of bits of the map of doubts, from 0"},
    "map_doubts": {"limit": "that was passed, in the same unit"},
    "decisions": {"settings": "what was corrected, as JSON"},
}  # fmt: skip
"""Table -> column -> what it is, where its name does not say so."""

Maker = Callable[["Findings"], Rows]
TABLES: dict[str, tuple[Maker, str]] = {
    "components": (components, "One row a component and channel, in the unit of the row."),
    "pairs": (pairs, "One row a pair of components and channel: b against a."),
    "budgets": (budgets, "What the uncertainty of each median is made of; contributions relative."),
    "doubts": (doubts, "Each doubt that curves carry, with how many."),
    "map_doubts": (map_doubts, "Doubts about the map as a whole."),
    "pixels_used": (pixels_used, "How many pixels there are, and how many are used."),
    "decisions": (decisions, "One row a pixel that was decided about by hand."),
    "constants": (constants, "The constants in use and where they are from."),
    "settings": (settings, "All settings; an empty value is taken from the map."),
    "regions": (regions, "Statistics of regions, one row a region and channel. ± are local only."),
}
"""Table -> what makes its rows, and a sentence about it."""


def names_of(findings: Findings) -> Sequence[str]:
    """The tables that there will be, as far as can be told without making them."""
    there = {"components": findings.table is not None, "pairs": bool(findings.pairs),
             "decisions": bool(findings.analysis.review),
             "regions": bool(findings.work.places and findings.work.places.regions)}  # fmt: skip
    count = len(findings.work.places.profiles) if findings.work.places else 0
    return [*(name for name in TABLES if there.get(name, True)),
            *(f"profile_{number}" for number in range(1, count + 1))]  # fmt: skip
