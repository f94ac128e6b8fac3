"""The numbers behind a figure: a folder of tables with their description, settings, recipe,
caption, source, and a script that draws the figure again and compares.

The folder describes itself as every folder of tables that leaves the program does, and is there
whole or not at all. Nothing in it names a time or a place of this computer, so that the same figure
of the same analysis gives the same bytes.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import math
import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ..errors import ReadError
from ..work.parts import as_parts
from ..writers import nexus
from ..writers.datapackage import NAME, Column, Resource, cell, write_package, write_table
from ..writers.folder import whole_folder
from .parts import DataTable, Drawn

if TYPE_CHECKING:
    from ..findings import Findings

SAME = 1e-6
"""Relative: numbers of two computers that differ by less are the same."""
LARGEST = 500_000_000
"""Bytes of a table that is read back."""
BESIDE = {
    "settings.json": "all settings of the analysis",
    "work.json": "what was decided: settings, rule for components, decisions about pixels, places",
    "recipe.json": "recipe of the figure",
    "caption.txt": "caption of the figure",
    "source.json": "what the figure was made from: map, checksums, version of the program",
    "redraw.py": "draws the figure again from the analysis and compares the numbers",
}
"""Files beside the tables."""


def write_data(folder: Path, drawn: Drawn, findings: Findings, replace_existing: bool = True
               ) -> list[Path]:  # fmt: skip
    """Write all of it into a folder of its own.

    Returns
    -------
    list of Path : the files: one CSV a table, those of `BESIDE`, and ``datapackage.json``

    Raises
    ------
    WriteError : no such place, no permission, a full disk, a folder with other files in it, or an
        earlier one that may not be replaced; the folder is there whole or not at all
    """
    folder = Path(folder)
    tables = named_tables(drawn)
    source = source_of(findings)
    texts = dict(zip(BESIDE, _texts(folder, drawn, findings, source), strict=True))
    needs = sum(len(text) for text in texts.values())
    needs += sum(15 * len(table.columns) * len(table.values[0]) for _, _, table in tables)
    with whole_folder(folder, needs=needs, replace=replace_existing, parents=True) as part:
        resources = []
        for name, _, table in tables:
            columns = columns_of(table)
            write_table(part / f"{name}.csv", columns, rows_of(table))
            resources.append(Resource(f"{name}.csv", table.description, columns))
        for name, text in texts.items():
            (part / name).write_bytes(text.encode())
            resources.append(Resource(name, BESIDE[name]))
        write_package(part, resources, _about(drawn, findings, source))
    return [folder / one.file for one in resources] + [folder / NAME]


def _texts(folder: Path, drawn: Drawn, findings: Findings, source: dict[str, Any]
           ) -> Iterator[str]:  # fmt: skip
    """What stands in the files of `BESIDE`, in their order."""
    from .script import script_of

    yield _json(findings.analysis.settings.as_dict())
    yield _json({"palpate_work": 1, **_decided(findings)})
    yield _json(drawn.sheet.as_dict())
    yield drawn.caption + "\n"
    yield _json(source)
    yield script_of(drawn.sheet, findings, folder)


def _about(drawn: Drawn, findings: Findings, source: dict[str, Any]) -> dict[str, Any]:
    return {
        "name": slug(drawn.sheet.name), "title": drawn.sheet.name, "created": None,
        "description": drawn.caption, "not_drawn": _problems(drawn),
        "sources": [{"title": f"{findings.name} (SHA-256 {source['map']['sha256']})"}],
        "caution": "not for qualifying safety-critical or medical parts",
    }  # fmt: skip


def named_tables(drawn: Drawn) -> list[tuple[str, int, DataTable]]:
    """Name of the file without ending, number of the panel, and table; along the letters."""
    found: list[tuple[str, int, DataTable]] = []
    taken: set[str] = set()
    for at in drawn.sheet.order:
        panel = drawn.panels[at]
        letter = re.sub(r"[^a-z]", "", panel.letter.lower())
        for table in panel.tables:
            stem = f"{letter or f'panel{at + 1}'}_{slug(table.name)}"
            name, number = stem, 2
            while name in taken:
                name, number = f"{stem}_{number}", number + 1
            taken.add(name)
            found.append((name, at, table))
    return found


def slug(text: str) -> str:
    """A text as a part of a file's name: small letters, digits and underscores."""
    return re.sub(r"[^a-z0-9]+", "_", text.lower()).strip("_")[:60] or "figure"


# -- tables ----------------------------------------------------------------------------------------


def columns_of(table: DataTable) -> tuple[Column, ...]:
    """The columns of a table as its description has them. Raises ValueError if they differ in
    length."""
    lengths = {len(column) for column in table.values}
    if len(table.columns) != len(table.values) or len(lengths) > 1:
        raise ValueError(f"the columns of the table “{table.name}” do not fit each other")
    return tuple(Column(name, type_of(values), unit, about) for (name, unit, about), values
                 in zip(table.columns, table.values, strict=True))  # fmt: skip


