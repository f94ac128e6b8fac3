"""Binds the methods window to the session: the paragraph follows what is decided, and what the
person answers there is decided like everything else."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QObject, QTimer

from . import saving
from .dialogs import files
from .findings import present
from .law_calls import why_not
from .methods_calls import AskMethods, with_known
from .recompute import Answer
from .requests import Save
from .theme import Theme

if TYPE_CHECKING:
    from .main_window import MainWindow
    from .methods_window import MethodsWindow

SETTLE = 200  # ms that decisions and analysis must rest
WORKING = "Being written from what was found…"
WAIT = "Written when the map has been analysed…"
NO_MAP = "Open a map first."


class MethodsDesk(QObject):
    """See the module. `window` is None until it is first wanted; it is hidden and not destroyed."""

    def __init__(self, window: MainWindow) -> None:
        super().__init__(window)
        self._main, self._session = window, window.session
        self._theme: Theme | None = None
        self.window: MethodsWindow | None = None
        self.paragraph: Any = None
        self._known: Any = None
        self._asked = -1
        self._timer = QTimer(self, singleShot=True, interval=SETTLE)
        self._timer.timeout.connect(self._ask)
        session = self._session
        for signal in (session.analysis_changed, session.map_changed, session.history_changed,
                       session.answers_changed):  # fmt: skip
            signal.connect(self.refresh)
        session.map_changed.connect(self._forget)
        session.answered.connect(self._take)

    def show_methods(self) -> None:
        """Show the window, and bring it to the front."""
        if self.window is None:
            from .methods_window import MethodsWindow

            self.window = MethodsWindow(self._main)
            self.window.answer_given.connect(self._answer)
            self.window.save_wanted.connect(self._save)
            self.window.said.connect(self._main.say)
            self.window.undo_wanted.connect(self._session.undo)
            self.window.redo_wanted.connect(self._session.redo)
            if self._theme is not None:
                self.window.set_theme(self._theme)
        self.window.show()
        self.window.raise_()
        self._ask()

    def set_theme(self, theme: Theme) -> None:
        self._theme = theme
        if self.window is not None:
            self.window.set_theme(theme)

    @property
    def _seen(self) -> bool:
        return self.window is not None and self.window.isVisible()

    def _forget(self) -> None:
        """Another map, or none: what was typed and asked was about the one before."""
        self._session.background.cancel(AskMethods.lane)
        self._known = self.paragraph = None
        self._asked = -1
        if self.window is not None:
            self.window.questions.forget_typing()
            self.window.show_reason(NO_MAP if self._session.map is None else WAIT)

    def refresh(self) -> None:
        """See to it that the text follows, once things rest."""
        if self._seen:
            self._timer.start()

    def _ask(self) -> None:
        self._timer.stop()
        if self.window is None:
            return
        workspace = self._main.workspace
        made = workspace.component_desk.made if workspace is not None else None
        found = present(self._session, made)
        if found is None:
            self._known = self.paragraph = None
            self._asked = -1
            if self._session.map is None:
                self.window.show_reason(NO_MAP)
            else:
                self.window.show_waiting(WAIT)
            return
        if self.paragraph is None:
            self.window.show_reason(WORKING)
        known = with_known(found, self._known)
        self._asked = self._session.submit(AskMethods(known))

    def _take(self, answer: Answer) -> None:
        if not isinstance(answer.request, AskMethods) or answer.generation != self._asked:
            return
        assert self.window is not None
        words = why_not(answer, "Stopped. Open the window again to go on.")
        if words:
            self.paragraph = None
            self.window.show_reason(words)
            return
        self._known, self.paragraph = answer.value.findings, answer.value.paragraph
        self.window.show_paragraph(self.paragraph)

    def _answer(self, name: str, text: str) -> None:
        """The person answered a question: one act, that undo takes back."""
        answers = self._session.work.answers.with_answer(name, text)
        self._session.use_answers(answers, f"answer on {name.replace('_', ' ')}")

    def _save(self) -> None:
        """Save the text, the references or the table, as the name's ending says."""
        from ..core.methods import ENDINGS, file_text

        made = self.paragraph
        if made is None or self.window is None:
            return
        kinds = ";;".join(f"{words[:1].upper()}{words[1:]} (*{ending})"
                          for ending, words in ENDINGS.items())  # fmt: skip
        name = f"{saving.stem_of(self._session.map)}_methods.txt"
        path = files.ask_save(self.window, "Save the methods paragraph", name, kinds)
        if path is not None:
            text = file_text(made, ending_of(path))
            self._session.submit(Save(saving.text_file(path, text)))


def ending_of(path: Path) -> str:
    """The ending that says what a file holds; plain text for one that is not known."""
    from ..core.methods import ENDINGS

    return path.suffix.lower() if path.suffix.lower() in ENDINGS else ".txt"
