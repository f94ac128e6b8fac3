"""What a person decided about single pixels: keep, leave out or correct, each with a note.

A review is the list of decisions in the order they were made. A pixel belongs to the newest
decision about it; so the sets of pixels never overlap, and a decision whose pixels were all decided
anew is gone. To take a decision back is one too, and leaves no trace but in the history.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

import numpy as np

from ..errors import SettingsError
from ..settings import GIVEN, Settings, as_declared, declaration
from .pixels import Pixels

Array = np.ndarray
UNDECIDED, KEPT, LEFT_OUT, CORRECTED = 0, 1, 2, 3
KINDS = ("undecided", "kept", "excluded", "corrected")
"""Names of the decisions, as in a result file."""
WORDS = ("undecided", "keep", "leave out", "correct")
"""The same as a person is told."""
DONE = ("undecided", "kept", "left out", "corrected")
"""What a pixel is then."""
VERSION = 1
LONGEST = 2000
"""Characters of a note."""
Change = tuple[tuple[str, Any], ...]


@dataclass(frozen=True)
class Decision:
    """One decision about some pixels.

    Attributes
    ----------
    kind : KEPT (believed in spite of its doubts), LEFT_OUT (in no statistic), CORRECTED (analysed
        under other settings), or UNDECIDED (what was decided before is taken back)
    change : for CORRECTED, the settings that these pixels have instead, ``section.field`` -> value
    note, who : in the person's words; may be empty
    when : ISO 8601
    """

    kind: int
    pixels: Pixels
    change: Change = ()
    note: str = ""
    who: str = ""
    when: str = ""

    @property
    def words(self) -> str:
        return WORDS[self.kind]

    def settings(self, base: Settings) -> Settings:
        """The settings of these pixels. Raises SettingsError if they do not fit the map's."""
        return base.with_values(dict(self.change)) if self.change else base

    def as_dict(self) -> dict[str, Any]:
        """Plain values for a file; `from_dict` reads them."""
        return {
            "kind": KINDS[self.kind], "note": self.note, "who": self.who, "when": self.when,
            "change": dict(self.change), "shape": list(self.pixels.shape),
            "sparse": self.pixels.sparse, "pixels": self.pixels.to_text(),
        }  # fmt: skip

    @classmethod
    def from_dict(cls, data: Any) -> Decision:
        """Raises SettingsError naming what is wrong."""
        if not isinstance(data, Mapping):
            raise SettingsError("decision", "is not a table of values.")
        pixels = Pixels.from_text(data.get("shape"), data.get("sparse"), data.get("pixels"))
        return cls.from_row(data, pixels)

    @classmethod
    def from_row(cls, data: Mapping[str, Any], pixels: Pixels) -> Decision:
        """As `from_dict`, where the pixels are known from elsewhere."""
        kind = data.get("kind")
        if kind not in KINDS:
            known = ", ".join(KINDS)
            raise SettingsError("decision.kind", f"{str(kind)[:40]!r} is none of {known}.")
        texts = [data.get(name, "") for name in ("note", "who", "when")]
        if not all(isinstance(text, str) and len(text) <= LONGEST for text in texts):
            raise SettingsError("decision.note", f"is no text of up to {LONGEST} characters.")
        return cls(KINDS.index(kind), pixels, change_of(data.get("change") or {}), *texts)


def change_of(values: Mapping[str, Any]) -> Change:
    """Settings to change, checked one by one and in their order by name.

    Raises SettingsError on an unknown setting or an impossible value.
    """
    if not isinstance(values, Mapping):
        raise SettingsError("decision.change", "is not a table of settings.")
    return tuple((path, as_declared(path, declaration(path), value))
                 for path, value in sorted(values.items()))  # fmt: skip


