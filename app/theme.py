"""The look: every colour, the fonts and the icons. No other file of app names a colour.

Few colours, each with one meaning, the same in every view, figure and legend:

    approach        bluish green, solid          accent     what the person holds: the fit window,
    retract         vermilion, dashed                       the picked pixel, the chosen channel
    adhesion, work  reddish purple               doubt      amber; its shape says how severe
    ink             all that was found on the curve: law, contact point, peak, baseline

The curve colours come from the colour-blind-safe palette of Okabe & Ito (jfly.uni-koeln.de/color,
2008), and none is used without a second mark (dash, shape or word). Colour maps and the colours of
components are those of core/colours, the same on paper.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from PySide6.QtCore import QByteArray, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QFont, QFontDatabase, QIcon, QPainter, QPalette, QPixmap
from PySide6.QtWidgets import QApplication

from .. import icons
from ..core import colours

SPACE = 8
"""The distance between things [px]; half of it inside a group, twice between groups."""


@dataclass(frozen=True)
class Theme:
    """All colours of one look, as #rrggbb or #aarrggbb.

    Attributes
    ----------
    window, panel, raised, line : backgrounds from back to front, and hairlines
    ink, muted, faint : text, secondary text, disabled text
    accent, on_accent : what the person holds or chose; text on it
    approach, retract, adhesion, work : of a curve
    window_fill : inside of the fit window
    doubt, on_doubt : the sign of a doubt, and the mark inside it
    no_value, hatch : map pixels without a value
    light_edge, dark_edge : the two parts of a mark that must show on any map colour
    """

    name: str
    window: str
    panel: str
    raised: str
    line: str
    ink: str
    muted: str
    faint: str
    accent: str
    on_accent: str
    approach: str
    retract: str
    adhesion: str
    work: str
    window_fill: str
    doubt: str
    on_doubt: str
    no_value: str
    hatch: str
    light_edge: str = "#ffffff"
    dark_edge: str = "#101214"


LIGHT = Theme(
    name="light", window="#eceef0", panel="#fcfcfd", raised="#ffffff", line="#cfd4d9",
    ink="#1c2126", muted="#565f68", faint="#a0a7ae", accent="#0072b2", on_accent="#ffffff",
    approach="#009e73", retract="#d55e00", adhesion="#a8487f", work="#38cc79a7",
    window_fill="#1c0072b2", doubt="#e69f00", on_doubt="#1c2126",
    no_value="#a6a8aa", hatch="#8a8c8e",
)  # fmt: skip
DARK = Theme(
    name="dark", window="#1b1e22", panel="#121417", raised="#262a2f", line="#3a4047",
    ink="#e6e9ec", muted="#a3abb3", faint="#666e76", accent="#56b4e9", on_accent="#0d1013",
    approach="#12b286", retract="#ee7a1c", adhesion="#d98bb6", work="#3ccc79a7",
    window_fill="#2656b4e9", doubt="#e69f00", on_doubt="#121417",
    no_value="#6e7072", hatch="#545658",
)  # fmt: skip
THEMES = {"light": LIGHT, "dark": DARK}
PICKS = {
    "light": ("#4477aa", "#cc3311", "#228833", "#997700", "#aa3377", "#007788"),
    "dark": ("#77aadd", "#ee8866", "#88cc77", "#eedd88", "#ffaabb", "#99ddff"),
}
"""Colours of single curves laid over each other, in the order of picking.

