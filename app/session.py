"""The single owner of map, settings, history, selection and results.

Everything the person does becomes a call here; what follows from it is announced by signals, and
nothing else writes state. The picked curve is explained at once, on this thread; the whole map
follows from the worker, coarse to fine.
"""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

from PySide6.QtCore import QObject, Signal

from ..core.components.rule import Rule
from ..core.decisions import CORRECTED, Decision, Pixels, Review
from ..core.errors import Cancelled, InputError, SettingsError, SourceError
from ..core.settings import Settings
from .background import Background
from .deciding import Deciding, asked_of
from .faults import fault_of
from .held import MOST_OVERLAID, Reference
from .history import History
from .recompute import Answer
from .requests import Analyse, Kept, Opened, OpenMap, Request
from .work import Work

FIRST_CHANNEL = "height"
OF_ONE_MAP = ("calibration.spring_constant", "calibration.deflection_sensitivity", "tip.radius",
              "tip.half_angle")  # fmt: skip
"""Constants of one measurement: they go back to "as recorded" when another map is opened."""


class Session(Deciding, QObject):
    """See the module. Signals tell that something changed; ask the properties for what it is.

    Signals
    -------
    map_changed, settings_changed, selection_changed, channel_changed, analysis_changed
    report_changed(fresh) : the picked curve's report; `fresh` when it is another map's
    rule_changed, places_changed, sheets_changed, answers_changed, review_changed : parts of the
        `Work` beside the settings
    correcting_changed : whether changed settings hold for single pixels, or for which
    left_out_changed : of the review, the pixels that were left out
    group_changed : other pixels are gathered, or none
    reference_changed : another result is held as reference, or none
    overlaid_changed : other pixels are picked for the overlay
    history_changed : undo, redo or the changed mark
    busy_changed(words, done, total) : words are empty when nothing is being done
    source_wanted(OpenMap, sentence) : the map of a saved analysis is not there, or another one
    failed(sentence) : a mistake that the person can mend
    faulted(Fault) : a mistake of ours
    noted(sentence) : something worth knowing, that stops nothing
    answered(Answer) : of the worker, for others, such as saved files
    ended : the session is closed
    """

    map_changed = Signal()
    settings_changed = Signal()
    selection_changed = Signal()
    channel_changed = Signal()
    analysis_changed = Signal()
    report_changed = Signal(bool)
    rule_changed = Signal()
    places_changed = Signal()
    sheets_changed = Signal()
    answers_changed = Signal()
    review_changed = Signal()
    correcting_changed = Signal()
    left_out_changed = Signal()
    group_changed = Signal()
    reference_changed = Signal()
    overlaid_changed = Signal()
    history_changed = Signal()
    busy_changed = Signal(str, int, int)
    source_wanted = Signal(object, str)
    failed = Signal(str)
    faulted = Signal(object)
    noted = Signal(str)
    answered = Signal(object)
    ended = Signal()

    def __init__(self, parent: QObject | None = None, background: Background | None = None) -> None:
        super().__init__(parent)
        self.background = background or Background(self)
        self.background.answered.connect(self._take)
        self.background.busy_changed.connect(self.busy_changed)
        self.background.ready.connect(self._kind_ready)
        self._generation = 0
        self.who = ""  # the name that decisions carry; empty unless the person gave one
        self._start_history(Work())
        self._forget_map()

    def _forget_map(self) -> None:
        self.map: Any = None
        self._kind = ""
        self._selection: tuple[int, int] | None = None
        self._channel = FIRST_CHANNEL
        self._analysis: Any = None
        self._whole: Any = None  # the newest complete analysis
        self._asked: tuple[Settings, Any] | None = None  # settings, corrections
        self._explainable = False
        self._report: Any = None
        self._note = ""
        self._limits: dict[str, Any] = {}
        self._group: Any = None
        self._reference: Reference | None = None
        self._overlaid: tuple[tuple[int, int], ...] = ()
        self._correcting: tuple[int, int] | None = None
        self._shown: tuple[Any, Any, Any] = (None, None, None)  # analysis, review, both
        self._left_out: tuple[Any, Pixels] = (None, Pixels())
        self.axes: tuple[str, str] | None = None  # of the curve view, as a file wants them

    def _start_history(self, work: Work, kept: Kept | None = None) -> None:
        self._history: History[Work] = History(work)
        recovered = kept is not None and kept.journal is not None
        self._kept: Work | None = None if recovered else work  # what is in a file of the person's
        self.begun: Kept | None = kept
        self.saved_as = str(kept.loaded.path) if kept is not None and kept.loaded else ""
        if recovered:
            self.saved_as = kept.journal.saved  # type: ignore[union-attr]

    # -- what is --------------------------------------------------------------------------------

    @property
    def settings(self) -> Settings:
        """The settings that are displayed: those of the drag while a hand is dragging."""
        return self._history.shown.settings

    @property
    def work(self) -> Work:
        """All that was decided about the map, as it is displayed."""
        return self._history.shown

    @property
    def rule(self) -> Rule:
        """How components are made."""
        return self._history.shown.rule

    @property
    def places(self) -> Any:
        """Regions and profiles on the map; None if there are none."""
        return self._history.shown.places

    @property
    def review(self) -> Review:
        """What was decided about single pixels."""
        return self._history.shown.review

    @property
    def left_out(self) -> Pixels:
        """Pixels left out by hand."""
        if self._left_out[0] is not self.review:
            self._left_out = self.review, self.review.left_out
        return self._left_out[1]

    @property
    def group(self) -> Any:
        """Pixels that are gathered to be looked at, bool (rows, cols); None if there are none."""
        return self._group

    @property
    def reference(self) -> Reference | None:
        """The result that is held to compare with; None if there is none."""
        return self._reference

    @property
    def overlaid(self) -> tuple[tuple[int, int], ...]:
        """Row and column of the pixels picked for the overlay, in the order of picking."""
        return self._overlaid

    @property
    def selection(self) -> tuple[int, int] | None:
        """Row and column of the picked pixel."""
        return self._selection

    @property
    def channel(self) -> str:
        return self._channel

    @property
    def analysis(self) -> Any:
        """The newest analysis, coarse while the map is being refined; None before the first. What
        was decided about single pixels is in it."""
        known, review, shown = self._shown
        if known is not self._analysis or review is not self.review:
            shown = self._analysis
            if shown is not None and shown.review != self.review:
                shown = shown.with_review(self.review)  # corrections follow from the worker
            self._shown = self._analysis, self.review, shown
        return shown

    @property
    def worked_out(self) -> Any:
        """The newest complete analysis as the worker gave it: its numbers and doubts do not depend
        on which pixels are kept or left out."""
        return self._whole

    @property
    def report(self) -> Any:
        """`CurveReport` of the picked pixel under the displayed settings; None if there is none,
        and `note` then says why."""
        return self._report

    @property
    def note(self) -> str:
        return self._note

    @property
    def generation(self) -> int:
        """Number of the newest request for an analysis."""
        return self._generation

    @property
    def undo_words(self) -> str:
        return self._history.undo_words

    @property
    def redo_words(self) -> str:
        return self._history.redo_words

    @property
    def last_act(self) -> tuple[str, str]:
        """What was done last: "act", "undo" or "redo", and its words."""
        return self._history.last

    @property
    def acts(self) -> list[dict[str, Any]]:
        """The whole history as rows with time and action, what came before the opening first."""
        before = list(self.begun.acts) if self.begun is not None else []
        return [*before, *({"time": time, "action": words} for time, words in self._history.acts)]

    @property
    def view(self) -> dict[str, Any]:
        """What is looked at, as plain values for a file."""
        limits = {name: list(map(float, pair)) for name, pair in self._limits.items()
                  if pair is not None and None not in pair}  # fmt: skip
        seen = {"channel": self._channel, "pixel": self._selection, "limits": limits}
        return {"palpate_view": 1, **seen, **({"axes": self.axes} if self.axes else {})}

    @property
    def dragging(self) -> bool:
        return self._history.dragging

    @property
    def changed(self) -> bool:
        """Whether anything was decided since the map was opened or the result saved."""
        return self.map is not None and self._history.current != self._kept

    @property
    def finished(self) -> bool:
        """Whether the analysis is complete and belongs to the settings in force."""
        a = self._analysis
        work = self._history.current
        return (a is not None and a.complete and a.settings == work.settings
                and a.review.corrections == work.review.corrections)  # fmt: skip

    @property
    def prepared(self) -> bool:
        """Whether the present map can be analysed yet; the first start has to compile."""
        return self.map is not None and self.background.is_ready(self._kind)

    def settings_at(self, row: int, col: int) -> Settings:
        """The settings that a pixel is analysed under: the map's, or those of its correction."""
        decision = self.decision_at(row, col)
        try:
            return decision.settings(self.settings) if decision is not None else self.settings
        except SettingsError:  # it is told with the map's remarks
            return self.settings

    def decision_at(self, row: int, col: int) -> Decision | None:
        """What was decided about a pixel; None for nothing."""
        return self.review.at(self.map.shape, row, col) if self.map is not None else None

    def limits(self, channel: str) -> Any:
        """The colour limits that the person set for a channel, or None for the robust ones."""
        return self._limits.get(channel)

    # -- maps -----------------------------------------------------------------------------------

    def open(self, path: str | Path, **how: Any) -> None:
        """Open a map, or a saved analysis, in the background; the present one stays until the new
        one is there. `how` is as in `OpenMap`."""
        self.background.cancel("analysis", "peek")
        self.background.submit(OpenMap(Path(path), **how))

    def close_map(self) -> None:
        self.background.cancel("analysis", "open")
        if self.map is None:
            return
        old, before = self.map, self._history.current
        self._forget_map()
        self._start_history(Work(before.settings, before.rule.finding))
        self._announce_map()
        old.close()

    def use_map(self, opened: Opened) -> None:
        """Make an opened map the present one."""
        before, old = self._history.current, self.map
        self.background.cancel("analysis")
        self._forget_map()
        self.map, self._kind = opened.map, opened.kind
        settings = before.settings.with_values(dict.fromkeys(OF_ONE_MAP))
        kept = opened.kept
        work = kept.work if kept is not None else Work(settings, before.rule.finding)
        self._start_history(work, kept)  # names of components are of that map
        self._selection = opened.start
        if kept is not None:
            self._take_view(kept.view)
        self._renew_report()
        self._announce_map()
        if old is not None:
            old.close()
        for note in kept.notes if kept is not None else ():
            self.noted.emit(note)
        if kept is None and settings != before.settings:
            self.noted.emit("The constants typed for the last map are back to “as recorded”.")
        self.background.prepare(opened.kind, opened.compiled)
        if self._asked is None:
            self._ask()

    def _take_view(self, view: dict[str, Any]) -> None:
        """Look at what a file wants to be looked at, as far as it is there."""
        self._channel = view.get("channel", self._channel)
        self._limits.update(view.get("limits", {}))
        self.axes = view.get("axes")
        row, col = view.get("pixel", (-1, -1))
        if 0 <= row < self.map.shape[0] and 0 <= col < self.map.shape[1]:
            self._selection = (row, col)

    def _announce_map(self) -> None:
        self.map_changed.emit()
        self.settings_changed.emit()
        self.rule_changed.emit()
        self.places_changed.emit()
        self.sheets_changed.emit()
        self.answers_changed.emit()
        self.review_changed.emit()
        self.correcting_changed.emit()
        self.left_out_changed.emit()
        self.group_changed.emit()
        self.reference_changed.emit()
        self.overlaid_changed.emit()
        self.history_changed.emit()
        self.channel_changed.emit()
        self.analysis_changed.emit()
        self.selection_changed.emit()
        self.report_changed.emit(True)

    # -- looking --------------------------------------------------------------------------------

    def select(self, row: int, col: int) -> None:
        """Pick a pixel; outside the map nothing happens."""
        if self.map is None:
            return
        (rows, cols), row, col = self.map.shape, int(row), int(col)
        if not (0 <= row < rows and 0 <= col < cols) or (row, col) == self._selection:
            return
        was, self._selection = self.correcting, (row, col)
        decision = self.decision_at(row, col)
        corrected_before = decision is not None and decision.kind == CORRECTED
        self._correcting = self._selection if corrected_before else None
        self._renew_report()
        if was or self.correcting:
            self.correcting_changed.emit()
        self.selection_changed.emit()
        self.report_changed.emit(False)

    def move(self, drow: int, dcol: int) -> None:
        """Walk from the picked pixel; the edge of the map stops the walk."""
        if self.map is None or self._selection is None:
            return
        (row, col), (rows, cols) = self._selection, self.map.shape
        self.select(min(max(row + drow, 0), rows - 1), min(max(col + dcol, 0), cols - 1))

    def gather(self, mask: Any) -> None:
        """Gather pixels to look at them together, bool (rows, cols); None or none lets them go."""
        if mask is not None and not mask.any():
            mask = None
        if mask is None and self._group is None:
            return
        self._group = mask
        self.group_changed.emit()

    def hold_reference(self, labels: Any = None) -> None:
        """Hold the present result to compare others with it, in place of the one before; `labels`
        are the components at present, if there are any."""
        if not self.finished:
            self.failed.emit("A result can be held as reference when the map has been analysed.")
            return
        self._reference = Reference(self.analysis, f"{datetime.now():%H:%M:%S}", labels)
        self.reference_changed.emit()

    def drop_reference(self) -> None:
        """Let the reference go."""
        if self._reference is not None:
            self._reference = None
            self.reference_changed.emit()

    def add_overlaid(self, row: int, col: int) -> None:
        """Pick one more pixel for the overlay; one without a curve, or too many, are told."""
        if self.map is None or (row, col) in self._overlaid:
            return
        if self.map.curve_at(row, col) < 0:
            self.noted.emit(f"There is no curve at row {row}, column {col}.")
        elif len(self._overlaid) >= MOST_OVERLAID:
            self.noted.emit(f"{MOST_OVERLAID} curves are laid over each other already: take one "
                            "away, or gather pixels to see their median.")  # fmt: skip
        else:
            self._overlaid = (*self._overlaid, (row, col))
            self.overlaid_changed.emit()

    def remove_overlaid(self, row: int, col: int) -> None:
        """Take a pixel out of the overlay."""
        if (row, col) in self._overlaid:
            self._overlaid = tuple(one for one in self._overlaid if one != (row, col))
            self.overlaid_changed.emit()

    def toggle_overlaid(self, row: int, col: int) -> None:
        """Pick a pixel for the overlay, or take it out if it is there."""
        there = (row, col) in self._overlaid
        (self.remove_overlaid if there else self.add_overlaid)(row, col)

    def clear_overlaid(self) -> None:
        """Take all pixels out of the overlay."""
        if self._overlaid:
            self._overlaid = ()
            self.overlaid_changed.emit()

    def choose_channel(self, name: str) -> None:
        if name != self._channel:
            self._channel = name
            self.channel_changed.emit()

    def set_axes(self, x: str, y: str) -> None:
        """Keep the axes of the curve view, to be saved with what is looked at."""
        self.axes = (x, y)

    def set_limits(self, channel: str, limits: Any) -> None:
        """Keep the colour limits (low, high) of a channel; None for the robust ones."""
        self._limits[channel] = limits

    def _renew_report(self) -> None:
        self._report, self._note = None, ""
        if self.map is None or self._selection is None:
            self._note = "Pick a pixel on the map." if self.map is not None else ""
        elif self.map.curve_at(*self._selection) < 0:
            row, col = self._selection
            self._note = f"There is no curve at row {row}, column {col}."
        elif not self._explainable:
            self._note = "The calculation is being prepared; the curve follows."
        else:
            self._explain()

    def _explain(self) -> None:
        from ..core.explain import explain

        assert self._selection is not None
        try:
            self._report = explain(self.map, self.settings_at(*self._selection),
                                   *self._selection, self._whole)  # fmt: skip
        except InputError as error:
            self._note = str(error)

    # -- the background -------------------------------------------------------------------------

    def recompute(self) -> None:
        """Analyse again what is not finished."""
        if not self.finished:
            self._ask()

    def submit(self, request: Request, gentle: bool = False) -> int:
        """Hand a request of another kind to the worker; its answer comes by `answered`."""
        return self.background.submit(request, gentle)

    def _asked_for(self, work: Work) -> bool:
        """Whether the worker is at these very settings, or has just done them."""
        working = self.background.working_on("analysis") and self._asked == asked_of(work)
        return working or self.finished

    def _ask(self, gentle: bool = False) -> None:
        if not self.prepared:
            return
        pixel = None if self._explainable else self._selection
        self._asked = asked_of(self.work)
        request = Analyse(self.map, self.settings, self._whole, pixel, self.review)
        self._generation = self.background.submit(request, gentle)

    def _kind_ready(self, kind: str) -> None:
        if self.map is not None and kind == self._kind and self._asked is None:
            self._ask()

    def _take(self, answer: Answer) -> None:
        request = answer.request
        if answer.error is not None:
            self._take_error(answer)
        elif isinstance(request, OpenMap):
            self.use_map(answer.value)
        elif isinstance(request, Analyse) and request.map is self.map:
            self._take_analysis(answer)
        self.answered.emit(answer)

    def _take_analysis(self, answer: Answer) -> None:
        first, self._explainable = not self._explainable, True
        coarse = hasattr(answer.value, "complete")
        if coarse:
            self._analysis = answer.value
            self._whole = answer.value if answer.final else self._whole
            self.analysis_changed.emit()
        # the doubts that compare this curve with the others need the whole map
        if first or (answer.final and answer.value.settings == self.settings):
            self._renew_report()
            self.report_changed.emit(first)

    def _take_error(self, answer: Answer) -> None:
        error, request = answer.error, answer.request
        if isinstance(error, SourceError) and isinstance(request, OpenMap):
            self.source_wanted.emit(request, str(error))
        elif isinstance(error, InputError):
            self.failed.emit(str(error))
        elif not isinstance(error, Cancelled):
            self.faulted.emit(fault_of(error, request.words))
        if isinstance(request, OpenMap) and not self.finished:
            self._ask()

    def close(self) -> bool:
        """Stop the background for good; False if the worker did not stop in time."""
        self.ended.emit()
        stopped = self.background.close()
        if self.map is not None:
            self.map.close()
        return stopped
