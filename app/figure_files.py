"""What the person does with files of figure sheets: recipes, figures, the clipboard; and what comes
back from the worker.

A part of the desk, kept apart for its length.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..core.errors import Cancelled, InputError
from ..core.sheets import Sheet, write_recipes
from .clipboard import Copied, image_of, put
from .dialogs import errors, files
from .figure_calls import BeginSheet, CopySheet, ReadRecipes, WriteSheet
from .law_calls import Refused
from .recompute import Answer
from .saving import stem_of

if TYPE_CHECKING:
    from .session import Session
    from .views.sheet_window import SheetWindow

RECIPES = "Recipe of a figure sheet (*.json)"
TO_READ = "Recipes and results (*.json *.h5 *.hdf5 *.nxs);;All files (*)"
KINDS = {"pdf": "PDF (*.pdf)", "svg": "SVG (*.svg)", "png": "PNG (*.png)", "tif": "TIFF (*.tif)"}
NOT_YET = "A figure can be written when the map has been analysed."
ACTS = (BeginSheet, CopySheet, ReadRecipes, WriteSheet)


class FigureFiles:
    """See the module; `FigureDesk` is made of it."""

    if TYPE_CHECKING:
        _session: Session
        window: SheetWindow | None
        sheet: Sheet | None
        findings: Callable[[], Any]
        fresh_seen: Callable[[], Any]
        keep_findings: Callable[[Any], None]
        _append: Callable[[tuple[Sheet, ...], str], None]
        _say: Callable[[str], None]
        _tell_fault: Callable[[Refused], None]

    # -- recipes --------------------------------------------------------------------------------

    def _menu_load(self) -> None:
        fmap = self._session.map
        path = files.ask_open(self.window, "Load a recipe", TO_READ)
        if path is not None and self._still(fmap):
            self.load(path)

    def _still(self, fmap: Any) -> bool:
        """Whether the map is the one for which a file was asked; another may have come since."""
        if self._session.map is not fmap:
            self._say("Another map was opened meanwhile, so nothing was done.")
        return self._session.map is fmap

    def load(self, path: Path) -> None:
        """Have the sheets of a file of recipes, or of a result file, behind the present ones."""
        self._session.submit(ReadRecipes(path))

    def _menu_save(self) -> None:
        sheet = self.sheet
        if sheet is None or self.window is None:
            return
        name = f"{plain_name(sheet.name)}.json"
        path = files.ask_save(self.window, "Save the recipe", name, RECIPES)
        if path is None:
            return
        try:
            write_recipes(path, [sheet])
        except InputError as error:
            errors.show_error(self.window, str(error))
        else:
            self._say(f"Saved {path.name} in {path.parent}.")

    # -- writing --------------------------------------------------------------------------------

    def ask_write(self, with_data: bool) -> None:
        """Ask for a file and write the sheet in front, with its data beside it if wanted."""
        sheet, window = self.sheet, self.window
        if sheet is None or window is None:
            return
        if not window.sheet_form.caption.finish():
            window.show_page(1)
            self._say("The caption is too long; shorten it before writing the figure.")
            return
        sheet, fmap = self.sheet, self._session.map
        if not sheet.panels:
            self._say("This sheet is empty; add a panel before writing it.")
            return
        if not self._session.finished:
            self._say(NOT_YET)
            return
        if not self._good_enough():
            return
        name = f"{stem_of(self._session.map)}_{plain_name(sheet.name)}"
        kinds = kinds_for(sheet)
        path = files.ask_save(window, "Write the figure", name + ending_of(kinds), kinds)
        if path is not None and self._still(fmap):
            self.write(path, with_data)

    def _good_enough(self) -> bool:
        """Whether all panels could be drawn, as far as is known, or the person wants it so."""
        seen = self.fresh_seen()
        panels = seen.drawn.panels if seen is not None else ()
        told = [f"Panel {one.letter or one.panel.kind} can't be drawn: {one.problem}"
                for one in panels if one.problem]  # fmt: skip
        if not told or self.window is None:
            return True
        words = "\n\n".join([*told, "In the file a frame with these words stands in its place."])
        return errors.confirm(self.window, words, "Write it all the same")

    def write(self, path: Path, with_data: bool = False) -> None:
        """Write the sheet in front; an existing folder for the data is asked about."""
        folder = path.with_name(f"{path.stem}_data") if with_data else None
        if folder is not None and folder.exists() and self.window is not None:
            words = (f"{folder.name} is already in {folder.parent}.\n\nThe numbers of an earlier "
                     "figure in it are replaced as a whole.")  # fmt: skip
            if not errors.confirm(self.window, words, "Replace"):
                return
        if self.sheet is not None:
            seen = self.fresh_seen()
            self._session.submit(WriteSheet(self.sheet, self.findings(), path, folder, seen))

    def copy_picture(self) -> None:
        """Put the sheet on the clipboard, as a picture, as SVG, and its caption as text."""
        seen = self.fresh_seen()
        if seen is None:
            self._say("The sheet can be copied when it has been drawn.")
        else:
            self._session.submit(CopySheet(seen))

    # -- answers --------------------------------------------------------------------------------

    def _take_act(self, answer: Answer) -> None:
        request, value = answer.request, answer.value
        if not isinstance(request, ACTS) or not answer.final:
            return
        if isinstance(answer.error, Cancelled):
            self._say("Stopped; what was not finished is not there.")
        elif isinstance(value, Refused):
            self._refuse(value)
        elif answer.error is None and self._session.map is not None:
            if isinstance(request, BeginSheet):
                self.keep_findings(value.findings)
                self._append((value.sheet,), "new sheet")
            elif isinstance(request, ReadRecipes):
                self._append(value, f"sheets from {request.path.name}")
            elif isinstance(request, CopySheet):
                image = image_of(value.rgba)
                put(Copied("the sheet", text=value.caption, image=image, svg=value.svg))
                self._say("Copied the sheet as a picture, and its caption as text.")
            else:
                self._show_written(value)

    def _refuse(self, refused: Refused) -> None:
        if refused.fault is not None:
            self._tell_fault(refused)
        elif self.window is not None:
            errors.show_error(self.window, refused.words)

    def _show_written(self, written: Any) -> None:
        if self.window is None:
            return
        self.window.written.show_written(written)
        self.window.show_page(2)
        count = len(written.warnings)
        warned = f" {count} warning{'s' if count > 1 else ''}: see Written." if count else ""
        self._say(f"Wrote {written.paths[0].name} in {written.paths[0].parent}.{warned}")


def plain_name(name: str) -> str:
    """A name as a part of the name of a file."""
    return re.sub(r"[^\w.-]+", "_", name.strip().lower()).strip("._") or "figure"


def kinds_for(sheet: Sheet) -> str:
    """Kinds of files for the dialog; those that the preset prefers first."""
    from ..core.figures import PRESETS

    preset = PRESETS.get(sheet.preset)
    wanted = [name for name in (preset.formats if preset is not None else ()) if name in KINDS]
    return ";;".join(KINDS[name] for name in dict.fromkeys([*wanted, *KINDS]))


def ending_of(kinds: str) -> str:
    """The ending of the first kind."""
    found = re.search(r"\*(\.\w+)", kinds)
    return found.group(1) if found else ".pdf"
