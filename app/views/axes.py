"""The axes of a curve, as core works them out."""

from ...core.curveaxes import (
    TITLES,
    X_AXES,
    Y_AXES,
    Frame,
    baseline_of,
    contact_start,
    fitted_branch,
    frame_for,
    slope_branch,
    title,
    track,
    window_in_z,
    window_on,
    x_at,
    z_at,
)

__all__ = [
    "TITLES", "X_AXES", "Y_AXES", "Frame", "baseline_of", "contact_start", "fitted_branch",
    "frame_for", "slope_branch", "title", "track", "window_in_z", "window_on", "x_at", "z_at",
]  # fmt: skip
