"""*Edit > Copy*: what has the focus goes to the clipboard, as picture and as numbers.

At once there is what the screen shows; a map, curve or histogram of a finished analysis is drawn
as for a paper on the worker, and that picture then takes the place of the first one, unless
something else was copied meanwhile.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from PySide6.QtCore import QObject, QRect
from PySide6.QtGui import QAction
from PySide6.QtWidgets import (
    QAbstractItemView,
    QAbstractSpinBox,
    QApplication,
    QLabel,
    QLineEdit,
    QMenu,
    QPlainTextEdit,
    QTextEdit,
    QWidget,
)

from . import saving
from .clipboard import (
    Copied,
    DrawToCopy,
    Picture,
    grabbed,
    image_of,
    put,
    rows_of,
    sheet_of,
    still_there,
)
from .findings import present
from .recompute import Answer

if TYPE_CHECKING:
    from .main_window import MainWindow

KINDS: tuple[tuple[str, str, str] | None, ...] = (
    ("map_picture", "&Map as picture", "With scale bar and colour bar"),
    ("map_numbers", "Map as &numbers", "With tabs between the cells, for a table program"),
    None,
    ("curve_picture", "&Curve as picture", "The curve in front"),
    ("curve_numbers", "Curve as n&umbers", "z, deflection, force, separation and indentation"),
    ("values", "&Values of the pixel", "Its numbers with ± and units, and its doubts"),
    None,
    ("components", "C&omponent table", "All components and channels"),
    ("settings", "&Settings", "As text that a settings file holds"),
    ("note", "Note for a ca&ption", "What the map shows, its size, colours, law and constants"),
)
"""What the menu *Copy as* offers: name, words, tooltip."""


@dataclass(frozen=True)
class Pending:
    """What is in the clipboard and waits for its drawn picture; number of the request. With
    `alone` it is not there yet: a picture was asked for, and only the drawn one will do."""

    number: int
    copied: Copied
    alone: bool = False


class CopyDesk(QObject):
    """Each copying says in the status bar what was copied."""

    def __init__(self, window: MainWindow) -> None:
        super().__init__(window)
        self._window, self._session = window, window.session
        self._pending: Pending | None = None
        self._session.answered.connect(self._take)

    def offer(self, menu: QMenu, after: QAction) -> QMenu:
        """The menu *Copy as*, put into another one behind an entry."""
        found = QMenu("Copy &as", menu)
        found.setToolTipsVisible(True)
        for entry in KINDS:
            if entry is None:
                found.addSeparator()
                continue
            kind, words, tip = entry
            action = found.addAction(words)
            action.setObjectName(f"copy_{kind}")
            action.setToolTip(tip)
            action.triggered.connect(lambda _=False, kind=kind: self.copy_as(kind))
        found.aboutToShow.connect(lambda: self._enable(found))
        there = menu.actions()
        behind = there[there.index(after) + 1 :]
        menu.insertMenu(behind[0] if behind else None, found)
        return found

    def _enable(self, menu: QMenu) -> None:
        session = self._session
        there = {"map": session.map is not None, "curve": session.report is not None,
                 "values": session.report is not None, "note": session.finished,
                 "components": self._made() is not None, "settings": True}  # fmt: skip
        for action in menu.actions():
            what = action.objectName().removeprefix("copy_").partition("_")[0]
            action.setEnabled(there.get(what, True))

    # -- what is copied -------------------------------------------------------------------------

    def copy(self) -> None:
        """Copy what has the focus; the map if that is nothing of its own."""
        if _own_text(QApplication.focusWidget()):
            return
        kind, widget = self._in_front()
        if kind == "table":
            rows = rows_of(widget)
            number = max(len(rows) - 1, 0)
            self._put(Copied(f"{number} row{'s' if number != 1 else ''} of the table", rows=rows,
                             formatted=True))  # fmt: skip
        elif kind == "view":
            self._put(self._view(widget), self._sheet_of_view(widget))
        else:
            self.copy_as(kind)

    def copy_as(self, kind: str) -> None:
        """Copy one of `KINDS`, or "map" or "curve" in all forms at once."""
        workspace = self._window.workspace
        if workspace is None or self._session.map is None:
            self._window.say("There is nothing to copy yet.")
            return
        made = _MAKERS[kind](self)
        if made is None:
            self._window.say(_LACKING[kind])
            return
        drawn = kind in ("map", "map_picture", "curve", "curve_picture")
        alone = kind.endswith("_picture")
        self._put(made, self._sheet(kind.partition("_")[0]) if drawn else None, alone)

    def _in_front(self) -> tuple[str, Any]:
        """What has the focus: a name of `_MAKERS`, "table" or "view", and the widget."""
        workspace, widget = self._window.workspace, QApplication.focusWidget()
        if workspace is None:
            return "map", None
        views = workspace.component_views
        places = {workspace.map: "map", workspace.strip: "map", workspace.curve: "curve",
                  workspace.values: "values", self._window.settings_panel: "settings",
                  workspace.components: "components"}  # fmt: skip
        while widget is not None:
            inside = workspace.strip.isAncestorOf(widget)
            if isinstance(widget, QAbstractItemView) and not inside:
                return "table", widget
            if widget in (views.histogram, views.joint):
                return "view", widget
            if widget in places:
                return places[widget], widget
            if widget.parentWidget() is not None and workspace.views.isAncestorOf(widget) and (
                workspace.views.currentWidget() is widget
            ):
                return "view", widget
            widget = widget.parentWidget()
        return "map", None

    def _map(self, numbers: bool = True, picture: bool = True) -> Copied | None:
        from ..core.exporting.texts import map_rows

        view, fmap, analysis = self._window.workspace.map, self._session.map, self._session.analysis
        channel, values = view.shown
        if channel is None:
            return None
        out = None
        words = f"the map of {channel.label[:1].lower()}{channel.label[1:]}"
        if analysis is not None and self._session.finished:
            out = (fmap.index_map >= 0) & ~analysis.trusted
        rows = map_rows(values, fmap.x, fmap.y, channel, fmap.has_scale, out) if numbers else None
        if numbers and not picture:
            words += " as numbers"
        elif picture and not numbers:
            words += " as picture"
        if numbers and out is not None and out.any():
            words += f"; {int(out.sum())} pixels that are not to be used are empty"
        words += "" if self._session.finished else "; it is not finished"
        area = view.plot.geometry()
        if self._sheet("map") is None:  # else the drawn one follows, without fields to type in
            area = area.united(view.bar.geometry())
        image = grabbed(view, area) if picture else None
        return Copied(words, rows=rows, image=image, formatted=not picture)

    def _curve(self, numbers: bool = True, picture: bool = True) -> Copied | None:
        from ..core.exporting.texts import curve_rows

        report, view = self._session.report, self._window.workspace.curve
        if report is None:
            return None
        words = f"the curve at row {report.row}, column {report.col}"
        if numbers != picture:
            words += " as numbers" if numbers else " as picture"
        shown = QRect(view.canvas.geometry()).united(view.legend.geometry())
        return Copied(words, rows=curve_rows(report) if numbers else None,
                      image=grabbed(view, shown) if picture else None,
                      formatted=not picture)  # fmt: skip

    def _values(self) -> Copied | None:
        from ..core.exporting.texts import value_rows

        report = self._session.report
        if report is None:
            return None
        return Copied(f"the values at row {report.row}, column {report.col}",
                      rows=value_rows(report), formatted=True)  # fmt: skip

    def _components(self) -> Copied | None:
        from ..core.exporting.texts import component_rows

        made = self._made()
        if made is None:
            return None
        return Copied("the table of components", rows=component_rows(made.table), formatted=True)

    def _settings(self) -> Copied:
        return Copied("the settings", text=self._session.settings.to_toml())

    def _note(self) -> Copied | None:
        from ..core.exporting.texts import note_of

        session, view = self._session, self._window.workspace.map
        channel, _ = view.shown
        if channel is None or not session.finished:
            return None
        text = note_of(session.analysis, saving.map_name(session.map), channel, view.limits,
                       session.limits(session.channel) is not None)  # fmt: skip
        return Copied("a note for a caption", text=text)

    def _view(self, widget: Any) -> Copied:
        """Another page beside the map: as it is seen, with its numbers if it has some to give."""
        rows = widget.table_rows() if hasattr(widget, "table_rows") else None
        words = "the histogram" if rows is not None else "the picture in front"
        shown = getattr(widget, "plot", None)
        area = shown.geometry() if rows is not None and isinstance(shown, QWidget) else None
        return Copied(words, rows=rows, image=grabbed(widget, area))

    def _made(self) -> Any:
        """The components in force with their table; None if there are none."""
        workspace = self._window.workspace
        desk = workspace.component_desk if workspace is not None else None
        whole = desk is not None and desk.fits and desk.made.whole
        return desk.made if whole and desk.made.table is not None else None

    # -- the drawn picture ----------------------------------------------------------------------

    def _sheet(self, what: str) -> Any:
        """A sheet of what is shown, None where it can't be drawn by core."""
        workspace, session = self._window.workspace, self._session
        if not session.finished:
            return None
        if what == "curve":
            x, y = workspace.curve.axes_shown
            report = session.report
            return sheet_of("curve", which="pixel", row=report.row, col=report.col, x=x, y=y)
        if workspace.derived is not None:
            return None
        low, high = (float(v) for v in workspace.map.limits)
        return sheet_of("map", channel=session.channel, limits="set", low=low, high=high)

    def _sheet_of_view(self, widget: Any) -> Any:
        """As `_sheet`, of the histogram or the joint histogram."""
        views = self._window.workspace.component_views
        if not self._session.finished or widget not in (views.histogram, views.joint):
            return None
        if widget is views.histogram:
            axis = self._session.rule.axes[0]
            return sheet_of("histogram", channel=axis.channel, log=axis.log)
        one, other = views.joint_axes()
        return sheet_of("joint", x=one.channel, y=other.channel, log_x=one.log, log_y=other.log)

    def _put(self, copied: Copied, sheet: Any = None, alone: bool = False) -> None:
        self._pending = None
        findings = present(self._session, self._made()) if sheet is not None else None
        alone = alone and findings is not None
        if not alone:
            put(copied)
        self._window.say(f"Drawing {copied.words} …" if alone else f"Copied {copied.words}.")
        if findings is not None:
            number = self._session.submit(DrawToCopy(sheet, findings))
            self._pending = Pending(number, copied, alone)

    def _take(self, answer: Answer) -> None:
        pending = self._pending
        if pending is None or answer.generation != pending.number:
            return
        self._pending = None
        made = answer.value
        if pending.alone:
            drawn = isinstance(made, Picture)
            put(replace(pending.copied, image=image_of(np.asarray(made.rgba)), svg=made.svg)
                if drawn else pending.copied)  # fmt: skip
            how = "" if drawn else ", as it is seen: it could not be drawn"
            self._window.say(f"Copied {pending.copied.words}{how}.")
        elif isinstance(made, Picture) and still_there(pending.copied):
            put(replace(pending.copied, image=image_of(np.asarray(made.rgba)), svg=made.svg))


