"""Binds the page *Shape*, worked out on the worker while it is in front."""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import QObject

from ..core.errors import Cancelled
from .component_calls import AskShape
from .component_desk import STOPPED, ComponentDesk
from .law_calls import Refused
from .panels.components import ComponentsPanel
from .recompute import Answer
from .session import Session


class ShapeDesk(QObject):
    """See the module. `report` is what the page shows, of `composition`."""

    def __init__(self, session: Session, desk: ComponentDesk, panel: ComponentsPanel,
                 parent: QObject | None = None) -> None:  # fmt: skip
        super().__init__(parent)
        self._session, self._desk, self.panel = session, desk, panel
        self.report: Any = None
        self.composition: Any = None
        self._asked = -1
        self._asked_of: Any = None
        self._refused: Any = None  # labels for which there was no answer
        for signal in (desk.made_changed, panel.asked, panel.seen):
            signal.connect(self.refresh)
        session.answered.connect(self._take)

    def refresh(self, *_: object) -> None:
        """See to it that the page is up to date if it is in front."""
        if not self.panel.in_sight or self.panel.page != "shape":
            return
        made = self._desk.made
        if made is None:
            self._forget()
            self.panel.shape.show_reason(self._desk.reason)
            return
        found = made.composition
        if self.composition is not None and found.labels is self.composition.labels:
            self.composition = found  # names may have changed
            self.panel.shape.show_shape(self.report, found)
        elif (
            not self._session.dragging
            and found.labels is not self._refused
            and (self._asked_of is None or self._asked_of.labels is not found.labels)
        ):
            self.panel.shape.show_waiting()
            self._asked_of = found
            self._asked = self._session.submit(AskShape(found))

    def _forget(self) -> None:
        self.report = self.composition = self._asked_of = None
        self._session.background.cancel(AskShape.lane)

    def _take(self, answer: Answer) -> None:
        if not isinstance(answer.request, AskShape) or answer.generation != self._asked:
            return
        found, self._asked_of = self._asked_of, None
        page = self.panel.shape
        refused = answer.error is not None or isinstance(answer.value, Refused)
        self._refused = found.labels if refused and found is not None else None
        if answer.error is not None:
            stopped = isinstance(answer.error, Cancelled)
            page.show_reason(STOPPED if stopped else str(answer.error))
        elif isinstance(answer.value, Refused):
            page.show_reason(answer.value.words)
            if answer.value.fault is not None:
                self._session.faulted.emit(answer.value.fault)
        else:
            self.report, self.composition = answer.value, found
            page.show_shape(self.report, found)
        self.refresh()
