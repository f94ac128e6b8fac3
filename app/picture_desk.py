"""Binds another picture of the map's place to the session: its view, its panel, and the map.

How the picture lies is part of the `Work`, so it can be undone; how it is shown (opacity, divider)
is only a matter of looking and stands here. Pictures that were read are kept while the map is
there, so that undo and redo need no file.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
from PySide6.QtCore import QObject, Qt, QTimer, Signal
from PySide6.QtGui import QTransform
from PySide6.QtWidgets import QSplitter, QTabWidget

from ..core.channels import CHANNELS, asked_for
from ..core.errors import Cancelled, InputError
from .component_desk import ComponentDesk
from .law_calls import Refused
from .panels.picture import PicturePanel
from .picture_calls import AlignPicture, ComparePicture, ReadPicture, Seen, with_identity
from .recompute import Answer
from .session import Session
from .theme import Theme
from .views.map_view import MapView
from .views.picture_view import PictureView
from .work import Laid

SETTLE = 300  # ms that everything must rest before it is compared anew
NOT_YET = "The comparison follows when the map has been analysed."
FIRST = "Laid over the middle of the map; not aligned yet."
HINTS = ("Click a place on the picture.", "Now click the same place on the map.")
NEED = "{} more {} and the picture is aligned."
ACTS = {"x": "shift of the picture", "y": "shift of the picture", "angle": "turn of the picture",
        "scale": "scale of the picture", "mirrored": "mirrored picture"}  # fmt: skip


class PictureDesk(QObject):
    """See the module. `tabs` gets the tab *Picture* while there is one.

    Signal save_wanted: the comparison as a file.
    """

    save_wanted = Signal()

    def __init__(self, session: Session, map_view: MapView, tabs: QTabWidget,
                 components: ComponentDesk) -> None:  # fmt: skip
        super().__init__(tabs)
        self._session, self._map, self._tabs = session, map_view, tabs
        self._components = components
        self.view, self.panel = PictureView(), PicturePanel()
        self.page = QSplitter(Qt.Orientation.Vertical, tabs)
        self.page.addWidget(self.view)
        self.page.addWidget(self.panel)
        self.page.setChildrenCollapsible(False)
        self.page.setStretchFactor(0, 1)
        self.page.setStretchFactor(1, 1)
        self.page.hide()
        self.seen: dict[Path, Seen] = {}
        self.comparison: Any = None
        self._shown: Laid | None = None
        self._opacity, self._look = 0.5, "over"
        self._pending: tuple[float, float] | None = None
        self._reading: tuple[int, Path] | None = None
        self._fetching: tuple[int, Path] | None = None  # one that was laid before the map was left
        self._aligning: int | None = None
        self._compared: Hashable = None
        self._asked: tuple[int, Hashable] | None = None
        self._timer = QTimer(self, singleShot=True, interval=SETTLE)
        self._timer.timeout.connect(self._compare)
        self._listen()

    def _listen(self) -> None:
        session, panel = self._session, self.panel
        session.map_changed.connect(self._forget)
        session.history_changed.connect(self.refresh)
        session.analysis_changed.connect(self._show_channels)
        session.analysis_changed.connect(self._want_comparison)
        session.left_out_changed.connect(self._want_comparison)
        self._components.made_changed.connect(self._want_comparison)
        session.answered.connect(self._take)
        session.busy_changed.connect(self._show_progress)
        self._tabs.currentChanged.connect(lambda _: self._in_front())
        panel.asked.connect(self._in_front)
        panel.shown_as.connect(self._show_as)
        panel.opacity.connect(self._show_opacity)
        panel.remove.connect(self.remove)
        panel.hand.placed.connect(self._place_by_hand)
        panel.hand.refused.connect(session.failed)
        panel.landmarks.placing.connect(self._set_placing)
        panel.landmarks.kind_chosen.connect(
            lambda kind: self._use_pairs(self._pairs(), "kind of alignment", kind)
        )
        panel.landmarks.remove.connect(self._remove_pair)
        panel.landmarks.remove_all.connect(lambda: self._use_pairs((), "removed landmarks"))
        panel.correlation.start.connect(self._align)
        panel.correlation.stop.connect(session.background.stop)
        panel.compare.save_wanted.connect(self.save_wanted)
        self.view.placed.connect(self._placed_on_picture)
        self._map.tools.landmark_placed.connect(self._placed_on_map)
        self._map.tools.tool_left.connect(lambda: self._set_placing(False))

    def set_theme(self, theme: Theme) -> None:
        self.view.set_theme(theme)
        self.panel.set_theme(theme)

    # -- laying and removing --------------------------------------------------------------------

    def lay(self, path: Path) -> None:
        """Read a picture and lay it over the middle of the map."""
        path = Path(path)
        if self._session.map is not None:
            request = ReadPicture(path, self._session.map)
            self._reading = (self._session.submit(request), path)

    def remove(self) -> None:
        """Take the picture away."""
        self._session.decide(replace(self._session.work, picture=None), "removed picture")

    def _read(self, seen: Seen, path: Path) -> None:
        from ..core.pictures.alignment import by_hand

        self.seen[path] = seen
        first = replace(by_hand(_shape(seen), self._first_place(seen)), words=FIRST)
        self._decide(Laid(path, with_identity(first, seen)), f"picture {path.name}")
        self._tabs.setCurrentWidget(self.page)

    def _first_place(self, seen: Seen) -> Any:
        """Over the middle of the map, in its own scale or as wide as the map."""
        from ..core.pictures.alignment import ByHand

        fmap, (rows, cols) = self._session.map, _shape(seen)
        (x, wide), (y, high) = _span(fmap.x), _span(fmap.y)
        scale = seen.picture.pixel_size if fmap.has_scale else None
        return ByHand(x, y, 0.0, scale or max(wide / cols, high / rows) or 1.0)

    def _decide(self, laid: Laid | None, words: str, merge: str = "") -> None:
        self._session.decide(replace(self._session.work, picture=laid), words, merge)

    def _forget(self) -> None:
        """Another map, or none."""
        self._session.background.cancel("picture")
        self._reading = self._fetching = None
        self.seen.clear()
        self.refresh()

    # -- what is shown --------------------------------------------------------------------------

    @property
    def laid(self) -> Laid | None:
        """The picture that is there, and how it lies."""
        return self._session.work.picture

    def refresh(self, *_: object) -> None:
        """See to it that what is shown is what was decided."""
        laid = self.laid
        if laid == self._shown:
            return
        if laid is not None and laid.path not in self.seen:
            self._fetch(laid.path)
            return
        before, self._shown = self._shown, laid
        if laid is None:
            self._hide()
            return
        seen = self.seen[laid.path]
        if before is None or before.path != laid.path:
            self._begin(seen)
        self._show_on_map()
        self._show_alignment(laid, seen)
        self._show_landmarks(laid)
        self._want_comparison()

    def _fetch(self, path: Path) -> None:
        """Read a picture that was laid in an earlier session; once, also if it can't be read."""
        if self._fetching is None or self._fetching[1] != path:
            self._fetching = (self._session.submit(ReadPicture(path, self._session.map)), path)

    def _begin(self, seen: Seen) -> None:
        picture = seen.picture
        scale = picture.pixel_size if self._session.map.has_scale else None
        self.view.show_picture(seen.drawn, picture.name, scale, seen.block)
        self.panel.show_look(self._look, self._opacity)
        self.panel.correlation.say("")
        self._show_channels()
        self._forget_comparison()
        if self._tabs.indexOf(self.page) < 0:
            self._tabs.addTab(self.page, "Picture")

    def _hide(self) -> None:
        self._set_placing(False)
        self._session.background.cancel(AlignPicture.lane, ComparePicture.lane)
        self._aligning = None
        at = self._tabs.indexOf(self.page)
        if at >= 0:
            self._tabs.removeTab(at)
            self.page.hide()
        self.view.show_picture(None)
        self._map.layers.set_picture(None)
        self._map.layers.show_landmarks(())
        self._forget_comparison()

    def _show_on_map(self) -> None:
        """The picture over the map; it is sent anew only when it is another, or was moved."""
        laid, layers = self.laid, self._map.layers
        if laid is None or self._look == "beside":
            layers.set_picture(None)
            return
        seen = self.seen[laid.path]
        layers.set_picture(seen.drawn, transform_of(laid.alignment, seen.block), self._opacity)
        layers.set_split(self._look == "split")

    def _show_alignment(self, laid: Laid, seen: Seen) -> None:
        from ..core.pictures.alignment import hand_of

        pitch = float(np.ptp(self._session.map.x)) / max(self._session.map.x.size - 1, 1)
        self.panel.words.setText(" ".join((laid.alignment.words, seen.picture.note)).strip())
        self.panel.hand.show_hand(hand_of(laid.alignment, _shape(seen)), self._unit, pitch or 1.0)

    @property
    def _unit(self) -> str:
        return "nm" if self._session.map.has_scale else "pixels"

    def _show_channels(self) -> None:
        session = self._session
        there = session.finished and session.map is not None
        names = {}
        if there:
            names = {name: channel.title for name, channel in asked_for(session.settings).items()
                     if np.isfinite(session.analysis.channel(name)).any()}  # fmt: skip
        self.panel.correlation.set_channels(names)

    def _show_as(self, name: str) -> None:
        self._look = name
        self.panel.show_look(name, self._opacity)
        self._show_on_map()

    def _show_opacity(self, opacity: float) -> None:
        self._opacity = opacity
        self._map.layers.set_picture_opacity(opacity)

    # -- by hand --------------------------------------------------------------------------------

    def _place_by_hand(self, hand: Any, name: str) -> None:
        from ..core.pictures.alignment import by_hand

        laid = self.laid
        if laid is None:
            return
        seen = self.seen[laid.path]
        try:
            made = with_identity(by_hand(_shape(seen), hand), seen)
        except InputError as error:
            self._session.failed.emit(str(error))
            return
        merge = "" if name == "mirrored" else f"picture {name}"
        self._decide(replace(laid, alignment=made), ACTS[name], merge)

    # -- landmarks ------------------------------------------------------------------------------

    def _pairs(self) -> tuple[tuple[float, float, float, float], ...]:
        return self.laid.pairs if self.laid is not None else ()

    def _set_placing(self, on: bool) -> None:
        """Clicks set landmarks, or do what they did before."""
        self._pending = None
        tools = self._map.tools
        if on:
            tools.choose("landmark")
        elif tools.tool == "landmark":
            tools.choose("")
        self.panel.landmarks.place.setChecked(on)
        self.view.set_placing(on)
        self._hint()
        if self._shown is not None:
            self._mark_landmarks(self._shown)

    def _hint(self, words: str = "") -> None:
        if not words and self.panel.landmarks.place.isChecked():
            words = HINTS[self._pending is not None]
        self.panel.landmarks.say(words)

    def _placed_on_picture(self, column: float, row: float) -> None:
        self._pending = (column, row)
        self._hint()
        if self._shown is not None:
            self._mark_landmarks(self._shown)

    def _placed_on_map(self, x: float, y: float) -> None:
        if self.laid is None or not self.panel.landmarks.place.isChecked():
            return
        if self._pending is None:
            self._hint("First click the place on the picture.")
            return
        pair, self._pending = (*self._pending, x, y), None
        self._use_pairs((*self._pairs(), pair), f"landmark {len(self._pairs()) + 1}")
        self._hint()

    def _remove_pair(self, number: int) -> None:
        pairs = self._pairs()
        self._use_pairs(pairs[:number] + pairs[number + 1 :], f"removed landmark {number + 1}")

    def _use_pairs(self, pairs: tuple, words: str, kind: str = "") -> None:
        """Have other landmarks, and align by them as soon as they fix an alignment."""
        laid = self.laid
        if laid is None:
            return
        wanted = replace(laid, pairs=pairs, kind=kind or laid.kind)
        found = self._found(wanted)
        if found is not None and not isinstance(found, str):
            made = with_identity(found.alignment, self.seen[laid.path])
            wanted = replace(wanted, alignment=made)
        self._decide(wanted, words)

    def _found(self, laid: Laid) -> Any:
        """Core's `Landmarks` of the pairs; None with too few of them, or why not in words."""
        from ..core.pictures.alignment import LEAST_PAIRS, hand_of, landmarks

        if len(laid.pairs) < LEAST_PAIRS[laid.kind]:
            return None
        points = np.array(laid.pairs)
        hand = hand_of(laid.alignment, _shape(self.seen[laid.path]))
        try:
            return landmarks(points[:, :2], points[:, 2:], laid.kind, scale=hand.scale,
                             mirrored=hand.mirrored)  # fmt: skip
        except InputError as error:
            return str(error)

    def _show_landmarks(self, laid: Laid) -> None:
        from ..core.pictures.alignment import LEAST_PAIRS

        found, wrong, words = self._found(laid), None, ""
        missed: Any = ()
        if laid.pairs:
            points = np.array(laid.pairs)
            missed = np.hypot(*(laid.alignment.to_map(points[:, :2]) - points[:, 2:]).T)
        if isinstance(found, str):
            words = found
        elif found is None:
            more = LEAST_PAIRS[laid.kind] - len(laid.pairs)
            words = NEED.format(more, "pair" if more == 1 else "pairs")
        else:
            wrong, words = found.wrong, found.alignment.words
        self.panel.landmarks.show_pairs(laid.pairs, missed, self._unit, words, wrong, laid.kind)
        self._mark_landmarks(laid)

    def _mark_landmarks(self, laid: Laid) -> None:
        """The numbers on the picture and, while its tab is in front, on the map."""
        own = [pair[:2] for pair in laid.pairs]
        self.view.show_landmarks(own + ([self._pending] if self._pending is not None else []))
        front = self._tabs.currentWidget() is self.page
        self._map.layers.show_landmarks([pair[2:] for pair in laid.pairs] if front else ())

    # -- correlation ----------------------------------------------------------------------------

    def _align(self, channel: str, mirrored: bool) -> None:
        from ..core.pictures.alignment import hand_of

        session, laid = self._session, self.laid
        if laid is None or not session.finished:
            return
        seen = self.seen[laid.path]
        analysis, fmap = session.analysis, session.map
        field = np.where(analysis.trusted, analysis.channel(channel), np.nan)
        size = seen.picture.pixel_size if fmap.has_scale else None
        size = size or hand_of(laid.alignment, _shape(seen)).scale
        request = AlignPicture(laid, seen.picture, field, fmap.x, fmap.y, size, mirrored)
        self._aligning = session.submit(request)
        self.panel.correlation.say(f"Looking for the place by {CHANNELS[channel].label.lower()}…")
        self.panel.correlation.show_running(True)

    def _show_progress(self, words: str, done: int, total: int) -> None:
        if self._aligning is not None and words.startswith(AlignPicture.words):
            self.panel.correlation.show_running(True, done, total)

    def _aligned(self, answer: Answer) -> None:
        from ..core.pictures.correlating import is_aligned

        self._aligning = None
        page, found, laid = self.panel.correlation, answer.value, self.laid
        page.show_running(False)
        if answer.error is not None:
            page.say("Stopped." if isinstance(answer.error, Cancelled) else str(answer.error))
        elif isinstance(found, Refused):
            page.say(found.words)
            if found.fault is not None:
                self._session.faulted.emit(found.fault)
        else:
            page.say(found.words)
            same = laid is not None and laid.path == answer.request.laid.path
            if same and is_aligned(found):
                made = with_identity(found, self.seen[laid.path])
                self._decide(replace(laid, alignment=made), "alignment by correlation")

    # -- comparing ------------------------------------------------------------------------------

    def _in_front(self) -> None:
        """Another tab or page is in front."""
        comparing = self._comparing
        self._components.want("picture", comparing)
        if self._shown is not None:
            self._mark_landmarks(self._shown)
        off = self._tabs.currentWidget() is not self.page or self.panel.page != "landmarks"
        if off and self.panel.landmarks.place.isChecked():
            self._set_placing(False)
        self._want_comparison()

    @property
    def _comparing(self) -> bool:
        front = self._tabs.currentWidget() is self.page and self._shown is not None
        return front and self.panel.page == "compare"

    def _labels(self) -> Any:
        made = self._components.made
        same = made is not None and made.composition.maps.source is self._session.analysis
        return made.composition.labels if same and made.composition.count > 1 else None

    def _key(self) -> Hashable:
        laid, session = self.laid, self._session
        made = self._components.made
        shown = (laid.path, laid.alignment) if laid is not None else None
        return shown, session.finished, id(session.analysis), session.left_out, id(made)

    def _want_comparison(self, *_: object) -> None:
        if not self._comparing or self._key() == self._compared:
            return
        if not self._session.finished:
            self._compared, self.comparison = None, None
            self.panel.compare.show_reason(NOT_YET)
        else:
            self.panel.compare.show_waiting()
            self._timer.start()

    def _compare(self) -> None:
        session, laid = self._session, self.laid
        key = self._key()
        waits = self._asked is not None and self._asked[1] == key
        if laid is None or not session.finished or key == self._compared or waits:
            return
        mask = session.left_out.mask(session.map.shape)
        request = ComparePicture(self.seen[laid.path].picture, laid.alignment, session.analysis,
                                 mask, self._labels())  # fmt: skip
        self._asked = (session.submit(request), key)

    def _took_comparison(self, answer: Answer) -> None:
        assert self._asked is not None
        self._compared, self._asked = self._asked[1], None
        self.comparison = None
        if answer.error is not None:
            self.panel.compare.show_reason(
                "Stopped." if isinstance(answer.error, Cancelled) else str(answer.error)
            )
        elif isinstance(answer.value, Refused):
            self.panel.compare.show_reason(answer.value.words)
            if answer.value.fault is not None:
                self._session.faulted.emit(answer.value.fault)
        else:
            self.comparison = answer.value
            self.panel.compare.show_comparison(answer.value)
        self._want_comparison()

    def _forget_comparison(self) -> None:
        self.comparison, self._compared, self._asked = None, None, None
        self._timer.stop()
        self.panel.compare.show_reason("")

    def comparison_text(self) -> str:
        """The comparison as comma-separated values; empty if there is none."""
        if self.comparison is None or self.laid is None:
            return ""
        from ..core.pictures.exports import comparison_csv

        made = self._components.made
        names = made.composition.names if made is not None else ()
        return comparison_csv(self.comparison, self.laid.alignment, names)

    # -- answers --------------------------------------------------------------------------------

    def _take(self, answer: Answer) -> None:
        request, number = answer.request, answer.generation
        fetched = self._fetching is not None and number == self._fetching[0]
        if isinstance(request, ReadPicture) and fetched:
            if answer.error is None and request.map is self._session.map:
                self.seen[request.path] = answer.value
                self.refresh()
        elif isinstance(request, ReadPicture) and self._reading is not None:
            if number == self._reading[0]:
                path, self._reading = self._reading[1], None
                if answer.error is None and request.map is self._session.map:
                    self._read(answer.value, path)
        elif isinstance(request, AlignPicture) and number == self._aligning:
            self._aligned(answer)
        elif isinstance(request, ComparePicture) and self._asked and number == self._asked[0]:
            self._took_comparison(answer)


def _shape(seen: Seen) -> tuple[int, int]:
    rows, cols = seen.picture.values.shape
    return int(rows), int(cols)


def _span(axis: np.ndarray) -> tuple[float, float]:
    """Middle and length of an axis, pixels' own widths included."""
    n = max(axis.size - 1, 1)
    length = abs(float(axis[-1] - axis[0])) * (n + 1) / n
    return (float(axis[0]) + float(axis[-1])) / 2.0, length or 1.0


def transform_of(alignment: Any, block: int = 1) -> QTransform:
    """From pixel edges of a picture that was thinned by `block` to x, y of the map."""
    m = alignment.array
    back = QTransform(m[0, 0], m[1, 0], m[0, 1], m[1, 1], m[0, 2], m[1, 2])
    return QTransform.fromScale(block, block) * QTransform.fromTranslate(-0.5, -0.5) * back
