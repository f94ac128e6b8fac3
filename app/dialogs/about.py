"""What this program is: version, licence, libraries, and what it must not be used for."""

from __future__ import annotations

from importlib import metadata

from PySide6.QtWidgets import QMessageBox, QWidget

from ..faults import about_this

LIBRARIES = ("PySide6-Essentials", "pyqtgraph", "numpy", "scipy", "numba", "h5py", "tifffile")


def about_text() -> str:
    """The text of the box, as rich text."""
    found = []
    for name in LIBRARIES:
        try:
            found.append(f"{name} {metadata.version(name)}")
        except metadata.PackageNotFoundError:
            continue
    return (
        f"<b>{about_this()}</b><p>A workbench for maps of force-distance curves on "
        "multi-component polymers: one curve at every pixel, a number at every pixel, and a reason "
        "to believe it.</p><p>MIT licence. Made with " + ", ".join(found) + ".</p>"
        "<p>For research and teaching. Not for qualifying safety-critical or medical parts: there "
        "accredited tests and local rules decide.</p>"
    )


def about_box(parent: QWidget) -> QMessageBox:
    """The box, not yet shown."""
    box = QMessageBox(QMessageBox.Icon.NoIcon, "About Palpate", about_text(), parent=parent)
    box.setStandardButtons(QMessageBox.StandardButton.Close)
    return box
