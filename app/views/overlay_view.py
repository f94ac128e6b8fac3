"""Many curves at once: medians with their bands, and single curves, on common axes.

What is drawn comes as `Drawn` sets; the view adds nothing but the look, and reads out what stands
nearest to the pointer.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QEvent, QPointF, QSize, Signal
from PySide6.QtGui import QBrush, QFontMetrics
from PySide6.QtWidgets import QLabel, QSizePolicy, QVBoxLayout, QWidget

from .. import theme as look
from ..theme import LIGHT, SPACE, Theme
from .curve_view import CurveBox, style_axes
from .overlay_look import SetLook
from .profile_items import Band

Array = np.ndarray
EMPTY = np.empty(0)
BOTH = ("approach", "retract")
NEAR = 24.0  # px between the pointer and a line that is read out
ROOM = 0.04
INNER, OUTER = 60, 26
"""Opacity of the two bands, 0 to 255."""
TITLES = {
    ("z", "contact"): "Base position from contact, z − z<sub>0</sub> (nm)",
    ("z", "peak"): "Base position from the peak (nm)",
    ("z", "none"): "Base position z (nm)",
    ("indentation", "contact"): "Indentation δ (nm)",
    ("indentation", "peak"): "Indentation from the peak (nm)",
    ("separation", "contact"): "Separation D (nm)",
    ("separation", "peak"): "Separation from the peak (nm)",
}
Y_TITLES = {"force": "Force F (nN)", "deflection": "Deflection d (nm)"}
UNITS = {"force": "nN", "deflection": "nm"}


@dataclass(frozen=True, eq=False)
class Line:
    """One branch: a line with up to two bands about it, `inner` and `outer` as (low, high)."""

    x: Array
    y: Array
    inner: tuple[Array, Array] | None = None
    outer: tuple[Array, Array] | None = None
    count: Array | None = None


@dataclass(frozen=True, eq=False)
class Drawn:
    """One set: how it looks, what it is called, and its branches by name."""

    look: SetLook
    name: str
    branches: dict[str, Line]


class _Items:
    """What one set is drawn with; made once and given new data for ever."""

    def __init__(self, plot: pg.PlotItem, box: pg.ViewBox) -> None:
        self.lines = {name: pg.PlotCurveItem(connect="finite") for name in BOTH}
        self.bands = {(name, which): Band() for name in BOTH for which in ("inner", "outer")}
        self.letter = pg.TextItem(anchor=(0.5, 0.5))
        for z, items in ((1.0, self.bands.values()), (5.0, self.lines.values()),
                         (20.0, (self.letter,))):  # fmt: skip
            for item in items:
                item.setZValue(z)
                plot.addItem(item, ignoreBounds=True)

    def show(self, drawn: Drawn | None, ratio: float, theme: Theme) -> None:
        for name in BOTH:
            line = drawn.branches.get(name) if drawn is not None else None
            self.lines[name].setData(*((line.x, line.y) if line is not None else (EMPTY, EMPTY)))
            if drawn is not None:
                self.lines[name].setPen(drawn.look.pen(name, ratio))
            for which, alpha in (("inner", INNER), ("outer", OUTER)):
                band, ends = self.bands[name, which], getattr(line, which, None)
                band.show_range(line.x if ends else EMPTY, *(ends or (EMPTY, EMPTY)))
                if drawn is not None:
                    band.set_brush(QBrush(look.colour(drawn.look.colour, alpha)))
        self.letter.setVisible(drawn is not None)
        if drawn is not None:
            self.letter.setText(drawn.look.letter, color=theme.ink)
            self.letter.fill = pg.mkBrush(look.colour(theme.panel, 210))
            self.letter.border = pg.mkPen(drawn.look.colour)

    def put_letter(self, at: tuple[float, float] | None) -> None:
        self.letter.setVisible(at is not None)
        if at is not None:
            self.letter.setPos(*at)


class OverlayView(QWidget):
    """See the module. Signal hovered(text): what is read out, empty where nothing is near."""

    hovered = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme: Theme = LIGHT
        self._sets: list[Drawn] = []
        self._items: list[_Items] = []
        self._axes = ("indentation", "force", "contact")
        self._whole = True
        self.box = CurveBox()
        self.plot = pg.PlotWidget(viewBox=self.box)
        self.plot.hideButtons()
        self.plot.setFrameShape(self.plot.Shape.NoFrame)
        self.plot.setAccessibleName("Curves laid over each other")
        self.zero = pg.InfiniteLine(angle=0, pos=0.0)
        self.zero.setZValue(0.0)
        self.plot.addItem(self.zero, ignoreBounds=True)
        self.readout = look.toned(QLabel(), "muted")
        self.readout.setWordWrap(True)
        self.readout.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(SPACE // 2)
        box.addWidget(self.plot, 1)
        box.addWidget(self.readout)
        self.box.fitted.connect(self.fit)
        self.box.sigRangeChangedManually.connect(lambda *_: setattr(self, "_whole", False))
        self.plot.scene().sigMouseMoved.connect(self._on_move)
        self.set_theme(LIGHT)

    # -- what is shown --------------------------------------------------------------------------

    def show_sets(self, sets: Sequence[Drawn], x: str, y: str, align: str) -> None:
        """Draw sets on axes, as core's `aligned` names them; other axes show all of it again."""
        axes = (x, y, align)
        self._whole = self._whole or axes != self._axes or not self._sets
        self._sets, self._axes = list(sets), axes
        while len(self._items) < len(sets):
            self._items.append(_Items(self.plot.getPlotItem(), self.box))
        self._draw()
        self._label()
        if self._whole:
            self.fit()
        self.readout.setText("")

    @property
    def sets(self) -> list[Drawn]:
        return list(self._sets)

    def fit(self) -> None:
        """Show all of the curves, most of them the part in contact."""
        self._whole = True
        area = self._reach()
        if area is not None:
            left, right, low, high = area
            self.box.setRange(xRange=(left, right), yRange=(low, high), padding=ROOM)

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        font = look.small_font()
        self.plot.setBackground(theme.panel)
        wide = QFontMetrics(font).horizontalAdvance("-0000.0") + 24
        style_axes(self.plot.getPlotItem(), theme, font, wide)
        self.zero.setPen(pg.mkPen(theme.faint, width=1))
        look.shrink(self.readout)
        self.readout.setFixedHeight(2 * QFontMetrics(font).height() + 2)
        for items in self._items:
            items.letter.setFont(font)
        self._draw()

    def event(self, event: QEvent) -> bool:
        """Lines keep their width when the window moves to a screen of another resolution."""
        if event.type() in (QEvent.Type.DevicePixelRatioChange, QEvent.Type.Show):
            self._draw()
        return super().event(event)

    def sizeHint(self) -> QSize:
        return QSize(600, 400)

    # -- inside ---------------------------------------------------------------------------------

    def _draw(self) -> None:
        ratio = max(1.0, self.devicePixelRatioF())
        for i, items in enumerate(self._items):
            drawn = self._sets[i] if i < len(self._sets) else None
            items.show(drawn, ratio, self._theme)
            items.letter.setFont(look.small_font())
            items.put_letter(letter_place(drawn, i, len(self._sets)) if drawn else None)

    def _label(self) -> None:
        x, y, align = self._axes
        self.plot.setLabel("bottom", TITLES[x, align])
        self.plot.setLabel("left", Y_TITLES[y])

    def _reach(self) -> tuple[float, float, float, float] | None:
        xs, ys = [], []
        for drawn in self._sets:
            for line in drawn.branches.values():
                shown = np.isfinite(line.y) & np.isfinite(line.x)
                xs.append(line.x[shown])
                ys.append(line.y[shown])
                for band in filter(None, (line.inner,)):
                    ys += [each[np.isfinite(each)] for each in band]
        x, y = (np.concatenate(v) if v else EMPTY for v in (xs, ys))
        if not x.size or not y.size:
            return None
        left, right, low, high = (float(v) for v in (x.min(), x.max(), y.min(), y.max()))
        near = self._near_contact(left, right)
        return (*near, low, high if high > low else low + 1.0)

    def _near_contact(self, left: float, right: float) -> tuple[float, float]:
        """The part in contact with as much again before it; all of it if that is most."""
        x, _, align = self._axes
        if align == "none":
            return left, right
        inside = right if x != "separation" else -left
        deep = max(inside, 0.0) if align == "contact" else 0.25 * (right - left)
        before = max(1.5 * deep, 20.0)
        if x == "separation":
            return left, min(right, (0.0 if align == "contact" else deep) + before)
        return max(left, (0.0 if align == "contact" else -deep) - before), right

    def _on_move(self, scene: QPointF) -> None:
        text = self.text_at(scene) if self.box.sceneBoundingRect().contains(scene) else ""
        if text != self.readout.text():
            self.readout.setText(text)
            self.hovered.emit(text)

    def text_at(self, scene: QPointF) -> str:
        """What stands nearest to a place of the scene; empty if nothing is near."""
        at, (wide, high) = self.box.mapSceneToView(scene), self.box.viewPixelSize()
        best: tuple[float, str] = (NEAR, "")
        for drawn in self._sets:
            for branch, line in drawn.branches.items():
                found = nearest(line, at.x(), at.y(), wide, high)
                if found is not None and found[0] < best[0]:
                    best = found[0], self._said(drawn, branch, line, found[1])
        return best[1]

    def _said(self, drawn: Drawn, branch: str, line: Line, i: int) -> str:
        unit = UNITS[self._axes[1]]
        said = f"{drawn.name}, {branch}, at {line.x[i]:.2f} nm: {line.y[i]:.3f} {unit}"
        if line.inner is not None:
            low, high = (each[i] for each in line.inner)
            said += f"; 16 to 84 % of the curves: {low:.3f} to {high:.3f} {unit}"
        if line.outer is not None:
            low, high = (each[i] for each in line.outer)
            said += f"; 2.5 to 97.5 %: {low:.3f} to {high:.3f} {unit}"
        if line.count is not None:
            said += f"; {int(line.count[i])} curves"
        return said.replace("-", "−") + "."


