"""What goes to the clipboard, in several forms at once: pictures, numbers with tabs, tables."""

from __future__ import annotations

import secrets
from dataclasses import dataclass, field
from typing import Any, ClassVar

import numpy as np
from PySide6.QtCore import QBuffer, QByteArray, QIODevice, QMimeData, QRect, Qt
from PySide6.QtGui import QImage
from PySide6.QtWidgets import QAbstractItemView, QApplication, QWidget

from ..core.errors import InputError
from ..core.progress import Progress
from .requests import Request, Tell

Rows = list[list[Any]]
PNG, SVG, OWN = "image/png", "image/svg+xml", "application/x-palpate-copy"
MOST_CELLS = 20_000
"""Cells of a table in HTML; a larger one is text with tabs alone."""
DPI, WIDTH = 300, 90.0
"""Of a drawn picture [per inch, mm]."""


@dataclass(frozen=True, eq=False)
class Copied:
    """What was copied.

    Attributes
    ----------
    words : what it is, for the status bar
    text : plain text; rows : a table, which gives text with tabs, and HTML if `formatted`
    image : a picture; svg : the same as SVG
    mark : tells it from what is copied later
    """

    words: str
    text: str = ""
    rows: Rows | None = None
    image: QImage | None = None
    svg: bytes = b""
    formatted: bool = False
    mark: bytes = field(default_factory=lambda: secrets.token_bytes(8))


def mime_of(copied: Copied) -> QMimeData:
    """All forms at once: a program takes the one that it knows best."""
    from ..core.exporting.texts import html_table, tsv

    data, text = QMimeData(), copied.text
    data.setData(OWN, QByteArray(copied.mark))
    if copied.rows is not None:
        text = tsv(copied.rows)
        small = sum(len(row) for row in copied.rows) <= MOST_CELLS
        if copied.formatted and small:
            data.setHtml(html_table(copied.rows))
    if text:
        data.setText(text)
    if copied.image is not None:
        data.setImageData(copied.image)
        data.setData(PNG, QByteArray(png_of(copied.image)))
    if copied.svg:
        data.setData(SVG, QByteArray(copied.svg))
    return data


def png_of(image: QImage) -> bytes:
    buffer = QBuffer()
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    image.save(buffer, "PNG")
    return bytes(buffer.data().data())


def put(copied: Copied) -> None:
    QApplication.clipboard().setMimeData(mime_of(copied))


def still_there(copied: Copied) -> bool:
    """Whether nothing else was copied since, here or anywhere."""
    data = QApplication.clipboard().mimeData()
    return data is not None and bytes(data.data(OWN).data()) == copied.mark


def grabbed(widget: QWidget, area: QRect | None = None) -> QImage:
    """A widget as it is seen, in all pixels of the screen."""
    image = widget.grab(area if area is not None else widget.rect()).toImage()
    image.setDevicePixelRatio(1.0)  # else a program shrinks it to the logical size
    return image


def image_of(rgba: np.ndarray, dpi: int = DPI) -> QImage:
    """A picture from uint8 (h, w, 4), with its resolution."""
    rgba = np.ascontiguousarray(rgba)
    high, wide = rgba.shape[:2]
    image = QImage(rgba.data, wide, high, 4 * wide, QImage.Format.Format_RGBA8888).copy()
    for give in (image.setDotsPerMeterX, image.setDotsPerMeterY):
        give(round(dpi / 0.0254))
    return image


def rows_of(view: QAbstractItemView) -> Rows:
    """What a table shows, with its head: the chosen rows if there are several, else all."""
    model, chosen = view.model(), view.selectionModel()
    picked = sorted({index.row() for index in chosen.selectedIndexes()}) if chosen else []
    rows = picked if len(picked) > 1 else list(range(model.rowCount()))
    hidden = getattr(view, "isColumnHidden", lambda _: False)
    columns = [c for c in range(model.columnCount()) if not hidden(c)]
    head = [_text(model.headerData(c, Qt.Orientation.Horizontal)) for c in columns]
    body = [[_text(model.index(r, c).data()) for c in columns] for r in rows]
    return [head, *(row for row in body if any(row))] if any(head) else body


def _text(value: Any) -> str:
    return "" if value is None else str(value)


@dataclass(frozen=True, eq=False)
class DrawToCopy(Request):
    """Draw one panel as for a paper. Answers `Picture`, or None where it can't be drawn.

    `sheet` and `findings` are core's.
    """

    sheet: Any
    findings: Any
    lane: ClassVar[str] = "copy"
    words: ClassVar[str] = "Drawing what is copied"

    def run(self, progress: Progress, tell: Tell) -> Picture | None:
        try:
            from ..core.figures import draw_sheet, picture
        except ImportError:
            return None
        try:
            drawn = draw_sheet(self.sheet, self.findings, progress)
            if any(panel.problem for panel in drawn.panels):
                return None
            return Picture(picture(drawn, DPI), svg_of(drawn), drawn.caption)
        except InputError:
            return None


@dataclass(frozen=True, eq=False)
class Picture:
    """A drawn panel: uint8 (h, w, 4), the same as SVG, and its caption."""

    rgba: np.ndarray
    svg: bytes
    caption: str


def svg_of(drawn: Any) -> bytes:
    """The drawn sheet as SVG with real text."""
    import tempfile
    from pathlib import Path

    from ..core.figures import write_drawn

    with tempfile.TemporaryDirectory(prefix="palpate-") as folder:
        path = Path(folder) / "copied.svg"
        write_drawn(path, drawn)
        return path.read_bytes()


def sheet_of(kind: str, **options: Any) -> Any:
    """A sheet of one panel without a letter."""
    from ..core.sheets import KINDS, Panel, Sheet

    panel = Panel(kind, options=KINDS[kind][1](**options), lettered=False)
    return Sheet("copied", width=WIDTH, dpi=DPI, panels=(panel,))

