"""What lies over the image of a map: components, left-out pixels, a selection, another picture,
named regions and profiles. Each can be shown or not, and none of them changes the map below.

The layers are passive: they show what they are given and say only that the divider was dragged.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QObject, QRectF, Signal
from PySide6.QtGui import QFont, QPainterPath, QTransform

from .. import theme as look
from ..theme import LIGHT, Theme
from . import layer_items
from .layer_items import Edges, Hatch, Letters, Runs, Sheet
from .layer_key import LayerKey
from .map_picture import Picture
from .map_places import Mark, PlacesItem, ProfileMark, RegionMark

Array = np.ndarray
OFF, OUTLINES, FILL = "off", "outlines", "fill"
LOOKS = (OFF, OUTLINES, FILL)
MANY = 40_000
"""With more straight pieces of boundary than this, lines would cover the map and take long: areas
are filled, or only the rest dimmed, instead."""
DIM = 150
"""Opacity (0 to 255) of the veil over what is not selected."""


class MapLayers(QObject):
    """The layers of one map view.

    Label maps and masks are (rows, cols) on the map's grid. Lengths and places are in nm on the
    map, or in pixels if it has no scale. When the map gets another grid, all is taken away.

    Signals, each only for what the person did
    ------------------------------------------
    divider_dragged(share), divider_dropped(share) : the divider between map and picture was
        dragged, and let go; the share of the map's width that is left of it
    """

    divider_dragged = Signal(float)
    divider_dropped = Signal(float)

    def __init__(self, box: pg.ViewBox, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.picture = Picture(box)
        self.fill, self.dim = Sheet(6.0), Sheet(8.0)
        self.hatch = Hatch(7.0)
        self.outlines, self.selection_edge = Edges(10.0), Edges(12.0)
        self.letters, self.places_item = Letters(22.0), PlacesItem(25.0)
        self.picks = Letters(26.0)
        self._gridded = (self.fill, self.dim, self.hatch, self.outlines, self.selection_edge,
                         self.letters, self.picks)  # fmt: skip
        for item in (*self._gridded, self.places_item):
            box.addItem(item, ignoreBounds=True)
        self.key = LayerKey()
        self._shape, self.factor, self._grid = (1, 1), 1.0, QTransform()
        self._area = QRectF()
        self._labels: Array | None = None
        self._clean: Array | None = None  # the labels without left-out specks
        self._runs: list[Runs] = []
        self._colours: tuple[str, ...] = ()
        self._letters: tuple[str, ...] = ()
        self._look, self._opacity = OUTLINES, 0.85
        self._left_out: Array | None = None
        self._selection: Array | None = None
        self._regions: tuple[RegionMark, ...] = ()
        self._profiles: tuple[ProfileMark, ...] = ()
        self._held: Mark | None = None  # as the mouse has it
        self._loose = False
        self._theme, self._font = LIGHT, QFont()
        self.picture.divider.dragged.connect(self.divider_dragged)
        self.picture.divider.dropped.connect(self.divider_dropped)

    # -- following the map

    def place(self, grid: QTransform, shape: tuple[int, int], factor: float) -> None:
        """Follow the map's image: its pixels to the view, its shape, and the view's unit per nm."""
        if shape != self._shape or grid != self._grid:
            self._shape = shape
            self.clear()
        self._grid, self.factor = grid, factor
        self._area = grid.mapRect(QRectF(0, 0, shape[1], shape[0]))
        for item in self._gridded:
            item.setTransform(grid)
            item.set_area(*shape)
        reach = max(self._area.width(), self._area.height())
        self.places_item.set_area(self._area.adjusted(-reach, -reach, reach, reach))
        self._set_places(factor=factor)
        self.picture.place(grid, self._area, factor)

    def clear(self) -> None:
        """Take everything away."""
        self.show_components(None)
        self.show_left_out(None)
        self.show_selection(None)
        self.show_regions(())
        self.show_profiles(())
        self.show_landmarks(())
        self.show_picks(())
        self.set_picture(None)
        self.key.reserve(False)

    def set_theme(self, theme: Theme, font: QFont) -> None:
        """Take the colours and the font anew."""
        self._theme, self._font = theme, font
        for item in (self.letters, self.places_item, self.picks):
            item.set_theme(theme, font)
        for item in (self.hatch, self.picture.divider, self.key):
            item.set_theme(theme)
        self._draw_components()
        self._draw_selection()

    @property
    def area(self) -> QRectF:
        """The area of the map in the unit of the view."""
        return self._area

    # -- components

    def show_components(self, labels: Array | None, colours: Sequence[str] = (),
                        letters: Sequence[str] = ()) -> None:  # fmt: skip
        """Show components.

        Parameters
        ----------
        labels : (rows, cols) int; -1 where there is none; None takes them away
        colours, letters : one for each component
        """
        if labels is not None:
            labels = self._checked(labels)
            few = min(len(colours), len(letters))
            if labels.max(initial=-1) >= few:
                raise ValueError(f"there are {labels.max() + 1} components, but looks for {few}")
        self._labels, self._clean = labels, None
        self._colours, self._letters = tuple(colours), tuple(letters)
        self._draw_components()
        self._tell()

    def set_component_look(self, look_name: str, opacity: float | None = None) -> None:
        """ "outlines", "fill" or "off"; `opacity` (0 to 1) is that of the fill."""
        if look_name not in LOOKS:
            raise ValueError(f"components are not drawn as {look_name!r}: {', '.join(LOOKS)}")
        self._look = look_name
        self._opacity = self._opacity if opacity is None else min(max(opacity, 0.0), 1.0)
        self._draw_components()
        self._tell()

    @property
    def component_look(self) -> str:
        return self._look

    def _draw_components(self) -> None:
        labels = self._labels if self._look != OFF else None
        if labels is None:
            self.fill.show_index(None)
            self.outlines.show_strokes([])
            self.letters.show_letters([])
            return
        alpha = round(255 * self._opacity)
        clear = look.colour(self._theme.dark_edge, 0)
        filled = [look.colour(c, alpha) for c in self._colours]
        if self._clean is None:
            self._clean = layer_items.without_holes(labels)
            self._runs = layer_items.boundaries(self._clean)
            self._spots = layer_items.letter_places(self._clean)
        fill = self._look == FILL or self.too_fine
        self.fill.show_index(labels + 1 if fill else None, [clear, *filled])
        self.outlines.show_strokes(self._outline_strokes())
        self.letters.show_letters([(self._letters[k], x, y, r) for k, x, y, r in self._spots])

    @property
    def too_fine(self) -> bool:
        """Whether the components are too finely mixed for outlines, and filled instead."""
        return self._clean is not None and sum(len(r.label) for r in self._runs) > MANY

    def _outline_strokes(self) -> list[tuple]:
        """On each side of a boundary a line in the component's colour, with a dark rim."""
        theme, strokes = self._theme, []
        if self.too_fine:
            return strokes
        dark, light = look.colour(theme.dark_edge), look.colour(theme.light_edge, 120)
        for runs in self._runs:
            whole = runs.path()
            if self._look == FILL:
                strokes += [(whole, runs.inward, dark, 0, 1), (whole, runs.inward, light, 1, 2)]
                continue
            strokes.append((whole, runs.inward, dark, 0, 1))
            strokes += [(runs.path(runs.label == k), runs.inward, look.colour(colour), 1, 3)
                        for k, colour in enumerate(self._colours)]  # fmt: skip
        return strokes

    # -- masks

    def show_left_out(self, mask: Array | None) -> None:
        """Hatch the pixels that are undecided, mixed or in a boundary zone: (rows, cols) bool."""
        self._left_out = None if mask is None else self._checked(mask).astype(bool)
        self.hatch.show_mask(self._left_out)
        self._tell()

    def show_selection(self, mask: Array | None) -> None:
        """Outline the selected pixels and dim the rest: (rows, cols) bool; None selects nothing."""
        self._selection = None if mask is None else self._checked(mask).astype(bool)
        self._draw_selection()
        self._tell()

    def _draw_selection(self) -> None:
        mask, theme = self._selection, self._theme
        if mask is None:
            self.dim.show_index(None)
            self.selection_edge.show_strokes([])
            return
        veil = [look.colour(theme.dark_edge, DIM), look.colour(theme.dark_edge, 0)]
        self.dim.show_index(mask.astype(np.intp), veil)
        dark, light = look.colour(theme.dark_edge), look.colour(theme.light_edge)
        strokes = []
        edges = layer_items.boundaries(mask.astype(np.int16) - 1, closed=True)
        for runs in edges if sum(len(r.label) for r in edges) <= MANY else ():
            path = runs.path()
            strokes += [(path, runs.inward, dark, 0, 1), (path, runs.inward, light, 1, 3)]
        self.selection_edge.show_strokes(strokes)

    def _checked(self, grid: Array) -> Array:
        grid = np.asarray(grid)
        if grid.shape != self._shape:
            raise ValueError(f"the map has {self._shape} pixels, the layer {grid.shape}")
        return grid

    def show_picks(self, picks: Sequence[tuple[str, int, int]]) -> None:
        """Mark single pixels: (letter, row, col), each letter once."""
        self.picks.show_letters([(a, col + 0.5, row + 0.5, 1.0) for a, row, col in picks])

    # -- another picture

    def set_picture(self, values: Array | None, transform: QTransform | None = None,
                    opacity: float | None = None) -> None:  # fmt: skip
        """Lay another picture of the same place over the map, in grey.

        Parameters
        ----------
        values : (rows, cols); NaN is clear; None takes the picture away
        transform : from the picture's (column, row), where pixel edges are whole numbers, to x, y
            of the map in nm; None if the picture is on the map's grid
        opacity : 0 to 1
        """
        self.picture.show_values(values, transform)
        if opacity is not None:
            self.set_picture_opacity(opacity)

    def set_picture_opacity(self, opacity: float) -> None:
        """0 (only the map) to 1 (only the picture)."""
        self.picture.set_opacity(opacity)

    def set_split(self, on: bool, share: float | None = None) -> None:
        """Show the map left of a divider and the picture right of it, or the one over the other.
        `share` is the divider's place, 0 to 1 of the map's width."""
        self.picture.set_split(on, share)

    # -- places

    def show_regions(self, regions: Sequence[RegionMark]) -> None:
        """Outline named regions."""
        masks = {}
        for each in regions:
            if each.kind == "pixels" and each.mask is not None:
                path = _mask_outline(self._checked(each.mask))
                back = QTransform.fromScale(1 / self.factor, 1 / self.factor)
                masks[each.name] = (self._grid * back).map(path)
        self._set_places(regions=tuple(regions), masks=masks)

    def show_profiles(self, profiles: Sequence[ProfileMark]) -> None:
        """Draw named profiles."""
        self._set_places(profiles=tuple(profiles))

    def show_landmarks(self, points: Sequence[tuple[float, float]]) -> None:
        """Mark numbered places, the first one as 1; for laying two pictures over each other."""
        self._set_places(landmarks=tuple((float(x), float(y)) for x, y in points))

    def show_held(self, mark: Mark | None, until_shown: bool = False) -> None:
        """Draw the held mark as the mouse has it; None goes back to how it was given.

        While it is dragged the mouse wins over what the program shows; with `until_shown` the next
        `show_regions` or `show_profiles` does.
        """
        self._held, self._loose = mark, until_shown
        self._set_places()

    @property
    def held(self) -> Mark | None:
        """The mark that is held, as it is drawn."""
        given = next((m for m in (*self._profiles, *self._regions) if m.held), None)
        return self._held if self._held is not None and given is not None else given

    def _set_places(self, **changed: object) -> None:
        if "regions" in changed or "profiles" in changed:
            self._regions = changed.get("regions", self._regions)
            self._profiles = changed.get("profiles", self._profiles)
            self._held = None if self._loose else self._held
        held, item = self._held, self.places_item
        both = [tuple(held if held is not None and m.held and type(m) is type(held) else m
                      for m in marks) for marks in (self._regions, self._profiles)]  # fmt: skip
        new = {"factor": self.factor, **changed, "regions": both[0], "profiles": both[1]}
        item.places = replace(item.places, **new)
        item.update()

    # -- the key

    def _tell(self) -> None:
        entries = []
        if self._labels is not None and self._look != OFF:
            counts = np.bincount(self._labels.ravel() + 1, minlength=len(self._colours) + 1)[1:]
            entries += [(letter, colour, f"{letter} ({count})") for letter, colour, count
                        in zip(self._letters, self._colours, counts, strict=False)]  # fmt: skip
            if self._look == OUTLINES and self.too_fine:
                entries.append(("", "", "too finely mixed for outlines: filled"))
        if self._left_out is not None:
            entries.append(("left out", "", f"set aside ({np.count_nonzero(self._left_out)})"))
        if self._selection is not None:
            some, all_ = np.count_nonzero(self._selection), self._selection.size
            entries.append(("selected", "", f"selected ({some} of {all_})"))
        self.key.show_entries(entries)


def _mask_outline(mask: Array) -> QPainterPath:
    """The outline of a mask in columns and rows; only that of all of it if it is too fine."""
    path = QPainterPath()
    edges = layer_items.boundaries(mask.astype(np.int16) - 1, closed=True)
    if sum(len(r.label) for r in edges) > MANY:
        rows, cols = (np.flatnonzero(mask.any(axis=axis)) for axis in (1, 0))
        path.addRect(QRectF(cols[0], rows[0], np.ptp(cols) + 1, np.ptp(rows) + 1))
        return path
    for runs in edges:
        path.addPath(runs.path())
    return path
