"""A sheet into a file: PDF and SVG with real text, PNG and TIFF at a stated resolution.

The page is exactly as large as the sheet, and the same sheet gives the same file each time: no date
is written. A file is there whole or not at all.
"""

from __future__ import annotations

import io
import os
import re
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..errors import InputError, ReadError, WriteError
from ..progress import Progress
from ..sheets import Sheet
from ..writers.atomic import saving
from .drawing import draw_sheet, drawing_as, picture
from .parts import Check, Drawn, Written

if TYPE_CHECKING:
    from ..findings import Findings

ENDINGS = {".pdf": "pdf", ".svg": "svg", ".png": "png", ".tif": "tif", ".tiff": "tif"}
"""Ending of a file -> its format."""
MEND = "Look for odd signs in its texts, or choose another format."


def format_of(path: str | os.PathLike[str]) -> str:
    """Format of a file by its ending. Raises InputError for another one."""
    ending = Path(path).suffix.lower()
    if ending not in ENDINGS:
        what = f"to a file that ends in {ending[:20]}" if ending else "to a file without ending"
        raise InputError(f"{path}: a figure can't be written {what}. Use .pdf, .svg, .png or .tif.")
    return ENDINGS[ending]


def write_sheet(
    path: str | os.PathLike[str], sheet: Sheet, findings: Findings,
    progress: Progress | None = None, replace_existing: bool = True,
) -> Written:  # fmt: skip
    """Draw a sheet, write it by the ending of its name, and read it back.

    Raises
    ------
    InputError : an ending that is none of .pdf .svg .png .tif; an unknown preset
    WriteError : no such folder, no permission, a full disk, or a file that is there and may not be
        replaced; nothing half-written is left
    Cancelled : asked for through `progress`
    """
    check_path(path, replace_existing)
    return write_drawn(path, draw_sheet(sheet, findings, progress), replace_existing)


def check_path(path: str | os.PathLike[str], replace_existing: bool = True) -> None:
    """Raise InputError or WriteError, before anything is drawn, if it can't be written there."""
    format_of(path)
    target = Path(path)
    if target.is_dir():
        raise WriteError(f"{target} is a folder. Choose a file name.")
    if not target.parent.is_dir():
        raise WriteError(f"{target} could not be saved: there is no folder {target.parent}.")
    if target.exists() and not replace_existing:
        raise WriteError(f"{target} is there already. Choose another name, or ask for it to be "
                         "replaced.")  # fmt: skip


def write_drawn(path: str | os.PathLike[str], drawn: Drawn, replace_existing: bool = True
                ) -> Written:  # fmt: skip
    """Write a sheet that is drawn already: what was looked at is what is written. As `write_sheet`.

    It is read back before it takes the place of an earlier file. Raises ReadError if it can't be.
    """
    from .checking import check_file

    check_path(path, replace_existing)
    target = Path(path)
    data = made(format_of(path), drawn)
    checks: list[Check] = []

    def look(written: Path) -> None:
        try:
            checks.extend(check_file(written, drawn))
        except ReadError as error:
            raise ReadError(target, error.what, f"It was not saved. {MEND}") from error

    with saving(target, needs=len(data), check=look, replace=replace_existing) as temporary:
        temporary.write_bytes(data)
    return Written((target,), tuple(checks), drawn.caption)


def made(form: str, drawn: Drawn) -> bytes:
    """The whole file of a format ("pdf", "svg", "png" or "tif") in memory.

    Only then it goes to the disk in one piece: libraries that write as they go along say the
    strangest things of a disk that is full.
    """
    return _WRITERS[form](drawn)


@lru_cache(maxsize=1)
def creator() -> str:
    """The program with its version."""
    from importlib.metadata import PackageNotFoundError, version

    try:
        return f"Palpate {version('palpate')}"
    except PackageNotFoundError:
        return "Palpate"


def _vector(form: str, about: dict[str, Any], drawn: Drawn) -> bytes:
    held = io.BytesIO()
    with drawing_as(drawn.style):
        drawn.figure.savefig(held, format=form, dpi=drawn.style.dpi, metadata=about,
                             facecolor="white", bbox_inches=None)  # fmt: skip
    return held.getvalue()


def _pdf(drawn: Drawn) -> bytes:
    about = {"Title": drawn.sheet.name, "Creator": creator(), "Producer": "Matplotlib",
             "CreationDate": None}  # fmt: skip
    return _vector("pdf", about, drawn)


def _svg(drawn: Drawn) -> bytes:
    about = {"Title": drawn.sheet.name, "Creator": [creator()], "Date": None}
    return _same_names(_vector("svg", about, drawn).decode("utf-8")).encode("utf-8")


def _same_names(text: str) -> str:
    """SVG text with its clipping paths numbered: Matplotlib names them by places in memory."""
    names = re.findall(r'<clipPath id="(p[0-9a-f]{10})"', text)
    numbers = {name: f"clip{at}" for at, name in enumerate(dict.fromkeys(names))}
    return re.sub(r"\bp[0-9a-f]{10}\b", lambda found: numbers.get(found[0], found[0]), text)


def _png(drawn: Drawn) -> bytes:
    from PIL.PngImagePlugin import PngInfo

    about = PngInfo()
    about.add_itxt("Title", drawn.sheet.name)
    about.add_text("Software", creator())
    return _pixels("PNG", drawn, pnginfo=about)


def _tif(drawn: Drawn) -> bytes:
    title = drawn.sheet.name.encode("ascii", "replace").decode()
    return _pixels("TIFF", drawn, compression="tiff_lzw", software=creator(), description=title)


def _pixels(form: str, drawn: Drawn, **given: Any) -> bytes:
    from PIL import Image

    held, dpi = io.BytesIO(), drawn.style.dpi
    picture_of = Image.fromarray(picture(drawn, dpi)[..., :3])
    picture_of.save(held, format=form, dpi=(dpi, dpi), **given)
    return held.getvalue()


_WRITERS = {"pdf": _pdf, "svg": _svg, "png": _png, "tif": _tif}
