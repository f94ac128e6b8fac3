"""One row of a form: changed mark, label, editor, unit and reset, and a line for a refusal."""

from __future__ import annotations

from dataclasses import Field, replace
from typing import Any

from PySide6.QtCore import QEvent, QObject, QSize, Qt, Signal
from PySide6.QtGui import QPixmap
from PySide6.QtWidgets import QGridLayout, QLabel, QToolButton, QWidget

from ...core.settings import declaration, range_text, split
from .. import theme as look
from ..theme import Theme
from .fields import ChoiceField, NumberField, shown

EDITOR, UNIT, SIDE, HEIGHT = 116, 54, 22, 24


def words_of(path: str) -> str:
    """What undo calls a change of this setting: "tip radius", "fit window", "baseline shape"."""
    section, _ = split(path)
    label = declaration(path).metadata["label"].split(" (")[0].lower()
    if label in ("from", "to"):
        return f"{section} window"
    plain = label in ("shape", "branch", "read off", "adhesion", "residual", "noise", "spike")
    return f"{section} {label}" if plain and label != section else label


def help_of(path: str) -> str:
    """Help, range and source of a setting as rich text."""
    spec = declaration(path)
    meta = spec.metadata
    lines = [f"<b>{meta['label']}</b>. {meta['help']}"]
    if meta["kind"] == "number":
        lines.append(f"Range: {range_text(spec)}. {default_text(spec)}")
    else:
        lines.append(default_text(spec))
    lines.append(f"Source: {meta['source']}.")
    return " ".join(lines)


def default_text(spec: Field[Any]) -> str:
    """The default of a setting as a sentence."""
    if spec.default is None and "Empty:" in spec.metadata["help"]:
        return "Default: empty."
    if spec.default is None:
        return "Default: as recorded in the map."
    options = spec.metadata.get("options")
    value = options[spec.default] if options else shown(spec.default)
    return f"Default: {value} {spec.metadata['unit']}".strip() + "."


class Row(QWidget):
    """The row of one setting.

    Signals
    -------
    edited(path, value, stepped), reset(path) : by the person only
    refused(path, words) : what was typed is no number
    pointed(path) : the person looks at this row (focus, or the pointer over it)
    """

    edited = Signal(str, object, bool)
    reset = Signal(str)
    refused = Signal(str, str)
    pointed = Signal(str)

    def __init__(self, path: str, spec: Field[Any], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.path, self.spec = path, spec
        meta = spec.metadata
        whole = isinstance(spec.default, int)
        if meta["kind"] == "choice":
            self.editor: Any = ChoiceField(meta, self)
        else:
            self.editor = NumberField(meta, spec.default is None, whole, self)
            self.editor.refused.connect(lambda words: self.refused.emit(path, words))
        self.editor.edited.connect(lambda value, step: self.edited.emit(path, value, step))
        self._build(meta)
        text = help_of(path)
        for widget in (self, self.label, self.editor, self.unit):
            widget.setToolTip(text)
            widget.setWhatsThis(text)
        watched = [self.editor, getattr(self.editor, "lineEdit", lambda: None)()]
        for widget in filter(None, watched):
            widget.installEventFilter(self)

    def _build(self, meta: Any) -> None:
        self.mark, self.label = QLabel(self), QLabel(meta["label"], self)
        self.unit, self.problem = QLabel(meta["unit"], self), QLabel(self)
        self.undo = QToolButton(self)
        self.mark.setFixedWidth(14)
        self.mark.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.label.setWordWrap(True)
        self.label.setBuddy(self.editor)
        self.editor.setAccessibleName(f"{meta['label']} {meta['unit']}".strip())
        look.toned(self.unit, "muted")
        self.undo.setAutoRaise(True)
        self.undo.setFixedSize(SIDE, SIDE)
        self.undo.setIconSize(QSize(14, 14))
        self.undo.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.undo.setToolTip(f"Back to the default. {default_text(self.spec)}")
        self.undo.setAccessibleName(f"Reset {meta['label']}")
        self.undo.clicked.connect(lambda: self.reset.emit(self.path))
        look.toned(self.problem, "strong")
        self.problem.setWordWrap(True)
        self.problem.hide()
        choice = meta["kind"] == "choice"
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(4)
        grid.setVerticalSpacing(2)
        grid.addWidget(self.mark, 0, 0)
        grid.addWidget(self.label, 0, 1)
        grid.addWidget(self.editor, 0, 2, 1, 2 if choice else 1)
        self.editor.setFixedWidth(EDITOR + (UNIT + 4 if choice else 0))
        self.editor.setFixedHeight(HEIGHT)
        self.unit.setFixedWidth(UNIT)
        self.unit.setVisible(not choice)
        if not choice:
            grid.addWidget(self.unit, 0, 3)
        grid.addWidget(self.undo, 0, 4)
        grid.addWidget(self.problem, 1, 1, 1, 4)
        grid.setColumnStretch(1, 1)

    def show_value(self, value: Any, usual: Any) -> None:
        """Show a value, and whether it differs from the usual one: the default, or the map's."""
        self.editor.set_value(value)
        changed = value != usual
        self.undo.setVisible(changed)
        self.mark.setPixmap(self._dot if changed else self._none)
        self.mark.setToolTip("Changed from the default" if changed else "")

    def show_problem(self, words: str) -> None:
        """Say in place why a value was refused; empty words take the line away."""
        self.problem.setText(words)
        self.problem.setVisible(bool(words))

    def set_theme(self, theme: Theme) -> None:
        icon = look.icon("changed-dot", replace(theme, ink=theme.accent))
        self._dot, self._none = icon.pixmap(20, 20), QPixmap()
        self.undo.setIcon(look.icon("reset", theme))
        keep = self.undo.sizePolicy()
        keep.setRetainSizeWhenHidden(True)
        self.undo.setSizePolicy(keep)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if event.type() == QEvent.Type.FocusIn:
            self.pointed.emit(self.path)
        return super().eventFilter(watched, event)

    def enterEvent(self, event: QEvent) -> None:
        self.pointed.emit(self.path)
        super().enterEvent(event)
