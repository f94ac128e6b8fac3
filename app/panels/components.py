"""The panel *Components*: how they are made, their table, their shape, and the surface.

It is passive: it shows what it is given and tells what the person did.
"""

from __future__ import annotations

from PySide6.QtWidgets import QWidget

from ..views.component_look import swatch
from .find_page import FindPage
from .paged import PagedPanel
from .shape_page import ShapePage
from .surface_page import SurfacePage
from .table_page import TablePage

PAGES = {"find": "Find", "table": "Table", "shape": "Shape", "surface": "Surface"}
"""Page -> the word on its tab."""


class ComponentsPanel(PagedPanel):
    """See the module; the signals of the pages are theirs."""

    def __init__(self, parent: QWidget | None = None) -> None:
        self.find, self.table, self.shape = FindPage(swatch), TablePage(), ShapePage()
        self.surface = SurfacePage(swatch)  # has a desk of its own
        pages = (self.find, self.table, self.shape, self.surface)
        super().__init__(dict(zip(PAGES, pages, strict=True)), PAGES, parent)

    def show_reason(self, words: str) -> None:
        """Why there are no components."""
        for page in (self.find, self.table, self.shape):
            page.show_reason(words)

    def show_waiting(self) -> None:
        """What is shown is being renewed. The form can be used meanwhile."""
        for page in (self.table, self.shape):
            page.show_waiting()
