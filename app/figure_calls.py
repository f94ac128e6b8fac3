"""What the window of figure sheets asks of core, and the requests that carry it to the worker."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, ClassVar

from ..core.errors import InputError, ReadError
from ..core.progress import Progress
from ..core.sheets import Sheet, read_recipes
from .clipboard import DPI, Picture, svg_of
from .law_calls import attempt
from .requests import Request, Tell

RESULT_MARK = b"\x89HDF"


@dataclass(frozen=True, eq=False)
class Seen:
    """A sheet as it was drawn, and what it was drawn from.

    Attributes
    ----------
    drawn : core's `Drawn`
    picture : uint8 (h, w, 4)
    findings : with their components, for the next sheet and for writing
    """

    drawn: Any
    picture: Any
    findings: Any


@dataclass(frozen=True, eq=False)
class DrawSheet(Request):
    """Draw a sheet and take its picture. Answers `Seen`, or `Refused`.

    Attributes
    ----------
    findings : core's `Findings`
    dpi : of the picture, in pixels per inch
    look : a name of `LOOKS` of the room `colours`
    """

    sheet: Sheet
    findings: Any
    dpi: float
    look: str = "colour"
    lane: ClassVar[str] = "figure"
    words: ClassVar[str] = "Drawing the sheet"
    first: ClassVar[bool] = True  # it is looked at now

    def run(self, progress: Progress, tell: Tell) -> Any:
        return attempt(self._made, progress, "this sheet")

    def _made(self, progress: Progress) -> Seen:
        from ..core.figures import draw_sheet, picture

        findings = for_sheet(self.findings, self.sheet, progress)
        drawn = draw_sheet(self.sheet, findings, progress)
        progress.check()
        seen = Seen(drawn, picture(drawn, self.dpi, self.look), findings)
        drop_canvas(drawn)
        return seen


@dataclass(frozen=True, eq=False)
class LookAtSheet(Request):
    """A picture of a sheet that is drawn already, at another size or look. Answers `Seen`, or
    `Refused`."""

    seen: Seen
    dpi: float
    look: str = "colour"
    lane: ClassVar[str] = "figure"
    words: ClassVar[str] = "Drawing the sheet"
    first: ClassVar[bool] = True

    def run(self, progress: Progress, tell: Tell) -> Any:
        return attempt(self._made, progress, "this sheet")

    def _made(self, progress: Progress) -> Seen:
        from ..core.figures import picture

        drawn = self.seen.drawn
        seen = Seen(drawn, picture(drawn, self.dpi, self.look), self.seen.findings)
        drop_canvas(drawn)
        return seen


@dataclass(frozen=True, eq=False)
class WriteSheet(Request):
    """Write a sheet, and the data beside it if a folder is given. Answers core's `Written` whose
    paths hold all files, or `Refused`.

    Attributes
    ----------
    seen : what was looked at, if it is this very sheet: then that is what is written
    """

    sheet: Sheet
    findings: Any
    path: Path
    folder: Path | None = None
    seen: Seen | None = None
    lane: ClassVar[str] = "write figure"
    words: ClassVar[str] = "Writing the figure"
    kept: ClassVar[bool] = True

    def run(self, progress: Progress, tell: Tell) -> Any:
        return attempt(self._made, progress, "this sheet")

    def _made(self, progress: Progress) -> Any:
        from ..core.figures import write_drawn

        drawn, findings = self._drawn(progress)
        progress.step(0, 2, f"Writing {self.path.name}")
        written = with_gaps(write_drawn(self.path, drawn), drawn)
        if self.folder is None:
            return written
        progress.step(1, 2, "Writing the numbers")
        return self._with_data(written, drawn, findings)

    def _with_data(self, written: Any, drawn: Any, findings: Any) -> Any:
        """The numbers beside the figure; if they can't be written, the figure is there all the
        same, and that is told."""
        from ..core.figures.data import write_data
        from ..core.figures.parts import WARNING, Check

        try:
            beside = tuple(write_data(self.folder, drawn, findings))
        except InputError as error:
            told = Check("numbers", WARNING, f"The numbers were not written: {error}")
            return replace(written, checks=(*written.checks, told))
        return replace(written, paths=(*written.paths, *beside))

    def _drawn(self, progress: Progress) -> tuple[Any, Any]:
        if self.seen is not None:
            return self.seen.drawn, self.seen.findings
        from ..core.figures import draw_sheet

        findings = for_sheet(self.findings, self.sheet, progress)
        return draw_sheet(self.sheet, findings, progress), findings


@dataclass(frozen=True, eq=False)
class CopySheet(Request):
    """A drawn sheet as pixels and as SVG, for the clipboard. Answers `Picture`, or `Refused`."""

    seen: Seen
    lane: ClassVar[str] = "copy"
    words: ClassVar[str] = "Drawing what is copied"

    def run(self, progress: Progress, tell: Tell) -> Any:
        return attempt(self._made, progress, "this sheet")

    def _made(self, progress: Progress) -> Picture:
        from ..core.figures import picture

        drawn = self.seen.drawn
        made = Picture(picture(drawn, DPI), svg_of(drawn), drawn.caption)
        drop_canvas(drawn)
        return made


@dataclass(frozen=True, eq=False)
class Begun:
    """A sheet to begin with, and the findings, now with components, that it was made from."""

    sheet: Sheet
    findings: Any


@dataclass(frozen=True, eq=False)
class BeginSheet(Request):
    """A sheet to begin with, made from what the analysis has. Answers `Begun`, or `Refused`."""

    findings: Any
    lane: ClassVar[str] = "first sheet"
    words: ClassVar[str] = "Choosing what fits on a sheet"
    first: ClassVar[bool] = True

    def run(self, progress: Progress, tell: Tell) -> Any:
        return attempt(self._made, progress, "this map")

    def _made(self, progress: Progress) -> Begun:
        from ..core.figures.first import first_sheet
        from ..core.findings import completed

        findings = completed(self.findings, progress)
        made = first_sheet(findings)
        progress.check()
        return Begun(made, findings)


@dataclass(frozen=True, eq=False)
class ReadRecipes(Request):
    """Recipes from a file of theirs or out of a result file. Answers a tuple of `Sheet`, or
    `Refused`."""

    path: Path
    lane: ClassVar[str] = "recipes"
    words: ClassVar[str] = "Reading the recipe"
    first: ClassVar[bool] = True

    def run(self, progress: Progress, tell: Tell) -> Any:
        return attempt(lambda _: recipes_of(self.path), progress, "this file")


def with_gaps(written: Any, drawn: Any) -> Any:
    """What was written, with a fault for each panel that could not be drawn in place of the
    remark that tells the same."""
    from ..core.figures.parts import WARNING, Check

    empty = [one for one in drawn.panels if one.problem]
    told = [Check("not drawn", WARNING, f"Panel {one.letter or one.panel.kind} could not be drawn: "
                  f"{one.problem}") for one in empty]  # fmt: skip
    rest = [check for check in written.checks
            if not any(check.what == "panel" and one.problem in check.words for one in empty)]
    return replace(written, checks=(*told, *rest))


def drop_canvas(drawn: Any) -> None:
    """Let go of the pixels that a figure was last drawn on; drawing it again makes new ones.

    Drawn sheets are kept for undo and for writing, and each would hold its picture twice: the
    canvas has it, and every text keeps what it was last drawn by.
    """
    from matplotlib.text import Text

    figure = drawn.figure
    type(figure.canvas)(figure)
    for text in figure.findobj(Text):
        text._renderer = None


def recipes_of(path: Path) -> tuple[Sheet, ...]:
    """Sheets in a file of recipes or in a result file. Raises ReadError."""
    if not is_hdf(path):
        return read_recipes(path)
    from ..core.workfile import load_analysis

    loaded = load_analysis(path)
    if "sheets" in loaded.unread:
        raise ReadError(path, loaded.unread["sheets"], "Choose another result.", "entry/sheets")
    sheets: tuple[Sheet, ...] = loaded.work.sheets
    if not sheets:
        raise ReadError(path, "holds no figure sheet", "Choose a result that was saved with one.")
    return sheets


def is_hdf(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            return file.read(4) == RESULT_MARK
    except OSError:
        return False  # the reader says why


def needs_components(sheet: Sheet) -> bool:
    """Whether a sheet shows anything that is made by component."""
    return any(_asks(panel.kind, panel.options) for panel in sheet.panels)


def _asks(kind: str, options: Any) -> bool:
    if kind == "components" or (kind == "table" and options.what == "components"):
        return True
    names = ("components", "boundaries", "component")
    return any(bool(getattr(options, name, False)) for name in names)


def for_sheet(findings: Any, sheet: Sheet, progress: Progress) -> Any:
    """The findings with what a sheet needs of them."""
    from ..core.findings import completed

    return completed(findings, progress) if needs_components(sheet) else findings
