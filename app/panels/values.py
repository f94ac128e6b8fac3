"""The numbers of the picked pixel, each with its uncertainty and unit, and its doubts."""

from __future__ import annotations

import math

from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QFontMetrics, QMouseEvent, QPainter, QPaintEvent, QPolygonF
from PySide6.QtWidgets import (
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QScrollArea,
    QSizePolicy,
    QStyle,
    QVBoxLayout,
    QWidget,
)

from ...core import units
from ...core.channels import CHANNELS
from ...core.curvereport import CurveReport, Raised
from ...core.doubts import SEVERE
from .. import theme as look
from ..theme import LIGHT, SPACE, Theme
from ..views.symbols import rich

LOCAL = (
    "± is one local standard uncertainty: noise, contact point and baseline of this curve. What is "
    "common to all pixels (spring constant, sensitivity, tip, Poisson ratio) is not in it."
)
DOUBT_LINES = 5
"""Lines of text that the doubts may take before they scroll."""
FIGURES, SPREAD, UNIT = "-00000.000", "± 00.00000", "GPa m"
"""What the columns have room for."""


def parts_of(value: float, error: float, unit: str) -> tuple[str, str, str]:
    """Number, uncertainty and unit as separate texts; an en dash if there is no number."""
    if not math.isfinite(value):
        return "–", "", unit
    shown, _ = units.best_unit(value, unit)
    text = units.text_of(value, unit, error)
    if shown:
        text = text.removesuffix(f" {shown}")
    number, _, spread = text.partition(" ± ")
    return number, f"± {spread}" if spread else "", shown


class Sign(QWidget):
    """The sign of a doubt: severe is a filled octagon with a cross, mild a hollow triangle."""

    def __init__(self) -> None:
        super().__init__()
        self.severe, self._theme, self._doubted = False, LIGHT, False
        self.setFixedSize(18, 18)

    def show_severity(self, severe: bool, theme: Theme, doubted: bool = True) -> None:
        """Show the sign of a severe or a mild doubt, or none but keep its place."""
        self.severe, self._theme, self._doubted = severe, theme, doubted
        self.setAccessibleName(("severe doubt" if severe else "mild doubt") if doubted else "")
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        if not self._doubted:
            return
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        paint_sign(painter, QRectF(self.rect()), self.severe, self._theme)


def paint_sign(painter: QPainter, area: QRectF, severe: bool, theme: Theme) -> None:
    """Draw the sign of a doubt into a square."""
    centre, size = area.center(), area.width() / 2 - 2
    pen = painter.pen()
    pen.setWidthF(1.5)
    pen.setColor(look.colour(theme.on_doubt if severe else theme.ink))
    if severe:
        turns = [math.pi / 8 + i * math.pi / 4 for i in range(8)]
        corners = [centre + size * QPointF(math.cos(a), math.sin(a)) for a in turns]
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(look.colour(theme.doubt))
        painter.drawPolygon(QPolygonF(corners))
        painter.setPen(pen)
        arm = size * 0.42
        painter.drawLine(centre + QPointF(-arm, -arm), centre + QPointF(arm, arm))
        painter.drawLine(centre + QPointF(-arm, arm), centre + QPointF(arm, -arm))
        return
    pen.setColor(look.colour(theme.doubt))
    pen.setWidthF(2.0)
    pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
    painter.setPen(pen)
    painter.setBrush(Qt.BrushStyle.NoBrush)
    triangle = (QPointF(0, -0.9), QPointF(0.95, 0.75), QPointF(-0.95, 0.75))
    painter.drawPolygon(QPolygonF([centre + size * corner for corner in triangle]))


def figure_text(doubt: Raised) -> str:
    """The measured figure and the threshold that it passed, such as ``9.2 nm (limit 20 nm)``; the
    figure alone where no threshold is set."""
    known = math.isfinite(doubt.threshold)
    if not math.isfinite(doubt.figure) or not (known or doubt.unit):
        return ""
    unit = f" {doubt.unit}" if doubt.unit else ""
    limit = f" (limit {doubt.threshold:.3g}{unit})" if known else ""
    return f"{doubt.figure:.3g}{unit}{limit}"


