"""How a sheet comes to be drawn: what it is drawn from, whether that is still so, and what is shown
of the answer.

A part of the desk, kept apart for its length.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from ..core.errors import Cancelled
from . import findings as present_findings
from .figure_calls import DrawSheet, LookAtSheet, Seen
from .law_calls import Refused, why_not
from .recompute import Answer
from .requests import Analyse

if TYPE_CHECKING:
    from PySide6.QtCore import QTimer

    from ..core.sheets import Sheet
    from .session import Session
    from .views.sheet_window import SheetWindow

NO_MAP = "There is no map."
NO_SHEET = "There is no figure sheet yet."
EMPTY = "This sheet is empty.\nAdd a panel: a map, a curve, a histogram …"
WAITING = "The sheet is drawn when the map has been analysed."
OLDER = "This is still drawn from the result before; the new one follows."
HELD = "This is still drawn from the result before. The map is not analysed; F5 goes on with it."
DRAWING = "Being drawn anew …"
BEGUN = "The sheet is being drawn …"
STOPPED = "Stopped. Change something on the sheet to draw it."
RECENT = 4
"""Pictures that are kept for going back to them."""


class FigureDrawing:
    """See the module; `FigureDesk` is made of it."""

    if TYPE_CHECKING:
        _session: Session
        _components: Any
        _index: int
        _panel: int | None
        _timer: QTimer
        window: SheetWindow | None
        sheet: Sheet | None
        sheets: tuple[Sheet, ...]
        look: str
        in_sight: bool
        _show_panel: Any

    def _begin_drawing(self) -> None:
        self.seen: Seen | None = None
        self._basis: tuple[Any, Any, Any] | None = None  # what `seen` was drawn from
        self._findings: tuple[Any, Any] = (None, None)  # basis, completed findings
        self._shown: Hashable = None
        self._asked: tuple[int, Hashable, Any] | None = None
        self._recent: dict[Hashable, tuple[Seen, Any]] = {}
        self._place: tuple[int, int] | None = None  # of the sheet that `seen` is, among how many
        self._told: set[str] = set()
        self._noted: tuple[str, ...] = ()
        self._away: set[str] = set()  # notes that were put away

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
        elif self._show_recent():
            view.say("")
            view.canvas.set_veiled(False)
        elif self._asked is None or self._asked[1] != self._key() or not self._same(self._asked[2]):
            self._drop()
            self._show_begun()
            older = self.seen is not None and not self._same(self._basis)
            view.canvas.set_veiled(older)
            view.say(OLDER if older else DRAWING)
            self._timer.start()

    def _show_recent(self) -> bool:
        """Show a picture that is known, as after undo; False if it is not, or an older one."""
        key = self._key()
        seen, basis = self._recent.get(key, (None, None))
        if seen is None or not self._same(basis):
            return False
        self._drop()
        self._show(seen, basis)
        self._shown, self._basis = key, basis
        return True

    def _show_begun(self) -> None:
        """An old picture stays until the new one is there, but not that of another sheet."""
        if self.seen is None or self._place != (self._index, len(self.sheets)):
            self._empty(BEGUN)

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
            self._recent[key] = answer.value, basis
            while len(self._recent) > RECENT:
                del self._recent[next(iter(self._recent))]
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
            self._place = self._index, len(self.sheets)
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
        from ..core.figures.fonts import face

        assert self.window is not None
        told = [f"Panel {one.letter or one.panel.kind}: {one.problem}" for one in drawn.panels
                if one.problem]  # fmt: skip
        told += [words for one in drawn.panels for words in one.remarks]
        told += list(drawn.remarks)
        notes = self.window.notes
        self._see_what_was_put_away()
        self._away &= {*told, face().words}  # until it was mended in between
        self._noted = tuple(dict.fromkeys(told))
        notes.clear()
        notes.add(*(words for words in self._noted if words not in self._away))

    def _see_what_was_put_away(self) -> None:
        """It stays away."""
        assert self.window is not None
        self._away |= set(self._noted) - set(self.window.notes.texts)

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
        if words == NO_SHEET:
            self.window.view.show_start(self._session.finished)
        else:
            self.window.view.show_nothing(words)
        if self.sheet is not None and self.sheet.panels:
            self.window.view.canvas.set_grid(grid_by_sizes(self.sheet))
            self.window.view.canvas.choose(self._panel)
        self.window.view.say("")
        self.window.show_caption("", "")
        self._see_what_was_put_away()
        self.window.notes.clear()
        self._noted = ()

    def _tell_fault(self, refused: Refused) -> None:
        """A fault of ours is told once."""
        if refused.fault is not None and refused.place not in self._told:
            self._told.add(refused.place)
            self._session.faulted.emit(refused.fault)


def size_of(drawn: Any) -> tuple[float, float]:
    """Width and height of a drawn sheet in mm."""
    wide, high = drawn.figure.get_size_inches()
    return 25.4 * float(wide), 25.4 * float(high)
