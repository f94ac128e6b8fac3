"""The tab *Rehearsal*: a form, what the rehearsal means, its plots, and a table under them."""

from __future__ import annotations

import math
from typing import Any

from PySide6.QtCore import QSignalBlocker, Qt, Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QScrollArea,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from ..panels.fields import NumberField
from ..panels.law_page import percent, plain, wrapped
from ..panels.law_table import Line, Table
from ..rehearsal_calls import Wish
from ..theme import LIGHT, SPACE, Theme
from .rehearsal_plots import (
    FaultBars,
    ModulusPlot,
    draw_bias,
    draw_held,
    draw_scatter,
    share_of,
)

FAULTS = 10
"""Curves of each modulus with each kind of fault, where faults are planted."""
FIELDS = {
    "low": ("From", "GPa", 1e-9, 1e6, False, "The lowest modulus that is put in"),
    "high": ("to", "GPa", 1e-9, 1e6, False, "The highest modulus that is put in"),
    "steps": ("Moduli", "", 2, 64, True, "How many, at even steps of their logarithm"),
    "curves": ("Curves of each", "", 8, 10_000, True,
               "More curves tell bias and scatter better, and take longer"),
    "seed": ("Seed", "", 0, 2**31, True, "Another seed plays other noise; the same one repeats"),
}  # fmt: skip
SCENE = {
    "noise": ("Noise", "nm", 1e-6, 1e3, "White noise of the deflection"),
    "walk": ("Slow noise", "nm²/nm", 0.0, 1e3, "As a random walk along the way of the base"),
    "peak_force": ("Peak force", "nN", 1e-6, 1e6, "Where the approach stops"),
    "travel": ("Travel", "nm", 1.0, 1e6, "Of each branch, with as many samples as now"),
    "pull_off": ("Pull-off", "nN", 0.0, 1e6, "The same for all moduli"),
}  # fmt: skip
"""Numbers of the scene that can be given in place of the measured ones."""
TITLES = ("E (GPa)", "Bias (%)", "Scatter", "Stated ±", "In ±", "In 1.96 ±", "Refused",
          "F_ad (nN)")  # fmt: skip
TIPS = ("Young's modulus put in", "Median of measured over true, in per cent, "
        "with its standard error from these few curves",
        "Robust deviation of single pixels, relative",
        "Median of the ± that the pixels state, relative",
        "Truths within the stated ±; 68.3 % by right",
        "Truths within 1.96 of it; 95 % by right",
        "Good curves with a severe doubt",
        "Bias of the adhesion, with its standard error")  # fmt: skip


