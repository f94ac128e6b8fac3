"""The form of a whole sheet: preset, size, font, resolution, caption."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from PySide6.QtCore import QEvent, Qt, Signal
from PySide6.QtGui import QFocusEvent, QKeySequence
from PySide6.QtWidgets import QLabel, QPlainTextEdit, QPushButton, QVBoxLayout, QWidget

from ...core.errors import SettingsError
from ...core.sheets import Sheet
from ...core.sheets.moving import even
from ..theme import SPACE, shrink, toned
from .fields import NumberField
from .sheet_row import OptionRow

OWN = "own"
PRESET = 236  # px
WIDTHS = {"single": "one column", "middle": "one and a half", "double": "two columns",
          OWN: "own width"}  # fmt: skip
NUMBERS = {"millimetres": ("Own width", "mm", 10.0, 1000.0, "Width of the whole sheet"),
           "height": ("Height", "mm", 10.0, 1000.0, "Of the whole sheet; empty: as the panels "
                      "need it"),
           "font_size": ("Font size", "pt", 2.0, 72.0, "Of labels; empty: that of the preset"),
           "dpi": ("Resolution", "dpi", 36, 2400, "Of pixels in PNG and TIFF, and of maps in PDF "
                   "and SVG; empty: that of the preset")}  # fmt: skip


def _meta(kind: str, label: str, text: str, **more: Any) -> dict[str, Any]:
    return dict(kind=kind, label=label, unit="", help=text, open_low=False) | more


class CaptionEdit(QPlainTextEdit):
    """Words for the caption. Signal edited(text) once they are finished, if they are others."""

    edited = Signal(str)

    def show_text(self, text: str) -> None:
        """Show words; what is being typed is left alone."""
        if not self.document().isModified() and self.toPlainText() != text:
            self.setPlainText(text)
            self.document().setModified(False)

    def finish(self) -> bool:
        """Take over what was typed, if anything was; False if it was refused, and stays."""
        if self.document().isModified():
            self.document().setModified(False)
            self.edited.emit(self.toPlainText())
        return not self.document().isModified()

    def refuse(self) -> None:
        """What was typed is not possible: it stays for the person to mend it."""
        self.document().setModified(True)

    def focusOutEvent(self, event: QFocusEvent) -> None:
        super().focusOutEvent(event)
        self.finish()

    def event(self, event: QEvent) -> bool:
        """Undo and redo are the window's, except in the middle of typing."""
        if event.type() == QEvent.Type.ShortcutOverride and not self.document().isModified():
            keys = QKeySequence.StandardKey
            if event.matches(keys.Undo) or event.matches(keys.Redo):
                event.ignore()
                return True
        return super().event(event)


