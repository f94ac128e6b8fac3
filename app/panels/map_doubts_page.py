"""The page *Whole map* of the panel Doubts: what is wrong with all pixels at once."""

from __future__ import annotations

from PySide6.QtWidgets import QWidget

from .law_page import Page


class MapDoubtsPage(Page):
    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
