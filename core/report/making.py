"""From findings to the report: one section after the other, with progress."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from ..progress import Progress
from ..writers.nexus import now, version
from . import about, calibrating, compounds, curves, doubting, drawing, laws, placed
from .parts import Block, Heading, Listing, Note, Paragraph, Report, Section, short
from .summary import summary
from .words import CAUTION, Draft, Within

if TYPE_CHECKING:
    from ..findings import Findings

Maker = Callable[[Draft], Section]


def make(findings: Findings, progress: Progress | None = None) -> Report:
    """The report of one analysis.

    Parameters
    ----------
    findings : of a complete analysis, with its map open
    progress : told after each section; may cancel

    Returns
    -------
    Report : the value that `write_html` and `write_pdf` write

    Raises
    ------
    ReadError : the map is damaged or gone
    Cancelled : on request
    """
    progress = progress or Progress()
    draft = Draft(findings, Within(progress))
    made = []
    for at, (words, maker) in enumerate(MAKERS):
        progress.step(at, len(MAKERS) + 1, f"Report: {words}")
        made.append(maker(draft))
    progress.step(len(MAKERS), len(MAKERS) + 1, "Report: title")
    first = about.lead(draft)
    made.append(about.limits(draft))
    return Report.of(
        short(findings.name, 120), "Report of one analysis of a map of force-distance curves",
        first, made, author=f"Palpate {version()}",
        subject="Analysis of a map of force-distance curves", made=now(), caution=CAUTION,
    )  # fmt: skip


def _maps(draft: Draft) -> Section:
    blocks = drawing.maps(draft)
    if not blocks:
        return Section("maps", "Maps", (Note("No channel has a value in any pixel."),))
    return Section("maps", "Maps", tuple(blocks))


def _distributions(draft: Draft) -> Section:
    blocks = drawing.distributions(draft)
    if not blocks:
        draft.left_out.append("Distributions: no pixel that is used has a value.")
        blocks = [Note("No pixel that is used has a value to be counted.")]
    return Section("distributions", "Distributions", tuple(blocks))


def _methods(draft: Draft) -> Section:
    """What was done, as the room `methods` writes it, with its gaps and references."""
    from ..methods import paragraph

    try:
        found = paragraph(draft.findings)
    except ValueError as error:
        draft.left_out.append(f"The methods paragraph: {error}.")
        return Section("methods", "Methods", (Note(f"No methods paragraph: {error}."),))
    blocks: list[Block] = []
    cited: tuple[str, ...] = ()
    for part in found.text.strip().split("\n\n"):
        head, *lines = part.split("\n")
        if head == "References":
            cited = tuple(lines)
            continue
        group = next((one.group for one in found.parts if part.startswith(f"{one.group}. ")), "")
        if group:
            blocks.append(Heading(group))
            part = part.removeprefix(f"{group}. ")
        blocks.append(Paragraph(part))
    if found.gaps:
        blocks.append(Heading("Gaps"))
        blocks.append(Paragraph("Not known to the program, and to be filled in before printing:"))
        blocks.append(Listing(tuple(gap.question[:1].upper() + gap.question[1:]
                                    for gap in found.gaps)))
    if cited:
        blocks += [Heading("References"), Listing(cited)]
    blocks += [Note(words) for words in found.notes if words not in draft.findings.notes]
    return Section("methods", "Methods", tuple(blocks))


MAKERS: tuple[tuple[str, Maker], ...] = (
    ("summary", summary),
    ("maps", _maps),
    ("components", compounds.components),
    ("uncertainty", compounds.budgets),
    ("distributions", _distributions),
    ("places", placed.places),
    ("calibration", calibrating.calibration),
    ("doubts", doubting.doubts),
    ("decisions", doubting.decisions),
    ("example curves", curves.examples),
    ("quality of the fits", laws.quality),
    ("contact law", laws.law),
    ("methods", _methods),
    ("settings", laws.settings),
    ("environment", about.environment),
)
"""Words for the progress, and what makes the section; in the order of the report."""
