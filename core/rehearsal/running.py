"""Runs a rehearsal: curves of known moduli through the present settings, against their truth."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from ..analysis import Analysis
from ..doubts import DOUBTS, raise_doubts
from ..errors import InputError
from ..pipeline import analyse
from ..progress import Progress
from ..settings import GIVEN, Settings
from .faring import Contrast, Fared, Ratio, contrast, fared, ratio
from .faults import Told, plant, told
from .making import APART, WORDS, Part, Played, as_map, play
from .scene import Scene

Array = np.ndarray
CURVES, STEPS, FAULTS = 100, 8, 10
"""Curves of each modulus, moduli, and curves with each kind of fault, unless otherwise asked."""
MOST_CURVES = 10_000
QUANTITIES = ("modulus", "adhesion", "release_force", "contact_point", "indentation")


@dataclass(frozen=True)
class Row:
    """What became of one modulus.

    Attributes
    ----------
    modulus : Young's modulus that was put in [GPa]
    pull_off : median pull-off that was put in [nN]
    indentation : median indentation that was put in [nm]
    curves : made
    refused : share of the good curves with a severe doubt, whose numbers are not used
    doubted : share of the good curves with any doubt
    alarms : doubt -> share of the good curves that carry it, the most frequent first; a mild one
        may be right, as where the lever is too soft for this modulus
    fared : quantity -> `Fared`, of the curves that were not refused
    contrast : of two samples that pull differently
    told : one entry a kind of planted fault; empty if none were planted
    """

    modulus: float
    pull_off: float
    indentation: float
    curves: int
    refused: Ratio
    doubted: Ratio
    fared: dict[str, Fared]
    contrast: Contrast
    told: tuple[Told, ...] = ()
    alarms: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Rehearsal:
    """What the present settings do to truths that are known.

    Attributes
    ----------
    scene, settings : what went in; `settings` as they were run
    rows : one a modulus, softest first
    curves, faults, seed : asked for
    """

    scene: Scene
    settings: Settings
    rows: tuple[Row, ...]
    curves: int
    faults: int
    seed: int

    @property
    def moduli(self) -> Array:
        return np.array([row.modulus for row in self.rows])


def moduli_between(low: float, high: float, steps: int = STEPS) -> Array:
    """Moduli [GPa] at even steps of their logarithm. Raises InputError if there are none."""
    if not (0.0 < low < high < 1e6 and math.isfinite(high)) or not 2 <= steps <= 64:
        raise InputError(f"The range from {low:g} to {high:g} GPa in {steps} steps can't be "
                         "rehearsed: begin above 0, end higher, and take 2 to 64 steps.")
    return np.geomspace(low, high, steps)


def rehearse(scene: Scene, settings: Settings, moduli: Sequence[float] | Array,
             curves_each: int = CURVES, seed: int = 1, progress: Progress | None = None,
             faults: int = 0) -> Rehearsal:  # fmt: skip
    """Play curves of known moduli in a scene, and run the settings on them.

    Parameters
    ----------
    moduli : Young's moduli [GPa]
    curves_each : good curves of each modulus
    faults : curves of each modulus with each kind of fault; 0 plants none

    Raises
    ------
    InputError : an impossible number, or a modulus on which the force can't be reached
    Cancelled : on request
    """
    progress = progress or Progress()
    wanted = np.sort(np.asarray(moduli, dtype=float))
    _check(wanted, curves_each, faults)
    settings = as_rehearsed(settings)
    parts = [Part(float(e), scene.near(float(e))) for e in wanted]
    good = _play(scene, parts, curves_each, seed, progress)
    result = analyse(as_map(scene, good), settings, progress=_quiet(progress))
    found = {}
    if faults:
        found = _faults(scene, parts, faults, seed, result, progress)
    rows = tuple(_row(result, good, part, slice(i * curves_each, (i + 1) * curves_each),
                      found.get(i, ())) for i, part in enumerate(parts))  # fmt: skip
    return Rehearsal(scene, settings, rows, curves_each, faults, seed)


def as_rehearsed(settings: Settings) -> Settings:
    """The settings without what a rehearsal knows nothing of: layers and relaxation.

    Raises InputError where the contact point is given by hand: it belongs to one curve.
    """
    if settings.fit.contact == GIVEN:
        raise InputError("The contact point is given by hand, and a rehearsal has no such curve: "
                         "choose another way of finding it (fit.contact).")  # fmt: skip
    return settings.with_values({"layer.base": "none", "viscous.model": "none"})


def _check(moduli: Array, curves: int, faults: int) -> None:
    if not moduli.size or not (np.isfinite(moduli).all() and (moduli > 0.0).all()):
        raise InputError("A rehearsal needs moduli above 0 GPa.")
    if not 8 <= curves <= MOST_CURVES:
        raise InputError(f"A rehearsal takes 8 to {MOST_CURVES:,} curves of each modulus; "
                         f"{curves} were asked for.")  # fmt: skip
    if not 0 <= faults <= MOST_CURVES:
        raise InputError(f"A rehearsal plants 0 to {MOST_CURVES:,} of each fault, not {faults}.")


def _quiet(progress: Progress) -> Progress:
    """A progress that says nothing but stops when the other is asked to."""

    class Inner(Progress):
        @property
        def cancelled(self) -> bool:
            return progress.cancelled

        def check(self) -> None:
            progress.check()

    return Inner()


def _play(scene: Scene, parts: list[Part], curves: int, seed: int, progress: Progress) -> Played:
    made = []
    for i, part in enumerate(parts):
        progress.step(i, len(parts), WORDS)
        made.append(play(scene, part, curves, np.random.default_rng([seed, i]), progress))
    played = made[0]
    for more in made[1:]:
        played = played + more
    return played


def _faults(scene: Scene, parts: list[Part], each: int, seed: int, good: Analysis,
            progress: Progress) -> dict[int, tuple[Told, ...]]:  # fmt: skip
    """How faults are told, as if each were the only one in the map of good curves."""
    made, names, where = [], [], []
    for i, part in enumerate(parts):
        progress.step(i, len(parts), "Planting faults")
        played, kinds = plant(scene, part, each, np.random.default_rng([seed, i, 1]), progress)
        made.append(played)
        names.append(kinds)
        where.append(np.full(kinds.size, i))
    played = made[0]
    for more in made[1:]:
        played = played + more
    period = {"baseline.period": good.period} if good.period > 0.0 else {}
    result = analyse(as_map(scene, played), good.settings.with_values(period),
                     progress=_quiet(progress))  # fmt: skip
    alone = replace(result, pooled_walk=good.walk, _cache={})
    bits = raise_doubts(replace(alone.case, median_noise=good.case.median_noise))
    at, kind = np.concatenate(where), np.concatenate(names)
    return {i: told(bits[at == i], kind[at == i]) for i in range(len(parts))}


def _row(result: Analysis, good: Played, part: Part, here: slice, faults: tuple[Told, ...]) -> Row:
    sound, doubts = result.sound()[here], result.curve_doubts[here]
    truth = {name: values[here] for name, values in good.truth.items()}
    known = {name: _fared(result, name, truth, here, sound) for name in QUANTITIES}
    sticky = np.arange(sound.size) % 2 == 1
    adhesion = np.where(sound, result.per_curve("adhesion")[0][here], math.nan)
    return Row(part.modulus, float(np.median(truth["pull_off"])),
               float(np.median(truth["indentation"])), sound.size,
               ratio(int(np.count_nonzero(~sound)), sound.size),
               ratio(int(np.count_nonzero(doubts)), sound.size),
               known, contrast(adhesion, sticky, APART), faults, _alarms(doubts))  # fmt: skip


def _alarms(bits: Array) -> dict[str, float]:
    """Each doubt that these curves (n,) carry, with their share, the most frequent first."""
    shares = {name: float(np.mean((bits & np.uint64(doubt.mask)) != 0))
              for name, doubt in DOUBTS.items()}  # fmt: skip
    return dict(sorted(((n, s) for n, s in shares.items() if s > 0.0), key=lambda i: -i[1]))


TRUE = {"modulus": "modulus", "adhesion": "pull_off", "release_force": "pull_off",
        "contact_point": "contact", "indentation": "indentation"}  # fmt: skip
"""Channel -> what it should be."""


def _fared(result: Analysis, name: str, truth: dict[str, Array], here: slice, sound: Array
           ) -> Fared:  # fmt: skip
    from ..channels import CHANNELS

    values, errors = result.per_curve(name)
    value = np.where(sound, values[here], math.nan)
    error = np.full(value.size, math.nan) if errors is None else errors[here]
    true = truth[TRUE[name]]
    if name != "modulus":
        return fared(name, CHANNELS[name].unit, value - true, error)
    with np.errstate(all="ignore"):
        return fared(name, "", np.log(value / true), error / value)
