"""A written figure read back and held against its preset. It warns and never blocks.

What is judged is the file itself and not what was meant: page, typefaces, sizes of text and
resolution of pictures are read with libraries that had no part in writing it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..errors import ReadError
from . import fonts
from .layout import MM
from .parts import GOOD, WARNING, Check, Drawn
from .presets import Preset, preset

EXACT = 0.1
"""A page may differ from its sheet by so much [mm]."""
TEXT_SLACK = 0.02
"""Sizes of text are rounded when they are written [pt]."""
DPI_SLACK = 0.995


@dataclass(frozen=True)
class Found:
    """What a file holds.

    Attributes
    ----------
    width, height : of the page [mm]
    sizes : of all texts [pt]; empty where text is pixels
    text : whether there is text at all; None where the file can't have any
    faces : typefaces; unembedded : those that are not in the file, foreign : those of a kind other
        than TrueType
    dpi : of the coarsest picture; NaN without one
    see_through : whether anything is drawn half transparent
    pixels : width and height, of a picture file
    embeds : whether the format holds its typefaces
    """

    width: float
    height: float
    sizes: tuple[float, ...] = ()
    text: bool | None = None
    faces: tuple[str, ...] = ()
    unembedded: tuple[str, ...] = ()
    foreign: tuple[str, ...] = ()
    dpi: float = math.nan
    see_through: bool = False
    pixels: tuple[int, int] | None = None
    embeds: bool = False


def check_file(path: str | Path, drawn: Drawn) -> tuple[Check, ...]:
    """Read a written figure back and hold it against its sheet's preset.

    Raises ReadError where the file can't be read.
    """
    path = Path(path)
    found, rules = read_back(path), preset(drawn.sheet.preset)
    checks = [*_size(found, drawn, rules), *_text(found, drawn, rules), *_face(found, drawn),
              *_pixels(found, rules), *_lines(drawn, rules), *_form(path, found, rules)]
    told = [Check("panel", WARNING, words) for words in drawn.remarks if not _of_face(words)]
    return (*checks, *told)


def read_back(path: Path) -> Found:
    """What a written figure holds. Raises ReadError."""
    readers = {".pdf": _read_pdf, ".svg": _read_svg}
    try:
        return readers.get(path.suffix.lower(), _read_pixels)(path)
    except Exception as error:  # whatever a library may say of a damaged file
        said = " ".join(str(error).split())[:120]
        raise ReadError(path, f"the written figure can't be read back ({said})",
                        "Write it again.") from error  # fmt: skip


# ---- reading


def _read_pdf(path: Path) -> Found:
    from pypdf import PdfReader

    page = PdfReader(path).pages[0]
    sizes: list[float] = []
    placed: list[tuple[str, float, float]] = []

    def text(words: str, cm: Any, tm: Any, _font: Any, size: float) -> None:
        if words.strip():
            sizes.append(size * _growth(tm) * _growth(cm))

    def before(operator: bytes, operands: Any, cm: Any, _tm: Any) -> None:
        if operator == b"Do":
            placed.append((str(operands[0]), math.hypot(cm[0], cm[1]), math.hypot(cm[2], cm[3])))

    page.extract_text(visitor_text=text, visitor_operand_before=before)
    box = page.mediabox
    resources: Any = page["/Resources"]
    kinds = [_pdf_font(one.get_object()) for one in resources.get("/Font", {}).values()]
    images = resources.get("/XObject", {})
    dpis = [72.0 * min(float(images[name]["/Width"]) / wide, float(images[name]["/Height"]) / high)
            for name, wide, high in placed
            if name in images and images[name].get("/Subtype") == "/Image" and wide * high > 0.0]
    states = [one.get_object() for one in resources.get("/ExtGState", {}).values()]
    half = any(0.0 < float(one.get(key, 1.0)) < 1.0 for one in states for key in ("/CA", "/ca"))
    masked = any("/SMask" in one.get_object() for one in images.values())
    return Found(float(box.width) / MM, float(box.height) / MM, tuple(sizes), bool(sizes),
                 tuple(sorted({name for name, _, _ in kinds})),
                 tuple(sorted(name for name, inside, _ in kinds if not inside)),
                 tuple(sorted(name for name, _, true in kinds if not true)),
                 min(dpis, default=math.nan), half or masked, embeds=True)  # fmt: skip


def _growth(matrix: Any) -> float:
    """By how much a matrix enlarges, turned or not."""
    return math.sqrt(abs(matrix[0] * matrix[3] - matrix[1] * matrix[2]))


def _pdf_font(one: Any) -> tuple[str, bool, bool]:
    """Name of a typeface in a PDF file, whether it is embedded, and whether it is TrueType."""
    name = str(one.get("/BaseFont", "/unnamed")).lstrip("/").split("+")[-1]
    below = [d.get_object() for d in one.get("/DescendantFonts", [])] or [one]
    kinds = {str(d.get("/Subtype")) for d in below}
    files = [d.get("/FontDescriptor", {}).get_object() if "/FontDescriptor" in d else {}
             for d in below]  # fmt: skip
    inside = all(any(key in f for key in ("/FontFile", "/FontFile2", "/FontFile3")) for f in files)
    true = kinds <= {"/CIDFontType2", "/TrueType"} and all("/FontFile2" in f for f in files)
    return name, inside, true


def _read_svg(path: Path) -> Found:
    from xml.etree import ElementTree

    root = ElementTree.parse(path).getroot()
    sizes, faces, dpis, half = [], set(), [], False
    for node in root.iter():
        tag = node.tag.rpartition("}")[2]
        style = _styles(node.get("style", ""))
        opacities = [style.get(k, "1") for k in ("opacity", "fill-opacity", "stroke-opacity")]
        half |= any(0.0 < float(one) < 1.0 for one in opacities)
        if tag == "text" and "".join(node.itertext()).strip():
            size, family = _font_of(style)
            sizes.append(size)
            faces.add(family)
        if tag == "image":
            dpis.append(_image_dpi(node))
    return Found(_millimetres(root.get("width", "")), _millimetres(root.get("height", "")),
                 tuple(sizes), bool(sizes), tuple(sorted(faces)), dpi=min(dpis, default=math.nan),
                 see_through=half)  # fmt: skip


def _styles(text: str) -> dict[str, str]:
    pairs = (one.partition(":") for one in text.split(";") if ":" in one)
    return {name.strip(): value.strip() for name, _, value in pairs}


def _font_of(style: dict[str, str]) -> tuple[float, str]:
    """Size [pt] and family of a text; the page's unit is the point."""
    if "font-size" in style:
        family = style.get("font-family", "")
        return float(style["font-size"].removesuffix("px")), family.split(",")[0].strip("' ")
    words = style.get("font", "").split("px", 1)
    size = float(words[0].split()[-1])
    return size, words[1].split(",")[0].strip("' ")


