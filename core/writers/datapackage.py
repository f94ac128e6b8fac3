"""A folder of tables that describes itself: ``datapackage.json`` by the Data Package standard.

Data Package 2.0 (datapackage.org, an open standard of the Frictionless project): each file is a
resource with its bytes and SHA-256; a table has a schema, one field a column, in the order of the
file. A unit stands as the further property ``unit`` of a field, which the standard allows.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from . import nexus
from .atomic import saving

NAME = "datapackage.json"
TYPES = ("number", "integer", "string", "boolean", "any")
MISSING = ("", "nan")
"""How a missing value is written in our tables."""
_STANDARD = "https://datapackage.org/profiles/2.0"
_FORMULA = ("=", "+", "-", "@")


@dataclass(frozen=True)
class Column:
    """One column of a table.

    Attributes
    ----------
    name : as it stands in the file's head
    type : one of `TYPES`
    unit : "" for a pure number or a text
    description : a phrase
    """

    name: str
    type: str = "number"
    unit: str = ""
    description: str = ""


@dataclass(frozen=True)
class Resource:
    """One file of a package.

    Attributes
    ----------
    file : its name inside the folder, with / between folders
    description : a sentence
    columns : those of a table (CSV), in the file's order; () for any other file
    """

    file: str
    description: str = ""
    columns: tuple[Column, ...] = ()


def write_package(folder: str | Path, resources: Iterable[Any], about: Mapping[str, Any]) -> Path:
    """Describe the files of a folder in its ``datapackage.json``; the last file to be written.

    Parameters
    ----------
    resources : `Resource`s, or (file, description, columns) with columns of `Column`s or of
        (name, type, unit, description)
    about : further properties of the package: ``title``, ``description``, ``version``, and our own,
        such as ``settings_sha256``; one that is None is left out, also ``created``

    Raises
    ------
    ValueError : a file is not there, two have one name, or a table's head is not that of its
        columns; WriteError : the file can't be written
    """
    folder = Path(folder)
    known = [_resource(one) for one in resources]
    if len({one.file for one in known}) < len(known):
        raise ValueError("two resources of a package have the same file")
    package: dict[str, Any] = {
        "$schema": f"{_STANDARD}/datapackage.json",
        "name": _slug(str(about.get("name") or about.get("title") or folder.name)),
        "created": nexus.now(), "program": f"palpate {nexus.version()}",
        **{key: value for key, value in about.items() if key != "name"},
        "resources": _described(folder, known),
    }  # fmt: skip
    path = folder / NAME
    with saving(path) as temporary:
        package = {key: value for key, value in package.items() if value is not None}
        text = json.dumps(package, indent=1, ensure_ascii=False, allow_nan=False)
        temporary.write_text(text + "\n", encoding="utf-8")
    return path


def write_table(path: Path, columns: Sequence[Column], rows: Iterable[Iterable[Any]]) -> Path:
    """Write a table as its columns describe it: a head, nine digits, ``nan`` where missing.

    Raises WriteError in words.
    """
    with saving(path) as temporary, temporary.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow([column.name for column in columns])
        writer.writerows([cell(value) for value in row] for row in rows)
    return path


def listed(folder: Path) -> dict[str, str] | None:
    """The files that a package of ours describes, with the SHA-256 of each ("" where it has none);
    None if the folder holds no such package."""
    try:
        package = json.loads((folder / NAME).read_text(encoding="utf-8"))
        if not str(package["program"]).startswith("palpate "):
            return None
        return {str(one["path"]): str(one.get("hash", "")).removeprefix("sha256:")
                for one in package["resources"]}  # fmt: skip
    except (OSError, ValueError, LookupError, TypeError, AttributeError, RecursionError):
        return None


def cell(value: Any) -> str:
    """A value as our tables write it: nine digits, true or false; a text on one line, with an
    apostrophe where a spreadsheet would take it for a formula."""
    if isinstance(value, str):
        line = " ".join(value.split())
        return f"'{line}" if line.startswith(_FORMULA) and not _number(line) else line
    if value is None:
        return ""
    if isinstance(value, bool | np.bool_):
        return "true" if value else "false"
    if not isinstance(value, float | np.floating):
        return str(value)
    return f"{value:.9g}".replace("inf", "INF")  # as the standard spells it


def _number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def columns_of(rows: Sequence[Sequence[Any]], units: Mapping[str, str] | None = None,
               words: Mapping[str, str] | None = None) -> tuple[Column, ...]:  # fmt: skip
    """Columns of a table whose first row is the head, their types read off the values."""
    units, words = units or {}, words or {}
    head, body = rows[0], rows[1:]
    return tuple(Column(str(name), _type([row[k] for row in body]), units.get(str(name), ""),
                        words.get(str(name), ""))
                 for k, name in enumerate(head))  # fmt: skip


def _type(values: Sequence[Any]) -> str:
    given = [value for value in values if value is not None and value != ""]
    if not given:
        return "any"
    if any(isinstance(value, str) for value in given):
        return "string"
    if all(isinstance(value, bool | np.bool_) for value in given):
        return "boolean"
    if all(isinstance(value, int | np.integer) for value in given):
        return "integer"
    return "number"


def _resource(given: Any) -> Resource:
    if isinstance(given, Resource):
        return given
    file, description, columns = given
    made = tuple(one if isinstance(one, Column) else Column(*one) for one in columns)
    return Resource(str(file), description, made)


def _described(folder: Path, resources: Sequence[Resource]) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    names: set[str] = set()
    for one in resources:
        path = folder / one.file
        if not path.is_file():
            raise ValueError(f"{one.file} is described but not there")
        name = _slug(one.file.removesuffix(path.suffix))
        name = name if name not in names else _slug(one.file.replace(".", "-"))
        while name in names:
            name += "-"
        names.add(name)
        entry: dict[str, Any] = {"name": name, "path": one.file}
        if one.description:
            entry["description"] = one.description
        entry.update(format=path.suffix.lstrip(".").lower(), bytes=path.stat().st_size)
        with path.open("rb") as stream:
            entry["hash"] = f"sha256:{hashlib.file_digest(stream, 'sha256').hexdigest()}"
        if one.columns:
            entry |= _schema(path, one)
        found.append(entry)
    return found


def _schema(path: Path, one: Resource) -> dict[str, Any]:
    head, comments = _head(path)
    if head != [column.name for column in one.columns]:
        raise ValueError(f"the head of {one.file} is {head}, not that of its columns")
    if any(column.type not in TYPES for column in one.columns):
        raise ValueError(f"a column of {one.file} has a type that is none of {', '.join(TYPES)}")
    fields = []
    for column in one.columns:
        field = {"name": column.name, "type": column.type}
        field |= {"unit": column.unit} if column.unit else {}
        fields.append(field | ({"description": column.description} if column.description else {}))
    schema = {"$schema": f"{_STANDARD}/tableschema.json", "fields": fields,
              "missingValues": list(MISSING)}  # fmt: skip
    dialect = {"dialect": {"commentChar": "#"}} if comments else {}
    return {"type": "table", "mediatype": "text/csv", "encoding": "utf-8", **dialect,
            "schema": schema}  # fmt: skip


def _head(path: Path) -> tuple[list[str], bool]:
    """The first row of a table, and whether comment lines (#) stand before it."""
    comments = False
    with path.open(encoding="utf-8", newline="") as file:
        for line in file:
            if not line.startswith("#"):
                return next(csv.reader(io.StringIO(line))), comments
            comments = True
    return [], comments


def _slug(words: str) -> str:
    """A name as the standard wants it: small letters, digits, - . _ only."""
    return re.sub(r"[^a-z0-9._-]+", "-", words.lower()).strip("-.") or "data"
