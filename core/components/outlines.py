"""Outlines of distributions of two channels, for the window and for paper."""

from __future__ import annotations

import math

import numpy as np

Array = np.ndarray


def ellipse(centre: Array, covariance: Array, share: float, corners: int = 72
            ) -> tuple[Array, Array]:  # fmt: skip
    """Outline that holds a share of a normal distribution of two dimensions.

    Its radius is √(-2 ln(1 - share)) standard deviations, since the square of the distance is
    exponentially distributed.
    """
    angle = np.linspace(0.0, 2.0 * math.pi, corners + 1)
    values, axes = np.linalg.eigh(np.asarray(covariance, float))
    round_ = np.stack([np.cos(angle), np.sin(angle)])
    reach = math.sqrt(-2.0 * math.log(1.0 - share))
    out = axes @ (np.sqrt(np.maximum(values, 0.0))[:, None] * round_) * reach
    return out[0] + float(centre[0]), out[1] + float(centre[1])
