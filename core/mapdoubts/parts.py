"""What a doubt about a whole map is made of."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

Array = np.ndarray


@dataclass(frozen=True, eq=False)
class Plot:
    """What the doubt is seen on, as plain data for a drawing.

    Attributes
    ----------
    title, x_label, y_label : labels with units
    x, y, error : (n,) and the standard uncertainty of y; NaN where missing or not known
    fit_x, fit_y : (m,) the line that was fitted
    """

    title: str
    x_label: str
    y_label: str
    x: Array
    y: Array
    error: Array
    fit_x: Array
    fit_y: Array


@dataclass(frozen=True, eq=False)
class Evidence:
    """Why a map is doubted: pictures, and figures with their standard uncertainty.

    Attributes
    ----------
    plots : what it is seen on
    facts : words -> (value, standard uncertainty, unit); NaN where the ± is not known
    line : number of the row (or column, as `along` says) where something changes; -1 if nowhere
    along : "row" or "column": what a line of the scan is
    channels : names of the channels that are concerned
    """

    plots: tuple[Plot, ...] = ()
    facts: Mapping[str, tuple[float, float, str]] = field(default_factory=dict)
    line: int = -1
    along: str = "row"
    channels: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class MapDoubt:
    """One reason not to believe a map as a whole.

    Attributes
    ----------
    name, severity : identifier; "severe" or "mild", as of the doubts about a curve
    sentence : what was seen, with numbers
    figure, error, unit : the figure that was judged and its standard uncertainty (NaN: not known)
    threshold : the limit that was passed, in the same unit; from the settings
    repair : what to do
    evidence : what it was seen on
    """

    name: str
    severity: str
    sentence: str
    figure: float
    error: float
    threshold: float
    unit: str
    repair: str
    evidence: Evidence = field(default_factory=Evidence, repr=False)


def factor_words(log: float, error: float) -> str:
    """``1.21 ± 0.02`` from a step of a logarithm and its standard uncertainty."""
    value, own = math.exp(log), math.exp(log) * error
    places = 2 if not own > 0.0 else min(max(1 - math.floor(math.log10(own)), 0), 3)
    tail = f" ± {own:.{places}f}" if own > 0.0 else ""
    return f"{value:.{places}f}{tail}"
