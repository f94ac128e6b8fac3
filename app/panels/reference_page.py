"""The page *Reference*: what other settings made of the map, against a result that is held."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QLabel, QPushButton, QWidget

from ...core import units
from ...core.channels import CHANNELS
from .law_page import Page, Switch, percent, plain, wrapped
from .law_table import Line, Table
from .row import words_of

FRONT = ""
"""Stands for the channel that is shown on the map."""
NONE = ("No result is held as reference. “Hold as reference” keeps the present one; change a "
        "setting after it, and this page tells what that did to every component.")  # fmt: skip
MAPS = {"": "Channel", "difference": "Difference", "ratio": "Ratio", "significance": "In ±"}
MAP_TIPS = {
    "": "The map shows the channel itself",
    "difference": "The map shows the channel now less the reference, at pixels that both trust",
    "ratio": "The map shows 100 ln(now / reference): in per cent for small changes; twice as much "
             "is +69 %, half as much −69 %",
    "significance": "The map shows the change over the joint ± of both, √(s₁² + s₂²); they share "
                    "the noise of the curve, so the figure is on the low side",
}  # fmt: skip
TITLES = ("", "Before", "Now", "Change", "Trusted")
TIPS = (
    "All pixels, and each component as it was worked out last",
    "Median under the reference, over the pixels trusted there",
    "Median now, over the pixels trusted now",
    "Median of the changes of single pixels that both trust, with its standard error over as many "
    "independent pixels as the changes show. Both share the noise of the curves, so this ± is "
    "smaller than those of the two medians",
    "Trusted pixels before, and now",
)
MUCH = 0.1
"""What comes from other pixels is told from this share of the change on."""
ALL = "All"
"""Core's title of all pixels."""


class ReferencePage(Page):
    """Signals, each only for what the person did
    ------------------------------------------
    hold_wanted, let_go_wanted, settings_wanted : the buttons
    map_wanted(name) : of `MAPS`
    channel_chosen : see `channel`
    """

    hold_wanted = Signal()
    let_go_wanted = Signal()
    settings_wanted = Signal()
    map_wanted = Signal(str)
    channel_chosen = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._held = self._can_hold = self._differs = False
        self.sentence = wrapped("", "strong")
        self.maps = Switch(MAPS)
        for name, button in self.maps.buttons.items():
            button.setToolTip(MAP_TIPS[name])
        self.maps.chosen.connect(self.map_wanted)
        self.chooser = QComboBox(self)
        self.chooser.setAccessibleName("Channel of the changes")
        self.chooser.activated.connect(lambda _: self.channel_chosen.emit())
        self.table = Table(TITLES, "Changes per component", TIPS)
        self.all_title = wrapped("", "strong")
        self.all = Table(TITLES[:4], "Changes of all channels", ("", *TIPS[1:4]))
        self._changes: Sequence[Any] = ()
        self.table.chosen.connect(lambda _: self._fill_all())
        self.settings_title = wrapped("Settings that differ", "strong")
        self.settings = Table(("Setting", "Reference", "Now"), "Settings that differ", words=(0,))
        self.note = wrapped(
            "± are standard errors of the median change, from paired pixels. What both share "
            "(noise of the curve, spring constant, tip) is in both and does not widen it; a bias "
            "that both have is not seen here. Components are those of the present result.",
            "muted")  # fmt: skip
        self._lay_out()
        self.show_reference("", False)

    def _lay_out(self) -> None:
        row = QHBoxLayout()
        row.addWidget(QLabel("The map shows", self))
        row.addWidget(self.maps, 1)
        other = QHBoxLayout()
        other.addWidget(QLabel("Channel", self))
        other.addWidget(self.chooser, 1)
        self.rows = QWidget(self), QWidget(self)
        for widget, line in zip(self.rows, (row, other), strict=True):
            line.setContentsMargins(0, 0, 0, 0)
            widget.setLayout(line)
        self.head.addWidget(self.sentence)
        for widget in self.rows:
            self.head.addWidget(widget)
        for widget in (self.table, self.all_title, self.all, self.settings_title, self.settings,
                       self.note):  # fmt: skip
            self.body.addWidget(widget)
        self.body.addStretch(1)
        self.hold = QPushButton(self)
        self.use = QPushButton("Use its settings", self)
        self.use.setToolTip("Go back to the settings of the reference; one step of undo")
        self.drop = QPushButton("Let go", self)
        self.drop.setToolTip("Let the reference go")
        for button, signal in ((self.hold, self.hold_wanted), (self.use, self.settings_wanted),
                               (self.drop, self.let_go_wanted)):  # fmt: skip
            button.clicked.connect(signal)
        self.foot.addWidget(self.hold)
        self.foot.addStretch(1)
        self.foot.addWidget(self.use)
        self.foot.addWidget(self.drop)

    # -- what is shown --------------------------------------------------------------------------

    @property
    def channel(self) -> str:
        """The channel in front; `FRONT` for the one on the map."""
        return self.chooser.currentData() or FRONT

    def show_channels(self, channels: Sequence[Any]) -> None:
        """What can be chosen; a choice that is gone goes back to the channel on the map."""
        names = [FRONT, *(channel.name for channel in channels)]
        if names == [self.chooser.itemData(i) for i in range(self.chooser.count())]:
            return
        kept = self.channel
        self.chooser.clear()
        self.chooser.addItem("(shown on the map)", FRONT)
        for channel in channels:
            self.chooser.addItem(channel.title, channel.name)
        self.chooser.setCurrentIndex(max(self.chooser.findData(kept), 0))

    def show_reference(self, sentence: str, held: bool, why: str = NONE) -> None:
        """Whether a result is held, and what is to be said of it; `why` there is nothing else."""
        self._held = held
        self.sentence.setText(sentence)
        for widget in (self.sentence, *self.rows):
            widget.setVisible(held)
        if not held:
            self.show_reason(why)
        self.hold.setText("Hold the present result instead" if held else "Hold as reference")
        self.hold.setToolTip("Keep the present result, to compare others with it")
        self.show_buttons()

    def show_state(self, can_hold: bool, differs: bool) -> None:
        """Whether the present result can be held, and whether its settings are others."""
        self._can_hold, self._differs = can_hold, differs
        self.show_buttons()

    def show_map(self, name: str) -> None:
        """What the map shows, as `MAPS` names it."""
        self.maps.set_current(name)

    def show_settings(self, found: Sequence[Any], more: Sequence[tuple[str, str, str]]) -> None:
        """The settings that differ (core's `Differing`), and what else does."""
        lines = [Line((words_of(d.path).capitalize(), d.before_words, d.now_words), tip=d.path)
                 for d in found]  # fmt: skip
        self.settings.fill([*lines, *(Line(one) for one in more)])
        for widget in (self.settings, self.settings_title):
            widget.setVisible(bool(lines) or bool(more))

    def show_changes(self, found: Any, channel: str) -> None:
        """`Changes`, with the channel in front."""
        self.show_numbers()
        front = [c for c in found.rows if c.channel == channel]
        self.table.fill([_line(c, _unit_of(front)) for c in front])
        if found.whole:
            self._changes = found.rows
            self._fill_all()

    def _fill_all(self) -> None:
        """All channels of the line that is chosen above; of all pixels before one is."""
        whom = self.table.current_key() or ALL
        rows = [c for c in self._changes if c.title == whom] or [
            c for c in self._changes if c.title == ALL]  # fmt: skip
        title = rows[0].title if rows else ALL
        self.all_title.setText("All channels, all pixels" if title == ALL
                               else f"All channels, component {title}")  # fmt: skip
        self.all.fill([Line((CHANNELS[c.channel].label, *_cells(c, _unit_of([c])))) for c in rows])

    def show_buttons(self) -> None:
        self.hold.setEnabled(self._can_hold)
        self.use.setEnabled(self._held and self._differs)
        self.drop.setEnabled(self._held)


