"""The window of figure sheets: tabs of sheets, the sheet, its forms, its caption. It is passive."""

from __future__ import annotations

from PySide6.QtCore import QByteArray, QSettings, QSize, Qt, Signal
from PySide6.QtGui import QAction, QGuiApplication, QHideEvent, QKeySequence, QShowEvent
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QFrame,
    QHBoxLayout,
    QLabel,
    QMenu,
    QPlainTextEdit,
    QPushButton,
    QScrollArea,
    QSplitter,
    QTabBar,
    QTabWidget,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from .. import theme as look
from ..panels.notices import Notes
from ..panels.sheet_form import SheetForm
from ..panels.sheet_options import PanelForm
from ..panels.sheet_written import WrittenPage
from ..status import READY, Status
from ..theme import SPACE, Theme, shrink, toned
from .sheet_view import ZOOMS, SheetView

PANEL, SHEET, WRITTEN = 0, 1, 2
MENU = (("rename", "&Rename"), ("copy", "&Copy the sheet"), ("remove", "Take the sheet &away"),
        None, ("load", "&Load a recipe…"), ("save", "&Save the recipe…"))  # fmt: skip
CAPTION = "The caption follows when the sheet is drawn."
STYLE = """
QToolButton[popupMode="1"], QToolButton[popupMode="2"] { padding-right: 15px; }
QToolButton::menu-button { border: none; width: 14px; }
"""


