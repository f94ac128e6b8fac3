"""A small map with all that a pack can hold, and hands to change a pack with."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path

import numpy as np

from palpate.core.components import Axis, Rule
from palpate.core.corrections import reviewed
from palpate.core.decisions import Pixels, Review
from palpate.core.findings import completed, findings_of
from palpate.core.pictures.alignment import Alignment, with_picture
from palpate.core.pipeline import analyse
from palpate.core.places import Places, Polygon, Profile, Region
from palpate.core.readers import open_map
from palpate.core.settings import Settings
from palpate.core.sheets import Panel, Sheet
from palpate.core.simulate import Lever, Material, Ramp, simulate_map
from palpate.core.work import Laid, Work
from palpate.core.workfile import Beside, save_analysis
from palpate.core.writers import write_map

SHAPE = (12, 14)
SOFT, STIFF = Material("soft", 0.08, 0.45, 9.0, 0.05, 0.03), Material("stiff", 1.2, 0.4, 5.0, 0.05)
RULE = Rule(method="thresholds", axes=(Axis("reduced_modulus", True),), thresholds=(0.4,))
SHEET = Sheet("Figure 1", panels=(Panel("map"), Panel("histogram", col=1)))
PLACES = Places((Region("left", Polygon(((50.0, 50.0), (300.0, 50.0), (300.0, 500.0)))),),
                (Profile("across", ((60.0, 300.0), (640.0, 300.0))),))  # fmt: skip
ACTS = [{"time": "2026-05-01T10:00:00+00:00", "action": "leave pixels out"}]


def make_map(path: Path) -> Path:
    """Two materials side by side, noise of their own."""
    labels = np.indices(SHAPE)[1] // 7
    made = simulate_map(labels, (SOFT, STIFF), lever=Lever(2.0, 60.0, noise=0.06),
                        ramp=Ramp(travel=120.0, samples=128), scan_size=(700.0, 600.0),
                        seed=2)  # fmt: skip
    write_map(path, title="Two rubbers", **made.arrays())
    return path


def review() -> Review:
    out, kept = np.zeros(SHAPE, bool), np.zeros(SHAPE, bool)
    out[2, 3:6], kept[5, 5] = True, True
    found = Review().leave_out(Pixels.of(out), "dust").keep(Pixels.of(kept), "looks right")
    return found.correct(Pixels.one(SHAPE, 8, 10), {"fit.fraction_to": 60.0})


def picture_of(source: Path) -> Laid:
    """Another picture of the place, in the folder of the map."""
    path = source.with_name("electron image ü.csv")
    path.write_text("1,2,3\n4,5,6\n7,8,9\n", encoding="utf-8")
    lies = Alignment("similarity", ((200.0, 0.0, 50.0), (0.0, 200.0, 50.0), (0.0, 0.0, 1.0)),
                     "by hand")  # fmt: skip
    return Laid(path, with_picture(lies, path, source.parent))


def make_result(source: Path, path: Path) -> Path:
    """A result with components, decisions, places, a picture and a figure sheet."""
    from palpate.core.components.saving import write_components

    work = Work(Settings(), RULE, review(), PLACES, picture_of(source), sheets=(SHEET,))
    with open_map(source) as fmap:
        found = findings_of(reviewed(analyse(fmap, work.settings), work.review), work)
        assert completed(found) is found
        assert found.table is not None
        beside = Beside(lambda entry: write_components(entry, found.composition, found.table,
                                                       found.pairs), work, {}, ACTS)  # fmt: skip
        save_analysis(path, found.analysis, beside)
    return path


def sealed(folder: Path, change: Callable[[Path], object], name: str) -> None:
    """Change one file of a pack as somebody would who also writes its checksum anew."""
    change(folder / name)
    listed = folder / "CHECKSUMS.sha256"
    lines = [line.split("  ", 1) for line in listed.read_text(encoding="utf-8").splitlines()]
    digest = hashlib.sha256((folder / name).read_bytes()).hexdigest()
    listed.write_text("".join(f"{digest if at == name else old}  {at}\n" for old, at in lines),
                      encoding="utf-8")  # fmt: skip


def replaced(old: str, new: str) -> Callable[[Path], object]:
    """Replaces a text in a file, once."""

    def change(path: Path) -> None:
        text = path.read_text(encoding="utf-8")
        assert old in text
        path.write_text(text.replace(old, new, 1), encoding="utf-8")

    return change
