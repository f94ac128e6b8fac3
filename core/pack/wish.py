"""What a person decides about a pack: its title, its authors, its licence, what goes in."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from pathlib import Path

from ..errors import InputError, ReadError

LONGEST_TITLE, LONGEST_TEXT, MOST_AUTHORS = 300, 5000, 200
LARGEST_LICENCE = 1024**2
OWN = "own"


@dataclass(frozen=True)
class Licence:
    """The licence of the data.

    Attributes
    ----------
    id : SPDX identifier, or "own" for a text of one's own
    name, url : in full, and where it is published; "" for one's own
    text : the whole text
    """

    id: str
    name: str
    url: str
    text: str


KNOWN = {
    "CC-BY-4.0": ("Creative Commons Attribution 4.0 International",
                  "https://creativecommons.org/licenses/by/4.0/",
                  "may be used by anybody for anything, if the authors are named"),
    "CC0-1.0": ("Creative Commons Zero 1.0 Universal",
                "https://creativecommons.org/publicdomain/zero/1.0/",
                "may be used by anybody for anything"),
}  # fmt: skip
"""SPDX identifier -> name, where it is published, and what it allows in a clause."""
MIT = "MIT"


@cache
def text_of(name: str) -> str:
    """The text of a licence that comes with the program: one of `KNOWN`, or "MIT"."""
    place = resources.files(__package__) / "licences" / f"{name}.txt"
    return place.read_text(encoding="utf-8")


def licence(words: str) -> Licence:
    """The licence of an identifier, whatever its case, or of a file with a text of one's own.

    Raises
    ------
    InputError : neither; ReadError : the file can't be read, or is no text
    """
    for name, (title, url, _) in KNOWN.items():
        if words.strip().casefold() in (name.casefold(), name.rpartition("-")[0].casefold()):
            return Licence(name, title, url, text_of(name))
    path = Path(words)
    if not path.is_file():
        raise InputError(f"“{words[:80]}” is no licence that is known ({', '.join(KNOWN)}), and "
                         "there is no file of that name with a text of your own.")  # fmt: skip
    return Licence(OWN, "a licence of the authors' own", "", _own_text(path))


def _own_text(path: Path) -> str:
    try:
        if path.stat().st_size > LARGEST_LICENCE:
            raise ReadError(path, "a licence of more than 1 MB is none", "Choose a text file.")
        text = path.read_text(encoding="utf-8")
    except UnicodeDecodeError:
        raise ReadError(path, "the licence is no text in UTF-8", "Choose a text file.") from None
    except OSError as error:
        raise ReadError(path, f"it can't be read ({error.strerror})", "Choose another.") from None
    if not text.strip() or "\0" in text:
        raise ReadError(path, "there is no licence in it", "Choose a text file.")
    return text


@dataclass(frozen=True)
class Author:
    """A person; `orcid` is empty or as 0000-0002-1825-0097. Raises InputError for what is none."""

    name: str
    orcid: str = ""

    def __post_init__(self) -> None:
        name = " ".join(self.name.split())
        if not name or len(name) > LONGEST_TITLE or not name.isprintable():
            raise InputError(f"“{self.name[:80]}” is not the name of an author.")
        object.__setattr__(self, "name", name)
        object.__setattr__(self, "orcid", orcid(self.orcid) if self.orcid.strip() else "")

    @property
    def url(self) -> str:
        return f"https://orcid.org/{self.orcid}" if self.orcid else ""


def orcid(words: str) -> str:
    """An ORCID iD in its plain form, as a number or an address.

    Its last character checks the others by ISO/IEC 7064, MOD 11-2 (ORCID, "Structure of the ORCID
    Identifier"). Raises InputError.
    """
    words = words.strip()
    plain = words.removeprefix("https://").removeprefix("http://")
    plain = plain.removeprefix("orcid.org/").upper().rstrip("/")
    if not re.fullmatch(r"\d{4}-\d{4}-\d{4}-\d{3}[\dX]", plain, re.ASCII):
        raise InputError(f"“{words[:60]}” is no ORCID iD: it has the form 0000-0002-1825-0097.")
    total = 0
    for digit in plain.replace("-", "")[:-1]:
        total = (total + int(digit)) * 2
    check = (12 - total % 11) % 11
    if plain[-1] != ("X" if check == 10 else str(check)):
        raise InputError(f"“{words[:60]}” is no ORCID iD: its last character does not fit the "
                         "others. Look for a slip of the pen.")  # fmt: skip
    return plain


@dataclass(frozen=True)
class Wish:
    """All that is decided about a pack.

    Attributes
    ----------
    licence : of the data
    title, description : empty: made from the map's name
    authors : may be none
    with_map : whether the measured map goes in; else it is named with its checksum
    published : where the map is published, an address; "" if it is not
    left_out : names of parts that do not go in, of `contents.CHOICES`
    """

    licence: Licence = field(default_factory=lambda: licence("CC-BY-4.0"))
    title: str = ""
    description: str = ""
    authors: tuple[Author, ...] = ()
    with_map: bool = True
    published: str = ""
    left_out: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "title", " ".join(self.title.split()))
        if len(self.title) > LONGEST_TITLE or not self.title.isprintable():
            raise InputError(f"The title is longer than {LONGEST_TITLE} characters, or has signs "
                             "that can't be printed. Shorten it.")  # fmt: skip
        if len(self.description) > LONGEST_TEXT or "\0" in self.description:
            raise InputError(f"The description is longer than {LONGEST_TEXT} characters. "
                             "Shorten it.")  # fmt: skip
        if len(self.authors) > MOST_AUTHORS:
            raise InputError(f"There are more than {MOST_AUTHORS} authors.")
        object.__setattr__(self, "published", address(self.published))


def address(words: str) -> str:
    """Where something is published: an address as it is, a DOI as an address. Raises InputError."""
    plain = words.strip()
    if plain.lower().startswith("doi:"):
        plain = plain[4:].strip()
    if re.fullmatch(r"10\.\d{4,9}/[!-~]+", plain):
        plain = f"https://doi.org/{plain}"
    if plain and not re.fullmatch(r"https?://[!-~]+\.[!-~]+", plain):
        raise InputError(f"“{words[:80]}” is no place where a map is published. Give an address "
                         "that begins with https://, or a DOI such as 10.1234/abcd.")  # fmt: skip
    if len(plain) > LONGEST_TITLE or set(plain) & set('<>"\\'):
        raise InputError(f"“{words[:80]}” is no address that can be used.")
    return plain
