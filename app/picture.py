"""Makes the README's picture of the window: ``python -m palpate.app.picture [OUT.png] [MAP]``.

The real window on a sample map, with a modulus map and a picked pixel; no display is needed.
"""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path
from time import monotonic

SIZE = (1280, 800)
PATIENCE = 120.0
"""Seconds to wait for the analysis, the first compilation included."""


def main(out: Path | None = None, map_path: Path | None = None, pixel: tuple[int, int] = (30, 20),
         channel: str = "modulus", theme: str = "light", axes: tuple[str, str] = ("z", "force"),
         ) -> Path:  # fmt: skip
    """Grab the window into a PNG file and return its path."""
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    from PySide6.QtCore import QSettings
    from PySide6.QtWidgets import QApplication

    from .. import icons, sample_maps
    from .main_window import MainWindow

    app = QApplication.instance() or QApplication(["palpate"])
    assert isinstance(app, QApplication)
    with tempfile.TemporaryDirectory() as folder:  # nobody's own settings are read or changed
        QSettings.setPath(QSettings.Format.NativeFormat, QSettings.Scope.UserScope, folder)
        window = MainWindow()
        getattr(window, f"theme_{theme}")()
        window.resize(*SIZE)
        window.show()
        session = window.session
        session.background.start()
        session.open(map_path or Path(sample_maps.__path__[0]) / "ski_boot.h5")
        end = monotonic() + PATIENCE
        while monotonic() < end:
            app.processEvents()
            if session.analysis is not None and session.analysis.complete:
                break
        session.choose_channel(channel)
        session.select(*pixel)
        until = monotonic() + 1.0
        while monotonic() < until:
            app.processEvents()
        path = out or Path(icons.__path__[0]) / "window.png"
        window.grab().save(str(path))
        session.close()
        window.close()
        window.deleteLater()
        app.processEvents()
    return path


if __name__ == "__main__":
    words = [Path(w) for w in sys.argv[1:]]
    print(main(*words[:2]))
