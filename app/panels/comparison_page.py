"""*Compare laws*: what each law makes of the picked curve, and of the whole map."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QPushButton, QWidget

from ...core import units
from ..theme import Theme
from ..views.change_map import ChangeMap
from .law_page import WORDS, Page, Switch, number_in, percent, wrapped
from .law_table import Line, Table

PIXEL, MAP = "pixel", "map"
ADVICE = "“Which law”"
TITLES = ("Law", "Residual\n(noise)", "Excess", "E\n(GPa)", "Change",
          "Residual\n(noise)", "Best in", "Change")  # fmt: skip
TIPS = (
    "A double click uses the law; that can be undone. The first word below it is the verdict of "
    "Which law: what describes a curve best may still be the wrong physics",
    "What is left between curve and law (root mean square) over the noise; 1 is noise alone",
    "How much worse the information criterion is than for the best law; below 2 the curve can't "
    "tell the laws apart, above 10 the law is out. It takes the samples' noise as independent: "
    "slow noise (drift, waves) makes all differences larger than they are",
    "Young modulus with its local ± under this law",
    "Modulus under this law against the modulus under the law in use",
    "Median over the map of what is left between curve and law, over the noise",
    "Share of the curves that this law describes best, of those that every law fitted",
    "Median over the map of the change of the modulus against the law in use",
)
ALIKE = 2.0
"""Criteria that differ by less say nothing (Kass & Raftery 1995)."""
ROOM = 110
"""Least height of the table's area [px], when a map of changes stands below it."""
MOST = 0.9
"""Share of a map's curves on which laws must be alike for the map not to tell them apart."""
STALE = "Made before the last change; run it again."
OF_CURVE, OF_MAP = range(1, 5), range(5, 8)


def key_of(option: Any) -> tuple[str, str]:
    return option.law, option.adhesion


