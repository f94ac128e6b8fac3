"""What a rehearsal means, in sentences."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from ..models import law_of
from ..units import best_unit
from .faring import TWO_SIGMA, Fared, Ratio, ratio
from .running import Rehearsal, Row
from .scene import Scene

SURE = 3.0
"""Standard errors from which on a bias is told: several moduli are looked at in one go."""
MUCH_REFUSED = 0.05
POORLY_TOLD = 0.8


def sentences(made: Rehearsal) -> list[str]:
    """What the settings did to the truth, the most important first; before that, what no rehearsal
    can tell."""
    return [*_shared(made), *_bias(made), *_held(made), *_refused(made), *_adhesion(made),
            *_faults(made)]  # fmt: skip


def gpa(modulus: float) -> str:
    """A modulus with its unit."""
    unit, factor = best_unit(modulus, "GPa")
    return f"{modulus * factor:.3g} {unit}"


def percent(share: float, digits: int = 0) -> str:
    return f"{100.0 * share:.{digits}f} %"


def off_by(one: Fared) -> str:
    """A bias in words, such as ``1.8 % ± 0.2 % low``."""
    way = "high" if one.bias > 0.0 else "low"
    bias, error = one.shown
    unit = one.unit or "%"
    return f"{abs(bias):.2g} {unit} ± {error:.1g} {unit} {way}"


def _told(row: Row, quantity: str = "modulus") -> bool:
    one = row.fared[quantity]
    return abs(one.bias) > SURE * one.bias_error


def _where(made: Rehearsal, rows: list[Row]) -> str:
    """The moduli of some rows, such as ``at 1 GPa`` or ``from 1 GPa to 5 GPa``."""
    names = [gpa(row.modulus) for row in rows]
    if len(names) == 1:
        return f"at {names[0]}"
    first = made.rows.index(rows[0])
    if len(names) > 2 and made.rows[first : first + len(rows)] == tuple(rows):
        return f"from {names[0]} to {names[-1]}"
    return f"at {', '.join(names[:-1])} and {names[-1]}"


def _sentence(text: str) -> str:
    return text[0].upper() + text[1:]


def scene_words(scene: Scene) -> str:
    """The scene in a few lines, each number with its unit."""
    wave = (f"fringes of {scene.fringe:.3g} nm with a period of {scene.period:.3g} nm"
            if scene.fringe > 0.0 else "no fringes")  # fmt: skip
    law = law_of(scene.law)
    pulls = ", ".join(f"{group.pull_off:.3g} nN at {gpa(group.modulus)}" for group in scene.groups)
    spread = f" (differs by {percent(scene.noise_spread)})" if scene.noise_spread > 0.0 else ""
    return (
        f"Noise {scene.noise:.3g} nm{spread}, slow noise {scene.walk:.2g} nm²/nm, tilt "
        f"{scene.tilt:.2g} ± {scene.tilt_spread:.1g}, {wave}, offset of the branches "
        f"{scene.drag:.2g} nm; {scene.samples[0]} + {scene.samples[1]} samples over "
        f"{scene.travel:.4g} nm, peak force {scene.peak_force:.4g} ± {scene.peak_spread:.2g} nN; "
        f"lever {scene.spring_constant:.4g} N/m, {law.label}, {size_words(scene)}; pull-off "
        f"{pulls}."
    )


def _shared(made: Rehearsal) -> Iterator[str]:
    """What the truth was made with and the settings analyse with, so that it can't be told wrong.
    """
    scene, settings = made.scene, made.settings
    law = law_of(scene.law)
    given = dict(zip(law.sizes, scene.sizes, strict=False))
    same = []
    if settings.fit.law == scene.law:
        same.append(f"law ({law.label})")
    if all(_used(getattr(settings.tip, name), size) for name, size in given.items()):
        same.append(f"tip ({size_words(scene)})")
    if _used(settings.calibration.spring_constant, scene.spring_constant):
        same.append(f"spring constant ({scene.spring_constant:.4g} N/m)")
    if same:
        words = f"{', '.join(same[:-1])} and {same[-1]}" if len(same) > 1 else same[0]
        yield (f"The truth is made with the {words} that the settings use: what is wrong with "
               f"{'these' if len(same) > 1 else 'it'} can't be rehearsed and is in no number "
               "here.")  # fmt: skip


def _used(chosen: float | None, truth: float) -> bool:
    """Whether a setting takes the true number; None takes what is recorded, which it is."""
    return chosen is None or chosen == truth


def size_words(scene: Scene) -> str:
    """The sizes of the tip, each with its unit."""
    return " and ".join(f"{name.replace('_', ' ')} {size:.3g}"
                        + ("°" if name == "half_angle" else " nm")
                        for name, size in zip(law_of(scene.law).sizes, scene.sizes,
                                              strict=False))  # fmt: skip


# -- modulus ---------------------------------------------------------------------------------------


def _bias(made: Rehearsal) -> Iterator[str]:
    known = [row for row in made.rows if row.fared["modulus"].curves >= 2]
    if not known:
        yield "No curve of this rehearsal gave a modulus under these settings."
        return
    off = [row for row in known if _told(row)]
    if not off:
        every = [row.fared["modulus"] for row in known]
        most = math.expm1(max(abs(one.bias) + 2.0 * one.bias_error for one in every))
        yield (f"From {gpa(known[0].modulus)} to {gpa(known[-1].modulus)} no bias of the modulus "
               "stands out of the chance of this rehearsal; bias and two standard errors come to "
               f"{100 * most:.2g} % where they are largest.")  # fmt: skip
    for row in _ends(off):
        one = row.fared["modulus"]
        yield (f"With these settings a sample of {gpa(row.modulus)} reads {off_by(one)}; single "
               f"pixels scatter by {percent(one.scatter, 1)}, and the stated ± (95 %) holds "
               f"{percent(one.held_wide.share)} of the truths.")  # fmt: skip
    beyond = [row for row in off if abs(row.fared["modulus"].bias) > row.fared["modulus"].scatter]
    if beyond:
        yield _sentence(
            f"{_where(made, beyond)} the bias exceeds the scatter: no number of pixels averages it "
            "away, and the scatter does not show it. Try another fit window, law or way of finding "
            "the contact point, and rehearse again."
        )


def _ends(rows: list[Row]) -> list[Row]:
    """The worst row, and the worst of those that are off the other way."""
    found = []
    for sign in (1.0, -1.0):
        some = [row for row in rows if sign * row.fared["modulus"].bias > 0.0]
        if some:
            found.append(max(some, key=lambda row: abs(row.fared["modulus"].bias)))
    return sorted(found, key=lambda row: -abs(row.fared["modulus"].bias))


def _held(made: Rehearsal) -> Iterator[str]:
    ratios = [row.fared["modulus"].held_wide for row in made.rows]
    every = _pooled(ratios)
    if not every.of:
        return
    yield (f"Over all moduli the stated ± holds {percent(every.share, 1)} of the truths where it "
           f"should hold 95 % (this rehearsal tells it to within {percent(every.low, 1)} to "
           f"{percent(every.high, 1)}).")  # fmt: skip
    told = [ratio(r.hits, r.of, jointly(ratios)) for r in ratios]
    narrow = [row for row, r in zip(made.rows, told, strict=True) if r.high < TWO_SIGMA]
    wide = [row for row, r in zip(made.rows, told, strict=True) if r.low > TWO_SIGMA]
    if narrow:
        yield f"The stated ± is too small {_where(made, narrow)}: do not publish it there as it is."
    if wide:
        yield f"The stated ± is too large {_where(made, wide)}; it errs on the safe side there."


def jointly(ratios: Sequence[Ratio]) -> float:
    """Level of each interval at which all of them together hold 95 %, as if independent: 0.95 to
    the power 1/m (Šidák, J. Am. Stat. Assoc. 62 (1967) 626)."""
    counted = sum(r.of > 0 for r in ratios)
    return float(TWO_SIGMA ** (1.0 / max(counted, 1)))


def _pooled(ratios: list[Ratio]) -> Ratio:
    return ratio(sum(r.hits for r in ratios), sum(r.of for r in ratios))


def _refused(made: Rehearsal) -> Iterator[str]:
    much = [row for row in made.rows if row.refused.share > MUCH_REFUSED]
    if much:
        worst = max(much, key=lambda row: row.refused.share)
        up_to = f", up to {percent(worst.refused.share)} of them at {gpa(worst.modulus)}"
        yield _sentence(
            f"{_where(made, much)} severe doubts refuse good curves"
            f"{up_to if len(much) > 1 else f': {percent(worst.refused.share)} of them'}. Those "
            "that are kept are a choice of their own, and their median is not that of all."
        )


# -- adhesion and faults ---------------------------------------------------------------------------


def _adhesion(made: Rehearsal) -> Iterator[str]:
    rows = [row for row in made.rows if row.fared["adhesion"].curves >= 2]
    if not rows:
        return
    worst = max(rows, key=lambda row: abs(row.fared["adhesion"].bias))
    if _told(worst, "adhesion"):
        yield (f"Adhesion reads up to {off_by(worst.fared['adhesion'])}, at "
               f"{gpa(worst.modulus)}.")  # fmt: skip
    known = [row for row in rows if row.contrast.pixels > 0.0]
    if known:
        hard = max(known, key=lambda row: row.contrast.pixels)
        c = hard.contrast
        yield (f"Two samples of {gpa(hard.modulus)} whose pull-off differs by {c.planted:g} nN are "
               f"put in the right order by {percent(c.single)} of the pairs of single pixels; "
               f"medians of {c.pixels:.0f} pixels of each tell them apart at three standard "
               "errors.")  # fmt: skip


def _faults(made: Rehearsal) -> Iterator[str]:
    every = _by_kind(made)
    if not every:
        return
    all_of_them = _pooled(list(every.values()))
    words = f"Of the planted faults {percent(all_of_them.share, 1)} carry the right doubt"
    poor = sorted((r.share, kind) for kind, r in every.items() if r.share < POORLY_TOLD)
    if poor:
        words += "; least told: " + ", ".join(
            f"{kind.replace('_', ' ')} ({percent(share)})" for share, kind in poor[:4])  # fmt: skip
    yield words + "."
    alarm = _pooled([row.refused for row in made.rows])
    mild = _pooled([row.doubted for row in made.rows])
    yield (f"Of the good curves {percent(alarm.share, 1)} carry a severe doubt and "
           f"{percent(mild.share, 1)} any doubt{_often(made)}.")  # fmt: skip


def _often(made: Rehearsal) -> str:
    """The doubts that most good curves carry; true ones are among them."""
    found: dict[str, float] = {}
    for row in made.rows:
        for name, share in row.alarms.items():
            found[name] = max(found.get(name, 0.0), share)
    most = sorted(found.items(), key=lambda item: -item[1])[:3]
    words = ", ".join(f"{name.replace('_', ' ')} ({percent(share)})" for name, share in most)
    return f" (at the modulus where it is most frequent: {words})" if words else ""


def _by_kind(made: Rehearsal) -> dict[str, Ratio]:
    """Kind of fault -> how it was told over all moduli."""
    found: dict[str, list[Ratio]] = {}
    for row in made.rows:
        for one in row.told:
            found.setdefault(one.kind, []).append(one.right)
    return {kind: _pooled(ratios) for kind, ratios in found.items()}
