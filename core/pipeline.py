"""The stage table, what depends on what, running a map, and `explain` for one pixel.

    baseline ─┬─ retract ──┐ (only if the fit takes the measured pull-off)
              ├─ fit ◄─────┘
              ├─ stiffness
              └─ viscous (only if a model is chosen; takes the pull-off as the fit does)

Each stage has a key made of all that its numbers depend on. A stage whose key is equal to the
previous analysis's is taken over; only the others run. A changed spring constant, tip or Poisson
ratio changes no key (unless the window is given by force): the kernels know lengths only.
"""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Hashable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Any

import numpy as np

from .analysis import Analysis
from .calibration import Constants, constants
from .columns import baseline as bl
from .columns import fit as ft
from .columns import law as cl
from .columns import retract as rt
from .columns import stiffness as st
from .columns import viscous as vs
from .errors import SettingsError
from .forcemap import Block, ForceMap
from .models import POWER, law_of, tables
from .progress import Progress
from .settings import CONTACTS, GIVEN, Settings
from .steps import loops
from .steps.clock import clock_of, timing
from .steps.contact import contact_loop
from .steps.fringes import fringe_period
from .steps.joint import IN_TIME, ONE_SLOPE, SEPARATE

Array = np.ndarray
CHUNK = 512
"""Curves handed to a worker at a time: a few ms of work, so that cancel is felt at once."""
COARSE = 8
"""A map is refined over pixels that are 8, 4, 2 and 1 apart."""
SMALL = 16384
"""A map of fewer curves is done before an eye sees the steps; it is not refined."""

Rows = dict[str, Array]


@dataclass(frozen=True)
class Request:
    """Settings and constants of one run.

    `period` is that of the fringes [nm], given or found; NaN if there are none. `map` is asked
    for the sampling rate. Made by `request_of`.
    """

    settings: Settings
    constants: Constants
    period: float = math.nan
    map: ForceMap | None = field(default=None, repr=False, compare=False)

    @property
    def scale(self) -> Array:
        return np.array(self.constants.scale)


def request_of(fmap: ForceMap, settings: Settings) -> Request:
    """What a run over this map under these settings needs to know beforehand."""
    return Request(settings, constants(fmap, settings), fringe_period(fmap, settings), fmap)


@dataclass(frozen=True)
class Stage:
    """One row of the stage table.

    Attributes
    ----------
    columns : width of the stage's table
    key : all that its numbers depend on
    run : (request, block, cuts, rows of all stages for these curves) fills its own rows
    asked : whether the stage runs at all; if not, its table has no columns
    """

    name: str
    columns: int
    key: Callable[[Request], Hashable]
    run: Callable[[Request, Block, Array, Rows], None]
    asked: Callable[[Settings], bool] = lambda settings: True

    def empty(self, curves: int, settings: Settings) -> Array:
        """A table of NaN for some curves."""
        return np.full((curves, self.columns if self.asked(settings) else 0), np.nan)


def _baseline_key(r: Request) -> Hashable:
    period = r.period if r.period > 0.0 else None  # a NaN would make the key differ from itself
    return r.settings.baseline, r.settings.doubts.spike, r.constants.scale, period


def joint_of(r: Request) -> Array:
    """What is fitted to both baselines together, as `steps.joint` takes it; zeros if nothing is."""
    b = r.settings.baseline
    fringes = {"leave": 1.0, "subtract": 2.0}[b.fringes] if r.period > 0.0 else 0.0
    modes = {"separate": SEPARATE, "drag": ONE_SLOPE, "drift": IN_TIME}
    return np.array([fringes, r.period if fringes else 0.0, float(modes[b.branches])])


