"""What is decided is written down at once, in a journal of the program's own, so that a crash
costs nothing; the person's own files are never touched by it."""

from .folder import Lock, discard, journal_folder, keep_tidy
from .reading import Found, find, read
from .writing import Journal, Source

__all__ = ["Found", "Journal", "Lock", "Source", "discard", "find", "journal_folder", "keep_tidy",
           "read"]  # fmt: skip
