"""Binds the window of figure sheets to the session.

Sheets are drawn by core on the worker, only while the window is seen and once things rest; a late
answer is dropped, and the old picture stays until the new one is there. What is decided, the sheets
themselves, is the session's; which sheet and panel are looked at stands here.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QObject, QTimer

from ..core.sheets import Panel, Sheet
from .figure_acts import FigureActs
from .figure_calls import BeginSheet, CopySheet, ReadRecipes
from .figure_drawing import NO_MAP, WAITING, FigureDrawing, size_of
from .figure_files import FigureFiles
from .saving import map_name

if TYPE_CHECKING:
    from .main_window import MainWindow
    from .views.sheet_window import SheetWindow


SETTLE = 150  # ms that sheet and analysis must rest


class FigureDesk(FigureActs, FigureFiles, FigureDrawing, QObject):
    """See the module. Its window is made when it is first asked for."""

    def __init__(self, main: MainWindow) -> None:
        super().__init__(main)
        self._main, self._session = main, main.session
        self.window: SheetWindow | None = None
        self.look = "colour"
        self._begin_drawing()
        self._index = 0
        self._name = ""
        self._panel: int | None = None
        self._timer = QTimer(self, singleShot=True, interval=SETTLE)
        self._timer.timeout.connect(self._ask)

    # -- the window -----------------------------------------------------------------------------

    def show_figures(self) -> None:
        """Show the window, in front."""
        if self._session.map is None:
            return
        window = self.make_window()
        window.show()
        window.raise_()
        window.activateWindow()
        window.view.canvas.setFocus()

    def make_window(self) -> SheetWindow:
        if self.window is None:
            from ..core.colours import DEFICIENCIES, LOOKS
            from .figure_offers import OFFERS
            from .views.sheet_window import SheetWindow

            looks = {name: words.capitalize() + (f" ({name})" if name in DEFICIENCIES else "")
                     for name, words in LOOKS.items()}  # fmt: skip
            self.window = SheetWindow(looks, OFFERS, self._main)
            self.window.set_theme(self._main.theme)
            self._listen(self.window)
            self._listen_to_acts(self.window)
            self._show_map()
        return self.window

    def _listen(self, window: SheetWindow) -> None:
        session = self._session
        session.map_changed.connect(self._forget)
        session.sheets_changed.connect(self.show_sheets)
        session.history_changed.connect(self._show_history)
        for signal in (session.analysis_changed, session.review_changed, session.rule_changed,
                       session.places_changed, session.settings_changed,
                       self._components.made_changed):  # fmt: skip
            signal.connect(self.refresh)
        session.answered.connect(self._take)
        session.answered.connect(self._take_act)
        session.busy_changed.connect(self._show_busy)
        window.seen.connect(self._sight)
        window.view.size_changed.connect(self.refresh)
        window.look_chosen.connect(self._choose_look)
        window.sheet_chosen.connect(self.choose_sheet)
        window.view.canvas.chosen.connect(self._panel_chosen)
        window.add.menu().aboutToShow.connect(self._show_offers)
        window.undo_wanted.connect(session.undo)
        window.redo_wanted.connect(session.redo)
        window.stop_wanted.connect(session.background.stop)
        self._show_history()

    def set_theme(self, theme: Any) -> None:
        if self.window is not None:
            self.window.set_theme(theme)

    @property
    def _components(self) -> Any:
        return self._main.make_workspace().component_desk

    @property
    def in_sight(self) -> bool:
        return self.window is not None and self.window.isVisible()

    # -- what is there --------------------------------------------------------------------------

    @property
    def sheets(self) -> tuple[Sheet, ...]:
        return self._session.work.sheets

    @property
    def sheet(self) -> Sheet | None:
        """The sheet in front."""
        return self.sheets[self._index] if self._index < len(self.sheets) else None

    def worked_out(self) -> Any:
        """Findings with components that were made for a figure; None if they are of others."""
        found, session = self._findings[1], self._session
        fits = (found is not None and found.table is not None
                and found.analysis is session.analysis and found.work.rule == session.rule)
        return found if fits else None

    @property
    def panel(self) -> Panel | None:
        """The chosen panel."""
        sheet = self.sheet
        known = sheet is not None and self._panel is not None and self._panel < len(sheet.panels)
        return sheet.panels[self._panel] if known else None  # type: ignore[union-attr, index]

    def choose_sheet(self, index: int) -> None:
        """Look at another sheet."""
        if self.window is not None and not self.window.sheet_form.caption.finish():
            self.window.show_sheets([sheet.name for sheet in self.sheets], self._index)
            return
        if 0 <= index < len(self.sheets) and index != self._index:
            self._index, self._panel, self._name = index, None, self.sheets[index].name
            self.show_sheets()

    def _panel_chosen(self, number: int) -> None:
        self.choose_panel(None if number < 0 else number)

    def choose_panel(self, number: int | None) -> None:
        self._panel = number
        if self.window is not None:
            self.window.view.canvas.choose(number)
            if number is not None and self.window.pages.currentIndex() != 0:
                self.window.show_page(0)
            self._show_panel()

    def _choose_look(self, look: str) -> None:
        self.look = look
        self.refresh()

    # -- what is shown --------------------------------------------------------------------------

    def show_sheets(self) -> None:
        """Tabs and forms of what the session has; the sheet that was in front stays there."""
        names, before = [sheet.name for sheet in self.sheets], self._name
        if self._name in names:
            self._index = names.index(self._name)
        self._index = min(self._index, max(len(names) - 1, 0))
        self._name = names[self._index] if names else ""
        if self.panel is None:
            self._panel = None
        if self.window is None:
            return
        if self._name != before:
            self.window.sheet_form.forget_typing()
        self.window.show_sheets(names, self._index)
        self.window.say("")  # what was said was of what was before
        self._show_forms()
        self._show_grid()
        self.refresh()

    def _show_forms(self) -> None:
        assert self.window is not None
        from ..core.figures import PRESETS

        form = self.window.sheet_form
        form.set_presets(PRESETS)
        form.show_sheet(self.sheet, self._drawn_size())
        self._show_panel()

    def _show_panel(self) -> None:
        from .figure_offers import choices_for, swatch, units_for

        assert self.window is not None
        panel, form = self.panel, self.window.panel_form
        if panel is None:
            form.show_panel(None)
            return
        letter, problem = "", ""
        if self.seen is not None and self.seen.drawn.sheet == self.sheet:
            drawn = self.seen.drawn.panels[self._panel]
            letter, problem = drawn.letter, drawn.problem
        findings = self.seen.findings if self.seen is not None else None
        form.show_panel(panel, letter, choices_for(panel, self._session, findings),
                        units_for(panel), problem, {"colours": swatch})  # fmt: skip

    def _show_grid(self) -> None:
        """Hands work on the sheet as it is now, though its picture may still be an older one."""
        from .views.sheet_grid import grid_by_sizes, grid_of

        assert self.window is not None
        canvas, sheet, seen = self.window.view.canvas, self.sheet, self.seen
        grid = grid_by_sizes(sheet) if sheet is not None and sheet.panels else None
        if seen is not None and seen.drawn.sheet == sheet:
            grid = grid_of(sheet, seen.drawn.boxes)
        canvas.set_grid(grid)
        canvas.choose(self._panel)

    def _show_history(self) -> None:
        if self.window is not None:
            self.window.show_history(self._session.undo_words, self._session.redo_words)

    def _show_offers(self) -> None:
        """A profile can be added where there is one."""
        assert self.window is not None
        places = self._session.places
        self.window.add_actions["profile"].setEnabled(bool(places and places.profiles))

    def _show_busy(self, words: str, done: int, total: int) -> None:
        if self.window is not None:
            self.window.stop.setEnabled(self._session.background.stoppable)
            self.window.status.show_busy(words, done, total)

    def _drawn_size(self) -> tuple[float, float] | None:
        if self.seen is None or self.seen.drawn.sheet != self.sheet:
            return None
        return size_of(self.seen.drawn)

    def _sight(self, seen: bool) -> None:
        if seen:
            self.show_sheets()
        else:
            self._drop()

    def _forget(self) -> None:
        """Another map, or none: what was typed and asked was for the one before."""
        self._drop()
        for request in (BeginSheet, ReadRecipes, CopySheet):
            self._session.background.cancel(request.lane)
        if self.window is not None:
            self.window.sheet_form.forget_typing()
            self.window.written.forget()
        self._findings = (None, None)
        self._recent.clear()
        self._index, self._panel, self._name = 0, None, ""
        self._show_map()

    def _show_map(self) -> None:
        if self.window is None:
            return
        fmap = self._session.map
        self._empty(NO_MAP if fmap is None else WAITING)
        self.window.setWindowTitle("Figure sheets" if fmap is None else
                                   f"{map_name(fmap)} – Figure sheets")  # fmt: skip
        if fmap is None:
            self.window.close()
        self.show_sheets()
