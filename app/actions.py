"""One table of everything that can be done: menus, toolbar and the shortcut help are made from it.

`slot` names a method of one of the objects that `build` is given; an entry with ``checkable``
passes its state to it. ``needs`` says what must be there for it to be enabled.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtGui import QAction, QActionGroup, QKeySequence
from PySide6.QtWidgets import QMenu, QMenuBar, QToolBar, QWidget

from .theme import Theme, icon

MAP, RESULT, PIXEL = "a map", "a finished analysis", "a picked pixel"


@dataclass(frozen=True)
class Entry:
    """One thing that can be done.

    Attributes
    ----------
    id, text, slot, tip : identifier, menu text with its mnemonic, method, tooltip
    keys : shortcut as Qt writes it, or the name of a standard key; "" for none
    icon : name in `palpate.icons`
    menu : "File", "Edit", "Doubts", "Paper", "View" or "Help"; "" to show it in no menu
    needs : MAP, RESULT, PIXEL or ""
    group : entries of one group exclude each other
    short : word beside the icon in the toolbar
    """

    id: str
    text: str
    slot: str
    tip: str
    keys: str = ""
    icon: str = ""
    menu: str = ""
    needs: str = ""
    checkable: bool = False
    group: str = ""
    short: str = ""


SEPARATOR = None

ENTRIES: tuple[Entry | None, ...] = (
    Entry("open", "&Open a map…", "ask_open", "Open a map of force-distance curves, or a result",
          "StandardKey.Open", "open", "File", short="Open"),
    Entry("close_map", "&Close the map", "close_map", "Close the map and show the start page",
          "Ctrl+W", "", "File", MAP),
    Entry("picture", "&Lay a picture beside the map…", "ask_picture",
          "Compare the map with another picture of the same place", "", "", "File", MAP),
    SEPARATOR,
    Entry("save_result", "&Save the result…", "ask_save_result",
          "Save the whole analysis as a result file", "StandardKey.Save", "save", "File", RESULT,
          short="Save result"),
    Entry("export", "&Export…", "ask_export",
          "Export maps, tables, curves or the surface as plain files", "Ctrl+E", "export", "File",
          RESULT, short="Export"),
    SEPARATOR,
    Entry("load_settings", "Load sett&ings…", "ask_load_settings",
          "Load settings from a TOML or JSON file", "", "", "File", MAP),
    Entry("save_settings", "Save se&ttings…", "ask_save_settings",
          "Save the settings to a TOML or JSON file", "", "", "File", MAP),
    SEPARATOR,
    Entry("quit", "&Quit", "close", "Close the window", "StandardKey.Quit", "", "File"),
    Entry("undo", "&Undo", "undo", "Take back the last change", "StandardKey.Undo", "undo",
          "Edit", MAP, short="Undo"),
    Entry("redo", "&Redo", "redo", "Do again what was taken back", "StandardKey.Redo", "redo",
          "Edit", MAP, short="Redo"),
    SEPARATOR,
    Entry("copy", "&Copy", "copy", "Copy what has the focus: map, curve, table, values or settings",
          "StandardKey.Copy", "", "Edit", MAP),
    SEPARATOR,
    Entry("reset_all", "Reset &all settings", "reset_all", "All settings back to their defaults",
          "", "reset", "Edit", MAP),
    Entry("hold_reference", "&Hold as reference", "hold_reference",
          "Keep the present result, to see what other settings change", "Ctrl+R", "", "Edit",
          RESULT),
    Entry("drop_reference", "&Let the reference go", "drop_reference",
          "Compare with the reference no more", "Ctrl+Shift+R", "", "Edit", MAP),
    Entry("overlay_pixel", "Lay the cur&ve over others", "overlay_pixel",
          "Put the picked pixel's curve into the overlay, or take it out (Ctrl + click on the map)",
          "Ctrl+L", "", "Edit", MAP),
    Entry("recompute", "Re&compute the map", "recompute",
          "Go on with an analysis that was stopped", "F5", "", "Edit", MAP),
    Entry("cancel", "&Stop", "stop", "Stop what is being done", "Ctrl+.", "cancel", "Edit"),
    Entry("previous_channel", "&Previous channel", "previous_channel",
          "Show the channel before this one", "Ctrl+PgUp", "previous", "View", MAP),
    Entry("next_channel", "&Next channel", "next_channel", "Show the channel after this one",
          "Ctrl+PgDown", "next", "View", MAP),
    SEPARATOR,
    Entry("marks", "Show &marks of doubt", "show_marks",
          "Mark the pixels with a severe doubt on the map", "Ctrl+M", "", "View",
          checkable=True),
    Entry("next_doubtful", "&Next doubtful pixel", "next_doubtful",
          "Go to the next pixel of the list of doubts", "N", "", "Doubts", MAP),
    Entry("previous_doubtful", "&Previous doubtful pixel", "previous_doubtful",
          "Go back to the pixel before it in the list of doubts", "B", "", "Doubts", MAP),
    SEPARATOR,
    Entry("keep_pixel", "&Keep", "keep",
          "Believe the picked pixel, or the gathered ones, in spite of their doubts", "K", "",
          "Doubts", MAP),
    Entry("leave_pixel_out", "&Leave out", "leave_out",
          "Use the picked pixel, or the gathered ones, in no statistic, and in no export but of "
          "all pixels", "L", "", "Doubts", MAP),
    Entry("correct_pixel", "&Correct", "correct",
          "Give the picked pixel, or the gathered ones, a fit window or a contact point of their "
          "own: drag it on the curve", "C", "", "Doubts", MAP),
    Entry("take_pixel_back", "&Take back", "take_back",
          "Forget what was decided about the picked pixel, or the gathered ones", "U", "",
          "Doubts", MAP),
    Entry("note_pixel", "N&ote", "note_pixel", "Write a note on the decision", "T", "", "Doubts",
          MAP),
    SEPARATOR,
    Entry("gather_alike", "Gather &all like this", "gather_alike",
          "Gather all pixels that carry the same doubt and are at least as bad", "A", "", "Doubts",
          MAP),
    Entry("let_go", "Let &go what is gathered", "let_go",
          "Decisions are about the picked pixel again", "G", "", "Doubts", MAP),
    SEPARATOR,
    Entry("figure_sheets", "&Figure sheets…", "show_figures",
          "Lay out maps, curves, histograms and tables for print, and write them", "F11", "figure",
          "Paper", MAP),
    Entry("put_map", "Put the &map into the figure", "put_map",
          "Add the channel shown to the present figure sheet", "Ctrl+F11", "", "Paper", MAP),
    Entry("put_page", "Put the &page beside it into the figure", "put_page",
          "Add the curve, histogram, joint histogram or profile beside the map to the present "
          "figure sheet", "Shift+F11", "", "Paper", MAP),
    SEPARATOR,
    Entry("methods", "&Methods paragraph…", "show_methods",
          "What was done, in words for a paper, with the gaps to fill and the references", "", "",
          "Paper", RESULT),
    Entry("report", "&Report…", "ask_report",
          "Write the report of this analysis as a page or a PDF", "", "", "Paper", RESULT),
    Entry("pack", "&Pack for a reviewer…", "ask_pack",
          "All that is needed to check this work, in one zip or folder", "", "", "Paper", RESULT),
    Entry("panel_doubts", "&Doubts", "show_doubts_panel",
          "Show or hide the doubtful pixels, worst first, and what was decided about them", "F3",
          "doubts", "View", MAP, checkable=True),
    Entry("panel_settings", "&Settings", "show_settings_panel", "Show or hide the settings",
          "F9", "settings", "View", MAP, checkable=True),
    Entry("panel_values", "&Values", "show_values_panel",
          "Show or hide the values of the picked pixel", "F8", "curve", "View", MAP,
          checkable=True),
    Entry("panel_law", "&Law", "show_law_panel",
          "Show or hide which law may be used, and how sure the numbers are", "F7", "law", "View",
          MAP, checkable=True),
    Entry("panel_components", "&Components", "show_components_panel",
          "Show or hide the components: which pixel belongs to which, and their table", "F6",
          "components", "View", MAP, checkable=True),
    Entry("panel_places", "&Places", "show_places_panel",
          "Show or hide the regions and profiles on the map, and their numbers", "F4", "places",
          "View", MAP, checkable=True),
    Entry("reset_layout", "Reset &layout", "reset_layout", "All panels back to their places",
          "", "", "View", MAP),
    SEPARATOR,
    Entry("theme_system", "Colours of the s&ystem", "theme_system",
          "Light or dark as the system is", "", "light-dark", "View", checkable=True,
          group="theme"),
    Entry("theme_light", "L&ight", "theme_light", "Light colours", "", "", "View",
          checkable=True, group="theme"),
    Entry("theme_dark", "&Dark", "theme_dark", "Dark colours", "", "", "View", checkable=True,
          group="theme"),
    Entry("guide", "&Guide", "show_guide", "How to use Palpate, and what its numbers mean",
          "F1", "help", "Help", short="Guide"),
    Entry("shortcuts", "&Keys", "show_shortcuts", "All keys at a glance", "Ctrl+F1", "", "Help"),
    Entry("cautions", "&Cautions", "show_cautions", "What the numbers must not be used for",
          "", "", "Help"),
    SEPARATOR,
    Entry("about", "&About Palpate", "show_about", "Version, licence and libraries", "", "info",
          "Help"),
)  # fmt: skip

TOOLBAR = ("open", "save_result", "export", "|", "undo", "redo", "|", "previous_channel",
           "next_channel", "|", "guide")  # fmt: skip

WALKING = (
    ("←  →  ↑  ↓", "Go to the next pixel (on the map or the curve)"),
    ("Shift + ←  →  ↑  ↓", "Go ten pixels on"),
    ("1 … 8", "Choose a tool on the map: look, gather, region, profile"),
    ("Shift, Alt", "Add to the gathered pixels, take away from them (with a tool for gathering)"),
    ("[  ]", "Make the brush smaller or larger (as Shift and the wheel)"),
    ("Ctrl + click", "Lay the curve of a pixel of the map over others, or take it out"),
    ("Home", "Show the whole map"),
    ("←  →  ↑  ↓, Shift + ←  →  ↑  ↓", "On a figure sheet: move the chosen panel, span more or "
     "fewer cells"),
    ("Tab, Enter, Delete", "On a figure sheet: the next panel, its options, take it away"),
    ("Esc", "Give up a typed number, or a drag of the fit window"),
)
"""Keys that no entry of the table carries, for the help."""


def entries() -> list[Entry]:
    return [entry for entry in ENTRIES if entry is not None]


BY_ID = {entry.id: entry for entry in entries()}


def build(parent: QWidget, *targets: Any) -> dict[str, QAction]:
    """An action for each entry, each connected to the first target that has its slot."""
    made: dict[str, QAction] = {}
    groups: dict[str, QActionGroup] = {}
    for entry in entries():
        action = QAction(entry.text, parent)
        action.setObjectName(entry.id)
        action.setStatusTip(entry.tip)
        action.setCheckable(entry.checkable)
        if entry.short:
            action.setIconText(entry.short)
        if entry.keys:
            action.setShortcuts(shortcuts_of(entry.keys))
        slot = next(getattr(t, entry.slot) for t in targets if hasattr(t, entry.slot))
        if entry.checkable and not entry.group:
            action.triggered.connect(slot)
        else:
            action.triggered.connect(lambda _=False, call=slot: call())
        if entry.group:
            group = groups.setdefault(entry.group, QActionGroup(parent))
            group.addAction(action)
        parent.addAction(action)
        made[entry.id] = action
        set_tip(action, entry.tip)
    return made


def set_tip(action: QAction, text: str) -> None:
    """A tooltip with the key behind it."""
    keys = action.shortcut().toString(QKeySequence.SequenceFormat.NativeText)
    action.setToolTip(f"{text} ({keys})" if keys else text)


def shortcuts_of(keys: str) -> list[QKeySequence]:
    if keys.startswith("StandardKey."):
        standard = getattr(QKeySequence.StandardKey, keys.removeprefix("StandardKey."))
        found = QKeySequence.keyBindings(standard)
        if standard == QKeySequence.StandardKey.Redo and "Ctrl+Y" not in map(str, found):
            found = [*found, QKeySequence("Ctrl+Y")]
        return list(dict.fromkeys(found)) or [QKeySequence("Ctrl+Q")]
    return [QKeySequence(keys)]


def fill_menus(bar: QMenuBar, actions: Mapping[str, QAction]) -> dict[str, QMenu]:
    """Fill the menu bar; returns menu name -> menu."""
    menus: dict[str, QMenu] = {}
    current: QMenu | None = None
    for entry in ENTRIES:
        if entry is None:
            if current is not None:
                current.addSeparator()
            continue
        if entry.menu not in menus:
            menus[entry.menu] = bar.addMenu(f"&{entry.menu}")
        current = menus[entry.menu]
        current.addAction(actions[entry.id])
    return menus


def fill_toolbar(bar: QToolBar, actions: Mapping[str, QAction]) -> None:
    for name in TOOLBAR:
        if name == "|":
            bar.addSeparator()
            continue
        bar.addAction(actions[name])
        if BY_ID[name].short:
            button = bar.widgetForAction(actions[name])
            button.setToolButtonStyle(Qt.ToolButtonStyle.ToolButtonTextBesideIcon)


def set_icons(actions: Mapping[str, QAction], theme: Theme) -> None:
    for entry in entries():
        if entry.icon:
            actions[entry.id].setIcon(icon(entry.icon, theme))


def keys_table(actions: Mapping[str, QAction]) -> list[tuple[str, str]]:
    """(keys, what they do) of everything, for the help."""
    native = QKeySequence.SequenceFormat.NativeText
    found = [
        (actions[e.id].shortcut().toString(native), e.tip)
        for e in entries()
        if not actions[e.id].shortcut().isEmpty()
    ]
    return [*found, *WALKING]
