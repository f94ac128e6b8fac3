"""Where a picture lies on the map: by hand, or from pairs of landmarks.

A similarity is linear in (a, b, tx, ty): x = a c - b r + tx, y = b c + a r + ty, and an affine map
in its six numbers, so both are least squares with known covariance. A pair is called wrong if the
transform of all the others misses it by more than chance allows: F(2, 2(n-1)-p) of the deleted
residual, over n pairs (Cook & Weisberg 1982, from memory).
"""

from __future__ import annotations

import hashlib
import json
import math
import os
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import InputError, ReadError
from ..readers.analysis import SourceIdentity
from ..readers.door import look

Array = np.ndarray
Matrix = tuple[tuple[float, ...], ...]
KINDS = ("shift", "similarity", "affine")
HOWS = ("by hand", "landmarks", "correlation")
LEAST_PAIRS = {"shift": 1, "similarity": 2, "affine": 3}
FLAT = 1e-2
"""Narrow over long side of the cloud of points below which they lie on a line."""
WRONG = 0.01
"""Chance, over all pairs, at which a right pair is called wrong."""


@dataclass(frozen=True)
class Alignment:
    """From picture coordinates (column, row) to the map's x, y in nm.

    Attributes
    ----------
    kind : "shift", "similarity" or "affine"
    matrix : 3 x 3 as nested tuples; (x, y, 1) = matrix (column, row, 1)
    how : "by hand", "landmarks" or "correlation"
    words : a sentence on how good it is
    residual : nm, root mean square distance; NaN where there is none
    quality : of a correlation, see `correlating`; NaN otherwise
    picture : the file, by relative name and checksum; the picture itself is not kept
    """

    kind: str
    matrix: Matrix
    how: str
    words: str = ""
    residual: float = field(default=math.nan, compare=False)  # not a number is never itself
    quality: float = field(default=math.nan, compare=False)
    picture: SourceIdentity | None = None

    def __post_init__(self) -> None:
        values = np.asarray(self.matrix, dtype=float)
        if self.kind not in KINDS or self.how not in HOWS:
            raise InputError(f"An alignment “{self.kind}” {self.how} is not known.")
        if values.shape != (3, 3) or not np.isfinite(values).all():
            raise InputError("The matrix of an alignment is 3 x 3 finite numbers.")
        if not np.array_equal(values[2], [0.0, 0.0, 1.0]):
            raise InputError("The last row of an alignment's matrix is 0, 0, 1.")
        size = float(np.abs(values[:2, :2]).max())
        if not abs(np.linalg.det(values[:2, :2] / (size or 1.0))) > 1e-6 or not size > 0.0:
            raise InputError("The alignment squeezes the picture to a line: choose other points.")
        object.__setattr__(self, "matrix", tuple(tuple(map(float, row)) for row in values))

    @property
    def array(self) -> Array:
        """The matrix as float (3, 3)."""
        return np.array(self.matrix)

    def to_map(self, points: Any) -> Array:
        """Map x, y (n, 2) in nm of picture points (n, 2), column and row."""
        found = np.atleast_2d(np.asarray(points, dtype=float))
        return found @ self.array[:2, :2].T + self.array[:2, 2]

    def to_picture(self, points: Any) -> Array:
        """Picture column and row (n, 2) of map points (n, 2) in nm."""
        found = np.atleast_2d(np.asarray(points, dtype=float)) - self.array[:2, 2]
        return np.linalg.solve(self.array[:2, :2], found.T).T

    def to_json(self) -> str:
        """The alignment as a line of JSON; NaN becomes null."""
        record = {
            "kind": self.kind, "matrix": self.matrix, "how": self.how, "words": self.words,
            "residual": _or_none(self.residual), "quality": _or_none(self.quality),
            "picture": None if self.picture is None else vars(self.picture),
        }  # fmt: skip
        return json.dumps(record, ensure_ascii=False, allow_nan=False)

    @classmethod
    def from_json(cls, text: str) -> Alignment:
        """Read what `to_json` wrote. Raises InputError on anything else."""
        try:
            d = json.loads(text)
            source = d["picture"]
            return cls(
                str(d["kind"]), tuple(tuple(float(v) for v in row) for row in d["matrix"]),
                str(d["how"]), str(d["words"]), _number(d["residual"]), _number(d["quality"]),
                None if source is None else _identity_from(source),
            )  # fmt: skip
        except InputError:
            raise
        except (ValueError, TypeError, KeyError, RecursionError, OverflowError) as error:
            raise InputError(f"This is not an alignment ({error}). Align the picture "
                             "anew.") from None  # fmt: skip


