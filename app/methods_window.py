"""The methods window: the paragraph with its gaps, a field for each question, and where every
statement is from. It is passive."""

from __future__ import annotations

import html
from collections.abc import Sequence
from typing import Any

from PySide6.QtCore import QMimeData, QSignalBlocker, Qt, QUrl, Signal
from PySide6.QtGui import QGuiApplication, QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QAbstractItemView,
    QDialog,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QPushButton,
    QScrollArea,
    QSplitter,
    QTableWidget,
    QTableWidgetItem,
    QTabWidget,
    QTextBrowser,
    QVBoxLayout,
    QWidget,
)

from ..core.work.answers import LONGEST
from . import theme as look
from .panels.sheet_row import Line
from .theme import LIGHT, SPACE, Theme

HEAD = ("Written from what was really done. What the program does not know is marked: answer at "
        "the right, or click the mark.")  # fmt: skip
COLUMNS = ("Item", "What is said", "From")


class Question(QWidget):
    """One question with its field.

    Signal given(name, text): the person answered, or took the answer away.
    """

    given = Signal(str, str)

    def __init__(self, gap: Any, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.name = gap.name
        self._was = ""
        self.label = QLabel(gap.question[:1].upper() + gap.question[1:], self)
        self.label.setWordWrap(True)
        self.field = Line(self)
        self.field.setMaxLength(LONGEST)
        self.field.setPlaceholderText(f"e.g. {gap.hint}")
        self.field.setToolTip("The words are put into the text where the mark stands. "
                              f"For instance: {gap.hint}")  # fmt: skip
        self.field.setAccessibleName(gap.question)
        self.label.setBuddy(self.field)
        self.field.editingFinished.connect(self._finished)
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, SPACE)
        box.setSpacing(2)
        box.addWidget(self.label)
        box.addWidget(self.field)

    def show_answer(self, text: str) -> None:
        """What stands in the work; what a hand is typing stays."""
        self._was = text
        if not (self.field.hasFocus() and self.field.isModified()):
            with QSignalBlocker(self.field):
                self.field.setText(text)
                self.field.setCursorPosition(0)
        look.toned(self.label, "muted" if text else "strong")
        self.label.style().polish(self.label)

    def forget_typing(self) -> None:
        """What is being typed was meant for another map."""
        with QSignalBlocker(self.field):
            self.field.setText(self._was)
        self.field.setModified(False)

    def _finished(self) -> None:
        self.field.setModified(False)
        text = " ".join(self.field.text().split())
        if text != self._was:
            self._was = text
            self.given.emit(self.name, text)