class SheetForm(QWidget):
    """See the module. It is passive.

    Signals
    -------
    sheet_edited(sheet, words, merge) : the sheet as the person wants it; the act in words
    name_wanted(text) : the sheet shall be called so
    """

    sheet_edited = Signal(object, str, str)
    name_wanted = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.sheet: Sheet | None = None
        self.presets: Mapping[str, Any] = {}
        self._serial = 0
        self.rows: dict[str, OptionRow] = {}
        box = QVBoxLayout(self)
        box.setContentsMargins(SPACE, SPACE, SPACE, SPACE)
        box.setSpacing(SPACE // 2)
        self._box = box
        called = _meta("words", "Name", "What this sheet is called")
        self._add(OptionRow("name", called, parent=self))
        asked = "Widths, fonts and resolution that a publisher asks for"
        self._add(OptionRow("preset", _meta("choice", "Preset", asked, options={}), parent=self))
        self.rows["preset"].editor.setFixedWidth(PRESET)  # names of publishers are long
        self.about = toned(shrink(QLabel(self)), "muted")
        self.about.setWordWrap(True)
        self.about.setOpenExternalLinks(False)
        self.about.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        box.addWidget(self.about)
        self._add(OptionRow("width", _meta("choice", "Width", "By the preset, or of your own",
                                           options=WIDTHS), parent=self))  # fmt: skip
        for name, (label, unit, low, high, text) in NUMBERS.items():
            meta = _meta("number", label, text, unit=unit, low=low, high=high)
            self._add(OptionRow(name, meta, name == "dpi", name != "millimetres", self))
        self.even = QPushButton("Make rows and columns equal", self)
        self.even.setToolTip("Take back the relative sizes that were dragged")
        self.even.clicked.connect(self._make_even)
        box.addWidget(self.even)
        box.addWidget(QLabel("Caption begins with", self))
        self.caption = CaptionEdit(self)
        self.caption.setAccessibleName("Caption begins with")
        self.caption.setTabChangesFocus(True)
        self.caption.setFixedHeight(self.caption.fontMetrics().lineSpacing() * 4 + 12)
        self.caption.setPlaceholderText("Words of your own; what is drawn is told behind them")
        self.caption.edited.connect(self._use_caption)
        box.addWidget(self.caption)
        self.problem = toned(shrink(QLabel(self)), "strong")
        self.problem.setWordWrap(True)
        self.problem.hide()
        box.addWidget(self.problem)
        box.addStretch(1)

    def _add(self, row: OptionRow) -> None:
        self.rows[row.name] = row
        row.edited.connect(self._edited)
        row.refused.connect(self._refused)
        self._box.addWidget(row)

    # -- what is shown --------------------------------------------------------------------------

    def set_presets(self, presets: Mapping[str, Any]) -> None:
        """Presets by id, as core has them."""
        if self.presets == presets:
            return
        self.presets = dict(presets)
        combo = self.rows["preset"].editor
        combo.clear()
        for name, preset in presets.items():
            combo.addItem(preset.name, name)

    def show_sheet(self, sheet: Sheet | None, drawn_mm: tuple[float, float] | None = None) -> None:
        """A sheet, or none; `drawn_mm` its size as it was drawn."""
        self.sheet = sheet
        self.setEnabled(sheet is not None)
        if sheet is None:
            self.caption.show_text("")
            return
        own = not isinstance(sheet.width, str)
        preset = self.presets.get(sheet.preset)
        values = {"name": sheet.name, "preset": sheet.preset, "width": OWN if own else sheet.width,
                  "millimetres": sheet.width if own else None, "height": sheet.height or None,
                  "font_size": sheet.font_size or None, "dpi": sheet.dpi or None}  # fmt: skip
        for name, row in self.rows.items():
            row.show_value(values[name])
            row.show_problem("")
        self.rows["millimetres"].setVisible(own)
        if preset is None and self.presets:
            self.rows["preset"].show_problem(f"“{sheet.preset}” is not known here; choose another")
        self._show_preset(preset)
        self._show_usual(preset, drawn_mm)
        self.even.setEnabled(bool(sheet.widths or sheet.heights))
        self.caption.show_text(sheet.caption)

    def _show_preset(self, preset: Any) -> None:
        self.about.setVisible(preset is not None)
        if preset is not None:
            limit = f" Height: at most {preset.max_height:g} mm." if preset.max_height else ""
            note = f" {preset.note}" if preset.note else ""
            self.about.setText(f"{preset.source.rstrip('.')}.{limit}{note}")
        widths = self.rows["width"].editor
        for index in range(widths.count()):
            name = widths.itemData(index)
            words = WIDTHS[name]
            if preset is not None and name != OWN:
                words += f", {preset.width(Sheet(width=name)):g} mm"
            widths.setItemText(index, words)

    def _show_usual(self, preset: Any, drawn_mm: tuple[float, float] | None) -> None:
        """What an empty field means."""
        usual = {}
        if preset is not None:
            usual = {"font_size": f"{preset.text:g} of the preset",
                     "dpi": f"{preset.dpi} of the preset"}  # fmt: skip
        if drawn_mm is not None:
            usual["height"] = f"{drawn_mm[1]:.0f} as needed"
        for name in ("height", "font_size", "dpi"):
            self.rows[name].editor.lineEdit().setPlaceholderText(usual.get(name, "of the preset"))

    def forget_typing(self) -> None:
        """What is being typed was meant for a sheet that is not in front any more."""
        self.caption.document().setModified(False)
        self.problem.hide()
        for row in self.rows.values():
            row.forget_typing()

    # -- what the person does -------------------------------------------------------------------

    def _edited(self, name: str, value: Any, stepped: bool) -> None:
        sheet = self.sheet
        if sheet is None:
            return
        if name == "name":
            self.name_wanted.emit(str(value))
            return
        if name == "width" and value == OWN:
            preset = self.presets.get(sheet.preset)
            value = float(preset.width(sheet)) if preset is not None else 100.0
        field = "width" if name == "millimetres" else name
        if value is None:
            value = 0
        if name == "dpi" and value == int(value):
            value = int(value)
        self._try(name, {field: value}, self.rows[name].meta["label"].lower(), stepped)

    def _try(self, name: str, change: dict[str, Any], words: str, stepped: bool = False) -> None:
        assert self.sheet is not None
        try:
            made = replace(self.sheet, **change)
        except SettingsError as error:
            self._refused(name, error.what)
            return
        self._serial += not stepped
        merge = f"sheet {name} {self._serial}" if stepped else ""
        self.sheet_edited.emit(made, f"{words} of the sheet", merge)

    def _refused(self, name: str, words: str) -> None:
        self.show_sheet(self.sheet)
        row = self.rows[name]
        if isinstance(row.editor, NumberField):
            row.editor.restore()
        row.show_problem(words)

    def refuse_name(self, words: str) -> None:
        """Say why a sheet can't be called so."""
        self._refused("name", words)

    def _make_even(self) -> None:
        if self.sheet is not None:
            self.sheet_edited.emit(even(self.sheet), "even rows and columns", "")

    def _use_caption(self, text: str) -> None:
        self.problem.hide()
        if self.sheet is None or text == self.sheet.caption:
            return
        try:
            made = replace(self.sheet, caption=text)
        except SettingsError as error:
            self.caption.refuse()
            self.problem.setText(f"The caption {error.what.rstrip('.')}. It has {len(text)} and is "
                                 "not taken over yet.")  # fmt: skip
            self.problem.show()
            return
        self._serial += 1
        self.sheet_edited.emit(made, "caption of the sheet", "")
