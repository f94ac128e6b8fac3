"""Undo as a list and a cursor: an act that forgets to be undoable cannot exist."""

from __future__ import annotations

from dataclasses import dataclass

from ..core.settings import Settings


@dataclass(frozen=True)
class Entry:
    """The settings after one act of the person, and the act in words ("fit window")."""

    settings: Settings
    words: str
    merge: str = ""


class History:
    """What was chosen, act by act; the cursor stands at the settings in force. While a hand is
    dragging, `shown` runs ahead of it.

    Parameters
    ----------
    settings : where it begins; this entry can't be undone
    """

    def __init__(self, settings: Settings) -> None:
        self._entries = [Entry(settings, "")]
        self._cursor = 0
        self._drag: Settings | None = None

    def __len__(self) -> int:
        return len(self._entries)

    @property
    def current(self) -> Settings:
        return self._entries[self._cursor].settings

    @property
    def shown(self) -> Settings:
        """The settings to display: those of the drag while a hand is dragging."""
        return self._drag or self.current

    @property
    def dragging(self) -> bool:
        return self._drag is not None

    @property
    def undo_words(self) -> str:
        """The act that undo takes back; empty if there is none."""
        return self._entries[self._cursor].words if self._cursor else ""

    @property
    def redo_words(self) -> str:
        """The act that redo does again; empty if there is none."""
        ahead = self._cursor + 1
        return self._entries[ahead].words if ahead < len(self._entries) else ""

    def push(self, settings: Settings, words: str, merge: str = "") -> bool:
        """Add an act; what had been undone is forgotten.

        Parameters
        ----------
        merge : acts that follow each other with the same word here become one entry

        Returns
        -------
        bool : False if the settings are the same as before, which is no act
        """
        self._drag = None
        here = self._entries[self._cursor]
        if settings == here.settings:
            return False
        del self._entries[self._cursor + 1 :]
        if merge and merge == here.merge and self._cursor:
            self._entries[self._cursor] = Entry(settings, words, merge)
        else:
            self._entries.append(Entry(settings, words, merge))
            self._cursor += 1
        return True

    def drag(self, settings: Settings | None = None) -> bool:
        """A hand takes hold, or moves to these settings; False if nothing changes by it."""
        wanted = settings or self.current
        moved = wanted != self.shown
        self._drag = wanted
        return moved

    def drop(self) -> Settings | None:
        """The hand lets go; the settings where it was, None if there was no hand."""
        dragged, self._drag = self._drag, None
        return dragged

    def undo(self) -> bool:
        """One act back; False at the beginning."""
        self._drag = None
        if not self._cursor:
            return False
        self._cursor -= 1
        return True

    def redo(self) -> bool:
        """One act forward; False at the end."""
        self._drag = None
        if self._cursor + 1 >= len(self._entries):
            return False
        self._cursor += 1
        return True
