"""Sample, instrument, lever, tip and curves: what was measured, and with what."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from datetime import datetime

import numpy as np

from ..calibration import RECORDED as AS_RECORDED
from ..calibration import SET as AS_SET
from ..calibration import InUse
from ..calibration.typical import ASSUMED as AS_USUAL
from ..calibration.typical import relative_error
from ..columns import baseline as bl
from ..mapparts import Constant
from .facts import Facts, said
from .parts import ASSUMED, MEASURED, PROGRAM, RECORDED, SET, Cite, Hole, Piece, Said
from .words import about, counted, digits, exact, is_or_are, listed, rounded, span

BY = {AS_RECORDED: RECORDED, AS_SET: SET, AS_USUAL: ASSUMED}
FROM = {AS_SET: "as set", AS_RECORDED: "as recorded",
        AS_USUAL: "a usual value, since none is recorded"}  # fmt: skip
NO_HUMIDITY = ("water", "liquid", "buffer", "ethanol", "vacuum")
"""Words of a recorded medium in which nobody asks for a relative humidity."""


def sample(f: Facts) -> Iterator[Said]:
    recorded = f.map.attributes
    name = ", ".join(text for text in (recorded.get("sample", ""),
                                       recorded.get("sample_description", "")) if text)  # fmt: skip
    made = f.hole("sample", "sample_made", "how was the surface prepared?",
                  "cryo-microtomed at -60 °C")  # fmt: skip
    if name:
        yield said(f"The sample was “{name}”; its surface was ", made, ".", by=RECORDED)
        return
    which = f.hole("sample", "sample", "what is the sample?", "a blend of PA 12 and rubber")
    yield said("The sample was ", which, "; its surface was ", made, ".")


def instrument(f: Facts) -> Iterator[Said]:
    which = f.hole("instrument", "instrument", "with which instrument and scanner?",
                   "an atomic force microscope of the type ...")  # fmt: skip
    when = f.map.attributes.get("start_time", "")[:10]
    date = f" on {when}" if when else ""
    yield said("Force-distance curves were recorded with ", which, f"{date}.",
               by=RECORDED if when else "")  # fmt: skip


def medium(f: Facts) -> Iterator[Said]:
    was = f.map.recorded
    origins = [RECORDED] if was.medium or was.temperature else []
    where: Piece = was.medium or f.hole("medium", "medium", "in which medium?", "air")
    warm: Piece = f.hole("medium", "temperature", "at which temperature?", "23 ± 1 °C")
    if was.temperature is not None:
        celsius = was.temperature.value - 273.15
        error = was.temperature.error
        shown = rounded(celsius, "", error) if error > 0.0 else f"{celsius:.1f}"
        warm = f"{shown} °C"
    if any(word in was.medium.lower() for word in NO_HUMIDITY):
        yield said("They were taken in ", where, " at ", warm, ".", by=tuple(origins))
        return
    wet = f.hole("medium", "humidity", "at which relative humidity?", "45 ± 5 %")
    yield said("They were taken in ", where, " at ", warm, " and a relative humidity of ", wet,
               ".", by=tuple(origins))  # fmt: skip


# ---- lever


def _with_error(one: InUse, chosen: float | None) -> tuple[str, str]:
    """A constant with its standard uncertainty, and in words where that is from."""
    relative, origin = relative_error(one.name, one.value, one.error, chosen)
    unit = one.unit.replace("deg", "°")
    value = one.value if one.origin == AS_SET else float(f"{one.value:.5g}")
    given, share = exact(value, unit), about(relative)
    return given, f"standard uncertainty {share}, {FROM[origin]}"


def _method(f: Facts, item: str, one: InUse, name: str, question: str, hint: str) -> Piece:
    """How a constant was found: as recorded with the value in use, else as the person says."""
    if one.origin == AS_RECORDED and one.method:
        return f"“{one.method}” (as recorded)"
    return f.hole(item, name, question, hint)


def _origins(one: InUse, chosen: float | None) -> tuple[str, ...]:
    return tuple(dict.fromkeys(
        (BY[one.origin], BY[relative_error(one.name, one.value, one.error, chosen)[1]])
    ))  # fmt: skip


def lever(f: Facts) -> Iterator[Said]:
    one, chosen = f.analysis.constants.spring_constant, f.settings.uncertainty
    which = f.hole("lever", "lever", "which lever (type, material, nominal size)?",
                   "a rectangular silicon lever")  # fmt: skip
    yield said("The lever was ", which, *_lever_recorded(f), ".",
               by=RECORDED if _lever_recorded(f) else "")  # fmt: skip
    if not math.isfinite(one.value):
        yield said("Its spring constant was not known, so no forces are given.", by=RECORDED)
        return
    value, error = _with_error(one, chosen.spring_constant)
    how = _method(f, "lever", one, "spring_constant_found", "how was the spring constant found?",
                  "thermal noise in air, before the measurement")  # fmt: skip
    if isinstance(how, Hole) and not how.answer and chosen.spring_from == "thermal":
        how = "thermal noise (as set)"
    cite = (Cite(("hutter1993",)),) if chosen.spring_from == "thermal" else ()
    yield said(f"Its spring constant was {value} ({error}), found by ", how, *cite, ".",
               by=_origins(one, chosen.spring_constant))  # fmt: skip


def _lever_recorded(f: Facts) -> tuple[str, ...]:
    """What the file says of the lever beside its stiffness."""
    was = f.map.recorded
    sizes: list[tuple[str, Constant | None]] = [
        ("long", was.cantilever_length), ("wide", was.cantilever_width),
        ("thick", was.cantilever_thickness)]  # fmt: skip
    found = [f"{rounded(one.value, one.unit)} {word}" for word, one in sizes if one is not None]
    for words, one in (("resonance at", was.resonance_frequency),
                       ("quality factor", was.quality_factor)):  # fmt: skip
        if one is not None:
            unit = one.unit
            shown = f"{one.value / 1e3:.4g} kHz" if unit == "Hz" else f"{one.value:.3g}"
            found.append(f"{words} {shown}")
    return (f" ({', '.join(found)})",) if found else ()


def sensitivity(f: Facts) -> Iterator[Said]:
    one, chosen = f.analysis.constants.deflection_sensitivity, f.settings.uncertainty.sensitivity
    how = _method(f, "sensitivity", one, "sensitivity_found", "how, and on which stiff sample, was "
                  "the deflection sensitivity found?",
                  "the mean slope of ten curves on a clean silicon wafer")  # fmt: skip
    if f.map.signal_unit != "V":
        what = {"nm": "deflections in nanometres", "nN": "forces"}[f.map.signal_unit]
        relative, origin = relative_error(one.name, one.value, one.error, chosen)
        value = f", {exact(float(f'{one.value:.5g}'), one.unit)}," if one.value > 0.0 else ""
        yield said(f"The map holds {what}; the deflection sensitivity{value} that they were made "
                   "with was found by ", how, " (standard uncertainty "
                   f"{about(relative)}, {FROM[origin]}).", by=(RECORDED, BY[origin]))  # fmt: skip
    elif not math.isfinite(one.value):
        yield said("The deflection sensitivity was not known, so nothing is given but the height "
                   "at which each approach stopped.", by=RECORDED)  # fmt: skip
    else:
        value, error = _with_error(one, chosen)
        yield said(f"The deflection sensitivity was {value} ({error}), found by ", how, ".",
                   by=_origins(one, chosen))  # fmt: skip
    tilt = f.hole("sensitivity", "tilt", "was the tilt of the lever corrected for, and how?",
                  "contained in the spring constant, which was found under the same tilt")
    yield said("The tilt of the lever against the surface was ", tilt, ".")


def recalibration(f: Facts) -> Iterator[Said]:
    again = f.hole("recalibration", "recalibration", "were spring constant and sensitivity "
                   "measured again afterwards, and with which result?",
                   "repeated and agreed within 3 %")  # fmt: skip
    yield said("After the measurement the calibration was ", again, ".")


# ---- tip


def tip(f: Facts) -> Iterator[Said]:
    law, chosen = f.law, f.settings.uncertainty.tip
    shape = f.map.recorded.tip_shape
    found: list[str] = []
    origins = [SET]
    for one in f.sizes:
        if one.name == "rounding":
            found.append(_rounding(one.value))
            continue
        what = "a half-angle of" if one.name == "half_angle" else "a radius of"
        if one.name == "half_angle" and law.name.startswith("pyramid"):
            what = "a half-angle (axis to face) of"
        if not math.isfinite(one.value):
            found.append(f"{what[:-3]} that is not known, so no moduli are given")
            continue
        value, error = _with_error(one, chosen)
        found.append(f"{what} {value} ({error})")
        origins += _origins(one, chosen)
    recorded = f" (recorded as a {shape.replace('_', ' ')})" if shape else ""
    if not f.analysis.constants.lengths:
        yield said(f"Shape and size of the tip{recorded} entered no number, since no law was "
                   "fitted.", by=(RECORDED, PROGRAM))  # fmt: skip
        yield from _tip_found(f)
        return
    size = f"{',' if law.name == 'blunted_cone' else ''} with {listed(found)}" if found else ""
    if law.name == "free_exponent":
        yield said(f"The tip{recorded} was given no shape; the exponent of the law tells it.",
                   by=(SET, RECORDED) if shape else SET)  # fmt: skip
    else:
        yield said(f"The tip{recorded} was taken as a {SHAPE_WORDS[law.name]}{size}.",
                   by=tuple(dict.fromkeys((*origins, RECORDED) if shape else origins)))  # fmt: skip
    yield from _tip_found(f)


def _tip_found(f: Facts) -> Iterator[Said]:
    """How shape and size of the tip are known, its material, and whether it was looked at again."""
    methods = {one.method for one in f.sizes if one.origin == AS_RECORDED and one.method}
    if methods:
        yield said(f"Its size was found by “{' and '.join(sorted(methods))}” (as recorded).",
                   by=RECORDED)  # fmt: skip
    else:
        how = f.hole("tip", "tip_found", "how were the shape and size of the tip found (imaging, "
                     "tip-check sample, reference material, nominal)?",
                     "imaging a tip-check sample before the measurement")  # fmt: skip
        yield said("Its shape and size were found by ", how, ".")
    if f.gives_moduli:
        yield _tip_material(f)
    after = f.hole("tip", "tip_after", "was the tip checked again afterwards, and with which "
                   "result?", "checked again and was unchanged within 10 %")  # fmt: skip
    yield said("After the measurement the tip was ", after, ".")


def _rounding(value: float) -> str:
    if value > 0.0:
        return f"a rounding that meets the flank {exact(value, 'nm')} from the axis"
    return "a rounding that is tangent to the flank where they meet"


SHAPE_WORDS = {
    "paraboloid": "paraboloid", "sphere": "sphere", "cone": "cone",
    "blunted_cone": "cone with a rounded end", "hyperboloid": "hyperboloid",
    "pyramid": "four-sided pyramid", "pyramid_solved": "four-sided pyramid",
    "punch": "flat-ended cylinder", "free_exponent": "",
}  # fmt: skip


def _tip_material(f: Facts) -> Said:
    one = f.settings.tip
    if one.material == "rigid":
        return said("The tip was taken as rigid.", by=ASSUMED)
    cite = (Cite(("hopcroft2010",)),) if one.modulus == 170.0 else ()
    return said(f"The elasticity of the tip was taken into account with a Young modulus of "
                f"{exact(one.modulus, 'GPa')}", *cite, " and a Poisson ratio of "
                f"{exact(one.poisson_ratio)}.", by=ASSUMED)  # fmt: skip


# ---- curves


def curves(f: Facts) -> Iterator[Said]:
    rows, cols = f.map.shape
    there = int(np.count_nonzero(f.map.index_map >= 0))
    yield said(f"One map of {cols} × {rows} pixels (columns × rows, counted from 0, row 0 at the "
               f"bottom){_size(f)} was taken, {counted(there, 'curve')}, one at a pixel.",
               by=RECORDED)  # fmt: skip
    lost = rows * cols - there
    more = [f"{counted(lost, 'pixel')} {'has' if lost == 1 else 'have'} no curve"] if lost else []
    if f.map.n_repeated:
        more.append(f"of curves that were repeated at a pixel the last one counts "
                    f"({f.map.n_repeated:,} are not used)")  # fmt: skip
    if more:
        yield said(f"{'; '.join(more)}.".capitalize(), by=RECORDED)


def _size(f: Facts) -> str:
    """Over which lengths a map was taken; of a single line, along it."""
    if not f.map.has_scale:
        return ", of which no size is recorded,"
    pitch = {n: abs(float(a[-1] - a[0])) / (n - 1) for a in (f.map.x, f.map.y)
             if (n := a.size) > 1}  # fmt: skip
    if not pitch:
        return ""
    if min(f.map.shape) == 1:
        number, step = next(iter(pitch.items()))
        long_ = rounded(step * number, "nm")
        return f" along {long_} ({rounded(step, 'nm')} from pixel to pixel)"
    x, y = (abs(float(a[-1] - a[0])) / (a.size - 1) for a in (f.map.x, f.map.y))
    step_ = rounded(x, "nm")
    if abs(x - y) > 0.01 * x:
        step_ = f"{step_} and {rounded(y, 'nm')}"
    wide, high = rounded(x * f.map.x.size, "nm"), rounded(y * f.map.y.size, "nm")
    return f" over {wide} × {high} ({step_} from pixel to pixel)"


def ramp(f: Facts) -> Iterator[Said]:
    travel = f.median(f.base(bl.Z_RANGE))
    samples = f.median(f.base(bl.APPROACH + bl.B_KEPT))
    one = []
    if math.isfinite(travel):
        one.append(f"a travel of {rounded(travel, 'nm')}")
    if math.isfinite(samples):
        one.append(f"{samples:,.0f} samples a branch")
    origins, speed = [MEASURED], f.speed()
    pieces: list[Piece] = [f"Each curve had {' and '.join(one)} (medians)"] if one else [
        "The curves were taken"]  # fmt: skip
    if math.isfinite(speed):
        back = f.speed(back=True)
        same = math.isfinite(back) and abs(back - speed) < 0.02 * speed
        both = "approach and retract at" if same else "the approach at"
        text = f"; {both} {rounded(speed, 'nm')}/s"
        if not same and math.isfinite(back):
            text += f", the retract at {rounded(back, 'nm')}/s"
        pieces.append(f"{text} (from the sampling rate of {f.rate:,.6g} Hz)")
        origins.append(RECORDED)
    else:
        pieces += ["; the base moved at ", f.hole("ramp", "speed", "at which speed?", "2 µm/s")]
    fast: Piece = _rate(f.map.attributes, f.map.n_curves)
    if fast:
        origins.append(RECORDED)
    else:
        fast = f.hole("ramp", "curve_rate", "how many curves a second?", "5 curves a second")
    yield said(*pieces, ", at a rate of ", fast, ".", by=tuple(dict.fromkeys(origins)))
    yield from _force(f)


def _other_constants(f: Facts) -> str:
    """What a set force that was recorded as a force is with the constants in use: the instrument
    stops at a signal, and it took its own constants for the force."""
    use, was = f.analysis.constants, f.map.recorded
    if was.set_point is None or was.set_point.unit != "nN" or f.map.signal_unit == "nN":
        return ""
    if not f.forces:
        return " as recorded"
    factor, changed = 1.0, []
    pairs = ((use.spring_constant, was.spring_constant),
             (use.deflection_sensitivity, was.deflection_sensitivity))  # fmt: skip
    for one, recorded in pairs[: 2 if f.map.signal_unit == "V" else 1]:
        if one.origin == AS_SET and (recorded is None or recorded.value != one.value):
            changed.append(one.label.lower())
            factor *= one.value / recorded.value if recorded is not None else math.nan
    if not changed:
        return ""
    if not math.isfinite(factor):
        return (f" as recorded (with a {' and a '.join(changed)} that {is_or_are(len(changed))} "
                "not recorded)")  # fmt: skip
    return (f" as recorded, which is {rounded(use.set_force, 'nN')} with the "
            f"{listed(changed)} in use")  # fmt: skip


def _rate(recorded: Mapping[str, str], curves: int) -> str:
    """Curves a second from the recorded beginning and end of the map; empty without them."""
    try:
        begun, ended = (datetime.fromisoformat(recorded[f"{name}_time"])
                        for name in ("start", "end"))  # fmt: skip
        seconds = (ended - begun).total_seconds()
    except (KeyError, ValueError, TypeError):  # absent, no date, or one with a time zone alone
        return ""
    return f"{digits(curves / seconds, 2)} curves a second (mean)" if seconds > 0.0 else ""


def _force(f: Facts) -> Iterator[Said]:
    wanted, peak = f.analysis.constants.set_force, f.channel("peak_force")
    recorded = f.map.recorded.set_point
    if recorded is not None and recorded.unit == "nN" and recorded.value > 0.0:
        wanted = recorded.value
    reached = ""
    if peak.size:
        low, centre, high = np.percentile(peak, [5.0, 50.0, 95.0])
        reached = (f"the peak force reached was {rounded(float(centre), 'nN')} (median; 5th to "
                   f"95th percentile {span(float(low), float(high), 'nN')})")  # fmt: skip
    if math.isfinite(wanted):
        more = f"; {reached}" if reached else ""
        yield said(f"The approach was stopped at a set force of {rounded(wanted, 'nN')}"
                   f"{_other_constants(f)}{more}.",
                   by=(RECORDED, MEASURED) if reached else RECORDED)  # fmt: skip
    else:
        hole = f.hole("ramp", "set_force", "at which set force?", "30 nN")
        tail = f"; {reached}." if reached else "."
        yield said("The approach was stopped at a set force of ", hole, tail,
                   by=MEASURED if reached else "")  # fmt: skip
    held, seconds = f.hold
    if held:
        long_ = f" of {rounded(seconds, 's')} (median)" if math.isfinite(seconds) else ""
        some = "" if held == f.map.n_curves else f" in {held:,} of {f.map.n_curves:,} curves"
        yield said(f"At the turn the base was held{some} for a dwell{long_}.", by=RECORDED)
    else:
        yield said("No dwell at the turn is recorded.", by=RECORDED)
