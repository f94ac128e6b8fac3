"""What the components of a map look like, put together: domains, lengths, interfaces, order."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from ..progress import Progress
from ..shapes.domains import Domains, domains_of
from ..shapes.edge import WIDTH_10_90
from ..shapes.interfaces import InterfaceWidth, interface_width
from ..shapes.lengths import Chords, Lengths, boundary_length, chords_of, lengths_of
from ..shapes.nesting import Border, Shell, border_of, chains, shell_of
from ..units import text_of
from .composition import Composition
from .zones import contact_radii

INTERFACE_ON = "reduced_modulus"
"""The channel whose step across a boundary gives its width; else the first that the rule takes."""


@dataclass(frozen=True, eq=False)
class ShapeReport:
    """Shapes of all components; lengths in nm, or in pixels without a scale.

    Attributes
    ----------
    unit : of lengths
    domains, lengths, chords, borders : by component; empty components are left out
    boundary : (a, b) -> length of their boundary
    interfaces : of each pair that meets
    order : chains of components, each lying in the next
    shells : of each chain's first two links
    channel : that the interfaces were measured on
    """

    unit: str
    domains: dict[int, Domains]
    lengths: dict[int, Lengths]
    chords: dict[int, Chords]
    borders: dict[int, Border]
    boundary: dict[tuple[int, int], float]
    interfaces: dict[tuple[int, int], InterfaceWidth]
    order: list[tuple[int, ...]]
    shells: dict[tuple[int, int], Shell]
    channel: str

    def words(self, composition: Composition) -> list[str]:
        """What is to be said about it, in sentences."""
        said = []
        for chain in self.order:
            names = [composition.title(k) for k in chain]
            links = (f"{a} lies in {b}" for a, b in zip(names, names[1:], strict=False))
            said.append(f"Order: {', '.join(links)}.")
        for (core, shell), found in self.shells.items():
            if math.isfinite(found.thickness):
                spread = f" ± {found.spread:.2g}" if math.isfinite(found.spread) else ""
                thick = f"{found.thickness:.3g}{spread} {self.unit}"
                said.append(
                    f"The shell of {composition.title(shell)} around {composition.title(core)} is "
                    f"{thick} thick ({found.cores} cores, spread between them)."
                )
        for (a, b), width in self.interfaces.items():
            said.append(_interface_words(composition, a, b, width, self.unit))
        return said


def _interface_words(composition: Composition, a: int, b: int, width: InterfaceWidth, unit: str
                     ) -> str:  # fmt: skip
    between = f"Interface of {composition.title(a)} and {composition.title(b)}"
    edge = width.edge
    if not math.isfinite(edge.sigma):
        return f"{between}: no width ({edge.reason})."
    least = "at most " if not edge.resolved else ""
    scale = "log " if edge.log else ""
    error = f" ± {WIDTH_10_90 * edge.sigma_error:.2g}" if edge.resolved else ""
    wide = f"{least}{edge.width_10_90:.3g}{error} {unit}"
    pixel = max(composition.maps.pitch)
    if edge.width_10_90 < 2.0 * pixel:
        wide += f", with pixels of {pixel:.3g} {unit},"
    length = text_of(width.length, "nm") if unit == "nm" else f"{width.length:.3g} {unit}"
    return (f"{between}: {wide} from 10 to 90 % ({scale}modulus over {length} of boundary). "
            f"{width.words}")  # fmt: skip


def shape_report(composition: Composition, progress: Progress | None = None) -> ShapeReport:
    """Shapes of all components of a composition.

    Raises Cancelled on request.
    """
    progress = progress or Progress()
    maps, labels = composition.maps, composition.labels
    present = [k for k in range(composition.count) if composition.pixels(k).any()]
    domains, lengths, chords, borders = {}, {}, {}, {}
    for done, k in enumerate(present):
        progress.step(done, len(present), "Looking at shapes")
        progress.check()
        domains[k] = domains_of(labels, k, maps.pitch, smallest=1)
        mine = composition.pixels(k)
        lengths[k] = lengths_of(mine.astype(float), composition.labelled, maps.pitch)
        chords[k] = chords_of(domains[k].image > 0, maps.pitch,
                              known=composition.labelled | (domains[k].image > 0))  # fmt: skip
        borders[k] = border_of(labels, k, maps.pitch)
    order = chains(borders)
    shells = {(c[0], c[1]): shell_of(labels, c[0], c[1], maps.pitch) for c in order if len(c) > 2}
    boundary, interfaces = {}, {}
    channel = INTERFACE_ON if INTERFACE_ON in maps.values else composition.rule.axes[0].channel
    radii = contact_radii(maps, labels, composition.count)
    for a, b in combinations(present, 2):
        progress.check()
        length = boundary_length(labels, a, b, maps.pitch)
        if length <= 0.0:
            continue
        boundary[a, b] = length
        interfaces[a, b] = interface_width(
            maps.values[channel], labels, a, b, maps.pitch, usable=maps.usable,
            contact_radius=float(np.nanmin(radii[[a, b]])) if np.isfinite(
                radii[[a, b]]).any() else math.nan,
        )  # fmt: skip
    return ShapeReport("nm" if maps.scaled else "pixels", domains, lengths, chords, borders,
                       boundary, interfaces, order, shells, channel)  # fmt: skip


def domain_rows(report: ShapeReport, composition: Composition) -> list[list[object]]:
    """A head and one row for each domain, for a file."""
    names = ("area", "diameter", "perimeter", "circularity", "orientation", "aspect", "gap",
             "apart", "weight", "cut", "ragged")  # fmt: skip
    rows: list[list[object]] = [["component", "name", "domain", "x", "y", *names, "length_unit"]]
    for k, found in report.domains.items():
        for i in range(found.count):
            cells = [getattr(found, name)[i] for name in names]
            plain = [bool(c) if isinstance(c, np.bool_) else float(c) for c in cells]
            rows.append([composition.title(k)[:1], composition.rule.name(k), i + 1,
                         *map(float, found.centre[i]), *plain, report.unit])  # fmt: skip
    return rows
