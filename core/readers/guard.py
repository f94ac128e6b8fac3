"""The guard: HDF5 files are read only through this, because a file may be hostile or damaged.

A file can name other files to be read in its place (external links, external storage, virtual
layouts), can declare more than it holds, or can crash a careless reader. So: paths are walked
one component at a time over hard links only; kinds, ranks, lengths, filters and sizes are
checked before a byte of data is read. Each refusal is a `ReadError` that names the file, the
object and the repair. See "Reading what may be hostile" in the format description.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from ..errors import ReadError
from ..units import DIMENSIONS, parse_unit
from .chunks import DamagedChunk, expected_size, filters_of

MIB = 1024**2
LARGEST_CHUNK = 64 * MIB  # decoded
SMALL = 64 * MIB  # below this a declared size is harmless
RATIO = 1000  # declared bytes for each stored byte above that
LONGEST_TEXT = 64 * 1024
_TEXTS_AT_ONCE = 256
FILTERS = {2: "shuffle", 1: "gzip", 3: "fletcher32"}  # in the order they may come

FOREIGN = "Bring the data in with palpate.core.write_map, which makes a map from NumPy arrays."
AGAIN = "Copy the file again from its source, or export it again."
FAULTS = (OSError, RuntimeError, KeyError, ValueError, TypeError, OverflowError, MemoryError)

_KNOWN = (  # what the library says, what it means, the repair
    ("truncated file", "the file is cut short: its end is missing", AGAIN),
    ("filter returned failure", "a block of it is damaged", AGAIN),
    ("unable to lock file", "another program is using it", "Close that program and try again."),
)


@contextmanager
def as_read_error(path: Path, where: str = "", repair: str = AGAIN) -> Iterator[None]:
    """Turn what the HDF5 library raises inside into a ReadError; our own pass through."""
    try:
        yield
    except ReadError:
        raise
    except DamagedChunk as error:
        raise ReadError(path, str(error), repair, where) from None
    except FAULTS as error:
        said = " ".join(str(error).split())[:200].rstrip(".")
        for sign, words, mend in _KNOWN:
            if sign in said:
                raise ReadError(path, words, mend, where) from error
        raise ReadError(path, f"it can't be read as HDF5 ({said})", repair, where) from error


class GuardedFile:
    """One HDF5 file, read with care.

    Objects are named by their path from the root, such as ``entry/curves/z``. Methods return
    None where the object is absent, and raise ReadError where it is not what it should be.

    Parameters
    ----------
    path : the file, already seen to be a regular file (see `door.look`)
    swmr : open it as one that is being written, or was when its writer was killed
    """

    def __init__(self, path: Path, *, swmr: bool = False) -> None:
        import h5py

        self.path = path
        self._h5 = h5py
        self._declared = 0
        self._size = path.stat().st_size
        with as_read_error(path):
            self.file = h5py.File(path, "r", swmr=swmr, rdcc_nbytes=16 * MIB)

    def close(self) -> None:
        self.file.close()

    def __enter__(self) -> GuardedFile:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def fail(self, name: str, what: str, repair: str = AGAIN) -> ReadError:
        """The error for one object, to be raised."""
        return ReadError(self.path, what, repair, name)

    # -- objects ------------------------------------------------------------------------------

    def walk(self, name: str) -> Any:
        """The low-level object at a path, over hard links only; None if absent."""
        h5 = self._h5
        here = self.file.id
        with as_read_error(self.path, name):
            for part in name.split("/") if name else []:
                if not isinstance(here, h5.h5g.GroupID):
                    raise self.fail(name, "a dataset stands where a group should be")
                key = part.encode()
                if not here.links.exists(key):
                    return None
                if here.links.get_info(key).type != h5.h5l.TYPE_HARD:
                    raise self.fail(
                        name, "it is a link to another place, which is not followed",
                        "Copy the linked data into the file.",
                    )  # fmt: skip
                here = h5.h5o.open(here, key)
        return here

    def is_group(self, name: str) -> bool:
        """Whether a group is there. Raises ReadError if something else is."""
        found = self.walk(name)
        if found is not None and not isinstance(found, self._h5.h5g.GroupID):
            raise self.fail(name, "a dataset stands where a group should be")
        return found is not None

    def _dataset(self, name: str) -> Any:
        found = self.walk(name)
        if found is None:
            return None
        if not isinstance(found, self._h5.h5d.DatasetID):
            raise self.fail(name, "a group stands where numbers should be")
        with as_read_error(self.path, name):
            self._check_storage(name, found)
            return self._h5.Dataset(found)

    def _check_storage(self, name: str, found: Any) -> None:
        plist = found.get_create_plist()
        if plist.get_external_count() > 0:
            raise self.fail(name, "its data lie in another file, which is not read",
                            "Copy the data into this file.")  # fmt: skip
        layout = plist.get_layout()
        if layout == self._h5.h5d.VIRTUAL:
            raise self.fail(name, "it is put together from other files, which are not read",
                            "Copy the data into this file.")  # fmt: skip
        if layout not in (self._h5.h5d.COMPACT, self._h5.h5d.CONTIGUOUS, self._h5.h5d.CHUNKED):
            raise self.fail(name, "its data are stored in a way that is not known")
        codes = filters_of(plist)
        if codes != [code for code in FILTERS if code in codes]:
            known = ", ".join(FILTERS.values())
            raise self.fail(name, f"it is packed with filters that are not read ({codes})",
                            f"Write it again with none, or with: {known}.")  # fmt: skip
        if layout == self._h5.h5d.CHUNKED:
            chunk = math.prod(plist.get_chunk()) * found.get_type().get_size()
            if chunk > LARGEST_CHUNK:
                raise self.fail(name, f"its chunks of {chunk // MIB} MiB are too large",
                                "Write it again with chunks of at most 64 MiB.")  # fmt: skip

    def numbers(
        self, name: str, *, kinds: str = "iuf", ranks: tuple[int, ...] = (1,)
    ) -> Any:  # fmt: skip
        """A checked dataset of numbers, not yet read (h5py.Dataset), or None if absent.

        Parameters
        ----------
        kinds : allowed NumPy kinds
        ranks : allowed numbers of dimensions
        """
        dataset = self._dataset(name)
        if dataset is None:
            return None
        with as_read_error(self.path, name):
            space, dtype = dataset.id.get_space(), dataset.dtype
            if space.get_simple_extent_type() == self._h5.h5s.NULL:
                raise self.fail(name, "it is empty")
            plain = dtype.kind in kinds and dtype.itemsize <= 8 and dtype.metadata is None
            if not plain:
                wanted = "whole numbers" if "f" not in kinds else "numbers"
                raise self.fail(name, f"it holds {dtype} where {wanted} should be")
            if dataset.ndim not in ranks:
                wanted = " or ".join(str(r) for r in ranks)
                raise self.fail(name, f"it has {dataset.ndim} dimensions where {wanted} should be")
            self._check_size(name, dataset)
        return dataset

    def _check_size(self, name: str, dataset: Any) -> None:
        declared = math.prod(dataset.shape) * dataset.dtype.itemsize
        stored = dataset.id.get_storage_size()
        if stored > self._size:
            raise self.fail(name, "it claims to fill more bytes than the file has")
        self._declared += declared
        for total, held in ((declared, stored), (self._declared, self._size)):
            if total > SMALL and total > RATIO * held:
                raise self.fail(
                    name, f"it declares {total / 1e6:.0f} MB of numbers but the file holds "
                    f"only {held / 1e6:.3f} MB of them")  # fmt: skip

    def check_chunks(self, name: str, dataset: Any) -> None:
        """Walk the index of a dataset's chunks: each must lie in the file and be of a sane size.

        Takes a moment for each chunk; meant for the process that looks into unknown files.
        """
        if dataset.chunks is None:
            return
        least = math.prod(dataset.chunks) * dataset.dtype.itemsize

        def one(info: Any) -> None:
            exact = expected_size(dataset, info.filter_mask)
            wrong = exact is not None and info.size != exact
            if wrong or info.size > self._size or info.size > 2 * least + 4096:
                at = info.chunk_offset[0]
                raise self.fail(name, f"a block of it, at {at}, has an impossible size")

        with as_read_error(self.path, name):
            dataset.id.chunk_iter(one)

    # -- values -------------------------------------------------------------------------------

    def array(self, name: str, *, kinds: str = "iuf", ranks: tuple[int, ...] = (1,)) -> Any:
        """A whole small dataset as a native array, or None if absent."""
        dataset = self.numbers(name, kinds=kinds, ranks=ranks)
        if dataset is None:
            return None
        with as_read_error(self.path, name):
            return self.read(dataset)

    @staticmethod
    def read(dataset: Any) -> np.ndarray:
        """All of a checked small dataset in native byte order."""
        found = np.asarray(dataset[()])
        return found.astype(found.dtype.newbyteorder("="), copy=False)

    def number(self, name: str) -> float | None:
        """One number (a scalar or an array of one), or None if absent."""
        found = self.array(name, ranks=(0, 1))
        if found is None:
            return None
        if found.size != 1:
            raise self.fail(name, f"it holds {found.size} numbers where one should be")
        return float(found.reshape(-1)[0])

    def text(self, name: str, most: int = 0) -> str:
        """One text; empty if absent.

        Parameters
        ----------
        most : bytes that it may have, and more of them are refused; without it a text is cut at
            64 kB
        """
        dataset = self._dataset(name)
        if dataset is None:
            return ""
        with as_read_error(self.path, name):
            if dataset.id.get_space().get_simple_extent_type() == self._h5.h5s.NULL:
                return ""
            if not self._is_text(dataset.id.get_type(), most):
                raise self.fail(name, f"it holds {dataset.dtype} where text should be")
            if math.prod(dataset.shape) != 1:
                raise self.fail(name, "it holds several texts where one should be")
            value = np.asarray(dataset[()], dtype=object).reshape(-1)[0]
            if most and len(value) > most:
                raise self.fail(name, f"it is a text of {len(value) / 1e6:.1f} MB; at most "
                                f"{most / 1e6:.1f} MB are read")  # fmt: skip
            return clean_text(value, most or LONGEST_TEXT)

    def texts(self, name: str, most: int, size: int) -> list[str]:
        """An array of texts just as they are, line breaks and spaces included; empty if absent.

        Parameters
        ----------
        most, size : how many there may be, and how many bytes in all
        """
        dataset = self._dataset(name)
        if dataset is None:
            return []
        with as_read_error(self.path, name):
            space = dataset.id.get_space().get_simple_extent_type()
            if space == self._h5.h5s.NULL or dataset.ndim != 1 or len(dataset) > most:
                raise self.fail(name, f"it should be a list of at most {most:,} texts")
            if not self._is_text(dataset.id.get_type()):
                raise self.fail(name, f"it holds {dataset.dtype} where texts should be")
            found: list[str] = []
            for first in range(0, len(dataset), _TEXTS_AT_ONCE):  # many can be one and the same
                for value in dataset[first : first + _TEXTS_AT_ONCE]:
                    size -= len(value)
                    found.append(bytes(value).rstrip(b"\0").decode("utf-8", "replace"))
                if size < 0:
                    raise self.fail(name, "its texts are too long")
            return found

    def _is_text(self, kind: Any, most: int = 0) -> bool:
        return isinstance(kind, self._h5.h5t.TypeStringID) and (
            kind.is_variable_str() or kind.get_size() <= (most or LONGEST_TEXT)
        )

    def attribute(self, name: str, key: str) -> str | float | None:
        """One attribute of an object: a text or a number, or None if absent.

        An array of one counts as its element. Raises ReadError for anything else.
        """
        here = self.walk(name)
        if here is None:
            return None
        place = f"{name}@{key}" if name else f"@{key}"
        with as_read_error(self.path, place):
            if not self._h5.h5a.exists(here, key.encode()):
                return None
            found = self._h5.h5a.open(here, key.encode())
            kind, one = found.get_type(), math.prod(found.shape or ()) == 1
            null = found.get_space().get_simple_extent_type() == self._h5.h5s.NULL
            if self._is_text(kind) and one and not null:
                value = self._h5.AttributeManager(_Holder(here))[key]
                return clean_text(np.asarray(value, dtype=object).reshape(-1)[0])
            if found.dtype.kind in "iuf" and one and not null:
                value = np.empty(found.shape, found.dtype)
                found.read(value)
                return float(value.reshape(-1)[0])
        raise self.fail(place, "it should be one number or one text")

    def attribute_texts(self, name: str, key: str) -> list[str]:
        """An attribute that is an array of at most 256 texts; empty if absent."""
        found, here = self._attribute_array(name, key)
        if found is None:
            return []
        with as_read_error(self.path, f"{name}@{key}"):
            if not self._is_text(found.get_type()):
                raise self.fail(f"{name}@{key}", "it should be a list of texts")
            value = self._h5.AttributeManager(_Holder(here))[key]
            return [clean_text(v) for v in np.asarray(value, dtype=object).reshape(-1)]

    def attribute_whole_numbers(self, name: str, key: str) -> list[int]:
        """An attribute that is an array of at most 256 whole numbers; empty if absent."""
        found, _ = self._attribute_array(name, key)
        if found is None:
            return []
        with as_read_error(self.path, f"{name}@{key}"):
            if found.dtype.kind not in "iu":
                raise self.fail(f"{name}@{key}", "it should be a list of whole numbers")
            value = np.empty(found.shape, found.dtype)
            found.read(value)
            return [int(v) for v in value.reshape(-1)]

    def _attribute_array(self, name: str, key: str) -> tuple[Any, Any]:
        here = self.walk(name)
        with as_read_error(self.path, f"{name}@{key}"):
            if here is None or not self._h5.h5a.exists(here, key.encode()):
                return None, here
            found = self._h5.h5a.open(here, key.encode())
            if found.shape is None or math.prod(found.shape) > 256:
                raise self.fail(f"{name}@{key}", "it should be a short list")
            return found, here

    def factor_to_core(self, name: str, *dimensions: str) -> tuple[str, float]:
        """(dimension, factor into its core unit) of an object's `units` attribute.

        Raises ReadError if the units are missing, unknown or of another dimension.
        """
        wanted = " or ".join(DIMENSIONS[d][0] or "1" for d in dimensions)
        repair = f"Write the attribute {name}@units; for example {wanted}."
        unit = self.attribute(name, "units")
        if unit is None:
            raise self.fail(name, "its unit is missing", repair)
        try:
            found, factor = parse_unit(str(unit))
        except ValueError as error:
            raise self.fail(name, str(error)[:200], repair) from None
        if found not in dimensions:
            raise self.fail(name, f"its unit “{unit}” is one of {found}", repair)
        return found, factor


class _Holder:
    """Gives h5py's attribute manager an object by its low-level identifier."""

    def __init__(self, identifier: Any) -> None:
        self.id = identifier


def clean_text(value: Any, most: int = LONGEST_TEXT) -> str:
    """Text of an HDF5 string: broken UTF-8 and control characters are replaced, length bounded."""
    if isinstance(value, bytes):
        text = value[:most].decode("utf-8", "replace")
    else:
        text = str(value)[:most].encode("utf-8", "surrogateescape").decode(
            "utf-8", "replace"
        )
    text = text.rstrip("\0").strip()
    if text.replace("\n", "").replace("\t", "").isprintable():  # as long texts are
        return text
    return "".join(c if c.isprintable() or c in "\n\t" else "�" for c in text)
