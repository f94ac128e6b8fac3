"""For the tests of the views: small simulated maps, and the mouse as Qt delivers it."""

from __future__ import annotations

from functools import cache

import numpy as np
from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QMouseEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QWidget

from palpate.core import ForceMap, Settings
from palpate.core.curvereport import CurveReport
from palpate.core.explain import explain
from palpate.core.simulate import Lever, Material, Ramp, simulate_map


@cache
def small_map() -> ForceMap:
    """3 rows and 5 columns of one polymer, 1.4 GPa with 6 nN of adhesion, well measured."""
    made = simulate_map(np.zeros((3, 5), int), (Material("polymer", 1.4, 0.4, 6.0),),
                        lever=Lever(2.5, 58.0, "paraboloid", 16.0, 0.05),
                        ramp=Ramp(travel=120.0, samples=300), scan_size=(500.0, 300.0))  # fmt: skip
    return made.as_map()


def report(row: int = 1, col: int = 2, **settings: object) -> CurveReport:
    """One pixel of the small map, under changed settings (``fit__law="cone"``)."""
    changed = {name.replace("__", "."): value for name, value in settings.items()}
    found = explain(small_map(), Settings().with_values(changed), row, col)
    assert found is not None
    return found


def bare_report(signal: str = "nm") -> CurveReport:
    """A curve of noise alone, with no constants recorded: no contact, no force."""
    rng = np.random.default_rng(3)
    z = np.linspace(0.0, 100.0, 200)
    d = rng.normal(0.0, 0.1, (1, 2, 200))
    fmap = ForceMap.from_arrays(np.stack([z, z[::-1]])[None], d, deflection_unit=signal,
                                shape=(1, 1))  # fmt: skip
    found = explain(fmap, Settings(), 0, 0)
    assert found is not None
    return found


def send_move(widget: QWidget, at: QPoint, held: Qt.MouseButton = Qt.MouseButton.NoButton) -> None:
    """A mouse move as Qt delivers it (QTest's does nothing without a screen).

    pyqtgraph takes no more than a hundred moves a second, hence the pause.
    """
    QTest.qWait(12)
    place = QPointF(at)
    event = QMouseEvent(QEvent.Type.MouseMove, place, widget.mapToGlobal(place),
                        Qt.MouseButton.NoButton, held, Qt.KeyboardModifier.NoModifier)  # fmt: skip
    QApplication.sendEvent(widget, event)


def drag(widget: QWidget, start: QPoint, stop: QPoint, steps: int = 8) -> None:
    """Press, move in steps, release, with the left button."""
    left = Qt.MouseButton.LeftButton
    send_move(widget, start)
    QTest.mousePress(widget, left, pos=start)
    for i in range(1, steps + 1):
        send_move(widget, start + (stop - start) * (i / steps), left)
    QTest.mouseRelease(widget, left, pos=stop)


def double_click(widget: QWidget, at: QPoint) -> None:
    """The four events of a double click, as Qt delivers them."""
    place, left, none = QPointF(at), Qt.MouseButton.LeftButton, Qt.MouseButton.NoButton
    for kind in (QEvent.Type.MouseButtonPress, QEvent.Type.MouseButtonRelease,
                 QEvent.Type.MouseButtonDblClick, QEvent.Type.MouseButtonRelease):  # fmt: skip
        held = none if kind == QEvent.Type.MouseButtonRelease else left
        event = QMouseEvent(kind, place, widget.mapToGlobal(place), left, held,
                            Qt.KeyboardModifier.NoModifier)  # fmt: skip
        QApplication.sendEvent(widget, event)
