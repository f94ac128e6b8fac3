"""What a person answered where the methods paragraph asks: a frozen value, part of the work."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from ..errors import SettingsError

VERSION = 1
LONGEST = 600
"""Characters of an answer."""
MOST = 100
"""Answers of one analysis."""


@dataclass(frozen=True)
class Answers:
    """Question (by its name) -> the person's words, in the order of the names.

    Names that this version does not ask for are kept: another version may.

    Raises SettingsError on a name that is none, too many answers, or one that is too long.
    """

    given: tuple[tuple[str, str], ...] = ()

    def __post_init__(self) -> None:
        if len(self.given) > MOST:
            raise SettingsError("answers", f"are more than {MOST}.")
        if list(self.given) != sorted(dict(self.given).items()):
            raise SettingsError("answers", "are not sorted by their names, or one is there twice.")
        for name, text in self.given:
            if not isinstance(name, str) or not name.isidentifier() or len(name) > 60:
                raise SettingsError("answers", f"{str(name)[:40]!r} is no name of a question.")
            if not isinstance(text, str) or len(text) > LONGEST:
                raise SettingsError(f"answers.{name}", f"is not a text of at most {LONGEST} "
                                    "characters.")  # fmt: skip
            if not text or text != tidy(text):
                raise SettingsError(f"answers.{name}", "is empty, or holds line breaks or signs "
                                    "that can't be printed.")  # fmt: skip

    def __iter__(self) -> Iterator[tuple[str, str]]:
        return iter(self.given)

    def __len__(self) -> int:
        return len(self.given)

    def __contains__(self, name: object) -> bool:
        return any(name == known for known, _ in self.given)

    def of(self, name: str) -> str:
        """The answer to a question; empty if there is none."""
        return next((text for known, text in self.given if known == name), "")

    def with_answer(self, name: str, text: str) -> Answers:
        """With another answer; one without words is taken away."""
        known = dict(self.given)
        known.pop(name, None)
        if tidy(text):
            known[name] = tidy(text)
        return Answers(tuple(sorted(known.items())))

    def as_dict(self) -> dict[str, Any]:
        """Plain values, with the version."""
        return {"palpate_answers": VERSION, "answers": dict(self.given)}

    @classmethod
    def from_dict(cls, data: Any) -> Answers:
        """Back again. Raises SettingsError naming what is wrong."""
        if not isinstance(data, Mapping) or not isinstance(data.get("answers"), Mapping):
            raise SettingsError("answers", "are no table of texts.")
        version = data.get("palpate_answers")
        if type(version) is int and version > VERSION:
            raise SettingsError("answers", f"are of version {version}, newer than this program "
                                f"reads ({VERSION}); update Palpate.")  # fmt: skip
        if type(version) is not int or version != VERSION:
            raise SettingsError("answers", "are of no version that is known.")
        found = data["answers"]
        if not all(isinstance(name, str) for name in found):
            raise SettingsError("answers", "have a name that is no text.")
        return cls(tuple(sorted(found.items())))


def tidy(text: str) -> str:
    """On one line, without signs that can't be printed."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())
