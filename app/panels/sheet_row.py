"""Rows of the forms of a sheet: a number, a choice, a yes or no, words, a name of what is there."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import Field
from typing import Any

from PySide6.QtCore import QEvent, QSignalBlocker, QSize, Qt, Signal
from PySide6.QtGui import QIcon, QKeySequence, QWheelEvent
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QCompleter,
    QGridLayout,
    QLabel,
    QLineEdit,
    QWidget,
)

from ..theme import shrink, toned
from .fields import ChoiceField, NumberField

EDITOR, UNIT, HEIGHT = 136, 36, 24
Choices = Sequence[tuple[str, str]]
"""Names that may be chosen, each with its words for people."""


class FlagField(QCheckBox):
    """A yes or no. Signal edited(value, False), for what the person did only."""

    edited = Signal(object, bool)

    def __init__(self, words: str, parent: QWidget | None = None) -> None:
        super().__init__(words, parent)
        self.clicked.connect(lambda on: self.edited.emit(bool(on), False))

    def value(self) -> bool:
        return self.isChecked()

    def set_value(self, value: bool) -> None:
        self.setChecked(value)


class Line(QLineEdit):
    """A line whose undo is the window's, except in the middle of typing."""

    def event(self, event: QEvent) -> bool:
        if event.type() == QEvent.Type.ShortcutOverride:
            keys = QKeySequence.StandardKey
            done = event.matches(keys.Undo) and not self.isUndoAvailable()
            if done or (event.matches(keys.Redo) and not self.isRedoAvailable()):
                event.ignore()
                return True
        return super().event(event)


class LineField(Line):
    """A text. Signal edited(text, False) once it is finished and another one."""

    edited = Signal(object, bool)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._value = ""
        self.editingFinished.connect(self._finish)

    def value(self) -> str:
        return self._value

    def set_value(self, value: str) -> None:
        """Show a text; what is being typed is left alone unless it is another one."""
        if value != self._value or not self.isModified():
            self._value = value
            self.setText(value)
            self.setModified(False)

    def restore(self) -> None:
        """Show the value again, whatever was typed."""
        self.setText(self._value)
        self.setModified(False)

    def _finish(self) -> None:
        text = self.text().strip()
        if text != self._value:
            self._value = text
            self.setModified(False)
            self.edited.emit(text, False)


class NameField(QComboBox):
    """The name of something that is there, chosen or typed; empty where that may be.

    Signal edited(name, False), for what the person chose or typed only.
    """

    edited = Signal(object, bool)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setEditable(True)
        self.setLineEdit(Line(self))
        self.setInsertPolicy(QComboBox.InsertPolicy.NoInsert)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.setMinimumContentsLength(6)
        self.setIconSize(QSize(30, 12))
        self._value = ""
        self._choices: Choices = ()
        completer = self.completer()
        completer.setFilterMode(Qt.MatchFlag.MatchContains)
        completer.setCompletionMode(QCompleter.CompletionMode.PopupCompletion)
        self.activated.connect(lambda index: self._take(self.itemData(index)))
        self.lineEdit().editingFinished.connect(self._finish)

    def set_choices(self, choices: Choices, empty: str = "",
                    icon_of: Callable[[str], QIcon] | None = None) -> None:  # fmt: skip
        """What may be chosen; `empty` is said where nothing is."""
        self.lineEdit().setPlaceholderText(empty)
        if tuple(choices) == self._choices:
            return
        self._choices = tuple(choices)
        with QSignalBlocker(self):
            self.clear()
            for name, words in choices:
                self.addItem(icon_of(name) if icon_of is not None else QIcon(), words, name)
            self.view().setMinimumWidth(self.view().sizeHintForColumn(0) + 30)  # no word is cut
        self.lineEdit().setModified(False)
        self.set_value(self._value)

    @property
    def known(self) -> bool:
        """Whether what is shown is one of the choices, or nothing."""
        return not self._value or self.findData(self._value) >= 0

    def name_of(self, text: str) -> str:
        """The name that a typed text means: words or name of a choice, else itself."""
        text = text.strip()
        for index in range(self.count()):
            if text.casefold() in (self.itemText(index).casefold(),
                                   str(self.itemData(index)).casefold()):  # fmt: skip
                return str(self.itemData(index))
        return text

    def value(self) -> str:
        return self._value

    def set_value(self, value: str) -> None:
        """Show a name; what is being typed is left alone unless it is another one."""
        if value == self._value and self.lineEdit().isModified():
            return
        self._value = value
        with QSignalBlocker(self), QSignalBlocker(self.lineEdit()):
            index = self.findData(value) if value else -1
            self.setCurrentIndex(index)
            if index < 0:
                self.setEditText(value)
        self.lineEdit().setModified(False)
        self.lineEdit().setCursorPosition(0)

    def _finish(self) -> None:
        if self.lineEdit().isModified():
            self._take(self.name_of(self.currentText()))

    def _take(self, name: Any) -> None:
        self.lineEdit().setModified(False)
        if name is not None and name != self._value:
            self.set_value(str(name))
            self.edited.emit(str(name), False)

    def wheelEvent(self, event: QWheelEvent) -> None:
        if self.hasFocus():
            super().wheelEvent(event)
        else:
            event.ignore()


