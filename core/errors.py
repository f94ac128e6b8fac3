"""Every error that Palpate raises on purpose.

    PalpateError
    ├── InputError            something the user gave us can be mended by the user
    │   ├── ReadError         a file: what is wrong, where in the file, and the repair
    │   │   └── SourceError   the map of a saved analysis: it is gone, or another one
    │   ├── SettingsError     a setting: the field's name and its range
    │   └── WriteError        a place to save: why it could not be written, and the repair
    └── Cancelled             the user asked to stop; nothing is wrong

A message is one or two plain sentences. A single bad curve is never an exception: it is a doubt
(see ``doubts.py``). Anything else that surfaces is a fault of ours.
"""

from __future__ import annotations

from os import PathLike


class PalpateError(Exception):
    """Root of the tree; catch this to catch all that is ours."""


class InputError(PalpateError):
    """Something the user gave us can't be used as it is."""


class ReadError(InputError):
    """A file can't be read; names the file, the place in it, and the repair.

    Parameters
    ----------
    path : the file
    what : what is wrong, a clause without a full stop
    repair : what to do about it, a sentence
    where : the object in the file or the curve, if one is to blame
    """

    def __init__(
        self, path: str | PathLike[str], what: str, repair: str = "", where: str = ""
    ) -> None:
        self.path, self.what, self.repair, self.where = str(path), what, repair, where
        place = f", {where}" if where else ""
        super().__init__(f"{self.path}{place}: {what}." + (f" {repair}" if repair else ""))

    def __reduce__(self):
        return type(self), (self.path, self.what, self.repair, self.where)


class SourceError(ReadError):
    """The map that an analysis was made from is not there, or a file of its name is another one;
    the person can point to the right one."""


class SettingsError(InputError):
    """A setting is unknown or impossible; names the field and its range."""

    def __init__(self, field: str, what: str) -> None:
        self.field, self.what = field, what
        super().__init__(f"Setting {field}: {what}")

    def __reduce__(self):
        return type(self), (self.field, self.what)


class WriteError(InputError):
    """A result could not be saved; names the place and the repair. Nothing half-written is left."""


class Cancelled(PalpateError):
    """The user asked to stop."""
