"""Binds *Paper > Report…*: asks where to, has it made on the worker, and offers to open it."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject, QUrl
from PySide6.QtGui import QDesktopServices
from PySide6.QtWidgets import QPushButton, QSizePolicy, QToolButton, QWidget

from . import theme as look
from .component_desk import ComponentDesk
from .findings import present
from .panels.law_page import wrapped
from .panels.notices import Notice
from .recompute import Answer
from .report_calls import MakeReport
from .report_dialog import ReportDialog
from .saving import stem_of
from .session import Session
from .theme import LIGHT, Theme

NOT_YET = "A report can be written when the map has been analysed."


class WrittenNotice(Notice):
    """Says what was written, with a button to open each file; can be put away.

    `open_file` is what opens one; it answers whether that worked.
    """

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.open_file: Callable[[Path], bool] = open_local
        self.words = wrapped("")
        self.words.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        self.buttons: list[QPushButton] = []
        self.away = QToolButton(self)
        self.away.setAutoRaise(True)
        self.away.setToolTip("Put this note away")
        self.away.setAccessibleName("Put this note away")
        self.away.clicked.connect(self.forget)
        self.line.addWidget(self.words, 1)
        self.line.addWidget(self.away)
        self.set_theme(LIGHT)

    def set_theme(self, theme: Theme) -> None:
        super().set_theme(theme)
        if hasattr(self, "away"):
            self.away.setIcon(look.icon("cancel", theme))

    def tell(self, paths: list[Path]) -> None:
        """Offer these files."""
        self.forget()
        names = " and ".join(path.name for path in paths)
        self.words.setText(f"The report is written: {names} in {paths[0].parent}.")
        for path in paths:
            button = QPushButton("Open" if len(paths) == 1 else f"Open {path.suffix}", self)
            button.setToolTip(f"Open {path} in the program that your system has for it")
            button.clicked.connect(partial(self._open, path))
            self.line.insertWidget(self.line.count() - 1, button)
            self.buttons.append(button)
        self.show()

    def _open(self, path: Path) -> None:
        if not path.exists():
            self.words.setText(f"{path} is not there any more. Write it again.")
        elif not self.open_file(path):
            self.words.setText(f"No program on this system opens {path}.")

    def forget(self) -> None:
        for button in self.buttons:
            button.hide()
            button.deleteLater()
        self.buttons = []
        self.hide()


class ReportDesk(QObject):
    """See the module. `notice` belongs above the views."""

    def __init__(self, session: Session, components: ComponentDesk, parent: QWidget) -> None:
        super().__init__(parent)
        self._session, self._components = session, components
        self.notice = WrittenNotice(parent)
        self.ask_paths: Callable[[str], tuple[Path, ...]] = self._ask_paths
        session.answered.connect(self._take)
        session.map_changed.connect(self.notice.forget)

    def ask(self) -> None:
        """Ask where the report shall go, and have it made."""
        findings: Any = present(self._session, self._components.made)
        if findings is None:
            self._session.failed.emit(NOT_YET)
            return
        paths = self.ask_paths(stem_of(self._session.map))
        if paths:
            self.notice.forget()
            self._session.submit(MakeReport(findings, paths))

    def _ask_paths(self, stem: str) -> tuple[Path, ...]:
        dialog = ReportDialog(stem, self.notice.window())
        try:
            return dialog.paths if dialog.exec() else ()
        finally:
            dialog.deleteLater()

    def _take(self, answer: Answer) -> None:
        if isinstance(answer.request, MakeReport) and answer.error is None and answer.final:
            self.notice.tell(answer.value)

    def set_theme(self, theme: Theme) -> None:
        self.notice.set_theme(theme)


def open_local(path: Path) -> bool:
    """Open a file of this machine with the system's own program for it."""
    return QDesktopServices.openUrl(QUrl.fromLocalFile(str(path)))