def _or_none(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _number(value: Any) -> float:
    return math.nan if value is None else float(value)


def _identity_from(d: dict[str, Any]) -> SourceIdentity:
    texts = {k: str(d[k]) for k in ("file_name", "uuid", "checksum", "algorithm", "scope")}
    return SourceIdentity(size=int(d["size"]), **texts)


def identity_of(path: str | os.PathLike[str], folder: str | os.PathLike[str]) -> SourceIdentity:
    """Name relative to a folder, size and SHA-256 of a picture file. Raises ReadError."""
    seen = look(path)
    try:
        name = Path(os.path.relpath(seen.path.resolve(), Path(folder).resolve())).as_posix()
    except ValueError:  # another drive
        name = seen.path.name
    try:
        with seen.path.open("rb") as stream:
            digest = hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError as error:
        raise ReadError(path, f"the file can't be read ({error.strerror})") from None
    return SourceIdentity(name, "", seen.size, digest, "sha256", "whole file")


def with_picture(
    alignment: Alignment, path: str | os.PathLike[str], folder: str | os.PathLike[str]
) -> Alignment:
    """The same alignment with the picture's name, relative to `folder`, and its checksum."""
    return replace(alignment, picture=identity_of(path, folder))


def find_picture(alignment: Alignment, folder: str | os.PathLike[str]) -> Path:
    """The picture an alignment was made for: at its recorded place, or beside `folder`'s files.

    Raises ReadError if it is not there or is another one by its checksum.
    """
    source = alignment.picture
    if source is None:
        raise ReadError(folder, "the alignment names no picture", "Choose the picture.")
    name = Path(source.file_name)
    places = [] if name.is_absolute() else [Path(folder) / name]
    for place in dict.fromkeys([*places, Path(folder) / name.name]):
        if place.is_file():
            if identity_of(place, folder).checksum != source.checksum:
                raise ReadError(place, "this is not the picture that was aligned: its content was "
                                "changed", "Align it anew, or find the original.")  # fmt: skip
            return Path(os.path.normpath(place))
    raise ReadError(Path(folder) / name.name, "the picture is not at its place",
                    "Say where it is now.")  # fmt: skip


# ---- by hand


@dataclass(frozen=True)
class ByHand:
    """A placing about the picture's centre.

    Attributes
    ----------
    x, y : nm, where the centre of the picture lies on the map
    angle : degrees, anticlockwise
    scale : nm for each pixel of the picture
    mirrored : left and right of the picture are exchanged first
    """

    x: float
    y: float
    angle: float = 0.0
    scale: float = 1.0
    mirrored: bool = False


def by_hand(shape: tuple[int, int], placed: ByHand) -> Alignment:
    """The alignment of a picture of `shape` (rows, cols) placed by hand."""
    if not placed.scale > 0.0 or not math.isfinite(placed.scale):
        raise InputError("The scale of a picture is above zero: nm for each of its pixels.")
    matrix = similarity_matrix(shape, placed)
    return Alignment("similarity", matrix, "by hand", "Placed by hand.")


def similarity_matrix(shape: tuple[int, int], p: ByHand) -> Matrix:
    """The matrix of a placing about the centre."""
    centre = np.array([(shape[1] - 1) / 2.0, (shape[0] - 1) / 2.0])
    turn = math.radians(p.angle)
    c, s = p.scale * math.cos(turn), p.scale * math.sin(turn)
    linear = np.array([[c, -s], [s, c]]) @ np.diag([-1.0 if p.mirrored else 1.0, 1.0])
    shift = np.array([p.x, p.y]) - linear @ centre
    return (*((*linear[i], shift[i]) for i in range(2)), (0.0, 0.0, 1.0))


def hand_of(alignment: Alignment, shape: tuple[int, int]) -> ByHand:
    """The nearest placing by hand: exact for a similarity, the mean of the stretches for an
    affine alignment."""
    m = alignment.array
    mirrored = bool(np.linalg.det(m[:2, :2]) < 0.0)
    linear = m[:2, :2] @ np.diag([-1.0 if mirrored else 1.0, 1.0])
    a, b = (linear[0, 0] + linear[1, 1]) / 2.0, (linear[1, 0] - linear[0, 1]) / 2.0
    x, y = alignment.to_map([(shape[1] - 1) / 2.0, (shape[0] - 1) / 2.0])[0]
    return ByHand(float(x), float(y), math.degrees(math.atan2(b, a)), math.hypot(a, b), mirrored)


# ---- landmarks


@dataclass(frozen=True, eq=False)
class Landmarks:
    """An alignment from pairs of points.

    Attributes
    ----------
    alignment : the least squares transform
    residuals : (n,) nm, how far each pair is missed
    scatter : nm, standard error of one coordinate of a pair; NaN if nothing is left over
    errors : (n,) nm, standard uncertainty of the alignment at each landmark, one coordinate
    left_out : (n,) nm, how far each pair is missed by the transform of all the others
    wrong : number of the pair that does not fit the others, None if none is found
    """

    alignment: Alignment
    residuals: Array
    scatter: float
    errors: Array
    left_out: Array
    wrong: int | None


def _design(points: Array, kind: str) -> Array:
    """(n, 2, p): derivatives of x and y of each point by the parameters."""
    c, r = points[:, 0], points[:, 1]
    one, zero = np.ones_like(c), np.zeros_like(c)
    if kind == "affine":
        x, y = [c, r, one, zero, zero, zero], [zero, zero, zero, c, r, one]
    elif kind == "similarity":
        x, y = [c, -r, one, zero], [r, c, zero, one]
    else:
        x, y = [one, zero], [zero, one]
    return np.stack([np.stack(x, 1), np.stack(y, 1)], axis=1)


def _check_pairs(picture: Array, on_map: Array, kind: str) -> None:
    if kind not in LEAST_PAIRS:
        raise InputError(f"An alignment “{kind}” is not known: choose {', '.join(KINDS)}.")
    if picture.ndim != 2 or picture.shape != on_map.shape or picture.shape[1:] != (2,):
        raise InputError("Each landmark is a point in the picture and one on the map.")
    if not np.isfinite(picture).all() or not np.isfinite(on_map).all():
        raise InputError("A landmark has no place: set it again.")
    least = LEAST_PAIRS[kind]
    if len(picture) < least:
        raise InputError(f"{len(picture)} pairs are too few: {kind} needs {least}.")
    for points, where in ((picture, "in the picture"), (on_map, "on the map")):
        spread = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
        if kind != "shift" and not spread[0] > 1e-9 * (1.0 + np.abs(points).max()):
            raise InputError(f"All landmarks are at one point {where}: set them apart.")
        if kind == "affine" and spread[1] < FLAT * spread[0]:
            raise InputError(f"The landmarks lie on a line {where}, so the stretch across it is "
                             "unknown: add one beside the line.")  # fmt: skip


def landmarks(
    picture: Any, on_map: Any, kind: str = "similarity", *, scale: float = 1.0,
    mirrored: bool = False,
) -> Landmarks:  # fmt: skip
    """Align by pairs of points.

    Parameters
    ----------
    picture : (n, 2) column and row in the picture
    on_map : (n, 2) x and y on the map, nm
    kind : "shift" (then `scale`, nm for each pixel, is taken as known), "similarity", "affine"
    mirrored : the picture shows the place mirrored (an affine alignment finds that by itself)

    Raises
    ------
    InputError : too few pairs, all at one point or, for affine, on a line; says which
    """
    p, q = np.asarray(picture, dtype=float), np.asarray(on_map, dtype=float)
    _check_pairs(p, q, kind)
    flip = np.diag([-1.0 if mirrored and kind != "affine" else 1.0, 1.0])
    unit = scale if kind == "shift" else 1.0
    middle_p, middle_q = p.mean(axis=0), q.mean(axis=0)
    size = max(float(np.abs(p - middle_p).max()), 1.0)
    u = (p - middle_p) @ flip.T / size  # centred, of size one: well-conditioned
    v = q - middle_q
    if kind == "shift":
        v = v - unit * size * u
    design = _design(u, kind)
    n, m = len(p), design.shape[2]
    flat = design.reshape(2 * n, m)
    found = np.linalg.lstsq(flat, v.reshape(-1), rcond=None)[0]
    missed = (v.reshape(-1) - flat @ found).reshape(n, 2)
    left = 2 * n - m
    scatter = math.sqrt(float(np.sum(missed**2)) / left) if left > 0 else math.nan
    inverse = np.linalg.inv(flat.T @ flat)
    spread = np.einsum("nip,pq,nqj->nij", design, inverse, design.transpose(0, 2, 1))
    errors = scatter * np.sqrt(np.trace(spread, axis1=1, axis2=2) / 2.0)
    left_out, wrong = _leave_one_out(design, v, missed, spread, left)
    linear = _linear(found, kind, unit * size) @ flip / size
    offset = middle_q + found_shift(found, kind) - linear @ middle_p
    matrix: Matrix = (*((*linear[i], offset[i]) for i in range(2)), (0.0, 0.0, 1.0))
    residuals = np.hypot(*missed.T)
    residual = math.sqrt(float(np.mean(residuals**2))) if left > 0 else math.nan
    words = _words(n, residual, wrong)
    made = Alignment(kind, matrix, "landmarks", words, residual)
    return Landmarks(made, residuals, scatter, errors, left_out, wrong)


def _linear(found: Array, kind: str, known: float) -> Array:
    if kind == "affine":
        return np.array([[found[0], found[1]], [found[3], found[4]]])
    if kind == "similarity":
        return np.array([[found[0], -found[1]], [found[1], found[0]]])
    return np.eye(2) * known


def found_shift(found: Array, kind: str) -> Array:
    """The shift among the parameters."""
    return found[[2, 5]] if kind == "affine" else found[-2:]


def _leave_one_out(
    design: Array, target: Array, missed: Array, spread: Array, left: int
) -> tuple[Array, int | None]:
    """How far each pair is missed by the others, and the one that is missed beyond chance."""
    from scipy import stats

    n = len(target)
    out, statistic = np.full(n, np.nan), np.full(n, np.nan)
    if left <= 2:  # without one pair nothing is left over to judge by
        return out, None
    total = float(np.sum(missed**2))
    for i in range(n):
        rest = np.eye(2) - spread[i]
        if np.linalg.eigvalsh(rest)[0] < 1e-9:  # the others leave this place open
            continue
        deleted = np.linalg.solve(rest, missed[i])
        out[i] = float(np.hypot(*deleted))
        variance = max(total - float(missed[i] @ deleted), 1e-24 * (1.0 + total)) / (left - 2)
        statistic[i] = float(missed[i] @ deleted) / 2.0 / variance
    if not np.isfinite(statistic).any():
        return out, None
    worst = int(np.nanargmax(statistic))
    small = out[worst] < 1e-6 * float(np.abs(target).max() + 1e-300)
    chance = n * float(stats.f.sf(statistic[worst], 2, left - 2))
    return out, worst if chance < WRONG and not small else None


def _words(n: int, residual: float, wrong: int | None) -> str:
    if not math.isfinite(residual):
        return f"{n} pairs fix the alignment with nothing left to check it: add more."
    text = f"{n} pairs, missed by {residual:.3g} nm (root mean square)."
    return text if wrong is None else text + f" Pair {wrong + 1} does not fit the others."