def rows_of(table: DataTable) -> Iterator[tuple[Any, ...]]:
    """The rows of a table, NumPy's numbers as Python's own."""
    columns = (column.tolist() if isinstance(column, np.ndarray) else column
               for column in table.values)  # fmt: skip
    return zip(*columns, strict=True)


def type_of(column: Any) -> str:
    """What a column holds, as the standard calls it."""
    kinds = {"f": "number", "i": "integer", "u": "integer", "b": "boolean"}
    return kinds.get(np.asarray(column).dtype.kind, "string")


def _decided(findings: Findings) -> dict[str, Any]:
    """The work without other recipes and pictures, which this figure does not need."""
    parts = as_parts(findings.work)
    return {name: part for name, part in parts.items() if name not in ("sheets", "picture")}


def source_of(findings: Findings) -> dict[str, Any]:
    """What the figure was made from: map, decisions, components and program."""
    fmap, review = findings.map, findings.analysis.review
    settings = findings.analysis.settings.to_json()
    rule = "" if findings.composition is None else findings.composition.rule.to_json()
    return {
        "map": {"file": "" if fmap.path is None else fmap.path.name, "title": fmap.title,
                "uuid": fmap.uuid, "bytes": fmap.file_size, "sha256": fmap.checksum(),
                "rows": fmap.shape[0], "columns": fmap.shape[1], "curves": fmap.n_curves},
        "result": "" if findings.result is None else findings.result.name,
        "settings sha256": _sha(settings), "decisions": review.words if review else "",
        "decisions sha256": review.checksum, "components rule sha256": _sha(rule) if rule else "",
        "notes": list(findings.notes), "palpate": nexus.version(),
    }  # fmt: skip


def _sha(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _json(data: Any) -> str:
    return json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


# -- reading back ----------------------------------------------------------------------------------


def differences(folder: Path, drawn: Drawn) -> list[str]:
    """Where the numbers of a figure and those in a folder differ, in sentences; empty if nowhere.

    Numbers are the same if they differ by less than a millionth; texts have to be equal.

    Raises ReadError if a table can't be read.
    """
    found = []
    for name, _, table in named_tables(drawn):
        path = Path(folder) / f"{name}.csv"
        if not path.is_file():
            found.append(f"{path.name} is not there.")
            continue
        head = [one for one, _, _ in table.columns]
        drawn_rows = [[cell(value) for value in row] for row in rows_of(table)]
        words = _differs(_rows(path), [head, *drawn_rows])
        if words:
            found.append(f"{path.name}: {words}.")
    known = _known_problems(Path(folder) / NAME)
    return found + [f"A panel could not be drawn: {words}" for words in _problems(drawn)
                    if words not in known]  # fmt: skip


def _problems(drawn: Drawn) -> list[str]:
    """Why panels were not drawn."""
    return [panel.problem for panel in drawn.panels if panel.problem]


def _known_problems(path: Path) -> list[str]:
    """The same when the folder was written; none where its description can't be read."""
    try:
        told = json.loads(path.read_text(encoding="utf-8"))["not_drawn"]
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return []
    return told if isinstance(told, list) else []


def _rows(path: Path) -> list[list[str]]:
    try:
        if path.stat().st_size > LARGEST:
            raise ReadError(path, "it is larger than a table of a figure can be",
                            "Write the figure's data again.")  # fmt: skip
        text = path.read_text(encoding="utf-8")
        return list(csv.reader(io.StringIO(text, newline="")))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise ReadError(path, f"it can't be read ({str(error)[:120]})",
                        "Write the figure's data again.") from None  # fmt: skip


def _differs(old: list[list[str]], new: list[list[str]]) -> str:
    """What is different, in words; empty if nothing is."""
    if not old or old[0] != new[0]:
        return "it has other columns"
    if len(old) != len(new) or any(len(row) != len(new[0]) for row in old):
        return f"it has {len(old) - 1} rows and not {len(new) - 1}"
    for at, name in enumerate(new[0]):
        odd = [k for k in range(1, len(new)) if not _same(old[k][at], new[k][at])]
        if odd:
            k = odd[0]
            return (f"{name} differs in {len(odd)} of {len(new) - 1} rows, first in row {k} "
                    f"({old[k][at] or 'empty'} there, {new[k][at] or 'empty'} drawn)")  # fmt: skip
    return ""


def _same(one: str, other: str) -> bool:
    if one == other:
        return True
    try:
        a, b = float(one), float(other)
    except ValueError:
        return False
    return math.isclose(a, b, rel_tol=SAME, abs_tol=1e-300)
