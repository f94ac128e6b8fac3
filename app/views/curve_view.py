"""The curve of the picked pixel: what was measured, what was found, and the residuals.

The upper plot has the curve on the axes that the person chose, the lower one the residuals of the
fit in units of the noise. The fit window is dragged here; its ends leave this view as base
positions z, whatever the axes are.
"""

from __future__ import annotations

import math

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QEvent, QRectF, QSize, Qt, Signal, SignalInstance
from PySide6.QtGui import QFontMetrics
from PySide6.QtWidgets import (
    QComboBox,
    QHBoxLayout,
    QLabel,
    QSizePolicy,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from ...core import curveaxes as axes
from ...core import units
from ...core.channels import CHANNELS
from ...core.curveaxes import Frame, contact_start
from ...core.curvereport import CurveReport, Raised
from .. import theme as look
from ..theme import LIGHT, SPACE, Theme
from .curve_items import BESIDE, EMPTY, CurveItems
from .legend import Legend
from .residuals import ResidualPlot

Array = np.ndarray
ROOM = 0.04
"""Empty room around the curve, as a share of it."""
LEAST_HEIGHT = 30.0
"""The whole curve is never shown less high than this many times its noise."""
WHOLE, CONTACT = "whole", "contact"
CORRECTS = ("Correcting: the fit window and the dashed contact line can be dragged for this pixel "
            "alone; C ends it.")  # fmt: skip
CORRECTS_MANY = "Correcting {} gathered pixels: the fit window holds for them alone; C ends it."


class CurveBox(pg.ViewBox):
    """The area of a curve: left drag moves it, the wheel zooms, a double click shows it whole."""

    fitted = Signal()

    def __init__(self) -> None:
        super().__init__(enableMenu=False, defaultPadding=0.0)

    def mouseClickEvent(self, ev: object) -> None:
        if ev.button() == Qt.MouseButton.LeftButton and ev.double():
            ev.accept()
            self.fitted.emit()

    def mouseDragEvent(self, ev: object, axis: int | None = None) -> None:
        if ev.button() == Qt.MouseButton.LeftButton:
            super().mouseDragEvent(ev, axis)


class CurveView(QWidget):
    """One curve, explained.

    Signals, each only for what the person did
    ------------------------------------------
    axes_changed(x, y) : other axes were chosen
    window_dragging(z_from, z_to) : the fit window is being dragged, base positions in nm
    window_dropped(z_from, z_to) : it was let go; once per drag
    contact_dragging(z0) : the contact point is being dragged, base position in nm; only while
        single pixels are corrected
    contact_dropped(z0) : it was let go
    """

    axes_changed = Signal(str, str)
    window_dragging = Signal(float, float)
    window_dropped = Signal(float, float)
    contact_dragging = Signal(float)
    contact_dropped = Signal(float)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._report: CurveReport | None = None
        self._frame, self._wanted = Frame(), ("z", "force")
        self._drawn: tuple[str, str, bool] | None = None
        self._part = WHOLE  # what the view was last fitted to; empty once moved by hand
        self._area = QRectF(0.0, 0.0, 1.0, 1.0)  # what it was fitted to, without the room around
        self._theme: Theme = LIGHT
        self._others: dict[str, tuple[CurveReport, str]] = {}  # by the names in BESIDE
        self._marks: tuple[tuple[int, int], list[tuple[str, float]]] = ((-1, -1), [])
        self._correcting = 0  # pixels that a drag corrects; 0 for the whole map
        self._doubt = ""  # the one whose place is shown; empty for the worst
        self._said = ""  # why other axes are shown than were chosen
        self._build()
        self.set_theme(LIGHT)
        self.show_report(None)

    # -- building

    def _build(self) -> None:
        self.box = CurveBox()
        self.canvas = pg.GraphicsLayoutWidget()
        self.canvas.ci.layout.setSpacing(4)
        self.canvas.ci.setContentsMargins(0, 4, 6, 0)
        self.plot = self.canvas.addPlot(row=0, col=0, viewBox=self.box)
        self.plot.hideButtons()
        self.plot.getAxis("bottom").setStyle(showValues=False)
        self.items = CurveItems(self.plot)
        self.residuals = ResidualPlot(self.canvas, CurveBox(), self.plot)
        self.legend = Legend(self)
        self.note = look.toned(QLabel(), "muted")
        self.note.setWordWrap(True)
        self.note.setAlignment(Qt.AlignmentFlag.AlignTop | Qt.AlignmentFlag.AlignLeft)
        self.note.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
        box = QVBoxLayout(self)
        box.setContentsMargins(SPACE, SPACE, SPACE, SPACE)
        box.setSpacing(SPACE)
        box.addLayout(self._head())
        box.addWidget(self.canvas, 1)
        box.addWidget(self.legend)
        box.addWidget(self.note)
        for area in (self.box, self.residuals.box):
            area.fitted.connect(lambda: self.fit(WHOLE))
            area.sigRangeChangedManually.connect(lambda *_: setattr(self, "_part", ""))
        self.items.window.dragging.connect(lambda *x: self._on_window(self.window_dragging, x))
        self.items.window.dropped.connect(lambda *x: self._on_window(self.window_dropped, x))
        hand = self.items.hand
        hand.dragging.connect(lambda x: self._on_contact(self.contact_dragging, x))
        hand.dropped.connect(lambda x: self._on_contact(self.contact_dropped, x))

    def _head(self) -> QHBoxLayout:
        row = QHBoxLayout()
        row.setSpacing(SPACE // 2)
        self.title = look.toned(QLabel(), "strong")
        self.title.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        widest = self.title.fontMetrics().horizontalAdvance("Row 000, column 000")
        self.title.setMinimumWidth(widest)  # so that nothing moves while pixels are walked
        self.y_choice, self.x_choice = QComboBox(), QComboBox()
        for combo, table, name in ((self.y_choice, axes.Y_AXES, "Vertical axis"),
                                   (self.x_choice, axes.X_AXES, "Horizontal axis")):  # fmt: skip
            for key, words in table.items():
                combo.addItem(words, key)
            combo.setAccessibleName(name)
            combo.setToolTip(name)
            combo.activated.connect(self._on_axes)
        self.y_choice.setCurrentIndex(self.y_choice.findData("force"))
        self.fit_button = self._button("Whole", "Show the whole curve (double click)", WHOLE)
        self.contact_button = self._button("Contact", "Show the part in contact", CONTACT)
        row.addWidget(self.title, 1)
        for widget in (self.y_choice, QLabel("against"), self.x_choice):
            row.addWidget(widget)
        row.addSpacing(SPACE)
        row.addWidget(self.fit_button)
        row.addWidget(self.contact_button)
        return row

    def _button(self, text: str, tip: str, part: str) -> QToolButton:
        button = QToolButton()
        button.setText(text)
        button.setToolTip(tip)
        button.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
        button.clicked.connect(lambda: self.fit(part))
        return button

    # -- what is shown

    @property
    def axes_shown(self) -> tuple[str, str]:
        """Names of the axes across and up."""
        return self._frame.x, self._frame.y

    def show_report(self, report: CurveReport | None, reset_view: bool = False) -> None:
        """Draw a curve; None empties the view.

        While the fit window is held by the mouse, the law, the residuals and the numbers follow,
        but the window stays where the mouse has it and the axes stay as they are.
        """
        self._report = report
        if report is None:
            self._clear()
            return
        held = self.items.window.held or self.items.hand.held
        if not held:
            self._frame, self._said = axes.frame_for(report, *self._wanted)
        self._draw(report, self._frame)
        self._draw_beside()
        self.items.window.place(axes.window_on(report, self._frame))
        self._place_hand()
        self.legend.show_texts(legend_texts(report, self._doubt) | self._texts_beside())
        self.title.setText(f"Row {report.row}, column {report.col}")
        kind = (self._frame.x, self._frame.y, report.constants.lengths)
        if kind != self._drawn:
            self._label()
        if not held and (reset_view or kind != self._drawn or self._lost()):
            self.fit(self._part or WHOLE)
        elif not held and self._part:
            self._follow()
        self._drawn = kind

    def show_other(self, report: CurveReport | None, words: str = "", which: str = "other"
                   ) -> None:  # fmt: skip
        """Draw another fit beside the one in use: the report of the same pixel under other
        settings. It goes away with the next pixel. None takes it away.

        Parameters
        ----------
        which : "other" for a law that is compared, "reference" for the result that is held
        """
        if report is None:
            self._others.pop(which, None)
        else:
            self._others[which] = (report, words)
        self._draw_beside()
        if self._report is not None:
            self.legend.show_texts(legend_texts(self._report, self._doubt) | self._texts_beside())

    def set_correcting(self, pixels: int) -> None:
        """How many pixels a drag corrects, 0 for the whole map. The contact point of a single one
        has a handle."""
        self._correcting = pixels
        self._place_hand()
        self._draw_beside()

    def _place_hand(self) -> None:
        report = self._report
        x = math.nan
        if self._correcting == 1 and report is not None:
            x = self._frame.point(report.contact, axes.fitted_branch(report))[0]
        self.items.hand.place(x)

    def show_contacts(self, marks: list[tuple[str, float]]) -> None:
        """Mark contact points by other methods on this pixel's baseline: (symbol, z0 in nm)."""
        at = (self._report.row, self._report.col) if self._report is not None else (-1, -1)
        self._marks = (at, list(marks))
        self._draw_beside()

    @property
    def other_words(self) -> str:
        """The name of the other law that is drawn; empty if none is."""
        return self._others["other"][1] if "other" in self._others else ""

    def _texts_beside(self) -> dict[str, str]:
        """The modulus of the reference's fit, for the legend, if it is of this pixel."""
        held = self._others.get("reference")
        if held is None or self._report is None or not self._same_pixel(held[0]):
            return {}
        value, error = held[0].values["modulus"]
        return {"reference": units.text_of(value, CHANNELS["modulus"].unit, error)}

    def _same_pixel(self, report: CurveReport) -> bool:
        own = self._report
        return own is not None and (report.row, report.col) == (own.row, own.col)

    def set_axes(self, x: str, y: str) -> None:
        """Choose the axes: x of "z", "separation", "indentation"; y of "force", "deflection",
        "measured" (the deflection with its baseline)."""
        if x not in axes.X_AXES or y not in axes.Y_AXES:
            raise ValueError(f"there are no axes {x!r} and {y!r}")
        self._wanted = (x, y)
        self.x_choice.setCurrentIndex(self.x_choice.findData(x))
        self.y_choice.setCurrentIndex(self.y_choice.findData(y))
        if self._report is not None:
            self.show_report(self._report)

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the font anew."""
        self._theme = theme
        font = look.small_font()
        self.canvas.setBackground(theme.panel)
        wide = QFontMetrics(font).horizontalAdvance("-0000.0") + 24
        for plot in (self.plot, self.residuals.plot):
            style_axes(plot, theme, font, wide)
        self._restyle()
        self.fit_button.setIcon(look.icon("curve", theme))
        self.contact_button.setIcon(look.icon("contact-point", theme))
        self.legend.set_theme(theme)
        look.shrink(self.note)
        self.note.setFixedHeight(2 * QFontMetrics(font).height())

    def _restyle(self) -> None:
        ratio = max(1.0, self.devicePixelRatioF())
        self.items.set_theme(self._theme, ratio)
        self.residuals.set_theme(self._theme, ratio)

    def event(self, event: QEvent) -> bool:
        """Lines keep their width when the window moves to a screen of another resolution."""
        if event.type() in (QEvent.Type.DevicePixelRatioChange, QEvent.Type.Show):
            self._restyle()
        return super().event(event)

    def fit(self, part: str = WHOLE) -> None:
        """Show the whole curve, or the part in contact with "contact"."""
        bounds = self._bounds(part)
        if bounds is not None:
            self._part = part
            self._look_at(bounds)

    @property
    def frame(self) -> Frame:
        """The axes in use."""
        return self._frame

    # -- inside

    def _clear(self) -> None:
        self.items.clear()
        self.residuals.show(EMPTY, EMPTY)
        self.legend.show_texts({})
        self.title.setText("No curve")
        self.note.setText("Click a pixel of the map to see its curve.")
        if self._drawn is None:
            self._frame = Frame(*self._wanted)
            self._label()

    def _label(self) -> None:
        for plot, side, key in ((self.plot, "left", self._frame.y),
                                (self.residuals.plot, "bottom", self._frame.x)):  # fmt: skip
            plot.setLabel(side, axes.title(key, self._report))

    def _draw(self, report: CurveReport, frame: Frame) -> None:
        items, a, r = self.items, report.approach, report.retract
        fitted, steep = axes.fitted_branch(report), axes.slope_branch(report)
        for name, z, d, branch in (("approach", a.z, a.d, a), ("retract", r.z, r.d, r),
                                   ("law", report.law_z, report.law_d, fitted),
                                   ("slope", report.slope_z, report.slope_d, steep)):  # fmt: skip
            x, y = frame.place(z, d, branch)
            items.set_line(name, x, y) if _drawable(x, y) else items.set_line(name, EMPTY, EMPTY)
        self._draw_baseline(report, frame)
        self._draw_doubt(report, frame)
        for name, at, branch in (("contact", report.contact, fitted), ("peak", report.peak, a),
                                 ("adhesion", report.pull_off, r)):  # fmt: skip
            items.set_point(name, *frame.point(at, branch))
        x, y = frame.point(report.pull_off, r)
        foot = frame.point((report.pull_off[0], 0.0), r)[1]
        drop = np.array([[x, x], [y, foot]]) if math.isfinite(x + y) else np.empty((2, 0))
        items.set_line("drop", *drop)
        items.work.setData(*work_outline(report, frame))
        d = np.interp(report.residual_z, fitted.z, fitted.d) if fitted.z.size else EMPTY
        along = frame.along(report.residual_z, d) if d.size else EMPTY
        self.residuals.show(along, report.residual)

    def show_doubt(self, name: str) -> None:
        """Show where on the curve a doubt is seen; the worst one that has a place unless another
        was asked for. It stays asked for while pixels are walked."""
        self._doubt = name
        if self._report is not None:
            self._draw_doubt(self._report, self._frame)
            self.legend.show_texts(legend_texts(self._report, name) | self._texts_beside())

    def _draw_doubt(self, report: CurveReport, frame: Frame) -> None:
        seen = doubt_seen(report, self._doubt)
        x = y = EMPTY
        if seen is not None:
            branch, (low, high) = report.branch(seen.place[0]), sorted(seen.place[1:])
            near = np.searchsorted(branch.z, [low, high])
            first, last = max(int(near[0]) - 1, 0), min(int(near[1]) + 1, branch.z.size)
            x, y = frame.place(branch.z[first:last], branch.d[first:last], branch)
        self.items.set_line("doubt", x, y) if _drawable(x, y) else self.items.set_line(
            "doubt", EMPTY, EMPTY)  # fmt: skip

    def _draw_beside(self) -> None:
        """The other fits and the other contact points, if they are of this pixel."""
        report, items, frame = self._report, self.items, self._frame
        if report is None:
            return
        at = (report.row, report.col)
        self._others = {n: one for n, one in self._others.items() if self._same_pixel(one[0])}
        for name in BESIDE:
            x = y = EMPTY
            if name in self._others:
                x, y = law_beside(self._others[name][0], report, frame)
            items.set_line(name, x, y) if _drawable(x, y) else items.set_line(name, EMPTY, EMPTY)
        marks = self._marks[1] if self._marks[0] == at else []
        places = [frame.point((z0, 0.0), axes.fitted_branch(report)) for _, z0 in marks]
        xy = np.array([p for p in places if _finite(p)]).reshape(-1, 2)
        symbols = [s for (s, _), p in zip(marks, places, strict=True) if _finite(p)]
        items.set_marks(symbols, xy[:, 0], xy[:, 1])
        thin = f"Thin line: {self.other_words}." if self.other_words else ""
        corrects = CORRECTS if self._correcting == 1 else ""
        corrects = CORRECTS_MANY.format(self._correcting) if self._correcting > 1 else corrects
        dashed = f"Dashed: {self._others['reference'][1]}." if "reference" in self._others else ""
        self.note.setText(" ".join(filter(None, (corrects, self._said, thin, dashed))))

    def _draw_baseline(self, report: CurveReport, frame: Frame) -> None:
        """The baseline of each branch, thin over all of it and thick over its free part."""
        for name in ("zero", "baseline"):
            parts = []
            for branch in (report.approach, report.retract):
                if branch.z.size and _finite(branch.free):
                    ends = branch.free if name == "baseline" else (branch.z[0], branch.z[-1])
                    z = along_baseline(report, ends, frame)
                    parts.append(frame.place(z, np.zeros(z.size), branch))
            x, y = np.concatenate(parts, axis=1) if parts else np.empty((2, 0))
            self.items.set_line(name, x, y)

    def _bounds(self, part: str) -> QRectF | None:
        """The rectangle of the measured branches on the axes, or of their part in contact."""
        report, xs, ys = self._report, [], []
        if report is None:
            return None
        start = contact_start(report) if part == CONTACT else -math.inf
        for branch in (report.approach, report.retract):
            keep = branch.z >= start
            x, y = self._frame.place(branch.z[keep], branch.d[keep], branch)
            xs.append(x)
            ys.append(y)
        x, y = np.concatenate(xs), np.concatenate(ys)
        if not x.size:
            return None
        left, low, high = float(x.min()), float(y.min()), float(y.max())
        least = self._frame.gain * LEAST_HEIGHT * report.noise
        if math.isfinite(least) and high - low < least:  # a curve of noise alone looks like one
            low, high = (low + high - least) / 2, (low + high + least) / 2
        return QRectF(left, low, float(x.max() - left) or 1.0, (high - low) or 1.0)

    def _look_at(self, area: QRectF) -> None:
        self._area = area
        self.box.setRange(area, padding=ROOM)

    def _follow(self) -> None:
        """Keep a view that nobody moved by hand wide enough for the curve, and no wider.

        It grows to hold what does not fit, so that it rests while similar curves are walked, and
        starts anew when a curve would fill less than two fifths of it.
        """
        bounds = self._bounds(self._part)
        if bounds is None:
            return
        both = self._area.united(bounds)
        fills = min(bounds.width() / both.width(), bounds.height() / both.height())
        if fills < 0.4:
            self._look_at(bounds)
        elif both != self._area:
            self._look_at(both)

    def _lost(self) -> bool:
        """True if the curve and the view have hardly anything to do with each other any more."""
        bounds, seen = self._bounds(self._part), self.box.viewRect()
        if bounds is None:
            return False
        common = bounds.intersected(seen)
        for curve, view, both in ((bounds.width(), seen.width(), common.width()),
                                  (bounds.height(), seen.height(), common.height())):  # fmt: skip
            if both < 0.6 * min(curve, view) or curve < 0.1 * view:
                return True
        return False

    # -- what the person does

    def _on_window(self, signal: SignalInstance, ends: tuple[float, float]) -> None:
        if self._report is not None:
            signal.emit(*axes.window_in_z(self._report, self._frame, ends))

    def _on_contact(self, signal: SignalInstance, x: float) -> None:
        """A place on the axis as a base position: on the baseline each axis runs as z does, or
        against it."""
        report = self._report
        if report is None or not _finite(report.contact):
            return
        branch, z0 = axes.fitted_branch(report), report.contact[0]
        here, there = (self._frame.point((z, 0.0), branch)[0] for z in (z0, z0 + 1.0))
        if math.isfinite(here + there) and there != here:
            signal.emit(z0 + (x - here) / (there - here))

    def _on_axes(self) -> None:
        x, y = self.x_choice.currentData(), self.y_choice.currentData()
        if (x, y) != self._wanted:
            self.set_axes(x, y)
            self.axes_changed.emit(x, y)

    def sizeHint(self) -> QSize:
        return QSize(600, 560)


def _finite(pair: tuple[float, float]) -> bool:
    return all(math.isfinite(v) for v in pair)


def _drawable(x: Array, y: Array) -> bool:
    return x.size > 1 and math.isfinite(float(x.sum())) and math.isfinite(float(y.sum()))


def style_axes(plot: pg.PlotItem, theme: Theme, font: object, wide: int) -> None:
    """Give both axes of a plot the theme's colours and a fixed width."""
    for side in ("bottom", "left"):
        axis = plot.getAxis(side)
        axis.setPen(theme.faint)
        axis.setTextPen(theme.muted)
        axis.setTickFont(font)
        axis.label.setFont(font)
        axis.enableAutoSIPrefix(False)
    plot.getAxis("left").setWidth(wide)


def work_outline(report: CurveReport, frame: Frame) -> tuple[Array, Array]:
    """The corners of the area between the branches, from the free parts to the peak."""
    sides = []
    for branch in (report.approach, report.retract):
        start = branch.free[1] if math.isfinite(branch.free[1]) else -math.inf
        keep = branch.z >= start
        sides.append(frame.place(branch.z[keep], branch.d[keep], branch))
    (xa, ya), (xr, yr) = sides
    if xa.size < 2 or xr.size < 2:
        return EMPTY, EMPTY
    return np.concatenate([xa, xr[::-1]]), np.concatenate([ya, yr[::-1]])


PIECES = 60
"""Straight pieces that a bent baseline is drawn with."""


def along_baseline(report: CurveReport, ends: tuple[float, float], frame: Frame) -> Array:
    """Base positions, two for each straight piece, between the ends of a baseline: one piece for a
    line, many as measured where a wave was fitted."""
    bent = report.settings.baseline.fringes == "subtract" and frame.y == "measured"
    z = np.linspace(*ends, PIECES + 1 if bent else 2)
    return np.repeat(z, 2)[1:-1]


NUMBERS = {"contact": "contact_point", "peak": "peak_force", "law": "modulus",
           "slope": "stiffness", "adhesion": "adhesion", "work": "dissipation"}  # fmt: skip


def doubt_seen(report: CurveReport, name: str = "") -> Raised | None:
    """The doubt whose place is shown: the one of that name, else the worst that has a place."""
    placed = [d for d in report.doubts if d.place[0] and _finite(d.place[1:])]
    wanted = [d for d in placed if d.name == name]
    return next(iter(wanted or placed), None)


def legend_texts(report: CurveReport, doubt: str = "") -> dict[str, str]:
    """Name of a look -> its number, for what is on this curve."""
    texts = {}
    seen_doubt = doubt_seen(report, doubt)
    if seen_doubt is not None:
        texts["doubt"] = seen_doubt.name.replace("_", " ")
    for name, branch in (("approach", report.approach), ("retract", report.retract)):
        if branch.z.size:
            texts[name] = f"{branch.z.size} samples"
    if _finite(report.approach.free):
        texts["baseline"] = f"noise {units.text_of(report.values['noise'][0], 'nm')}"
    if _finite(report.window):
        texts["window"] = f"{report.residual_z.size} samples"
    seen = {"contact": _finite(report.contact), "peak": _finite(report.peak),
            "law": report.law_z.size > 0, "slope": bool(np.isfinite(report.slope_d).all()),
            "adhesion": _finite(report.pull_off),
            "work": report.approach.z.size > 1 and report.retract.z.size > 1}  # fmt: skip
    for name, channel in NUMBERS.items():
        if seen[name]:
            value, error = report.values[channel]
            said = units.text_of(value, CHANNELS[channel].unit, error)
            texts[name] = said
    return texts


def law_beside(other: CurveReport, own: CurveReport, frame: Frame) -> tuple[Array, Array]:
    """Another report's law on the axes of the curve that is shown.

    Where both read the signal in the same nm, the law is moved by what the two baselines differ,
    so that it lies on the samples that it was fitted to.
    """
    branch, z, d = axes.fitted_branch(other), other.law_z, other.law_d
    if frame.y != "measured" and other.constants.scale[2] == own.constants.scale[2]:
        beneath = axes.baseline_of(axes.fitted_branch(own), z)
        shift = axes.baseline_of(branch, z) - beneath
        if other.window_branch == own.window_branch and np.isfinite(shift).all():
            d = d + shift
    return frame.place(z, d, branch)
