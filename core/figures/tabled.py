"""What stands in the tables of a sheet: texts for the panel, and the numbers behind them."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from ..calibration import ABSENT, InUse
from ..channels import CHANNELS
from ..doubts import DOUBTS
from ..pipeline import backwards
from ..settings import ADHESIONS, CONTACTS, GIVEN, SHAPES, declaration
from ..sheets import TableOptions
from ..units import best_unit, text_of
from .parts import DataTable, PanelError

if TYPE_CHECKING:
    from ..components import Composition
    from ..components.table import Table
    from ..findings import Findings

NONE = "–"


@dataclass(frozen=True, eq=False)
class Tabled:
    """A table: texts of its head with their units and of its rows, which columns are numbers (set
    to the right), and its numbers."""

    head: tuple[tuple[str, str], ...]
    rows: tuple[tuple[str, ...], ...]
    numeric: tuple[bool, ...]
    data: DataTable
    caption: str
    bold_first: bool = False


# -- components ------------------------------------------------------------------------------------


def components(findings: Findings, options: TableOptions) -> Tabled:
    """Area and medians of each component."""
    composition, table = findings.composition, findings.table
    if composition is None or table is None:
        why = next((note for note in findings.notes if note.startswith("No components")), "")
        raise PanelError(f"There is no table of components. {why}".strip()
                         + ("" if why else " Find components first."))  # fmt: skip
    table, names = _with_channels(composition, table, options)
    units = {name: _unit(table, name) for name in names}
    head = [("Component", ""), ("Area", "%")]
    head += [(CHANNELS[name].label, units[name][0]) for name in names]
    rows = []
    for row in table.rows:
        name = row.letter if row.name == row.letter else f"{row.letter} {row.name}"
        share = _pair(100.0 * row.share.fraction, 100.0 * row.share.error)
        rows.append((name, share, *(_median(row.summaries[n], units[n]) for n in names)))
    return Tabled(tuple(head), tuple(rows), (False, *[True] * (len(head) - 1)),
                  _components_data(table, names, units), _components_caption(table))  # fmt: skip


def _with_channels(composition: Composition, table: Table, options: TableOptions
                   ) -> tuple[Table, list[str]]:  # fmt: skip
    names = [name.strip() for name in options.channels.split(",") if name.strip()]
    names = list(dict.fromkeys(names))
    if not names:
        raise PanelError("No channel is named for the table of components: name one, such as "
                         "reduced_modulus.")  # fmt: skip
    there = composition.maps.values
    for name in names:
        if name not in there or not np.isfinite(there[name]).any():
            known = ", ".join(table.channels)
            raise PanelError(f"“{name[:40]}” has no values here: name channels such as {known}.")
    if not set(names) <= set(table.channels):
        from ..components import table_of, with_common

        table = with_common(composition, table_of(composition, names))
    return table, names


def _unit(table: Table, name: str) -> tuple[str, float]:
    sizes = [abs(row.summaries[name].median) for row in table.rows]
    return best_unit(max((s for s in sizes if math.isfinite(s)), default=0.0), CHANNELS[name].unit)


def _median(one: Any, unit: tuple[str, float]) -> str:
    return _pair(one.median * unit[1], one.total * unit[1])


def _pair(value: float, error: float) -> str:
    """A number with its ±, without a unit."""
    return text_of(value, "", error) if math.isfinite(value) else NONE


def _components_data(table: Table, names: list[str], units: dict[str, tuple[str, float]]
                     ) -> DataTable:  # fmt: skip
    columns = [("component", "", "letter"), ("name", "", ""), ("pixels", "", "labelled"),
               ("area", "%", "share of all labelled pixels"),
               ("area_uncertainty", "%", "standard, with the pixels' correlation")]  # fmt: skip
    rows = table.rows
    values: list[Any] = [[r.letter for r in rows], [r.name for r in rows],
                         np.array([r.share.pixels for r in rows]),
                         np.array([100.0 * r.share.fraction for r in rows]),
                         np.array([100.0 * r.share.error for r in rows])]  # fmt: skip
    for name in names:
        unit, factor = units[name]
        found = [r.summaries[name] for r in rows]
        columns += [(name, unit, "median of the pure pixels"),
                    (f"{name}_uncertainty", unit, "standard, with what all pixels share"),
                    (f"{name}_own", unit, "standard, without what all pixels share"),
                    (f"{name}_lower", unit, "lower quartile"),
                    (f"{name}_upper", unit, "upper quartile"),
                    (f"{name}_independent", "", "independent pixels")]  # fmt: skip
        values += [np.array([s.median for s in found]) * factor,
                   np.array([s.total for s in found]) * factor,
                   np.array([s.median_error for s in found]) * factor,
                   np.array([s.lower for s in found]) * factor,
                   np.array([s.upper for s in found]) * factor,
                   np.array([s.independent for s in found])]  # fmt: skip
    return DataTable("components", tuple(columns), tuple(values), "Components of the map")


def _components_caption(table: Table) -> str:
    said = ["components with their share of the area and the medians over their pure pixels; ± are "
            "standard uncertainties with the pixels' correlation and, of medians, with what all "
            "pixels share (spring constant, sensitivity, tip)"]  # fmt: skip
    gone = sum(table.left_out.values())
    if gone:
        reasons = ", ".join(f"{why} ({n:,})" for why, n in table.left_out.items())
        said.append(f"Pixels in no component: {reasons}")
    said += [remark.rstrip(".") for remark in table.remarks]
    return ". ".join(said)


# -- calibration and settings ----------------------------------------------------------------------


def calibration(findings: Findings, options: TableOptions) -> Tabled:
    """The constants in use with their origin, and the settings that matter most or were changed."""
    found = [*_constants(findings), *_chosen(findings)]
    rows = tuple((name, text, origin) for name, text, origin, *_ in found)
    data = DataTable(
        "calibration", (("quantity", "", ""), ("value", "", "a number, or what was chosen"),
                        ("uncertainty", "", "standard; empty if not known"),
                        ("unit", "", "of value and uncertainty"), ("origin", "", "")),
        ([f[0] for f in found], [f[3] for f in found], [f[4] for f in found],
         [f[5] for f in found], [f[2] for f in found]),
        "Calibration and settings")  # fmt: skip
    head = (("Quantity", ""), ("Value", ""), ("Origin", ""))
    return Tabled(head, rows, (False, False, False), data,
                  "calibration and settings in use; settings that are not listed are at their "
                  "defaults")  # fmt: skip


Entry = tuple[str, str, str, str, str, str]
"""Name, text, origin; value, uncertainty and unit as texts."""


def _constants(findings: Findings) -> list[Entry]:
    use = findings.analysis.constants
    found = [_constant(one) for one in (use.spring_constant, use.deflection_sensitivity,
                                        *use.sizes)
             if not (one.origin == ABSENT and one.name == "deflection_sensitivity"
                     and use.lengths)]  # fmt: skip
    ratio = f"{use.poisson_ratio:g}"
    return [*found, ("Poisson ratio", ratio, "assumed", ratio, "", "")]


def _constant(one: InUse) -> Entry:
    origin = one.origin + (f" ({one.method})" if one.method else "")
    known = math.isfinite(one.value)
    text = text_of(one.value, one.unit, one.error) if known else NONE
    if known and not math.isfinite(one.error):
        text = f"{one.value:.6g} {one.unit}".strip()
    error = f"{one.error:.9g}" if math.isfinite(one.error) else ""
    return one.label, text, origin, f"{one.value:.9g}" if known else "", error, one.unit


def _chosen(findings: Findings) -> list[Entry]:
    settings = findings.analysis.settings
    fit, said = settings.fit, []
    usual = [("Contact law", SHAPES[fit.law]), ("Adhesion in the law", ADHESIONS[fit.adhesion]),
             ("Fitted branch", "retract" if backwards(settings) else "approach"),
             ("Fit window", window_words(settings))]  # fmt: skip
    if fit.adhesion != "two_point":  # which needs none
        words = {**CONTACTS, GIVEN: "given by hand"}[fit.contact]
        usual.append(("Contact point", words))
    told = {"fit.law", "fit.adhesion", "fit.branch", "fit.window", "fit.contact",
            f"fit.{fit.window}_from", f"fit.{fit.window}_to", "sample.poisson_ratio"}  # fmt: skip
    said = [(name, words, "chosen", words, "", "") for name, words in usual]
    for path, value in settings.changed().items():
        meta = declaration(path).metadata
        if path in told or path.startswith(("calibration.", "tip.radius")) or not _matters(
                settings, path, meta["shown_if"]):  # fmt: skip
            continue
        words = _words(meta, value)
        said.append((str(meta["label"]), words, "changed", words, "", ""))
    return said


def _matters(settings: Any, path: str, condition: str) -> bool:
    """Whether the other settings let this one count: "name=one|other" of the same section."""
    if settings.fit.adhesion == "two_point" and path in UNUSED_BY_TWO:
        return False
    name, _, values = condition.partition("=")
    section = getattr(settings, path.partition(".")[0])
    return not name or str(getattr(section, name)) in values.split("|")


UNUSED_BY_TWO = ("fit.contact_at", "fit.distance", "fit.pull_off")
"""What a fit to two points of the retract asks for no more."""


def window_words(settings: Any) -> str:
    """From where to where the law is fitted."""
    fit = settings.fit
    if fit.adhesion == "two_point":
        return "release to a third of the largest pull above zero force"
    low, high = (getattr(fit, f"{fit.window}_{end}") for end in ("from", "to"))
    if fit.window == "fraction":
        return f"{low:g} to {high:g} % of the peak force"
    return f"{low:g} to {high:g} " + ("nN" if fit.window == "force" else "nm of indentation")


def _words(meta: Any, value: Any) -> str:
    if meta["kind"] == "choice":
        return str(meta["options"].get(value, value))
    return f"{value:g} {meta['unit']}".strip() if isinstance(value, float) else str(value)


# -- doubts and decisions --------------------------------------------------------------------------


def doubts(findings: Findings, options: TableOptions) -> Tabled:
    """How many curves carry each doubt, doubts about the whole map, and what was decided."""
    analysis = findings.analysis
    curves = max(findings.map.n_curves, 1)
    used = int(np.count_nonzero(analysis.trusted))
    review = analysis.review
    found: list[tuple[str, str, int]] = [("pixels in use", "", used)]
    found += [(f"{words} by hand", "decision", pixels.count) for words, pixels in
              (("left out", review.left_out), ("kept", review.kept),
               ("corrected", review.corrected)) if pixels.count]  # fmt: skip
    found += [(doubt.name.replace("_", " "), f"{doubt.severity}, of the map", -1)
              for doubt in findings.map_doubts]  # fmt: skip
    counts = analysis.doubt_counts().items()
    worst_first = sorted(counts, key=lambda one: (DOUBTS[one[0]].severity != "severe", -one[1]))
    found += [(name.replace("_", " "), DOUBTS[name].severity, n) for name, n in worst_first]
    rows = [(name[0].upper() + name[1:], kind, *_share(number, curves))
            for name, kind, number in found]  # fmt: skip
    numbers = [number for *_, number in found]
    data = DataTable(
        "doubts", (("what", "", "doubt or decision"), ("kind", "", "severity, or a decision"),
                   ("curves", "", "that carry it; -1 for a doubt about the whole map")),
        ([row[0] for row in rows], [row[1] for row in rows], np.array(numbers)),
        "Doubts and decisions")  # fmt: skip
    return Tabled((("Doubt or decision", ""), ("Kind", ""), ("Curves", ""), ("%", "")), tuple(rows),
                  (False, False, True, True), data, _doubts_caption(findings, curves))  # fmt: skip


def _percent(share: float) -> str:
    return f"{share:.1f}" if share >= 10.0 else f"{share:.2g}"


def _share(number: int, curves: int) -> tuple[str, str]:
    """A number of curves and its share [%] as texts; dashes for what is no number of curves."""
    return (NONE, NONE) if number < 0 else (f"{number:,}", _percent(100.0 * number / curves))


def _doubts_caption(findings: Findings, curves: int) -> str:
    said = [f"doubts about the {curves:,} curves and decisions about single pixels; curves with a "
            "severe doubt are not used unless they were kept by hand"]  # fmt: skip
    said += [f"Of the whole map ({one.severity}): {one.sentence.rstrip('.')}"
             for one in findings.map_doubts]  # fmt: skip
    return ". ".join(said)


TABLED: dict[str, Callable[[Any, TableOptions], Tabled]] = {
    "components": components, "calibration": calibration, "doubts": doubts,
}  # fmt: skip
