"""Binds the window of figure sheets to the session.

Sheets are drawn by core on the worker, only while the window is seen and once things rest; a late
answer is dropped, and the old picture stays until the new one is there. What is decided, the sheets
themselves, is the session's; which sheet and panel are looked at stands here.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QObject, QTimer

from ..core.errors import Cancelled
from ..core.sheets import Panel, Sheet
from . import findings as present_findings
from .figure_acts import FigureActs
from .figure_calls import BeginSheet, DrawSheet, LookAtSheet, Seen
from .law_calls import Refused, why_not
from .recompute import Answer
from .requests import Analyse
from .saving import map_name

if TYPE_CHECKING:
    from .main_window import MainWindow
    from .views.sheet_window import SheetWindow

SETTLE = 150  # ms that sheet and analysis must rest
NO_MAP = "There is no map."
NO_SHEET = ("There is no figure sheet yet.\nNew makes one from what was found; Add panel begins an "
            "empty one.")  # fmt: skip
EMPTY = "This sheet is empty.\nAdd a panel: a map, a curve, a histogram …"
WAITING = "The sheet is drawn when the map has been analysed."
OLDER = "This is still drawn from the result before; the new one follows."
HELD = "This is still drawn from the result before. The map is not analysed; F5 goes on with it."
DRAWING = "Being drawn anew …"
STOPPED = "Stopped. Change something on the sheet to draw it."


class FigureDesk(FigureActs, QObject):
    """See the module. Its window is made when it is first asked for."""

    def __init__(self, main: MainWindow) -> None:
        super().__init__(main)
        self._main, self._session = main, main.session
        self.window: SheetWindow | None = None
        self.seen: Seen | None = None
        self.look = "colour"
        self._index = 0
        self._name = ""
        self._panel: int | None = None
        self._basis: tuple[Any, Any, Any] | None = None  # what `seen` was drawn from
        self._findings: tuple[Any, Any] = (None, None)  # basis, completed findings
        self._shown: Hashable = None
        self._asked: tuple[int, Hashable, Any] | None = None
        self._told: set[str] = set()
        self._noted: tuple[str, ...] = ()
        self._away: set[str] = set()  # notes that were put away
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

    @property
    def panel(self) -> Panel | None:
        """The chosen panel."""
        sheet = self.sheet
        known = sheet is not None and self._panel is not None and self._panel < len(sheet.panels)
        return sheet.panels[self._panel] if known else None  # type: ignore[union-attr, index]

    def choose_sheet(self, index: int) -> None:
        """Look at another sheet."""
        if self.window is not None:
            self.window.sheet_form.caption.finish()
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
        names = [sheet.name for sheet in self.sheets]
        if self._name in names:
            self._index = names.index(self._name)
        self._index = min(self._index, max(len(names) - 1, 0))
        self._name = names[self._index] if names else ""
        if self.panel is None:
            self._panel = None
        if self.window is None:
            return
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
        from .views.sheet_grid import grid_by_sizes

        assert self.window is not None
        canvas, sheet = self.window.view.canvas, self.sheet
        if self.seen is not None and self.seen.drawn.sheet == sheet:
            return
        canvas.let_go()
        canvas.grid = grid_by_sizes(sheet) if sheet is not None and sheet.panels else None
        canvas.choose(self._panel)
        canvas.update()

    def _show_history(self) -> None:
        if self.window is not None:
            self.window.show_history(self._session.undo_words, self._session.redo_words)

    def _show_busy(self, words: str, done: int, total: int) -> None:
        if self.window is not None:
            self.window.stop.setEnabled(self._session.background.stoppable)
            self.window.status.show_busy(words, done, total)

    def _drawn_size(self) -> tuple[float, float] | None:
        if self.seen is None or self.seen.drawn.sheet != self.sheet:
            return None
        return size_of(self.seen.drawn)

    # -- drawing --------------------------------------------------------------------------------

    def basis(self) -> tuple[Any, Any, Any]:
        """What a sheet is drawn from: the analysis, what was decided, the components."""
        session, made = self._session, self._components.made
        work = replace(session.work, sheets=())
        return session.analysis, work, made if self._components.fits else None

    def _same(self, basis: Any) -> bool:
        """Whether something was drawn from what there is now; components that came later were
        worked out for the drawing as well."""
        if basis is None:
            return False
        analysis, work, _ = self.basis()
        return basis[0] is analysis and basis[1] == work

    def findings(self) -> Any:
        """Present findings, with components if they were worked out already; None without a
        finished analysis."""
        basis = self.basis()
        known, found = self._findings
        if found is not None and self._same(known):
            return found
        return present_findings.present(self._session, basis[2])

    def keep_findings(self, findings: Any) -> None:
        """Findings that the worker completed; kept if they belong to what there is now."""
        basis = self.basis()
        if findings.analysis is basis[0] and replace(findings.work, sheets=()) == basis[1]:
            self._findings = basis, findings

    def fresh_seen(self) -> Seen | None:
        """What is seen, if it is the sheet in front, drawn from what there is now."""
        seen = self.seen
        fits = seen is not None and seen.drawn.sheet == self.sheet and self._same(self._basis)
        return seen if fits else None

    def _why_empty(self) -> str:
        if self._session.map is None:
            return NO_MAP
        if self.sheet is None:
            return NO_SHEET
        if not self.sheet.panels:
            return EMPTY
        if not self._session.finished and self.seen is None:
            return WAITING
        return ""

    def refresh(self, *_: object) -> None:
        """See to it that the picture is up to date, if it can be seen."""
        if not self.in_sight or self.window is None:
            self._timer.stop()
            return
        view, reason = self.window.view, self._why_empty()
        if reason:
            self._drop()
            self._empty(reason)
        elif not self._session.finished:
            self._timer.stop()
            view.canvas.set_veiled(True)
            going = self._session.background.working_on(Analyse.lane)
            view.say(OLDER if going else HELD)
        elif self._shown == self._key() and self._same(self._basis):
            self._timer.stop()
            view.say("")
            view.canvas.set_veiled(False)
        elif self._asked is None or self._asked[1] != self._key() or not self._same(self._asked[2]):
            self._drop()
            older = self.seen is not None and not self._same(self._basis)
            view.canvas.set_veiled(older)
            view.say(OLDER if older else DRAWING)
            self._timer.start()

    def _key(self) -> Hashable:
        assert self.window is not None
        return self.sheet, self.look, round(self.window.view.dpi, 1)

    def _drop(self) -> None:
        self._timer.stop()
        if self._asked is not None:
            self._asked = None
            self._session.background.cancel(DrawSheet.lane)

    def _ask(self) -> None:
        session, sheet = self._session, self.sheet
        if not self.in_sight or self.window is None or sheet is None or self._why_empty():
            return
        if session.dragging or not session.finished:
            return
        dpi, request = self.window.view.dpi, None
        seen = self.fresh_seen()
        if seen is not None:
            request = LookAtSheet(seen, dpi, self.look)
        else:
            request = DrawSheet(sheet, self.findings(), dpi, self.look)
        self._asked = (session.submit(request), self._key(), self.basis())

    def _take(self, answer: Answer) -> None:
        if not isinstance(answer.request, (DrawSheet, LookAtSheet)) or self._asked is None:
            return
        generation, key, basis = self._asked
        if answer.generation != generation or not answer.final:
            return
        self._asked = None
        words = why_not(answer, STOPPED)
        if words:
            self._refused(words, answer)
        else:
            self._show(answer.value, basis)
        self._shown, self._basis = key, basis
        if not words or not isinstance(answer.error, Cancelled):
            self.refresh()

    def _show(self, seen: Seen, basis: Any) -> None:
        from .views.sheet_grid import grid_of

        if self.window is None:
            return
        fresh = self.seen is None or self.seen.drawn is not seen.drawn
        self.seen, self._findings = seen, (basis, seen.findings)
        drawn, view = seen.drawn, self.window.view
        wide, high = size_of(drawn)
        if drawn.sheet == self.sheet:
            names = tuple(f"{one.letter} {one.panel.kind}" for one in drawn.panels)
            view.show_sheet(seen.picture, grid_of(drawn.sheet, drawn.boxes), (wide, high), names)
            view.canvas.choose(self._panel)
            self.window.sheet_form.show_sheet(self.sheet, (wide, high))
            self._show_panel()
        about = f"{wide:.1f} × {high:.1f} mm, {drawn.face}, {drawn.style.font_size:g} pt"
        self.window.show_caption(drawn.caption, about)
        if fresh:
            self._show_notes(drawn)

    def _show_notes(self, drawn: Any) -> None:
        assert self.window is not None
        told = [f"Panel {one.letter or one.panel.kind}: {one.problem}" for one in drawn.panels
                if one.problem]  # fmt: skip
        told += [words for one in drawn.panels for words in one.remarks]
        told += list(drawn.remarks)
        notes = self.window.notes
        self._away |= set(self._noted) - set(notes.texts)  # what was put away stays away
        self._away &= set(told)  # until it was mended in between
        self._noted = tuple(dict.fromkeys(told))
        notes.clear()
        notes.add(*(words for words in self._noted if words not in self._away))

    def _refused(self, words: str, answer: Answer) -> None:
        if self.window is None:
            return
        if isinstance(answer.value, Refused):
            self._tell_fault(answer.value)
        self._empty(words)

    def _empty(self, words: str) -> None:
        """A word in place of the sheet; its panels can be taken hold of all the same."""
        from .views.sheet_grid import grid_by_sizes

        assert self.window is not None
        self.seen = None
        self._shown = self._basis = None
        self.window.view.show_nothing(words)
        if self.sheet is not None and self.sheet.panels:
            self.window.view.canvas.grid = grid_by_sizes(self.sheet)
            self.window.view.canvas.choose(self._panel)
        self.window.view.say("")
        self.window.show_caption("", "")
        self.window.notes.clear()
        self._noted = ()

    def _tell_fault(self, refused: Refused) -> None:
        """A fault of ours is told once."""
        if refused.fault is not None and refused.place not in self._told:
            self._told.add(refused.place)
            self._session.faulted.emit(refused.fault)

    def _sight(self, seen: bool) -> None:
        if seen:
            self.show_sheets()
        else:
            self._drop()

    def _forget(self) -> None:
        """Another map, or none."""
        self._drop()
        self._session.background.cancel(BeginSheet.lane)
        self._findings = (None, None)
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


def size_of(drawn: Any) -> tuple[float, float]:
    """Width and height of a drawn sheet in mm."""
    wide, high = drawn.figure.get_size_inches()
    return 25.4 * float(wide), 25.4 * float(high)
