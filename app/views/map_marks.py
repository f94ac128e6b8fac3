"""The marks on a map's pixels: doubts, and what was decided. Each has a shape of its own, light
with a dark rim, so that it shows on any colour and needs none."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QObject
from PySide6.QtGui import QTransform

from ...core.decisions import CORRECTED, KEPT, LEFT_OUT
from ..theme import Theme
from .map_items import Marks, mark_item, mark_style

Array = np.ndarray


@dataclass(frozen=True)
class Sign:
    """One kind of mark: `symbol` as pyqtgraph names it, `size` relative to that of a severe doubt;
    `words` for the key."""

    symbol: str
    size: float
    words: str


SIGNS = {
    "severe": Sign("x", 1.0, "severe doubt"),
    "mild": Sign("t1", 0.75, "mild"),
    "kept": Sign("o", 1.0, "kept"),
    "left out": Sign("s", 1.0, "left out"),
    "corrected": Sign("d", 1.15, "corrected"),
}
DECISIONS = {KEPT: "kept", LEFT_OUT: "left out", CORRECTED: "corrected"}


class PixelMarks(QObject):
    """All marks of one map view.

    A pixel that was decided about shows that and not its doubt; mild doubts are shown only when
    asked for, since a map may be full of them.
    """

    def __init__(self, box: pg.ViewBox, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.items: dict[str, Marks] = {}
        for name, sign in SIGNS.items():
            item = mark_item()
            item.setSymbol(sign.symbol)
            self.items[name] = item
            box.addItem(item, ignoreBounds=True)
        self._severe: Array | None = None
        self._doubted: Array | None = None
        self._kinds: Array | None = None
        self._grid, self._size = QTransform(), 9.0
        self._mild, self._on = False, True
        self.counts: dict[str, int] = {}

    def show_doubts(self, severe: Array | None, grid: QTransform) -> None:
        """Mark the pixels with a severe doubt, bool (rows, cols); None if not known. `grid` turns
        columns and rows into places of the view."""
        self._severe, self._grid = severe, grid
        self._draw()

    def set_review(self, kinds: Array | None, doubted: Array | None, mild: bool) -> None:
        """What was decided; it is drawn with the next `show_doubts`.

        Parameters
        ----------
        kinds : uint8 (rows, cols), the decision at each pixel; None for none
        doubted : bool (rows, cols), pixels with any doubt; None if not known
        mild : whether mild doubts are marked, too
        """
        self._kinds, self._doubted, self._mild = kinds, doubted, mild

    def set_visible(self, on: bool) -> None:
        self._on = on
        for item in self.items.values():
            item.setVisible(on)

    def set_size(self, size: float) -> None:
        """Size of a severe doubt's mark on the screen [px]."""
        self._size = size
        for name, item in self.items.items():
            item.setSize(size * SIGNS[name].size)

    def set_theme(self, theme: Theme) -> None:
        pen, brush = mark_style(theme)
        for item in self.items.values():
            item.setPen(pen)
            item.setBrush(brush)

    def masks(self) -> dict[str, Array]:
        """Kind of mark -> the pixels that have it, bool (rows, cols)."""
        severe = self._severe
        if severe is None:
            return {}
        kinds = self._kinds if self._kinds is not None and self._kinds.shape == severe.shape else (
            np.zeros(severe.shape, np.uint8))  # fmt: skip
        open_ = kinds == 0
        found = {"severe": severe & open_}
        if self._mild and self._doubted is not None and self._doubted.shape == severe.shape:
            found["mild"] = self._doubted & ~severe & open_
        return found | {name: kinds == kind for kind, name in DECISIONS.items()}

    def _draw(self) -> None:
        masks = self.masks()
        self.counts = {name: int(np.count_nonzero(mask)) for name, mask in masks.items()}
        m = self._grid
        for name, item in self.items.items():
            rows, cols = np.nonzero(masks[name]) if name in masks else ((), ())
            x = (np.asarray(cols, float) + 0.5) * m.m11() + m.dx()
            y = (np.asarray(rows, float) + 0.5) * m.m22() + m.dy()
            if len(x) or len(item.data):
                item.setData(x, y)
