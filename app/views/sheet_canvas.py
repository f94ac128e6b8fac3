"""A sheet of paper with its picture: panels are chosen, dragged, spanned; lines are moved.

It is passive: it shows what it is given and emits what the person did.
"""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QContextMenuEvent,
    QFocusEvent,
    QImage,
    QKeyEvent,
    QKeySequence,
    QMouseEvent,
)
from PySide6.QtWidgets import QApplication, QMenu, QWidget

from ..theme import LIGHT, Theme
from .sheet_grid import SheetGrid
from .sheet_holds import (
    COLUMNS,
    LOWER,
    PANEL,
    RIGHT,
    ROWS,
    Hold,
    Landing,
    hold_at,
    landing,
)
from .sheet_painting import SheetPainting

MARGIN = 26
"""Around the paper [px]: room to drop a panel into a new row or column."""
CURSORS = {PANEL: Qt.CursorShape.OpenHandCursor, RIGHT: Qt.CursorShape.SizeHorCursor,
           LOWER: Qt.CursorShape.SizeVerCursor, COLUMNS: Qt.CursorShape.SplitHCursor,
           ROWS: Qt.CursorShape.SplitVCursor}  # fmt: skip
EMPTY = "An empty sheet.\nAdd a panel: a map, a curve, a histogram …"
TIP = ("Drag a panel to another cell; drag its right or lower handle over more cells; drag the "
       "line between two columns or rows. Keys: arrows move the panel, Shift + arrows span it, "
       "Delete takes it away, Tab goes to the next one.")  # fmt: skip
ARROWS = {Qt.Key.Key_Left: (0, -1), Qt.Key.Key_Right: (0, 1), Qt.Key.Key_Up: (-1, 0),
          Qt.Key.Key_Down: (1, 0)}  # fmt: skip