class SheetWindow(QWidget):
    """See the module.

    Signals
    -------
    sheet_chosen(index), new_wanted(empty), menu_chosen(name), panel_wanted(name)
    look_chosen(name), write_wanted(with_data), undo_wanted, redo_wanted, stop_wanted
    seen(bool) : it came into sight or went out of it
    """

    sheet_chosen = Signal(int)
    new_wanted = Signal(bool)
    menu_chosen = Signal(str)
    panel_wanted = Signal(str)
    look_chosen = Signal(str)
    write_wanted = Signal(bool)
    undo_wanted = Signal()
    redo_wanted = Signal()
    stop_wanted = Signal()
    seen = Signal(bool)

    def __init__(self, looks: dict[str, str], offers: dict[str, str], parent: QWidget) -> None:
        """`looks` and `offers`: name -> words, of the looks and of the panels that can be added."""
        super().__init__(parent, Qt.WindowType.Window)
        self.setWindowTitle("Figure sheets")
        self.setStyleSheet(STYLE)
        self._memory = QSettings("palpate", "palpate")
        self.view, self.notes = SheetView(self), Notes(self)
        self.panel_form, self.sheet_form, self.written = PanelForm(), SheetForm(), WrittenPage()
        self._make_actions()
        self._make_bars(looks, offers)
        self._make_caption()
        self._lay_out()
        self.resize(1180, 760)
        stored = self._memory.value("figures/geometry")
        if isinstance(stored, QByteArray):
            self.restoreGeometry(stored)
        for name, splitter in (("split", self.splitter), ("below", self.below)):
            state = self._memory.value(f"figures/{name}")
            if isinstance(state, QByteArray):
                splitter.restoreState(state)

    # -- building -------------------------------------------------------------------------------

    def _make_actions(self) -> None:
        self.undo, self.redo = QAction("Undo", self), QAction("Redo", self)
        self.undo.setShortcuts(QKeySequence.StandardKey.Undo)
        self.redo.setShortcuts([QKeySequence("Ctrl+Y"), QKeySequence("Ctrl+Shift+Z")])
        self.undo.triggered.connect(self.undo_wanted)
        self.redo.triggered.connect(self.redo_wanted)
        self.stop = QAction("Stop", self)
        self.stop.setToolTip("Stop what is being done")
        self.stop.triggered.connect(self.stop_wanted)
        close = QAction("Close", self)
        close.setShortcut(QKeySequence("Ctrl+W"))
        close.triggered.connect(self.close)
        self.addActions([self.undo, self.redo, close])

    def _make_bars(self, looks: dict[str, str], offers: dict[str, str]) -> None:
        self.tabs = QTabBar(self)
        self.tabs.setExpanding(False)
        self.tabs.setDrawBase(False)
        self.tabs.setUsesScrollButtons(True)
        self.tabs.setAccessibleName("Figure sheets")
        self.tabs.currentChanged.connect(self.sheet_chosen)
        self.tabs.tabBarDoubleClicked.connect(lambda _: self.menu_chosen.emit("rename"))
        self.new = self._button("New", "A new sheet from what was found (its menu: an empty one)")
        self.new.setPopupMode(QToolButton.ToolButtonPopupMode.MenuButtonPopup)
        fresh = QMenu(self.new)
        fresh.addAction("From what was &found", lambda: self.new_wanted.emit(False))
        fresh.addAction("&Empty", lambda: self.new_wanted.emit(True))
        self.new.setMenu(fresh)
        self.new.clicked.connect(lambda: self.new_wanted.emit(False))
        self.menu = self._button("Sheet", "Rename, copy, take away, load and save as a recipe")
        self.menu.setMenu(self._sheet_menu())
        self.menu.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
        self.add = self._button("Add panel", "Put another panel on the sheet")
        self.add.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
        adding = QMenu(self.add)
        self.add_actions = {
            name: adding.addAction(words, lambda name=name: self.panel_wanted.emit(name))
            for name, words in offers.items()
        }
        self.add.setMenu(adding)
        self.undo_button, self.redo_button = QToolButton(self), QToolButton(self)
        self.undo_button.setDefaultAction(self.undo)
        self.redo_button.setDefaultAction(self.redo)
        self.zooms = self._combo(ZOOMS, "How large the sheet is shown")
        self.zooms.activated.connect(lambda _: self.view.set_zoom(self.zooms.currentData()))
        self.looks = self._combo(looks, "How the sheet looks in grey, or to people who see colours "
                                 "otherwise; what is written stays as it is")  # fmt: skip
        self.looks.activated.connect(lambda _: self.look_chosen.emit(self.looks.currentData()))
        self.with_data = QCheckBox("with the numbers and a script", self)
        self.with_data.setToolTip("Beside the figure a folder with its numbers, the settings, the "
                                  "recipe and a script that draws it again")  # fmt: skip
        self.write = QPushButton("Write…", self)
        self.write.setToolTip("Write the sheet as PDF, SVG, PNG or TIFF (Ctrl+S)")
        self.write.setShortcut(QKeySequence("Ctrl+S"))
        self.write.clicked.connect(lambda: self.write_wanted.emit(self.with_data.isChecked()))

    def _button(self, words: str, tip: str) -> QToolButton:
        made = QToolButton(self)
        made.setText(words)
        made.setToolTip(tip)
        made.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        return made

    def _combo(self, words: dict[str, str], tip: str) -> QComboBox:
        made = QComboBox(self)
        for name, text in words.items():
            made.addItem(text, name)
        made.setToolTip(tip)
        made.setAccessibleName(tip)
        made.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        made.setMinimumContentsLength(9)
        return made

    def _sheet_menu(self) -> QMenu:
        menu = QMenu(self.menu)
        self.menu_actions: dict[str, QAction] = {}
        for entry in MENU:
            if entry is None:
                menu.addSeparator()
                continue
            name, words = entry
            self.menu_actions[name] = menu.addAction(
                words, lambda name=name: self.menu_chosen.emit(name))  # fmt: skip
        return menu

    def _make_caption(self) -> None:
        self.caption = QPlainTextEdit(self)
        self.caption.setReadOnly(True)
        self.caption.setAccessibleName("Caption")
        self.caption.setTabChangesFocus(True)
        self.caption.setMinimumHeight(self.caption.fontMetrics().lineSpacing() * 4 + 12)
        self.caption.setPlaceholderText(CAPTION)
        self.copy_picture = QPushButton("Copy picture", self)
        self.copy_picture.setToolTip("The sheet as a picture for other programs (Ctrl+C on it)")
        self.copy = QPushButton("Copy caption", self)
        self.copy.clicked.connect(self._copy_caption)
        self.about = toned(shrink(QLabel(self)), "muted")
        self.about.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)

    def _lay_out(self) -> None:
        upper, lower = QHBoxLayout(), QHBoxLayout()
        for row in (upper, lower):
            row.setContentsMargins(SPACE, SPACE // 2, SPACE, 0)
            row.setSpacing(SPACE // 2)
        upper.addWidget(self.tabs, 1)
        upper.addWidget(self.new)
        upper.addWidget(self.menu)
        for widget in (self.add, self.undo_button, self.redo_button, self.zooms, self.looks):
            lower.addWidget(widget)
        lower.addStretch(1)
        lower.addWidget(self.with_data)
        lower.addWidget(self.write)
        self.splitter = QSplitter(Qt.Orientation.Horizontal, self)
        self.splitter.addWidget(self._left())
        self.splitter.addWidget(self._right())
        self.splitter.setStretchFactor(0, 1)
        self.splitter.setStretchFactor(1, 0)
        self.splitter.setChildrenCollapsible(False)
        self.splitter.setSizes([820, 340])
        self.below.setSizes([500, 170])
        self.status = Status(self.stop, self)
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(SPACE // 2)
        box.addLayout(upper)
        box.addLayout(lower)
        box.addWidget(self.notes)
        box.addWidget(self.splitter, 1)
        box.addWidget(self.status)

    def _left(self) -> QWidget:
        """The sheet over its caption."""
        self.below = QSplitter(Qt.Orientation.Vertical, self)
        self.below.setChildrenCollapsible(False)
        self.below.addWidget(self.view)
        side = QWidget(self)
        box = QVBoxLayout(side)
        box.setContentsMargins(SPACE, 0, 0, 0)
        box.setSpacing(SPACE // 2)
        said = QHBoxLayout()
        said.addWidget(self.about)
        said.addWidget(self.view.word, 1)
        said.addWidget(self.copy_picture)
        said.addWidget(self.copy)
        box.addLayout(said)
        box.addWidget(self.caption, 1)
        self.below.addWidget(side)
        self.below.setStretchFactor(0, 1)
        self.below.setStretchFactor(1, 0)
        return self.below

    def _right(self) -> QTabWidget:
        self.pages = QTabWidget(self)
        self.pages.setDocumentMode(True)
        for page, words in ((self.panel_form, "Panel"), (self.sheet_form, "Sheet"),
                            (self.written, "Written")):  # fmt: skip
            area = QScrollArea(self)
            area.setFrameShape(QFrame.Shape.NoFrame)
            area.setWidgetResizable(True)
            area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
            area.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOn)
            area.setWidget(page)
            self.pages.addTab(area, words)
        self.pages.setMinimumWidth(350)
        return self.pages

    # -- what is shown --------------------------------------------------------------------------

    def show_sheets(self, names: list[str], index: int) -> None:
        """The tabs; the one at `index` is in front."""
        self.tabs.blockSignals(True)
        for at, name in enumerate(names):
            words = name.replace("&", "&&")
            if at < self.tabs.count():
                self.tabs.setTabText(at, words)
            else:
                self.tabs.addTab(words)
        while self.tabs.count() > len(names):
            self.tabs.removeTab(self.tabs.count() - 1)
        self.tabs.setCurrentIndex(index)
        self.tabs.blockSignals(False)
        for name in ("rename", "copy", "remove", "save"):
            self.menu_actions[name].setEnabled(bool(names))

    def show_history(self, undo: str, redo: str) -> None:
        """What undo and redo would do; empty for nothing."""
        for action, verb, words in ((self.undo, "Undo", undo), (self.redo, "Redo", redo)):
            action.setEnabled(bool(words))
            action.setText(f"{verb} {words}".rstrip())
            look_tip = action.shortcut().toString(QKeySequence.SequenceFormat.NativeText)
            action.setToolTip(f"{verb} {words}".rstrip() + f" ({look_tip})")

    def show_caption(self, caption: str, about: str) -> None:
        if self.caption.toPlainText() != caption:
            self.caption.setPlainText(caption)
        self.about.setText(about)
        self.copy.setEnabled(bool(caption))
        self.copy_picture.setEnabled(bool(caption))
        self.copy.setText("Copy caption")

    def show_page(self, page: int) -> None:
        self.pages.setCurrentIndex(page)

    def say(self, words: str) -> None:
        """A sentence in the status bar; none for nothing new."""
        self.status.say(words or READY)

    def _copy_caption(self) -> None:
        QGuiApplication.clipboard().setText(self.caption.toPlainText())
        self.copy.setText("Copied")

    def set_theme(self, theme: Theme) -> None:
        for part in (self.view, self.notes, self.written):
            part.set_theme(theme)
        self.undo.setIcon(look.icon("undo", theme))
        self.redo.setIcon(look.icon("redo", theme))
        self.stop.setIcon(look.icon("cancel", theme))
        self.write.setIcon(look.icon("export", theme))
        self.setWindowIcon(look.icon("figure", theme))

    # -- place ----------------------------------------------------------------------------------

    def showEvent(self, event: QShowEvent) -> None:
        super().showEvent(event)
        if not event.spontaneous():
            self.seen.emit(True)

    def hideEvent(self, event: QHideEvent) -> None:
        if not event.spontaneous():
            self._memory.setValue("figures/geometry", self.saveGeometry())
            self._memory.setValue("figures/split", self.splitter.saveState())
            self._memory.setValue("figures/below", self.below.saveState())
            self.seen.emit(False)
        super().hideEvent(event)

    def minimumSizeHint(self) -> QSize:
        return QSize(640, 420)


__all__ = ["PANEL", "SHEET", "WRITTEN", "SheetWindow"]
