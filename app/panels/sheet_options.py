"""The form of one panel of a sheet, built from what is declared for its kind."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from PySide6.QtCore import QSignalBlocker, Signal
from PySide6.QtGui import QIcon
from PySide6.QtWidgets import QCheckBox, QHBoxLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from ...core.errors import SettingsError
from ...core.sheets import KINDS, Panel, declared
from ..theme import SPACE, toned
from .fields import NumberField
from .sheet_row import Choices, NameField, OptionRow

NOTHING = "Choose a panel on the sheet, or add one."
EMPTY = {"channel": "none", "component": "all pixels", "profile": "the first one",
         "colours": "of the channel's kind", "unit": "fits the numbers"}  # fmt: skip
"""What an empty name means, by what it names."""


class PanelForm(QWidget):
    """See the module. It is passive.

    Signals
    -------
    options_edited(options, words, merge) : the panel's options as the person wants them; the act
        in words; acts with the same word in `merge` are one
    letter_wanted(bool) : whether the panel shall have a letter
    removal_wanted
    """

    options_edited = Signal(object, str, str)
    letter_wanted = Signal(bool)
    removal_wanted = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.panel: Panel | None = None
        self.rows: dict[str, OptionRow] = {}
        self._serial = 0
        self.title, self.note = toned(QLabel(self), "strong"), QLabel(self)
        self.note.setWordWrap(True)
        self.body = QVBoxLayout()
        self.body.setSpacing(SPACE // 2)
        self.lettered = QCheckBox("With a letter", self)
        self.lettered.setToolTip("Letters go along the rows")
        self.lettered.clicked.connect(lambda on: self.letter_wanted.emit(bool(on)))
        self.remove = QPushButton("Take away", self)
        self.remove.setToolTip("Take this panel off the sheet (Delete)")
        self.remove.clicked.connect(self.removal_wanted)
        box = QVBoxLayout(self)
        box.setContentsMargins(SPACE, SPACE, SPACE, SPACE)
        box.setSpacing(SPACE)
        box.addWidget(self.title)
        box.addWidget(self.note)
        box.addLayout(self.body)
        last = QHBoxLayout()
        last.addWidget(self.lettered, 1)
        last.addWidget(self.remove)
        box.addLayout(last)
        box.addStretch(1)
        self.show_panel(None)

    def show_panel(self, panel: Panel | None, letter: str = "",
                   choices: Mapping[str, Choices] | None = None,
                   units: Mapping[str, str] | None = None, problem: str = "",
                   icons: Mapping[str, Callable[[str], QIcon]] | None = None) -> None:  # fmt: skip
        """A panel with its letter, or none.

        Parameters
        ----------
        choices : what may be named: "channel", "component", "profile", "colours", "unit"
        units : unit of an option where it depends on others
        problem : why the panel could not be drawn
        icons : of what may be named: "colours" -> name -> icon
        """
        fresh = panel is None or self.panel is None or panel.kind != self.panel.kind
        if fresh:
            self._rebuild(panel)
        self.panel = panel
        for widget in (self.title, self.lettered, self.remove):
            widget.setVisible(panel is not None)
        self.note.setText(problem if panel is not None else NOTHING)
        self.note.setVisible(bool(self.note.text()))
        if panel is None:
            return
        self.title.setText(f"{KINDS[panel.kind][0]} {letter}".strip())
        with QSignalBlocker(self.lettered):
            self.lettered.setChecked(panel.lettered)
        for name, row in self.rows.items():
            self._fill(row, choices or {}, getattr(panel.options, name), icons or {})
            row.unit.setText((units or {}).get(name, row.meta["unit"]))
            row.setVisible(relevant(row.meta, panel.options))

    def _fill(self, row: OptionRow, choices: Mapping[str, Choices], value: Any,
              icons: Mapping[str, Callable[[str], QIcon]]) -> None:  # fmt: skip
        of = row.meta.get("of", "")
        if isinstance(row.editor, NameField):
            row.editor.set_choices(choices.get(of, ()), EMPTY.get(of, ""), icons.get(of))
        row.show_value(value)
        known = not isinstance(row.editor, NameField) or row.editor.known or of in ("unit",)
        row.show_problem("" if known else f"There is no {of} “{value[:40]}” here")

    def _rebuild(self, panel: Panel | None) -> None:
        for row in self.rows.values():
            self.body.removeWidget(row)
            row.hide()
            row.deleteLater()
        self.rows = {}
        for spec in declared(panel.kind) if panel is not None else ():
            self.rows[spec.name] = row = OptionRow.of(spec, self)
            row.edited.connect(self._edited)
            row.refused.connect(self.refuse)
            self.body.addWidget(row)

    def _edited(self, name: str, value: Any, stepped: bool) -> None:
        if self.panel is None:
            return
        row = self.rows[name]
        try:
            made = replace(self.panel.options, **{name: value})
        except SettingsError as error:
            self.refuse(name, error.what)
            return
        row.show_problem("")
        self._serial += not stepped
        merge = f"sheet option {name} {self._serial}" if stepped else ""
        self.options_edited.emit(made, row.meta["label"].lower(), merge)

    def refuse(self, name: str, words: str) -> None:
        """Say in an option's row why it can't be so, and show what it is."""
        row = self.rows[name]
        row.show_value(getattr(self.panel.options, name))
        if isinstance(row.editor, NumberField):
            row.editor.restore()
        row.show_problem(words)


def relevant(meta: Any, options: Any) -> bool:
    """Whether an option matters as the others stand."""
    condition = meta.get("shown_if", "")
    if not condition:
        return True
    other, _, wanted = condition.partition("=")
    return str(getattr(options, other)) in wanted.split("|")
