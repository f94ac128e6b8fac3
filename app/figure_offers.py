"""What can be put on a figure sheet from what is looked at, and what its forms may name."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from typing import Any

import numpy as np
from PySide6.QtGui import QIcon, QPixmap

from ..core.sheets import (
    ComponentOptions,
    CurveOptions,
    DoubtOptions,
    HistogramOptions,
    JointOptions,
    MapOptions,
    Panel,
    ProfileOptions,
    TableOptions,
)
from .clipboard import image_of
from .saving import UNITS
from .session import Session

OFFERS = {
    "map": "&Map of the channel shown", "components": "&Component map", "where": "Map of d&oubts",
    "pixel": "Curve of the &picked pixel", "typical": "&Typical curve",
    "histogram": "&Histogram of the channel shown", "joint": "T&wo channels",
    "profile": "P&rofile", "table": "T&able of components",
    "calibration": "Table of calibration and &settings", "doubts": "Table of &doubts and decisions",
}  # fmt: skip
"""What can be added -> words of the menu."""
NO_PIXEL = "Pick a pixel on the map first."


def offered(name: str, session: Session) -> tuple[Panel | None, str]:
    """A new panel for an entry of `OFFERS`, and what undo calls it; None and why not."""
    return _MAKERS[name](session)


def _map(session: Session) -> tuple[Panel, str]:
    options = MapOptions(channel=session.channel)
    limits = session.limits(session.channel)
    if limits is not None and None not in limits:
        low, high = (float(v) for v in limits)
        options = replace(options, limits="set", low=low, high=high)
    return Panel("map", options=options), "map"


def _pixel(session: Session) -> tuple[Panel | None, str]:
    if session.selection is None:
        return None, NO_PIXEL
    row, col = session.selection
    options = replace(_curve(session), which="pixel", row=row, col=col)
    return Panel("curve", options=options), "curve"


def _curve(session: Session) -> CurveOptions:
    """Axes as they are looked at."""
    x, y = session.axes or (CurveOptions().x, CurveOptions().y)
    return CurveOptions(x=x, y=y)


def _table(what: str) -> Callable[[Session], tuple[Panel, str]]:
    return lambda _: (Panel("table", options=TableOptions(what=what)), "table")


def _histogram(session: Session) -> tuple[Panel, str]:
    return Panel("histogram", options=HistogramOptions(channel=session.channel)), "histogram"


def _profile(session: Session) -> tuple[Panel, str]:
    return Panel("profile", options=ProfileOptions(channel=session.channel)), "profile"


_MAKERS: dict[str, Callable[[Session], tuple[Panel | None, str]]] = {
    "map": _map, "pixel": _pixel, "histogram": _histogram, "profile": _profile,
    "where": lambda _: (Panel("doubts", options=DoubtOptions()), "map of doubts"),
    "components": lambda _: (Panel("components", options=ComponentOptions()), "component map"),
    "typical": lambda _: (Panel("curve", options=CurveOptions()), "typical curve"),
    "joint": lambda _: (Panel("joint", options=JointOptions()), "two channels"),
    "table": _table("components"), "calibration": _table("calibration"),
    "doubts": _table("doubts"),
}  # fmt: skip


# ---- the pages beside the map

NO_PAGE = ("This page can't be put into a figure; the curve, the histogram, the joint histogram "
           "and the profile can.")  # fmt: skip
NO_PROFILE = "Draw or choose a profile first."


def page_panel(workspace: Any, session: Session) -> tuple[Panel | None, str]:
    """A panel as the page that is beside the map, and what to call it; None and why not."""
    page = workspace.views.currentWidget()
    views = workspace.component_views
    axes = session.rule.axes
    if page is workspace.curve:
        return _pixel(session)
    if page is views.histogram and axes:
        made = HistogramOptions(channel=axes[0].channel, log=axes[0].log)
        return Panel("histogram", options=made), "histogram"
    if page is views.joint:
        x, y = views.joint_axes()
        pair = JointOptions(x=x.channel, y=y.channel, log_x=x.log, log_y=y.log)
        return Panel("joint", options=pair), "joint histogram"
    if page is workspace.profile_desk.page:
        return _profile_shown(workspace)
    return None, NO_PAGE


def _profile_shown(workspace: Any) -> tuple[Panel | None, str]:
    profile, channels = workspace.places_desk.profile, workspace.profile_desk.channels
    if profile is None or not channels:
        return None, NO_PROFILE
    second = channels[1] if len(channels) > 1 else ""
    options = ProfileOptions(profile=profile.name, channel=channels[0], second=second)
    return Panel("profile", options=options), "profile"


# ---- what the forms may name


def choices_for(panel: Panel, session: Session, findings: Any) -> dict[str, list[tuple[str, str]]]:
    """Names with their words, by what they name."""
    from ..core.channels import CHANNELS, asked_for
    from ..core.colours import COLOURS

    channels = [(name, entry.title) for name, entry in asked_for(session.settings).items()]
    places = session.places
    named = CHANNELS.get(getattr(panel.options, "channel", ""))
    units = UNITS.get(named.unit, (named.unit,)) if named is not None else ()
    return {"channel": channels, "component": _components(findings),
            "profile": [(p.name, p.name) for p in places.profiles] if places is not None else [],
            "colours": [(name, entry.label) for name, entry in COLOURS.items()],
            "unit": [(unit, unit) for unit in units if unit]}  # fmt: skip


def _components(findings: Any) -> list[tuple[str, str]]:
    made = findings.composition if findings is not None else None
    if made is None:
        return []
    from ..core.components import letter

    return [(letter(k), made.title(k)) for k in range(made.count)]


@lru_cache(maxsize=64)
def swatch(name: str) -> QIcon:
    """A colour map as a strip, from low to high."""
    from ..core.colours import table

    strip = np.ascontiguousarray(np.repeat(table(name, 48)[None], 12, axis=0))
    return QIcon(QPixmap.fromImage(image_of(strip)))


def units_for(panel: Panel) -> dict[str, str]:
    """Units of the options that are in the unit of a channel."""
    from ..core.channels import CHANNELS

    named = CHANNELS.get(getattr(panel.options, "channel", ""))
    return dict.fromkeys(("low", "high"), named.unit) if named is not None else {}


def with_limits(before: Any, after: Any, analysis: Any) -> Any:
    """Options of a map whose limits are typed from now on begin with those that were drawn."""
    typed = getattr(after, "limits", "") == "set" and getattr(before, "limits", "") != "set"
    if not typed or analysis is None:
        return after
    values = _values(analysis, after)
    if not values.size:
        return after
    cut = (0.0, 100.0) if before.limits == "full" else (2.0, 98.0)
    low, high = (float(f"{v:.3g}") for v in np.percentile(values, cut))
    return replace(after, low=low, high=high) if low < high else after


def upside_down(before: Any, after: Any) -> str:
    """The limit of a map that was typed beyond the other one; empty if none was."""
    if getattr(after, "limits", "") != "set" or after.low < after.high:
        return ""
    return next((name for name in ("low", "high")
                 if getattr(after, name) != getattr(before, name)), "")  # fmt: skip


def _values(analysis: Any, options: Any) -> Any:
    from ..core.channels import CHANNELS

    if options.channel not in CHANNELS:
        return np.empty(0)
    values = analysis.channel(options.channel)
    keep = np.isfinite(values)
    return values[keep & analysis.trusted] if options.trusted else values[keep]
