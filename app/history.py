"""Undo as a list and a cursor: an act that forgets to be undoable cannot exist."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Generic, TypeVar

Value = TypeVar("Value")


@dataclass(frozen=True)
class Entry(Generic[Value]):
    """What holds after one act of the person, the act in words ("fit window"), and its time in
    ISO 8601."""

    value: Value
    words: str
    merge: str = ""
    time: str = ""


class History(Generic[Value]):
    """What was chosen, act by act; the cursor stands at the value in force. While a hand is
    dragging, `shown` runs ahead of it.

    Parameters
    ----------
    value : where it begins; this entry can't be undone. Any frozen value with an equality will do
    """

    def __init__(self, value: Value) -> None:
        self._entries = [Entry(value, "")]
        self._cursor = 0
        self._drag: Value | None = None
        self.last = ("", "")
        """What was done last: "act", "undo" or "redo", and its words."""

    def __len__(self) -> int:
        return len(self._entries)

    @property
    def current(self) -> Value:
        return self._entries[self._cursor].value

    @property
    def shown(self) -> Value:
        """What to display: that of the drag while a hand is dragging."""
        return self.current if self._drag is None else self._drag

    @property
    def dragging(self) -> bool:
        return self._drag is not None

    @property
    def acts(self) -> list[tuple[str, str]]:
        """Time and words of each act that is in force."""
        return [(entry.time, entry.words) for entry in self._entries[1 : self._cursor + 1]]

    @property
    def undo_words(self) -> str:
        """The act that undo takes back; empty if there is none."""
        return self._entries[self._cursor].words if self._cursor else ""

    @property
    def redo_words(self) -> str:
        """The act that redo does again; empty if there is none."""
        ahead = self._cursor + 1
        return self._entries[ahead].words if ahead < len(self._entries) else ""

    def push(self, value: Value, words: str, merge: str = "") -> bool:
        """Add an act; what had been undone is forgotten.

        Parameters
        ----------
        merge : acts that follow each other with the same word here become one entry

        Returns
        -------
        bool : False if the value is the same as before, which is no act
        """
        self._drag = None
        here = self._entries[self._cursor]
        if value == here.value:
            return False
        del self._entries[self._cursor + 1 :]
        entry = Entry(value, words, merge, datetime.now(UTC).isoformat(timespec="seconds"))
        if merge and merge == here.merge and self._cursor:
            self._entries[self._cursor] = entry
        else:
            self._entries.append(entry)
            self._cursor += 1
        self.last = ("act", words)
        return True

    def drag(self, value: Value | None = None) -> bool:
        """A hand takes hold, or moves to this value; False if nothing changes by it."""
        wanted = self.current if value is None else value
        moved = wanted != self.shown
        self._drag = wanted
        return moved

    def drop(self) -> Value | None:
        """The hand lets go; the value where it was, None if there was no hand."""
        dragged, self._drag = self._drag, None
        return dragged

    def undo(self) -> bool:
        """One act back; False at the beginning."""
        self._drag = None
        if not self._cursor:
            return False
        self.last = ("undo", self.undo_words)
        self._cursor -= 1
        return True

    def redo(self) -> bool:
        """One act forward; False at the end."""
        self._drag = None
        if self._cursor + 1 >= len(self._entries):
            return False
        self._cursor += 1
        self.last = ("redo", self.undo_words)
        return True