def _unit_of(rows: Sequence[Any]) -> str:
    """One unit for all medians of a channel."""
    sizes = [abs(v) for c in rows for v in (c.before, c.after) if math.isfinite(v)]
    core = rows[0].unit if rows else ""
    return units.best_unit(max(sizes), core)[0] if sizes and core else core


def change_text(change: Any, unit: str = "") -> str:
    """The median change with its ±, in per cent where it has a ratio."""
    value, error, core = change.difference, change.error, change.unit
    if change.has_ratio:
        value, error, core, unit = 100 * change.relative, 100 * change.relative_error, "%", ""
    if not math.isfinite(value):
        return "–"
    if value == 0.0 and error == 0.0:
        return "none"
    sign = "+" if value > 0.0 else ""
    return (sign + units.text_of(value, core, error, unit=unit)).replace("-", "−")


def _cells(change: Any, unit: str) -> tuple[str, ...]:
    """Both medians and the change."""
    medians = (units.text_of(v, change.unit, unit=unit) for v in (change.before, change.after))
    return (*(text.replace("-", "−") for text in medians), change_text(change, unit))


def _line(change: Any, unit: str) -> Line:
    """The line of one component, and what should be told below it."""
    cells = (change.title, *_cells(change, unit),
             f"{change.trusted_before} → {change.trusted_after}")  # fmt: skip
    tip = (f"{change.pixels} pixels trusted by both, as {plain(change.independent)} independent "
           "ones. Choose a line to see all its channels below.")  # fmt: skip
    return Line(cells, change.title, note_of(change), tip, strong=change.number is None)


def note_of(change: Any) -> str:
    """What is to be said of a change beside its figures; empty if nothing."""
    said = []
    if change.gained or change.lost > 0:
        lost = f"{change.lost} lost" if change.lost >= 0 else "lost ones not known"
        said.append(f"{change.gained} pixels gained trust, {lost}.")
    if change.beyond > 0.0:
        said.append(f"{percent(change.beyond)} of the pixels changed by more than twice their "
                    "joint ±.")  # fmt: skip
    whole = change.after - change.before
    noticed = math.isfinite(change.error) and abs(change.others) > 2.0 * change.error
    if noticed and abs(change.others) > MUCH * abs(whole):
        shown, factor = units.best_unit(change.others, change.unit)
        text = f"{plain(factor * change.others, 2)} {shown}".strip()
        said.append(f"{text} of the change of the medians comes from other pixels being trusted.")
    return " ".join(said)
