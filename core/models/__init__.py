"""Contact laws: plain functions with formula, symbols, validity and source; one file per family.

A law is added with one file and one name in `LAWS`.
"""

from . import blunted_cone, hyperboloid, sphere
from .law import POWER, Law, Table, tabulate
from .power import POWERS

LAWS: dict[str, Law] = {
    law.name: law
    for law in (
        *POWERS,
        sphere.LAW,
        blunted_cone.LAW,
        hyperboloid.LAW,
    )
}
"""Every law of the form F = E* G(δ); adhesion is chosen beside it."""


def law_of(name: str) -> Law:
    """The law of that name; KeyError lists the known ones."""
    if name not in LAWS:
        raise KeyError(f"no contact law {name!r}; known: {', '.join(LAWS)}")
    return LAWS[name]


__all__ = ["LAWS", "POWER", "Law", "Table", "law_of", "tabulate"]
