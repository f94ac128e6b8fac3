"""Reads a picture file: PNG, JPEG, TIFF, a map or analysis of our own, or a table of numbers.

Picture files have row 0 at the top; here row 0 is at the bottom, as in a map. Tables are taken as
pictures: their first line is the top. What a file declares is checked before it is decoded.
"""

from __future__ import annotations

import math
import os
import re
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import ReadError
from ..readers.door import Seen, look
from ..readers.guard import AGAIN

Array = np.ndarray
MOST_PIXELS = 64_000_000
MOST_TEXT = 64 * 1024**2
RATIO = 2000
"""Decoded bytes for each byte of the file, above 64 MB."""
DEFLATE = (8, 32946)
"""Numbers of deflate among the ways to pack a TIFF."""
LUMINANCE = (0.2126, 0.7152, 0.0722)
"""Weights of red, green and blue, ITU-R BT.709 (from memory)."""
BANDS = ("red", "green", "blue")
FORMATS = ("PNG", "JPEG")


@dataclass(frozen=True, eq=False)
class Picture:
    """A picture of the place.

    Attributes
    ----------
    values : float64 (rows, cols), row 0 at the bottom, NaN where missing, read-only
    name : of the file
    pixel_size : nm between pixels, None if the file does not say
    channels : what else may be chosen as `band`
    note : what was done to the file's content, in sentences; may be empty
    """

    values: Array
    name: str
    pixel_size: float | None = None
    channels: tuple[str, ...] = ()
    note: str = ""


