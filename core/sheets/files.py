"""Recipes in files of their own: JSON, one sheet or a list of them."""

from __future__ import annotations

import json
import os
from collections.abc import Iterable
from pathlib import Path

from ..errors import ReadError, SettingsError
from .sheet import Sheet, of_sheets, sheets_from

MOST_BYTES = 4_000_000
MEND = "Choose a recipe that was saved by Palpate, or a result file with figure sheets."


def write_recipes(path: str | os.PathLike[str], sheets: Iterable[Sheet],
                  replace_existing: bool = True) -> Path:  # fmt: skip
    """Write sheets as a file of recipes. Raises WriteError in words."""
    from ..writers.atomic import saving  # its room takes a while to load

    found = tuple(sheets)
    data = found[0].as_dict() if len(found) == 1 else of_sheets(found)
    text = json.dumps(data, ensure_ascii=False, indent=1) + "\n"
    with saving(path, replace=replace_existing) as temporary:
        temporary.write_text(text, encoding="utf-8")
    return Path(path)


def read_recipes(path: str | os.PathLike[str]) -> tuple[Sheet, ...]:
    """Sheets from a file of recipes. Raises ReadError that says what is wrong and what to do."""
    path = Path(path)
    try:
        if path.stat().st_size > MOST_BYTES:
            raise ReadError(path, "is too large for a recipe", MEND)
        data = json.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise ReadError(path, f"can't be read ({error.strerror or error})",
                        "Check that it is there and may be read.") from error  # fmt: skip
    except (ValueError, RecursionError) as error:
        raise ReadError(path, "is no recipe of a figure sheet: it is no JSON text", MEND) from error
    try:
        found = sheets_from(data if isinstance(data, list) else [data])
    except SettingsError as error:
        said = str(error).rstrip(".")
        raise ReadError(path, f"is no recipe that can be used: {said}", MEND) from error
    if not found:
        raise ReadError(path, "holds no figure sheet", MEND)
    return found
