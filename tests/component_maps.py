"""Drawn maps of components whose truth is known: patterns of random fields, not of the program.

The pattern is where a Gaussian random field lies above a level, so its area fraction over many
maps is exactly known (the normal distribution's tail), while each map has its own. Inside each
component the values vary with a correlated and an uncorrelated part.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage, stats

from palpate.core.components import Maps


def random_field(size: int, width: float, rng: np.random.Generator) -> np.ndarray:
    """A Gaussian random field of mean 0 and variance 1 over all draws, correlation
    exp(-h²/(4 width²)), cut from a field four times as wide so that its edges know no wrap."""
    wide = 4 * size
    k2 = np.fft.fftfreq(wide)[:, None] ** 2 + np.fft.fftfreq(wide)[None, :] ** 2
    damp = np.exp(-2.0 * (np.pi * width) ** 2 * k2)
    spectrum = np.fft.fft2(rng.normal(size=(wide, wide))) * damp
    return np.fft.ifft2(spectrum).real[:size, :size] / np.sqrt(np.square(damp).mean())


@dataclass(frozen=True)
class Kind:
    """One component: medians of E* [GPa] and adhesion [nN]; spreads of ln E* and of adhesion."""

    modulus: float
    adhesion: float
    spread: float = 0.08
    adhesion_spread: float = 0.3


STIFF, SOFT, MIDDLE = Kind(1.8, 4.8), Kind(0.05, 9.0), Kind(0.4, 6.4)


@dataclass(frozen=True)
class Drawn:
    """A drawn map: `maps` as the program takes them, `labels` as drawn (index into the kinds)."""

    maps: Maps
    labels: np.ndarray


def drawn(
    kinds: tuple[Kind, ...], fractions: tuple[float, ...], *, size: int = 64, width: float = 2.5,
    correlated: float = 0.5, within: float = 2.0, blur: float = 0.6, spoiled: float = 0.0,
    seed: int = 1,
) -> Drawn:  # fmt: skip
    """A map of several components.

    Parameters
    ----------
    fractions : of all but the first, each an own pattern laid over those before
    width : of the pattern [pixels]; `within` of the correlated part inside components, which has
        the share `correlated` of the variance
    blur : standard deviation of what the tip averages over [pixels]; the contact radius is twice
        as large
    spoiled : share of lone pixels with numbers out of all reason
    """
    rng = np.random.default_rng(seed)
    labels = np.zeros((size, size), int)
    for k, fraction in enumerate(fractions, start=1):
        labels[random_field(size, width, rng) > stats.norm.isf(fraction)] = k
    images = []
    for name, spread in (("modulus", "spread"), ("adhesion", "adhesion_spread")):
        middle = np.array([getattr(kind, name) for kind in kinds])
        middle = np.log(middle) if name == "modulus" else middle
        mean = ndimage.gaussian_filter(middle[labels], blur) if blur else middle[labels]
        unrest = (np.sqrt(correlated) * random_field(size, within, rng)
                  + np.sqrt(1.0 - correlated) * rng.normal(size=(size, size)))  # fmt: skip
        images.append(mean + np.array([getattr(kind, spread) for kind in kinds])[labels] * unrest)
    logs, adhesion = images
    depth = np.full(labels.shape, 5.0)
    wrong = rng.random((size, size)) < spoiled
    logs[wrong] += rng.choice([-3.0, 3.0], int(wrong.sum()))
    adhesion[wrong] += rng.uniform(10.0, 100.0, int(wrong.sum()))
    maps = Maps({"reduced_modulus": np.exp(logs), "adhesion": adhesion, "indentation": depth},
                contact_radius=lambda depth: np.full(len(depth), 2.0 * blur))  # fmt: skip
    return Drawn(maps, labels)
