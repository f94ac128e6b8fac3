"""The box that says what went wrong, in a sentence, with the details to copy."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QLabel,
    QMessageBox,
    QStyle,
    QVBoxLayout,
    QWidget,
)

from ..theme import SPACE


class ErrorBox(QDialog):
    """One or more sentences, and a report to copy. It never stops the program's loop."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        self.setWindowTitle("Palpate")
        self._said: list[str] = []
        self._details: list[str] = []
        sign = QLabel(self)
        warning = self.style().standardIcon(QStyle.StandardPixmap.SP_MessageBoxWarning)
        sign.setPixmap(warning.pixmap(32, 32))
        self.words = QLabel(self)
        self.words.setWordWrap(True)
        self.words.setMinimumWidth(420)
        self.words.setTextFormat(Qt.TextFormat.PlainText)
        self.words.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Close, self)
        self.copy = buttons.addButton("Copy details", QDialogButtonBox.ButtonRole.ActionRole)
        self.copy.setAutoDefault(False)
        self.copy.clicked.connect(self._copy)
        buttons.rejected.connect(self.reject)
        box = QVBoxLayout(self)
        box.setContentsMargins(2 * SPACE, 2 * SPACE, 2 * SPACE, 2 * SPACE)
        box.setSpacing(2 * SPACE)
        box.addWidget(sign)
        box.addWidget(self.words)
        box.addWidget(buttons)

    def say(self, words: str, details: str = "") -> None:
        """Add a sentence; the same one is not said twice."""
        if words not in self._said:
            self._said.append(words)
        self._details.append(details or words)
        self.words.setText("\n\n".join(self._said))
        self.adjustSize()

    @property
    def text(self) -> str:
        return self.words.text()

    @property
    def details(self) -> str:
        return "\n\n".join(self._details)

    def _copy(self) -> None:
        QGuiApplication.clipboard().setText(f"{self.text}\n\n{self.details}")
        self.copy.setText("Copied")


def show_error(parent: QWidget, words: str, details: str = "") -> ErrorBox:
    """Say what went wrong; if a box is open already, it takes the sentence in."""
    open_ones = [box for box in parent.findChildren(ErrorBox) if box.isVisible()]
    box = open_ones[0] if open_ones else ErrorBox(parent)
    box.say(words, details)
    if not open_ones:
        box.open()
    return box


def confirm(parent: QWidget, words: str, yes: str) -> bool:
    """Ask whether to go on; Cancel is the default."""
    box = QMessageBox(parent)
    box.setIcon(QMessageBox.Icon.Question)
    box.setTextFormat(Qt.TextFormat.PlainText)
    box.setText(words)
    go = box.addButton(yes, QMessageBox.ButtonRole.AcceptRole)
    box.setDefaultButton(box.addButton(QMessageBox.StandardButton.Cancel))
    box.exec()
    return box.clickedButton() is go


def ask_leave(parent: QWidget, name: str) -> str:
    """What becomes of changed settings: "save", "discard" or "cancel"."""
    box = QMessageBox(parent)
    box.setIcon(QMessageBox.Icon.Question)
    box.setTextFormat(Qt.TextFormat.PlainText)
    box.setText(f"The settings for “{name}” were changed and are in no file yet.")
    save = box.addButton("Save settings…", QMessageBox.ButtonRole.AcceptRole)
    discard = box.addButton("Go on without", QMessageBox.ButtonRole.DestructiveRole)
    box.setDefaultButton(save)
    box.setEscapeButton(box.addButton(QMessageBox.StandardButton.Cancel))
    box.exec()
    if box.clickedButton() is save:
        return "save"
    return "discard" if box.clickedButton() is discard else "cancel"