@dataclass(frozen=True)
class Review:
    """All decisions about a map, oldest first; see the module. Equal reviews are equal values."""

    decisions: tuple[Decision, ...] = ()

    def decide(self, decision: Decision) -> Review:
        """With one more decision; one without pixels changes nothing."""
        if not decision.pixels:
            return self
        if any(d.pixels.shape != decision.pixels.shape for d in self.decisions):
            raise SettingsError("decision", "is about a map of another shape than those before.")
        left = (replace(d, pixels=rest) if (rest := d.pixels.without(decision.pixels)) is not
                d.pixels else d for d in self.decisions)  # fmt: skip
        kept = tuple(d for d in left if d.pixels)
        return Review(kept if decision.kind == UNDECIDED else (*kept, decision))

    def keep(self, pixels: Pixels, note: str = "", who: str = "") -> Review:
        """Believe these pixels in spite of their doubts."""
        return self.decide(Decision(KEPT, pixels, (), note, who, now()))

    def leave_out(self, pixels: Pixels, note: str = "", who: str = "") -> Review:
        """Use these pixels in no statistic."""
        return self.decide(Decision(LEFT_OUT, pixels, (), note, who, now()))

    def correct(self, pixels: Pixels, change: Mapping[str, Any], note: str = "", who: str = ""
                ) -> Review:  # fmt: skip
        """Analyse these pixels under other settings; raises SettingsError on impossible ones. A
        contact point given by hand is a base position, and so one pixel's alone."""
        if pixels.count > 1 and change.get("fit.contact") == GIVEN:
            raise SettingsError("fit.contact", "given by hand holds for one pixel: correct each by "
                                "itself.")  # fmt: skip
        return self.decide(Decision(CORRECTED, pixels, change_of(change), note, who, now()))

    def take_back(self, pixels: Pixels) -> Review:
        """Forget what was decided about these pixels."""
        return self.decide(Decision(UNDECIDED, pixels))

    def with_left_out(self, mask: Array) -> Review:
        """Exactly these pixels left out, bool (rows, cols); other decisions stay elsewhere."""
        was = self.left_out.mask(mask.shape)
        more = self.take_back(Pixels.of(was & ~mask))
        fresh = Pixels.of(mask & ~was)
        return more.leave_out(fresh) if fresh else more

    def __bool__(self) -> bool:
        return bool(self.decisions)

    def of_kind(self, kind: int) -> Iterator[Decision]:
        return (d for d in self.decisions if d.kind == kind)

    def _all(self, kind: int) -> Pixels:
        found = [d.pixels for d in self.of_kind(kind)]
        if len(found) < 2:
            return found[0] if found else Pixels()
        mask = np.zeros(found[0].shape, bool)
        for pixels in found:
            mask.flat[pixels.flat] = True
        return Pixels.of(mask)

    @property
    def left_out(self) -> Pixels:
        return self._all(LEFT_OUT)

    @property
    def kept(self) -> Pixels:
        return self._all(KEPT)

    @property
    def corrected(self) -> Pixels:
        return self._all(CORRECTED)

    @property
    def corrections(self) -> tuple[Decision, ...]:
        return tuple(self.of_kind(CORRECTED))

    @property
    def words(self) -> str:
        """How many pixels were decided about and how, for a note beside numbers."""
        if not self:
            return "no pixel was decided about by hand"
        counts = ((self.left_out.count, "left out"), (self.kept.count, "kept"),
                  (self.corrected.count, "corrected"))  # fmt: skip
        return "pixels decided about by hand: " + ", ".join(f"{n:,} {what}" for n, what in counts)

    @property
    def checksum(self) -> str:
        """SHA-256 of the canonical JSON; empty where nothing is decided."""
        return hashlib.sha256(self.to_json().encode()).hexdigest() if self else ""

    def kinds(self, shape: tuple[int, int]) -> Array:
        """Decision at each pixel, uint8 (rows, cols): index into `KINDS`."""
        out = np.zeros(shape, np.uint8)
        for d in self.decisions:
            if d.pixels.shape == tuple(shape):
                out.flat[d.pixels.flat] = d.kind
        return out

    def numbers(self, shape: tuple[int, int]) -> Array:
        """Place in `decisions` of each pixel's one, int32 (rows, cols); -1 for none."""
        out = np.full(shape, -1, np.int32)
        for number, d in enumerate(self.decisions):
            if d.pixels.shape == tuple(shape):
                out.flat[d.pixels.flat] = number
        return out

    def at(self, shape: tuple[int, int], row: int, col: int) -> Decision | None:
        """The decision about one pixel of a map of this shape."""
        flat = row * shape[1] + col
        for d in reversed(self.decisions):
            if d.pixels.shape == tuple(shape) and (d.pixels.flat == flat).any():
                return d
        return None

    def to_json(self) -> str:
        """Canonical JSON; equal reviews give equal text."""
        data = {"palpate_review": VERSION, "decisions": [d.as_dict() for d in self.decisions]}
        return json.dumps(data, sort_keys=True, separators=(",", ":"), allow_nan=False)

    @classmethod
    def from_json(cls, text: str) -> Review:
        """Raises SettingsError naming what is wrong."""
        try:
            data = json.loads(text)
        except (ValueError, RecursionError) as error:
            raise SettingsError("review", f"is not valid JSON: {error}") from None
        if not isinstance(data, dict) or not isinstance(data.get("decisions"), list):
            raise SettingsError("review", "is not a list of decisions.")
        if data.get("palpate_review") != VERSION:
            raise SettingsError("review", "is of a version that this program does not read; update "
                                "Palpate.")  # fmt: skip
        return cls.of(Decision.from_dict(one) for one in data["decisions"])

    @classmethod
    def of(cls, decisions: Iterable[Decision]) -> Review:
        """From decisions, oldest first; of pixels that several are about, the newest holds."""
        found = tuple(decisions)
        if _apart(found):
            return cls(found)
        made = cls()
        for one in found:
            made = made.decide(one)
        return made


def _apart(decisions: tuple[Decision, ...]) -> bool:
    """Whether these decisions are as in a review: each about some pixels, none about the same."""
    if not decisions:
        return True
    shape = decisions[0].pixels.shape
    taken = np.zeros(shape, bool)
    for d in decisions:
        if not d.pixels or d.pixels.shape != shape or d.kind == UNDECIDED:
            return False
        flat = d.pixels.flat
        if taken.flat[flat].any():
            return False
        taken.flat[flat] = True
    return True


def now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")
