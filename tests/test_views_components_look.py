"""Components: colours that show, in grey and to the colour-blind; one mark, one letter each."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from PySide6.QtGui import QColor

from palpate.app.theme import DARK, LIGHT
from palpate.app.views.component_look import look_of, swatch
from palpate.core.components.rule import MOST

# Simulation of full dichromacy in linear RGB: Machado, Oliveira & Fernandes, IEEE TVCG 15 (2009)
# 1291, severity 1.0 (from memory).
BLIND = {
    "protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
                   [-0.003882, -0.048116, 1.051998]],
    "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
                     [-0.011820, 0.042940, 0.968881]],
}  # fmt: skip
TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
"""sRGB to XYZ, IEC 61966-2-1."""
THEMES = [LIGHT, DARK]


def linear(text: str) -> np.ndarray:
    colour = QColor(text)
    c = np.array([colour.redF(), colour.greenF(), colour.blueF()])
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def lab(rgb: np.ndarray) -> np.ndarray:
    """CIE L*a*b*, D65 (CIE 15)."""
    t = TO_XYZ @ np.clip(rgb, 0, 1) / (TO_XYZ @ np.ones(3))
    f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def contrast(a: str, b: str) -> float:
    """WCAG 2.1 contrast."""
    high, low = sorted((float(TO_XYZ[1] @ linear(c)) for c in (a, b)), reverse=True)
    return (high + 0.05) / (low + 0.05)


@pytest.mark.parametrize("theme", THEMES, ids=lambda t: t.name)
def test_every_component_shows_on_the_panel(theme):
    """WCAG 2.1, 1.4.11: graphical objects need 3:1."""
    for number in range(MOST):
        assert contrast(look_of(number, theme).colour, theme.panel) >= 3.0, number


@pytest.mark.parametrize("theme", THEMES, ids=lambda t: t.name)
def test_the_first_five_differ_in_grey(theme):
    grey = sorted(lab(linear(look_of(n, theme).colour))[0] for n in range(5))
    assert min(np.diff(grey)) >= 5.0


@pytest.mark.parametrize("theme", THEMES, ids=lambda t: t.name)
@pytest.mark.parametrize("kind", sorted(BLIND))
def test_the_first_five_differ_to_the_colour_blind(theme, kind):
    seen = [lab(np.array(BLIND[kind]) @ linear(look_of(n, theme).colour)) for n in range(5)]
    assert min(np.linalg.norm(a - b) for a, b in itertools.combinations(seen, 2)) >= 8.0


@pytest.mark.parametrize("theme", THEMES, ids=lambda t: t.name)
def test_no_component_looks_like_another_or_like_what_has_a_meaning(theme):
    looks = [look_of(n, theme) for n in range(MOST)]
    for part in ("colour", "mark", "letter"):
        assert len({getattr(one, part) for one in looks}) == MOST
    for one, other in itertools.product(looks, (theme.accent, theme.doubt)):
        assert np.linalg.norm(lab(linear(one.colour)) - lab(linear(other))) >= 10.0, (one, other)


def test_no_component_is_neutral():
    assert QColor(look_of(-1, LIGHT).colour).saturation() < 30
    assert look_of(-1, LIGHT).letter == ""


def test_a_swatch_has_the_colour_of_its_component(qapp):
    image = swatch(2, LIGHT, 32).pixmap(32, 32).toImage()
    assert image.pixelColor(image.width() // 2, image.height() // 2) == QColor(
        look_of(2, LIGHT).colour)  # fmt: skip
