"""What the person does with figure sheets: each act is one entry of the session's history.

A part of the desk, kept apart for its length.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from ..core.errors import SettingsError
from ..core.sheets import Panel, Sheet, moving
from ..core.sheets.sheet import MOST
from .figure_calls import BeginSheet

if TYPE_CHECKING:
    from .session import Session
    from .views.sheet_window import SheetWindow

TOO_MANY = f"There are {MOST} sheets already, which is the most that one analysis keeps."
FIRST = "Figure 1"
UPSIDE_DOWN = "From must be below To"


class FigureActs:
    """See the module; `FigureDesk` is made of it."""

    if TYPE_CHECKING:
        _session: Session
        _main: Any
        _index: int
        _name: str
        _panel: int | None
        window: SheetWindow | None
        sheet: Sheet | None
        sheets: tuple[Sheet, ...]
        panel: Panel | None
        choose_panel: Callable[..., None]
        show_sheets: Callable[..., None]
        findings: Callable[[], Any]
        ask_write: Callable[[bool], None]
        copy_picture: Callable[[], None]

    def _listen_to_acts(self, window: SheetWindow) -> None:
        canvas, form = window.view.canvas, window.panel_form
        canvas.moved.connect(lambda at, row, col: self._move(at, moving.moved, row, col))
        canvas.stepped.connect(lambda at, dr, dc: self._move(at, moving.stepped, dr, dc))
        canvas.spanned.connect(self._span)
        canvas.span_stepped.connect(self._step_span)
        canvas.line_moved.connect(self._move_line)
        canvas.removed.connect(self.remove_panel)
        canvas.opened.connect(lambda _: self._open_form())
        form.options_edited.connect(self._use_options)
        form.letter_wanted.connect(self._use_letter)
        form.removal_wanted.connect(lambda: self.remove_panel(self._panel))
        window.sheet_form.sheet_edited.connect(self._use)
        window.sheet_form.name_wanted.connect(self.rename)
        window.panel_wanted.connect(self.add_offered)
        window.new_wanted.connect(self.begin)
        window.view.start.wanted.connect(self.begin)
        window.menu_chosen.connect(lambda name: getattr(self, f"_menu_{name}")())
        window.write_wanted.connect(self.ask_write)
        window.view.canvas.copy_wanted.connect(self.copy_picture)
        window.copy_picture.clicked.connect(self.copy_picture)

    # -- one sheet ------------------------------------------------------------------------------

    def _use(self, sheet: Sheet, words: str, merge: str = "") -> bool:
        """Have the sheet in front otherwise."""
        at, sheets = self._index, self.sheets
        self._name = sheet.name
        made = (*sheets[:at], sheet, *sheets[at + 1 :])
        return self._session.use_sheets(made, words, merge and f"{merge} {at}")

    def _try(self, make: Callable[[], Sheet], words: str, merge: str = "") -> bool:
        """Have the sheet in front otherwise, if that is possible; else say why not."""
        try:
            made = make()
        except SettingsError as error:
            self._say(error.what)
            return False
        return self._use(made, words, merge)

    def _say(self, words: str) -> None:
        said = f"{words[:1].upper()}{words[1:]}"
        if self.window is not None and self.window.isVisible():
            self.window.say(said)
        else:
            self._main.say(said)

    def _move(self, at: int, act: Callable[..., Sheet], *where: int) -> None:
        sheet = self.sheet
        if sheet is None or at >= len(sheet.panels):
            return
        if self._try(lambda: act(sheet, at, *where), "place of a panel"):
            self.choose_panel(at)

    def _span(self, at: int, rows: int, cols: int) -> None:
        sheet = self.sheet
        if sheet is None or at >= len(sheet.panels):
            return
        if self._try(lambda: moving.spanned(sheet, at, rows, cols), "size of a panel"):
            self.choose_panel(at)

    def _step_span(self, at: int, drows: int, dcols: int) -> None:
        if self.sheet is not None and at < len(self.sheet.panels):
            panel = self.sheet.panels[at]
            self._span(at, panel.rows + drows, panel.cols + dcols)

    def _move_line(self, columns: bool, line: int, share: float) -> None:
        sheet = self.sheet
        if sheet is not None:
            self._try(lambda: moving.line_moved(sheet, columns, line, share),
                      "widths of columns" if columns else "heights of rows")  # fmt: skip

    def remove_panel(self, at: int | None) -> None:
        sheet = self.sheet
        if sheet is None or at is None or at >= len(sheet.panels):
            return
        self._panel = None
        self._use(moving.removed(sheet, at), "panel taken away")
        if self.window is not None:
            self.choose_panel(None)

    def _use_options(self, options: Any, words: str, merge: str) -> None:
        from .figure_offers import upside_down, with_limits

        panel, sheet = self.panel, self.sheet
        if panel is None or sheet is None or self._panel is None:
            return
        analysis = self._session.analysis if self._session.finished else None
        options = with_limits(panel.options, options, analysis)
        named = upside_down(panel.options, options)
        if named and self.window is not None:
            self.window.panel_form.refuse(named, UPSIDE_DOWN)
            return
        made = sheet.with_panel(self._panel, replace(panel, options=options))
        self._use(made, f"{words} of a panel", merge and f"{merge} {self._panel}")

    def _use_letter(self, on: bool) -> None:
        if self.panel is not None and self.sheet is not None and self._panel is not None:
            made = self.sheet.with_panel(self._panel, replace(self.panel, lettered=on))
            self._use(made, "letter of a panel")

    def _open_form(self) -> None:
        if self.window is not None:
            self.window.show_page(0)
            rows = self.window.panel_form.rows
            first = next(iter(rows.values()), None)
            if first is not None:
                first.editor.setFocus()

    # -- adding ---------------------------------------------------------------------------------

    def add_offered(self, name: str) -> bool:
        """Add a panel of what is looked at."""
        from .figure_offers import offered

        if self._session.map is None:
            return False
        panel, words = offered(name, self._session)
        if panel is None:
            self._say(words)
            return False
        return self.add(panel, f"{words} on a sheet")

    def add(self, panel: Panel, words: str) -> bool:
        """Add a panel to the sheet in front; the first one begins a sheet."""
        sheet = self.sheet or Sheet(FIRST)
        if getattr(panel.options, "what", "") == "components":  # it is wide
            panel = replace(panel, cols=max(2, sheet.grid[1]))
        try:
            made, number = moving.inserted(sheet, panel)
        except SettingsError as error:
            self._say(error.what)
            return False
        self._panel = number
        self._use(made, words)
        if self.window is not None:
            self.choose_panel(number)
        return True

    def put_map(self) -> None:
        """From the main window: the channel shown, on the sheet in front."""
        derived = self._main.make_workspace().derived
        self._put("map", "The map of the channel shown" if derived is None else
                  "What is shown is no channel, so the map of the channel under it")  # fmt: skip

    def put_page(self) -> None:
        """From the main window: the page beside the map, on the sheet in front."""
        from .figure_offers import page_panel

        if self._session.map is None:
            return
        panel, words = page_panel(self._main.make_workspace(), self._session)
        if panel is None:
            self._main.say(words)
        elif self.add(panel, f"{words} on a sheet"):
            self._tell_put(f"The {words}")

    def _put(self, name: str, what: str) -> None:
        if self.add_offered(name):
            self._tell_put(what)

    def _tell_put(self, what: str) -> None:
        if self.sheet is not None:
            self._main.say(f"{what} is on the sheet “{self.sheet.name}” (F11 shows it).")

    # -- sheets ---------------------------------------------------------------------------------

    def _use_all(self, sheets: tuple[Sheet, ...], words: str, front: int) -> None:
        """Have other sheets, with this one in front."""
        if len(sheets) > MOST:
            self._say(TOO_MANY)
            return
        self._index, self._panel = front, None
        self._name = sheets[front].name if front < len(sheets) else ""
        if self.window is not None:
            self.window.sheet_form.forget_typing()
        self._session.use_sheets(sheets, words)

    def _append(self, sheets: tuple[Sheet, ...], words: str) -> None:
        """More sheets behind those that are there, each with a name of its own."""
        if self.window is not None:
            self.window.sheet_form.caption.finish()  # it is of the sheet in front
        names = [sheet.name for sheet in self.sheets]
        made = []
        for sheet in sheets:
            names.append(moving.fresh_name(names, sheet.name))
            made.append(replace(sheet, name=names[-1]))
        if made:
            self._use_all((*self.sheets, *made), words, len(self.sheets))

    def begin(self, empty: bool = False) -> None:
        """A new sheet: an empty one, or from what was found."""
        if self._session.map is None:
            return
        if empty:
            self._append((Sheet(FIRST),), "new sheet")
        elif not self._session.finished:
            self._say("A sheet can be made from what was found when the map has been analysed.")
        else:
            self._session.submit(BeginSheet(self.findings()))

    def rename(self, name: str) -> None:
        """Call the sheet in front otherwise; names must differ."""
        sheet = self.sheet
        if sheet is None or name == sheet.name or self.window is None:
            return
        try:
            if any(other.name == name for other in self.sheets):
                raise SettingsError("name", f"Another sheet is called “{name}”; choose another.")
            made = replace(sheet, name=name)
        except SettingsError as error:
            self.window.sheet_form.refuse_name(error.what)
            return
        self._use(made, "name of a sheet")

    def _menu_rename(self) -> None:
        if self.window is not None and self.sheet is not None:
            self.window.show_page(1)
            field = self.window.sheet_form.rows["name"].editor
            field.setFocus()
            field.selectAll()

    def _menu_copy(self) -> None:
        if self.sheet is not None:
            self._append((self.sheet,), "copy of a sheet")

    def _menu_remove(self) -> None:
        at, sheets = self._index, self.sheets
        if self.sheet is not None:
            self._use_all((*sheets[:at], *sheets[at + 1 :]), "sheet taken away", max(at - 1, 0))
