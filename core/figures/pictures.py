"""Pictures of maps for a look without a window. Matplotlib is imported when a picture is drawn."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from ..analysis import Analysis
from ..channels import CHANNELS, Channel
from ..units import best_unit
from ..writers.atomic import saving

FIRST_CHOICE = ("height", "modulus", "stiffness", "adhesion", "dissipation", "indentation")
OUTSIDE = "0.8"
"""Grey of a pixel without a value: no colour of the maps."""


def robust_limits(values: np.ndarray, signed: bool = False) -> tuple[float, float]:
    """The 2nd and 98th percentile of the finite values, widened if they are equal.

    Signed quantities get limits that are symmetric about zero; without a finite value 0 and 1.
    """
    finite = values[np.isfinite(values)]
    if finite.size == 0:
        return 0.0, 1.0
    low, high = (float(v) for v in np.percentile(finite, [2, 98]))
    if signed:
        high = max(abs(low), abs(high))
        low = -high
    if not high > low:
        pad = abs(low) * 0.01 or 0.5
        low, high = low - pad, high + pad
    return low, high


def _draw(axes, figure, analysis: Analysis, channel: Channel) -> None:
    values = analysis.channel(channel.name)
    low, high = robust_limits(values, channel.kind == "signed")
    unit, factor = best_unit(max(abs(low), abs(high)), channel.unit)
    fmap = analysis.map
    half_x = 0.5 * (fmap.x[1] - fmap.x[0]) if fmap.x.size > 1 else 0.5
    half_y = 0.5 * (fmap.y[1] - fmap.y[0]) if fmap.y.size > 1 else 0.5
    scale = 1e-3 if fmap.has_scale else 1.0
    extent = [scale * v for v in (fmap.x[0] - half_x, fmap.x[-1] + half_x,
                                  fmap.y[0] - half_y, fmap.y[-1] + half_y)]  # fmt: skip
    axes.set_facecolor(OUTSIDE)
    image = axes.imshow(values * factor, origin="lower", extent=extent, interpolation="nearest",
                        cmap="PuOr_r" if channel.kind == "signed" else "viridis",
                        vmin=low * factor, vmax=high * factor)  # fmt: skip
    bar = figure.colorbar(image, ax=axes, extend="both")
    bar.set_label(f"{channel.label} ({unit})" if unit else channel.label)
    words = "µm" if fmap.has_scale else "pixels"
    axes.set_xlabel(f"x ({words})")
    axes.set_ylabel(f"y ({words})")
    axes.set_title(f"{channel.label}, 2 to 98 %; grey: no value", fontsize=9)


def pictures(analysis: Analysis, folder: Path, names: tuple[str, ...] = FIRST_CHOICE) -> list[Path]:
    """Write one PNG a channel into a folder; channels without any value are left out.

    Raises WriteError if the folder can't be written to.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    written = []
    for name in names:
        if not np.isfinite(analysis.channel(name)).any():
            continue
        figure = Figure(figsize=(5.2, 4.2), layout="constrained")
        FigureCanvasAgg(figure)
        _draw(figure.add_subplot(), figure, analysis, CHANNELS[name])
        path = folder / f"{name}.png"
        with saving(path) as temporary:
            figure.savefig(temporary, dpi=150, format="png")
        written.append(path)
    return written
