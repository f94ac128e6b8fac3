"""How far the law may be trusted here: depth against radius and thickness, and how well it fits."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from .facts import Array, Facts, said
from .mechanics import fitted
from .parts import ASSUMED, MEASURED, PROGRAM, Cite, Piece, Said
from .words import exact, middle, percent, reach, rounded

VALID = {
    "paraboloid": "a linear elastic sample without friction; it is exact for a paraboloid, and "
    "serves for a sphere while the indentation is well below the radius",
    "sphere": "a linear elastic sample without friction and with small slopes, and a contact "
    "radius below the tip radius",
    "cone": "a linear elastic sample without friction, and an indentation well above the rounding "
    "of the apex",
    "blunted_cone": "a linear elastic sample without friction and with small slopes",
    "hyperboloid": "a linear elastic sample without friction and with small slopes",
    "pyramid": "a linear elastic sample without friction; its coefficient is good to 1 %",
    "pyramid_solved": "a linear elastic sample without friction",
    "punch": "a linear elastic sample without friction, and a flat face in full contact",
}  # fmt: skip


@fitted
def validity(f: Facts) -> Iterator[Said]:
    """Depth against radius and thickness."""
    depth = f.channel("indentation")
    if not depth.size:
        yield said("No indentation could be worked out.", by=MEASURED)
        return
    yield said(f"The indentation at the peak force was {_depth(depth)}.", by=MEASURED)
    parts = [*_against_radius(f), *_against_layer(f)]
    if parts:
        yield said(f"{_capital('; '.join(parts))}.", by=MEASURED)
    if f.settings.fit.law != "free_exponent":
        yield said(f"The law is valid for {_validity(f)}.", by=PROGRAM)
    tabor = _tabor(f)
    if tabor:
        yield said(*tabor, by=(MEASURED, ASSUMED))


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
