"""The form of all settings, built from their declarations.

It shows what the session has and tells the session what the person did; it keeps nothing but what
is folded away.
"""

from __future__ import annotations

import math
from dataclasses import Field
from typing import Any

from PySide6.QtCore import QSettings, QSignalBlocker, Qt, Signal
from PySide6.QtGui import QPalette
from PySide6.QtWidgets import (
    QFrame,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QScrollArea,
    QTextBrowser,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from ...core.settings import SECTIONS, Settings, declarations, range_text, split
from ..correcting import about
from ..session import Session
from ..theme import LIGHT, SPACE, Theme, small, toned
from .fields import NumberField, shown
from .row import Row, help_of, words_of

TITLES = {
    "calibration": "Calibration", "tip": "Tip", "sample": "Sample", "layer": "Layer",
    "baseline": "Baseline", "adhesion": "Adhesion", "fit": "Contact law and fit window",
    "stiffness": "Contact stiffness", "viscous": "Time", "uncertainty": "Common uncertainty",
    "doubts": "When to doubt",
}  # fmt: skip
FOLDED_AT_FIRST = ("layer", "viscous", "uncertainty", "doubts")


class Section(QWidget):
    """A group of rows under a heading that folds them away."""

    folded = Signal(str, bool)

    def __init__(self, name: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.name = name
        self.head = QToolButton(self)
        self.head.setText(TITLES.get(name, name.capitalize()))
        self.head.setCheckable(True)
        self.head.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)
        self.head.setStyleSheet(
            "QToolButton { border: 0; background: transparent; font-weight: 600; padding: 2px 0; }"
        )
        self.head.setToolTip((SECTIONS[name].__doc__ or "").strip())
        self.head.toggled.connect(self._fold)
        self.head.clicked.connect(lambda open_: self.folded.emit(name, not open_))
        self.body = QWidget(self)
        self.rows = QVBoxLayout(self.body)
        self.rows.setContentsMargins(0, 0, 0, SPACE // 2)
        self.rows.setSpacing(SPACE // 2)
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(2)
        box.addWidget(self.head)
        box.addWidget(self.body)
        self.head.setChecked(True)

    def _fold(self, open_: bool) -> None:
        arrow = Qt.ArrowType.DownArrow if open_ else Qt.ArrowType.RightArrow
        self.head.setArrowType(arrow)
        self.body.setVisible(open_)


class SettingsPanel(QWidget):
    """The form.

    Signals
    -------
    save_asked, load_asked : the person wants a settings file written or read
    """

    save_asked = Signal()
    load_asked = Signal()

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self._serial = 0
        self._memory = QSettings("palpate", "palpate")
        self.rows: dict[str, Row] = {}
        self.sections: dict[str, Section] = {}
        self._build()
        self.set_theme(LIGHT)
        session.settings_changed.connect(self.show_settings)
        session.map_changed.connect(self._show_recorded)
        session.correcting_changed.connect(self.show_settings)
        self._show_recorded()

    # -- building -------------------------------------------------------------------------------

    def _build(self) -> None:
        inside = QWidget()
        inside.setObjectName("form")
        column = QVBoxLayout(inside)
        column.setContentsMargins(SPACE, SPACE, SPACE // 2, SPACE)
        column.setSpacing(SPACE // 2)
        for name in SECTIONS:
            self.sections[name] = Section(name, inside)
            self.sections[name].folded.connect(self._remember_fold)
            column.addWidget(self.sections[name])
        for path, spec in declarations():
            self.rows[path] = row = Row(path, spec, inside)
            row.edited.connect(self._edited)
            row.reset.connect(self._reset)
            row.refused.connect(self._refused)
            row.pointed.connect(self.show_help)
            self.sections[split(path)[0]].rows.addWidget(row)
        column.addStretch(1)
        for name, section in self.sections.items():
            folded = self._memory.value(f"folded/{name}", name in FOLDED_AT_FIRST, type=bool)
            section.head.setChecked(not folded)
        self.area = QScrollArea(self)
        self.area.setWidget(inside)
        self.area.setWidgetResizable(True)
        self.area.setFrameShape(QFrame.Shape.NoFrame)
        self.area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.area.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOn)
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(0)
        self.whose = toned(QLabel(self), "strong")
        self.whose.setWordWrap(True)
        self.whose.setContentsMargins(SPACE, SPACE // 2, SPACE, 0)
        self.whose.hide()
        box.addWidget(self.whose)
        box.addWidget(self.area, 1)
        box.addWidget(rule(self))
        box.addWidget(self._help_line())
        box.addLayout(self._buttons())
        self.setMinimumWidth(330)

    def _help_line(self) -> QTextBrowser:
        self.help = QTextBrowser(self)
        self.help.setFrameShape(QFrame.Shape.NoFrame)
        self.help.setFont(small(self.font()))
        self.help.setFocusPolicy(Qt.FocusPolicy.ClickFocus)
        self.help.setFixedHeight(self.help.fontMetrics().lineSpacing() * 6 + 10)
        self.help.viewport().setAutoFillBackground(False)
        self.help.setHtml("Point at a setting, or go to it, to read what it does.")
        return self.help

    def _buttons(self) -> QHBoxLayout:
        row = QHBoxLayout()
        row.setContentsMargins(SPACE, SPACE // 2, SPACE, SPACE)
        self.reset_all = QPushButton("Reset all", self)
        self.save, self.load = QPushButton("Save…", self), QPushButton("Load…", self)
        self.reset_all.setToolTip("All settings back to their defaults (can be undone)")
        self.save.setToolTip("Save these settings to a TOML or JSON file")
        self.load.setToolTip("Load settings from a TOML or JSON file (can be undone)")
        self.reset_all.clicked.connect(self._reset_everything)
        self.save.clicked.connect(self.save_asked)
        self.load.clicked.connect(self.load_asked)
        row.addWidget(self.reset_all)
        row.addStretch(1)
        row.addWidget(self.load)
        row.addWidget(self.save)
        return row

    # -- what is shown --------------------------------------------------------------------------

    def show_settings(self) -> None:
        """Show what the session has."""
        session = self._session
        settings, whole = session.own_settings, session.settings
        correcting = session.correcting
        self.whose.setVisible(correcting)
        if correcting:
            self.whose.setText(f"Settings of {about(session.targets())} alone. The dot marks what "
                               "differs from the map's.")  # fmt: skip
        for path, row in self.rows.items():
            with QSignalBlocker(row.editor):
                usual = whole.value(path) if correcting else row.spec.default
                row.show_value(settings.value(path), usual)
            row.setVisible(relevant(path, row.spec, settings))
        self.reset_all.setEnabled(bool(settings.changed()) and not correcting)

    def _show_recorded(self) -> None:
        fmap = self._session.map
        for path, row in self.rows.items():
            row.show_problem("")
            if isinstance(row.editor, NumberField) and row.spec.default is None:
                lacking = "assumed" if split(path)[0] == "uncertainty" else "not recorded"
                found = recorded_value(fmap, path) if fmap is not None else None
                row.editor.set_recorded(found, fmap is not None, lacking)
        self.show_settings()

    def show_help(self, path: str) -> None:
        """Tell in the help line what a setting does."""
        self.help.setHtml(help_of(path))

    def set_theme(self, theme: Theme) -> None:
        for row in self.rows.values():
            row.set_theme(theme)
        self.show_settings()

    # -- what the person does -------------------------------------------------------------------

    def _edited(self, path: str, value: Any, stepped: bool) -> None:
        row = self.rows[path]
        wrong = self._session.check({path: value})
        if wrong:
            self._refused(path, wrong)
            return
        row.show_problem("")
        self._serial += not stepped
        merge = f"{path} {self._serial}" if stepped else ""
        self._session.apply({path: value}, words_of(path), merge)
        self.show_settings()

    def _refused(self, path: str, words: str) -> None:
        row = self.rows[path]
        row.editor.restore()
        unit, kept = row.spec.metadata["unit"], self._session.own_settings.value(path)
        options = row.spec.metadata.get("options")
        if options is not None:
            row.editor.set_value(kept)
        stays = "as recorded" if kept is None else f"{shown(kept)} {unit}".strip() \
            if options is None else f"“{options[kept]}”"
        words = with_labels(words.rstrip("."))
        plain = row.spec.metadata["kind"] == "number"
        if plain and range_text(row.spec) not in words and "must be" not in words:
            words += f"; it can be {range_text(row.spec)}"
        row.show_problem(f"{words[:1].upper()}{words[1:]}. It stays {stays}.")
        self.show_help(path)

    def _reset(self, path: str) -> None:
        self.rows[path].show_problem("")
        default = self.rows[path].spec.default
        if self._session.correcting:
            default = self._session.settings.value(path)
        wrong = self._session.check({path: default})
        if wrong:
            self._refused(path, wrong)
        else:
            self._session.apply({path: default}, f"reset of {words_of(path)}")

    def _reset_everything(self) -> None:
        self._session.use_settings(Settings(), "reset of all settings")

    def _remember_fold(self, name: str, folded: bool) -> None:
        self._memory.setValue(f"folded/{name}", folded)


def recorded_value(fmap: Any, path: str) -> float | None:
    """What the map says for a setting that may be left empty, in the setting's unit; None if it
    says nothing. For an uncertainty that is the recorded one in per cent."""
    section, name = split(path)
    if section != "uncertainty":
        found = getattr(fmap.recorded, name, None)
        return found.value if found is not None else None
    sources = {"sensitivity": ("deflection_sensitivity",), "tip": ("radius", "half_angle")}
    for source in sources.get(name, (name,)):
        found = getattr(fmap.recorded, source, None)
        if found is not None and found.value and math.isfinite(found.error):
            return 100.0 * abs(found.error / found.value)
    return None


def with_labels(words: str) -> str:
    """A sentence in which settings are named as the form names them."""
    for path, spec in declarations():
        words = words.replace(path, f"“{spec.metadata['label']}”")
    return words


def rule(parent: QWidget) -> QFrame:
    """A hairline."""
    line = QFrame(parent)
    line.setFrameShape(QFrame.Shape.HLine)
    line.setFrameShadow(QFrame.Shadow.Plain)
    line.setForegroundRole(QPalette.ColorRole.Mid)
    line.setFixedHeight(1)
    return line


def relevant(path: str, spec: Field[Any], settings: Settings) -> bool:
    """Whether a setting matters as the others stand ("window=fraction" in its declaration)."""
    section, _ = split(path)
    condition = spec.metadata.get("shown_if", "")
    if not condition:
        return True
    other, _, wanted = condition.partition("=")
    return str(settings.value(f"{section}.{other}")) in wanted.split("|")