class DoubtRow(QWidget):
    """One doubt: sign, sentence, figure. Signal clicked(name)."""

    clicked = Signal(str)

    def __init__(self) -> None:
        super().__init__()
        self._name = ""
        self.sign, self.sentence, self.figure = Sign(), QLabel(), look.toned(QLabel(), "muted")
        for label in (self.sentence, self.figure):  # they wrap, and never make the panel wider
            label.setWordWrap(True)
            label.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Minimum)
        words = QVBoxLayout()
        words.setSpacing(1)
        words.addWidget(self.sentence)
        words.addWidget(self.figure)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.setSpacing(SPACE)
        row.addWidget(self.sign, 0, Qt.AlignmentFlag.AlignTop)
        row.addLayout(words, 1)

    def show_doubt(self, doubt: Raised, theme: Theme) -> None:
        severe, self._name = doubt.severity == SEVERE, doubt.name
        self.sign.show_severity(severe, theme)
        self.sentence.setText(f"{doubt.sentence} {doubt.repair}".rstrip())
        placed = bool(doubt.place[0]) and math.isfinite(sum(doubt.place[1:]))
        self.setToolTip("Click to see it on the curve" if placed else "")
        self.setCursor(Qt.CursorShape.PointingHandCursor if placed else Qt.CursorShape.ArrowCursor)
        figure = figure_text(doubt)
        self.figure.setText(f"{doubt.severity}: {figure}" if figure else doubt.severity)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        if event.button() == Qt.MouseButton.LeftButton:
            self.clicked.emit(self._name)