After the schemes "bright", "vibrant" (light) and "light" (dark) of P. Tol (from memory, as above);
letters and dashes tell the curves apart beside them.
"""
CHOICES = ("system", "light", "dark")


def theme_for(app: QApplication, choice: str = "system") -> Theme:
    """The theme to use: "light" or "dark" as forced, or the system's with "system".

    A forced choice is told to Qt as well, so that the system's own dialogs follow.
    """
    hints = app.styleHints()
    scheme = {"light": Qt.ColorScheme.Light, "dark": Qt.ColorScheme.Dark}
    if choice in THEMES:
        if hints.colorScheme() != scheme[choice]:
            hints.setColorScheme(scheme[choice])
        return THEMES[choice]
    hints.unsetColorScheme()
    return DARK if hints.colorScheme() == Qt.ColorScheme.Dark else LIGHT


def apply_theme(app: QApplication, theme: Theme) -> None:
    """Set palette, style sheet and fonts of the whole program.

    What is so already is left alone: Qt would look at every widget again, a fifth of the time that
    a window takes to open. Under a style sheet the style's name is empty, and Fusion lies below.
    """
    if app.style().name().lower() not in ("", "fusion"):
        app.setStyle("Fusion")
    colours, font, sheet = palette(theme), base_font(), style_sheet(theme)
    if app.palette() != colours:
        app.setPalette(colours)
    if app.font() != font:
        app.setFont(font)
    if app.styleSheet() != sheet:
        app.setStyleSheet(sheet)


def palette(theme: Theme) -> QPalette:
    """The Qt palette of a theme."""
    role, made = QPalette.ColorRole, QPalette()
    colours = {
        role.Window: theme.window, role.WindowText: theme.ink, role.Base: theme.panel,
        role.AlternateBase: theme.window, role.Text: theme.ink, role.Button: theme.raised,
        role.ButtonText: theme.ink, role.BrightText: theme.on_accent, role.Light: theme.raised,
        role.Midlight: theme.line, role.Mid: theme.line, role.Dark: theme.faint,
        role.Shadow: theme.line, role.Highlight: theme.accent,
        role.HighlightedText: theme.on_accent, role.Link: theme.accent,
        role.LinkVisited: theme.accent, role.ToolTipBase: theme.raised,
        role.ToolTipText: theme.ink, role.PlaceholderText: theme.muted, role.Accent: theme.accent,
    }  # fmt: skip
    for which, colour in colours.items():
        made.setColor(which, QColor(colour))
    for which in (role.WindowText, role.Text, role.ButtonText):
        made.setColor(QPalette.ColorGroup.Disabled, which, QColor(theme.faint))
    return made


def style_sheet(theme: Theme) -> str:
    """The little that a palette can't say."""
    return f"""
    QToolTip {{ color: {theme.ink}; background: {theme.raised}; border: 1px solid {theme.line};
        padding: 4px; }}
    QMainWindow::separator {{ background: {theme.window}; width: 5px; height: 5px; }}
    QMainWindow::separator:hover {{ background: {theme.accent}; }}
    QDockWidget::title {{ background: {theme.window}; padding: 5px 8px; }}
    QHeaderView::section {{ color: {theme.muted}; background: {theme.panel}; border: 0;
        border-bottom: 1px solid {theme.line}; padding: 3px 6px; }}
    QToolButton {{ border: 1px solid transparent; border-radius: 4px; padding: 3px; }}
    QToolButton:hover {{ background: {theme.raised}; border-color: {theme.line}; }}
    QToolButton:checked {{ background: {theme.raised}; border-color: {theme.accent}; }}
    QToolButton:focus {{ border-color: {theme.accent}; }}
    *[scale="small"] {{ font-size: {small_font().pointSizeF():g}pt; }}
    QLabel[tone="muted"] {{ color: {theme.muted}; }}
    QLabel[tone="strong"] {{ font-weight: 600; }}
    """


# ---- fonts


def base_font() -> QFont:
    """The system's own typeface, never under 9 pt, digits all of one width."""
    font = QFontDatabase.systemFont(QFontDatabase.SystemFont.GeneralFont)
    if 0 < font.pointSizeF() < 9.0:
        font.setPointSizeF(9.0)
    return tabular(font)


def tabular(font: QFont) -> QFont:
    """The font with digits of one width, so that numbers don't jump while they change."""
    made = QFont(font)
    made.setFeature(QFont.Tag("tnum"), 1)
    return made


def small(font: QFont) -> QFont:
    """The font for axes, legends and notes: one step smaller, never under 8 pt."""
    made = QFont(font)
    made.setPointSizeF(max(8.0, font.pointSizeF() - 1.0))
    return made


def small_font() -> QFont:
    """The program's font, one step smaller."""
    return small(QApplication.font())


def shrink(widget: Any) -> Any:
    """Write a widget in the small font; returns it.

    The style sheet is told as well: when it polishes a widget that has moved to another parent,
    it forgets a font that was only set.
    """
    widget.setProperty("scale", "small")
    widget.setFont(small_font())
    return widget


# ---- colours of maps


def colour_table(kind: str) -> np.ndarray:
    """The colours of a kind of channel, uint8 (255, 4) from low to high, opaque."""
    return colours.table(colours.for_kind(kind), 255)


def colour(text: str, alpha: int | None = None) -> QColor:
    """A colour of the theme, with another opacity (0 to 255) if given."""
    made = QColor(text)
    if alpha is not None:
        made.setAlpha(alpha)
    return made


# ---- icons


@lru_cache(maxsize=256)
def icon(name: str, theme: Theme) -> QIcon:
    """An icon of `palpate.icons` in the colours of a theme; empty if there is no such file."""
    made = QIcon()
    try:
        text = icons.path(name).read_text(encoding="utf-8")
    except (KeyError, OSError):
        return made
    for mode, ink in ((QIcon.Mode.Normal, theme.ink), (QIcon.Mode.Disabled, theme.faint)):
        for size in (16, 20, 24, 32, 48, 64):
            made.addPixmap(_drawn(text.replace("#000000", ink), size), mode)
    return made


def _drawn(svg: str, size: int) -> QPixmap:
    from PySide6.QtSvg import QSvgRenderer

    pixmap = QPixmap(QSize(size, size))
    pixmap.fill(Qt.GlobalColor.transparent)
    painter = QPainter(pixmap)
    QSvgRenderer(QByteArray(svg.encode())).render(painter, QRectF(0, 0, size, size))
    painter.end()
    return pixmap


def toned(label: Any, tone: str) -> Any:
    """Give a label a tone of the style sheet ("muted" or "strong"); returns the label."""
    label.setProperty("tone", tone)
    return label
