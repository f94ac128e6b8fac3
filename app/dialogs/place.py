"""Where something is written: a folder and a name, asked in the same way by every dialog."""

from __future__ import annotations

from pathlib import Path

from PySide6.QtCore import QObject, Signal
from PySide6.QtWidgets import QFormLayout, QHBoxLayout, QLineEdit, QPushButton, QWidget

from . import files

FORBIDDEN = '/\\:*?"<>|'
NO_FOLDER = "This folder does not exist. Choose another one."
NO_NAME = "Give it a name."
BAD_NAME = f"The name can't hold a folder, or any of {' '.join(FORBIDDEN)}"


class Place(QObject):
    """Two rows for a form. Signal changed: the folder or the name is another one.

    Parameters
    ----------
    title : of the dialog that chooses a folder
    name : offered
    endings : that a name may have been typed with; the dialog's other fields say which it gets
    nameless : whether an empty name will do
    """

    changed = Signal()

    def __init__(self, title: str, name: str, parent: QWidget, endings: tuple[str, ...] = (),
                 nameless: bool = False) -> None:  # fmt: skip
        super().__init__(parent)
        self._parent, self._title, self._endings, self._nameless = parent, title, endings, nameless
        self.folder, self.name = QLineEdit(str(files.last_folder("save"))), QLineEdit(name)
        self.folder.setMinimumWidth(320)
        for field in (self.folder, self.name):
            field.textChanged.connect(self.changed)

    def add_to(self, form: QFormLayout, label: str = "Name") -> None:
        """Put the rows into a form."""
        browse = QPushButton("Choose…")
        browse.setAutoDefault(False)
        browse.clicked.connect(self._choose)
        row = QHBoxLayout()
        row.addWidget(self.folder, 1)
        row.addWidget(browse)
        form.addRow("Folder", row)
        form.addRow(label, self.name)

    @property
    def where(self) -> Path:
        """The folder."""
        return Path(self.folder.text().strip())

    @property
    def stem(self) -> str:
        """The name without any of the endings, however they are written."""
        name = self.name.text().strip()
        while name.lower().endswith(self._endings or ("\0",)):
            name = name[: name.rindex(".")].rstrip()
        return name

    @property
    def problem(self) -> str:
        """Why nothing can be written so, in a sentence; empty if it can."""
        stem = self.stem
        if not self.folder.text().strip() or not self.where.is_dir():
            return NO_FOLDER
        if any(sign in FORBIDDEN or not sign.isprintable() for sign in stem) or stem in (".", ".."):
            return BAD_NAME
        return "" if stem or self._nameless else NO_NAME

    def remember(self) -> None:
        """Offer this folder the next time."""
        files.remember_folder("save", self.where)

    def _choose(self) -> None:
        folder = files.ask_folder(self._parent, self._title)
        if folder is not None:
            self.folder.setText(str(folder))