def _image_dpi(node: Any) -> float:
    """Resolution of a picture in an SVG file whose unit is the point."""
    matrix = node.get("transform", "")
    if matrix.startswith("matrix("):
        a, b, c, d = (float(v) for v in matrix[7:].replace(",", " ").split()[:4])
        return 72.0 / max(math.hypot(a, b), math.hypot(c, d))
    return math.nan


def _millimetres(text: str) -> float:
    units = {"pt": 1.0 / MM, "mm": 1.0, "in": 25.4, "px": 25.4 / 96.0}
    for unit, factor in units.items():
        if text.endswith(unit):
            return float(text.removesuffix(unit)) * factor
    return float(text) * units["px"]


def _read_pixels(path: Path) -> Found:
    from PIL import Image

    with Image.open(path) as image:
        image.load()
        wide, high = image.size
        dpi = float(image.info.get("dpi", (math.nan, math.nan))[0])
        half = image.mode in ("RGBA", "LA", "PA")
    return Found(25.4 * wide / dpi, 25.4 * high / dpi, dpi=dpi, see_through=half,
                 pixels=(wide, high))  # fmt: skip


# ---- judging


def _made(what: str, good: bool, words: str) -> Check:
    return Check(what, GOOD if good else WARNING, words)


def _size(found: Found, drawn: Drawn, rules: Preset) -> Iterable[Check]:
    wanted, high = (25.4 * side for side in drawn.figure.get_size_inches())
    exact = abs(found.width - wanted) <= EXACT and abs(found.height - high) <= EXACT
    words = f"The file is {found.width:.1f} mm wide"
    if not exact:
        yield _made("width", False, f"{words} and {found.height:.1f} mm high; {wanted:.1f} x "
                    f"{high:.1f} mm were meant.")  # fmt: skip
    elif found.width > rules.double + EXACT:
        yield _made("width", False, f"{words}; {rules.name} takes {rules.double:g} mm at most.")
    else:
        yield _made("width", True, f"{words}; {rules.name} takes {_widths(rules)}.")
    words = f"The file is {found.height:.1f} mm high"
    if rules.max_height:
        good = found.height <= rules.max_height + EXACT
        yield _made("height", good, f"{words}; {rules.name} takes {rules.max_height:g} mm at most.")
    else:
        yield _made("height", True, f"{words}; {rules.name} states no limit.")


