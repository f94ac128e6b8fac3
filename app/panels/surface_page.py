"""The page *Surface* of the panel Components: levelling, roughness, heights, slopes, and whether a
channel follows the topography."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

from PySide6.QtCore import Signal
from PySide6.QtWidgets import (
    QComboBox,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QToolButton,
    QWidget,
)

from ...core import units
from ...core.channels import CHANNELS
from ..surface_calls import CHECKED, Options, lettered, said_of
from ..theme import Theme
from .fields import NumberField
from .law_page import Page, plain, verdict_icon, wrapped
from .law_table import Line, Table
from .levelling_form import LevellingForm, Swatch

PICTURES = {"": "the channel", "levelled": "levelled height", "slope": "slope",
            "removed": "what was taken off"}  # fmt: skip
"""What the map can show -> words."""
CORRECTED = "corrected "
"""Before a channel's name: the corrected channel."""
QUANTITIES = {"height": "height", "slope": "slope", "curvature": "curvature",
              "along_x": "slope along x", "along_y": "slope along y"}  # fmt: skip
SIGNS = {"warn": "strained", "nothing seen": "fits", "can't be told": "unknown"}
"""A verdict of core -> the sign that stands for it."""


def _length(label: str, text: str) -> dict[str, Any]:
    return dict(label=label, unit="nm", low=0.0, high=1e7, open_low=False, help=text)


NUMBERS: dict[str, dict[str, Any]] = {
    "short": _length("S-filter", "Cut-off: shorter waves are smoothed away. 0: no filter."),
    "long": _length("L-filter", "Cut-off: longer waves are taken off. 0: no filter."),
    "smoothing": _length("Smoothed by", "Standard deviation of a Gaussian over the heights before "
                         "slopes are taken; about the contact radius, for what the tip can't feel "
                         "does not tilt it. 0: none."),
    "limit": dict(label="Steep above", unit="°", low=0.0, high=90.0, open_low=True,
                  help="Slope above which a pixel counts as steep. 20 to 30° are usual."),
}  # fmt: skip
"""Field of `Options` -> its declaration."""


