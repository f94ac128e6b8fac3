"""What the page *Overlay* asks of core, and the request that carries it to the worker."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, ClassVar

from ..core.progress import Progress
from .law_calls import attempt
from .requests import Request, Tell


@dataclass(frozen=True)
class Axes:
    """What the curves are drawn on, as core's `aligned` takes it."""

    x: str = "indentation"
    y: str = "force"
    align: str = "contact"

    @property
    def words(self) -> str:
        """Such as "force against indentation, aligned at contact"."""
        lying = {"contact": "aligned at contact", "peak": "aligned at the peak",
                 "none": "as measured"}[self.align]  # fmt: skip
        return f"{self.y} against {'base position' if self.x == 'z' else self.x}, {lying}"


@dataclass(frozen=True, eq=False)
class AskOverlay(Request):
    """Lay sets of curves over each other. Tells and answers set -> core's `Ensemble`, or `Refused`.

    Attributes
    ----------
    analysis, axes : what to work on
    sets : set -> numbers of its curves (m,)
    known : sets that are there already, taken over as they are
    """

    analysis: Any
    axes: Axes
    sets: Mapping[str, Any]
    known: Mapping[str, Any] = field(default_factory=dict)
    lane: ClassVar[str] = "overlay"
    words: ClassVar[str] = "Laying curves over each other"

    def run(self, progress: Progress, tell: Tell) -> Any:
        return attempt(lambda p: self._made(p, tell), progress, "these curves")

    def _made(self, progress: Progress, tell: Tell) -> dict[str, Any]:
        from ..core.ensemble import aligned

        made: dict[str, Any] = {}
        for name, curves in self.sets.items():
            progress.check()
            made[name] = self.known.get(name) or aligned(
                self.analysis, curves, x=self.axes.x, y=self.axes.y, align=self.axes.align,
                progress=progress)  # fmt: skip
            tell(dict(made))
        return made


def table_text(axes: Axes, ensembles: Mapping[str, Any], curves: Mapping[str, Any],
               branches: tuple[str, ...]) -> str:  # fmt: skip
    """What is drawn as comma-separated values; every row says on which axes.

    Parameters
    ----------
    ensembles, curves : name of a set -> core's `Ensemble`, name of a single curve -> `Placed`
    branches : those that are drawn
    """
    import csv
    import io

    from ..core.ensemble import HEAD, rows_of, rows_of_curve

    unit = {"force": "nN", "deflection": "nm"}[axes.y]
    head = [f"{name}_nm" if name == "x" else f"{name}_{unit}" if name.startswith("y_") else name
            for name in HEAD]  # fmt: skip
    rows = [row for name, one in ensembles.items() for row in rows_of(name, one)]
    rows += [row for name, one in curves.items() for row in rows_of_curve(name, one)]
    file = io.StringIO()
    out = csv.writer(file, lineterminator="\n")
    out.writerow([*head, "axes"])
    for row in rows:
        if row[1] in branches:
            shown = [f"{v:.7g}" if isinstance(v, float) else v for v in row]
            out.writerow([*shown, axes.words])
    return file.getvalue()


__all__ = ["AskOverlay", "Axes", "table_text"]