def _run_baseline(r: Request, block: Block, cut: Array, rows: Rows) -> None:
    b = r.settings.baseline
    options = np.array([float(b.shape == "line"), b.extent / 100.0, b.threshold,
                        r.settings.doubts.spike])  # fmt: skip
    joint, clock = joint_of(r), np.empty((0, 3))
    if joint.any():
        assert r.map is not None, "a request that `request_of` made knows its map"
        clock = clock_of(r.map, block.curves)
    loops.baseline_loop(block.z, block.signal, block.start, cut, r.scale, options, joint, clock,
                        rows["baseline"])  # fmt: skip


def _retract_key(r: Request) -> Hashable:
    return _baseline_key(r), r.settings.adhesion, r.constants.lengths


def _run_retract(r: Request, block: Block, cut: Array, rows: Rows) -> None:
    if r.constants.lengths:
        loops.retract_loop(block.z, block.signal, block.start, cut, r.scale, rows["baseline"],
                           r.settings.adhesion.samples, rows["retract"])  # fmt: skip


def window_of(r: Request) -> tuple[int, float, float]:
    """The fit window as the kernel takes it: how it is given, and its ends in nm or as a share."""
    fit = r.settings.fit
    if fit.window == "fraction":
        return 0, fit.fraction_from / 100.0, fit.fraction_to / 100.0
    if fit.window == "force":
        k = r.constants.force_scale
        return 1, fit.force_from / k, fit.force_to / k
    return 2, fit.indentation_from, fit.indentation_to


def free_of(settings: Settings) -> tuple[int, ...]:
    """Which parameters of the law are free, as `columns.law` counts them."""
    fit = settings.fit
    free = [cl.LN_C] if fit.contact != "free" and fit.adhesion != "two_point" else [cl.LN_C, cl.Z0]
    fitted = fit.pull_off == "fitted" and fit.adhesion not in ("none", "two_point")
    if fitted or fit.adhesion == "two_point":
        free.append(cl.PULL)
    if fit.law == "free_exponent":
        free.append(cl.EXPONENT)
    return tuple(free)


def backwards(settings: Settings) -> bool:
    """Whether the law is fitted to the retract; two-point JKR always is."""
    return settings.fit.branch == "retract" or settings.fit.adhesion == "two_point"


def kernel_law(r: Request) -> tuple[Array, Array]:
    """The law as the kernels take it: its numbers (see `columns.law`) and its table."""
    fit, law = r.settings.fit, law_of(r.settings.fit.law)
    numbers = np.zeros(cl.NUMBERS)
    numbers[[cl.DISTANCE, cl.STEP, cl.UNIT, cl.DEEPEST]] = fit.distance, 1.0, 1.0, math.inf
    numbers[cl.EXPONENT_START] = law.exponent
    rows = POWER.rows
    if fit.adhesion in ("jkr", "two_point"):
        numbers[cl.KIND] = cl.JKR
    elif fit.adhesion == "maugis":
        numbers[cl.KIND] = cl.MAUGIS
        rows = tables.pull_off_rows()
        numbers[[cl.STEP, cl.TABLE_START]] = tables.STEP, tables.START
    elif len(r.constants.shape.table.rows):
        table = r.constants.shape.table
        rows = table.rows
        numbers[cl.STEP] = table.step
        numbers[cl.DEEPEST] = ((len(rows) - 1) * table.step) ** 2
    return numbers, rows


def _fit_key(r: Request) -> Hashable:
    fit = r.settings.fit
    held = _retract_key(r) if fit.adhesion != "none" else None
    by, low, high = window_of(r)
    known = low == low  # a NaN would make every key differ from itself
    window = (by, low, high) if known else (by, None, None)
    return (_baseline_key(r), held, law_of(fit.law).exponent, fit.adhesion, fit.distance,
            free_of(r.settings), _held_by(r), r.constants.shape.key, backwards(r.settings), window,
            r.constants.lengths)  # fmt: skip


def _held_by(r: Request) -> Hashable:
    fit = r.settings.fit
    return (GIVEN, fit.contact_at) if fit.contact == GIVEN else fit.contact