class ValuesPanel(QWidget):
    """Signal doubt_chosen(name): a doubt was clicked, to be seen on the curve.

    The doubts of one pixel, and its numbers in fixed columns; grey if not to be used."""

    doubt_chosen = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme: Theme = LIGHT
        self._report: CurveReport | None = None
        self._labels: list[QLabel] = []
        self.title = look.toned(QLabel(), "strong")
        self.cells: dict[str, tuple[QLabel, QLabel, QLabel]] = {}
        self.names: dict[str, QLabel] = {}
        self.rows: list[DoubtRow] = []
        inside = QWidget()
        box = QVBoxLayout(inside)
        box.setContentsMargins(SPACE, SPACE, SPACE, SPACE)
        box.setSpacing(SPACE)
        box.addWidget(self.title)
        self.sign, self.heading = Sign(), QLabel()
        row = QHBoxLayout()
        row.addWidget(self.sign)
        row.addWidget(self.heading, 1)
        box.addLayout(row)
        box.addWidget(self._doubt_area())
        box.addLayout(self._table())
        self.local = look.toned(QLabel(LOCAL), "muted")
        self.local.setWordWrap(True)
        box.addWidget(self.local)
        box.addStretch(1)
        area = QScrollArea()
        area.setWidget(inside)
        area.setWidgetResizable(True)
        area.setFrameShape(QFrame.Shape.NoFrame)
        area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        outer = QVBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.addWidget(area)
        self.set_theme(LIGHT)
        self.show_report(None)

    def _doubt_area(self) -> QScrollArea:
        """Room for the doubts above the numbers; its height is fixed, so that nothing jumps."""
        inside = QWidget()
        self._doubts = QVBoxLayout(inside)
        self._doubts.setContentsMargins(0, 0, 0, 0)
        self._doubts.setSpacing(SPACE)
        self._doubts.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.doubt_area = area = QScrollArea()
        area.setWidget(inside)
        area.setWidgetResizable(True)
        area.setFrameShape(QFrame.Shape.NoFrame)
        area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        return area

    def _table(self) -> QGridLayout:
        grid = QGridLayout()
        grid.setHorizontalSpacing(SPACE)
        grid.setVerticalSpacing(2)
        grid.setColumnStretch(0, 1)
        right = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
        for row, (name, channel) in enumerate(CHANNELS.items()):
            label = look.toned(QLabel(f"{channel.label} <i>{rich(channel.symbol)}</i>"), "muted")
            label.setToolTip(channel.formula)
            label.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Fixed)
            value, spread, unit = QLabel(), QLabel(), QLabel()
            value.setAlignment(right)
            for cell in (value, spread):
                cell.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
            self.cells[name] = (value, spread, unit)
            self.names[name] = label
            for column, cell in enumerate((label, value, spread, unit)):
                grid.addWidget(cell, row, column)
                self._labels.append(cell)
        return grid

    def set_theme(self, theme: Theme) -> None:
        """Take the colours and the font anew, and reserve the widths."""
        self._theme = theme
        metrics = QFontMetrics(look.small_font())
        widths = [metrics.horizontalAdvance(text) + 2 for text in (FIGURES, SPREAD, UNIT)]
        for label in (*self._labels, self.local):
            look.shrink(label)
        for cells in self.cells.values():
            for cell, width in zip(cells, widths, strict=True):
                cell.setFixedWidth(width)
        self.doubt_area.setFixedHeight(DOUBT_LINES * self.fontMetrics().lineSpacing())
        names = metrics.horizontalAdvance("Noise of the deflection σ") + 6
        bar = self.style().pixelMetric(QStyle.PixelMetric.PM_ScrollBarExtent)
        self.setMinimumWidth(names + sum(widths) + 5 * SPACE + bar)
        self.show_report(self._report)

    def show_report(self, report: CurveReport | None, note: str = "") -> None:
        """Show the numbers of a pixel; None shows dashes, with the note as the reason."""
        self._report = report
        if report is not None:
            words = f"Row {report.row}, column {report.col}, curve {report.curve}"
        else:
            words = "No curve"
        self.title.setText(f"{words}. {note}" if note else words)
        for name, channel in CHANNELS.items():
            self._show_row(name, report is None or channel.asked(report.settings))
            value, error = report.values[name] if report is not None else (math.nan, math.nan)
            if name == "n_points" and math.isfinite(value):
                texts = (f"{value:.0f}", "", "")
            else:
                texts = parts_of(value, error, channel.unit)
            for cell, text in zip(self.cells[name], texts, strict=True):
                if cell.text() != text:
                    cell.setText(text)
        self._show_doubts(report)
        believed = report is None or not any(d.severity == SEVERE for d in report.doubts)
        for cell in self._labels:
            if cell.isEnabled() != believed:
                cell.setEnabled(believed)

    def _show_row(self, name: str, shown: bool) -> None:
        """A channel that the settings don't ask for has no row."""
        for cell in (self.names[name], *self.cells[name]):
            if cell.isHidden() == shown:
                cell.setVisible(shown)

    def _show_doubts(self, report: CurveReport | None) -> None:
        found = report.doubts if report is not None else []
        severe = sum(d.severity == SEVERE for d in found)
        words = "No doubts"
        if report is None:
            words = "Doubts"
        elif not report.constants.lengths:
            words = "Doubts can't be told without the deflection in nm"
        if found:
            words = f"{len(found)} doubt{'s' if len(found) > 1 else ''}, {severe} severe"
            words += ": do not use these numbers" if severe else ""
        self.heading.setText(words)
        self.sign.show_severity(severe > 0, self._theme, bool(found))
        while len(self.rows) < len(found):
            self.rows.append(DoubtRow())
            self.rows[-1].clicked.connect(self.doubt_chosen)
            self._doubts.addWidget(self.rows[-1])
        for i, row in enumerate(self.rows):
            row.setVisible(i < len(found))
            if i < len(found):
                row.show_doubt(found[i], self._theme)

    def sizeHint(self) -> QSize:
        return QSize(380, 560)