def editor_for(meta: Any, whole: bool, optional: bool, parent: QWidget) -> Any:
    """The editor of a declared option."""
    if meta["kind"] == "flag":
        return FlagField(meta["label"], parent)
    if meta["kind"] == "choice":
        return ChoiceField(meta, parent)
    if meta["kind"] == "number":
        return NumberField(meta, optional, whole, parent)
    return NameField(parent) if meta.get("of") else LineField(parent)


class OptionRow(QWidget):
    """A row: label, editor and unit, and a line that says what is wrong.

    Signals
    -------
    edited(name, value, stepped), refused(name, words) : by the person only
    """

    edited = Signal(str, object, bool)
    refused = Signal(str, str)

    def __init__(self, name: str, meta: Any, whole: bool = False, optional: bool = False,
                 parent: QWidget | None = None) -> None:  # fmt: skip
        super().__init__(parent)
        self.name, self.meta = name, meta
        self.editor = editor_for(meta, whole, optional, self)
        self.label = QLabel(meta["label"], self)
        self.unit = toned(QLabel(meta["unit"], self), "muted")
        self.problem = toned(shrink(QLabel(self)), "strong")
        self.problem.setWordWrap(True)
        self.problem.hide()
        self._lay_out()
        self.editor.edited.connect(lambda value, step: self.edited.emit(name, value, step))
        if isinstance(self.editor, NumberField):
            self.editor.refused.connect(lambda words: self.refused.emit(name, words))

    @classmethod
    def of(cls, spec: Field[Any], parent: QWidget | None = None) -> OptionRow:
        """The row of a declared option."""
        whole = isinstance(spec.default, int) and not isinstance(spec.default, bool)
        return cls(spec.name, spec.metadata, whole, parent=parent)

    def _lay_out(self) -> None:
        flag = self.meta["kind"] == "flag"
        number = self.meta["kind"] == "number"
        text = self.meta["help"].rstrip(".") + "."
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(4)
        grid.setVerticalSpacing(1)
        self.label.setVisible(not flag)
        self.label.setWordWrap(True)
        self.label.setBuddy(self.editor)
        self.unit.setVisible(number)
        self.unit.setFixedWidth(UNIT)
        if flag:
            grid.addWidget(self.editor, 0, 0, 1, 3)
        else:
            grid.addWidget(self.label, 0, 0)
            grid.addWidget(self.editor, 0, 1, 1, 1 if number else 2)
            self.editor.setFixedWidth(EDITOR if number else EDITOR + UNIT + 4)
            self.editor.setFixedHeight(HEIGHT)
        if number:
            grid.addWidget(self.unit, 0, 2)
        grid.addWidget(self.problem, 1, 0, 1, 3)
        grid.setColumnStretch(0, 1)
        self.editor.setAccessibleName(f"{self.meta['label']} {self.meta['unit']}".strip())
        for widget in (self, self.label, self.editor):
            widget.setToolTip(text)
            widget.setWhatsThis(text)

    def show_value(self, value: Any) -> None:
        with QSignalBlocker(self.editor):
            self.editor.set_value(value)

    def forget_typing(self) -> None:
        """What is being typed was meant for something else."""
        if isinstance(self.editor, (NumberField, LineField)):
            self.editor.restore()

    def show_problem(self, words: str) -> None:
        """Say in place what is wrong; empty words take the line away."""
        said = words.strip().rstrip(".")
        self.problem.setText(f"{said[:1].upper()}{said[1:]}." if said else "")
        self.problem.setVisible(bool(said))


__all__ = ["Choices", "FlagField", "LineField", "NameField", "OptionRow"]
