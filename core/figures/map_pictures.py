"""Pictures of maps for a look without a window, drawn as the panels of figure sheets are."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from ..analysis import Analysis
from ..sheets import MapOptions, Panel, Sheet

FIRST_CHOICE = ("height", "modulus", "stiffness", "adhesion", "dissipation", "indentation")
WIDTH, DPI = 100.0, 200
"""Of a picture [mm, per inch]."""


def sheet_of(name: str) -> Sheet:
    """The sheet of one picture: a map with its axes, of all pixels that have a value."""
    options = MapOptions(channel=name, axes=True, scale_bar=False, trusted=False)
    panel = Panel("map", options=options, lettered=False)
    return Sheet(name, width=WIDTH, dpi=DPI, panels=(panel,))


def pictures(analysis: Analysis, folder: Path, names: tuple[str, ...] = FIRST_CHOICE) -> list[Path]:
    """Write one PNG a channel into a folder; channels without any value are left out.

    Raises WriteError if the folder can't be written to.
    """
    from ..findings import Findings
    from ..work import Work
    from .drawing import draw_sheet
    from .writing import write_drawn

    findings = Findings(analysis, Work(analysis.settings))
    written = []
    for name in names:
        if np.isfinite(analysis.channel(name)).any():
            path = folder / f"{name}.png"
            write_drawn(path, draw_sheet(sheet_of(name), findings))
            written.append(path)
    return written