def _held_contact(r: Request, block: Block, cut: Array, base: Array, pull: Array) -> Array:
    """(n, 2) the contact point to hold and its variance; NaN where it is fitted.

    One that was set by hand is as uncertain as a hand on a screen: by one sampling step.
    """
    contact = np.full((cut.shape[0], 2), np.nan)
    fit = r.settings.fit
    if cl.Z0 in free_of(r.settings):
        return contact
    if fit.contact == GIVEN:
        step = base[:, bl.Z_RANGE] / np.maximum(base[:, bl.B_KEPT] - 1.0, 1.0)
        contact[:, 0], contact[:, 1] = fit.contact_at, step**2
        return contact
    contact_loop(block.z, block.signal, block.start, cut, r.scale, base,
                 np.ascontiguousarray(pull[:, :2]), backwards(r.settings),
                 law_of(fit.law).exponent, list(CONTACTS).index(fit.contact), contact)  # fmt: skip
    return contact


def pull_columns(adhesion: str) -> tuple[int, int]:
    """The pull-off that a law takes, and its variance.

    With a constant pull the lever lets go at full steepness, half a step beyond the lowest sample
    on average; JKR and its kin end in a minimum, where the lowest sample is the pull-off.
    """
    if adhesion == "constant":
        return rt.PULL_LET_GO, rt.VAR_LET_GO
    return rt.PULL, rt.VAR_PULL


def _run_fit(r: Request, block: Block, cut: Array, rows: Rows) -> None:
    fit = r.settings.fit
    by, low, high = window_of(r)
    if not r.constants.lengths or math.isnan(low):
        return
    if fit.adhesion == "two_point":
        by = 3
    pull = np.zeros((cut.shape[0], 3))
    if fit.adhesion != "none":
        pull[:] = rows["retract"][:, [*pull_columns(fit.adhesion), rt.SLOW_PULL]]
    contact = _held_contact(r, block, cut, rows["baseline"], pull)
    numbers, table = kernel_law(r)
    units = r.constants.shape.units_of(block.curves)
    loops.fit_loop(block.z, block.signal, block.start, cut, r.scale, rows["baseline"], pull,
                   contact, backwards(r.settings), numbers, table, units, by, low, high,
                   np.array(free_of(r.settings)), rows["fit"])  # fmt: skip


def _stiffness_key(r: Request) -> Hashable:
    return _baseline_key(r), r.settings.stiffness, r.constants.lengths


def _run_stiffness(r: Request, block: Block, cut: Array, rows: Rows) -> None:
    s = r.settings.stiffness
    if r.constants.lengths:
        loops.stiffness_loop(block.z, block.signal, block.start, cut, r.scale, rows["baseline"],
                             s.branch == "retract", s.share_from / 100.0, s.share_to / 100.0,
                             rows["stiffness"])  # fmt: skip


def _viscous_asked(settings: Settings) -> bool:
    return settings.viscous.model != "none"


def _viscous_key(r: Request) -> Hashable:
    if not _viscous_asked(r.settings):
        return None
    fit = r.settings.fit
    held = (_retract_key(r), fit.adhesion) if fit.adhesion != "none" else None
    by, low, _ = window_of(r)
    return (_baseline_key(r), held, r.settings.viscous, law_of(fit.law).exponent,
            r.constants.shape.key, by, low if low == low else None,
            r.constants.lengths)  # fmt: skip


def _run_viscous(r: Request, block: Block, cut: Array, rows: Rows) -> None:
    """The relaxing solid of the law's shape under a constant pull, whatever adhesion is chosen."""
    fit = r.settings.fit
    by, low, _ = window_of(r)
    if not _viscous_asked(r.settings) or not r.constants.lengths or math.isnan(low):
        return
    pull = np.zeros((cut.shape[0], 3))
    if fit.adhesion != "none":
        pull[:] = rows["retract"][:, [*pull_columns("constant"), rt.SLOW_PULL]]
    table, times = r.constants.shape.table, timing(r.map, block.curves)
    loops.viscous_loop(block.z, block.signal, block.start, cut, times, r.scale, rows["baseline"],
                       pull, vs.MODELS[r.settings.viscous.model], law_of(fit.law).exponent,
                       table.rows, table.step, r.constants.shape.units_of(block.curves), by, low,
                       rows["viscous"])  # fmt: skip