class SurfacePage(Page):
    """Signals
    -------
    levelling_edited(Levelling or None, words) : another levelling is wanted
    options_edited(Options) : another look
    refused(words) : what was typed is not possible
    picture_wanted(name) : a key of PICTURES, or "corrected " and a channel
    steep_wanted : gather the steep pixels
    save_wanted : the tables as a file
    """

    levelling_edited = Signal(object, str)
    options_edited = Signal(object)
    refused = Signal(str)
    picture_wanted = Signal(str)
    steep_wanted = Signal()
    save_wanted = Signal()

    def __init__(self, swatch: Swatch, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._swatch = swatch
        self._surface: Any = None
        self._titles: tuple[str, ...] = ()
        self.options = Options()
        self.form = LevellingForm(swatch, self)
        self.words = wrapped("", "muted")
        self.numbers = {name: NumberField(meta, False, False, self)
                        for name, meta in NUMBERS.items()}  # fmt: skip
        self._labels = {name: QLabel(self) for name in NUMBERS}
        self._build_picture()
        self._build_roughness()
        self._build_heights()
        self._build_slopes()
        self._build_findings()
        self.body.addStretch(1)
        self.save = QToolButton(self)
        self.save.setText("Save surface…")
        self.save.setToolTip("Save roughness, heights, slopes and findings as one table")
        self.foot.addStretch(1)
        self.foot.addWidget(self.save)
        self._listen()
        self.set_unit("nm")
        self.show_options(self.options)
        self.show_buttons()

    # -- building -------------------------------------------------------------------------------

    def _build_picture(self) -> None:
        self.picture = QComboBox(self)
        self.picture.setAccessibleName("Shown on the map")
        for name, words in PICTURES.items():
            self.picture.addItem(words, name)
        row = QHBoxLayout()
        row.addWidget(QLabel("On the map", self))
        row.addWidget(self.picture, 1)
        self.body.addWidget(self.form)
        self.body.addWidget(self.words)
        self.body.addLayout(row)

    def _build_roughness(self) -> None:
        self.whom = QComboBox(self)
        self.whom.setAccessibleName("Roughness of")
        self.whom.addItem("the whole surface", None)
        self.rough = Table(["", "", "Value"], "roughness", words=(0, 1))
        self.rough_words = wrapped("", "muted")
        grid = self._grid()
        label = QLabel("Of", self)
        label.setBuddy(self.whom)
        grid.addWidget(label, 0, 0)
        grid.addWidget(self.whom, 0, 1)
        self._put(grid, 1, "short", "long")
        self.body.addWidget(wrapped("Roughness", "strong"))
        self.body.addLayout(grid)
        self.body.addWidget(self.rough)
        self.body.addWidget(self.rough_words)

    def _build_heights(self) -> None:
        self.heights_title = wrapped("Heights of the components", "strong")
        self.heights = Table(["", "at the peak", "at contact", "dent"], "heights", words=(0,))
        self.heights_words = wrapped("", "muted")
        for widget in (self.heights_title, self.heights, self.heights_words):
            self.body.addWidget(widget)

    def _build_slopes(self) -> None:
        self.slope_words = wrapped("")
        self.gather = QPushButton("Gather steep pixels", self)
        self.gather.setToolTip("Select them on the map and in the histograms; they can be left out "
                               "on the page Find")  # fmt: skip
        grid = self._grid()
        self._put(grid, 0, "limit", "smoothing")
        self.body.addWidget(wrapped("Slopes", "strong"))
        self.body.addLayout(grid)
        self.body.addWidget(self.slope_words)
        self.body.addWidget(self.gather)

    def _build_findings(self) -> None:
        self.body.addWidget(wrapped("Does a channel follow the surface?", "strong"))
        self.findings = Table(["", ""], "findings", words=(0,))
        self.findings.horizontalHeader().hide()
        self.body.addWidget(self.findings)
        self.corrections = {}
        for name in CHECKED:
            button = QPushButton(f"Show corrected {said_of(name)} on the map", self)
            button.setCheckable(True)
            self.corrections[name] = button
            self.body.addWidget(button)
        self.caution = wrapped(
            "A correction is only looked at: tables, components and exports keep the channel as "
            "it was measured.", "muted")  # fmt: skip
        self.body.addWidget(self.caution)

    def _grid(self) -> QGridLayout:
        grid = QGridLayout()
        grid.setVerticalSpacing(3)
        grid.setColumnStretch(1, 1)
        return grid

    def _put(self, grid: QGridLayout, row: int, *names: str) -> None:
        for at, name in enumerate(names):
            label, field = self._labels[name], self.numbers[name]
            label.setBuddy(field)
            field.setAccessibleName(NUMBERS[name]["label"])
            for widget in (label, field):
                widget.setToolTip(NUMBERS[name]["help"])
            grid.addWidget(label, row + at, 0)
            grid.addWidget(field, row + at, 1)

    def _listen(self) -> None:
        self.form.edited.connect(self.levelling_edited)
        self.picture.activated.connect(lambda i: self.picture_wanted.emit(self.picture.itemData(i)))
        self.whom.activated.connect(lambda i: self._want(whom=self.whom.itemData(i)))
        for name, field in self.numbers.items():
            field.edited.connect(lambda value, _, n=name: self._want_number(n, value))
            field.refused.connect(self.refused)
        for name, button in self.corrections.items():
            button.clicked.connect(
                lambda on, n=name: self.picture_wanted.emit(CORRECTED + n if on else "")
            )
        self.gather.clicked.connect(self.steep_wanted)
        self.save.clicked.connect(self.save_wanted)

    # -- what is shown --------------------------------------------------------------------------

    def set_unit(self, unit: str) -> None:
        """Of lengths along the map: nm, or pixels."""
        for name, meta in NUMBERS.items():
            own = meta["unit"] if name == "limit" else unit
            self._labels[name].setText(f"{meta['label']} ({own})")
        for widget in (self.numbers["limit"], self._labels["limit"]):
            widget.setEnabled(unit == "nm")

    def show_components(self, titles: tuple[str, ...]) -> None:
        """Titles of the components that there are."""
        self.form.show_components(titles)
        if titles == self._titles:
            return
        self._titles = titles
        self.whom.clear()
        self.whom.addItem("the whole surface", None)
        for number, title in enumerate(titles):
            self.whom.addItem(self._swatch(number, self.theme), title, number)
        self.show_options(self.options)

    def show_options(self, options: Options) -> None:
        self.options = options
        for name, field in self.numbers.items():
            field.set_value(getattr(options, name))
        at = 0 if options.whom is None else 1 + options.whom
        self.whom.setCurrentIndex(at if at < self.whom.count() else 0)

    def show_picture(self, name: str) -> None:
        """What the map shows; told nothing of it."""
        self.picture.setCurrentIndex(max(self.picture.findData(name), 0))
        for channel, button in self.corrections.items():
            button.setChecked(name == CORRECTED + channel)

    def show_surface(self, surface: Any) -> None:
        """A `Surface`, as far as it is worked out."""
        self._surface = surface
        self.show_components(surface.subject.titles)
        self.show_numbers()
        self.words.setText(surface.words)
        if surface.roughness is not None:
            self._fill_roughness(surface.roughness)
        self._fill_heights(surface.heights)
        if surface.slopes is not None:
            self.slope_words.setText(_steep_words(surface))
        self._fill_findings(surface)
        self.show_buttons()

    def _fill_roughness(self, found: Any) -> None:
        self.rough.fill([_rough_line(p) for p in found.parameters.values()])
        starred = any(p.note for p in found.parameters.values())
        star = " * beware: the tip of that line says of what." if starred else ""
        self.rough_words.setText(found.words + star)

    def _fill_heights(self, report: Any) -> None:
        there = report is not None and bool(report.components)
        for widget in (self.heights_title, self.heights, self.heights_words):
            widget.setVisible(there)
        if not there:
            self.heights.fill([])
            return
        lines = []
        for one in report.components:
            cells = (_middle(m) for m in (one.at_peak, one.at_contact, one.dent))
            title = self._titles[one.component] if one.component < len(self._titles) else ""
            tip = f"The lever bends by {_middle(one.bending)} nm at the peak."
            sign = self._swatch(one.component, self.theme)
            lines.append(Line((title, *cells), icon=sign, tip=tip))
        lines += [Line(("",), note=lettered(c.words)) for c in report.contrasts]
        self.heights.fill(lines)
        self.heights_words.setText("In nm, medians ± standard errors. " + report.words)

    def _fill_findings(self, surface: Any) -> None:
        lines = []
        for name, found in surface.findings.items():
            for one in found:
                if one.component is not None and SIGNS[one.verdict] != "strained":
                    continue
                where = "" if one.component is None else f", {self._title(one.component)} alone"
                title = f"{CHANNELS[name].label} and {QUANTITIES[one.quantity]}{where}"
                sign = verdict_icon(SIGNS[one.verdict], self.theme)
                lines.append(Line((title, _change(one.change)), icon=sign, tip=_finding_tip(one),
                                  note=lettered(one.words), strong=one.component is None))
        self.findings.fill(lines)

    def _title(self, number: int) -> str:
        return self._titles[number] if number < len(self._titles) else ""

    def show_buttons(self) -> None:
        surface = self._surface
        whole = surface is not None and surface.whole
        self.save.setEnabled(whole)
        steep = surface is not None and surface.slopes is not None and surface.subject.scaled
        self.gather.setEnabled(bool(steep and surface.slopes.steep.any()))
        for name, button in self.corrections.items():
            made = surface.corrected.get(name) if surface is not None else None
            button.setEnabled(made is not None or button.isChecked())
            button.setToolTip(lettered(made.words) if made is not None else
                              "There is nothing to correct: no dependence was seen.")  # fmt: skip
            button.setVisible(surface is not None and name in surface.findings)

    def show_waiting(self) -> None:
        """Numbers are grey until renewed; the form can be used meanwhile."""
        for table in self.tables():
            table.setEnabled(False)

    def show_again(self) -> None:
        for table in self.tables():
            table.setEnabled(True)
        self.show_buttons()

    def clear(self) -> None:
        super().clear()
        self._surface = None
        for label in (self.words, self.rough_words, self.heights_words, self.slope_words):
            label.setText("")
        self._fill_heights(None)
        self.show_buttons()

    def _reasoned(self, on: bool) -> None:
        """The form stays, for it may be what has to be mended."""
        self.reason.setVisible(on)
        self.filler.hide()
        self.area.show()

    def set_theme(self, theme: Theme) -> None:
        super().set_theme(theme)
        self.form.set_theme(theme)
        for number in range(len(self._titles)):
            self.whom.setItemIcon(1 + number, self._swatch(number, theme))
        if self._surface is not None:
            self.show_surface(self._surface)

    # -- what the person does -------------------------------------------------------------------

    def _want_number(self, name: str, value: float | None) -> None:
        if value is not None:
            self._want(**{name: float(value)})

    def _want(self, **change: Any) -> None:
        wanted = replace(self.options, **change)
        if wanted.short > 0.0 and wanted.long > 0.0 and wanted.short >= wanted.long:
            self.refused.emit("The cut-off of the S-filter must be below that of the L-filter.")
            self.show_options(self.options)
            return
        self.show_options(wanted)
        self.options_edited.emit(wanted)


def _rough_line(p: Any) -> Line:
    tip = f"{p.name}: {p.formula}." + (f"\n{p.note[:1].upper()}{p.note[1:]}." if p.note else "")
    star = " *" if p.note else ""
    unit = "" if p.unit == "pixels" else p.unit
    said = "–" if not math.isfinite(p.value) else (
        units.text_of(p.value, unit, p.error) if unit in ("nm", "") else
        f"{p.value:.1f} {unit}")  # fmt: skip
    said += " pixels" if p.unit == "pixels" and math.isfinite(p.value) else ""
    return Line((p.symbol + star, p.name, said), tip=tip, faint=not math.isfinite(p.value))


def _middle(middle: Any) -> str:
    return units.text_of(middle.value, "nm", middle.error, unit="nm").removesuffix(" nm")


def _steep_words(surface: Any) -> str:
    slopes, scaled = surface.slopes, surface.subject.scaled
    if not scaled:
        return "An angle needs the distance between pixels in nm, which this map does not have."
    return slopes.words.replace(", in units of the pitch", ", nm") if slopes.smoothing else (
        "Slopes of the heights as they are: " + slopes.words.split(": ", 1)[1])  # fmt: skip


def _change(value: float) -> str:
    return f"{value:+.0f} %".replace("-", "−") if math.isfinite(value) else "–"


def _finding_tip(one: Any) -> str:
    return (f"Spearman's r {plain(one.correlation, 2)}; p {plain(one.p_value, 2)} with "
            f"{plain(one.effective)} independent of {one.pixels} pixels; as if all were "
            f"independent p {plain(one.naive, 2)}.")  # fmt: skip
