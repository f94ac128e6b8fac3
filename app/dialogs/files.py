"""Asking for a file: the last folder is remembered, and nothing is replaced without asking."""

from __future__ import annotations

import re
from pathlib import Path

from PySide6.QtCore import QSettings
from PySide6.QtWidgets import QFileDialog, QWidget

from .errors import confirm

MAPS = "Maps of force curves and results (*.h5 *.hdf5 *.nxs);;All files (*)"
RESULTS = "Result file (*.h5)"
TABLES = "Table of numbers (*.csv)"
PLACES = "Places on a map (*.json)"
SETTINGS = "Settings as TOML (*.toml);;Settings as JSON (*.json)"


def last_folder(purpose: str) -> Path:
    """The folder used last for a purpose ("open", "save"), if it still exists; else home."""
    stored = QSettings("palpate", "palpate").value(f"folder/{purpose}", "", type=str)
    return Path(stored) if stored and Path(stored).is_dir() else Path.home()


def remember_folder(purpose: str, folder: Path) -> None:
    QSettings("palpate", "palpate").setValue(f"folder/{purpose}", str(folder))


def ask_open(parent: QWidget, title: str, kinds: str) -> Path | None:
    """The file to open, or None."""
    name, _ = QFileDialog.getOpenFileName(parent, title, str(last_folder("open")), kinds)
    if not name:
        return None
    remember_folder("open", Path(name).parent)
    return Path(name)


def ask_save(parent: QWidget, title: str, suggested: str, kinds: str) -> Path | None:
    """Where to save, or None. A missing ending is added; replacing is asked for."""
    place = str(last_folder("save") / suggested)
    name, kind = save_name(parent, title, place, kinds)
    if not name:
        return None
    path = with_ending(Path(name), kind or kinds)
    if path != Path(name) and not may_replace(parent, [path]):
        return None  # the dialog asked only about the name without the ending
    remember_folder("save", path.parent)
    return path


def save_dialog(parent: QWidget, title: str, place: str, kinds: str) -> QFileDialog:
    """The dialog for a place to save: the system's own, or Qt's with the words for saving."""
    dialog = QFileDialog(parent, title, str(Path(place).parent), kinds)
    dialog.setAcceptMode(QFileDialog.AcceptMode.AcceptSave)
    dialog.setFileMode(QFileDialog.FileMode.AnyFile)
    dialog.setLabelText(QFileDialog.DialogLabel.LookIn, "Save in:")
    dialog.selectFile(place)
    return dialog


def save_name(parent: QWidget, title: str, place: str, kinds: str) -> tuple[str, str]:
    """The name and the kind that were chosen; two empty texts if none was."""
    dialog = save_dialog(parent, title, place, kinds)
    try:
        if not dialog.exec() or not dialog.selectedFiles():
            return "", ""
        return dialog.selectedFiles()[0], dialog.selectedNameFilter()
    finally:
        dialog.deleteLater()


def ask_folder(parent: QWidget, title: str) -> Path | None:
    """A folder to save into, or None."""
    name = QFileDialog.getExistingDirectory(parent, title, str(last_folder("save")))
    if not name:
        return None
    remember_folder("save", Path(name))
    return Path(name)


def with_ending(path: Path, kind: str) -> Path:
    """The path with an ending that the chosen kind ("… (*.toml)") allows."""
    endings = re.findall(r"\*(\.\w+)", kind)
    if not endings or path.suffix.lower() in endings:
        return path
    return path.with_name(path.name + endings[0])


def may_replace(parent: QWidget, paths: list[Path]) -> bool:
    """Whether these files may be written: asks if some exist."""
    there = [path for path in paths if path.exists()]
    if not there:
        return True
    names = "\n".join(path.name for path in there[:6]) + ("\n…" if len(there) > 6 else "")
    count = "One file exists" if len(there) == 1 else f"{len(there)} files exist"
    return confirm(parent, f"{count} already in {there[0].parent}:\n\n{names}", "Replace")