class ComparisonPage(Page):
    """Signals, each only for what the person did
    ---------------------------------------------
    law_chosen(law, adhesion), line_chosen(law, adhesion), map_wanted()
    """

    law_chosen = Signal(str, str)
    line_chosen = Signal(str, str)
    map_wanted = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._curve: list[Any] = []
        self._map: list[Any] = []
        self._stale = False
        self._verdicts: dict[str, Mapping[Any, str]] = {PIXEL: {}, MAP: {}}
        self._present: tuple[str, str] = ("", "")
        self._busy = False
        self.scope = Switch({PIXEL: "This curve", MAP: "Whole map"})
        self.scope.chosen.connect(lambda _: self._arrange())
        self.stale = wrapped(STALE)
        self.sentence = wrapped("", "strong")
        self.table = Table(TITLES, "Comparison of contact laws", TIPS)
        self.note = wrapped("", "muted")
        self.change_words = wrapped("", "muted")
        self.change_map = ChangeMap()
        self.compare = QPushButton("Compare over the map")
        self.compare.setToolTip("Fit every law to every curve; this takes a while and can be "
                                "stopped")  # fmt: skip
        self.use = QPushButton("Use this law")
        self.use.setToolTip("Fit with the law that is chosen in the table (can be undone)")
        self.compare.clicked.connect(self._ask_map)
        self.use.clicked.connect(lambda: self._use(self.table.current_key()))
        self.table.activated_line.connect(self._use)
        self.table.chosen.connect(self._on_line)
        self.head.addWidget(self.scope)
        self.head.addWidget(self.stale)
        self.area.setMinimumHeight(ROOM)
        self.body.addWidget(self.sentence)
        self.body.addWidget(self.table)
        self.body.addWidget(self.note)
        self.body.addStretch(1)
        self.below.addWidget(self.change_words)
        self.below.addWidget(self.change_map)
        self.foot.addWidget(self.compare)
        self.foot.addStretch(1)
        self.foot.addWidget(self.use)
        self._arrange()

    def _on_line(self, key: Any) -> None:
        self.show_buttons()
        if key is not None and self.scope.current == PIXEL:
            self.line_chosen.emit(*key)

    # -- what is shown --------------------------------------------------------------------------

    def set_theme(self, theme: Theme) -> None:
        super().set_theme(theme)
        self.change_map.set_theme(theme)
        self._arrange()

    def set_present(self, law: str, adhesion: str) -> None:
        """The law in use, which is marked."""
        self._present = (law, adhesion)

    def show_comparison(self, found: list[Any], verdicts: Mapping[Any, str]) -> None:
        """A list of `OnCurve`, and the advice's verdicts by (law, adhesion)."""
        self._curve, self._verdicts[PIXEL] = list(found), verdicts
        self.show_numbers()
        self._arrange()

    def show_map(self, found: list[Any], verdicts: Mapping[Any, str], stale: bool = False
                 ) -> None:  # fmt: skip
        """A list of `OnMap`; empty takes the columns of the map away. `stale`: made with other
        settings than those in use."""
        self._map, self._verdicts[MAP] = list(found), verdicts
        self._stale, self._busy = stale, False
        self._arrange()

    def show_map_busy(self, busy: bool) -> None:
        self._busy = busy
        self.show_buttons()

    def clear(self) -> None:
        super().clear()
        self._curve = []

    def show_waiting(self) -> None:
        if self.scope.current == PIXEL:
            super().show_waiting()
            self.use.setEnabled(False)

    def show_reason(self, words: str) -> None:
        """The columns of the map stay: they don't belong to the curve."""
        self._curve = []
        if self.scope.current == PIXEL or not self._map:
            super().show_reason(words)
        else:
            self._arrange()
        self.reason.setText(words)

    def _arrange(self) -> None:
        whole = self.scope.current == MAP
        for column in range(1, len(TITLES)):
            self.table.setColumnHidden(column, (column in OF_CURVE) == whole)
        if whole and self._map:
            self.show_numbers()
        elif not whole and not self._curve and self.reason.text():
            self._reasoned(True)
        shown = self._map if whole else self._curve
        self.stale.setVisible(whole and bool(self._map) and self._stale)
        notes = dict.fromkeys(f.note for f in shown if f.note)
        self.note.setText(" ".join(notes))
        self.note.setVisible(bool(notes))
        self.sentence.setText(self._map_words() if whole else self._curve_words())
        self._fill()
        self.show_buttons()

    def _options(self) -> list[Any]:
        keys: dict[tuple[str, str], Any] = {}
        for found in (*self._curve, *self._map):
            keys.setdefault(key_of(found.option), found.option)
        return list(keys.values())

    def _fill(self) -> None:
        curve = {key_of(f.option): f for f in self._curve}
        whole = {key_of(f.option): f for f in self._map}
        unit = self._unit()
        self.table.set_titles([*TITLES[:3], f"E\n({unit})", *TITLES[4:]], TIPS)
        lines = []
        for option in self._options():
            key = key_of(option)
            lines.append(self._line(option, curve.get(key), whole.get(key), unit))
        self.table.fill(lines)

    def _line(self, option: Any, curve: Any, whole: Any, unit: str) -> Line:
        key, scope = key_of(option), self.scope.current
        shown = whole if scope == MAP else curve
        possible = shown is not None and shown.possible
        verdict = self._verdicts[scope].get(key, "") if possible else ""
        leading = self._leading()
        first = "best" if len(leading) == 1 else "among the best"
        words = [*([WORDS[verdict]] if verdict else []),
                 *([first] if key in map(key_of_found, leading) else []),
                 *(["in use"] if key == self._present else [])]  # fmt: skip
        label = option.label + exponent_words(shown) + (f"\n{', '.join(words)}" if words else "")
        return Line((label, *_curve_cells(curve, unit), *_map_cells(whole)), key=key,
                    note=_note_of(shown), strong=key == self._present,
                    faint=shown is not None and not possible, tip="A double click uses this law"
                    )  # fmt: skip

    def _leading(self) -> list[Any]:
        """What the criterion can't tell from the best: within 2 of it, on most curves of a map."""
        if self.scope.current == PIXEL:
            return [f for f in self._curve if f.possible and f.excess < ALIKE]
        known = [f for f in self._map if f.possible and math.isfinite(f.best_share)]
        if not known:
            return []
        best = max(known, key=lambda f: (f.best_share, -f.excess))
        return [f for f in known if f is best or min(f.alike, best.alike) > MOST]

    def _unit(self) -> str:
        sizes = [f.modulus for f in self._curve if f.possible and math.isfinite(f.modulus)]
        return units.best_unit(min(sizes, default=1.0), "GPa")[0]

    def _curve_words(self) -> str:
        best = self._leading()
        if not best:
            return ""
        if len(best) > 1:
            return (f"This curve can't tell {_names(best)} apart: their criteria differ by less "
                    "than 2.")  # fmt: skip
        return f"On this curve: {best[0].option.label} is best by the criterion.{self._but(best)}"

    def _map_words(self) -> str:
        if self._busy:
            return "Every law is being fitted to every curve…"
        if not self._map:
            return "The laws have not been compared over the map under these settings."
        best = self._leading()
        if not best:
            return "No law could be compared over the map."
        one = max(best, key=lambda f: f.best_share)
        of = f"the {one.count} of {one.taken} curves that every law fitted"
        if one.count == one.taken:
            of = f"{one.count} curves"
        if len(best) > 1:
            return f"The map can't tell {_names(best)} apart on most of {of}."
        return (f"Over the map: {one.option.label} is best in {percent(one.best_share)} of {of}."
                f"{self._but(best)}")  # fmt: skip

    def _but(self, best: list[Any]) -> str:
        """What the physics says against the one that describes the curves best."""
        verdict = self._verdicts[self.scope.current].get(key_of_found(best[0]), "")
        if verdict not in ("strained", "broken"):
            return ""
        return f" But its verdict is “{WORDS[verdict]}”: see {ADVICE}."

    def show_buttons(self) -> None:
        """What follows from the chosen row: the button, and the map of changes."""
        key, whole = self.table.current_key(), self.scope.current == MAP
        known = {key_of(f.option): f for f in (self._map if whole else self._curve)}
        possible = key in known and known[key].possible
        self.use.setEnabled(possible and key != self._present and self.inside.isEnabled())
        self.compare.setEnabled(not self._busy)
        self.compare.setText("Comparing…" if self._busy else "Compare over the map")
        change = known[key].change_map if whole and possible else None
        self.change_map.setVisible(change is not None)
        self.layout().setStretchFactor(self.area, 3)
        self.layout().setStretchFactor(self.below, 2 if change is not None else 0)
        self.change_words.setVisible(whole and bool(self._map))
        if change is not None:
            self.change_words.setText("Change of the modulus against the law in use:")
            self.change_map.show_change(change)
        else:
            self.change_words.setText("Choose a law to see where it changes the modulus.")

    # -- what the person does -------------------------------------------------------------------

    def _ask_map(self) -> None:
        self.scope.set_current(MAP)
        self._busy = True
        self._arrange()
        self.map_wanted.emit()

    def _use(self, key: Any) -> None:
        if key is not None and key != self._present and self.inside.isEnabled():
            self.law_chosen.emit(*key)


