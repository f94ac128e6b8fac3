"""What *Paper > Pack for a reviewer…* asks of core: the request that carries it to the worker."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar

from ..core.progress import Progress
from .requests import Request, Tell


@dataclass(frozen=True, eq=False)
class MakePack(Request):
    """Make a pack of the analysis. Answers core's `Packed`.

    Attributes
    ----------
    findings : core's `Findings` of the analysis in force; components are made if they are not there
    path : a folder, or a name that ends in .zip; a pack that is there is replaced, since the person
        was asked
    wish : core's `Wish`
    acts : rows of the history
    """

    findings: Any
    path: Path
    wish: Any
    acts: tuple[Any, ...] = ()
    lane: ClassVar[str] = "pack"
    words: ClassVar[str] = "Packing"
    kept: ClassVar[bool] = True

    def run(self, progress: Progress, tell: Tell) -> Any:
        from ..core.findings import completed
        from ..core.pack import write_pack

        found = completed(self.findings, progress)
        return write_pack(self.path, found, self.wish, acts=self.acts, progress=progress,
                          replace_existing=True)  # fmt: skip
