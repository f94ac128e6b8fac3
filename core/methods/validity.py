"""How far the law may be trusted here: depth against radius and thickness, and how well it fits."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from .facts import Array, Facts, said
from .mechanics import fitted
from .parts import ASSUMED, MEASURED, PROGRAM, Cite, Piece, Said
from .words import exact, listed, middle, percent, reach, rounded

_LINEAR = "a linear elastic sample without friction and with small strains"
_SMALL = "a linear elastic sample without friction and with small slopes"
VALID = {
    "paraboloid": f"{_LINEAR}, the contact radius well below the tip radius; it is exact for a "
    "paraboloid, and serves for a sphere while the indentation is well below the radius",
    "sphere": f"{_SMALL}, and a contact radius below the tip radius",
    "cone": f"{_LINEAR}, and an indentation well above the rounding of the apex",
    "blunted_cone": _SMALL, "hyperboloid": _SMALL,
    "pyramid": f"{_LINEAR}; its coefficient is good to 1 %", "pyramid_solved": _LINEAR,
    "punch": f"{_LINEAR}, and a flat face in full contact",
}  # fmt: skip


@fitted
def validity(f: Facts) -> Iterator[Said]:
    """Depth against radius and thickness."""
    depth = f.channel("indentation")
    if not depth.size:
        yield said("No indentation could be worked out." if f.used.any() else
                   "No indentation is given, since no pixel is used.", by=MEASURED)  # fmt: skip
        return
    yield said(f"The indentation at the peak force was {_depth(depth)}.", by=MEASURED)
    parts = [*_against_radius(f), *_against_layer(f)]
    if parts:
        yield said(f"{_capital('; '.join(parts))}.", by=MEASURED)
    if f.settings.fit.law != "free_exponent":
        yield said(f"The law is valid for {_validity(f)}.", by=PROGRAM)
        yield from _verdict(f)
    tabor = _tabor(f)
    if tabor:
        yield said(*tabor, by=(MEASURED, ASSUMED))


def _verdict(f: Facts) -> Iterator[Said]:
    """Whether the program's own checks find the law within its conditions here, and if not, which
    condition is not met, with its figure."""
    from ..advice.laws import law_checks
    from ..advice.parts import BROKEN, STRAINED, UNKNOWN

    checks = law_checks(f.figures)
    begin = "By the program's own checks"
    bad = [one for one in checks if one.verdict in (STRAINED, BROKEN)]
    if any(one.name == "lambda" for one in bad):  # says the same as Tabor's parameter
        bad = [one for one in bad if one.name != "tabor"]
    lost = [_label(one) for one in checks if one.verdict == UNKNOWN]
    unknown = f"; not judged: {listed(lost)}" if lost else ""
    if not bad:
        some = "no condition of the law that could be judged" if lost else "no condition of the law"
        yield said(f"{begin} {some} is overstepped at these curves{unknown}.", by=MEASURED)
        return
    each = "; ".join(_overstepped(one) for one in bad)
    broken = any(one.verdict == BROKEN for one in bad)
    how = "used outside its conditions" if broken else "strained"
    yield said(f"{begin} the law is {how} at these curves: {each}{unknown}.", by=MEASURED)


def _overstepped(one: Any) -> str:
    """A condition that is not met: its words, its limit, and how many curves are beyond it."""
    beyond = f"; {percent(one.outside)} of the curves looked at do not keep it" if (
        one.outside > 0.0) else ""  # fmt: skip
    return f"{_label(one)} (limit: {one.limit}{beyond})"


def _label(one: Any) -> str:
    """A check's words within a sentence."""
    return one.label if one.label.startswith(("Tabor", "Maugis")) else (
        f"{one.label[:1].lower()}{one.label[1:]}")  # fmt: skip


def _depth(depth: Array) -> str:
    return reach(depth, "nm")


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _validity(f: Facts) -> str:
    if f.settings.fit.adhesion in ("jkr", "two_point"):
        return ("a linear elastic, thick sample, a contact radius well below the tip radius, and a "
                "large Tabor parameter (above about 5)")  # fmt: skip
    if f.settings.fit.adhesion == "maugis":
        return "a linear elastic, thick sample and a contact radius well below the tip radius"
    return VALID[f.settings.fit.law] + (
        "; its correction is for a layer on a rigid base that is wide against its thickness"
        if f.settings.layer.base != "none" else "")  # fmt: skip


def _against_radius(f: Facts) -> Iterator[str]:
    c = f.contacts
    if math.isfinite(c.radius):
        with np.errstate(all="ignore"):
            yield f"over the tip radius it was {reach(np.asarray(c.depth / c.radius))}"
            wide = np.asarray(c.contact_radius / c.radius)
        if f.settings.fit.law not in ("punch",) and np.isfinite(wide).any():
            yield f"the contact radius over the tip radius was {reach(wide)}"


def _against_layer(f: Facts) -> Iterator[str]:
    c = f.contacts
    if f.settings.layer.base == "none":
        return
    with np.errstate(all="ignore"):
        yield f"the indentation over the thickness was {reach(np.asarray(c.depth / c.thickness))}"
        wide = np.asarray(c.contact_radius / c.thickness)
    if np.isfinite(wide).any():
        yield f"the contact radius over the thickness was {reach(wide)}"


def _tabor(f: Facts) -> tuple[Piece, ...]:
    fit = f.settings.fit
    if fit.law not in ("paraboloid", "sphere") or fit.adhesion == "none" or not f.moduli:
        return ()
    with np.errstate(all="ignore"):
        mu = np.asarray(f.contacts.tabor)
    here = mu[np.isfinite(mu)]
    if not here.size:
        return ()
    return ("The Tabor parameter", Cite(("tabor1977",)), f", with the work of adhesion from the "
            f"pull-off and a range of the attraction of {exact(fit.distance, 'nm')}, was "
            f"{reach(here)}; it is small for DMT and above about 5 for JKR.")  # fmt: skip


def goodness(f: Facts) -> Iterator[Said]:
    residual, noise = f.channel("residual"), f.channel("noise")
    if not residual.size:
        return
    text = f"The root mean square residual of the fits was {middle(residual)} times the noise"
    if noise.size:
        text += f" of the baseline, which was {_noise(f, noise)}"
    worst = f.settings.doubts.worst_residual
    share = float(np.mean(residual > worst))
    over = f"no residual exceeded {exact(worst)} times the noise" if share == 0.0 else (
        f"{percent(share)} of the fits used exceeded {exact(worst)} times the noise")  # fmt: skip
    yield said(f"{text}; {over}.", by=MEASURED)


def _noise(f: Facts, noise: Array) -> str:
    from ..channels import CHANNELS

    return rounded(f.median(noise), CHANNELS["noise"].unit) + " (median)"
