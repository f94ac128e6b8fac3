"""The numbers behind a figure: a folder of tables with their description, settings, recipe,
caption, source, and a script that draws the figure again and compares.

Tables are comma-separated values as RFC 4180 has them, described by a Data Package (the open
standard of datapackage.org, version 2: resources with a schema of fields). What it knows no word
for, units above all, is given as properties of our own, which it allows.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import math
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ..errors import ReadError, WriteError
from ..sheets import Sheet
from ..work.parts import as_parts
from ..writers import nexus
from ..writers.atomic import saving
from .parts import DataTable, Drawn

if TYPE_CHECKING:
    from ..findings import Findings

SCHEMA = "https://datapackage.org/profiles/2.0/datapackage.json"
PACKAGE = "datapackage.json"
SAME = 1e-6
"""Relative: numbers of two computers that differ by less are the same."""
LARGEST = 500_000_000
"""Bytes of a table that is read back."""


def write_data(folder: Path, drawn: Drawn, findings: Findings, replace_existing: bool = True
               ) -> list[Path]:  # fmt: skip
    """Write all of it into a folder, which is made if it is not there.

    Returns
    -------
    list of Path : the files: one CSV a table, ``datapackage.json``, ``settings.json``,
        ``work.json``, ``recipe.json``, ``caption.txt``, ``source.json``, ``redraw.py``

    Raises
    ------
    WriteError : no such place, no permission, a full disk, or a file that is there and may not be
        replaced; each file is there whole or not at all
    """
    from .script import script_of

    folder = Path(folder)
    source = source_of(findings)
    texts: dict[str, str] = {}
    resources = []
    for name, panel, table in named_tables(drawn):
        text = csv_of(table)
        texts[f"{name}.csv"] = text
        resources.append(_resource(name, panel, table, text))
    texts |= {
        PACKAGE: _json(_package(drawn, findings, resources, source)),
        "settings.json": _json(findings.analysis.settings.as_dict()),
        "work.json": _json({"palpate_work": 1, **_decided(findings)}),
        "recipe.json": _json(drawn.sheet.as_dict()),
        "caption.txt": drawn.caption + "\n",
        "source.json": _json(source),
        "redraw.py": script_of(drawn.sheet, findings, folder),
    }
    _make(folder)
    paths = [folder / name for name in texts]
    there = [path.name for path in paths if path.exists()]
    if there and not replace_existing:
        raise WriteError(f"{folder} holds {', '.join(there[:3])} already. Choose another folder, "
                         "or ask for the files to be replaced.")  # fmt: skip
    for path, text in zip(paths, texts.values(), strict=True):
        with saving(path, needs=len(text)) as temporary:
            temporary.write_bytes(text.encode())
    return paths


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


def csv_of(table: DataTable) -> str:
    """A table as comma-separated values with a head; nine digits, empty where missing."""
    lengths = {len(column) for column in table.values}
    if len(table.columns) != len(table.values) or len(lengths) > 1:
        raise ValueError(f"the columns of the table “{table.name}” do not fit each other")
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow([name for name, _, _ in table.columns])
    writer.writerows(zip(*([text_of(v) for v in column] for column in table.values), strict=True))
    return out.getvalue()


def text_of(value: Any) -> str:
    """One cell."""
    if isinstance(value, (bool, np.bool_)):
        return "true" if value else "false"
    if isinstance(value, (float, np.floating)):
        if math.isnan(value):
            return ""
        return ("INF" if value > 0 else "-INF") if math.isinf(value) else f"{value:.9g}"
    return str(value)


def type_of(column: Any) -> str:
    """What a column holds, as the standard calls it."""
    array = np.asarray(column)
    kinds = {"f": "number", "i": "integer", "u": "integer", "b": "boolean"}
    return kinds.get(array.dtype.kind, "string")


def _resource(name: str, panel: int, table: DataTable, text: str) -> dict[str, Any]:
    fields = []
    for (head, unit, about), column in zip(table.columns, table.values, strict=True):
        field: dict[str, Any] = {"name": head, "type": type_of(column)}
        if unit:
            field["unit"] = unit
        if about:
            field["description"] = about
        fields.append(field)
    data = text.encode()
    return {
        "name": name, "type": "table", "path": f"{name}.csv", "description": table.description,
        "panel": panel + 1, "format": "csv", "mediatype": "text/csv", "encoding": "utf-8",
        "bytes": len(data), "hash": f"sha256:{hashlib.sha256(data).hexdigest()}",
        "schema": {"fields": fields, "missingValues": [""]},
    }  # fmt: skip


def _package(drawn: Drawn, findings: Findings, resources: list[dict[str, Any]],
             source: dict[str, Any]) -> dict[str, Any]:  # fmt: skip
    return {
        "$schema": SCHEMA, "name": slug(drawn.sheet.name), "title": drawn.sheet.name,
        "description": drawn.caption, "resources": resources,
        "sources": [{"title": f"{findings.name} (SHA-256 {source['map']['sha256']})"}],
        "palpate": {"version": source["palpate"], "source": "source.json",
                    "settings": "settings.json", "recipe": "recipe.json", "script": "redraw.py",
                    "caution": "not for qualifying safety-critical or medical parts"},
    }  # fmt: skip


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


def _make(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise WriteError(f"{folder} can't be made: {error.strerror or error}. Choose another "
                         "folder.") from None  # fmt: skip


# -- reading back ----------------------------------------------------------------------------------


def read_sheet(path: Path) -> Sheet:
    """A recipe from a file. Raises SettingsError that names the file and what is wrong."""
    from ..errors import SettingsError

    try:
        if path.stat().st_size > 1_000_000:
            raise SettingsError("sheet", f"is larger than a recipe can be (in {path}).")
        data = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise SettingsError("sheet", f"{path} can't be read: {error}.") from None
    except (ValueError, RecursionError) as error:
        raise SettingsError("sheet", f"{path} is not valid JSON: {str(error)[:120]}.") from None
    try:
        return Sheet.from_dict(data)
    except SettingsError as error:
        raise SettingsError(error.field, f"{error.what} (in {path})") from None


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
        words = _differs(_rows(path), _rows_of(csv_of(table)))
        if words:
            found.append(f"{path.name}: {words}.")
    problems = [panel.problem for panel in drawn.panels if panel.problem]
    return found + [f"A panel could not be drawn: {words}" for words in problems]


def _rows(path: Path) -> list[list[str]]:
    try:
        if path.stat().st_size > LARGEST:
            raise ReadError(path, "it is larger than a table of a figure can be",
                            "Write the figure's data again.")  # fmt: skip
        return _rows_of(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise ReadError(path, f"it can't be read ({str(error)[:120]})",
                        "Write the figure's data again.") from None  # fmt: skip


def _rows_of(text: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(text, newline="")))


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