STAGES: dict[str, Stage] = {
    stage.name: stage
    for stage in (
        Stage("baseline", bl.COLUMNS, _baseline_key, _run_baseline),
        Stage("retract", rt.COLUMNS, _retract_key, _run_retract),
        Stage("fit", ft.COLUMNS, _fit_key, _run_fit),
        Stage("stiffness", st.COLUMNS, _stiffness_key, _run_stiffness),
        Stage("viscous", vs.COLUMNS, _viscous_key, _run_viscous, _viscous_asked),
    )
}


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")


def cuts(fmap: ForceMap, curves: Array) -> Array:
    """(n, 4) approach offset and samples, retract offset and samples of some curves."""
    return np.hstack([fmap.approach[curves], fmap.retract[curves]])


def run_rows(request: Request, fmap: ForceMap, block: Block, rows: Rows, stale: list[str]) -> None:
    """Run the stale stages over the curves of a block, filling their rows in place."""
    cut = cuts(fmap, block.curves)
    for name in stale:
        STAGES[name].run(request, block, cut, rows)


def levels(fmap: ForceMap) -> list[tuple[int, Array]]:
    """Curves in the order of a map that is refined: (step, curves) from coarse to fine."""
    if fmap.n_curves < SMALL:
        return [(1, np.arange(fmap.n_curves))]
    found, left = [], np.ones(fmap.n_curves, dtype=bool)
    step = COARSE
    while step >= 1:
        now = left & (fmap.pixel % step == 0).all(axis=1)
        found.append((step, np.flatnonzero(now)))
        left &= ~now
        step //= 2
    return found


def workers() -> int:
    """Threads that compute at a time: all cores but no more than eight."""
    return max(1, min(8, os.cpu_count() or 1))


class _Run:
    """One run over a map: tables that are being filled, and who is told about it."""

    def __init__(self, fmap: ForceMap, request: Request, previous: Analysis | None,
                 progress: Progress, partial: Callable[[Analysis], None] | None
                 ) -> None:  # fmt: skip
        self.map, self.request, self.progress, self.partial = fmap, request, progress, partial
        self.keys = {name: stage.key(request) for name, stage in STAGES.items()}
        self.tables: dict[str, Array] = {}
        self.stale: list[str] = []
        for name, stage in STAGES.items():
            kept = self._kept(name, previous)
            if kept is None:
                self.stale.append(name)
                kept = stage.empty(fmap.n_curves, request.settings)
            self.tables[name] = kept
        self.done = np.full(fmap.n_curves, not self.stale)
        self.started = _now()

    def _kept(self, name: str, previous: Analysis | None) -> Array | None:
        if previous is None or previous.map is not self.map or not previous.complete:
            return None
        return previous.stage_tables[name] if previous.keys[name] == self.keys[name] else None

    def snapshot(self, step: int, ended: str = "") -> Analysis:
        return Analysis(self.map, self.request.settings, self.request.constants,
                        dict(self.tables), self.keys, self.done.copy(), step, self.started,
                        ended, period=self.request.period)  # fmt: skip

    def chunk(self, block: Block) -> None:
        if self.progress.cancelled:
            return
        rows = {name: table[block.curves] for name, table in self.tables.items()}
        run_rows(self.request, self.map, block, rows, self.stale)
        for name in self.stale:
            self.tables[name][block.curves] = rows[name]
        self.done[block.curves] = True

    def _pieces(self, curves: Array) -> Iterator[Block]:
        for first in range(0, curves.size, CHUNK):
            yield self.map.read_block(curves[first : first + CHUNK])

    def over(self, pool: ThreadPoolExecutor, blocks: Iterator[Block]) -> None:
        """Compute blocks on all cores, telling the progress after each."""
        total = self.map.n_curves
        for _ in pool.map(self.chunk, blocks):
            self.progress.step(int(np.count_nonzero(self.done)), total, "Analysing")
        self.progress.check()

    def resident(self, pool: ThreadPoolExecutor) -> None:
        for step, curves in levels(self.map):
            self.over(pool, self._pieces(curves))
            if self.partial is not None and step > 1:
                self.partial(self.snapshot(step))

    def streamed(self, pool: ThreadPoolExecutor) -> None:
        """A map that does not fit in memory: row blocks through the same stages."""
        for block in self.map.blocks():
            pieces = (
                replace(block, curves=block.curves[i : i + CHUNK], start=block.start[i : i + CHUNK])
                for i in range(0, block.curves.size, CHUNK)
            )
            self.over(pool, pieces)
            if self.partial is not None:
                self.partial(self.snapshot(1))


