"""A small map of two components with known numbers, analysed, reviewed, with places and recipes."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from palpate.core.components.saving import write_components
from palpate.core.corrections import reviewed
from palpate.core.decisions import Pixels, Review
from palpate.core.findings import Findings, findings_of
from palpate.core.pipeline import analyse
from palpate.core.places import Places, Profile
from palpate.core.readers import open_map
from palpate.core.sheets import (
    CurveOptions,
    HistogramOptions,
    MapOptions,
    Panel,
    ProfileOptions,
    Sheet,
    TableOptions,
)
from palpate.core.simulate import Lever, Material, Ramp, simulate_map
from palpate.core.work import Work
from palpate.core.workfile import Beside, save_analysis
from palpate.core.writers import write_map

SPRING, SOFT_E, STIFF_E = 2.0, 0.06, 1.2
SHAPE, SIZE = (20, 24), (1200.0, 1000.0)
BORDER = 600.0
"""Where the two components meet, in x [nm]."""
BAD = (6, 3)
"""This pixel's curve is noise alone: no contact."""
SOFT = Material("soft", SOFT_E, 0.45, 9.0, 0.05, 0.03)
STIFF = Material("stiff", STIFF_E, 0.4, 5.0, 0.05)
SHEETS = (
    Sheet("Moduli and curves", width="single", panels=(
        Panel("map", options=MapOptions()), Panel("curve", 0, 1, options=CurveOptions()),
        Panel("histogram", 1, 0, options=HistogramOptions(log=True)), Panel("joint", 1, 1),
        Panel("profile", 2, 0, options=ProfileOptions(second="adhesion")),
        Panel("components", 2, 1),
        Panel("table", 3, 0, cols=2, options=TableOptions(what="doubts")))),
    Sheet("Figure 2", width="single", panels=(Panel("curve", lettered=False),)),
)  # fmt: skip


def written_map(folder: Path) -> Path:
    """The map as a file."""
    labels = np.tile((np.arange(SHAPE[1]) >= SHAPE[1] // 2).astype(int), (SHAPE[0], 1))
    made = simulate_map(labels, (SOFT, STIFF), lever=Lever(SPRING, 60.0, noise=0.06),
                        ramp=Ramp(travel=120.0, samples=160), scan_size=SIZE, seed=2)  # fmt: skip
    arrays = made.arrays()
    at = BAD[0] * SHAPE[1] + BAD[1]
    signal = np.array(arrays["deflection"])
    signal[at] = np.random.default_rng(5).normal(0.0, 0.001, signal[at].shape)
    path = folder / "two.h5"
    write_map(path, **{**arrays, "deflection": signal})
    return path


def work() -> Work:
    """Two pixels left out by hand, a profile across the border, two recipes."""
    gone = np.zeros(SHAPE, bool)
    gone[3, 4] = gone[12, 20] = True
    line = Profile("Across", ((100.0, 475.0), (1100.0, 475.0)), width=400.0)
    return Work(review=Review().leave_out(Pixels.of(gone), "by eye"),
                places=Places(profiles=(line,)), sheets=SHEETS)  # fmt: skip


def found_in(path: Path) -> Findings:
    """Findings of the map, which stays open."""
    decided = work()
    result = reviewed(analyse(open_map(path), decided.settings), decided.review)
    return findings_of(result, decided)


def saved_result(folder: Path, findings: Findings) -> Path:
    """The findings as a result file."""
    path = folder / "two.analysis.h5"

    def components(entry: object) -> None:
        write_components(entry, findings.composition, findings.table, findings.pairs)

    save_analysis(path, findings.analysis, Beside(components, findings.work))
    return path


def on_paper(panel: Panel, findings: Findings, width: float = 89.0, height: float = 60.0):
    """A panel drawn alone [mm]: the figure and what it tells."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    from palpate.core.figures import DRAWERS, Style
    from palpate.core.figures.drawing import drawing_as

    with drawing_as(Style()):
        figure = Figure(figsize=(width / 25.4, height / 25.4), dpi=144.0)
        FigureCanvasAgg(figure)
        drawn = DRAWERS[panel.kind](figure.subfigures(1, 1), panel, findings, Style())
        figure.canvas.draw()
    return figure, drawn


def column(table, name: str) -> np.ndarray:
    """A column of a table by its name."""
    return np.asarray(table.values[[head for head, _, _ in table.columns].index(name)])


def named(drawn, name: str):
    """The table of a name."""
    return next(table for table in drawn.tables if table.name == name)


def without_components(findings: Findings) -> Findings:
    return replace(findings, composition=None, table=None, pairs=(),
                   notes=("No components: for this test.",))  # fmt: skip
