"""A profile: channels against the distance along a line, with two cursors and a fitted edge.

Up to three channels stand above one another on one axis of distance. Under the axis a strip tells
the component that each part lies in. Where pixels were left out, lines and bands are interrupted.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QEvent, QSize, Qt, Signal
from PySide6.QtGui import QFontMetrics
from PySide6.QtWidgets import (
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QScrollArea,
    QSizePolicy,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from ...core import units
from ...core.channels import Channel
from .. import theme as look
from ..theme import LIGHT, SPACE, Theme
from .curve_view import CurveBox, style_axes
from .profile_items import EMPTY, Channels, Strip
from .symbols import rich

Array = np.ndarray
Series = tuple[Channel, Array, Array | None]
"""A channel, its values along the profile, and their standard errors; NaN where left out."""
MOST = 3
STRIP_HEIGHT = 18
HEADS = ("", "A", "B", "B − A", "slope")
WIDEST = ("Dissipated energy", "0.00000 ± 0.0000 GPa", "0.00000 ± 0.0000 GPa", "-000.00 MPa",
          "-0.00000 MPa/nm")  # fmt: skip
"""A column of the table has room for this."""
EMPTY_WORDS = "Draw a line on the map to see its profile."


class ProfileView(QWidget):
    """Value against distance.

    Signals, each only for what the person did
    ------------------------------------------
    cursor_dragged(which, distance) : cursor "A" or "B" is being dragged; in the unit of the profile
    cursor_dropped(which, distance) : it was let go
    """

    cursor_dragged = Signal(str, float)
    cursor_dropped = Signal(str, float)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._series: list[Series] = []
        self._distance: Array = EMPTY
        self._factors = [1.0] * MOST
        self._unit, self._along = "nm", 1.0  # the unit told, and what the axis shows of it
        self._whole = True  # all is shown, until the person moves or zooms it
        self._edge_words, self._strip_height = "", 2
        self._theme: Theme = LIGHT
        self._build()
        self.set_theme(LIGHT)
        self.show_profile(EMPTY, [])

    # -- building

    def _build(self) -> None:
        self.canvas = pg.GraphicsLayoutWidget()
        self.canvas.ci.layout.setSpacing(0)
        self.canvas.ci.setContentsMargins(0, 4, 6, 0)
        self.plots = [Channels(CurveBox()) for _ in range(MOST)]
        for row, plot in enumerate(self.plots):
            self.canvas.addItem(plot, row=row, col=0)
            plot.hideAxis("bottom")  # the one of distance stands under the strip
            plot.moved.connect(self._on_moved)
            plot.dropped.connect(self._on_dropped)
            plot.vb.fitted.connect(self.fit)
            plot.vb.sigRangeChangedManually.connect(lambda *_: setattr(self, "_whole", False))
            for cursor in plot.cursors.values():
                cursor.show_letter(row == 0)
            if row:
                plot.setXLink(self.plots[0])
        self.strip_plot = self.canvas.addPlot(row=MOST, col=0, viewBox=pg.ViewBox(enableMenu=False))
        self.strip_plot.hideButtons()
        self.strip_plot.setMouseEnabled(x=False, y=False)
        self.strip_plot.setXLink(self.plots[0])
        self.strip_plot.setYRange(0.0, 1.0, padding=0.0)
        self.strip_plot.getAxis("left").setStyle(showValues=False, tickLength=0)
        self.strip_plot.getAxis("left").setTicks([])
        self.strip = Strip()
        self.strip_plot.addItem(self.strip, ignoreBounds=True)
        self.note = look.toned(QLabel(), "muted")
        self.note.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        box = QVBoxLayout(self)
        box.setContentsMargins(SPACE, SPACE, SPACE, SPACE)
        box.setSpacing(SPACE)
        box.addLayout(self._head())
        box.addWidget(self.canvas, 1)
        box.addWidget(self._reading())
        box.addWidget(self.note)

    def _head(self) -> QHBoxLayout:
        row = QHBoxLayout()
        self.title = look.toned(QLabel(), "strong")
        self.title.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        self.fit_button = QToolButton()
        self.fit_button.setText("Whole profile")
        self.fit_button.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
        self.fit_button.setToolTip("Show the whole profile (double click)")
        self.fit_button.clicked.connect(self.fit)
        row.addWidget(self.title, 1)
        row.addWidget(self.fit_button)
        return row

    def _reading(self) -> QWidget:
        """The table of what stands at the cursors."""
        table = QWidget()
        table.setAccessibleName("Values at the cursors")
        grid = QGridLayout(table)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(SPACE)
        grid.setVerticalSpacing(0)
        self._cells = [[QLabel() for _ in HEADS] for _ in range(MOST + 2)]
        for r, line in enumerate(self._cells):
            for c, cell in enumerate(line):
                grid.addWidget(cell, r, c)
                if r == 0 or c == 0:
                    look.toned(cell, "muted")
                if c:
                    cell.setAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        for cell, text in zip(self._cells[0], HEADS, strict=True):
            cell.setText(text)
        grid.setColumnStretch(len(HEADS), 1)
        area = QScrollArea()  # the view may be narrower than the table
        area.setFrameShape(QScrollArea.Shape.NoFrame)
        area.setWidgetResizable(True)
        area.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        area.setWidget(table)
        self._table, self._area = table, area
        return area

    # -- what is shown

    def show_profile(self, distance: Array, series: Sequence[Series], labels: Array | None = None,
                     unit: str = "nm", colours: Sequence[str] = (), letters: Sequence[str] = (),
                     title: str = "Profile") -> None:  # fmt: skip
        """Show channels along a line; no series empties the view.

        Parameters
        ----------
        distance : (n,) from the start of the line, rising
        series : at most three of (channel, values, errors or None); values and standard errors
            (n,) in the channel's core unit, NaN where pixels were left out
        labels : (n,) int, the component that each point lies in, -1 for none; None for no strip
        unit : of the distance, "nm" or "pixel"
        colours, letters : one for each component
        title : what to call it
        """
        if len(series) > MOST:
            raise ValueError(f"a profile has at most {MOST} channels at once, not {len(series)}")
        if labels is not None and max(labels, default=-1) >= min(len(colours), len(letters)):
            raise ValueError("there are more components than looks for them")
        self._series, self._distance, self._unit = list(series), np.asarray(distance, float), unit
        longest = float(self._distance[-1]) if self._distance.size else 0.0
        self._along = 1e-3 if unit == "nm" and longest >= 10_000.0 else 1.0
        self._arrange()
        for i, each in enumerate(self._series):
            self._show_channel(i, *each)
        self.strip.show_labels(self._distance * self._along, labels, colours, letters)
        self._strip_height = STRIP_HEIGHT if labels is not None else 2
        shown = "µm" if self._along != 1.0 else unit
        words = f"Distance along the line ({shown})"
        if self.strip_plot.getAxis("bottom").labelText != words:
            self.strip_plot.setLabel("bottom", words)
        self._size_strip()
        self.title.setText(title if series else "No profile")
        self._edge_words = ""
        self.show_edge(None)
        self._keep_inside()
        if self._whole or not series:
            self.fit()

    def show_edge(self, distance: Array | None, values: Array = EMPTY, words: str = "",
                  between: tuple[float, float] | None = None, which: int = 0) -> None:  # fmt: skip
        """Draw a fitted edge, with its 10-90 % width marked by two dotted lines.

        Parameters
        ----------
        distance, values : (m,) the fitted line, in the unit of the profile and of the channel;
            None takes it away, and so does another profile
        words : what the fit found, for the line under the plots
        between : the distances of 10 % and of 90 % of the step; without it they are read off the
            line, whose two ends are taken as 0 and 100 %
        which : the channel it belongs to, by its place in the series
        """
        for i, plot in enumerate(self.plots):
            if distance is None or i != which or i >= len(self._series):
                plot.show_edge(EMPTY, EMPTY, None)
                continue
            x, y = np.asarray(distance, float), np.asarray(values, float)
            ends = between if between is not None else ten_to_ninety(x, y)
            shown = None if ends is None else (ends[0] * self._along, ends[1] * self._along)
            plot.show_edge(x * self._along, y * self._factors[i], shown)
        self._edge_words = words if distance is not None else ""
        self.note.setText(self._edge_words if self._series else EMPTY_WORDS)
        self.note.setToolTip(self._edge_words)

    def set_cursors(self, a: float, b: float) -> None:
        """Put the cursors at distances in the unit of the profile; NaN hides one. A cursor that
        the mouse has stays with it."""
        for plot in self.plots:
            plot.show_cursor("A", a * self._along)
            plot.show_cursor("B", b * self._along)

    @property
    def cursors(self) -> tuple[float, float]:
        """Where the cursors stand, in the unit of the profile; NaN if hidden."""
        found = [self.plots[0].cursors[letter] for letter in "AB"]
        a, b = (c.value() / self._along if c.isVisible() else math.nan for c in found)
        return a, b

    def show_reading(self, rows: Sequence[Sequence[str]]) -> None:
        """Fill the table under the plots: for each row (name, at A, at B, B − A, slope), such as
        `reading_rows` makes them; what is missing becomes a dash."""
        for r, line in enumerate(self._cells[1:]):
            texts = list(rows[r]) if r < len(rows) else []
            for c, cell in enumerate(line):
                text = texts[c] if c < len(texts) else ("–" if texts else "")
                if cell.text() != text:
                    cell.setText(text)

    def reading(self) -> list[list[str]]:
        """What stands in the table, without its head."""
        return [[cell.text() for cell in line] for line in self._cells[1:]]

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the font anew."""
        self._theme = theme
        font = look.small_font()
        metrics = QFontMetrics(font)
        self.canvas.setBackground(theme.panel)
        wide = metrics.horizontalAdvance("-0000.0") + 2 * metrics.height() + 12
        for plot in (*self.plots, self.strip_plot):
            style_axes(plot, theme, font, wide)
            for side in ("left", "bottom"):
                plot.getAxis(side).setStyle(maxTickLevel=0)  # the small ticks are slow to draw
            plot.vb.setBorder(pg.mkPen(theme.faint))
        self._restyle()
        self.strip.set_theme(theme, font)
        self._size_strip()
        self.fit_button.setIcon(look.icon("curve", theme))
        for line in self._cells:
            for cell, widest in zip(line, WIDEST, strict=True):
                look.shrink(cell)
                cell.setFixedWidth(metrics.horizontalAdvance(widest) + 4)
        bar = self._area.horizontalScrollBar().sizeHint().height()
        self._area.setFixedHeight(self._table.minimumSizeHint().height() + bar)
        look.shrink(self.note)
        self.note.setFixedHeight(metrics.height() + 2)

    def _restyle(self) -> None:
        for plot in self.plots:
            plot.set_theme(self._theme, max(1.0, self.devicePixelRatioF()), look.small_font())

    def event(self, event: QEvent) -> bool:
        """Lines keep their width when the window moves to a screen of another resolution."""
        if event.type() in (QEvent.Type.DevicePixelRatioChange, QEvent.Type.Show):
            self._restyle()
        return super().event(event)

    def fit(self) -> None:
        """Show the whole profile."""
        self._whole = True
        x = self._distance * self._along
        low, high = (float(x[0]), float(x[-1])) if x.size else (0.0, 1.0)
        if high <= low:
            low, high = low - 0.5, high + 0.5
        self.plots[0].setXRange(low, high, padding=0.02)
        for i, (_, values, errors) in enumerate(self._series):
            self.plots[i].setYRange(*reach(values, errors, self._factors[i]), padding=0.06)

    # -- inside

    def _arrange(self) -> None:
        """Give the room to the plots in use; one stays for an empty view."""
        grid = self.canvas.ci.layout
        for row, plot in enumerate(self.plots):
            used = row < max(1, len(self._series))
            plot.setVisible(used)
            grid.setRowMaximumHeight(row, 1e5 if used else 0.0)
            grid.setRowStretchFactor(row, 1 if used else 0)
        for axis in (self.plots[0].getAxis("left"), self.strip_plot.getAxis("bottom")):
            axis.setStyle(showValues=bool(self._series))
        if not self._series:
            self.plots[0].show_values(EMPTY, EMPTY, None)
            self.plots[0].setLabel("left", "")

    def _size_strip(self) -> None:
        """The strip has its height and the axis of distance below it; the rest is the plots'."""
        axis = self.strip_plot.getAxis("bottom")
        self.strip_plot.setFixedHeight(self._strip_height + axis.minimumHeight() + 3)

    def _show_channel(self, i: int, channel: Channel, values: Array, errors: Array | None) -> None:
        values = np.asarray(values, float)
        finite = np.abs(values[np.isfinite(values)])
        typical = float(np.median(finite)) if finite.size else math.nan
        unit, factor = units.best_unit(typical, channel.unit)
        self._factors[i] = factor
        scaled = None if errors is None else np.asarray(errors, float) * factor
        self.plots[i].show_values(self._distance * self._along, values * factor, scaled)
        tail = f" ({unit})" if unit else ""
        words = f"<center>{channel.label}<br><i>{rich(channel.symbol)}</i>{tail}</center>"
        if self.plots[i].getAxis("left").labelText != words:
            self.plots[i].setLabel("left", words)

    def _keep_inside(self) -> None:
        """Cursors can't leave the profile."""
        x = self._distance * self._along
        ends = [float(x[0]), float(x[-1])] if x.size else [None, None]
        for plot in self.plots:
            for cursor in plot.cursors.values():
                cursor.setBounds(ends)
                if not self._series:
                    cursor.hide()

    # -- what the person does

    def _on_moved(self, which: str, x: float) -> None:
        for plot in self.plots:
            plot.show_cursor(which, x)
        self.cursor_dragged.emit(which, x / self._along)

    def _on_dropped(self, which: str, x: float) -> None:
        self.cursor_dropped.emit(which, x / self._along)

    def sizeHint(self) -> QSize:
        return QSize(600, 560)


