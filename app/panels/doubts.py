"""The panel *Doubts*: which pixels not to believe, and what was decided about them.

Three pages: what is to be decided, what was decided and what that does to the numbers, and doubts
about the whole map. The panel is passive: it shows what it is given and tells what the person did.
"""

from __future__ import annotations

from PySide6.QtWidgets import QWidget

from .decide_page import DecidePage
from .decided_page import DecidedPage
from .map_doubts_page import MapDoubtsPage
from .paged import PagedPanel

PAGES = {"decide": "To decide", "decided": "Decided", "map": "Whole map"}
"""Page -> the word on its tab."""


class DoubtsPanel(PagedPanel):
    """See the module; the signals of the pages are theirs."""

    def __init__(self, parent: QWidget | None = None) -> None:
        self.decide, self.decided, self.whole = DecidePage(), DecidedPage(), MapDoubtsPage()
        pages = (self.decide, self.decided, self.whole)
        super().__init__(dict(zip(PAGES, pages, strict=True)), PAGES, parent)

    def show_counts(self, decided: int, whole: int) -> None:
        """How many decisions and doubts about the whole map there are, on the tabs."""
        for at, count in ((1, decided), (2, whole)):
            words = list(PAGES.values())[at]
            self.tabs.setTabText(at, f"{words} ({count})" if count else words)
