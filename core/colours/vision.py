"""How a picture looks in grey, and to readers whose colour vision differs.

Grey keeps CIE lightness: luminance of the linear sRGB values (IEC 61966-2-1:1999), the grey whose
sRGB value has that luminance. Colour-vision deficiency after Machado, Oliveira & Fernandes, IEEE
Trans. Vis. Comput. Graph. 15, 1291 (2009): their matrices for full severity, on linear sRGB.
"""

from __future__ import annotations

import numpy as np

Array = np.ndarray

DEFICIENCIES = {
    "protan": ("no red cones", ((0.152286, 1.052583, -0.204868),
                                (0.114503, 0.786281, 0.099216),
                                (-0.003882, -0.048116, 1.051998))),
    "deutan": ("no green cones", ((0.367322, 0.860646, -0.227968),
                                  (0.280085, 0.672501, 0.047413),
                                  (-0.011820, 0.042940, 0.968881))),
    "tritan": ("no blue cones", ((1.255528, -0.076749, -0.178779),
                                 (-0.078411, 0.930809, 0.147602),
                                 (0.004733, 0.691367, 0.303900))),
}  # fmt: skip
"""Kind -> words and matrix at severity 1.0; compared with the copy of the authors' table in the
package colorspacious 1.1.2 (2018)."""
LOOKS = {"colour": "in colour", "grey": "in grey", "protan": "without red cones",
         "deutan": "without green cones", "tritan": "without blue cones"}  # fmt: skip
"""Ways to look at a picture, with words for people."""

LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
_FINE = 4096


def linear(level: Array) -> Array:
    """Linear sRGB from encoded values, both 0 to 1."""
    level = np.asarray(level, float)
    return np.where(level <= 0.04045, level / 12.92, ((level + 0.055) / 1.055) ** 2.4)


def encoded(light: Array) -> Array:
    """Encoded sRGB from linear values, both 0 to 1."""
    light = np.clip(np.asarray(light, float), 0.0, 1.0)
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


_LINEAR = linear(np.arange(256) / 255.0).astype(np.float32)
_ENCODED = np.rint(255.0 * encoded(np.arange(_FINE) / (_FINE - 1.0))).astype(np.uint8)


def _to_bytes(light: Array) -> Array:
    return np.asarray(_ENCODED[np.rint(np.clip(light, 0.0, 1.0) * (_FINE - 1)).astype(np.int16)])


def lightness(rgba: Array) -> Array:
    """CIE L* of uint8 sRGB colours (..., 3 or 4) under their own white; (...), 0 to 100."""
    y = _LINEAR[np.asarray(rgba)[..., :3]].astype(float) @ LUMINANCE
    return np.where(y > 216 / 24389, 116.0 * np.cbrt(y) - 16.0, y * 24389 / 27)


def grey_of_lightness(value: Array) -> Array:
    """The grey, uint8, that has a CIE L*."""
    value = np.asarray(value, float)
    y = np.where(value > 8.0, ((value + 16.0) / 116.0) ** 3, value * 27 / 24389)
    return np.rint(255.0 * encoded(y)).astype(np.uint8)


def grey(rgba: Array) -> Array:
    """A picture in grey of the same lightness; uint8 (..., 3 or 4), opacity kept."""
    rgba = np.asarray(rgba)
    made = rgba.copy()
    made[..., :3] = _to_bytes(_LINEAR[rgba[..., :3]] @ LUMINANCE.astype(np.float32))[..., None]
    return made


def deficient(rgba: Array, kind: str) -> Array:
    """A picture as it is seen with one kind of cones missing; uint8 (..., 3 or 4).

    Raises KeyError for a kind that is not in `DEFICIENCIES`.
    """
    rgba = np.asarray(rgba)
    matrix = np.array(DEFICIENCIES[kind][1], np.float32)
    made = rgba.copy()
    made[..., :3] = _to_bytes(_LINEAR[rgba[..., :3]] @ matrix.T)
    return made


def seen(rgba: Array, look: str) -> Array:
    """A picture in one of `LOOKS`. Raises KeyError for another."""
    if look not in LOOKS:
        raise KeyError(look)
    if look == "colour":
        return np.asarray(rgba)
    return grey(rgba) if look == "grey" else deficient(rgba, look)
