"""Colour maps are those of their makers, equal steps look equal, and nobody loses the order.

Outside: Matplotlib's own tables, pyqtgraph's, scikit-image's CIELAB (CIE 1976) and CIEDE2000
(Sharma, Wu & Dalal 2005), and the deficiency matrices of the package colorspacious 1.1.2.
"""

from __future__ import annotations

import numpy as np
import pytest

from palpate.core import colours
from palpate.core.channels import CHANNELS
from palpate.core.errors import SettingsError

SEQUENTIAL = [n for n, c in colours.COLOURS.items() if c.kind == "sequential"]
DIVERGING = [n for n, c in colours.COLOURS.items() if c.kind == "diverging"]


def lab(name, look="colour"):
    from skimage.color import rgb2lab

    return rgb2lab(colours.seen(colours.table(name), look)[None, :, :3])[0]


def steps(name, look="colour", apart=8):
    """CIEDE2000 between colours that lie 8 of 256 apart."""
    from skimage.color import deltaE_ciede2000

    found = lab(name, look)
    return deltaE_ciede2000(found[:-apart:apart], found[apart::apart])


@pytest.mark.parametrize("name", ["viridis", "cividis", "plasma"])
def test_tables_are_those_of_matplotlib(name):
    import matplotlib

    theirs = matplotlib.colormaps[name](np.arange(256))
    assert np.abs(colours.table(name) - 255.0 * theirs).max() <= 1.0


def test_the_screen_keeps_its_colours():
    import pyqtgraph as pg

    from palpate.app import theme

    for kind, name in (("magnitude", "viridis"), ("height", "plasma"), ("signed", "CET-D1A")):
        before = pg.colormap.get(name).getLookupTable(0.0, 1.0, 255, alpha=True)
        now = theme.colour_table(kind)
        assert now.shape == (255, 4)
        assert now.dtype == np.uint8
        assert np.abs(now.astype(int) - before.astype(int)).max() <= 1
        assert colours.for_kind(kind) == name


def test_every_kind_of_channel_has_its_colours():
    kinds = {channel.kind for channel in CHANNELS.values()}
    assert kinds <= set(colours.KIND_COLOURS)
    assert colours.COLOURS[colours.for_kind("signed")].kind == "diverging"
    with pytest.raises(SettingsError, match="viridis"):
        colours.table("rainbow")


@pytest.mark.parametrize("name", list(colours.COLOURS))
def test_equal_steps_look_equal(name):
    """No step is half as large again or half as small as the mean but for plasma, whose ends are
    flatter by this formula (it was made uniform by another one, CAM02-UCS); a rainbow is worse by
    far."""
    found = steps(name)
    low, high = (0.45, 1.55) if name == "plasma" else (0.55, 1.55)
    assert low < found.min() / found.mean()
    assert found.max() / found.mean() < high


def test_the_measure_condemns_a_rainbow():
    import matplotlib
    from skimage.color import deltaE_ciede2000, rgb2lab

    jet = rgb2lab(matplotlib.colormaps["jet"](np.arange(256))[None, :, :3])[0]
    found = deltaE_ciede2000(jet[:-8:8], jet[8::8])
    assert found.max() / found.mean() > 1.9


@pytest.mark.parametrize("look", list(colours.LOOKS))
@pytest.mark.parametrize("name", SEQUENTIAL)
def test_more_is_brighter_for_every_reader(name, look):
    light = colours.lightness(colours.seen(colours.table(name), look))
    assert (np.diff(light[::8]) > 0).all()
    assert light[-1] - light[0] > 60.0


@pytest.mark.parametrize("look", ["colour", *colours.DEFICIENCIES])
@pytest.mark.parametrize("name", DIVERGING)
def test_both_signs_can_be_told_apart(name, look):
    """Colours as far from zero on either side differ by more than ten of CIEDE2000."""
    from skimage.color import deltaE_ciede2000

    found = lab(name, look)
    assert (deltaE_ciede2000(found[:96], found[::-1][:96]) > 10.0).all()


def test_grey_keeps_the_lightness_of_cie():
    from skimage.color import rgb2lab

    rng = np.random.default_rng(1)
    some = rng.integers(0, 256, (40, 50, 3), dtype=np.uint8)
    theirs = rgb2lab(some)[..., 0]
    assert np.abs(colours.lightness(some) - theirs).max() < 0.02
    grey = colours.grey(some)
    assert (grey[..., 0] == grey[..., 1]).all()
    assert (grey[..., 0] == grey[..., 2]).all()
    assert np.abs(rgb2lab(grey)[..., 0] - theirs).max() < 0.6  # a grey is one of 256


MACHADO = {  # Machado, Oliveira & Fernandes 2009, severity 1.0, as in colorspacious 1.1.2
    "protan": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
               [-0.003882, -0.048116, 1.051998]],
    "deutan": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
               [-0.011820, 0.042940, 0.968881]],
    "tritan": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
               [0.004733, 0.691367, 0.303900]],
}  # fmt: skip


@pytest.mark.parametrize("kind", list(MACHADO))
def test_deficient_sight_is_the_published_one(kind):
    rng = np.random.default_rng(2)
    some = rng.integers(0, 256, (500, 4), dtype=np.uint8)
    coded = some[:, :3] / 255.0
    light = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
    seen = np.clip(light @ np.array(MACHADO[kind]).T, 0.0, 1.0)  # IEC 61966-2-1
    wanted = 255.0 * np.where(seen <= 0.0031308, 12.92 * seen, 1.055 * seen ** (1 / 2.4) - 0.055)
    found = colours.deficient(some, kind)
    assert (found[:, 3] == some[:, 3]).all()
    off = np.abs(found[:, :3] - wanted)
    assert np.quantile(off, 0.99) < 1.2
    assert off.max() < 3.0  # of the darkest, where the table of 4096 steps is coarse
    white = np.full((1, 4), 255, np.uint8)
    assert (colours.deficient(white, kind) == white).all()


def test_components_look_alike_on_screen_and_paper():
    from palpate.app import theme
    from palpate.app.views.component_look import look_of

    for number in (0, 1, 5, 13):
        on_screen = look_of(number, theme.LIGHT).colour
        assert on_screen == colours.component_colour(number)
    first = np.array([colours.rgb(c) for c in colours.COMPONENTS["light"][:3]], np.uint8)
    assert (np.diff(np.sort(colours.lightness(first))) > 5.0).all()
