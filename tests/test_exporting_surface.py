"""The surface read back with trimesh: closed, of the stated size, with the colours of the table."""

from __future__ import annotations

import json

import numpy as np
import pytest
import trimesh
from shell_maps import curves, made

from palpate.core import ForceMap, Settings, analyse
from palpate.core.errors import InputError
from palpate.core.exporting import Body, Wanted, export_all
from palpate.core.exporting.surface import GREY, Heights, colours_of, printed
from palpate.core.findings import Findings
from palpate.core.work import Work

SIZE = (1300.0, 900.0)
"""nm from the first to the last pixel of 14 x 10 pixels that are 100 nm wide."""
STEP = 20.0


def findings(**given):
    """A map whose right half lies 20 nm higher, with one pixel that was never recorded."""
    z, d = curves()
    rows, cols = d.shape[:2]
    flat = [(r, c) for r in range(rows) for c in range(cols) if (r, c) != (3, 4)]
    pixel = np.array(flat)
    z = z - np.where(np.arange(cols) >= 7, STEP, 0.0)[None, :, None, None]  # higher: met earlier
    z, d = (a[pixel[:, 0], pixel[:, 1]] for a in (z, d))
    fmap = ForceMap.from_arrays(**made(z=z, deflection=d, pixel=pixel, digitise=False, **given))
    return Findings(analyse(fmap, Settings()), Work())


@pytest.fixture(scope="module")
def found():
    return findings()


def written(found, folder, **body):
    wanted = Wanted(("surface",), body=Body(**body))
    made = export_all(found, folder / "out", wanted)
    path = next(p for p in made.files if p.suffix == f".{body['formats'][0]}")
    about = json.loads(path.with_name(path.name + ".json").read_text(encoding="utf-8"))
    return trimesh.load(path, process=body["formats"][0] == "stl", force="mesh"), about, path


def test_the_printed_body_is_closed_and_has_its_size(found, tmp_path):
    height = found.analysis.channel("height")
    mesh, about, path = written(found, tmp_path, formats=("stl",), levelled=False, vertical=10.0,
                                width=50.0, base=3.0)  # fmt: skip
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.volume > 0.0
    scale = 50.0 / SIZE[0]
    range_nm = np.nanmax(height) - np.nanmin(height)
    truth = (50.0, SIZE[1] * scale, 3.0 + 10.0 * scale * range_nm)
    np.testing.assert_allclose(np.ptp(mesh.vertices, axis=0), truth, rtol=1e-5)
    np.testing.assert_allclose(about["size_mm"], truth, rtol=1e-5)
    assert about["vertical_factor"] == 10.0
    assert "1 missing heights are filled" in about["missing"]
    assert path.name == "height_z10x_50mm.stl"
    assert path.read_bytes()[:80].startswith(b"palpate surface, unit mm, 1 um = 38.4615 mm")
    # the volume is that of the heights over the floor: the mean over each square's two triangles
    top = (height - np.nanmin(height)) * scale * 10.0 + 3.0
    top[3, 4] = height_at(mesh, 4 * 100.0 * scale, 3 * 100.0 * scale)
    around = top[[2, 4, 3, 3], [4, 4, 3, 5]]
    assert np.isclose(around, top[3, 4], rtol=1e-5).any()  # filled from the nearest
    a, b, c, d = top[:-1, :-1], top[:-1, 1:], top[1:, 1:], top[1:, :-1]
    prisms = ((a + b + c) / 3 + (a + c + d) / 3) / 2 * (100.0 * scale) ** 2
    assert mesh.volume == pytest.approx(prisms.sum(), rel=1e-4)


def height_at(mesh, x, y):
    near = np.hypot(mesh.vertices[:, 0] - x, mesh.vertices[:, 1] - y) < 1e-3
    return mesh.vertices[near, 2].max()


@pytest.mark.parametrize("ending", ["ply", "obj", "glb"])
def test_the_coloured_body_has_the_colours_of_the_table(found, tmp_path, ending):
    analysis = found.analysis
    limits = (0.3, 2.0)
    mesh, about, _ = written(found, tmp_path, formats=(ending,), levelled=False, vertical=2.0,
                             colour="modulus", limits=limits)  # fmt: skip
    height, modulus = analysis.channel("height"), analysis.channel("modulus")
    there = np.isfinite(height)
    assert len(mesh.vertices) == there.sum() == 139
    assert "1 missing heights are left as holes" in about["missing"]
    axes = (0, 2, 1) if ending == "glb" else (0, 1, 2)
    size = 1e-3 * np.array([*SIZE, 2.0 * np.ptp(height[there])])
    np.testing.assert_allclose(np.ptp(mesh.vertices, axis=0)[list(axes)], size, rtol=1e-4)
    np.testing.assert_allclose(about["size_um"], size[list(axes)], rtol=1e-6)
    used = np.where(analysis.trusted, modulus, np.nan)[there]
    place = np.floor((used - limits[0]) / (limits[1] - limits[0]) * 256)
    truth = colours_of("viridis")[np.clip(np.nan_to_num(place), 0, 255).astype(int)]
    truth[~np.isfinite(used)] = GREY
    np.testing.assert_allclose(mesh.visual.vertex_colors, truth, atol=1)
    assert about["colour_limits"] == [0.3, 2.0]
    assert about["colour_unit"] == "GPa"
    assert about["above_limits"] == np.count_nonzero(used > 2.0)
    up = mesh.face_normals[:, axes[2]]
    assert (up > 0.0).all()  # seen from above
    corner = mesh.vertices[0][list(axes)]
    np.testing.assert_allclose(corner[:2], 0.0, atol=1e-9)  # row 0 lies where y is least


def test_the_tilt_is_taken_off_as_the_analysis_says_and_told(found, tmp_path):
    _, about, path = written(found, tmp_path, formats=("ply",))
    assert "plane" in about["levelling"]
    assert path.name == "height_levelled_z1x.ply"


@pytest.mark.parametrize(("across", "along"), [(1, 1), (-1, 1), (1, -1), (-1, -1)])
def test_the_body_is_not_mirrored_where_x_or_y_falls(across, along):
    """Each height stands over its own x and y, whatever the order in which they were scanned."""
    x, y = np.arange(3.0)[::across] * 100.0, np.arange(4.0)[::along] * 100.0
    values = np.arange(12.0).reshape(4, 3) ** 2
    mesh, scale, missing = printed(Heights(values, x, y, ""), Body(width=30.0, base=2.0))
    assert missing == 0
    assert mesh.is_watertight
    assert mesh.volume > 0.0
    for row in range(4):
        for col in range(3):
            truth = 2.0 + scale * values[row, col]
            assert height_at(mesh, x[col] * scale, y[row] * scale) == pytest.approx(truth)


def test_a_map_without_scale_gives_no_surface(tmp_path):
    bare = findings(scan_size=None)
    with pytest.raises(InputError, match="the map has no scale in nm"):
        export_all(bare, tmp_path / "out", Wanted(("surface",)))
    with pytest.raises(InputError, match="vertical factor of the surface is 0"):
        Body(vertical=0.0)
    assert list(tmp_path.iterdir()) == []
