"""The arrow keys walk from pixel to pixel while the map or the curve has the focus."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QEvent, QObject, Qt
from PySide6.QtWidgets import QAbstractScrollArea, QWidget

FAR = 10
STEPS = {
    Qt.Key.Key_Left: (0, -1), Qt.Key.Key_Right: (0, 1),
    Qt.Key.Key_Up: (1, 0), Qt.Key.Key_Down: (-1, 0),
}  # fmt: skip
"""Key -> (rows, columns). Row 0 is drawn at the bottom, so up is towards higher rows."""


class Walker(QObject):
    """Watches some views and the drawing areas in them; other fields keep their arrow keys.

    Parameters
    ----------
    move : called with (rows, columns) to go on
    escape : called for Esc; returns whether it meant something
    """

    def __init__(
        self,
        move: Callable[[int, int], None],
        escape: Callable[[], bool],
        *views: QWidget,
        parent: QObject | None = None,
    ) -> None:
        super().__init__(parent)
        self._move, self._escape = move, escape
        for view in views:
            for watched in (view, *view.findChildren(QAbstractScrollArea)):
                name = watched.metaObject().className()
                if name != "QListWidget" and "ComboBox" not in name:  # lists keep their keys
                    watched.installEventFilter(self)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if event.type() != QEvent.Type.KeyPress:
            return False
        if event.key() == Qt.Key.Key_Escape:
            return self._escape()
        step = STEPS.get(event.key())
        others = event.modifiers() & ~Qt.KeyboardModifier.KeypadModifier
        if step is None or others not in (
            Qt.KeyboardModifier.NoModifier, Qt.KeyboardModifier.ShiftModifier,
        ):  # fmt: skip
            return False
        far = FAR if others == Qt.KeyboardModifier.ShiftModifier else 1
        self._move(step[0] * far, step[1] * far)
        return True