def nearest(line: Line, x: float, y: float, wide: float, high: float) -> tuple[float, int] | None:
    """(distance in px, index) of the point of a line that is nearest to a place."""
    if not line.x.size or not (wide > 0.0 and high > 0.0):
        return None
    away = np.hypot((line.x - x) / wide, (line.y - y) / high)
    if not np.isfinite(away).any():
        return None
    i = int(np.nanargmin(away))
    return float(away[i]), i


def letter_place(drawn: Drawn, number: int, total: int) -> tuple[float, float] | None:
    """Where a set's letter stands: on its approach (or retract), each set a step lower than the
    one before, so that letters of like curves do not cover each other."""
    line = drawn.branches.get("approach") or drawn.branches.get("retract")
    if line is None:
        return None
    shown = np.flatnonzero(np.isfinite(line.y))
    if not shown.size:
        return None
    top = float(np.nanmax(line.y))
    level = top * (0.92 - 0.92 * number / max(total, 7))
    i = shown[int(np.argmin(np.abs(line.y[shown] - level)))]
    return (float(line.x[i]), float(line.y[i])) if math.isfinite(top) else None


REACHED = 0.5
"""A median is drawn where at least this share of the curves is: at the ends those that are left
are no fair choice (the softest go deepest)."""


def drawn_ensemble(look_: SetLook, name: str, ensemble: Any, branches: Sequence[str]) -> Drawn:
    """A set from core's `Ensemble`."""
    found = {}
    for branch in branches:
        s = ensemble.branches[branch]
        if ensemble.x.size:
            fair = s.count >= REACHED * ensemble.curves.size
            median, *ends = (np.where(fair, v, np.nan)
                             for v in (s.median, s.low, s.high, s.lowest, s.highest))  # fmt: skip
            found[branch] = Line(ensemble.x, median, (ends[0], ends[1]), (ends[2], ends[3]),
                                 s.count)  # fmt: skip
    return Drawn(look_, name, found)


def drawn_curve(look_: SetLook, name: str, curve: Any, branches: Sequence[str]) -> Drawn:
    """A set from core's `Placed`."""
    return Drawn(look_, name, {b: Line(*getattr(curve, b)) for b in branches
                               if getattr(curve, b)[0].size})  # fmt: skip
