"""Makes the sample maps and their truth: ``python -m palpate.sample_maps.make [FOLDER]``.

Invented scenes, no real sample. `ski_boot.h5` has three components and 2 % spoiled curves;
`door_seal.h5` is soft, measured with a cone, and carries no calibration, so the program asks for it
(spring constant 0.1 N/m, deflection sensitivity 90 nm/V, half-angle 20 degrees).
"""

from __future__ import annotations

import sys
from pathlib import Path

from ..core.simulate import Simulated, door_seal, ski_boot, write_truth
from ..core.writers.native import write_map


def save(folder: Path, name: str, title: str, made: Simulated, *, calibrated: bool) -> None:
    """Write one map and its truth."""
    arrays = made.arrays(calibrated=calibrated)
    z, deflection = arrays.pop("z"), arrays.pop("deflection")
    write_map(folder / f"{name}.h5", z, deflection, title=title, medium="air",
              sample=", ".join(m.name for m in made.materials), **arrays)  # fmt: skip
    write_truth(folder / f"{name}.truth.h5", made)


def main(folder: Path | None = None) -> None:
    folder = folder or Path(__file__).parent
    save(folder, "ski_boot", "Ski-boot shell: polyamide 12, rubber and acrylic beads (invented)",
         ski_boot(), calibrated=True)  # fmt: skip
    save(folder, "door_seal", "Door seal: soft rubber with filler (invented, not calibrated)",
         door_seal(), calibrated=False)  # fmt: skip


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else None)
