"""What the methods window asks of core, and the request that carries it to the worker."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, ClassVar

from ..core.progress import Progress
from .law_calls import attempt
from .requests import Request, Tell


@dataclass(frozen=True, eq=False)
class Written:
    """A paragraph, and the findings it was written from, with their components."""

    findings: Any
    paragraph: Any


@dataclass(frozen=True, eq=False)
class AskMethods(Request):
    """Write the methods paragraph. Answers `Written`, or `Refused` with a reason.

    Attributes
    ----------
    findings : what it is written from
    components : whether components belong into it; they are made if they are not there yet
    """

    findings: Any
    components: bool = False
    lane: ClassVar[str] = "methods"
    words: ClassVar[str] = "Writing the methods paragraph"

    def run(self, progress: Progress, tell: Tell) -> Any:
        return attempt(self._written, progress, "the methods paragraph")

    def _written(self, progress: Progress) -> Written:
        from ..core.findings import completed
        from ..core.methods import paragraph

        found = self.findings
        if self.components and found.composition is None and not found.notes:
            found = completed(found, progress)
        return Written(found, paragraph(found))


def with_known(findings: Any, known: Any) -> Any:
    """Findings with the components of earlier ones, and the doubts about the map, where they are
    of the same analysis and rule: an answer or a levelling changes neither."""
    if known is None or known.analysis is not findings.analysis:
        return findings
    if findings.composition is None and known.work.rule == findings.work.rule:
        findings = replace(findings, composition=known.composition, table=known.table,
                           pairs=known.pairs, notes=known.notes)  # fmt: skip
    same = findings.composition is known.composition
    if same and "map_doubts" in known.__dict__:  # worked out once
        findings.__dict__["judged"] = known.judged
    return findings
