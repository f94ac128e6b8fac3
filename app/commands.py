"""What the menus do with files: opening, saving, exporting, settings files, and the guide."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QEventLoop, QObject

from ..core.components.rule import Rule
from ..core.errors import Cancelled, InputError
from ..core.settings import Settings
from . import recent, saving
from .actions import keys_table
from .dialogs import errors, files
from .faults import Fault
from .findings import present
from .recompute import Answer
from .requests import OpenMap, Save
from .work import Work

if TYPE_CHECKING:
    from .dialogs.help import HelpWindow
    from .main_window import MainWindow


PICTURES = "Pictures (*.png *.jpg *.jpeg *.tif *.tiff *.csv *.txt *.h5);;All files (*)"
EXPORTS = {"regions": "Export the statistics of regions",
           "difference": "Export the difference of two regions",
           "profile": "Export the profile"}  # fmt: skip
"""What of the places can be exported -> title of the dialog."""


class Commands(QObject):
    """Each method is a slot of the table in `actions`; dialogs are asked, the session is told."""

    def __init__(self, window: MainWindow) -> None:
        super().__init__(window)
        self._window, self._session = window, window.session
        self._kept_by: dict[int, Work] = {}
        self._without: set[int] = set()
        self._guide: HelpWindow | None = None
        self.ask_leave = errors.ask_leave
        self._session.failed.connect(lambda words: errors.show_error(window, words))
        self._session.faulted.connect(self.show_fault)
        self._session.answered.connect(self._answered)

    # -- maps -----------------------------------------------------------------------------------

    def ask_open(self) -> None:
        path = files.ask_open(self._window, "Open a map", files.MAPS)
        if path is not None:
            self.open(path)

    def open(self, path: Path) -> None:
        """Open a map or a saved analysis, unless the person wants to save something first and
        then does not."""
        if self.may_leave():
            self._session.open(path, folders=known_folders())

    def close_map(self) -> None:
        if self.may_leave():
            self._session.close_map()

    def may_leave(self) -> bool:
        """Whether the present map may be left; asks if anything decided is in no file."""
        if not self._session.changed:
            return True
        answer = self.ask_leave(self._window, saving.map_name(self._session.map))
        if answer == "save":
            return self._save_and_wait()
        return answer == "discard"

    def _save_and_wait(self) -> bool:
        """Save the result, or the settings while there is none; whether all is in a file then."""
        if not self._session.finished:
            if self.ask_save_settings() and self._session.changed:
                self._session.failed.emit("Only the settings are saved. The result can be saved "
                                          "when the map has been analysed.")  # fmt: skip
            return not self._session.changed
        number = self.ask_save_result()
        if number is None:
            return False
        wait = QEventLoop(self)
        self._session.answered.connect(wait.quit)
        while number in self._kept_by:
            wait.exec(QEventLoop.ProcessEventsFlag.ExcludeUserInputEvents)
        self._session.answered.disconnect(wait.quit)
        wait.deleteLater()
        return not self._session.changed

    # -- results --------------------------------------------------------------------------------

    def ask_save_result(self) -> int | None:
        """Save the whole analysis; the number of the request, None if it is not saved."""
        if not self._session.finished:
            return None
        analysis = self._session.analysis
        name = Path(self._session.saved_as).name or f"{saving.stem_of(analysis.map)}_result.h5"
        path = files.ask_save(self._window, "Save the result", name, files.RESULTS)
        if path is None:
            return None
        work, made = self._session.work, self._made() or self._window.figures.worked_out()
        write = saving.result_file(analysis, path, work, made, self._session.view,
                                   self._session.acts)  # fmt: skip
        number = self._session.submit(Save(write))
        self._kept_by[number] = work
        if made is None and self._looked_for():
            self._without.add(number)
        return number

    def _looked_for(self) -> bool:
        """Whether the person has looked for components of this map."""
        workspace = self._window.workspace
        asked = workspace is not None and workspace.component_desk.made is not None
        return asked or self._session.rule != Rule()

    def _made(self) -> Any:
        """The components of the present analysis under the present rule; None if there are none."""
        workspace = self._window.workspace
        made = workspace.component_desk.made if workspace is not None else None
        fits = made is not None and made.composition.maps.source is self._session.analysis
        return made if fits and made.composition.rule == self._session.rule else None

    def ask_export(self) -> None:
        if not self._session.finished:
            return
        from .dialogs.export import ExportDialog

        session, analysis = self._session, self._session.analysis
        found = present(session, self._made())
        dialog = ExportDialog(analysis, session.channel, self._window, findings=found,
                              picked=session.selection, gathered=session.group)  # fmt: skip
        if dialog.exec():
            write = saving.export_items(analysis, dialog.items)
            if dialog.wanted is not None:
                write = saving.export_folder(found, dialog.target, dialog.wanted, dialog.replace)
            session.submit(Save(write))
        dialog.deleteLater()

    def ask_picture(self) -> None:
        """Lay another picture of the same place beside the map."""
        path = files.ask_open(self._window, "Lay a picture beside the map", PICTURES)
        if path is not None:
            self._window.workspace.picture_desk.lay(path)

    def ask_save_comparison(self) -> None:
        """Save what the picture's contrast follows as comma-separated values."""
        text = self._window.workspace.picture_desk.comparison_text()
        if not text:
            return
        name = f"{saving.stem_of(self._session.map)}_picture.csv"
        path = files.ask_save(self._window, "Save the comparison", name, files.TABLES)
        if path is not None:
            self._session.submit(Save(saving.text_file(path, text)))

    def _answered(self, answer: Answer) -> None:
        if isinstance(answer.request, OpenMap) and answer.error is None:
            recent.add(answer.request.path)
        if not isinstance(answer.request, Save):
            if isinstance(answer.error, Cancelled):
                self._window.say("Stopped.")
            return
        work = self._kept_by.pop(answer.generation, None)
        if answer.error is None:
            said = saved_words(answer.value)
            if answer.generation in self._without:
                said += " The components were not worked out, so only their rule is in it."
            self._window.say(said)
            if work is not None:
                self._session.mark_work_saved(work, str(answer.value[0]))
        elif isinstance(answer.error, Cancelled):
            self._window.say("Stopped; what was not finished is not there.")

    def ask_save_components(self) -> None:
        """Save the table of components, its pairs and its rule."""
        made = self._made()
        if made is None or not made.whole:
            self._window.say("The components are still being worked out.")
            return
        name = f"{saving.stem_of(self._session.map)}_components.csv"
        path = files.ask_save(self._window, "Save the tables of components", name, files.TABLES)
        if path is not None:
            self._session.submit(Save(saving.component_tables(made, path)))

    def ask_save_rehearsal(self) -> None:
        """Save the tables of the rehearsal, its scene and what it means."""
        desk = self._window.workspace.rehearsal_desk
        if desk.made is None:
            return
        name = f"{saving.stem_of(self._session.map)}_rehearsal.csv"
        path = files.ask_save(self._window, "Save the rehearsal", name, files.TABLES)
        if path is not None:
            self._session.submit(Save(desk.write(path)))

    def ask_save_surface(self) -> None:
        """Save roughness, heights, slopes and findings of the surface."""
        surface = self._window.workspace.surface_desk.surface
        if surface is None or not surface.whole:
            return
        name = f"{saving.stem_of(self._session.map)}_surface.csv"
        path = files.ask_save(self._window, "Save the surface", name, files.TABLES)
        if path is not None:
            self._session.submit(Save(saving.surface_table(surface, path)))

    def ask_save_domains(self) -> None:
        """Save the table of all domains."""
        desk = self._window.workspace.shape_desk
        if desk.report is None:
            return
        name = f"{saving.stem_of(self._session.map)}_domains.csv"
        path = files.ask_save(self._window, "Save the domains", name, files.TABLES)
        if path is not None:
            self._session.submit(Save(saving.domain_table(desk.report, desk.composition, path)))

    def ask_save_decisions(self) -> None:
        """Save the table of all decided pixels."""
        analysis = self._session.analysis
        if analysis is None or not analysis.review:
            return
        name = f"{saving.stem_of(self._session.map)}_decisions.csv"
        path = files.ask_save(self._window, "Save the decisions", name, files.TABLES)
        if path is not None:
            self._session.submit(Save(saving.decision_table(analysis, path)))

    def ask_save_budget(self, text: str) -> None:
        """Save a budget of uncertainty, which is given as comma-separated values."""
        row, col = self._session.selection or (0, 0)
        name = f"{saving.stem_of(self._session.map)}_budget_{row}_{col}.csv"
        path = files.ask_save(self._window, "Save the budget", name, files.TABLES)
        if path is not None:
            self._session.submit(Save(saving.text_file(path, text)))

    # -- side by side ---------------------------------------------------------------------------

    def hold_reference(self) -> None:
        """Hold the present result, with its components if there are any."""
        made = self._made()
        self._session.hold_reference(made.composition.labels if made is not None else None)
        if self._session.reference is not None:
            self._window.say("Held as reference; the page Reference tells what changes from here.")

    def drop_reference(self) -> None:
        self._session.drop_reference()

    def overlay_pixel(self) -> None:
        """Lay the picked pixel's curve over others, or take it out."""
        if self._session.selection is not None:
            self._session.toggle_overlaid(*self._session.selection)

    def ask_save_overlay(self) -> None:
        """Save the curves laid over each other as comma-separated values."""
        text = self._window.workspace.overlay_desk.table_text()
        if not text:
            return
        name = f"{saving.stem_of(self._session.map)}_overlay.csv"
        path = files.ask_save(self._window, "Export the curves", name, files.TABLES)
        if path is not None:
            self._session.submit(Save(saving.text_file(path, text)))

    def ask_pack(self) -> None:
        """Make a pack that a reviewer can check."""
        self._window.workspace.pack_desk.ask()

    def ask_report(self) -> None:
        """Write the report of the analysis."""
        self._window.workspace.report_desk.ask()

    # -- places ---------------------------------------------------------------------------------

    def ask_save_places(self) -> None:
        """Save regions and profiles."""
        places = self._session.places
        if places is None:
            return
        name = f"{saving.stem_of(self._session.map)}_places.json"
        path = files.ask_save(self._window, "Save the places", name, files.PLACES)
        if path is not None:
            self._session.submit(Save(saving.places_file(places, path)))

    def ask_load_places(self) -> None:
        """Load regions and profiles in place of the present ones."""
        from ..core.places import Places

        path = files.ask_open(self._window, "Load places", f"{files.PLACES};;All files (*)")
        if path is None:
            return
        try:
            wrong = self._window.workspace.places_desk.use_file(
                Places.load(path), f"places from {path.name}")  # fmt: skip
        except InputError as error:
            wrong = str(error)
        if wrong:
            errors.show_error(self._window, wrong)
        else:
            self._window.say(f"Places from {path.name}.")

    def ask_export_places(self, what: str) -> None:
        """Export numbers as a table: of all "regions", the "difference" of two, or a "profile"."""
        if not self._session.finished:
            self._session.failed.emit("The numbers can be exported when the map is analysed.")
            return
        desk, stem = self._window.workspace.places_desk, saving.stem_of(self._session.map)
        path = files.ask_save(self._window, EXPORTS[what], f"{stem}_{what}.csv", files.TABLES)
        if path is None:
            return
        analysis, left_out = self._session.analysis, desk.left_out()
        if what == "profile":
            channels = self._window.workspace.profile_desk.channels
            write = saving.profile_table(analysis, desk.profile, channels, left_out, desk.labels(),
                                         path)  # fmt: skip
        else:
            regions = desk.pair() if what == "difference" else list(desk.places.regions)
            masks = [(region, desk.mask(region)) for region in regions]
            write = saving.region_tables(analysis, masks, left_out, path, what == "difference")
        self._session.submit(Save(write))

    # -- settings -------------------------------------------------------------------------------

    def ask_save_settings(self) -> bool:
        """Save the settings; False if the person thought better of it or it failed."""
        settings = self._session.settings
        fmap = self._session.map
        name = f"{saving.stem_of(fmap)}_settings.toml" if fmap is not None else "settings.toml"
        path = files.ask_save(self._window, "Save settings", name, files.SETTINGS)
        if path is None:
            return False
        try:
            saving.save_settings(path, settings)
        except InputError as error:
            errors.show_error(self._window, str(error))
            return False
        self._session.mark_saved(settings)
        self._window.say(saved_words([path]))
        return True

    def ask_load_settings(self) -> None:
        kinds = "Settings (*.toml *.json);;All files (*)"
        path = files.ask_open(self._window, "Load settings", kinds)
        if path is None:
            return
        try:
            settings = Settings.load(path)
        except InputError as error:
            errors.show_error(self._window, str(error))
            return
        if self._session.use_settings(settings, f"settings from {path.name}"):
            self._window.say(f"Settings from {path.name}.")
        self._session.mark_saved(settings)

    def reset_all(self) -> None:
        self._session.use_settings(Settings(), "reset of all settings")

    # -- help -----------------------------------------------------------------------------------

    def show_guide(self) -> None:
        self.show_page("Three minutes")

    def show_shortcuts(self) -> None:
        self.show_page("Keys")

    def show_cautions(self) -> None:
        self.show_page("Cautions")

    def show_page(self, title: str) -> None:
        """Open the guide at a page; one guide is enough."""
        from .dialogs.help import HelpWindow

        if self._guide is None:
            self._guide = HelpWindow(keys_table(self._window.actions_by_id), self._window)
            self._guide.destroyed.connect(self._guide_gone)
        self._guide.show_page(title)
        self._guide.show()
        self._guide.raise_()

    def _guide_gone(self) -> None:
        self._guide = None

    def show_about(self) -> None:
        from .dialogs.about import about_box

        box = about_box(self._window)
        box.exec()
        box.deleteLater()

    def show_fault(self, fault: Fault) -> None:
        """Say that something of ours went wrong, with a report to copy."""
        errors.show_error(self._window, fault.words, fault.details)


def known_folders() -> tuple[Path, ...]:
    """Where the map of a saved analysis may be: the folders of what was opened before."""
    return tuple(dict.fromkeys([files.last_folder("open"), *(p.parent for p in recent.paths())]))


def saved_words(paths: list[Path]) -> str:
    """What was written, for the status bar."""
    if len(paths) == 1:
        return f"Saved {paths[0].name} in {paths[0].parent}."
    return f"Saved {len(paths)} files in {paths[0].parent}." if paths else "Nothing to save."