def read_picture(path: str | os.PathLike[str], band: str | None = None) -> Picture:
    """Read a picture.

    Parameters
    ----------
    band : "red", "green" or "blue" of a coloured picture (None: luminance); a channel of a saved
        analysis (None: its first one)

    Raises
    ------
    ReadError : empty, damaged, too large, of an unknown kind, one pixel, or all one value; names
        the file and the repair
    """
    seen = look(path)
    with seen.path.open("rb") as stream:
        head = stream.read(16)
    if seen.is_hdf5:
        values, size, channels, notes = _own(seen, band)
    elif head[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        values, size, channels, notes = _tiff(seen, band)
    elif head.startswith((b"\x89PNG", b"\xff\xd8\xff")):
        values, size, channels, notes = _pillow(seen, band)
    else:
        values, size, channels, notes = _table(seen)
    _check(seen, values)
    values = np.ascontiguousarray(values, dtype=np.float64)
    values.setflags(write=False)
    return Picture(values, seen.path.name, size, channels, " ".join(notes))


Found = tuple[Array, float | None, tuple[str, ...], list[str]]


def _check(seen: Seen, values: Array) -> None:
    if values.ndim != 2 or values.size == 0:
        raise ReadError(seen.path, "it has no pixels", AGAIN)
    if min(values.shape) < 2:
        raise ReadError(seen.path, f"it has only {values.shape[0]} x {values.shape[1]} pixels",
                        "Choose a picture with more.")  # fmt: skip
    known = values[np.isfinite(values)]
    if known.size == 0:
        raise ReadError(seen.path, "none of its pixels has a value", "Choose another picture.")
    if known.min() == known.max():
        raise ReadError(seen.path, "all its pixels have the same value", "Choose another picture.")


def _check_size(seen: Seen, shape: tuple[int, ...], bytes_each: int = 1) -> None:
    count = math.prod(shape)
    if count == 0:
        raise ReadError(seen.path, "it has no pixels", AGAIN)
    if count > 4 * MOST_PIXELS or math.prod(shape[:2]) > MOST_PIXELS:
        raise ReadError(seen.path, f"it declares {count / 1e6:.0f} million values, more than can "
                        "be read", "Make it smaller, or cut out the place of the map.")  # fmt: skip
    if count * bytes_each > max(64e6, RATIO * seen.size):
        raise ReadError(seen.path, "it declares far more pixels than the file can hold", AGAIN)


def _grey(seen: Seen, data: Array, band: str | None, notes: list[str]) -> Array:
    """One band of (rows, cols) or (rows, cols, bands): 2 is grey with alpha, 4 colour with it."""
    if data.ndim == 2:
        if band is not None:
            raise ReadError(seen.path, f"it has no band “{band}”: it is grey", "Choose none.")
        return data.astype(float)
    if data.ndim != 3:
        raise ReadError(seen.path, f"it has {data.ndim} dimensions, not rows and columns", AGAIN)
    count = data.shape[2]
    if count in (2, 4):
        alpha = data[..., -1]
        clear = alpha == 0
        notes.append("Transparency was left out"
                     + ("; wholly transparent pixels are missing." if clear.any() else "."))
        out = _grey(seen, data[..., 0] if count == 2 else data[..., :3], band, notes)
        out[clear] = np.nan
        return out
    if count == 1:
        return _grey(seen, data[..., 0], band, notes)
    if count != 3:
        raise ReadError(seen.path, f"it has {count} bands, which are not understood",
                        "Save it as grey or colour.")  # fmt: skip
    if band is not None:
        if band not in BANDS:
            raise ReadError(seen.path, f"it has no band “{band}”", f"Choose {', '.join(BANDS)}.")
        notes.append(f"Only the {band} band was taken.")
        return data[..., BANDS.index(band)].astype(float)
    if np.array_equal(data[..., 0], data[..., 1]) and np.array_equal(data[..., 0], data[..., 2]):
        return data[..., 0].astype(float)
    notes.append("The colours were turned into luminance.")
    return data.astype(float) @ np.array(LUMINANCE)


def _pillow(seen: Seen, band: str | None) -> Found:
    from PIL import Image

    notes: list[str] = []
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(seen.path, formats=FORMATS) as image:
                _check_size(seen, (image.height, image.width, len(image.getbands())))
                if getattr(image, "n_frames", 1) > 1:
                    notes.append("It has several pages or frames; the first one was taken.")
                dots = image.info.get("dpi")
                image.load()
                data = _decoded(image, notes)
    except ReadError:
        raise
    except Image.DecompressionBombError:
        raise ReadError(seen.path, "it declares more pixels than can be read",
                        "Make it smaller, or cut out the place of the map.") from None
    except Exception as error:  # the library raises of all kinds on damaged files
        said = " ".join(str(error).split())[:120].rstrip(".")
        cut = "truncated" in said or "end of" in said.lower()
        what = "the picture is cut short" if cut else f"it can't be read as a picture ({said})"
        raise ReadError(seen.path, what, AGAIN) from None
    grey = _grey(seen, data, band, notes)
    if dots:
        notes.append("Its dots per inch are meant for printing and were not taken as a scale.")
    return grey[::-1], None, BANDS if data.ndim == 3 and data.shape[2] >= 3 else (), notes


def _decoded(image: Any, notes: list[str]) -> Array:
    """Plain bands of a loaded picture."""
    mode = image.mode
    if mode == "P":
        notes.append("Its palette was turned into colours.")
        image = image.convert("RGBA" if "transparency" in image.info else "RGB")
    elif mode in ("CMYK", "YCbCr", "LAB", "HSV"):
        notes.append(f"It was turned from {mode} into red, green and blue.")
        image = image.convert("RGB")
    elif mode == "PA":
        image = image.convert("RGBA")
    return np.asarray(image).astype(float) if image.mode == "1" else np.asarray(image)


def _tiff(seen: Seen, band: str | None) -> Found:
    import tifffile

    notes: list[str] = []
    try:
        with tifffile.TiffFile(seen.path) as file:
            page: Any = file.pages[0]
            _check_size(seen, tuple(page.shape), page.dtype.itemsize if page.dtype else 1)
            stored = sum(page.databytecounts)
            if stored > seen.size:
                raise ReadError(seen.path, "the picture is cut short", AGAIN)
            if page.compression == 1 and page.nbytes > stored:
                raise ReadError(seen.path, "it declares more pixels than the file holds", AGAIN)
            if any(o + n > seen.size
                   for o, n in zip(page.dataoffsets, page.databytecounts, strict=True)):
                raise ReadError(seen.path, "the picture is cut short", AGAIN)  # fmt: skip
            _check_packed(seen, page)
            if len(file.pages) > 1:
                notes.append(f"It has {len(file.pages)} pages; the first one was taken.")
            data = page.asarray()
            size = _resolution(page)
            data = _bands(page, data, notes)
    except ReadError:
        raise
    except Exception as error:  # the library raises of all kinds on damaged files
        said = " ".join(str(error).split())[:120].rstrip(".")
        if "imagecodecs" in said:
            raise ReadError(seen.path, "it is packed in a way that is not read",
                            "Save it without compression, or with deflate.") from None
        raise ReadError(seen.path, f"it can't be read as TIFF ({said})", AGAIN) from None
    if data.dtype.kind not in "iufb":
        raise ReadError(seen.path, f"its pixels are {data.dtype}, not numbers",
                        "Save it as grey or colour.")  # fmt: skip
    grey = _grey(seen, data, band, notes)
    colours = BANDS if data.ndim == 3 and data.shape[2] >= 3 else ()
    return grey[::-1], size, colours, notes


def _check_packed(seen: Seen, page: Any) -> None:
    """Refuse what is packed in a way that is not read, or unpacks to more than it declares."""
    import zlib

    if page.compression == 1:
        return
    if page.compression not in DEFLATE:
        raise ReadError(seen.path, "it is packed in a way that is not read",
                        "Save it without compression, or with deflate.")  # fmt: skip
    parts = page.tile if page.is_tiled else (page.rowsperstrip, page.imagewidth)
    most = math.prod(parts) * page.samplesperpixel * page.dtype.itemsize + 1024
    with seen.path.open("rb") as stream:
        for offset, count in zip(page.dataoffsets, page.databytecounts, strict=True):
            stream.seek(offset)
            if len(zlib.decompressobj().decompress(stream.read(count), most)) >= most:
                raise ReadError(seen.path, "it unpacks to more than it declares", AGAIN)


def _bands(page: Any, data: Array, notes: list[str]) -> Array:
    """Bands last; palette, CMYK and white-is-zero undone."""
    kind = int(page.photometric)
    if data.ndim == 3 and page.planarconfig == 2:
        data = np.moveaxis(data, 0, -1)
    if kind == 3 and page.colormap is not None:
        notes.append("Its palette was turned into colours.")
        return np.moveaxis(page.colormap[:, data], 0, -1)
    if kind == 5 and data.ndim == 3 and data.shape[2] >= 4:
        notes.append("It was turned from CMYK into red, green and blue.")
        top = float(np.iinfo(data.dtype).max) if data.dtype.kind == "u" else 1.0
        part = data[..., :4].astype(float) / top
        return (1.0 - part[..., :3]) * (1.0 - part[..., 3:]) * top
    if kind == 0:
        notes.append("Its greys are stored inverted; that was undone.")
        data = np.iinfo(data.dtype).max - data if data.dtype.kind == "u" else -data.astype(float)
    return data


def _resolution(page: Any) -> float | None:
    """nm between pixels if the tags give one for both directions in a real unit."""
    try:
        unit = {2: 25.4e6, 3: 1e7}.get(int(page.tags["ResolutionUnit"].value))
        per = [page.tags[t].value for t in ("XResolution", "YResolution")]
        if unit is None:
            return None
        x, y = (unit * b / a for a, b in per)
    except (KeyError, ValueError, TypeError, ZeroDivisionError, OverflowError):
        return None
    if not (1e-3 < x < 25_000.0 and abs(x - y) < 1e-3 * x):  # coarser than 1000 dots an inch:
        return None  # meant for printing
    return float(x)


def inspect(seen: Seen) -> None:
    """Do all that reading a file of our own does, in another process: this one has not touched it
    with the HDF5 library before. Raises ReadError as the readers of maps and analyses do."""
    from ..readers import analysis, reader_for

    if _is_analysis(seen):
        analysis.inspect(seen)
    else:
        reader = reader_for(seen)
        reader.prepare()
        reader.inspect(seen)


def _is_analysis(seen: Seen) -> bool:
    from ..readers.guard import GuardedFile, as_read_error

    with GuardedFile(seen.path, swmr=seen.swmr) as file, as_read_error(seen.path):
        return bool(file.attribute("", "palpate_format") == "analysis")


def _own(seen: Seen, band: str | None) -> Found:
    from ..readers import analysis, open_map
    from ..readers.child import INSPECTOR

    INSPECTOR.inspect(seen, __name__)
    if not _is_analysis(seen):
        with open_map(seen.path) as opened:
            if opened.overview is None:
                raise ReadError(seen.path, "the map has no overview height",
                                "Choose a saved analysis of it.")  # fmt: skip
            size = _even(opened.x, opened.y) if opened.has_scale else None
            note = "The overview height of a map."
            return np.array(opened.overview), size, ("height",), [note]
    loaded = analysis.read(seen)
    name = band or loaded.default
    if name not in loaded.channels:
        raise ReadError(seen.path, f"it has no channel “{name}”",
                        f"Choose one of: {', '.join(loaded.channels)}.")  # fmt: skip
    size = _even(loaded.x, loaded.y) if loaded.has_scale else None
    note = f"The channel “{name}” of a saved analysis."
    return np.array(loaded.channels[name].values), size, tuple(loaded.channels), [note]


def _even(x: Array, y: Array) -> float | None:
    """The pitch if it is the same both ways."""
    if min(x.size, y.size) < 2:
        return None
    a, b = float(np.ptp(x)) / (x.size - 1), float(np.ptp(y)) / (y.size - 1)
    return a if a > 0.0 and abs(a - b) < 1e-3 * a else None


def _table(seen: Seen) -> Found:
    unknown = ReadError(seen.path, "this is not a picture that is known",
                        "Use PNG, JPEG, TIFF, a table of numbers, or a map of our own.")
    if seen.size > MOST_TEXT:
        raise ReadError(seen.path, "the table is too large", "Save the picture as TIFF.")
    try:
        text = Path(seen.path).read_text(encoding="utf-8-sig")
    except (OSError, ValueError):
        raise unknown from None
    lines = [line.split("#")[0].strip() for line in text.splitlines()]
    rows = [_cells(line) for line in lines if line]
    if not rows or "\0" in text:
        raise unknown
    if len({len(row) for row in rows}) != 1:
        raise ReadError(seen.path, "its lines don't all have as many numbers",
                        "Save it as a table: one line a row, all of one length.")  # fmt: skip
    try:
        values = np.array([[float(c) if c else math.nan for c in row] for row in rows])
    except ValueError:
        raise unknown from None
    values[~np.isfinite(values)] = np.nan
    return values[::-1], None, (), ["A table of numbers; its first line is the top."]


def _cells(line: str) -> list[str]:
    if ";" in line:
        return [c.strip().replace(",", ".") for c in line.split(";")]
    if "," in line:
        return [c.strip() for c in line.split(",")]
    return re.split(r"\s+", line)
