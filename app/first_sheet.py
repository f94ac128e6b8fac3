"""A sheet to begin with: what an analysis has, in the order in which a reader asks for it."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..core.sheets import (
    ComponentOptions,
    CurveOptions,
    HistogramOptions,
    MapOptions,
    Panel,
    Sheet,
)

WANTED = ("modulus", "reduced_modulus", "stiffness", "adhesion", "height")


def first_sheet(findings: Any) -> Sheet:
    """Height and the first mechanical channel that has values, then components if there are any, a
    typical curve and how the channel is distributed."""
    main = next((name for name in WANTED if _has(findings, name)), "height")
    panels = [Panel("map", options=MapOptions(channel=main))]
    if findings.composition is not None:
        panels.append(Panel("components", options=ComponentOptions()))
    elif main != "height" and _has(findings, "height"):
        panels.insert(0, Panel("map", options=MapOptions(channel="height")))
    panels += [Panel("curve", options=CurveOptions()),
               Panel("histogram", options=HistogramOptions(channel=main))]  # fmt: skip
    return Sheet(panels=tuple(_at(panel, k) for k, panel in enumerate(panels)))


def _at(panel: Panel, k: int) -> Panel:
    return Panel(panel.kind, *divmod(k, 2), options=panel.options)


def _has(findings: Any, name: str) -> bool:
    return bool(np.isfinite(findings.analysis.channel(name)).any())
