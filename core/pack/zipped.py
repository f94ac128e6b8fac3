"""A pack as one zip file: written alike each time, and read with care, because it may be hostile.

A zip can name places outside its folder, hold links, or be a bomb: much more than it weighs. All
that is looked at before a byte is unpacked, and what is unpacked is counted.
"""

from __future__ import annotations

import hashlib
import shutil
import stat
import zipfile
import zlib
from collections.abc import Mapping
from pathlib import Path

from ..errors import ReadError
from ..progress import Progress
from .checksums import AGAIN
from .names import left_by_system, wrong_name

MIB = 1024**2
MOST_FILES = 20_000
SMALL, RATIO = 64 * MIB, 100
"""A zip may hold this much, and beyond it so many times its own size."""
STORED = {".h5", ".png", ".pdf", ".gz", ".tif", ".npy", ".whl"}
"""Endings of what is packed already, or read in pieces."""
_BLOCK = 4 * MIB
_ENCRYPTED = 0x1
_RESERVE = 16 * MIB


def write_zip(target: Path, files: Mapping[str, Path], progress: Progress) -> dict[str, str]:
    """Write files under their names: sorted, and with one time for all, so that the same contents
    give the same bytes.

    Returns the SHA-256 of what was written of each. Raises OSError, Cancelled.
    """
    digests: dict[str, str] = {}
    total = sum(path.stat().st_size for path in files.values())
    done = 0
    with zipfile.ZipFile(target, "w", allowZip64=True) as out:
        for name in sorted(files):
            info = _entry(name, files[name].stat().st_size)
            digest = hashlib.sha256()
            with files[name].open("rb") as source, out.open(info, "w") as part:
                while block := source.read(_BLOCK):
                    progress.step(done >> 10, max(1, total >> 10), f"Packing {name}")
                    digest.update(block)
                    part.write(block)
                    done += len(block)
            digests[name] = digest.hexdigest()
    return digests


def write_texts(target: Path, files: Mapping[str, bytes], progress: Progress) -> None:
    """The same for what is in memory."""
    with zipfile.ZipFile(target, "w") as out:
        for name in sorted(files):
            progress.check()
            out.writestr(_entry(name, len(files[name])), files[name])


def _entry(name: str, size: int) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name, (1980, 1, 1, 0, 0, 0))
    packed = Path(name).suffix.lower() in STORED
    info.compress_type = zipfile.ZIP_STORED if packed else zipfile.ZIP_DEFLATED
    info.create_system = 3  # whose rights follow
    info.external_attr = (stat.S_IFREG | 0o644) << 16
    info.file_size = size
    return info


def unpack(path: Path, folder: Path, progress: Progress) -> None:
    """Unpack a zip into an empty folder. Raises ReadError for what is damaged or hostile."""
    try:
        with zipfile.ZipFile(path) as archive:
            entries = [one for one in archive.infolist() if not left_by_system(one.filename)]
            _look(path, entries)
            _room(path, folder, entries)
            for done, entry in enumerate(entries):
                progress.step(done, len(entries), f"Unpacking {entry.filename}")
                _one(path, archive, entry, folder, progress)
    except (zipfile.BadZipFile, zlib.error, EOFError) as error:
        said = " ".join(str(error).split())[:120] or "its end is missing"
        raise ReadError(path, f"the zip is damaged or cut short ({said})", AGAIN) from None
    except (NotImplementedError, RuntimeError, UnicodeDecodeError) as error:
        said = " ".join(str(error).split())[:120]
        raise ReadError(path, f"the zip can't be unpacked ({said})", AGAIN) from None
    except OSError as error:
        raise ReadError(path, f"it can't be unpacked ({error.strerror or error})",
                        "Make room, or name another place with --out.") from None  # fmt: skip


def _look(path: Path, entries: list[zipfile.ZipInfo]) -> None:
    """All that can be told from the list of contents. Raises ReadError."""
    if len(entries) > MOST_FILES:
        raise ReadError(path, f"it holds {len(entries):,} files; {MOST_FILES:,} are allowed", AGAIN)
    seen: set[str] = set()
    for entry in entries:
        name = entry.filename.rstrip("/") if entry.is_dir() else entry.filename
        why = _wrong(entry, name)
        if not why and name.casefold() in seen:
            why = "another one has the same name"
        if why:
            shown = "".join(sign if sign.isprintable() else "?" for sign in name)[:80]
            raise ReadError(path, f"“{shown}” in it is refused: {why}",
                            "A pack of Palpate has no such thing. Don't unpack it by other "
                            "means; ask for the pack again.")  # fmt: skip
        seen.add(name.casefold())
    size, held = path.stat().st_size, sum(entry.file_size for entry in entries)
    if held > SMALL + RATIO * size or sum(entry.compress_size for entry in entries) > size:
        raise ReadError(path, f"it weighs {size / 1e6:.3g} MB and would unpack to "
                        f"{held / 1e6:.3g} MB, more than a pack can", AGAIN)  # fmt: skip


def _wrong(entry: zipfile.ZipInfo, name: str) -> str:
    kind = stat.S_IFMT(entry.external_attr >> 16)
    if kind == stat.S_IFLNK:
        return "it is a link to another place"
    if kind not in (0, stat.S_IFREG, stat.S_IFDIR):
        return "it is no file"
    if entry.flag_bits & _ENCRYPTED:
        return "it is locked by a password"
    if entry.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        return "it is packed in a way that is not usual"
    return wrong_name(name)


def _room(path: Path, folder: Path, entries: list[zipfile.ZipInfo]) -> None:
    needs = sum(entry.file_size for entry in entries)
    free = shutil.disk_usage(folder).free
    if free < needs + _RESERVE:
        raise ReadError(path, f"it unpacks to {needs / 1e6:.1f} MB, and {free / 1e6:.1f} MB are "
                        "free", "Make room, or name another place with --out.")  # fmt: skip


def _one(path: Path, archive: zipfile.ZipFile, entry: zipfile.ZipInfo, folder: Path,
         progress: Progress) -> None:  # fmt: skip
    target = folder / entry.filename
    if entry.is_dir():
        target.mkdir(parents=True, exist_ok=True)
        return
    target.parent.mkdir(parents=True, exist_ok=True)
    written = 0
    with archive.open(entry) as source, target.open("xb") as out:
        while block := source.read(_BLOCK):
            progress.check()
            written += len(block)
            if written > entry.file_size:
                raise ReadError(path, f"“{entry.filename}” in it is larger than it says", AGAIN)
            out.write(block)
    if written != entry.file_size:
        raise ReadError(path, f"“{entry.filename}” in it is shorter than it says", AGAIN)
