"""A window for the tests, and hands to use it with: real mouse and key events."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from PySide6.QtCore import QEvent, QMimeData, QPoint, QPointF, Qt, QUrl
from PySide6.QtGui import QDragEnterEvent, QDropEvent, QMouseEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QAbstractSpinBox, QApplication, QWidget

LONG = 400_000  # ms; the first run compiles, on a busy machine


@contextmanager
def main_window(qtbot: Any) -> Iterator[Any]:
    """A window with its background running; closed at the end whatever it was at."""
    from palpate.app.main_window import MainWindow

    window = MainWindow()
    window.commands.ask_leave = lambda *_: "discard"
    window.show()
    qtbot.waitExposed(window)
    window.session.background.start()
    try:
        yield window
    finally:
        window.close()
        window.session.close()
        window.deleteLater()
        QApplication.processEvents()
        vars(window).clear()  # pytest holds the window itself a little longer


def open_map(window: Any, path: Path, qtbot: Any) -> None:
    """Open a map and wait until it is analysed."""
    window.session.open(path)
    qtbot.waitUntil(
        lambda: (
            window.session.map is not None
            and window.session.map.path == path
            and window.session.finished
            and window.session.report is not None
        ),
        timeout=LONG,
    )
    QApplication.processEvents()


def click_pixel(window: Any, row: int, col: int) -> None:
    """Click a pixel of the map with the mouse."""
    view = window.workspace.map
    at = view.plot.mapFromScene(view.scene_at(row, col))
    QTest.mouseMove(view.plot.viewport(), at)
    QTest.mouseClick(view.plot.viewport(), Qt.MouseButton.LeftButton, pos=at)


def place_on_curve(window: Any, z: float) -> QPoint:
    """Where a base position lies on the drawing area of the curve, half way up."""
    curve = window.workspace.curve
    rect = curve.box.sceneBoundingRect()
    x = curve.box.mapViewToScene(curve.box.viewRect().center()).x()
    low, high = curve.box.viewRect().left(), curve.box.viewRect().right()
    x = rect.left() + (z - low) / (high - low) * rect.width()
    at = rect.center()
    at.setX(x)
    return curve.canvas.mapFromScene(at)


def drag_edge(window: Any, start: float, ends: list[float], release: bool = True) -> None:
    """Take the fit window at a base position and move it through others, then let go."""
    area = window.workspace.curve.canvas.viewport()
    left, none = Qt.MouseButton.LeftButton, Qt.MouseButton.NoButton
    at = place_on_curve(window, start)
    move_mouse(area, at, none)
    QTest.mousePress(area, left, pos=at)
    for z in ends:
        at = place_on_curve(window, z)
        move_mouse(area, at, left)
        QTest.qWait(15)  # pyqtgraph drops moves that follow each other within 10 ms
    if release:
        QTest.mouseRelease(area, left, pos=at)
        QApplication.processEvents()


def move_mouse(area: QWidget, at: QPoint, buttons: Qt.MouseButton) -> None:
    """A move with buttons held, which QTest can't make."""
    event = QMouseEvent(
        QEvent.Type.MouseMove, QPointF(at), QPointF(area.mapToGlobal(at)),
        Qt.MouseButton.NoButton, buttons, Qt.KeyboardModifier.NoModifier,
    )  # fmt: skip
    QApplication.sendEvent(area, event)


def type_into(field: QAbstractSpinBox, text: str, key: Qt.Key | None = Qt.Key.Key_Return) -> None:
    """Type over a number, and finish with a key."""
    field.setFocus()
    field.selectAll()
    if text:
        QTest.keyClicks(field, text)
    else:
        QTest.keyClick(field, Qt.Key.Key_Delete)
    if key is not None:
        QTest.keyClick(field, key)


def error_text(window: Any) -> str:
    """What the error box says; empty if none is open."""
    from palpate.app.dialogs.errors import ErrorBox

    return "\n".join(box.text for box in window.findChildren(ErrorBox) if box.isVisible())


def drop(window: Any, *paths: Path) -> bool:
    """Drag files over the window and let them go; whether it took them."""
    data = QMimeData()
    data.setUrls([QUrl.fromLocalFile(str(path)) for path in paths])
    copy, left = Qt.DropAction.CopyAction, Qt.MouseButton.LeftButton
    plain = Qt.KeyboardModifier.NoModifier
    enter = QDragEnterEvent(QPoint(100, 100), copy, data, left, plain)
    QApplication.sendEvent(window, enter)
    if enter.isAccepted():
        QApplication.sendEvent(window, QDropEvent(QPointF(100, 100), copy, data, left, plain))
    return enter.isAccepted()


def close_errors(window: Any) -> None:
    from palpate.app.dialogs.errors import ErrorBox

    for box in window.findChildren(ErrorBox):
        box.close()