_MAKERS: dict[str, Callable[[CopyDesk], Copied | None]] = {
    "map": lambda desk: desk._map(), "curve": lambda desk: desk._curve(),
    "map_picture": lambda desk: desk._map(numbers=False),
    "map_numbers": lambda desk: desk._map(picture=False),
    "curve_picture": lambda desk: desk._curve(numbers=False),
    "curve_numbers": lambda desk: desk._curve(picture=False),
    "values": lambda desk: desk._values(), "components": lambda desk: desk._components(),
    "settings": lambda desk: desk._settings(), "note": lambda desk: desk._note(),
}  # fmt: skip
_NO_CURVE = "There is no curve to copy: pick a pixel."
_LACKING = {
    "map": "There is no map to copy yet.", "map_picture": "There is no map to copy yet.",
    "map_numbers": "There is no map to copy yet.", "curve": _NO_CURVE,
    "curve_picture": _NO_CURVE, "curve_numbers": _NO_CURVE, "values": _NO_CURVE,
    "components": "There is no table of components yet: open the panel Components.",
    "settings": "", "note": "The note can be copied when the map has been analysed.",
}  # fmt: skip


def _own_text(widget: Any) -> bool:
    """Whether a field of text has copied what is chosen in it."""
    if isinstance(widget, QAbstractSpinBox):
        widget = widget.lineEdit()
    if isinstance(widget, QLineEdit | QLabel) and widget.hasSelectedText():
        QApplication.clipboard().setText(widget.selectedText())
        return True
    if isinstance(widget, QTextEdit | QPlainTextEdit) and widget.textCursor().hasSelection():
        widget.copy()
        return True
    return False