def _widths(rules: Preset) -> str:
    known = [f"{w:g}" for w in (rules.single, rules.middle, rules.double) if w]
    return f"{', '.join(known[:-1])} or {known[-1]} mm"


def _text(found: Found, drawn: Drawn, rules: Preset) -> Iterable[Check]:
    rule = f"{rules.name} asks for {rules.text_min:g} pt at least"
    if found.text is None:  # pixels: what was drawn is all that is known
        size = min((size for size, _ in _drawn_texts(drawn)), default=math.nan)
        if math.isfinite(size):
            yield _made("text size", size >= rules.text_min - TEXT_SLACK,
                        f"The smallest text was drawn at {size:.1f} pt; {rule}.")  # fmt: skip
        return
    if not found.text:
        if any(text for _, text in _drawn_texts(drawn)):
            yield _made("text", False, "The file holds no text: it was turned into outlines.")
        return
    size = min(found.sizes)
    yield _made("text size", size >= rules.text_min - TEXT_SLACK,
                f"The smallest text has {size:.1f} pt; {rule}.")  # fmt: skip
    yield _made("text", True, f"{len(found.sizes)} pieces of text can be searched and edited.")


def _drawn_texts(drawn: Drawn) -> list[tuple[float, str]]:
    from matplotlib.text import Text

    return [(float(one.get_fontsize()), one.get_text()) for one in drawn.figure.findobj(Text)
            if one.get_visible() and one.get_text().strip()]  # fmt: skip


def _face(found: Found, drawn: Drawn) -> Iterable[Check]:
    if found.pixels is None and found.text:
        names = ", ".join(found.faces) or "none"
        if found.unembedded:
            yield _made("fonts", False, f"Not embedded: {', '.join(found.unembedded)}.")
        elif found.foreign:
            yield _made("fonts", False, f"Embedded, but not as TrueType: "
                        f"{', '.join(found.foreign)}.")  # fmt: skip
        else:
            where = "embedded as TrueType" if found.embeds else "named in the file"
            yield _made("fonts", True, f"Typeface {names}, {where}.")
    missing = fonts.face().words
    if missing and drawn.face == fonts.face().name:
        yield _made("typeface", False, missing)


def _of_face(words: str) -> bool:
    return bool(words) and words == fonts.face().words


def _pixels(found: Found, rules: Preset) -> Iterable[Check]:
    if not math.isfinite(found.dpi):
        if found.pixels is not None:
            yield _made("resolution", False, "The file states no resolution.")
        return
    what = "The picture" if found.pixels else "The coarsest picture in it"
    good = found.dpi >= DPI_SLACK * rules.dpi
    size = f", {found.pixels[0]} x {found.pixels[1]} pixels" if found.pixels else ""
    yield _made("resolution", good, f"{what} has {found.dpi:.0f} dpi{size}; {rules.name}: "
                f"{rules.dpi} dpi.")  # fmt: skip


def _lines(drawn: Drawn, rules: Preset) -> Iterable[Check]:
    thinnest = min(drawn.style.thin, drawn.style.line)
    yield _made("lines", thinnest >= rules.line_min, f"Axes are drawn with {thinnest:g} pt; "
                f"{rules.name}: {rules.line_min:g} pt at least.")  # fmt: skip


def _form(path: Path, found: Found, rules: Preset) -> Iterable[Check]:
    ending = path.suffix.lower().lstrip(".").replace("tiff", "tif")
    if ending not in rules.formats:
        liked = ", ".join(one.upper() for one in rules.formats)
        yield _made("format", False, f"{rules.name} prefers {liked}.")
    if found.see_through:
        yield _made("transparency", False, "Something is drawn half transparent: some printers and "
                    "EPS make it opaque.")  # fmt: skip