class SheetCanvas(SheetPainting):
    """See the module.

    Signals
    -------
    chosen(number) : of a panel, -1 for none
    opened(number) : a double click on a panel
    moved(number, row, col), spanned(number, rows, cols), line_moved(columns, line, share)
    stepped(number, rows, cols), span_stepped(number, rows, cols) : by the arrow keys
    removed(number)
    copy_wanted : the picture of the sheet is wanted on the clipboard
    """

    chosen = Signal(int)
    opened = Signal(int)
    moved = Signal(int, int, int)
    spanned = Signal(int, int, int)
    line_moved = Signal(bool, int, float)
    stepped = Signal(int, int, int)
    span_stepped = Signal(int, int, int)
    removed = Signal(int)
    copy_wanted = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setMouseTracking(True)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setToolTip("")
        self.setWhatsThis(TIP)
        self.setAccessibleName("Figure sheet")
        self.image: QImage | None = None
        self.grid: SheetGrid | None = None
        self.names: tuple[str, ...] = ()
        self.current: int | None = None
        self.paper_size = QSize(400, 300)
        self.hint = EMPTY
        self.veiled = False
        self.hold: Hold | None = None
        self.ghost: Landing | None = None
        self._hover: Hold | None = None
        self._pressed: QPointF | None = None
        self._fitted: tuple[Any, QImage] | None = None
        self._theme = LIGHT

    # -- what is shown --------------------------------------------------------------------------

    def show_picture(self, image: QImage | None, grid: SheetGrid | None,
                     names: tuple[str, ...] = ()) -> None:  # fmt: skip
        """A picture with the grid of its panels, or none; `names` of the panels for a reader of
        screens."""
        self.image, self.names = image, names
        self.set_grid(grid)

    def set_grid(self, grid: SheetGrid | None) -> None:
        """Where the panels are; what a hand held of those before is let go."""
        self.grid = grid
        self._hover = None
        self.let_go()
        if self.current is not None and (grid is None or self.current >= len(grid.cells)):
            self.current = None
        self._describe()
        self.update()

    def show_hint(self, words: str) -> None:
        """What stands on the paper while there is no picture."""
        self.hint = words
        self.update()

    def set_paper(self, size: QSize) -> None:
        """The size of the paper on the screen."""
        self.paper_size = size
        self.setMinimumSize(size.width() + 2 * MARGIN, size.height() + 2 * MARGIN)
        self.update()

    def set_veiled(self, on: bool) -> None:
        """Whether what is seen is not the newest."""
        if on != self.veiled:
            self.veiled = on
            self.update()

    def choose(self, number: int | None) -> None:
        """Mark a panel as the chosen one; nothing is told."""
        known = number is not None and self.grid is not None and number < len(self.grid.cells)
        number = number if known else None
        if number != self.current:
            self.current = number
            self._describe()
            self.update()

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        self.update()

    def _describe(self) -> None:
        here = self.current
        known = here is not None and here < len(self.names)
        self.setAccessibleDescription(f"Chosen: {self.names[here]}" if known else "No panel chosen")

    @property
    def paper(self) -> QRectF:
        """The paper, in the middle."""
        w, h = self.paper_size.width(), self.paper_size.height()
        return QRectF((self.width() - w) // 2, (self.height() - h) // 2, w, h)

    def _shares(self, at: QPointF) -> tuple[float, float]:
        paper = self.paper
        return (at.x() - paper.left()) / paper.width(), (at.y() - paper.top()) / paper.height()

    # -- the mouse ------------------------------------------------------------------------------

    def mousePressEvent(self, event: QMouseEvent) -> None:
        if event.button() != Qt.MouseButton.LeftButton or self.grid is None:
            return
        hold = self._hold(event.position())
        if hold is None:
            self._choose(None)
            return
        self.hold, self._pressed = hold, event.position()
        if hold.what == PANEL:
            self._choose(hold.number)
            self.setCursor(Qt.CursorShape.ClosedHandCursor)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        at = event.position()
        if self.hold is None or self.grid is None or self._pressed is None:
            self._point(at)
            return
        far = (at - self._pressed).manhattanLength() >= QApplication.startDragDistance()
        if far or self.ghost is not None:
            self.ghost = landing(self.grid, self.hold, *self._shares(at))
            self.update()

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        hold, ghost = self.hold, self.ghost
        self.let_go()
        if hold is None or ghost is None or event.button() != Qt.MouseButton.LeftButton:
            return
        if hold.what in (COLUMNS, ROWS):
            self.line_moved.emit(hold.what == COLUMNS, hold.number, ghost.share)
        elif hold.what == PANEL:
            self.moved.emit(hold.number, ghost.row, ghost.col)
        else:
            self.spanned.emit(hold.number, ghost.rows, ghost.cols)

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        hold = self._hold(event.position()) if self.grid is not None else None
        if hold is not None and hold.what == PANEL:
            self.opened.emit(hold.number)

    def contextMenuEvent(self, event: QContextMenuEvent) -> None:
        hold = self._hold(QPointF(event.pos())) if self.grid is not None else None
        if hold is not None and hold.what == PANEL:
            self._choose(hold.number)
            self.menu_for(hold.number).popup(event.globalPos())

    def menu_for(self, number: int) -> QMenu:
        """What can be done with a panel."""
        assert self.grid is not None
        _, col, rows, cols = self.grid.cells[number]
        rest = len(self.grid.x) - 1 - col
        menu = QMenu(self)
        menu.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        menu.addAction("&Options", lambda: self.opened.emit(number))
        wide = menu.addAction("Widen to the right &edge",
                              lambda: self.spanned.emit(number, rows, rest))  # fmt: skip
        wide.setEnabled(cols < rest)
        menu.addAction("&Take away", lambda: self.removed.emit(number))
        return menu

    def _hold(self, at: QPointF) -> Hold | None:
        assert self.grid is not None
        size = (float(self.paper_size.width()), float(self.paper_size.height()))
        return hold_at(self.grid, *self._shares(at), size, self.current)

    def _point(self, at: QPointF) -> None:
        hover = self._hold(at) if self.grid is not None else None
        if hover != self._hover:
            self._hover = hover
            self.setCursor(CURSORS[hover.what] if hover else Qt.CursorShape.ArrowCursor)
            self.update()

    def leaveEvent(self, event: QEvent) -> None:
        self._hover = None
        self.update()
        super().leaveEvent(event)

    def let_go(self) -> None:
        """The hand lets go, and nothing happens."""
        self.hold = self.ghost = self._pressed = None
        self.setCursor(Qt.CursorShape.ArrowCursor)
        self.update()

    # -- keys -----------------------------------------------------------------------------------

    def keyPressEvent(self, event: QKeyEvent) -> None:
        key, here = event.key(), self.current
        if key == Qt.Key.Key_Escape and self.hold is not None:
            self.let_go()
        elif key == Qt.Key.Key_Escape and here is not None:
            self._choose(None)
        elif event.matches(QKeySequence.StandardKey.Copy):
            self.copy_wanted.emit()
        elif key in ARROWS and here is not None:
            spans = event.modifiers() & Qt.KeyboardModifier.ShiftModifier
            (self.span_stepped if spans else self.stepped).emit(here, *ARROWS[Qt.Key(key)])
        elif key in (Qt.Key.Key_Delete, Qt.Key.Key_Backspace) and here is not None:
            self.removed.emit(here)
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and here is not None:
            self.opened.emit(here)
        else:
            super().keyPressEvent(event)

    def focusNextPrevChild(self, next_: bool) -> bool:
        """Tab goes through the panels in the order of their letters, then on to what is beside."""
        order = self._order()
        if not order:
            return super().focusNextPrevChild(next_)
        at = order.index(self.current) if self.current in order else (-1 if next_ else len(order))
        at += 1 if next_ else -1
        if not 0 <= at < len(order):
            return super().focusNextPrevChild(next_)
        self._choose(order[at])
        return True

    def _order(self) -> list[int]:
        cells = self.grid.cells if self.grid is not None else ()
        return [at for _, at in sorted((cell[:2], at) for at, cell in enumerate(cells))]

    def _choose(self, number: int | None) -> None:
        if number != self.current:
            self.choose(number)
            self.chosen.emit(-1 if number is None else number)

    def focusInEvent(self, event: QFocusEvent) -> None:
        self.update()
        super().focusInEvent(event)

    def focusOutEvent(self, event: QFocusEvent) -> None:
        self.update()
        super().focusOutEvent(event)
