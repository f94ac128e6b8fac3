"""The items of a methods section in their order, and which of them tells each setting.

Adding an item is one line in `ITEMS`. A new setting must have a line in `TOLD` (the item that tells
it) or in `SILENT` (why it changes no number); `tests/test_methods.py` fails otherwise, and tries
both.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from . import belief, measuring, mechanics, numbers, processing, provenance, validity
from .facts import Facts
from .parts import Said

MEASUREMENT, CURVES, MECHANICS = "Sample and measurement", "Force curves", "Contact mechanics"
LEFT_OUT, STATISTICS, SOFTWARE = "Data left out", "Statistics", "Software and data"


@dataclass(frozen=True)
class Item:
    """One item: what it is called, the group that it stands in, what writes it."""

    name: str
    title: str
    group: str
    write: Callable[[Facts], Iterable[Said]]


ITEMS = (
    Item("sample", "Sample", MEASUREMENT, measuring.sample),
    Item("instrument", "Instrument", MEASUREMENT, measuring.instrument),
    Item("medium", "Medium, temperature, humidity", MEASUREMENT, measuring.medium),
    Item("lever", "Lever and spring constant", MEASUREMENT, measuring.lever),
    Item("sensitivity", "Deflection sensitivity", MEASUREMENT, measuring.sensitivity),
    Item("recalibration", "Calibration repeated", MEASUREMENT, measuring.recalibration),
    Item("tip", "Tip", MEASUREMENT, measuring.tip),
    Item("curves", "Map and curves", CURVES, measuring.curves),
    Item("ramp", "Travel, speed, force, dwell", CURVES, measuring.ramp),
    Item("baseline", "Baseline and corrections", CURVES, processing.baseline),
    Item("adhesion", "Adhesion and works", CURVES, processing.adhesion),
    Item("stiffness", "Contact stiffness", CURVES, processing.stiffness),
    Item("law", "Contact law and adhesion", MECHANICS, mechanics.law),
    Item("contact", "Contact point", MECHANICS, mechanics.contact),
    Item("segment", "Segment", MECHANICS, mechanics.segment),
    Item("window", "Fit window", MECHANICS, mechanics.window),
    Item("modulus", "E or E*, Poisson ratio", MECHANICS, mechanics.poisson),
    Item("layer", "Thickness and what lies below", MECHANICS, mechanics.layer),
    Item("viscous", "Time", MECHANICS, mechanics.viscous),
    Item("validity", "Indentation and validity", MECHANICS, validity.validity),
    Item("goodness", "Goodness of fit", MECHANICS, validity.goodness),
    Item("excluded", "Curves left out", LEFT_OUT, belief.excluded),
    Item("marked", "Lesser doubts", LEFT_OUT, belief.lesser),
    Item("decisions", "Decisions by hand", LEFT_OUT, belief.decisions),
    Item("map_doubts", "Doubts about the map", LEFT_OUT, belief.map_doubts),
    Item("components", "Components", STATISTICS, numbers.components),
    Item("statistics", "Statistics", STATISTICS, numbers.statistics),
    Item("uncertainty", "Uncertainty", STATISTICS, numbers.uncertainty),
    Item("heights", "Levelling", STATISTICS, numbers.heights),
    Item("places", "Regions, profiles, pictures", STATISTICS, numbers.places),
    Item("software", "Software", SOFTWARE, provenance.software),
    Item("settings", "Settings and decisions", SOFTWARE, provenance.settings),
    Item("source", "Data", SOFTWARE, provenance.source),
)

TOLD = {
    "calibration.spring_constant": "lever",
    "calibration.deflection_sensitivity": "sensitivity",
    "tip.radius": "tip", "tip.half_angle": "tip", "tip.rounding": "tip", "tip.material": "tip",
    "tip.modulus": "tip", "tip.poisson_ratio": "tip",
    "sample.poisson_ratio": "modulus",
    "layer.base": "layer", "layer.thickness": "layer",
    "baseline.shape": "baseline", "baseline.extent": "baseline", "baseline.threshold": "baseline",
    "baseline.fringes": "baseline", "baseline.period": "baseline", "baseline.branches": "baseline",
    "adhesion.samples": "adhesion",
    "fit.law": "law", "fit.adhesion": "law", "fit.pull_off": "law", "fit.distance": "law",
    "fit.contact": "contact", "fit.contact_at": "contact", "fit.branch": "segment",
    "fit.window": "window", "fit.fraction_from": "window", "fit.fraction_to": "window",
    "fit.force_from": "window", "fit.force_to": "window", "fit.indentation_from": "window",
    "fit.indentation_to": "window",
    "stiffness.branch": "stiffness", "stiffness.share_from": "stiffness",
    "stiffness.share_to": "stiffness",
    "viscous.model": "viscous",
    "uncertainty.spring_constant": "lever", "uncertainty.sensitivity": "sensitivity",
    "uncertainty.spring_from": "uncertainty", "uncertainty.tip": "tip",
    "uncertainty.poisson_ratio": "modulus", "uncertainty.thickness": "layer",
    "uncertainty.temperature": "uncertainty",
    "doubts.least_samples": "excluded", "doubts.shortest_baseline": "excluded",
    "doubts.worst_fall": "excluded",
}  # fmt: skip
"""Setting -> the item that tells it."""

_MARK = ("limit of a mild doubt: it marks curves, and which pixels are used and every number stay "
         "the same")  # fmt: skip
_WHOLE = "limit of a doubt about the map: it decides whether that is told, and changes no number"
SILENT = {
    **dict.fromkeys((
        "doubts.worst_residual", "doubts.worst_noise", "doubts.spike", "doubts.worst_set_force",
        "doubts.worst_fringe", "doubts.worst_drag", "doubts.worst_modulus",
        "doubts.worst_likeness", "doubts.worst_wave", "doubts.worst_tilt", "doubts.worst_contact",
        "doubts.worst_structure", "doubts.softest_lever", "doubts.weakest_peak",
        "doubts.second_pull", "doubts.longest_neck", "doubts.worst_hysteresis", "doubts.steepest",
        "doubts.worst_neighbour"), _MARK),
    **dict.fromkeys((
        "doubts.least_step", "doubts.worst_sensitivity", "doubts.worst_trend",
        "doubts.worst_height_drift", "doubts.worst_height_step", "doubts.worst_share"), _WHOLE),
}  # fmt: skip
"""Setting -> why it can't change a number."""
