"""What the panel *Law* asks of core, and the requests that carry it to the worker.

A curve for which something can't be worked out is no accident: its reason comes back as `Refused`
and is shown in place of the numbers.
"""

from __future__ import annotations

import traceback
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, ClassVar

from ..core.errors import Cancelled, InputError
from ..core.progress import Progress
from .faults import Fault, fault_of
from .requests import Request, Tell

QUANTITIES = {"modulus": "Young modulus", "reduced_modulus": "Reduced modulus",
              "stiffness": "Contact stiffness", "adhesion": "Adhesion"}  # fmt: skip
"""What a budget can be made of: channel name -> words."""


def _advise(analysis: Any, row: int | None, col: int | None) -> Any:
    from ..core.advice import advise

    return advise(analysis, row, col)


def _adhesion_map(analysis: Any) -> Any:
    from ..core.advice import adhesion_map

    return adhesion_map(analysis)


def _compare_on_curve(fmap: Any, settings: Any, row: int, col: int) -> Any:
    from ..core.comparison import compare_on_curve

    return compare_on_curve(fmap, settings, row, col)


def _compare_on_map(analysis: Any, progress: Progress) -> Any:
    from ..core.comparison import compare_on_map

    return compare_on_map(analysis, progress=progress)


def _compare_contacts(fmap: Any, settings: Any, row: int, col: int) -> Any:
    from ..core.contacts import compare_contacts

    return compare_contacts(fmap, settings, row, col)


def _pixel_budget(analysis: Any, row: int, col: int, quantity: str) -> Any:
    from ..core.uncertainty import pixel_budget

    return pixel_budget(analysis, row, col, quantity=quantity)


def _explain(fmap: Any, settings: Any, row: int, col: int) -> Any:
    from ..core.explain import explain

    return explain(fmap, settings, row, col)


@dataclass(frozen=True)
class Calls:
    """Where the numbers come from; a test puts others in their places."""

    advise: Callable[..., Any] = _advise
    adhesion_map: Callable[..., Any] = _adhesion_map
    compare_on_curve: Callable[..., Any] = _compare_on_curve
    compare_on_map: Callable[..., Any] = _compare_on_map
    compare_contacts: Callable[..., Any] = _compare_contacts
    pixel_budget: Callable[..., Any] = _pixel_budget
    explain: Callable[..., Any] = _explain


@dataclass(frozen=True)
class Refused:
    """Why there is no answer, in words; `fault` if that is a mistake of ours, made at `place`."""

    words: str
    fault: Fault | None = None
    place: str = ""


def attempt(work: Callable[[Progress], Any], progress: Progress) -> Any:
    """The answer of some work, or `Refused`; only `Cancelled` passes as an error."""
    try:
        found = work(progress)
    except Cancelled:
        raise
    except InputError as error:
        return Refused(str(error))
    except ModuleNotFoundError as error:
        return Refused(f"This part of Palpate is not installed ({error.name}).")
    except (ValueError, ArithmeticError) as error:  # of this curve: said in place
        return Refused(f"Not possible for this curve: {error}")
    except Exception as error:
        fault = fault_of(error, "looking at the law")
        last = traceback.extract_tb(error.__traceback__)[-1]
        place = f"{type(error).__name__} in {last.filename}, line {last.lineno}"
        return Refused("This could not be worked out; the fault is in Palpate.", fault, place)
    return Refused("There is nothing to show for this curve.") if found is None else found


@dataclass(frozen=True, eq=False)
class AskLaw(Request):
    """One page of the panel for the picked pixel or the map. Answers what `work` does, or
    `Refused`."""

    page: str
    work: Callable[[Progress], Any]
    lane: ClassVar[str] = "law"
    words: ClassVar[str] = "Looking at the law"

    def run(self, progress: Progress, tell: Tell) -> Any:
        return attempt(self.work, progress)


@dataclass(frozen=True, eq=False)
class DrawLaw(Request):
    """The picked curve under another law, for a line on it. Answers a report, or `Refused`."""

    label: str
    work: Callable[[Progress], Any]
    lane: ClassVar[str] = "law line"
    words: ClassVar[str] = "Drawing another law"

    def run(self, progress: Progress, tell: Tell) -> Any:
        return attempt(self.work, progress)


@dataclass(frozen=True, eq=False)
class CompareMap(Request):
    """All laws over the whole map, which takes its time. Answers a list, or `Refused`."""

    work: Callable[[Progress], Any]
    lane: ClassVar[str] = "law map"
    words: ClassVar[str] = "Comparing laws over the map"

    def run(self, progress: Progress, tell: Tell) -> Any:
        return attempt(self.work, progress)
