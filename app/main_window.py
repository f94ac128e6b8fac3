"""Places menus, docks and pages; decides nothing.

The window comes up with the start page alone. The views, which need the modules that compute, are
made when those are there; the docks have their places from the beginning.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QByteArray, QSettings, QSize, Qt, QTimer
from PySide6.QtGui import QCloseEvent, QDragEnterEvent, QDropEvent, QGuiApplication
from PySide6.QtWidgets import (
    QApplication,
    QDockWidget,
    QMainWindow,
    QMenu,
    QStackedWidget,
    QToolBar,
    QWidget,
)

from . import actions as table
from . import theme as look
from .clipboard_desk import CopyDesk
from .commands import Commands
from .figure_desk import FigureDesk
from .journal_desk import JournalDesk
from .methods_desk import MethodsDesk
from .panels.settings import SettingsPanel
from .recompute import Answer
from .reopen_desk import ReopenDesk
from .requests import PeekAt
from .saving import map_name
from .session import Session
from .start_page import StartPage, sample_paths
from .status import Status

if TYPE_CHECKING:
    from .workspace import Workspace

LAYOUT_VERSION = 5


class MainWindow(QMainWindow):
    """The window. `session` may be given by a test."""

    def __init__(self, session: Session | None = None) -> None:
        super().__init__()
        self.session = session or Session(self)
        self.memory = QSettings("palpate", "palpate")
        self.session.who = self.memory.value("review/who", "", type=str)
        self.workspace: Workspace | None = None
        stored = self.memory.value("theme", "system", type=str)
        self._choice = stored if stored in look.CHOICES else "system"
        app = QApplication.instance()
        look.apply_theme(app, look.theme_for(app, self._choice))  # cheap while there are no widgets
        self.setWindowTitle("Palpate[*]")
        self.setAcceptDrops(True)
        self.setDockNestingEnabled(True)
        self.commands = Commands(self)
        self.journal = JournalDesk(self.session, parent=self)
        self.reopening = ReopenDesk(self, self.journal)
        self.methods, self.copying = MethodsDesk(self), CopyDesk(self)
        self.figures = FigureDesk(self)
        self.actions_by_id = table.build(self, self, self.commands, self.methods, self.copying,
                                         self.figures)  # fmt: skip
        self.menus = table.fill_menus(self.menuBar(), self.actions_by_id)
        self.copying.offer(self.menus["Edit"], self.actions_by_id["copy"])
        self._build()
        self._listen()
        self.retheme()
        self._place()
        self.show_state()

    # -- building -------------------------------------------------------------------------------

    def _build(self) -> None:
        self.toolbar = QToolBar("Tools", self)
        self.toolbar.setObjectName("tools")
        self.toolbar.setMovable(False)
        self.toolbar.setIconSize(QSize(20, 20))
        table.fill_toolbar(self.toolbar, self.actions_by_id)
        self.addToolBar(self.toolbar)
        self.start_page = StartPage(self)
        self.pages = QStackedWidget(self)
        self.pages.addWidget(self.start_page)
        self.setCentralWidget(self.pages)
        self.settings_panel = SettingsPanel(self.session, self)
        self.values_dock = self._dock("Values", "values", QWidget())
        self.settings_dock = self._dock("Settings", "settings", self.settings_panel)
        self.law_dock = self._dock("Law", "law", QWidget())
        self.components_dock = self._dock("Components", "components", QWidget())
        self.places_dock = self._dock("Places", "places", QWidget())
        self.doubts_dock = self._dock("Doubts", "doubts", QWidget())
        self.docks = (self.values_dock, self.settings_dock, self.law_dock, self.components_dock,
                      self.places_dock, self.doubts_dock)  # fmt: skip
        self.status = Status(self.actions_by_id["cancel"], self)
        self.setStatusBar(self.status)
        self._offer_samples()
        self.actions_by_id["marks"].setChecked(self.memory.value("marks", True, type=bool))

    def _offer_samples(self) -> None:
        """The sample maps, in the File menu under Open."""
        file = self.menus["File"]
        samples = QMenu("Sa&mples", file)
        for path in sample_paths():
            shown = samples.addAction(path.stem.replace("_", " ").capitalize())
            shown.triggered.connect(lambda _=False, p=path: self.commands.open(p))
        file.insertMenu(file.actions()[1], samples)

    def _dock(self, title: str, name: str, widget: QWidget) -> QDockWidget:
        dock = QDockWidget(title, self)
        dock.setObjectName(name)
        dock.setWidget(widget)
        dock.hide()
        return dock

    def _listen(self) -> None:
        session, start = self.session, self.start_page
        session.map_changed.connect(lambda: self.say(""))  # what was said was of another map
        session.map_changed.connect(self.show_map)
        for signal in (session.history_changed, session.analysis_changed, session.map_changed,
                       session.reference_changed):  # fmt: skip
            signal.connect(self.show_state)
        session.busy_changed.connect(self._show_busy)
        session.analysis_changed.connect(lambda: self.status.show_counts(session))
        session.map_changed.connect(lambda: self.status.show_counts(session))
        session.review_changed.connect(lambda: self.status.show_counts(session))
        session.answered.connect(self._answered)
        session.background.tools_loaded.connect(self.make_workspace)
        start.open_asked.connect(self.commands.ask_open)
        start.chosen.connect(self.commands.open)
        self.settings_panel.save_asked.connect(self.commands.ask_save_settings)
        self.settings_panel.load_asked.connect(self.commands.ask_load_settings)
        QGuiApplication.styleHints().colorSchemeChanged.connect(self._system_changed)
        for dock in self.docks:
            action = self.actions_by_id[f"panel_{dock.objectName()}"]
            dock.visibilityChanged.connect(
                lambda _, d=dock, a=action: a.setChecked(not d.isHidden())
            )

    def make_workspace(self) -> Workspace:
        """The views; made once, when the modules that compute are there."""
        if self.workspace is None:
            from .workspace import Workspace

            self.workspace = Workspace(self.session, self)
            self.workspace.set_theme(self.theme)
            self.workspace.map.set_marks_visible(self.actions_by_id["marks"].isChecked())
            self.workspace.marks_toggled.connect(self._marks_switched)
            self.pages.addWidget(self.workspace)
            for dock, panel in ((self.values_dock, self.workspace.values),
                                (self.law_dock, self.workspace.law),
                                (self.components_dock, self.workspace.components),
                                (self.places_dock, self.workspace.places),
                                (self.doubts_dock, self.workspace.doubts)):  # fmt: skip
                old = dock.widget()
                dock.setWidget(panel)
                old.deleteLater()
            self.doubts_dock.visibilityChanged.connect(self.workspace.doubts.set_in_sight)
            self.workspace.review_desk.said.connect(self.say)
            decided = self.workspace.doubts.decided
            decided.who.setText(self.session.who)
            decided.who_given.connect(self._keep_name)
            decided.save_wanted.connect(self.commands.ask_save_decisions)
            self.law_dock.visibilityChanged.connect(self.workspace.law.set_in_sight)
            self.components_dock.visibilityChanged.connect(
                self.workspace.components.set_in_sight)  # fmt: skip
            self.workspace.components.table.save_wanted.connect(self.commands.ask_save_components)
            self.workspace.components.surface.save_wanted.connect(self.commands.ask_save_surface)
            self.workspace.components.shape.save_wanted.connect(self.commands.ask_save_domains)
            self._listen_to_places(self.workspace)
            self.workspace.law.save_wanted.connect(self.commands.ask_save_budget)
            self.workspace.rehearsal_desk.save_wanted.connect(self.commands.ask_save_rehearsal)
            self.workspace.picture_desk.save_wanted.connect(self.commands.ask_save_comparison)
            self.workspace.overlay_desk.save_wanted.connect(self.commands.ask_save_overlay)
            self.workspace.reference_desk.hold_wanted.connect(self.commands.hold_reference)
        return self.workspace

    def _listen_to_places(self, workspace: Workspace) -> None:
        panel = workspace.places
        self.places_dock.visibilityChanged.connect(panel.set_in_sight)
        workspace.places_desk.drawn.connect(self._place_drawn)
        panel.load_wanted.connect(self.commands.ask_load_places)
        panel.save_wanted.connect(self.commands.ask_save_places)
        panel.export_wanted.connect(self.commands.ask_export_places)

    def _place_drawn(self, kind: str) -> None:
        """A new region shows its numbers: the panel comes to the front."""
        if kind == "region":
            self.places_dock.show()
            self.places_dock.raise_()

    # -- places ---------------------------------------------------------------------------------

    def _place(self) -> None:
        room = self.screen().availableSize()
        self.resize(min(1280, room.width()), min(800, room.height() - 40))
        right = Qt.DockWidgetArea.RightDockWidgetArea
        self.addDockWidget(right, self.values_dock)
        self.splitDockWidget(self.values_dock, self.settings_dock, Qt.Orientation.Vertical)
        self._tabify()
        for dock in self.docks:
            dock.hide()
        geometry = self.memory.value("window/geometry")
        if isinstance(geometry, QByteArray):
            self.restoreGeometry(geometry)

    def _show_docks(self) -> None:
        state = self.memory.value("window/state")
        if isinstance(state, QByteArray) and self.restoreState(state, LAYOUT_VERSION):
            split = self.memory.value("window/split")
            if isinstance(split, QByteArray) and self.workspace is not None:
                self.workspace.splitter.restoreState(split)
            return
        self.reset_layout()

    def reset_layout(self) -> None:
        """All panels back to their places."""
        right = Qt.DockWidgetArea.RightDockWidgetArea
        docks = [self.values_dock, self.settings_dock]
        for dock in self.docks:
            dock.setFloating(False)
            dock.hide()  # side by side they would be higher than the window, and it would grow
            self.addDockWidget(right, dock)
        self.splitDockWidget(*docks, Qt.Orientation.Vertical)
        self._tabify()
        for dock in self.docks:
            dock.show()
        self.settings_dock.raise_()
        self.resizeDocks(docks, [310, 310], Qt.Orientation.Horizontal)
        self.resizeDocks(docks, [45, 55], Qt.Orientation.Vertical)
        if self.workspace is not None:
            width = self.workspace.splitter.width()
            self.workspace.splitter.setSizes([int(0.55 * width), int(0.45 * width)])

    def _tabify(self) -> None:
        """What is not about the picked pixel alone lies in one place, behind each other."""
        for dock in self.docks[2:]:
            self.tabifyDockWidget(self.settings_dock, dock)

    def _keep_places(self) -> None:
        self.memory.setValue("window/geometry", self.saveGeometry())
        if self.session.map is not None and self.workspace is not None:
            self.memory.setValue("window/state", self.saveState(LAYOUT_VERSION))
            self.memory.setValue("window/split", self.workspace.splitter.saveState())

    # -- what is shown --------------------------------------------------------------------------

    def show_map(self) -> None:
        """The workspace if there is a map, else the start page."""
        if self.session.map is not None:
            workspace = self.make_workspace()
            if self.pages.currentWidget() is not workspace:
                self.pages.setCurrentWidget(workspace)
                self._show_docks()
            workspace.map.setFocus()
        elif self.pages.currentWidget() is not self.start_page:
            self._keep_places_of_docks()
            for dock in self.docks:
                dock.hide()
            self.pages.setCurrentWidget(self.start_page)
            self.start_page.show_recent()
            self.peek()

    def _keep_places_of_docks(self) -> None:
        self.memory.setValue("window/state", self.saveState(LAYOUT_VERSION))

    def peek(self) -> None:
        """Have the worker look at what the start page shows."""
        self.session.submit(self.start_page.wanted)

    def show_state(self) -> None:
        """Title, and what can be done at present."""
        session, found = self.session, self.actions_by_id
        fmap = session.map
        name = map_name(fmap).replace("[*]", "[*][*]") if fmap is not None else ""
        self.setWindowTitle(f"{name}[*] – Palpate" if name else "Palpate[*]")
        self.setWindowModified(session.changed)
        there = {"": True, table.MAP: fmap is not None, table.RESULT: session.finished}
        for entry in table.entries():
            found[entry.id].setEnabled(there[entry.needs])
        for name, words in (("undo", session.undo_words), ("redo", session.redo_words)):
            verb = name.capitalize()
            found[name].setEnabled(bool(words))
            found[name].setText(f"&{verb} {words.replace('&', '&&')}".rstrip())
            table.set_tip(found[name], f"{verb} {words}".rstrip())
        found["drop_reference"].setEnabled(session.reference is not None)
        found["recompute"].setEnabled(fmap is not None and not session.finished)
        found["cancel"].setEnabled(session.background.stoppable)

    def _show_busy(self, words: str, done: int, total: int) -> None:
        self.actions_by_id["cancel"].setEnabled(self.session.background.stoppable)
        self.status.show_busy(words, done, total)

    def say(self, words: str) -> None:
        """A sentence in the status bar, for a while or until the next one."""
        self.status.say(words)

    def _answered(self, answer: Answer) -> None:
        if isinstance(answer.request, PeekAt) and answer.value is not None:
            self.start_page.show_seen(answer.value)

    # -- looks ----------------------------------------------------------------------------------

    def retheme(self) -> None:
        """Take the colours of the chosen theme."""
        app = QApplication.instance()
        self.theme = look.theme_for(app, self._choice)
        look.apply_theme(app, self.theme)
        table.set_icons(self.actions_by_id, self.theme)
        self.start_page.set_theme(self.theme)
        self.settings_panel.set_theme(self.theme)
        self.figures.set_theme(self.theme)
        self.methods.set_theme(self.theme)
        if self.workspace is not None:
            self.workspace.set_theme(self.theme)
        self.actions_by_id[f"theme_{self._choice}"].setChecked(True)

    def _choose_theme(self, choice: str) -> None:
        self._choice = choice
        self.memory.setValue("theme", choice)
        self.retheme()

    def _system_changed(self) -> None:
        if self._choice == "system":
            QTimer.singleShot(0, self, self.retheme)

    def theme_system(self) -> None:
        self._choose_theme("system")

    def theme_light(self) -> None:
        self._choose_theme("light")

    def theme_dark(self) -> None:
        self._choose_theme("dark")

    # -- slots of the table ---------------------------------------------------------------------

    def undo(self) -> None:
        self.session.undo()

    def redo(self) -> None:
        self.session.redo()

    def recompute(self) -> None:
        self.session.recompute()

    def stop(self) -> None:
        self.session.background.stop()

    def previous_channel(self) -> None:
        self._step_channel(-1)

    def next_channel(self) -> None:
        self._step_channel(1)

    def _step_channel(self, step: int) -> None:
        from ..core.channels import asked_for

        names = list(asked_for(self.session.settings))
        now = self.session.channel
        place = names.index(now) + step if now in names else 0
        self.session.choose_channel(names[place % len(names)])

    def show_marks(self, on: bool) -> None:
        self.memory.setValue("marks", on)
        if self.workspace is not None:
            self.workspace.map.set_marks_visible(on)

    def _marks_switched(self, on: bool) -> None:
        self.actions_by_id["marks"].setChecked(on)
        self.memory.setValue("marks", on)

    def show_settings_panel(self, on: bool) -> None:
        self._show_panel(self.settings_dock, on)

    def show_values_panel(self, on: bool) -> None:
        self._show_panel(self.values_dock, on)

    def show_law_panel(self, on: bool) -> None:
        self._show_panel(self.law_dock, on)

    def show_components_panel(self, on: bool) -> None:
        self._show_panel(self.components_dock, on)

    def show_doubts_panel(self, on: bool) -> None:
        self._show_panel(self.doubts_dock, on)

    def show_places_panel(self, on: bool) -> None:
        self._show_panel(self.places_dock, on)

    def _show_panel(self, dock: QDockWidget, on: bool) -> None:
        """Show or hide a panel; one that lies behind another comes to the front."""
        behind = not on and dock.isVisible() and dock.visibleRegion().isEmpty()
        dock.setVisible(on or behind)
        if on or behind:
            dock.raise_()
        self.actions_by_id[f"panel_{dock.objectName()}"].setChecked(on or behind)

    # -- doubts: the desk does it, once the views are made ---------------------------------------

    def next_doubtful(self) -> None:
        self.make_workspace().review_desk.next_doubtful()

    def previous_doubtful(self) -> None:
        self.make_workspace().review_desk.previous_doubtful()

    def keep(self) -> None:
        self.make_workspace().review_desk.keep()

    def leave_out(self) -> None:
        self.make_workspace().review_desk.leave_out()

    def correct(self) -> None:
        self.make_workspace().review_desk.correct()

    def take_back(self) -> None:
        self.make_workspace().review_desk.take_back()

    def gather_alike(self) -> None:
        self.make_workspace().review_desk.gather_alike()

    def _keep_name(self, name: str) -> None:
        """Who decides, from now on and in the next session."""
        self.session.who = name
        self.memory.setValue("review/who", name)

    def let_go(self) -> None:
        self.session.gather(None)

    def note_pixel(self) -> None:
        """Show the page with the note, and put the cursor there."""
        self._show_panel(self.doubts_dock, True)
        self.doubts_dock.raise_()
        self.make_workspace().doubts.show_page("decide")
        self.make_workspace().doubts.decide.note.setFocus()

    # -- dropping and closing -------------------------------------------------------------------

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        if any(url.isLocalFile() for url in event.mimeData().urls()):
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:
        paths = [url.toLocalFile() for url in event.mimeData().urls() if url.isLocalFile()]
        if not paths:
            return
        event.acceptProposedAction()
        path = Path(paths[0])
        if len(paths) > 1:
            self.say(f"One map at a time: {path.name} is opened.")
        # the program that the file comes from waits for us; the question comes afterwards
        QTimer.singleShot(0, self, lambda: self.commands.open(path))

    def closeEvent(self, event: QCloseEvent) -> None:
        if not self.commands.may_leave():
            event.ignore()
            return
        self._keep_places()
        self.journal.finish()
        self.session.close()
        super().closeEvent(event)
