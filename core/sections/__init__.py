"""The sections of the settings: one frozen dataclass per stage, each field declared once.

A field carries its default, unit, range, help and source. `core.settings` puts the sections
together; import from there.
"""

from .belief import Doubts, Uncertainty
from .curve import Adhesion, Baseline, Fit, Stiffness, Viscous
from .instrument import Calibration, Layer, Sample, Tip

SECTIONS: dict[str, type] = {
    "calibration": Calibration, "tip": Tip, "sample": Sample, "layer": Layer,
    "baseline": Baseline, "adhesion": Adhesion, "fit": Fit, "stiffness": Stiffness,
    "viscous": Viscous, "uncertainty": Uncertainty, "doubts": Doubts,
}  # fmt: skip