class Questions(QScrollArea):
    """All questions below each other.

    Signal given(name, text), as of one.
    """

    given = Signal(str, str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWidgetResizable(True)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.rows: dict[str, Question] = {}
        self.title = look.toned(QLabel("", self), "strong")
        self._body = QWidget(self)
        self._box = QVBoxLayout(self._body)
        self._box.setContentsMargins(SPACE, SPACE, SPACE, SPACE)
        self._box.addWidget(self.title)
        self._box.setSpacing(SPACE)
        self._box.addStretch(1)
        self.setWidget(self._body)

    def show_holes(self, holes: Sequence[Any]) -> None:
        """A field for each question, those that stay being the same ones."""
        names = [hole.gap.name for hole in holes]
        for name in [name for name in self.rows if name not in names]:
            self.rows.pop(name).deleteLater()
        for at, hole in enumerate(holes):
            row = self.rows.get(hole.gap.name)
            if row is None:
                row = self.rows[hole.gap.name] = Question(hole.gap, self._body)
                row.given.connect(self.given)
            if self._box.indexOf(row) != at + 1:
                self._box.insertWidget(at + 1, row)
            row.show_answer(hole.answer)
        left = sum(not hole.answer for hole in holes)
        self.title.setText(f"{left} of {len(holes)} questions are open" if left
                           else "All questions are answered")  # fmt: skip

    def forget_typing(self) -> None:
        """What is being typed was meant for another map."""
        for row in self.rows.values():
            row.forget_typing()

    def go_to(self, name: str) -> None:
        """Put the cursor into a question's field."""
        row = self.rows.get(name)
        if row is not None:
            row.field.setFocus()
            self.ensureWidgetVisible(row)


class Statements(QTableWidget):
    """Every statement with where it is from."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(0, len(COLUMNS), parent)
        self.setHorizontalHeaderLabels(list(COLUMNS))
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setWordWrap(True)
        self.setAccessibleName("Statements")
        self.verticalHeader().hide()
        self.setShowGrid(False)
        self.setAlternatingRowColors(True)
        self.setStyleSheet("QTableView::item { padding: 4px; }")
        head = self.horizontalHeader()
        head.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        head.setSectionResizeMode(1, QHeaderView.ResizeMode.Stretch)
        self.setColumnWidth(0, 180)
        self.setColumnWidth(2, 150)
        head.sectionResized.connect(lambda *_: self.fit())

    def fit(self) -> None:
        """Rows as high as their text, once it can be seen how wide they are."""
        if self.isVisible():
            self.resizeRowsToContents()

    def show_rows(self, rows: Sequence[Any], meanings: dict[str, str]) -> None:
        self.setRowCount(len(rows))
        before = ""
        for at, row in enumerate(rows):
            item = row.item if row.item != before else ""
            before = row.item
            tip = "\n".join(meanings[name] for name in row.origin.split(", ") if name in meanings)
            for column, text in enumerate((item, row.said, row.origin)):
                cell = QTableWidgetItem(text)
                cell.setTextAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)
                cell.setToolTip(tip if column == 2 else row.detail)
                self.setItem(at, column, cell)
        self.setCurrentCell(-1, -1)
        self.fit()


class MethodsWindow(QDialog):
    """Stays open beside the work.

    Signals
    -------
    answer_given(name, text) : by the person only
    save_wanted : the text, the references or the table as a file
    said(sentence) : what was done, for the status bar
    undo_wanted, redo_wanted : by the keys, while nothing is being typed
    """

    answer_given = Signal(str, str)
    save_wanted = Signal()
    said = Signal(str)
    undo_wanted = Signal()
    redo_wanted = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Methods paragraph")
        self._paragraph: Any = None
        self._theme = LIGHT
        self.head = look.toned(QLabel(HEAD, self), "muted")
        self.head.setWordWrap(True)
        self.text, self.questions, self.table = QTextBrowser(self), Questions(self), Statements()
        self.text.setOpenLinks(False)
        self.text.setAccessibleName("Methods paragraph")
        self.text.document().setDocumentMargin(1.5 * SPACE)
        self.text.anchorClicked.connect(self._go_to)
        self.questions.given.connect(self.answer_given)
        self.notes = look.toned(QLabel(self), "muted")
        self.notes.setWordWrap(True)
        self._lay_out()
        keys = QKeySequence.StandardKey
        for key, signal in ((keys.Undo, self.undo_wanted), (keys.Redo, self.redo_wanted)):
            QShortcut(key, self).activated.connect(signal)
        self.show_reason("")

    def _lay_out(self) -> None:
        self.splitter = QSplitter(Qt.Orientation.Horizontal, self)
        self.splitter.addWidget(self.text)
        self.splitter.addWidget(self.questions)
        self.splitter.setStretchFactor(0, 3)
        self.splitter.setStretchFactor(1, 2)
        self.questions.setMinimumWidth(280)
        self.splitter.setSizes([660, 360])
        self.splitter.setChildrenCollapsible(False)
        self.tabs = QTabWidget(self)
        self.tabs.setDocumentMode(True)
        self.tabs.addTab(self.splitter, "Text")
        self.tabs.addTab(self.table, "Where it is from")
        self.tabs.currentChanged.connect(lambda _: self.table.fit())
        foot = QHBoxLayout()
        self.buttons: dict[str, QPushButton] = {}
        for name, words, tip, call in (
            ("copy", "Copy text", "The text with its references, also as formatted text",
             self.copy_text),
            ("bibtex", "Copy BibTeX", "The references as BibTeX", self.copy_bibtex),
            ("save", "Save…", "As text, Markdown, HTML, BibTeX, or the table of statements",
             self.save_wanted.emit),
        ):  # fmt: skip
            button = self.buttons[name] = QPushButton(words, self)
            button.setToolTip(tip)
            button.setAutoDefault(False)  # Return ends an answer and nothing else
            button.clicked.connect(lambda _=False, call=call: call())
            foot.addWidget(button)
        foot.addStretch(1)
        box = QVBoxLayout(self)
        box.setContentsMargins(SPACE, SPACE, SPACE, SPACE)
        box.setSpacing(SPACE)
        box.addWidget(self.head)
        box.addWidget(self.tabs, 1)
        box.addWidget(self.notes)
        box.addLayout(foot)
        self.resize(1040, 720)

    # -- what is shown --------------------------------------------------------------------------

    def show_reason(self, words: str) -> None:
        """Why there is no text."""
        self._paragraph = None
        self.text.setPlainText(words)
        self.questions.show_holes(())
        self.questions.title.clear()
        self.table.show_rows((), {})
        self.notes.hide()
        for button in self.buttons.values():
            button.setEnabled(False)

    def show_waiting(self, words: str) -> None:
        """Why the text is not the newest; it stays to be read, and can't be copied."""
        if self._paragraph is None:
            self.show_reason(words)
            return
        self.notes.setText(words)
        self.notes.show()
        for button in self.buttons.values():
            button.setEnabled(False)

    def show_paragraph(self, paragraph: Any) -> None:
        from ..core.methods import ORIGINS

        self._paragraph = paragraph
        self._draw()
        self.questions.show_holes(paragraph.holes)
        self.table.show_rows(paragraph.items, ORIGINS)
        self.notes.setText("\n".join(paragraph.notes))
        self.notes.setVisible(bool(paragraph.notes))
        for button in self.buttons.values():
            button.setEnabled(True)

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        if self._paragraph is not None:
            self._draw()

    def _draw(self) -> None:
        """The text, each gap a link to its field; where it was scrolled to stays."""
        bar = self.text.verticalScrollBar()
        at = bar.value()
        look_ = f"background-color:{self._theme.doubt}; color:{self._theme.on_doubt}; "
        look_ += "text-decoration:none;"
        pieces = self._paragraph.html.split("<mark>")
        text = pieces[0]
        for gap, piece in zip(self._paragraph.gaps, pieces[1:], strict=True):
            text += f'<a href="gap:{html.escape(gap.name)}" style="{look_}">' + piece
        self.text.setHtml(text.replace("</mark>", "</a>"))
        bar.setValue(at)

    def _go_to(self, url: QUrl) -> None:
        self.questions.go_to(url.path())

    # -- what the person does -------------------------------------------------------------------

    def copy_text(self) -> None:
        """The text on the clipboard, plain and formatted."""
        data = QMimeData()
        data.setText(self._paragraph.text)
        data.setHtml(self._paragraph.html)
        QGuiApplication.clipboard().setMimeData(data)
        gaps = len(self._paragraph.gaps)
        more = f", with {gaps} marked gap{'s' if gaps > 1 else ''}" if gaps else ""
        self.said.emit(f"The methods paragraph is on the clipboard{more}.")

    def copy_bibtex(self) -> None:
        from ..core.methods import bibtex

        QGuiApplication.clipboard().setText(bibtex(self._paragraph))
        self.said.emit(f"{len(self._paragraph.references)} references are on the clipboard.")
