"""The height as a body: triangles for print (STL) and for a look (PLY, OBJ, glTF), with a channel
as colour of the corners. Written by trimesh, which is loaded when a body is made.

Each pixel's centre is a corner, and every square of four pixels two triangles. For print missing
heights are filled from the nearest pixel and the body is closed by walls and a floor; for a look
they stay holes. Stretch, unit and limits stand beside each file in a ``.json`` and, of the stretch,
in its name.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from ..channels import CHANNELS
from ..errors import InputError
from ..progress import Progress
from ..surface.levelling import Levelling, level
from ..writers import nexus
from ..writers.atomic import saving
from ..writers.datapackage import Resource
from .wanted import Body, Wanted

if TYPE_CHECKING:
    from ..findings import Findings

Array = np.ndarray
GREY = (204, 204, 204, 255)
"""Of corners without a value: no colour of the tables."""
HEAD = 80
"""Bytes for text at the beginning of a binary STL file."""


@dataclass(frozen=True, eq=False)
class Heights:
    """Heights of a map in nm (rows, cols), NaN where missing; x (cols,) and y (rows,) in nm; and a
    sentence on what was taken off."""

    values: Array
    x: Array
    y: Array
    words: str


@dataclass(frozen=True, eq=False)
class Coloured:
    """RGBA of each pixel, uint8 (rows, cols, 4), and what tells what they mean."""

    rgba: Array
    about: dict[str, Any]


def write_surface(folder: Path, findings: Findings, wanted: Wanted, progress: Progress
                  ) -> list[Resource]:  # fmt: skip
    """Write the body in each of its formats; what was written, for the package.

    Raises InputError where the map has no scale or no height.
    """
    body = wanted.body
    heights = heights_of(findings, body)
    place = folder / "surface"
    place.mkdir()
    made: list[Resource] = []
    for done, ending in enumerate(body.formats):
        progress.step(done, len(body.formats), "Making the surface")
        data, about = _stl(heights, body) if ending == "stl" else _look(
            findings, wanted, heights, ending)  # fmt: skip
        path = place / f"{stem_of(body, ending)}.{ending}"
        about = {"file": path.name, "map": findings.name, "height": body.height,
                 "levelling": heights.words, "vertical_factor": body.vertical, **about,
                 "program": f"palpate {nexus.version()}"}  # fmt: skip
        made += _save(path, data, about)
    return made


def _save(path: Path, data: bytes, about: dict[str, Any]) -> list[Resource]:
    beside = path.with_name(path.name + ".json")
    with saving(path, needs=len(data)) as temporary:
        temporary.write_bytes(data)
    with saving(beside) as temporary:
        text = json.dumps(about, indent=1, ensure_ascii=False, allow_nan=False)
        temporary.write_text(text + "\n", encoding="utf-8")
    words = f"The surface, heights {about['vertical_factor']:g} times; {about['unit']}."
    return [Resource(f"surface/{path.name}", words),
            Resource(f"surface/{beside.name}", f"What {path.name} is.")]  # fmt: skip


def stem_of(body: Body, ending: str) -> str:
    """Name of the file without its ending; the stretch and, for print, the width stand in it."""
    words = [body.height, *(["levelled"] if body.levelled else []), f"z{body.vertical:g}x"]
    if ending == "stl":
        words.append(f"{body.width:g}mm")
    return "_".join(words)


def heights_of(findings: Findings, body: Body) -> Heights:
    """The heights that make the body. Raises InputError where there are none."""
    values, fmap = _heights(findings, body), findings.map
    words = "nothing was taken off"
    if body.levelled:
        values, words = _levelled(findings, values)
    return Heights(values, np.asarray(fmap.x), np.asarray(fmap.y), words)


def _heights(findings: Findings, body: Body) -> Array:
    fmap = findings.map
    if not fmap.has_scale or min(fmap.shape) < 2:
        raise InputError("A surface can't be made: the map has no scale in nm along both sides. "
                         "Give the size of the scan when the map is written.")  # fmt: skip
    values = np.array(findings.analysis.channel(body.height), float)
    if not np.isfinite(values).any():
        raise InputError(f"A surface can't be made: there is no {CHANNELS[body.height].label} in "
                         "this map. Choose the other height.")  # fmt: skip
    return values


def _levelled(findings: Findings, values: Array) -> tuple[Array, str]:
    from ..uncertainty.groups import pitch_of

    levelling = findings.work.levelling or Levelling()
    labels = None
    if findings.composition is not None:
        from ..components.zones import PURE

        made = findings.composition
        labels = np.where(made.kinds == PURE, made.labels, -1)
    elif levelling.on:
        levelling = replace(levelling, on=())
    found = level(values, levelling, labels=labels, usable=findings.analysis.trusted,
                  pitch=pitch_of(findings.analysis))  # fmt: skip
    return found.values, found.words


# ---- triangles


def corners_of(x: Array, y: Array, z: Array) -> Array:
    """Corners (rows * cols, 3), row by row."""
    across, along = np.meshgrid(x, y)
    return np.column_stack([across.ravel(), along.ravel(), z.ravel()])


def triangles_of(rows: int, cols: int) -> Array:
    """Two triangles a square of four pixels, (n, 3) corners, counter-clockwise seen from above."""
    at = np.arange(rows * cols).reshape(rows, cols)
    a, b, c, d = at[:-1, :-1], at[:-1, 1:], at[1:, 1:], at[1:, :-1]
    both = np.stack([np.stack([a, b, c], -1), np.stack([a, c, d], -1)], axis=2)
    return both.reshape(-1, 3)


def ring_of(rows: int, cols: int) -> Array:
    """The outermost corners in order, counter-clockwise seen from above."""
    at = np.arange(rows * cols).reshape(rows, cols)
    return np.concatenate([at[0, :-1], at[:-1, -1], at[-1, :0:-1], at[:0:-1, 0]])


def filled(values: Array) -> tuple[Array, int]:
    """Heights without gaps, each missing one that of the nearest pixel that has one; how many were
    missing."""
    missing = ~np.isfinite(values)
    if not missing.any():
        return values, 0
    from scipy.ndimage import distance_transform_edt

    nearest = distance_transform_edt(missing, return_distances=False, return_indices=True)
    return values[tuple(nearest)], int(missing.sum())


def _rising(heights: Heights, values: Array) -> Heights:
    """With x and y rising, so that the triangles look upwards."""
    x, y = heights.x, heights.y
    if x[0] > x[-1]:
        x, values = x[::-1], values[:, ::-1]
    if y[0] > y[-1]:
        y, values = y[::-1], values[::-1]
    return Heights(values, x, y, heights.words)


# ---- for print


def printed(heights: Heights, body: Body) -> tuple[Any, float, int]:
    """A closed body in mm (trimesh), how many mm are a nm, and how many heights were filled."""
    import trimesh

    values, missing = filled(heights.values)
    sound = _rising(heights, values)
    longer = max(np.ptp(sound.x), np.ptp(sound.y))
    scale = body.width / float(longer)
    z = (sound.values - sound.values.min()) * scale * body.vertical + body.base
    top = corners_of((sound.x - sound.x[0]) * scale, (sound.y - sound.y[0]) * scale, z)
    rows, cols = z.shape
    faces, ring = triangles_of(rows, cols), ring_of(rows, cols)
    low = rows * cols + np.arange(ring.size)
    after, low_after = np.roll(ring, -1), np.roll(low, -1)
    walls = np.concatenate([np.column_stack([ring, low, low_after]),
                            np.column_stack([ring, low_after, after])])  # fmt: skip
    middle = rows * cols + ring.size
    floor = np.column_stack([low_after, low, np.full(ring.size, middle)])
    below = top[ring] * (1.0, 1.0, 0.0)
    centre = np.append(below.mean(axis=0)[:2], 0.0)[None]
    vertices = np.concatenate([top, below, centre])
    mesh = trimesh.Trimesh(vertices, np.concatenate([faces, walls, floor]), process=False)
    return mesh, scale, missing


def _stl(heights: Heights, body: Body) -> tuple[bytes, dict[str, Any]]:
    mesh, scale, missing = printed(heights, body)
    text = f"palpate surface, unit mm, 1 um = {1e3 * scale:.6g} mm, heights {body.vertical:g} times"
    data = text.encode("ascii", "replace")[:HEAD].ljust(HEAD) + mesh.export(file_type="stl")[HEAD:]
    size = [round(float(v), 6) for v in np.ptp(mesh.vertices, axis=0)]
    return data, {
        "unit": "mm", "size_mm": size, "mm_per_um_lateral": 1e3 * scale,
        "mm_per_um_of_height": 1e3 * scale * body.vertical, "base_mm": body.base,
        "height_range_nm": float(np.nanmax(heights.values) - np.nanmin(heights.values)),
        "missing": f"{missing} missing heights are filled with that of the nearest pixel",
        "closed": "walls and a floor at z = 0",
    }  # fmt: skip


# ---- for a look


def coloured(findings: Findings, wanted: Wanted) -> Coloured:
    """The colour of each pixel by the channel; grey where it has no value."""
    body, analysis = wanted.body, findings.analysis
    if body.colour not in CHANNELS:
        raise _no_colour(body)
    channel = CHANNELS[body.colour]
    values = np.array(analysis.channel(body.colour), float)
    values = np.where(analysis.trusted, values, np.nan) if wanted.trusted else values
    from ..figures import robust_limits

    low, high = body.limits or robust_limits(values, channel.kind == "signed")
    known = np.isfinite(values)
    table = colours_of(body.table)
    place = np.zeros(values.shape)
    place[known] = (values[known] - low) / (high - low)
    rgba = table[np.clip(np.floor(place * 256), 0, 255).astype(int)]
    rgba[~known] = GREY
    return Coloured(rgba, {
        "colour": channel.name, "colour_label": channel.label, "colour_unit": channel.unit or "1",
        "colour_table": body.table, "colour_limits": [low, high],
        "colour_limits_from": "given" if body.limits else "2nd and 98th percentile",
        "below_limits": int((values[known] < low).sum()),
        "above_limits": int((values[known] > high).sum()),
        "grey": f"{int((~known).sum())} pixels without a value that is used",
    })  # fmt: skip


def _no_colour(body: Body) -> InputError:
    return InputError(f"There is no channel “{body.colour[:40]}” to colour the surface by; one of "
                      f"{', '.join(CHANNELS)}.")  # fmt: skip


def colours_of(name: str) -> Array:
    """A table of colours, uint8 (256, 4)."""
    try:
        from ..colours import table
    except ImportError:
        from cmap import Colormap

        return np.round(Colormap(name)(np.linspace(0.0, 1.0, 256)) * 255).astype(np.uint8)
    return np.array(table(name, 256))


def _look(findings: Findings, wanted: Wanted, heights: Heights, ending: str
          ) -> tuple[bytes, dict[str, Any]]:  # fmt: skip
    import trimesh

    body, shown = wanted.body, coloured(findings, wanted)
    rows, cols = heights.values.shape
    level = float(np.nanmin(heights.values))
    z = (heights.values - level) * body.vertical
    corners = 1e-3 * corners_of(heights.x - heights.x.min(), heights.y - heights.y.min(), z)
    faces = triangles_of(rows, cols)
    if (heights.x[0] > heights.x[-1]) != (heights.y[0] > heights.y[-1]):
        faces = faces[:, ::-1]
    there = np.isfinite(corners[:, 2])
    faces = faces[there[faces].all(axis=1)]
    number = np.cumsum(there) - 1
    unit = "1 unit is 1 µm; x and y as on the map, z up"
    corners = corners[there]
    if ending == "glb":  # y points up there, and lengths are metres
        corners = corners[:, [0, 2, 1]] * (1.0, 1.0, -1.0)
        unit = "1 m stands for 1 µm; x as on the map, y up, -z is y of the map"
    mesh = trimesh.Trimesh(corners, number[faces], vertex_colors=shown.rgba.reshape(-1, 4)[there],
                           process=False)  # fmt: skip
    data = mesh.export(file_type=ending)
    missing = int((~there).sum())
    about = {"unit": unit, "size_um": [round(float(v), 9) for v in np.ptp(corners, axis=0)],
             "missing": f"{missing} missing heights are left as holes", **shown.about}  # fmt: skip
    return data.encode() if isinstance(data, str) else bytes(data), about


def needs_of(findings: Findings, body: Body) -> list[tuple[str, int]]:
    """The files with an estimate of their bytes. Raises InputError where there is no surface."""
    _heights(findings, body)
    if body.colour not in CHANNELS:
        raise _no_colour(body)
    pixels = math.prod(findings.map.shape)
    each = {"stl": 100 * pixels, "ply": 42 * pixels, "obj": 110 * pixels, "glb": 40 * pixels}
    found = []
    for ending in body.formats:
        name = f"surface/{stem_of(body, ending)}.{ending}"
        found += [(name, each[ending]), (f"{name}.json", 1000)]
    return found
