"""Core's places as the marks that the map draws."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from ..core.places import Brush, Polygon, Profile, Rectangle, Region
from .views.map_places import ProfileMark, RegionMark


def mark_of_region(region: Region, held: bool, mask: Callable[[Region], Any]) -> RegionMark:
    """A region as it is drawn: a shape that can be dragged, or the outline of its pixels."""
    shape = region.shape
    if isinstance(shape, Rectangle):
        points = np.array([(shape.x0, shape.y0), (shape.x1, shape.y1)])
        return RegionMark(region.name, "rectangle", points, held=held)
    if isinstance(shape, Polygon):
        return RegionMark(region.name, "polygon", np.array(shape.vertices), held=held)
    if isinstance(shape, Brush) and len(shape.strokes) == 1:
        points, radius = shape.strokes[0]
        return RegionMark(region.name, "brush", np.array(points), radius, held=held)
    found = mask(region)
    return RegionMark(region.name, "pixels", np.empty((0, 2)), mask=found if found.any() else None,
                      held=held)  # fmt: skip


def mark_of_profile(profile: Profile, held: bool, cursors: tuple[float, float]) -> ProfileMark:
    """A profile as it is drawn; only the held one shows its cursors."""
    points = np.array(profile.points)
    if held:
        return ProfileMark(profile.name, points, profile.width, cursors, held=True)
    return ProfileMark(profile.name, points, profile.width)
