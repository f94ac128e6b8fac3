"""The result of one analysis: small tables, and the maps that follow from them."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from .calibration import Constants
from .channels import CHANNELS, Channel, Tables, asked_for
from .columns import baseline as bl
from .decisions import Pixels, Review
from .doubts import DOUBTS, Case, raise_doubts, severe_mask
from .forcemap import ForceMap
from .neighbours import loneliness
from .settings import Settings

Array = np.ndarray


_OF_NO_REVIEW = ("tables", "walk", "case", "steepness", "lonely", "curve_doubts",
                 "curve_corrected")  # fmt: skip
"""Cached properties that are the same whatever is kept or left out."""


@dataclass(frozen=True, eq=False)
class Analysis:
    """What one map gave under one set of settings.

    Attributes
    ----------
    map, settings, constants : what went in
    stage_tables : stage -> (P, columns), read-only; rows not in `done` are NaN
    keys : stage -> what it depended on; equal keys mean equal tables
    done : (P,) bool, curves analysed so far
    step : pixels between analysed ones while a map is refined from coarse to fine; 1 at the end
    started, ended : ISO 8601 times
    pooled_walk : a slow noise to use instead of this analysis's own, as for one curve of a map
    period : of the optical fringes [nm], given or found; NaN if there are none
    review : what was decided about single pixels
    corrections : (curves (n,), their own analysis with n rows) for each correction of the review
        that has been worked out; made by `corrections.reviewed`
    """

    map: ForceMap
    settings: Settings
    constants: Constants
    stage_tables: Mapping[str, Array]
    keys: Mapping[str, Hashable]
    done: Array
    step: int = 1
    started: str = ""
    ended: str = ""
    pooled_walk: float | None = None
    period: float = math.nan
    review: Review = field(default_factory=Review)
    corrections: tuple[tuple[Array, Analysis], ...] = ()
    _cache: dict[str, tuple[Array, Array | None]] = field(default_factory=dict, repr=False)

    @property
    def complete(self) -> bool:
        return bool(self.done.all())

    @property
    def poisson_ratio(self) -> float:
        return self.constants.poisson_ratio

    @cached_property
    def tables(self) -> Tables:
        """All tables with the constants, as the channels and doubts read them."""
        t, c = self.stage_tables, self.constants
        return Tables(t["baseline"], t["retract"], t["fit"], t["stiffness"],
                      c.force_scale, c.factor, c.poisson_ratio, self.walk, c.tip_compliance,
                      c.radius, self.settings.fit.adhesion, t.get("viscous"))  # fmt: skip

    @cached_property
    def walk(self) -> float:
        """Slow noise of the map's deflection [nm²/nm], pooled over its curves; 0 if none is seen.

        The mean of both branches' figures, those beyond twenty times their median size cut down:
        one curve alone knows it badly, and a spoiled one may not set it for all.
        """
        if self.pooled_walk is not None:
            return self.pooled_walk
        found = self.stage_tables["baseline"][:, [bl.WALK_APPROACH, bl.WALK_RETRACT]]
        found = found[np.isfinite(found)]
        if not found.size:
            return 0.0
        limit = 20.0 * float(np.median(np.abs(found)))
        return max(float(np.mean(np.clip(found, -limit, limit))), 0.0)

    @property
    def remarks(self) -> list[str]:
        """Sentences about what was found in the whole map and no single curve tells."""
        b = self.settings.baseline
        found = f"Optical fringes with a period of {self.period:.4g} nm"
        if b.fringes == "subtract" and not self.period > 0.0:
            return ["No optical fringes were found in the baselines, so none were subtracted."]
        if b.period > 0.0 or not self.period > 0.0:
            return []
        if b.fringes == "subtract":
            return [f"{found} were found and subtracted."]
        return [f"{found} are in the baselines and were left there; their share of each number's ± "
                "is larger than it need be. The setting “Optical fringes” takes them off."]

    def per_curve(self, name: str) -> tuple[Array, Array | None]:
        """A channel and its local standard uncertainty, (P,) each in core units; NaN if missing."""
        if name not in self._cache:
            channel = CHANNELS[name]
            with np.errstate(all="ignore"):
                value = np.array(channel.value(self.tables), dtype=float)
                error = None
                if channel.variance is not None:
                    error = np.sqrt(channel.variance(self.tables))
            if not self.constants.lengths and name != "height":
                value[:] = np.nan
            value[~np.isfinite(value) | ~self.done] = np.nan
            for curves, own in self.corrections:
                there, spread = own.per_curve(name)
                value[curves] = there
                if error is not None and spread is not None:
                    error[curves] = spread
            value.flags.writeable = False
            if error is not None:
                error[~np.isfinite(value) | ~np.isfinite(error)] = np.nan
                error.flags.writeable = False
            self._cache[name] = (value, error)
        return self._cache[name]

    def _grid(self, values: Array, empty: float) -> Array:
        if self.map.in_order and self.map.n_curves == values.size:
            return values.reshape(self.map.shape)  # a view: maps are large, and there are many
        index = self.map.index_map
        out = np.where(index >= 0, values[np.maximum(index, 0)], empty)
        out.flags.writeable = False
        return out

    def channel(self, name: str) -> Array:
        """A channel as a map, (rows, cols) float64 in core units; NaN where missing."""
        return self._grid(self.per_curve(name)[0], np.nan)

    def errors(self, name: str) -> Array | None:
        """Local standard uncertainty of a channel as a map, (rows, cols) in core units.

        NaN where the value or its uncertainty is missing; None if the channel has none.

        Local terms only: noise, contact point, baseline and sampling of this curve. What is common
        to all pixels (spring constant, sensitivity, tip, Poisson ratio) is not in it.
        """
        error = self.per_curve(name)[1]
        return None if error is None else self._grid(error, np.nan)

    def preview(self, name: str) -> Array:
        """As `channel`, while pixels are still missing filled from the coarse ones around."""
        return filled(self.channel(name), self.step)

    def channels(self) -> list[tuple[Channel, Array, Array | None]]:
        """Every channel that the settings ask for, its map and the map of its local uncertainty."""
        asked = asked_for(self.settings)
        return [(c, self.channel(c.name), self.errors(c.name)) for c in asked.values()]

    @cached_property
    def case(self) -> Case:
        """What the doubts are judged by; the noise is compared with the map's median."""
        noise = self.tables.base[self.done, bl.B_NOISE]
        finite = noise[np.isfinite(noise)]
        median = float(np.median(finite)) if finite.size else math.nan
        fit, stiffness = self.settings.fit, self.settings.stiffness
        return Case(self.tables, self.settings.doubts, self.constants.set_force, median,
                    self.constants.lengths,
                    fit_back=fit.branch == "retract" or fit.adhesion == "two_point",
                    slope_back=stiffness.branch == "retract",
                    steepness=self.steepness, lonely=lambda: self.lonely)  # fmt: skip

    @cached_property
    def steepness(self) -> Array | None:
        """How steep the surface is at each curve, (P,) degrees; None without a scale or a map.

        From the heights of the contact points, since those at the peak hold the indentation and
        step at every soft domain. By the smaller of the two differences to the neighbours along
        each axis (0 if they differ in sign), so that one wrong height tilts no pixel beside it.
        """
        alone = self.done.size != self.map.n_curves  # one curve, as `explain` asks for
        if alone or not self.map.has_scale or min(self.map.shape) < 2:
            return None
        height = self.channel("contact_height")
        pitch = [abs(float(a[1] - a[0])) for a in (self.map.y, self.map.x)]
        steps = [_smaller_difference(height, axis) / pitch[axis] for axis in (0, 1)]
        index = self.map.index_map
        out = np.full(self.map.n_curves, np.nan)
        out[index[index >= 0]] = np.degrees(np.arctan(np.hypot(*steps)))[index >= 0]
        return out

    @cached_property
    def lonely(self) -> Array:
        """How far each curve's pixel is from its neighbours (P,), see `neighbours.loneliness`; NaN
        where these are not the curves of the map."""
        if self.tables.base.shape[0] != self.map.n_curves:
            return np.full(self.tables.base.shape[0], np.nan)
        maps, errors = [], []
        for name in ("reduced_modulus", "release_force"):
            value, error = self.channel(name), self.errors(name)
            with np.errstate(divide="ignore", invalid="ignore"):
                maps.append(np.log(np.where(value > 0.0, value, np.nan)))
                errors.append(np.zeros(value.shape) if error is None else error / value)
        return loneliness(maps, errors)[self.map.pixel[:, 0], self.map.pixel[:, 1]]

    def case_of(self, own: Analysis, curves: Array) -> Case:
        """What the doubts of some curves are judged by that have an analysis of their own (n rows):
        what only the map can tell is this map's."""
        steep = self.steepness
        return replace(own.case, median_noise=self.case.median_noise,
                       steepness=None if steep is None else steep[curves],
                       lonely=lambda: self.lonely[curves])  # fmt: skip

    @cached_property
    def curve_doubts(self) -> Array:
        """Doubts of each curve as bits, uint64 (P,); 0 where not analysed yet."""
        bits = raise_doubts(self.case)
        for curves, own in self.corrections:
            bits[curves] = raise_doubts(self.case_of(own, curves))
        bits[~self.done] = 0
        bits.flags.writeable = False
        return bits

    @property
    def doubts(self) -> Array:
        """Doubts as a map of bits, uint64 (rows, cols); 0 where there is no curve."""
        index = self.map.index_map
        return np.where(index >= 0, self.curve_doubts[np.maximum(index, 0)], np.uint64(0))

    @property
    def severe_mask(self) -> int:
        """The bits of all severe doubts."""
        return severe_mask()

    @property
    def severe(self) -> Array:
        """(rows, cols) bool: pixels whose numbers are not to be used: a severe doubt, and nobody
        decided to keep them all the same."""
        found = (self.doubts & np.uint64(self.severe_mask)) != 0
        return found & ~self.review.kept.mask(self.map.shape) if self.review else found

    @property
    def trusted(self) -> Array:
        """(rows, cols) bool: pixels that have a curve without a severe doubt (or kept in spite of
        it), and are not left out by hand."""
        good = (self.map.index_map >= 0) & ~self.severe
        return good if self.left_out is None else good & ~self.left_out

    @property
    def left_out(self) -> Array | None:
        """(rows, cols) bool: pixels left out by hand; None if there are none."""
        found = self.review.left_out
        return found.mask(self.map.shape) if found else None

    @cached_property
    def curve_left_out(self) -> Array:
        """(P,) bool: curves of pixels that were left out by hand."""
        return self._curves_of(self.review.left_out)

    def sound(self, mask: int | None = None) -> Array:
        """(P,) bool: as `trusted`, a curve each; `mask` holds other doubts than the severe ones."""
        mask = self.severe_mask if mask is None else mask
        bad = (self.curve_doubts & np.uint64(mask)) != 0
        return ~self.curve_left_out & (~bad | self._curves_of(self.review.kept))

    def _curves_of(self, pixels: Pixels) -> Array:
        out = np.zeros(self.map.n_curves, bool)
        if pixels:
            index = self.map.index_map[pixels.mask(self.map.shape)]
            out[index[index >= 0]] = True
        return out

    @cached_property
    def curve_corrected(self) -> Array:
        """(P,) bool: curves whose numbers are those of a correction. Their rows in `stage_tables`
        are those of the map's settings all the same: who reads rows leaves such curves out, or asks
        `under_correction`."""
        out = np.zeros(self.map.n_curves, bool)
        for curves, _ in self.corrections:
            out[curves] = True
        return out

    def under_correction(self, curve: int) -> Analysis:
        """The analysis that a curve's numbers come from: this one, or that of its correction, where
        only the curves of that correction have rows."""
        found = next(((c, own) for c, own in self.corrections if (c == curve).any()), None)
        if found is None:
            return self
        curves, own = found
        tables, done = {}, np.zeros(self.map.n_curves, bool)
        for name, rows in own.stage_tables.items():
            tables[name] = np.full((self.map.n_curves, rows.shape[1]), np.nan)
            tables[name][curves] = rows
        done[curves] = True
        return replace(own, stage_tables=tables, done=done, _cache={})

    def with_review(self, review: Review) -> Analysis:
        """The same analysis with other pixels kept or left out; corrections stay as they are
        worked out. What does not depend on that is shared and not worked out again."""
        made = replace(self, review=review)
        for name in _OF_NO_REVIEW:
            if name in self.__dict__:
                made.__dict__[name] = self.__dict__[name]
        return made

    def without(self, left_out: Array | None) -> Analysis:
        """The same analysis with exactly these pixels left out by hand; the channels are shared."""
        mask = np.zeros(self.map.shape, bool) if left_out is None else left_out
        return self.with_review(self.review.with_left_out(mask))

    @property
    def doubt_meanings(self) -> list[tuple[int, str, str]]:
        """(mask, name, sentence) of every registered doubt."""
        return [(d.mask, d.name, d.sentence) for d in DOUBTS.values()]

    def doubt_counts(self) -> dict[str, int]:
        """How many curves carry each doubt; doubts that none carries are left out."""
        bits = self.curve_doubts
        counts = {d.name: int(np.count_nonzero(bits & np.uint64(d.mask))) for d in DOUBTS.values()}
        return {name: count for name, count in counts.items() if count}


def filled(values: Array, step: int) -> Array:
    """A map of which only pixels `step` apart are known, (rows, cols): NaN filled from the coarse
    ones around; as it is at step 1."""
    if step <= 1:
        return values
    coarse = values[::step, ::step]
    rows, cols = values.shape
    around = np.repeat(np.repeat(coarse, step, 0), step, 1)[:rows, :cols]
    return np.where(np.isfinite(values), values, around)


def _smaller_difference(values: Array, axis: int) -> Array:
    """The difference to the next value along an axis or from the one before, whichever is smaller;
    0 if they differ in sign, the only one at an edge, NaN where both are missing."""
    gaps = np.diff(values, axis=axis)
    none = np.full_like(np.take(values, [0], axis=axis), np.nan)
    ahead, behind = np.concatenate([gaps, none], axis), np.concatenate([none, gaps], axis)
    ahead, behind = (np.where(np.isnan(a), b, a) for a, b in ((ahead, behind), (behind, ahead)))
    smaller = np.where(np.abs(ahead) < np.abs(behind), ahead, behind)
    return np.where(ahead * behind < 0.0, 0.0, smaller)
