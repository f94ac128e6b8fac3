"""Binds *Paper > Pack for a reviewer…*: asks what goes in, has it made, tells where it is."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject
from PySide6.QtWidgets import QWidget

from .component_desk import ComponentDesk
from .findings import present
from .pack_calls import MakePack
from .pack_dialog import PackDialog
from .recompute import Answer
from .saving import stem_of
from .session import Session

NOT_YET = "A pack can be made when the map has been analysed."
IN_MEMORY = "The map lies in memory only, so there is no file that a reviewer can check."


class PackDesk(QObject):
    """See the module. `ask_wish` is what asks the person: given findings and a stem, it answers the
    place and core's `Wish`, or None."""

    def __init__(self, session: Session, components: ComponentDesk, parent: QWidget) -> None:
        super().__init__(parent)
        self._session, self._components, self._parent = session, components, parent
        self.ask_wish: Callable[[Any, str], tuple[Path, Any] | None] = self._ask_wish
        session.answered.connect(self._take)

    def ask(self) -> None:
        """Ask what goes in and where to, and have it made."""
        session = self._session
        findings = present(session, self._components.made)
        if findings is None or findings.map.path is None:
            session.failed.emit(NOT_YET if findings is None else IN_MEMORY)
            return
        asked = self.ask_wish(findings, stem_of(session.map))
        if asked is not None:
            path, wish = asked
            session.submit(MakePack(findings, path, wish, tuple(session.acts)))

    def _ask_wish(self, findings: Any, stem: str) -> tuple[Path, Any] | None:
        dialog = PackDialog(findings, stem, self._parent.window())
        try:
            return (dialog.path, dialog.wish()) if dialog.exec() else None
        finally:
            dialog.deleteLater()

    def _take(self, answer: Answer) -> None:
        if not isinstance(answer.request, MakePack) or answer.error is not None:
            return
        from ..core.pack import megabytes

        made = answer.value
        self._session.noted.emit(
            f"The pack is written: {made.path} ({made.files} files, {megabytes(made.size)}). "
            f"Whoever gets it checks it with “palpate rebuild {made.path.name}”; its README.md "
            "says how.")  # fmt: skip
        for note in made.notes:
            self._session.noted.emit(note)
