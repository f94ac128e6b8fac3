"""What a map lacks or what is odd about it, told above the views and in nobody's way."""

from __future__ import annotations

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtWidgets import (
    QFrame,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from ...core.settings import declaration, range_text
from .. import theme as look
from ..session import Session
from ..theme import LIGHT, SPACE, Theme
from .fields import NumberField
from .row import words_of


class Notice(QFrame):
    """A quiet strip with an icon at its left; the root of both notices."""

    ICON = "info"

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("notice")
        self.sign = QLabel(self)
        self.sign.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.sign.setFixedWidth(24)
        self.line = QHBoxLayout(self)
        self.line.setContentsMargins(SPACE, SPACE // 2, SPACE, SPACE // 2)
        self.line.setSpacing(SPACE)
        self.line.addWidget(self.sign)
        self.set_theme(LIGHT)
        self.hide()

    def set_theme(self, theme: Theme) -> None:
        self.sign.setPixmap(look.icon(self.ICON, theme).pixmap(QSize(20, 20)))
        self.setStyleSheet(
            f"#notice {{ background: {theme.raised}; border: 0;"
            f" border-left: 4px solid {theme.doubt}; }}"
        )


class Asking(QWidget):
    """One missing constant: the sentence, and a field to type it.

    Signal edited(path, value).
    """

    edited = Signal(str, object)

    def __init__(self, path: str, sentence: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.path = path
        spec = declaration(path)
        self.words, self.problem = QLabel(sentence, self), look.toned(QLabel(self), "strong")
        self.words.setWordWrap(True)
        self.problem.setWordWrap(True)
        self.problem.hide()
        self.field = NumberField(spec.metadata, True, False, self)
        self.field.setFixedWidth(110)
        self.field.lineEdit().setPlaceholderText("type it here")
        self.field.setAccessibleName(spec.metadata["label"])
        self.field.setToolTip(f"{spec.metadata['help']} {range_text(spec)}")
        use = QPushButton("Use", self)
        self.field.edited.connect(lambda value, _: self.edited.emit(path, value))
        self.field.refused.connect(self.refuse)
        use.clicked.connect(self.field.finish)
        grid = QGridLayout(self)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(SPACE)
        grid.setVerticalSpacing(0)
        unit = look.toned(QLabel(spec.metadata["unit"], self), "muted")
        unit.setFixedWidth(40)
        for column, widget in enumerate((self.words, self.field, unit, use)):
            grid.addWidget(widget, 0, column)
        grid.addWidget(self.problem, 1, 0, 1, 4)
        grid.setColumnStretch(0, 1)

    def refuse(self, words: str) -> None:
        """Say in place why a number was refused."""
        spec = declaration(self.path)
        said = words.rstrip(".")
        if range_text(spec) not in said:
            said += f"; it can be {range_text(spec)}"
        self.problem.setText(f"{said[:1].upper()}{said[1:]}.")
        self.problem.show()


class MissingConstants(Notice):
    """The constants that the map does not record and nobody has typed yet, and those that do not
    fit the contact law."""

    ICON = "calibrate"

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self.askings: dict[str, Asking] = {}
        self._rows = QVBoxLayout()
        self._rows.setSpacing(SPACE // 2)
        self.line.addLayout(self._rows, 1)
        self.remark = QLabel(self)
        self.remark.setWordWrap(True)
        self._rows.addWidget(self.remark)
        session.map_changed.connect(self.show_missing)
        session.settings_changed.connect(self.show_missing)

    def show_missing(self) -> None:
        """Show what the session's map and settings lack."""
        found: dict[str, str] = {}
        odd: list[str] = []
        if self._session.map is not None:
            from ...core.calibration import missing, remarks

            found = dict(missing(self._session.map, self._session.settings))
            odd = remarks(self._session.map, self._session.settings)
            if self._session.analysis is not None:  # kept until there is a newer one
                odd += self._session.analysis.remarks
        for path in [p for p in self.askings if p not in found]:
            gone = self.askings.pop(path)
            self._rows.removeWidget(gone)
            gone.hide()
            gone.deleteLater()
        for place, (path, sentence) in enumerate(found.items()):
            if path not in self.askings:
                self.askings[path] = asking = Asking(path, sentence, self)
                asking.edited.connect(self._edited)
                self._rows.insertWidget(place, asking)
            self.askings[path].words.setText(sentence)
        self.remark.setText(" ".join(odd))
        self.remark.setVisible(bool(odd))
        self.setVisible(bool(found or odd))

    def _edited(self, path: str, value: object) -> None:
        wrong = self._session.check({path: value})
        if wrong:
            self.askings[path].field.restore()
            self.askings[path].refuse(wrong)
        else:
            self._session.apply({path: value}, words_of(path))


class Notes(Notice):
    """What was odd about a file, or is worth knowing; can be put away."""

    MOST = 3

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._texts: list[str] = []
        self.words = QLabel(self)
        self.words.setWordWrap(True)
        self.words.setTextFormat(Qt.TextFormat.PlainText)
        self.words.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.away = QToolButton(self)
        self.away.setAutoRaise(True)
        self.away.setToolTip("Put this note away")
        self.away.setAccessibleName("Put this note away")
        self.away.clicked.connect(self.clear)
        self.line.addWidget(self.words, 1)
        self.line.addWidget(self.away, 0, Qt.AlignmentFlag.AlignTop)
        self.set_theme(LIGHT)

    def set_theme(self, theme: Theme) -> None:
        super().set_theme(theme)
        if hasattr(self, "away"):
            self.away.setIcon(look.icon("cancel", theme))

    @property
    def texts(self) -> list[str]:
        return list(self._texts)

    def add(self, *texts: str) -> None:
        """Show some more sentences."""
        self._texts += [text for text in texts if text and text not in self._texts]
        shown = self._texts[: self.MOST]
        rest = self._texts[self.MOST :]
        if rest:
            shown = [*shown, f"… and {len(rest)} more (point here to read them)"]
        self.words.setText("\n".join(shown))
        self.words.setToolTip("\n".join(rest))
        self.setVisible(bool(self._texts))

    def clear(self) -> None:
        self._texts = []
        self.words.clear()
        self.hide()