# ---- numbers


def reach(values: Array, errors: Array | None, factor: float = 1.0) -> tuple[float, float]:
    """Lowest and highest of what is drawn, never equal."""
    spread = np.zeros(np.shape(values)) if errors is None else np.nan_to_num(errors)
    both = np.concatenate([values - spread, values + spread])
    both = both[np.isfinite(both)] * factor
    if not both.size:
        return 0.0, 1.0
    low, high = float(both.min()), float(both.max())
    if high - low <= 1e-9 * max(abs(low), abs(high)):
        half = 0.05 * abs(high) or 1.0
        return low - half, high + half
    return low, high


def ten_to_ninety(x: Array, y: Array) -> tuple[float, float] | None:
    """Where a fitted step has done 10 and 90 % of its way from its first to its last value; None
    if it does not go one way throughout."""
    step = np.diff(y)
    if len(x) < 2 or not (np.isfinite(y).all() and ((step >= 0).all() or (step <= 0).all())):
        return None
    if y[0] == y[-1]:
        return None
    share = (y - y[0]) / (y[-1] - y[0])
    return float(np.interp(0.1, share, x)), float(np.interp(0.9, share, x))


def reading_rows(distance: Array, series: Sequence[Series], a: float, b: float, unit: str = "nm"
                 ) -> list[tuple[str, ...]]:  # fmt: skip
    """The rows of the table under a profile, for cursors at distances a and b.

    A value is that of the nearest point, a dash where it was left out. The difference has no
    error: neighbouring points share most of theirs.
    """
    rows = [("Distance", *(_length(v, unit) for v in (a, b, b - a)), "")]
    for channel, values, errors in series:
        at = [_nearest(distance, c) for c in (a, b)]
        found = [float(values[i]) if i is not None else math.nan for i in at]
        spread = [float(errors[i]) if errors is not None and i is not None else math.nan
                  for i in at]  # fmt: skip
        change = found[1] - found[0]
        size = max((abs(v) for v in found if math.isfinite(v)), default=math.nan)
        shown, factor = units.best_unit(size, channel.unit)
        texts = [units.text_of(v, channel.unit, e, shown if math.isfinite(size) else "")
                 for v, e in zip((*found, change), (*spread, math.nan), strict=True)]  # fmt: skip
        slope = change * factor / (b - a) if b != a else math.nan
        tail = f"{shown}/{unit}" if shown else f"1/{unit}"
        rows.append((channel.label, *texts, f"{slope:.3g} {tail}" if math.isfinite(slope) else "–"))
    return rows


def _nearest(distance: Array, at: float) -> int | None:
    if not (len(distance) and math.isfinite(at)):
        return None
    return int(np.argmin(np.abs(np.asarray(distance) - at)))


def _length(value: float, unit: str) -> str:
    return f"{value:.1f} {unit}" if math.isfinite(value) else "–"
