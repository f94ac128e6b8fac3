"""Findings of a saved result, or of a map: analysed, reviewed, with its components."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from ..analysis import Analysis
from ..errors import ReadError, SettingsError
from ..progress import Progress
from ..readers import open_map
from ..reopening import again, components_again, differences, open_analysis
from ..settings import Settings
from ..work import Work
from .all import Findings


@contextmanager
def opened_findings(
    path: str | os.PathLike[str], *, near: Path | None = None, settings: Settings | None = None,
    progress: Progress | None = None,
) -> Iterator[Findings]:  # fmt: skip
    """Findings of a saved result and its map, or of a map under some settings, while the map is
    open; with components by the rule in force, also where the result holds none yet, so that
    figures, methods, report and pack never tell different things.

    Parameters
    ----------
    near : where a result's map is, a file or a folder, if it is not at its place
    settings : for a map; a saved result has its own

    Raises
    ------
    ReadError, SourceError : the file, or the map of a result, can't be read or is not there
    """
    try:
        opened = open_analysis(path, near)
    except ReadError as error:
        if "not a saved analysis" not in error.what:
            raise
        with open_map(path) as fmap:
            from ..pipeline import analyse

            work = Work(settings or Settings())
            yield findings_of(analyse(fmap, work.settings, progress=progress), work, progress)
        return
    with opened.map:
        analysis = again(opened, progress)
        made, lacking = components_again(opened.loaded, analysis, progress)
        notes = (*opened.notes, *differences(opened.loaded, analysis, made), *lacking)
        found = Findings(analysis, opened.work, view=opened.loaded.view, result=Path(path),
                         notes=notes)  # fmt: skip
        if made is not None:
            found = replace(found, composition=made.composition, table=made.table, pairs=made.pairs)
        yield found if opened.loaded.components is not None else completed(found, progress)


def findings_of(analysis: Analysis, work: Work, progress: Progress | None = None) -> Findings:
    """Findings of an analysis that was just made, with components as in `completed`."""
    return completed(Findings(analysis, work), progress)


def completed(findings: Findings, progress: Progress | None = None) -> Findings:
    """With components by the work's rule, their table and pairs, if they are not there yet; with a
    note where there are none."""
    if findings.table is not None:
        return findings
    found, note = _components(findings, progress)
    if not note or note in found.notes:
        return found
    return replace(found, notes=(*found.notes, note))


def _components(findings: Findings, progress: Progress | None) -> tuple[Findings, str]:
    from ..components import Maps, find, pairs_of, pairs_with_common, table_of, with_common

    try:
        found = find(Maps.of(findings.analysis), findings.work.rule, progress)
    except (ValueError, SettingsError) as error:
        return findings, f"No components: {str(error).rstrip('.')}."
    table = with_common(found, table_of(found))
    pairs = tuple(pairs_with_common(found, pairs_of(found, table), table))
    return replace(findings, composition=found, table=table, pairs=pairs), ""
