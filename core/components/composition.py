"""What a rule made of a map: labels, memberships, and which pixels count for what."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from ..channels import CHANNELS
from ..steps.tools import MAD_TO_SIGMA
from ..uncertainty.effective import Lags
from .maps import NO_CURVE, REASONS, USED, Maps
from .mixture import Candidate, Mixture
from .points import on_axis
from .rule import Axis, Rule, letter
from .zones import BOUNDARY, FOREIGN, KINDS, MIXED, PURE

Array = np.ndarray
OVERLAP = 0.003
"""Components that share less of their membership than this are taken pixel by pixel."""
UNDECIDED = "membership below the least"
MUCH, MUCH_LEFT_OUT = 0.01, 0.05
MANY_FOREIGN, FEW_RIM = 0.01, 0.002
"""A greater share of pixels far from every component is told."""


@dataclass(frozen=True, eq=False)
class Composition:
    """Components of one map under one rule.

    Attributes
    ----------
    rule, maps : what went in
    reasons : uint8 (rows, cols), why a pixel could not be looked at; `maps.USED` where it could
    labels : int16 (rows, cols); 0, 1, 2 ... in rising order of the first axis for what is found, in
        the rule's order for what is given; -1 in no component
    membership : (rows, cols) probability of the own label; NaN where not looked at
    shares : float32 (K, rows, cols) probability of each component
    kinds : uint8 (rows, cols), see `zones.KINDS`
    distances : to the nearest boundary [as the pitch]; ∞ where there is none, NaN without a label
    beside : int16 (rows, cols), the component across that boundary; -1 where there is none
    widths : (K,) of the boundary zone on each component's side
    rim : bool (rows, cols), boundary pixels of two components that look like a third; their label
        is the nearer one of the two
    model : the normal distributions, if the rule has any
    candidates : numbers of components that were weighed; empty if the number was given
    independent : n_eff that weighed them; NaN if none were
    """

    rule: Rule
    maps: Maps
    reasons: Array
    labels: Array
    membership: Array
    shares: Array
    kinds: Array
    distances: Array
    beside: Array
    widths: Array
    rim: Array
    model: Mixture | None = None
    candidates: tuple[Candidate, ...] = ()
    independent: float = math.nan
    _masks: dict[tuple[int, bool], Array] = field(default_factory=dict, repr=False)

    @property
    def count(self) -> int:
        return len(self.shares)

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(self.rule.name(k) for k in range(self.count))

    def title(self, number: int) -> str:
        """Letter and name, such as ``A rubber``; the letter alone without a name."""
        name, sign = self.rule.name(number), letter(number)
        return name if name == sign else f"{sign} {name}"

    def pixels(self, number: int, pure: bool = False) -> Array:
        """(rows, cols) bool: pixels of a component; `pure` leaves out boundary and mixed ones."""
        key = (number, pure)
        if key not in self._masks:
            mask = self.labels == number
            if pure:
                mask &= self.kinds == PURE
            mask.flags.writeable = False
            self._masks[key] = mask
        return self._masks[key]

    @property
    def labelled(self) -> Array:
        """(rows, cols) bool: pixels that belong to a component."""
        return self.labels >= 0

    @cached_property
    def overlaps(self) -> Array:
        """How much of each component's membership lies in pixels that are labelled otherwise, and
        the other way round, as a share of it; (K,). Away from boundaries."""
        plain = self.labelled & (self.kinds != BOUNDARY)
        own, shares = self.labels[plain], self.shares[:, plain]
        total = shares.sum(1, dtype=float)
        mine = np.bincount(own, shares[own, np.arange(own.size)], minlength=self.count)
        lost = total + np.bincount(own, minlength=self.count) - 2.0 * mine
        return np.divide(lost, total, out=np.zeros(self.count), where=total > 0.0)

    def shared_weights(self, number: int) -> Array | None:
        """Memberships of a component that overlaps another, (rows, cols); 0 near boundaries. None
        where it overlaps none, or has no distribution.

        A label goes to the more probable component, which cuts off the tails that face each other:
        a median over labels would lie too far out. Each pixel is therefore counted in both, by its
        memberships.
        """
        if self.model is None or self.overlaps[number] < OVERLAP:
            return None
        return np.where(self.labelled & (self.kinds != BOUNDARY), self.shares[number], 0.0)

    @cached_property
    def area_lags(self) -> Lags:
        """Lags of all labelled pixels, for the patterns of the components."""
        return Lags(self.labelled, self.maps.pitch)

    @cached_property
    def left_out(self) -> dict[str, int]:
        """How many pixels belong to no component, by reason; none that do not occur."""
        found = {
            words: int(np.count_nonzero(self.reasons == why)) for why, words in REASONS.items()
        }
        looked_at = self.reasons == USED
        none = looked_at & ~self.labelled
        foreign = "in no gate" if self.rule.method == "gates" else KINDS[FOREIGN]
        found[foreign] = int(np.count_nonzero(none & (self.kinds == FOREIGN)))
        found[UNDECIDED] = int(np.count_nonzero(none & (self.kinds != FOREIGN)))
        return {words: count for words, count in found.items() if count}

    @property
    def left_out_share(self) -> float:
        """Share of the pixels with a curve that belong to no component."""
        curves = self.labels.size - self.left_out.get(REASONS[NO_CURVE], 0)
        return 1.0 - int(np.count_nonzero(self.labelled)) / curves if curves else 0.0

    @cached_property
    def set_aside(self) -> dict[str, int]:
        """How many labelled pixels are kept out of the components' statistics, by kind."""
        kinds = {KINDS[kind]: int(np.count_nonzero(self.labelled & (self.kinds == kind)))
                 for kind in (BOUNDARY, MIXED)}  # fmt: skip
        return {words: count for words, count in kinds.items() if count}

    def ellipses(self, axes: tuple[Axis, Axis]) -> list[tuple[int, Array, Array]]:
        """(number, centre (2,), covariance (2, 2)) of each component on two axes, in their own
        coordinates (log₁₀ where the axis is one): those of the fitted distributions where they have
        both axes, else of the component's pure pixels. Empty components have none."""
        own = [axis for axis in self.rule.axes if axis in axes]
        if self.model is not None and len(own) == len(axes):
            at = [self.rule.axes.index(axis) for axis in axes]
            return [(k, self.model.means[k][at], self.model.covariances[k][np.ix_(at, at)])
                    for k in range(self.count)]  # fmt: skip
        found = []
        stack = np.stack([on_axis(axis, self.maps)[0] for axis in axes], axis=-1)
        for k in range(self.count):
            table = stack[self.pixels(k, pure=True)]
            table = table[np.isfinite(table).all(1)]
            if len(table) > 2:
                found.append((k, *_middle(table)))
        return found

    @property
    def remarks(self) -> list[str]:
        """What should be told about the whole."""
        said = []
        empty = [self.title(k) for k in range(self.count) if not self.pixels(k).any()]
        if empty:
            said.append(f"No pixel belongs to {', '.join(empty)}.")
        total = max(int(np.count_nonzero(self.reasons == USED)), 1)
        foreign = self.left_out.get(KINDS[FOREIGN], 0)
        if self.rule.method != "gates" and foreign > MANY_FOREIGN * total:
            said.append(f"{100.0 * foreign / total:.3g} % of the pixels are far from every "
                        "component: look where they lie; a component may be missing.")  # fmt: skip
        lapping = [k for k in range(self.count) if self.overlaps[k] > MUCH]
        if lapping and self.rule.method != "gates":
            worst = 100.0 * float(max(self.overlaps[k] for k in lapping))
            said.append(
                f"Overlap in {', '.join(self.title(k) for k in lapping)}: up to {worst:.2g} % of a "
                "component's pixels may be another's. Areas and medians then hang on how these are "
                "shared out, and their ± does not hold that."
            )
        lost = self.left_out_share
        if lost > MUCH_LEFT_OUT:
            said.append(
                f"{100.0 * lost:.2g} % of the curves are left out of the areas. If they are not "
                "spread evenly, the areas are off by up to as much."
            )
        rim = int(np.count_nonzero(self.rim))
        if rim > FEW_RIM * total:
            said.append(
                f"{rim} pixels lie in a rim hardly wider than two pixels between two components "
                "and look like a third; they were taken for boundary pixels of the two. A real "
                "layer as thin as that looks the same: measure it with smaller pixels."
            )
        for k in range(self.count):
            labelled = np.count_nonzero(self.pixels(k))
            pure = np.count_nonzero(self.pixels(k, pure=True))
            if labelled and pure < 0.1 * labelled:
                said.append(
                    f"Nearly all of {self.title(k)} lies near a boundary: its domains are hardly "
                    "wider than contact and pixel together, so its numbers are of mixed pixels."
                )
        return said

    @property
    def words(self) -> str:
        """The rule in a sentence or two, for a methods paragraph."""
        rule = self.rule
        axes = " and ".join(_axis_words(axis) for axis in rule.axes)
        said = {
            "mixture": f"Components were found as a mixture of {self.count} normal "
            f"distribution{'s' if self.count > 1 else ''} of {axes}",
            "thresholds": f"Components were cut by thresholds on {_axis_words(rule.axes[0])} at "
            f"{_cuts(rule)}",
            "gates": f"Components were drawn by hand on the joint histogram of {axes}",
            "end_members": f"Pixels were given to the nearest of {self.count} known end members of "
            f"{axes}",
        }[rule.method]
        if self.candidates:
            most = self.candidates[-1].count
            said += (
                f", their number chosen among 1 to {most} by the integrated "
                f"completed likelihood of {self.independent:,.0f} independent pixels"
                if most > 1
                else f", no more than one being tried with {self.independent:,.0f} independent "
                "pixels"
            )
        if rule.method == "mixture":
            said += ", fitted to pixels away from edges" if rule.plain else ", fitted to all pixels"
            said += f" (seed {rule.seed})"
            if rule.rims and self.rim.any():
                said += "; thin rims between two components were given to these"
        if rule.smooth > 0.0:
            said += f"; memberships were smoothed in space within edges (strength {rule.smooth:g})"
        return f"{said}. {self._zone_words()}"

    def _zone_words(self) -> str:
        unit = "nm" if self.maps.scaled else "pixels"
        known = self.widths[np.isfinite(self.widths)]
        if self.rule.zone == "none" or not known.size:
            return "Pixels along boundaries were not left out of the statistics."
        low, high = float(known.min()), float(known.max())
        wide = f"{low:.3g}" if high - low < 0.01 * high else f"{low:.3g} to {high:.3g}"
        why = " (contact radius and half a pixel)" if self.rule.zone == "contact" else ""
        why = why if self.maps.scaled else why and " (half the diagonal of a pixel)"
        return (f"Pixels within {wide} {unit} of a boundary{why} count in the areas but not in the "
                "other statistics.")  # fmt: skip


def _middle(table: Array) -> tuple[Array, Array]:
    """Median and covariance without outliers, which a threshold on one channel does not cut off in
    another."""
    centre = np.median(table, 0)
    wide = MAD_TO_SIGMA * np.median(np.abs(table - centre), 0)
    inside = (np.abs(table - centre) <= 4.0 * np.maximum(wide, 1e-300)).all(1)
    kept = table[inside] if np.count_nonzero(inside) > 2 else table
    return centre, np.cov(kept.T)


def _axis_words(axis: Axis) -> str:
    words = CHANNELS[axis.channel].label.lower()
    return f"log {words}" if axis.log else words


def _cuts(rule: Rule) -> str:
    unit = CHANNELS[rule.axes[0].channel].unit
    return ", ".join(f"{cut:.4g}" for cut in rule.thresholds) + (f" {unit}" if unit else "")
