"""Which file draws which kind of panel; each is loaded when it is first needed."""

from __future__ import annotations

from importlib import import_module
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any

from ..sheets import KINDS, Panel
from .parts import Drawer, DrawnPanel, PanelError, Style

if TYPE_CHECKING:
    from ..findings import Findings

ASPECTS = {"curve": 0.8, "histogram": 0.72, "joint": 0.9, "profile": 0.62, "evidence": 0.62,
           "table": 0.5}  # fmt: skip
"""Height of a panel over its width, where its file does not say better."""
WIDEST = 38.0
"""A panel wider than this, in heights of text, gets no higher."""


def _drawer(kind: str) -> Drawer:
    def draw(subfigure: Any, panel: Panel, findings: Findings, style: Style) -> DrawnPanel:
        home = _home(kind)
        if home is None:
            raise PanelError(f"A panel of the kind “{KINDS[kind][0]}” can't be drawn by this "
                             "version of Palpate. Update it.")  # fmt: skip
        made: DrawnPanel = home.draw(subfigure, panel, findings, style)
        return made

    return draw


def _home(kind: str) -> Any:
    """The file that draws a kind; None if there is none."""
    name = f"{__package__}.draw_{kind}"
    return import_module(name) if find_spec(name) else None


def wanted_height(panel: Panel, findings: Findings, style: Style, width: float) -> float:
    """How high a panel wants to be at a width, both in points."""
    wanted = getattr(_home(panel.kind), "wanted_height", None)
    if wanted is not None:
        return float(wanted(panel, findings, style, width))
    share, width = ASPECTS.get(panel.kind, 0.75), min(width, WIDEST * style.font_size)
    if getattr(panel.options, "residuals", False) or getattr(panel.options, "second", ""):
        share *= 1.4
    return share * width


def wanted_beside(panel: Panel, findings: Findings, style: Style, width: float) -> float:
    """How much room a map needs at its right [pt]; 0 for other kinds of panels."""
    wanted = getattr(_home(panel.kind), "wanted_beside", None)
    return 0.0 if wanted is None else float(wanted(panel, findings, style, width))


DRAWERS: dict[str, Drawer] = {kind: _drawer(kind) for kind in KINDS}
"""Kind of a panel -> what draws it."""
