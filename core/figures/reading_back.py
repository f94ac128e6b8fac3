"""What a written figure holds, read with libraries that had no part in writing it: page, typefaces,
sizes of text, widths of lines, resolution of pictures."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ..errors import ReadError
from .layout import MM


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
    lines : widths of what is stroked [pt]
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
    lines: tuple[float, ...] = ()
    pixels: tuple[int, int] | None = None
    embeds: bool = False


def read_back(path: Path) -> Found:
    """What a written figure holds. Raises ReadError."""
    readers = {".pdf": _read_pdf, ".svg": _read_svg}
    try:
        return readers.get(path.suffix.lower(), _read_pixels)(path)
    except Exception as error:  # whatever a library may say of a damaged file
        said = " ".join(str(error).split())[:120]
        raise ReadError(path, f"the written figure can't be read back ({said})",
                        "Write it again.") from error  # fmt: skip


def _read_pdf(path: Path) -> Found:
    from pypdf import PdfReader

    page = PdfReader(path).pages[0]
    sizes, drawn = [], _Drawing()

    def text(words: str, cm: Any, tm: Any, _font: Any, size: float) -> None:
        if words.strip():
            sizes.append(size * _growth(tm) * _growth(cm))

    page.extract_text(visitor_text=text, visitor_operand_before=drawn.before)
    box = page.mediabox
    resources: Any = page["/Resources"]
    kinds = [_pdf_font(one.get_object()) for one in resources.get("/Font", {}).values()]
    images = resources.get("/XObject", {})
    dpis = [72.0 * min(float(images[name]["/Width"]) / wide, float(images[name]["/Height"]) / high)
            for name, wide, high in drawn.placed
            if name in images and images[name].get("/Subtype") == "/Image" and wide * high > 0.0]
    states = [one.get_object() for one in resources.get("/ExtGState", {}).values()]
    half = any(0.0 < float(one.get(key, 1.0)) < 1.0 for one in states for key in ("/CA", "/ca"))
    masked = any(_half_masked(one.get_object()) for one in images.values())
    return Found(float(box.width) / MM, float(box.height) / MM, tuple(sizes), bool(sizes),
                 tuple(sorted({name for name, _, _ in kinds})),
                 tuple(sorted(name for name, inside, _ in kinds if not inside)),
                 tuple(sorted(name for name, _, true in kinds if not true)),
                 min(dpis, default=math.nan), half or masked, tuple(sorted(drawn.lines)),
                 embeds=True)  # fmt: skip


class _Drawing:
    """Follows the operators of a page: which pictures are placed how large, and which widths are
    stroked (ISO 32000-1, 8.4 and 8.5)."""

    STROKES = (b"S", b"s", b"B", b"B*", b"b", b"b*")

    def __init__(self) -> None:
        self.placed: list[tuple[str, float, float]] = []
        self.lines: set[float] = set()
        self._width, self._kept = 1.0, [1.0]

    def before(self, operator: bytes, operands: Any, cm: Any, _tm: Any) -> None:
        if operator == b"Do":
            self.placed.append((str(operands[0]), math.hypot(cm[0], cm[1]),
                                math.hypot(cm[2], cm[3])))  # fmt: skip
        elif operator == b"q":
            self._kept.append(self._width)
        elif operator == b"Q":
            self._width = self._kept.pop() if self._kept else 1.0
        elif operator == b"w":
            self._width = float(operands[0])
        elif operator in self.STROKES and self._width > 0.0:
            self.lines.add(round(self._width * _growth(cm), 4))


def _half_masked(image: Any) -> bool:
    """Whether a picture in a PDF file is half transparent anywhere, not only there or not."""
    mask = image.get("/SMask")
    return mask is not None and not set(mask.get_object().get_data()) <= {0, 255}


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
    lines: set[float] = set()
    for node in root.iter():
        tag = node.tag.rpartition("}")[2]
        style = _styles(node.get("style", ""))
        opacities = [style.get(k, "1") for k in ("opacity", "fill-opacity", "stroke-opacity")]
        half |= any(0.0 < float(one) < 1.0 for one in opacities)
        if style.get("stroke", "none") != "none":
            lines.add(float(style.get("stroke-width", "1")))
        if tag == "text" and "".join(node.itertext()).strip():
            size, family = _font_of(style)
            sizes.append(size)
            faces.add(family)
        if tag == "image":
            dpis.append(_image_dpi(node))
    return Found(_millimetres(root.get("width", "")), _millimetres(root.get("height", "")),
                 tuple(sizes), bool(sizes), tuple(sorted(faces)), dpi=min(dpis, default=math.nan),
                 see_through=half, lines=tuple(sorted(lines)))  # fmt: skip


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
