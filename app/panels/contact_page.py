"""*Contact point*: where each method puts it on the picked curve, and what that costs."""

from __future__ import annotations

import math
from typing import Any

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QPushButton, QWidget

from ...core import units
from .law_page import Page, number_in, wrapped
from .law_table import Line, Table

WHAT = ("The contact point by each method, and the modulus with it held there; only the first one "
        "is fitted with the law. Below each: its known bias.")  # fmt: skip


SIGNS = {"threshold": ("t", "▽"), "variance_ratio": ("s", "□"), "goodness": ("d", "◇"),
         "change_point": ("+", "+")}  # fmt: skip
"""The symbol of each method on the curve, and the sign for it in the table."""


class ContactPage(Page):
    """Signal contact_chosen(method): by the person only."""

    contact_chosen = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._used = ""
        self.what = wrapped(WHAT, "muted")
        self.table = Table(
            ("Method", "z₀\n(nm)", "E\n(GPa)"), "Contact point by each method",
            ("A double click uses the method; that can be undone",
             "Base position of the contact point, with its local ±: the noise, baseline and "
             "slow noise of this map",
             "Young modulus with the contact point held there, with its local ±"),
        )  # fmt: skip
        self.use = QPushButton("Use this method")
        self.use.setToolTip("Find the contact point of every curve like this (can be undone)")
        self.use.clicked.connect(lambda: self._use(self.table.current_key()))
        self.table.activated_line.connect(self._use)
        self.table.chosen.connect(lambda _: self.show_buttons())
        self.body.addWidget(self.what)
        self.body.addWidget(self.table)
        self.body.addStretch(1)
        self.foot.addStretch(1)
        self.foot.addWidget(self.use)
        self.show_buttons()

    def show_contacts(self, found: list[Any]) -> None:
        """A list of `ContactEstimate`."""
        self._used = next((c.method for c in found if c.used), "")
        sizes = [c.modulus for c in found if math.isfinite(c.modulus)]
        unit = units.best_unit(min(sizes, default=1.0), "GPa")[0]
        self.table.set_titles(("Method", "z₀\n(nm)", f"E\n({unit})"))
        self.table.fill([self._line(c, unit) for c in found])
        self.show_numbers()

    def _line(self, found: Any, unit: str) -> Line:
        place = "not found"
        if math.isfinite(found.z0):
            place = number_in(found.z0, found.error, "nm", "nm")
        sign = SIGNS.get(found.method, ("", ""))[1]
        label = f"{sign} {found.label}".strip() + ("\nin use" if found.used else "")
        modulus = number_in(found.modulus, found.modulus_error, "GPa", unit).replace(" ±", "\n±")
        return Line(
            (label, place.replace(" ±", "\n±"), modulus), key=found.method,
            note=found.bias[:1].upper() + found.bias[1:], strong=found.used,
            tip="A double click uses this method",
        )  # fmt: skip

    def show_waiting(self) -> None:
        super().show_waiting()
        self.use.setEnabled(False)

    def clear(self) -> None:
        super().clear()
        self.show_buttons()

    def show_buttons(self) -> None:
        key = self.table.current_key()
        self.use.setEnabled(key is not None and key != self._used)

    def _use(self, key: Any) -> None:
        if key is not None and key != self._used and self.inside.isEnabled():
            self.contact_chosen.emit(key)
