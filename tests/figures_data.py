"""A small analysed map with components, decisions and gaps, for the tests of figures."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np

from palpate.core.components import Axis, Rule
from palpate.core.decisions import Pixels, Review
from palpate.core.findings import Findings, findings_of
from palpate.core.forcemap import ForceMap
from palpate.core.pipeline import analyse
from palpate.core.settings import Settings
from palpate.core.sheets import MapOptions, Panel, Sheet
from palpate.core.simulate import Lever, Material, Ramp, simulate_map
from palpate.core.work import Work

SHAPE = (14, 18)
GAPS = 3
"""Curves that were not measured, the last ones."""
BY_HAND = ((2, 3), (2, 4))
SOFT, STIFF = Material("soft", 0.3, 0.4, 8.0, 0.2), Material("stiff", 1.5, 0.4, 5.0, 0.1)


@lru_cache(maxsize=1)
def found() -> Findings:
    """Two components in a map of 14 x 18 pixels, 900 nm x 700 nm; two pixels left out by hand and
    three without a curve; a threshold between the components."""
    labels = np.zeros(SHAPE, int)
    labels[4:11, 5:13] = 1
    scene = simulate_map(labels, (SOFT, STIFF), lever=Lever(2.0, 60.0, "paraboloid", 20.0, 0.05),
                         ramp=Ramp(travel=150.0, samples=160, set_force=20.0),
                         scan_size=(900.0, 700.0), spoiled=0.04, seed=4)  # fmt: skip
    given: dict[str, Any] = scene.arrays()
    for name in ("z", "deflection", "pixel"):
        given[name] = given[name][:-GAPS]
    out = np.zeros(SHAPE, bool)
    for row, col in BY_HAND:
        out[row, col] = True
    rule = Rule("thresholds", (Axis("reduced_modulus", True),), thresholds=(0.9,),
                names=("soft", "stiff"))  # fmt: skip
    work = Work(Settings(), rule)
    analysis = analyse(ForceMap.from_arrays(**given), work.settings)
    analysis = analysis.with_review(Review().leave_out(Pixels.of(out), "a scratch"))
    return findings_of(analysis, work)


def map_sheet(preset: str = "plain", width: Any = "single", **options: Any) -> Sheet:
    """A sheet of one map."""
    return Sheet("Figure 1", preset, width, panels=(Panel("map", options=MapOptions(**options)),))


def with_places(places: Any) -> Findings:
    """The findings with regions and profiles."""
    return replace(found(), work=replace(found().work, places=places))
