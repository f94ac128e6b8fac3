"""Line profiles: every channel at once along a line that is as wide as the person makes it.

The line may have corners. At each of its points the maps are read at equally spaced places across
it, at right angles to the piece of line the point lies on. On the inner side of a corner the strips
of two pieces overlap, so a pixel there counts on both; on the outer side a wedge is not read. A
corner itself belongs to the piece that begins at it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from ..errors import SettingsError
from . import checks
from .across import Line, Lookup, line_of, steps_of
from .checks import Point

if TYPE_CHECKING:
    from ..analysis import Analysis

Array = np.ndarray
MOST_CORNERS = 1_000
MOST_STEPS = 20_000
"""Points along one profile; a longer one gets larger steps."""
MOST_ACROSS = 2_000
MOST_READS = 2_000_000
METHODS = ("nearest", "linear")


@dataclass(frozen=True)
class Profile:
    """A named line with a width.

    Attributes
    ----------
    name : one printable line of up to 80 characters
    points : corners of the line in order, two or more, in nm (or pixels without a scale)
    width : over which is averaged across the line, in the same unit; 0 reads one pixel
    note : a person's own words
    """

    name: str
    points: tuple[Point, ...]
    width: float = 0.0
    note: str = ""

    def __post_init__(self) -> None:
        checks.name("profile.name", self.name)
        checks.note("profile.note", self.note)
        found = checks.points("profile.points", self.points)
        if not 2 <= len(found) <= MOST_CORNERS:
            raise SettingsError("profile.points", f"has {len(found):,} corners; a line needs two "
                                f"and may have {MOST_CORNERS:,}.")  # fmt: skip
        object.__setattr__(self, "points", found)
        object.__setattr__(self, "width", checks.number("profile.width", self.width, 0.0))

    @property
    def length(self) -> float:
        """Along the line, corners included."""
        return math.fsum(
            math.dist(a, b) for a, b in zip(self.points, self.points[1:], strict=False)
        )


@dataclass(frozen=True, eq=False)
class Sampled:
    """What a profile reads.

    Attributes
    ----------
    profile : what was asked
    unit : of lengths, "nm" or "pixel"
    distance, x, y : (n,) along the line from its first corner, and where that is on the map
    channels : name -> `Line` (values, errors, pixels, effective), each (n,)
    component : int (n,), the component of most of the width, the lower number where two hold
        equal parts; -1 where none does; None if no labels were given
    step : distance between points; across : between the places read across the line
    method : "nearest" or "linear"
    reason : why there is nothing, or what was done otherwise than asked; one sentence or ""
    """

    profile: Profile
    unit: str
    distance: Array
    x: Array
    y: Array
    channels: Mapping[str, Line]
    component: Array | None = None
    step: float = math.nan
    across: float = math.nan
    method: str = "nearest"
    reason: str = ""
    units: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Path:
    """Points along a polyline, with the direction of the piece each lies on."""

    distance: Array
    x: Array
    y: Array
    along: Array  # (n, 2) unit vectors
    step: float


def path_of(points: tuple[Point, ...], step: float) -> Path:
    """Equally spaced points from the first corner to the last.

    The step is made a little smaller or larger so that both ends are points. A line of no length
    gives no points.
    """
    corners = np.array(points, dtype=float)
    pieces = np.diff(corners, axis=0)
    lengths = np.hypot(pieces[:, 0], pieces[:, 1])
    starts, pieces, lengths = corners[:-1][lengths > 0], pieces[lengths > 0], lengths[lengths > 0]
    if not lengths.size:
        none = np.empty(0)
        return Path(none, none, none, np.empty((0, 2)), math.nan)
    ends = np.cumsum(lengths)
    count = int(min(max(round(ends[-1] / step), 1), MOST_STEPS - 1))
    distance = np.linspace(0.0, ends[-1], count + 1)
    piece = np.minimum(np.searchsorted(ends, distance, side="right"), lengths.size - 1)
    along = (pieces / lengths[:, None])[piece]
    x, y = (starts[piece] + along * (distance - (ends - lengths)[piece])[:, None]).T
    return Path(distance, x, y, along, float(ends[-1]) / count)


def sample(
    profile: Profile, maps: Mapping[str, Array], x: Any, y: Any, usable: Array | None = None,
    step: float | None = None, *, errors: Mapping[str, Array | None] | None = None,
    labels: Array | None = None, method: str = "nearest", unit: str = "nm",
    units: Mapping[str, str] | None = None,
) -> Sampled:  # fmt: skip
    """Read maps along a profile, all of them at once.

    Across the line the maps are read at places half a pixel apart or closer, on lines eight pixels
    wide a pixel or closer. With "nearest" each place takes the pixel it lies in, so a pixel counts
    by how much of it the line's width covers. With "linear" each is interpolated from the four
    pixels around it, and is missing as soon as one of those is left out: nothing is ever
    interpolated across a gap.

    Parameters
    ----------
    maps : name -> (rows, cols), NaN where missing
    x, y : centres of the pixels, (cols,) and (rows,), in the profile's unit
    usable : bool (rows, cols), pixels that may be used; None for all
    step : between points along the line; a pixel's smaller side if None
    errors : name -> standard uncertainty of each pixel, (rows, cols) or None; used where one pixel
        alone stands behind a point
    labels : int (rows, cols), component of each pixel, -1 for none
    method : "nearest" or "linear"
    unit : "nm" or "pixel", told in the result
    units : name -> unit of each map, told in the result

    Returns
    -------
    Sampled : each point's mean across the width, its standard error, the pixels behind it and the
        independent ones among them; see `across.Line`

    Raises
    ------
    ValueError : an unknown method, a step that is not above zero, a map of another shape
    """
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    _check((y.size, x.size), maps, usable, errors, labels)
    if method not in METHODS:
        raise ValueError(f"no method {method!r}; known: {', '.join(METHODS)}")
    if step is not None and not step > 0.0:
        raise ValueError(f"the step is {step!r}; it must be above zero")
    pitch = min(steps_of(y, x))
    path = path_of(profile.points, step or pitch)
    about: dict[str, Any] = {
        "profile": profile,
        "unit": unit,
        "units": dict(units or {}),
        "method": method,
    }
    if not path.distance.size:
        none = np.empty(0)
        lines = {name: Line(none, none, none.astype(int), none, none.astype(bool)) for name in maps}
        return Sampled(distance=none, x=none, y=none, channels=lines, **about,
                       reason="The line has no length: its corners lie on one point.")  # fmt: skip
    offsets = offsets_of(profile.width, pitch, path.distance.size)
    lookup = Lookup(path.x - offsets[:, None] * path.along[:, 1],
                    path.y + offsets[:, None] * path.along[:, 0], x, y, usable, method)  # fmt: skip
    spacing = profile.width / offsets.size
    lines = {name: line_of(lookup, values, (errors or {}).get(name), spacing or pitch)
             for name, values in maps.items()}  # fmt: skip
    component = None if labels is None else lookup.majority(labels)
    return Sampled(distance=path.distance, x=path.x, y=path.y, channels=lines, component=component,
                   step=path.step, across=spacing, **about,
                   reason=_reason(lookup, path, path.step > 1.5 * (step or pitch)))  # fmt: skip


def sample_analysis(
    profile: Profile, analysis: Analysis, names: tuple[str, ...] = (), *,
    left_out: Array | None = None, labels: Array | None = None, step: float | None = None,
    method: str = "nearest",
) -> Sampled:  # fmt: skip
    """Read an analysis along a profile.

    Parameters
    ----------
    names : channels; those that the settings ask for if empty
    left_out : bool (rows, cols), pixels that a person decided against
    labels, step, method : as in `sample`

    Returns
    -------
    Sampled : pixels without a curve, with a severe doubt or left out are gaps
    """
    from ..channels import CHANNELS, asked_for

    chosen = names or tuple(asked_for(analysis.settings))
    usable = analysis.trusted if left_out is None else analysis.trusted & ~left_out
    return sample(
        profile, {n: analysis.channel(n) for n in chosen}, analysis.map.x, analysis.map.y, usable,
        step, errors={n: analysis.errors(n) for n in chosen}, labels=labels, method=method,
        unit="nm" if analysis.map.has_scale else "pixel",
        units={n: CHANNELS[n].unit for n in chosen},
    )  # fmt: skip


def offsets_of(width: float, pitch: float, along: int) -> Array:
    """Places across the line, from one side to the other: the middles of equal parts of the
    width, half a pixel or less each (a pixel or less on lines eight pixels wide); one in the
    middle for a width of one pixel or less."""
    if width <= pitch * (1.0 + 1e-9):
        return np.zeros(1)
    most = max(1, min(MOST_ACROSS, MOST_READS // along))
    wide = width / pitch
    count = int(min(math.ceil(min(2.0 * wide, max(16.0, wide)) - 1e-9), most))
    return ((np.arange(count) + 0.5) / count - 0.5) * width


def _check(shape: tuple[int, int], maps: Mapping[str, Array], usable: Array | None,
           errors: Mapping[str, Array | None] | None, labels: Array | None) -> None:  # fmt: skip
    given = {**maps, "usable": usable, "labels": labels}
    given |= {f"errors of {name}": one for name, one in (errors or {}).items()}
    for name, array in given.items():
        if array is not None and np.shape(array) != shape:
            raise ValueError(f"{name} has the shape {np.shape(array)}, the map {shape}")


def _reason(lookup: Lookup, path: Path, wide: bool) -> str:
    if not lookup.inside.any():
        return "The line lies beside the map."
    if not lookup.use.any():
        return "The line meets no pixel that is used."
    if wide and path.distance.size >= MOST_STEPS:
        return f"The line is long: it was read at {MOST_STEPS:,} points, {path.step:.4g} apart."
    return ""
