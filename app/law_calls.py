"""What the panel *Law* asks of core, and the requests that carry it to the worker.

A curve for which something can't be worked out is no accident: its reason comes back as `Refused`
and is shown in place of the numbers.
"""

from __future__ import annotations

import traceback
from collections.abc import Callable
from dataclasses import dataclass, field
from importlib import import_module
from typing import Any, ClassVar

from ..core.errors import Cancelled, InputError
from ..core.progress import Progress
from .faults import Fault, fault_of
from .requests import Request, Tell

QUANTITIES = {"modulus": "Young modulus", "reduced_modulus": "Reduced modulus",
              "stiffness": "Contact stiffness", "adhesion": "Adhesion"}  # fmt: skip
"""What a budget can be made of: channel name -> words."""
Call = Callable[..., Any]


def _core(room: str, name: str) -> Any:
    """A function of core whose room is loaded when it is first called."""

    def call(*given: Any, **named: Any) -> Any:
        return getattr(import_module(f"..core.{room}", __package__), name)(*given, **named)

    return field(default=call)


@dataclass(frozen=True)
class Calls:
    """Where the numbers come from; a test puts others in their places."""

    advise: Call = _core("advice", "advise")
    adhesion_map: Call = _core("advice", "adhesion_map")
    compare_on_curve: Call = _core("comparison", "compare_on_curve")
    compare_on_map: Call = _core("comparison", "compare_on_map")
    compare_contacts: Call = _core("contacts", "compare_contacts")
    pixel_budget: Call = _core("uncertainty", "pixel_budget")
    explain: Call = _core("explain", "explain")


@dataclass(frozen=True)
class Compared:
    """A comparison of laws, and the advice's verdict of each by (law, adhesion)."""

    found: list[Any]
    verdicts: dict[tuple[str, str], str]


def compared(compare: Call, advise: Call | None, progress: Progress) -> Compared:
    """Criterion and physics side by side; no verdicts while the map is still being analysed."""
    found = list(compare(progress))
    advice = advise() if advise is not None else None
    verdicts = {(law.law, law.adhesion): law.verdict for law in advice.laws} if advice else {}
    return Compared(found, verdicts)


@dataclass(frozen=True)
class Refused:
    """Why there is no answer, in words; `fault` if that is a mistake of ours, made at `place`."""

    words: str
    fault: Fault | None = None
    place: str = ""


def attempt(work: Callable[[Progress], Any], progress: Progress, what: str = "this curve") -> Any:
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
        return Refused(f"Not possible for {what}: {error}")
    except Exception as error:
        fault = fault_of(error, f"looking at {what}")
        last = traceback.extract_tb(error.__traceback__)[-1]
        place = f"{type(error).__name__} in {last.filename}, line {last.lineno}"
        return Refused("This could not be worked out; the fault is in Palpate.", fault, place)
    return Refused(f"There is nothing to show for {what}.") if found is None else found


def why_not(answer: Any, stopped: str = "Stopped. Change something to go on.") -> str:
    """Why an answer holds nothing to show, in words; empty if it does."""
    if isinstance(answer.error, Cancelled):
        return stopped
    if answer.error is not None:
        return "This could not be worked out."  # the session tells the fault
    return answer.value.words if isinstance(answer.value, Refused) else ""


@dataclass(frozen=True, eq=False)
class LawWork(Request):
    """Answers what `work` does, or `Refused`."""

    work: Callable[[Progress], Any]

    def run(self, progress: Progress, tell: Tell) -> Any:
        return attempt(self.work, progress)


@dataclass(frozen=True, eq=False)
class AskLaw(LawWork):
    """One page of the panel for the picked pixel or the map."""

    lane: ClassVar[str] = "law"
    words: ClassVar[str] = "Looking at the law"


@dataclass(frozen=True, eq=False)
class DrawLaw(LawWork):
    """The picked curve under another law, for a line on it. Answers a report."""

    label: str
    lane: ClassVar[str] = "law line"
    words: ClassVar[str] = "Drawing another law"


@dataclass(frozen=True, eq=False)
class CompareMap(LawWork):
    """All laws over the whole map, which takes its time. Answers `Compared`."""

    lane: ClassVar[str] = "law map"
    words: ClassVar[str] = "Comparing laws over the map"
