"""``info`` and ``simulate``: what a map holds, and making one."""

from __future__ import annotations

import argparse
from pathlib import Path

from ..errors import InputError


def info(args: argparse.Namespace) -> int:
    """Say what is in a map file."""
    from ..readers import open_map

    with open_map(args.map) as fmap:
        print(about(fmap))
    return 0


def about(fmap) -> str:
    """What a map file says about itself, in plain lines."""
    from dataclasses import fields

    from ..calibration import missing
    from ..settings import Settings
    from ..units import text_of

    rows, cols = fmap.shape
    lines = [f"{fmap.title or '(no title)'}", f"file        {fmap.path}, {fmap.file_size} bytes",
             f"curves      {fmap.n_curves} on {rows} x {cols} pixels"]  # fmt: skip
    if fmap.has_scale and cols > 1 and rows > 1:
        width = (fmap.x[-1] - fmap.x[0]) * cols / (cols - 1)
        height = (fmap.y[-1] - fmap.y[0]) * rows / (rows - 1)
        lines.append(f"area        {width / 1e3:.4g} x {height / 1e3:.4g} µm")
    counts = fmap.curve_count
    lines.append(f"samples     {counts.min()} to {counts.max()} a curve; signal in "
                 f"{fmap.signal_unit}")  # fmt: skip
    for spec in fields(fmap.recorded):
        value = getattr(fmap.recorded, spec.name)
        if value is None or value == "":
            continue
        if not isinstance(value, str):
            method = f" ({value.method})" if value.method else ""
            value = text_of(value.value, value.unit, value.error) + method
        lines.append(f"{spec.name.replace('_', ' '):24}{value}")
    lines += [f"note: {warning}" for warning in fmap.warnings]
    lines += [f"missing: {sentence}" for _, sentence in missing(fmap, Settings())]
    return "\n".join(lines)


def simulate(args: argparse.Namespace) -> int:
    """Make a map and its truth."""
    from ..simulate import SCENES, write_truth
    from ..writers.native import write_map

    if not 4 <= args.size <= 1024 or not 32 <= args.samples <= 8192:
        raise InputError("--size goes from 4 to 1024 and --samples from 32 to 8192.")
    made = SCENES[args.scene](args.size, args.seed, args.samples)
    arrays = made.arrays()
    z, deflection = arrays.pop("z"), arrays.pop("deflection")
    out = Path(args.out)
    write_map(out, z, deflection, title=f"Simulated: {args.scene}, seed {args.seed}", **arrays)
    truth = out.with_name(f"{out.stem}.truth.h5")
    write_truth(truth, made)
    print(f"Map: {out}\nTruth: {truth}")
    return 0
