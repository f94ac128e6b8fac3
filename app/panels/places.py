"""The panel *Places*: regions and profiles of the map, what they are called, and the statistics of
regions.

It is passive: it shows what it is given and tells what the person did.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from PySide6.QtCore import QSignalBlocker, QSize, Qt, Signal
from PySide6.QtGui import QFocusEvent, QFontMetrics
from PySide6.QtWidgets import (
    QComboBox,
    QFormLayout,
    QLabel,
    QLineEdit,
    QMenu,
    QPlainTextEdit,
    QToolButton,
    QWidget,
)

from ...core.components.rule import letter
from .. import theme as look
from ..theme import SPACE, Theme
from .fields import NumberField
from .law_page import Page, wrapped
from .law_table import Table
from .place_lines import difference_lines, place_line, statistic_lines

WIDTH = dict(unit="nm", low=0.0, high=1e9, open_low=False)
NO_MAP = "There is no map."
EMPTY = ("No places yet. Choose a tool over the map (5 to 7 for a region, 8 for a profile) and "
         "draw.")  # fmt: skip
ARROW = """QToolButton { padding-right: 16px; }
QToolButton::menu-indicator { subcontrol-origin: padding; subcontrol-position: right center; }"""
ALONE = "with no other"
LOCAL = ("± are standard errors with the effective number of independent pixels. What all pixels "
         "share (spring constant, sensitivity, tip, Poisson ratio) is not in them.")  # fmt: skip


class NoteField(QPlainTextEdit):
    """A note of a few lines. Signal finished(text): the person changed it and went on."""

    finished = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._kept = ""
        self.setTabChangesFocus(True)
        self.setPlaceholderText("Note")
        self.setAccessibleName("Note of the place")

    def show_text(self, text: str) -> None:
        """Show a note, unless the person is writing."""
        if text != self._kept or not self.hasFocus():
            self._kept = text
            if self.toPlainText() != text:
                self.setPlainText(text)

    def focusOutEvent(self, event: QFocusEvent) -> None:
        super().focusOutEvent(event)
        text = self.toPlainText()
        if text != self._kept:
            self._kept = text
            self.finished.emit(text)


class PlacesPanel(Page):
    """Signals, each only for what the person did
    ------------------------------------------
    chosen(name), removed(name), renamed(old, new), noted(text), width_given(width, stepped)
    component_wanted(number) : a region of all pixels of a component
    asked : other statistics are wanted (`channel`, `other`)
    seen(bool) : it came into sight or went out of it
    load_wanted, save_wanted, export_wanted(what) : "regions", "difference" or "profile"
    refused(words) : what was typed is impossible
    """

    chosen = Signal(str)
    removed = Signal(str)
    renamed = Signal(str, str)
    noted = Signal(str)
    width_given = Signal(float, bool)
    component_wanted = Signal(int)
    asked = Signal()
    seen = Signal(bool)
    load_wanted = Signal()
    save_wanted = Signal()
    export_wanted = Signal(str)
    refused = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.in_sight = False
        self._places: Any = None
        self._held, self._lines = "", []
        self._there = False
        self._build_list()
        self._build_details()
        self._build_statistics()
        self._build_foot()
        self.body.addStretch(1)
        self.show_places(None, "", False)

    # -- building

    def _build_list(self) -> None:
        self.hint = wrapped(EMPTY, "muted")
        self.list = Table(["Place", "Kind", "Size"], "places", words=(0, 1))
        self.list.chosen.connect(lambda name: self.chosen.emit(name or ""))
        self.body.addWidget(self.hint)
        self.body.addWidget(self.list)

    def _build_details(self) -> None:
        self.details = QWidget(self)
        form = QFormLayout(self.details)
        form.setContentsMargins(0, 0, 0, 0)
        form.setSpacing(SPACE // 2)
        self.name, self.note = QLineEdit(self.details), NoteField(self.details)
        self.name.setAccessibleName("Name of the place")
        self.name.editingFinished.connect(self._rename)
        self.note.finished.connect(self.noted)
        self._width_meta = dict(WIDTH)
        self.width_field = NumberField(self._width_meta, False, False, self.details)
        self.width_field.setAccessibleName("Width of the profile")
        self.width_field.setToolTip("Over which is averaged across the line; 0 reads one pixel")
        self.width_field.edited.connect(lambda v, stepped: self.width_given.emit(v, stepped))
        self.width_field.refused.connect(self.refused)
        self.width_label = QLabel("Width (nm)", self.details)
        form.addRow("Name", self.name)
        form.addRow(self.width_label, self.width_field)
        form.addRow("Note", self.note)
        self.body.addWidget(self.details)

    def _build_statistics(self) -> None:
        self.numbers = QWidget(self)
        form = QFormLayout(self.numbers)
        form.setContentsMargins(0, 0, 0, 0)
        form.setSpacing(SPACE // 2)
        self._channel, self._other = QComboBox(self.numbers), QComboBox(self.numbers)
        self._channel.setAccessibleName("Channel of the statistics")
        self._other.setAccessibleName("Region to compare with")
        for box in (self._channel, self._other):
            box.setSizeAdjustPolicy(
                QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)  # fmt: skip
            box.setMinimumContentsLength(8)
            box.activated.connect(lambda _: self.asked.emit())
        form.addRow("Channel", self._channel)
        form.addRow("Compare", self._other)
        self.why = wrapped("", "muted")
        self.table = Table(["", "", ""], "statistics of regions")
        self.pair = Table(["", "Difference", "95 % from", "to"], "difference of regions")
        self.cancels, self.local = wrapped("", "muted"), wrapped(LOCAL, "muted")
        for widget in (self.numbers, self.why, self.table, self.pair, self.cancels, self.local):
            self.body.addWidget(widget)

    def _build_foot(self) -> None:
        self.component = _button("Component", "A region of all pixels of one component; it follows "
                                 "the components when they change", self)  # fmt: skip
        self.component.setMenu(QMenu(self.component))
        self.remove = _button("Remove", "Take the chosen place away", self)
        self.remove.clicked.connect(lambda: self.removed.emit(self._held))
        self.files = _button("Files", "Save or load places, export their numbers", self)
        menu = QMenu(self.files)
        self.load_action = menu.addAction("&Load places…", self.load_wanted.emit)
        self.save_action = menu.addAction("&Save places…", self.save_wanted.emit)
        menu.addSeparator()
        self.exports = {
            what: menu.addAction(words, lambda what=what: self.export_wanted.emit(what))
            for what, words in (("regions", "Export statistics of all &regions…"),
                                ("difference", "Export the &difference of two regions…"),
                                ("profile", "Export the chosen &profile…"))
        }  # fmt: skip
        self.files.setMenu(menu)
        for button in (self.component, self.files):
            button.setStyleSheet(ARROW)
            button.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
        self.foot.addWidget(self.component)
        self.foot.addWidget(self.remove)
        self.foot.addStretch(1)
        self.foot.addWidget(self.files)

    # -- what is chosen

    @property
    def channel(self) -> str:
        """The channel of the statistics."""
        return self._channel.currentData() or ""

    @property
    def other(self) -> str:
        """The region that the chosen one is compared with; empty for none."""
        return self._other.currentData() or ""

    # -- what is shown

    def show_places(self, places: Any, chosen: str, there: bool) -> None:
        """All places and the chosen one; `there` is whether there is a map."""
        self._places, self._held, self._there = places, chosen, there
        if not there:
            self.show_reason(NO_MAP)
        elif self.reason.isVisibleTo(self):
            self.show_numbers()
        found = places.all if places is not None else ()
        lines = [place_line(one, places.unit) for one in found]
        with QSignalBlocker(self.list):
            if lines != self._lines or len(self.list.lines) != len(lines):
                self._lines = lines
                self.list.fill(lines)
            if self.list.current_key() != chosen:
                if chosen:
                    self.list.choose(chosen)
                else:
                    self.list.setCurrentCell(-1, -1)
        self.hint.setVisible(not found)
        self.list.setVisible(bool(found))
        self._show_details(next((one for one in found if one.name == chosen), None))
        self._show_others()
        self.show_buttons()

    def _show_details(self, one: Any) -> None:
        self.details.setVisible(one is not None)
        if one is None:
            self.note.show_text("")
            return
        line = hasattr(one, "width")
        self.width_label.setVisible(line)
        self.width_field.setVisible(line)
        if not (self.name.hasFocus() and self.name.isModified()):
            self.name.setText(one.name)
        self.note.show_text(one.note)
        if line:
            unit = self._places.unit
            self._width_meta["unit"] = unit if unit == "nm" else ""
            self.width_label.setText(f"Width ({unit})")
            self.width_field.set_value(round(one.width, 4))

    def _show_others(self) -> None:
        """The regions that the chosen one can be compared with."""
        regions = self._places.regions if self._places is not None else ()
        region = any(r.name == self._held for r in regions)
        names = [r.name for r in regions if r.name != self._held]
        for widget in (self.numbers, self.table, self.local):
            widget.setVisible(region)
        kept = self.other
        if [self._other.itemData(i) for i in range(1, self._other.count())] != names:
            self._other.clear()
            self._other.addItem(ALONE, "")
            for name in names:
                self._other.addItem(f"with {name}", name)
            self._other.setCurrentIndex(max(self._other.findData(kept), 0))
        self._other.setEnabled(bool(names))

    def show_channels(self, channels: Sequence[Any], usual: str) -> None:
        """The channels that can be asked for; `usual` is taken where the chosen one is gone."""
        kept = self.channel or usual
        if [self._channel.itemData(i) for i in range(self._channel.count())] != [
            c.name for c in channels
        ]:
            self._channel.clear()
            for channel in channels:
                self._channel.addItem(channel.title, channel.name)
            self._channel.setCurrentIndex(max(self._channel.findData(kept), 0))

    def show_components(self, names: Sequence[str]) -> None:
        """The components that a region can be made of."""
        menu = self.component.menu()
        menu.clear()
        for number, name in enumerate(names):
            words = f"All of {letter(number)}" + (f" ({name})" if name != letter(number) else "")
            menu.addAction(words.replace("&", "&&"),
                           lambda number=number: self.component_wanted.emit(number))  # fmt: skip
        self.show_buttons()

    def show_statistics(self, found: Sequence[Any], differences: Any, words: str) -> None:
        """Statistics of one or two regions and their difference; `words` say why there are none."""
        self.show_again()
        self.why.setText(words)
        self.why.setVisible(bool(words))
        self.table.set_titles(["", *(one.name for one in found), *[""] * (2 - len(found))])
        self.table.setColumnHidden(2, len(found) < 2)
        self.table.fill(statistic_lines(found, self.channel))
        self.table.setVisible(bool(found))
        self.local.setVisible(bool(found))
        one = differences.get(self.channel) if differences else None
        self.pair.fill(difference_lines(one) if one is not None else [])
        self.pair.setVisible(one is not None)
        self.cancels.setVisible(one is not None)
        self.cancels.setText(" ".join(filter(None, (one.reason, one.cancels))) if one else "")

    def show_waiting(self) -> None:
        """The statistics are being renewed: grey; names and buttons can be used meanwhile."""
        for widget in (self.table, self.pair, self.cancels):
            widget.setEnabled(False)

    def show_again(self) -> None:
        super().show_again()
        for widget in (self.table, self.pair, self.cancels):
            widget.setEnabled(True)

    def show_buttons(self) -> None:
        places = self._places
        regions = places.regions if places is not None else ()
        region = any(r.name == self._held for r in regions)
        profile = bool(self._held) and not region
        self.component.setEnabled(self._there and bool(self.component.menu().actions()))
        self.remove.setEnabled(bool(self._held))
        self.files.setEnabled(self._there)
        self.save_action.setEnabled(places is not None and len(places) > 0)
        self.exports["regions"].setEnabled(bool(regions))
        self.exports["difference"].setEnabled(region and bool(self.other))
        self.exports["profile"].setEnabled(profile)

    def set_theme(self, theme: Theme) -> None:
        super().set_theme(theme)
        for widget in (self.hint, self.why, self.cancels, self.local, self.note):
            look.shrink(widget)
        line = QFontMetrics(self.note.font()).lineSpacing()
        self.note.setFixedHeight(2 * line + 12)

    def set_in_sight(self, seen: bool) -> None:
        """Whether it can be seen; a panel behind another can't, though Qt calls it visible."""
        if seen != self.in_sight:
            self.in_sight = seen
            self.seen.emit(seen)

    def clear(self) -> None:
        super().clear()
        self._lines = []

    # -- what the person does

    def _rename(self) -> None:
        name = self.name.text().strip()
        if not self.name.isModified() or not self._held:
            return
        self.name.setModified(False)
        if not name:
            self.name.setText(self._held)
        elif name != self._held:
            self.renamed.emit(self._held, name)

    def keyPressEvent(self, event: Any) -> None:
        if event.key() == Qt.Key.Key_Delete and self.list.hasFocus() and self._held:
            self.removed.emit(self._held)
        else:
            super().keyPressEvent(event)

    def sizeHint(self) -> QSize:
        return QSize(380, 420)


def _button(words: str, tip: str, parent: QWidget) -> QToolButton:
    button = QToolButton(parent)
    button.setText(words)
    button.setToolTip(tip)
    return button
