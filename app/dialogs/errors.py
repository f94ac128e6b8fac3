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
    """What becomes of what was decided: "save", "discard" or "cancel"."""
    box = QMessageBox(parent)
    box.setIcon(QMessageBox.Icon.Question)
    box.setTextFormat(Qt.TextFormat.PlainText)
    box.setText(f"What was decided about “{name}” is in no file yet.")
    save = box.addButton("Save the result…", QMessageBox.ButtonRole.AcceptRole)
    discard = box.addButton("Go on without", QMessageBox.ButtonRole.DestructiveRole)
    box.setDefaultButton(save)
    box.setEscapeButton(box.addButton(QMessageBox.StandardButton.Cancel))
    box.exec()
    if box.clickedButton() is save:
        return "save"
    return "discard" if box.clickedButton() is discard else "cancel"


def ask_source(parent: QWidget, words: str) -> bool:
    """Whether the person wants to point to the map of a saved analysis."""
    return confirm(parent, words, "Point to the map…")


def ask_recover(parent: QWidget, words: str, saved: bool) -> str:
    """What becomes of unsaved work: "recover", "saved", "discard", or "later"."""
    box = QMessageBox(parent)
    box.setWindowTitle("Unsaved work")
    box.setIcon(QMessageBox.Icon.Question)
    box.setTextFormat(Qt.TextFormat.PlainText)
    box.setText(words)
    roles = QMessageBox.ButtonRole
    made = {"recover": box.addButton("Recover", roles.AcceptRole)}
    if saved:
        made["saved"] = box.addButton("Open saved", roles.AcceptRole)
        made["saved"].setToolTip("Open the result file as it was saved last")
    made["discard"] = box.addButton("Discard", roles.DestructiveRole)
    made["later"] = box.addButton("Not now", roles.RejectRole)
    made["recover"].setToolTip("Go on where Palpate ended")
    made["discard"].setToolTip("Offer this work no more")
    made["later"].setToolTip("Ask again at the next start")
    box.setDefaultButton(made["recover"])
    box.setEscapeButton(made["later"])
    box.exec()
    return next((name for name, button in made.items() if button is box.clickedButton()), "later")
