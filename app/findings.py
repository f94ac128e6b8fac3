"""The session's present state as core's `Findings`: what figures, report and pack are made from."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from .session import Session


def present(session: Session, made: Any = None) -> Any:
    """Findings of the finished analysis in force; None while there is none.

    Parameters
    ----------
    made : the component desk's `Made`; it is left out if it belongs to another analysis or rule,
        and `core.findings.completed` then makes components anew, on the worker
    """
    from ..core.findings import Findings

    analysis = session.analysis
    if analysis is None or not session.finished:
        return None
    found: dict[str, Any] = {}
    if _belongs(made, session):
        found = dict(composition=made.composition, table=made.table, pairs=tuple(made.pairs or ()))
    saved = Path(session.saved_as) if session.saved_as else None
    return Findings(analysis, session.work, view=session.view, result=saved, **found)


def _belongs(made: Any, session: Session) -> bool:
    if made is None or not made.whole:
        return False
    composition = made.composition
    return composition.maps.source is session.analysis and composition.rule == session.rule