def fits_in_memory(fmap: ForceMap) -> bool:
    """Whether the raw samples may be kept in memory: at most half of what the machine has."""
    try:
        size = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES")
    except (AttributeError, ValueError, OSError):  # no such call on Windows
        size = 8 * 1024**3
    return fmap.raw_bytes <= size // 2


def analyse(
    fmap: ForceMap,
    settings: Settings | None = None,
    *,
    previous: Analysis | None = None,
    progress: Progress | None = None,
    partial: Callable[[Analysis], None] | None = None,
) -> Analysis:
    """Analyse every curve of a map.

    Parameters
    ----------
    fmap : the map, from `open_map`
    settings : what to do; the defaults if None
    previous : an analysis of the same map; stages whose inputs are unchanged are taken over
    progress : told after each chunk; its ``cancel()`` stops the run
    partial : called, from this thread, with a coarse `Analysis` each time the map is refined

    Returns
    -------
    Analysis : complete. A curve that can't be analysed has NaN and a doubt; it raises nothing.

    Raises
    ------
    ReadError : the file is damaged or gone
    Cancelled : on request
    """
    settings = settings or Settings()
    progress = progress or Progress()
    check_for_map(settings)
    in_memory = fmap.resident or fits_in_memory(fmap)
    if in_memory:  # before the fringes are looked for, which reads curves from all over the map
        fmap.load(progress)
    run = _Run(fmap, request_of(fmap, settings), previous, progress, partial)
    if run.stale:
        with ThreadPoolExecutor(workers()) as pool:
            (run.resident if in_memory else run.streamed)(pool)
    for name in run.stale:
        run.tables[name].flags.writeable = False
    return run.snapshot(1, _now())


def check_for_map(settings: Settings) -> None:
    """Raise SettingsError on settings that can only hold for a single curve."""
    if settings.fit.contact == GIVEN:
        raise SettingsError("fit.contact", "given by hand holds for one pixel: its base position "
                            "means nothing on another. Correct single pixels.")  # fmt: skip


def some_curves(fmap: ForceMap, request: Request, curves: Array) -> tuple[Block, Rows]:
    """All stages over some curves: the same loops that `analyse` runs, with one row each."""
    block = fmap.read_block(curves)
    rows: dict[str, Any] = {name: stage.empty(curves.size, request.settings)
                            for name, stage in STAGES.items()}  # fmt: skip
    run_rows(request, fmap, block, rows, list(STAGES))
    return block, rows


def one_curve(fmap: ForceMap, settings: Settings, curve: int) -> tuple[Request, Block, Rows]:
    """As `some_curves`, for a single one."""
    request = request_of(fmap, settings)
    return request, *some_curves(fmap, request, np.array([curve]))
