"""The files of a pack, put together in a folder that nobody has seen yet."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from ..errors import ReadError
from ..findings import Findings
from ..progress import Progress
from ..writers import nexus
from . import checksums, crate, described
from .contents import Item, Making, lacking, parts_of
from .environment import requirements
from .names import plain_name
from .program import unnamed
from .readme import readme
from .rebuild_script import SCRIPT
from .wish import MIT, Wish, text_of

RESULT = "result.h5"
_BLOCK = 4 * 1024**2
LICENCE, SCRIPTS_LICENCE, README = "LICENSE.txt", "LICENSE-SCRIPTS.txt", "README.md"


@dataclass
class Built:
    """A pack that was put together.

    Attributes
    ----------
    items : its files, in the order in which they are told
    files : name -> where it lies now; the map may lie at its own place
    digests : name -> SHA-256, of all but the list of checksums
    notes : what the person should be told
    """

    items: list[Item] = field(default_factory=list)
    files: dict[str, Path] = field(default_factory=dict)
    digests: dict[str, str] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)


def build(folder: Path, findings: Findings, wish: Wish, acts: Sequence[Mapping[str, Any]],
          progress: Progress, copy_map: bool) -> Built:  # fmt: skip
    """Put a pack together in an empty folder.

    Parameters
    ----------
    acts : rows of the history, for the result file
    copy_map : whether the map is copied into the folder; else only its place is told
    """
    built = Built()
    at = _map(folder, findings, wish, built, progress, copy_map)
    work = _picture(folder, findings, built)
    write_result(folder, findings, work, at, acts)
    built.items.append(Item(RESULT, "the result: all maps, doubts, decisions, settings, components "
                            "and recipes of figures, and which map it was made from"))  # fmt: skip
    # whoever writes the result's name means the one in the pack
    making = Making(folder, replace(findings, work=work, result=folder / RESULT), progress)
    parts = _parts(making, wish, built)
    title = wish.title or f"{findings.name}: force-distance map and analysis"
    about = described.Described(
        title, nexus.now()[:10], f"palpate {nexus.version()}", RESULT, at, tuple(parts),
        tuple(item.name for item in built.items if item.again))  # fmt: skip
    _texts(folder, findings, wish, about, built)
    return built


def _map(folder: Path, findings: Findings, wish: Wish, built: Built, progress: Progress,
         copy_map: bool) -> described.MapAt:  # fmt: skip
    """The measured map, copied and its checksum proved, or named."""
    fmap = findings.map
    assert fmap.path is not None
    progress.step(0, 0, "Reading the map")
    name = f"map/{plain_name(fmap.path.stem)}{_ending(fmap.path)}"
    at = described.MapAt(name if wish.with_map else "", Path(name).name, fmap.file_size,
                         fmap.checksum(), fmap.uuid, wish.published)  # fmt: skip
    if not wish.with_map:
        return at
    called = "" if fmap.path.name == at.name else f" (first called “{fmap.path.name}”)"
    built.items.append(Item(name, f"the measured map{called}: all force-distance curves as they "
                            "were recorded"))  # fmt: skip
    built.files[name] = fmap.path
    if copy_map:
        built.files[name] = folder / name
        (folder / name).parent.mkdir()
        if _copied(fmap.path, folder / name, progress) != at.sha256:
            raise ReadError(fmap.path, "the file was changed since it was opened", "Open it again.")
    return at


def _ending(path: Path) -> str:
    return path.suffix.lower() if path.suffix.lower() in (".h5", ".hdf5", ".nxs") else ".h5"


def _copied(source: Path, target: Path, progress: Progress) -> str:
    """Copy a file; its SHA-256."""
    digest, size, done = hashlib.sha256(), max(1, source.stat().st_size >> 10), 0
    with source.open("rb") as old, target.open("xb") as new:
        while block := old.read(_BLOCK):
            progress.step(done >> 10, size, "Copying the map")
            digest.update(block)
            new.write(block)
            done += len(block)
    return digest.hexdigest()


def _picture(folder: Path, findings: Findings, built: Built) -> Any:
    """The work, with another picture of the place where the pack has it."""
    work, laid = findings.work, findings.work.picture
    if laid is None:
        return work
    if not laid.path.is_file():
        built.notes.append(f"The picture {laid.path.name} is gone, so it is not in the pack.")
        return replace(work, picture=None)
    name = f"picture/{plain_name(laid.path.stem)}{laid.path.suffix.lower()}"
    (folder / name).parent.mkdir()
    (folder / name).write_bytes(laid.path.read_bytes())
    built.items.append(Item(name, "another picture of the same place, laid on the map"))
    return replace(work, picture=replace(laid, path=folder / name))


def write_result(folder: Path, findings: Findings, work: Any, at: described.MapAt,
            acts: Sequence[Mapping[str, Any]]) -> None:  # fmt: skip
    """The result file, which names the map as the pack has it."""
    from ..components.saving import write_components
    from ..workfile import Beside, save_analysis

    def components(entry: Any) -> None:
        assert findings.composition is not None
        write_components(entry, findings.composition, findings.table, findings.pairs)

    writer = components if findings.table is not None else None
    beside = Beside(writer, work, findings.view, acts, f"map/{at.name}")
    save_analysis(folder / RESULT, findings.analysis, beside)


def _parts(making: Making, wish: Wish, built: Built) -> list[str]:
    """Make the parts; their names."""
    found: list[str] = []
    parts = parts_of(making.findings, wish.left_out)
    for part in parts:
        making.progress.step(len(found), len(parts), part.title)
        items = part.make(making)
        found.append(part.name)
        built.items += items
    built.notes += [*lacking(making.findings), *making.notes]
    return found


def _texts(folder: Path, findings: Findings, wish: Wish, about: described.Described,
           built: Built) -> None:  # fmt: skip
    """What is written last: it tells of the rest."""
    texts = {
        described.NAME: (about.text(), "what the pack holds, for the program"),
        "requirements.txt": (requirements(unnamed()), "the versions of all libraries in use"),
        "rebuild.py": (SCRIPT, "checks the pack and makes its numbers again"),
        LICENCE: (wish.licence.text, "licence of the data"),
        SCRIPTS_LICENCE: (text_of(MIT), "licence of the program and its scripts: MIT"),
        README: ("", "what is in the pack and how to check it"),
        crate.NAME: ("", "the pack described for machines (RO-Crate 1.1)"),
        checksums.NAME: ("", "SHA-256 of every other file"),
    }
    every = [*built.items, *(Item(name, words) for name, (_, words) in texts.items())]
    for item in every:
        built.files.setdefault(item.name, folder / item.name)
    told = sorted(every, key=lambda item: ("/" in item.name, item.name != README, item.name))
    for name, (text, _) in texts.items():
        _write(folder / name, text)
    _write(folder / README, readme(findings, wish, about, told))
    digests = {about.map.file: about.map.sha256} if about.map.file else {}
    late = (crate.NAME, checksums.NAME)
    for item in every:
        if item.name not in digests and item.name not in late:
            digests[item.name] = checksums.digest_of(built.files[item.name])
    sizes = {name: built.files[name].stat().st_size for name in digests}
    described_for_machines = [item for item in told if item.name != crate.NAME]
    _write(folder / crate.NAME,
           crate.crate(findings, wish, about, described_for_machines, sizes, digests))  # fmt: skip
    digests[crate.NAME] = checksums.digest_of(folder / crate.NAME)
    _write(folder / checksums.NAME, checksums.text_of(digests))
    built.items, built.digests = told, digests


def _write(path: Path, text: str) -> None:
    path.write_text(text, encoding="utf-8", newline="\n")