class RehearsalPage(QWidget):
    """Signals, each only for what the person did
    ------------------------------------------
    run_wanted, stop_wanted, save_wanted
    refused(words) : what was typed is no number, or impossible
    """

    run_wanted = Signal()
    stop_wanted = Signal()
    save_wanted = Signal()
    refused = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme: Theme = LIGHT
        self._made: Any = None
        self._given: set[str] = set()  # fields that the person has set
        self.scene: dict[str, NumberField] = {}
        self.chosen = -1
        self.fields: dict[str, NumberField] = {}
        self._build()
        self.set_theme(LIGHT)
        self.clear()

    # -- building -------------------------------------------------------------------------------

    def _build(self) -> None:
        self.reason, self.meaning, self.detail = wrapped(""), wrapped(""), wrapped("", "muted")
        self.stale = wrapped("", "strong")
        self.assumed = wrapped("", "muted")
        self.bias = ModulusPlot("Bias of E (%)", "Bias of the modulus",
                                "Median of measured over true with its 95 % interval; shaded: the "
                                "scatter of single pixels. Click a point for its numbers.",
                                "● bias, 95 %   shaded: scatter of single pixels")
        self.scatter = ModulusPlot("Relative (%)", "Scatter and stated ±",
                                   "Filled: scatter of single pixels. Open: the ± that they "
                                   "state.", "● scatter of E   □ stated ±")  # fmt: skip
        self.held = ModulusPlot("Truths held (%)", "What the stated ± holds",
                                "Circles: within the stated ±, 68.3 % by right. Triangles: within "
                                "1.96 of it, 95 % by right. Lines: exact intervals of 95 %.",
                                "● in the stated ±   ▼ in 1.96 of it")
        self.bars = FaultBars()
        self.table = Table(TITLES, "rehearsal", TIPS, words=())
        self.inside = QWidget(self)
        grid = QGridLayout(self.inside)
        grid.setContentsMargins(0, 0, SPACE // 2, 0)
        grid.setSpacing(SPACE // 2)
        self.bias.setFixedHeight(205)
        for plot in (self.scatter, self.held):
            plot.setFixedHeight(185)
        for row, widget in enumerate((self.meaning, self.bias)):
            grid.addWidget(widget, row, 0, 1, 2)
        grid.addWidget(self.scatter, 2, 0)
        grid.addWidget(self.held, 2, 1)
        for row, widget in enumerate((self.detail, self.table, self.bars, self.assumed), start=3):
            grid.addWidget(widget, row, 0, 1, 2)
        grid.setRowStretch(7, 1)
        self.area = QScrollArea(self)
        self.area.setWidget(self.inside)
        self.area.setWidgetResizable(True)
        self.area.setFrameShape(QFrame.Shape.NoFrame)
        self.area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        box = QVBoxLayout(self)
        box.setContentsMargins(SPACE, SPACE, SPACE, SPACE)
        box.setSpacing(SPACE // 2)
        box.addLayout(self._form())
        box.addWidget(self._scene_form())
        box.addWidget(self.stale)
        box.addWidget(self.reason)
        box.addWidget(self.area, 1)
        box.addStretch(0)
        for plot in (self.bias, self.scatter, self.held):
            plot.chosen.connect(self.choose)
        self.table.chosen.connect(lambda key: self.choose(-1 if key is None else key))

    def _form(self) -> QVBoxLayout:
        first, second, third, both = (QHBoxLayout(), QHBoxLayout(), QHBoxLayout(),
                                      QVBoxLayout())  # fmt: skip
        for name, (label, unit, low, high, whole, tip) in FIELDS.items():
            meta = {"unit": unit, "low": low, "high": high, "open_low": False, "label": label}
            field = NumberField(meta, False, whole, self)
            field.setAccessibleName(f"{label} {unit}".strip())
            field.setToolTip(f"{tip}; {low:g} to {high:g} {unit}".strip())
            field.setFixedWidth(64)
            field.edited.connect(lambda value, _, n=name: self._edit(n, value))
            field.refused.connect(self.refused)
            self.fields[name] = field
            row = first if name in ("low", "high", "steps") else second
            row.addWidget(QLabel(label, self))
            row.addWidget(field)
            if unit:
                row.addWidget(QLabel(unit, self))
        self.faults = QCheckBox("Plant faults", self)
        self.faults.setToolTip(f"Also plant each kind of fault in {FAULTS} curves of each modulus, "
                               "and count which are told by the right doubt")  # fmt: skip
        self.faults.setChecked(True)
        self.run, self.stop, self.save = (QPushButton(self) for _ in range(3))
        for button, words, tip, signal in (
            (self.run, "Run", "Rehearse with the present settings", self.run_wanted),
            (self.stop, "Stop", "Stop the rehearsal", self.stop_wanted),
            (self.save, "Save…", "Save the tables, the scene and what it means", self.save_wanted),
        ):
            button.setText(words)
            button.setToolTip(tip)
            button.clicked.connect(signal)
        first.addStretch(1)
        self.scene_button = QToolButton(self)
        self.scene_button.setText("Scene")
        self.scene_button.setCheckable(True)
        self.scene_button.setToolTip("Other numbers than those measured on this map: what would "
                                     "more force or less noise do?")  # fmt: skip
        second.addWidget(self.faults)
        second.addWidget(self.scene_button)
        second.addStretch(1)
        for button in (self.run, self.stop, self.save):
            third.addWidget(button)
        third.addStretch(1)
        for row in (first, second, third):
            both.addLayout(row)
        wish = Wish(0.1, 1.0)
        for name in FIELDS:
            self.fields[name].set_value(getattr(wish, name))
        return both

    def _scene_form(self) -> QWidget:
        """Numbers of the scene; an empty one is as measured on the map."""
        self.scene_form = QWidget(self)
        grid = QGridLayout(self.scene_form)
        grid.setContentsMargins(0, 0, 0, 0)
        for i, (name, (label, unit, low, high, tip)) in enumerate(SCENE.items()):
            meta = {"unit": unit, "low": low, "high": high, "open_low": False, "label": label}
            field = NumberField(meta, True, False, self.scene_form)
            field.setAccessibleName(f"{label} {unit}".strip())
            field.setToolTip(f"{tip}. Empty: as measured on this map.")
            field.setMinimumWidth(116)
            field.set_recorded(None, True, "as measured")
            field.edited.connect(lambda value, _, n=name: self._edit_scene(n, value))
            field.refused.connect(self.refused)
            self.scene[name] = field
            words = f"{label} ({unit})" if unit else label
            grid.addWidget(QLabel(words, self.scene_form), i // 2, 2 * (i % 2))
            grid.addWidget(field, i // 2, 2 * (i % 2) + 1)
        grid.setColumnStretch(1, 1)
        grid.setColumnStretch(3, 1)
        self.scene_form.hide()
        self.scene_button.toggled.connect(self.scene_form.setVisible)
        return self.scene_form

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        for part in (self.bias, self.scatter, self.held, self.bars, self.table):
            part.set_theme(theme)
        if self._made is not None:
            self._draw()

    # -- the form -------------------------------------------------------------------------------

    def wish(self) -> Wish:
        """What the form asks for."""
        value = {name: field.value() for name, field in self.fields.items()}
        whole = {name: int(value[name] or 0) for name in ("steps", "curves", "seed")}
        faults = FAULTS if self.faults.isChecked() else 0
        changes = tuple((name, field.value()) for name, field in self.scene.items()
                        if field.value() is not None)  # fmt: skip
        return Wish(float(value["low"] or 0.0), float(value["high"] or 0.0), faults=faults,
                    changes=changes, **whole)  # fmt: skip

    def offer(self, low: float, high: float, scene: Any = None) -> None:
        """A range of moduli [GPa], and the measured scene; what the person has set stays."""
        for name, field in self.scene.items():
            measured = getattr(scene, name, None)
            field.set_recorded(None, True, f"measured {measured:.3g}" if measured is not None
                               else "as measured")  # fmt: skip
        for name, value in (("low", low), ("high", high)):
            if name not in self._given:
                self.fields[name].set_value(value)

    def _edit(self, name: str, value: Any) -> None:
        label, unit, low, high, whole, _ = FIELDS[name]
        possible = value is not None and low <= value <= high
        if not possible or (whole and value != int(value)):
            kind = "a whole number " if whole else ""
            self.refused.emit(f"{label}: {kind}from {low:g} to {high:g} {unit} is needed.")
            self.fields[name].restore()
            return
        self._given.add(name)
        self.fields[name].set_value(value)

    def _edit_scene(self, name: str, value: Any) -> None:
        label, unit, low, high, _ = SCENE[name]
        if value is not None and not low <= value <= high:
            self.refused.emit(f"{label}: from {low:g} to {high:g} {unit} is needed.")
            self.scene[name].restore()
            return
        self.scene[name].set_value(value)

    # -- what is shown --------------------------------------------------------------------------

    def set_ready(self, ready: bool, running: bool = False) -> None:
        """Whether it can be run, and whether it is running."""
        self.run.setEnabled(ready and not running)
        self.stop.setEnabled(running)
        self.save.setEnabled(self._made is not None and not running)

    def clear(self) -> None:
        self._made, self.chosen = None, -1
        self._given.clear()
        for field in self.scene.values():
            field.set_value(None)
        for plot in (self.bias, self.scatter, self.held):
            plot.clear()
        self.bars.show_faults([])
        self.table.fill([])
        self.tell("")
        self.set_stale("")
        self.area.setVisible(False)
        self.set_ready(False)

    def show_reason(self, words: str) -> None:
        """Why there is nothing to show."""
        self.area.setVisible(False)
        self.tell(words)

    def tell(self, words: str) -> None:
        """A sentence above the plots; empty takes it away."""
        self.reason.setText(words)
        self.reason.setVisible(bool(words))

    def set_stale(self, words: str) -> None:
        """Why what is shown no longer holds; empty if it does."""
        self.stale.setText(words)
        self.stale.setVisible(bool(words))

    def show_made(self, made: Any) -> None:
        """A `Rehearsal`."""
        from ...core.rehearsal import scene_words, sentences

        self._made, self.chosen = made, -1
        self.tell("")
        self.area.setVisible(True)
        self.meaning.setText("\n".join(sentences(made)))
        self.assumed.setText(f"Scene: {scene_words(made.scene)}\nAssumed: "
                             + " ".join(made.scene.assumed))  # fmt: skip
        self._draw()
        self.set_ready(True)

    def _draw(self) -> None:
        made = self._made
        draw_bias(self.bias, made.moduli, made.rows)
        draw_scatter(self.scatter, made.moduli, made.rows)
        draw_held(self.held, made.moduli, made.rows)
        self.table.fill([_line(i, row) for i, row in enumerate(made.rows)])
        self.choose(self.chosen)

    def choose(self, index: int) -> None:
        """Show the numbers of one modulus; -1 of none, and the faults over all."""
        if self._made is None:
            return
        from ...core.rehearsal.faring import ratio

        rows = self._made.rows
        self.chosen = index if 0 <= index < len(rows) else -1
        for plot in (self.bias, self.scatter, self.held):
            plot.choose(self.chosen)
        with QSignalBlocker(self.table):
            self.table.choose(self.chosen if self.chosen >= 0 else None)
        self.table.viewport().update()
        one = rows[self.chosen] if self.chosen >= 0 else None
        self.detail.setText(detail_of(one) if one else "Click a point or a line for its numbers.")
        self.bars.show_faults(share_of([one] if one else rows, ratio))


def _line(index: int, row: Any) -> Line:
    e, a = row.fared["modulus"], row.fared["adhesion"]
    cells = (f"{row.modulus:.3g}", _with_error(*e.shown),
             percent(e.scatter), percent(e.stated), percent(e.held.share),
             percent(e.held_wide.share), percent(row.refused.share),
             _with_error(a.bias, a.bias_error, 1))  # fmt: skip
    return Line(cells, key=index)


def _with_error(value: float, error: float, figures: int = 2) -> str:
    """A number as exact as its error, such as ``−0.42 ± 0.51``."""
    if not (math.isfinite(value) and error > 0.0):
        return plain(value)
    places = min(max(figures - 1 - math.floor(math.log10(error)), 0), 2)
    return f"{value:.{places}f} ± {error:.{places}f}".replace("-", "−")


def detail_of(row: Any) -> str:
    """All numbers of one modulus, a line a quantity."""
    from ...core.channels import CHANNELS

    lines = [f"Put in: {row.modulus:.4g} GPa, pull-off {row.pull_off:.3g} nN, indentation "
             f"{row.indentation:.3g} nm, {row.curves} curves, {percent(row.refused.share)} of "
             f"them refused, {percent(row.doubted.share)} with any doubt."]  # fmt: skip
    for name, one in row.fared.items():
        scale, unit = (1.0, one.unit) if one.unit else (100.0, "%")
        scatter, stated = plain(scale * one.scatter), plain(scale * one.stated)
        bias, error = (plain(value) for value in one.shown)
        lines.append(
            f"{CHANNELS[name].label}: bias {bias} ± {error} {unit}, scatter {scatter} {unit}, "
            f"stated ± {stated} {unit}; holds {percent(one.held.share)} and "
            f"{percent(one.held_wide.share)} ({percent(one.held_wide.low)} to "
            f"{percent(one.held_wide.high)})."
        )
    if row.alarms:
        words = (f"{name.replace('_', ' ')} {percent(share)}"
                 for name, share in row.alarms.items())  # fmt: skip
        lines.append(f"Doubts of good curves: {', '.join(words)}.")
    c = row.contrast
    lines.append(f"A pull-off {c.planted:g} nN stronger reads {plain(c.found)} ± {plain(c.error)} "
                 f"nN stronger; single pixels are in the right order in {percent(c.single)} of "
                 f"pairs; {plain(c.pixels)} pixels of each are needed.")  # fmt: skip
    return "\n".join(lines)
