"""Places as plain dictionaries, and back: what stands in a file of places.

Whatever comes in is taken for hostile: unknown or missing keys, wrong kinds, numbers that are not
finite, names and lists without bounds are refused with the place in the file and the repair.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import contextmanager
from typing import Any

from ..errors import SettingsError
from . import checks
from .profiles import Profile
from .regions import Brush, Combined, OfComponent, Polygon, Rectangle, Region, Shape


def of_shape(shape: Shape) -> dict[str, Any]:
    """A shape as a dictionary of plain values."""
    if isinstance(shape, Rectangle):
        return {"kind": "rectangle", "x0": shape.x0, "y0": shape.y0, "x1": shape.x1, "y1": shape.y1}
    if isinstance(shape, Polygon):
        return {"kind": "polygon", "vertices": _pairs(shape.vertices)}
    if isinstance(shape, Brush):
        strokes = [{"points": _pairs(line), "radius": radius} for line, radius in shape.strokes]
        return {"kind": "brush", "strokes": strokes}
    if isinstance(shape, OfComponent):
        return {"kind": "component", "number": shape.number, "name": shape.name}
    return {"kind": "combined", "added": [of_shape(s) for s in shape.added],
            "taken": [of_shape(s) for s in shape.taken]}  # fmt: skip


def of_region(region: Region) -> dict[str, Any]:
    """A region as a dictionary of plain values."""
    return {"name": region.name, "note": region.note, "shape": of_shape(region.shape)}


def of_profile(profile: Profile) -> dict[str, Any]:
    """A profile as a dictionary of plain values."""
    return {"name": profile.name, "note": profile.note, "points": _pairs(profile.points),
            "width": profile.width}  # fmt: skip


def _pairs(values: tuple[checks.Point, ...]) -> list[list[float]]:
    return [[px, py] for px, py in values]


@contextmanager
def at(where: str) -> Any:
    """Put the place in the file before the field that an error names."""
    try:
        yield
    except SettingsError as error:
        tail = error.field.partition(".")[2]
        mark = f"{where}.{tail}" if tail else where
        raise SettingsError(mark, error.what) from None


def table(where: str, data: Any, keys: tuple[str, ...], optional: tuple[str, ...] = ()
          ) -> dict[str, Any]:  # fmt: skip
    """A dictionary with these keys and no others; raises SettingsError."""
    if not isinstance(data, Mapping):
        raise SettingsError(where, "must be a table of keys and values: write it in braces.")
    for key in data:
        if key not in keys and key not in optional:
            raise SettingsError(where, f"has the key “{shown(key)}”, which is not known; take it "
                                f"out. Known: {', '.join(keys + optional)}.")  # fmt: skip
    for key in keys:
        if key not in data:
            raise SettingsError(where, f"lacks the key “{key}”: add it.")
    return dict(data)


def shown(value: Any) -> str:
    """A piece of a hostile text that is safe to show."""
    return "".join(c if c.isprintable() else "�" for c in str(value)[:40])


def shape_from(where: str, data: Any, *, nested: bool = False) -> Shape:
    """The shape that a dictionary describes."""
    if not isinstance(data, Mapping):
        raise SettingsError(where, "must be a table of keys and values: write it in braces.")
    kind = data.get("kind")
    maker = _MAKERS.get(kind) if isinstance(kind, str) else None
    if kind == "combined" and not nested:
        parts = table(where, data, ("kind", "added", "taken"))
        listed = {key: _list(f"{where}.{key}", parts[key]) for key in ("added", "taken")}
        added, taken = (
            tuple(shape_from(f"{where}.{key}[{i}]", one, nested=True)
                  for i, one in enumerate(listed[key])) for key in ("added", "taken")
        )  # fmt: skip
        with at(where):
            return Combined(added, taken)  # type: ignore[arg-type]
    if maker is None:
        known = ", ".join([*_MAKERS, *([] if nested else ["combined"])])
        raise SettingsError(f"{where}.kind", f"“{shown(kind)}” is not known; known: {known}.")
    keys, make = maker
    given = table(where, data, ("kind", *keys))
    with at(where):
        return make(given)


def _list(where: str, data: Any) -> list[Any]:
    if not isinstance(data, list):
        raise SettingsError(where, "must be a list: write it in brackets.")
    return data


def _brush(given: dict[str, Any]) -> Brush:
    strokes = []
    for i, stroke in enumerate(_list("brush.strokes", given["strokes"])):
        one = table(f"brush.strokes[{i}]", stroke, ("points", "radius"))
        strokes.append((one["points"], one["radius"]))
    return Brush(tuple(strokes))


_MAKERS: dict[str, tuple[tuple[str, ...], Callable[[dict[str, Any]], Any]]] = {
    "rectangle": (("x0", "y0", "x1", "y1"),
                  lambda d: Rectangle(d["x0"], d["y0"], d["x1"], d["y1"])),
    "polygon": (("vertices",), lambda d: Polygon(d["vertices"])),
    "brush": (("strokes",), _brush),
    "component": (("number", "name"), lambda d: OfComponent(d["number"], d["name"])),
}  # fmt: skip


def region_from(where: str, data: Any) -> Region:
    """The region that a dictionary describes; raises SettingsError."""
    given = table(where, data, ("name", "shape"), ("note",))
    shape = shape_from(f"{where}.shape", given["shape"])
    with at(where):
        return Region(given["name"], shape, given.get("note", ""))


def profile_from(where: str, data: Any) -> Profile:
    """The profile that a dictionary describes; raises SettingsError."""
    given = table(where, data, ("name", "points", "width"), ("note",))
    with at(where):
        return Profile(given["name"], given["points"], given["width"], given.get("note", ""))
