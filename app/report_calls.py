"""What *Paper > Report…* asks of core: the request that carries it to the worker."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

from ..core.progress import Progress
from .requests import Request, Tell


@dataclass(frozen=True, eq=False)
class MakeReport(Request):
    """Make the report of an analysis and write it. Answers the list of paths written.

    Attributes
    ----------
    findings : core's `Findings` of the analysis in force; components are made if they are not there
    paths : files to write, by their endings
    """

    findings: Any
    paths: tuple[Path, ...]
    lane: ClassVar[str] = "report"
    words: ClassVar[str] = "Making the report"
    kept: ClassVar[bool] = True

    def run(self, progress: Progress, tell: Tell) -> list[Path]:
        from ..core.findings import completed
        from ..core.report import check_place, make, write

        for path in self.paths:
            check_place(path)
        report = make(completed(self.findings, progress), progress)
        return [write(path, report, progress) for path in self.paths]