def key_of_found(found: Any) -> tuple[str, str]:
    return key_of(found.option)


def _names(found: list[Any]) -> str:
    """Some laws in words; only their number if they are many."""
    if len(found) > 3:
        return f"{len(found)} of the laws"
    labels = [f.option.label for f in found]
    return f"{'; '.join(labels[:-1])} and {labels[-1]}"


def _note_of(found: Any) -> str:
    """Why an option is impossible, or on how many curves it failed."""
    if found is None or not found.possible:
        return "" if found is None else found.reason
    failed = getattr(found, "failed", 0)
    return f"It gave no value on {failed} of {found.taken} curves." if failed else ""


def exponent_words(found: Any) -> str:
    """The exponent where the law leaves it free."""
    free = found is not None and found.possible and found.option.law == "free_exponent"
    return f", n = {found.exponent:.2f}" if free and math.isfinite(found.exponent) else ""


def _curve_cells(found: Any, unit: str) -> tuple[str, ...]:
    if found is None or not found.possible:
        return ("", "", "", "") if found is None else ("–",) * 4
    modulus = number_in(found.modulus, found.modulus_error, "GPa", unit).replace(" ±", "\n±")
    return (_residual(found.residual), _excess(found.excess), modulus, percent(found.change, True))


def _map_cells(found: Any) -> tuple[str, ...]:
    if found is None or not found.possible:
        return ("", "", "") if found is None else ("–",) * 3
    return _residual(found.residual), percent(found.best_share), percent(found.change, True)


def _residual(value: float) -> str:
    return f"{value:#.3g}" if math.isfinite(value) else "–"


def _excess(value: float) -> str:
    if not math.isfinite(value):
        return "–"
    return f"{value:.1f}" if value < 1000 else f"{value:.0f}"
