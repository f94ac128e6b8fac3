"""The pages of the export dialog beside *Maps*: what goes into a folder of its own each."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from PySide6.QtCore import Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDoubleSpinBox,
    QFormLayout,
    QHBoxLayout,
    QLabel,
    QLayout,
    QWidget,
)

from ...core.exporting import FORMATS, SURFACES, Body, Wanted
from ..theme import SPACE, toned

PICKED, GATHERED, ALL = "picked", "gathered", "all"
Pixels = tuple[tuple[int, int], ...]
TRUSTED = "Leave out pixels with a severe doubt"
TRUSTED_TIP = "Their numbers are written as missing, and so are those left out by hand"


class Page(QWidget):
    """One page. `name` is the end of the folder's name; `wanted` what it asks for.

    Signal changed: something else is chosen.
    """

    changed = Signal()
    name = ""

    def __init__(self, words: str) -> None:
        super().__init__()
        self.form = QFormLayout(self)
        self.form.setContentsMargins(SPACE, 2 * SPACE, SPACE, SPACE)
        self.form.setSpacing(SPACE)
        label = toned(QLabel(words), "muted")
        label.setWordWrap(True)
        self.form.addRow(label)

    @property
    def wanted(self) -> Wanted:
        raise NotImplementedError

    def _choice(self, label: str, table: Mapping[str, str], tip: str = "") -> QComboBox:
        combo = QComboBox()
        for key, words in table.items():
            combo.addItem(words, key)
        combo.setToolTip(tip)
        combo.currentIndexChanged.connect(self.changed)
        self.form.addRow(label, combo)
        return combo

    def _check(self, words: str, on: bool = True, tip: str = "") -> QCheckBox:
        check = QCheckBox(words)
        check.setChecked(on)
        check.setToolTip(tip)
        check.toggled.connect(self.changed)
        return check

    def _checks(self, label: str, words: Mapping[str, str], on: tuple[str, ...]
                ) -> dict[str, QCheckBox]:  # fmt: skip
        made = {key: self._check(text, key in on) for key, text in words.items()}
        self.form.addRow(label, _row(*made.values()))
        return made


def _row(*widgets: QWidget) -> QLayout:
    row = QHBoxLayout()
    row.setSpacing(2 * SPACE)
    for widget in widgets:
        row.addWidget(widget)
    row.addStretch(1)
    return row


def _on(checks: Mapping[str, QCheckBox]) -> tuple[str, ...]:
    return tuple(key for key, check in checks.items() if check.isChecked())


class TablesPage(Page):
    """All tables and the settings."""

    name = "tables"

    def __init__(self) -> None:
        super().__init__("Components, pairs, uncertainty budgets, doubts, decisions, constants, "
                         "settings, regions and profiles, as tables of numbers (.csv) in a folder "
                         "with a description of every column. What there is none of is left "
                         "out.")  # fmt: skip

    @property
    def wanted(self) -> Wanted:
        return Wanted(("tables",))


class CurvesPage(Page):
    """Curves of the picked pixel, of the gathered ones or of all.

    Parameters
    ----------
    picked, gathered : (row, col) of pixels; () for none
    """

    name = "curves"

    def __init__(self, picked: Pixels, gathered: Pixels) -> None:
        super().__init__("The samples of single curves: as recorded, and with the baseline off as "
                         "deflection, force, separation and indentation.")  # fmt: skip
        self._pixels = {PICKED: picked, GATHERED: gathered}
        of = {}
        if picked:
            of[PICKED] = f"the picked pixel (row {picked[0][0]}, column {picked[0][1]})"
        if gathered:
            of[GATHERED] = f"the {len(gathered)} gathered pixels"
        self.of = self._choice("Curves of", of | {ALL: "all pixels"})
        self.kinds = self._checks("Samples", {"raw": "as recorded", "corrected": "corrected"},
                                  ("raw", "corrected"))  # fmt: skip
        formats = {key: words for key, words in FORMATS.items() if key != "tif"}
        self.format = self._choice("Format", formats, "Tables of all curves are large: a line for "
                                   "each sample")  # fmt: skip

    @property
    def wanted(self) -> Wanted:
        of = self.of.currentData()
        return Wanted(("curves",), (self.format.currentData(),), curves=_on(self.kinds),
                      pixels=self._pixels.get(of, ()), all_pixels=of == ALL)  # fmt: skip


class SurfacePage(Page):
    """The height as a body.

    Parameters
    ----------
    channels : name -> title of those that can colour it
    """

    name = "surface"

    def __init__(self, channels: Mapping[str, str]) -> None:
        super().__init__("The height as a body of triangles. For print (STL) missing heights are "
                         "filled and the body is closed; coloured ones keep holes. Stretch, size "
                         "and colour limits are written beside each file.")  # fmt: skip
        short = {"stl": "STL", "ply": "PLY", "obj": "OBJ", "glb": "glTF (.glb)"}
        assert set(short) == set(SURFACES)
        self.formats = self._checks("Formats", short, ("stl", "ply"))
        for key, check in self.formats.items():
            check.setToolTip(SURFACES[key])
        self.height = self._choice("Height", {"height": "at the peak force",
                                              "contact_height": "at contact"})  # fmt: skip
        self.levelled = self._check("Levelled, as the page Surface says")
        self.form.addRow("", self.levelled)
        self.vertical = self._number("Heights times", 0.01, 1000.0, 1.0, "×",
                                     "Stretches the heights against the lateral scale; it stands "
                                     "in the file's name")  # fmt: skip
        self.width = self._number("Longer side in print", 5.0, 1000.0, 100.0, "mm", "Of the STL")
        self.colour = self._choice("Coloured by", channels,
                                   "Its 2nd to 98th percentile; grey without a value")  # fmt: skip
        place = self.colour.findData("reduced_modulus")
        self.colour.setCurrentIndex(max(place, 0))

    def _number(self, label: str, low: float, high: float, value: float, unit: str, tip: str
                ) -> QDoubleSpinBox:  # fmt: skip
        box = QDoubleSpinBox()
        box.setRange(low, high)
        box.setDecimals(2 if low < 1.0 else 0)
        box.setValue(value)
        box.setSuffix(f" {unit}")
        box.setToolTip(tip)
        box.setMinimumWidth(110)
        box.valueChanged.connect(self.changed)
        self.form.addRow(label, _row(box))
        return box

    @property
    def wanted(self) -> Wanted:
        body = Body(_on(self.formats), self.height.currentData(), self.levelled.isChecked(),
                    self.vertical.value(), self.width.value(),
                    colour=self.colour.currentData() or "height")  # fmt: skip
        return Wanted(("surface",) if body.formats else (), body=body)


class TogetherPage(Page):
    """Everything in one folder."""

    name = "export"

    def __init__(self, picked: Pixels) -> None:
        super().__init__("All of it in one folder that describes itself: maps with uncertainties, "
                         "doubts, decisions and components, and all tables.")  # fmt: skip
        self._picked = picked
        short = {"csv": "one table (.csv)", "npy": ".npy", "npz": ".npz", "h5": ".h5",
                 "tif": ".tif"}  # fmt: skip
        self.formats = self._checks("Maps as", short, ("csv", "h5"))
        for key, check in self.formats.items():
            check.setToolTip(FORMATS[key])
        self.trusted = self._check(TRUSTED, tip=TRUSTED_TIP)
        self.curve = self._check("With the picked pixel's curve", bool(picked))
        self.surface = self._check("With the surface (STL and PLY)", False)
        self.curve.setEnabled(bool(picked))
        for check in (self.trusted, self.curve, self.surface):
            self.form.addRow("", check)

    @property
    def wanted(self) -> Wanted:
        formats = _on(self.formats)
        parts = ["channels", "errors", "tables"] if formats else ["tables"]
        sampled = tuple(one for one in formats if one != "tif")
        if self.curve.isChecked() and self._picked:
            parts.append("curves")
        if self.surface.isChecked():
            parts.append("surface")
        pixels: Any = self._picked if "curves" in parts else ()
        return Wanted(tuple(parts), formats if sampled else (*formats, "csv"),
                      trusted=self.trusted.isChecked(), pixels=pixels)  # fmt: skip
