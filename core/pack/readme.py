"""``README.md`` of a pack: what it holds and how to check it, for who never saw Palpate."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from ..writers import nexus
from .contents import Item
from .environment import python_words
from .results import LEFT
from .wish import KNOWN, OWN, Wish

if TYPE_CHECKING:
    from ..findings import Findings
    from .described import Described

CAUTION = ("Not for qualifying, releasing or rejecting safety-critical or medical parts: there\n"
           "accredited tests and the rules that hold where you are decide.")  # fmt: skip
FEW = 4
"""More files in a folder of a folder are told together."""


def readme(findings: Findings, wish: Wish, about: Described, items: Sequence[Item]) -> str:
    """The whole text, Markdown that also reads well as it is."""
    parts = (_head(findings, wish, about, items), _contents(items), _checking(about),
             _rebuilding(about, items), _reading(about),
             WORDS.format(budgets=_budgets(items)), _rights(wish))  # fmt: skip
    return "\n".join(parts)


def _head(findings: Findings, wish: Wish, about: Described, items: Sequence[Item]) -> str:
    rows, cols = findings.map.shape
    lines = [f"# {about.title}", ""]
    if wish.authors:
        names = (f"{a.name} ({a.url})" if a.url else a.name for a in wish.authors)
        lines += [f"Authors: {', '.join(names)}", ""]
    if wish.description.strip():
        lines += [wish.description.strip(), ""]
    lines += [HEAD.format(made=about.made, rows=rows, cols=cols)]
    if any(item.name == "report/report.html" for item in items):
        lines.append(REPORT)
    lines += [f"Note: {note}\n" for note in findings.notes]
    return "\n".join(lines)


HEAD = """This is a pack that can be checked. It was made on {made} from a map of {rows} x {cols}
pixels, of the kind that an atomic force microscope records: at each pixel the tip is pushed onto
the sample and pulled off again, and the force is recorded against the distance (a force-distance
curve). The program Palpate fitted a contact law to each curve, which gives maps of modulus,
adhesion and other quantities. This pack holds what it found, and what is needed to find it again.
"""
REPORT = """To begin with, open `report/report.html` in a browser: it tells all of it on one page.
"""


def _contents(items: Sequence[Item]) -> str:
    lines = ["## What is in it", "", "| file | what it is |", "|---|---|"]
    for folder, own in _by_folder(items).items():
        if folder.count("/") > 0 and len(own) > FEW:
            kinds = "; ".join(dict.fromkeys(item.words for item in own))
            lines.append(f"| `{folder}/` ({len(own)} files) | {kinds} |")
        else:
            lines += [f"| `{item.name}` | {item.words} |" for item in own]
    return "\n".join([*lines, ""])


def _by_folder(items: Sequence[Item]) -> dict[str, list[Item]]:
    found: dict[str, list[Item]] = {}
    for item in items:
        found.setdefault(item.name.rpartition("/")[0], []).append(item)
    return found


def _checking(about: Described) -> str:
    return f"""## Has anything been changed?

`CHECKSUMS.sha256` lists the SHA-256 of every other file. In the folder of the pack:

    sha256sum -c CHECKSUMS.sha256             (Linux)
    shasum -a 256 -c CHECKSUMS.sha256         (macOS)
    python rebuild.py --checksums             (any system with Python 3.8 or later)

This finds damage and careless changes. Whoever changes a file on purpose can change its checksum
too; making the numbers again (below) then tells, as far as they follow from the measured map.

{_map_words(about)}
"""


def _map_words(about: Described) -> str:
    at = about.map
    known = f"{at.size:,} bytes, SHA-256\n`{at.sha256}`"
    if at.file:
        return f"The measured map is `{at.file}`: {known}."
    where = f" It is published at\n{at.published}." if at.published else ""
    return (f"The measured map is not in this pack.{where} It is called `{at.name}`:\n{known}.\n"
            "Only that very file is taken for it. Put it into a folder `map` of this pack, or name "
            "it with --map.")  # fmt: skip


def _rebuilding(about: Described, items: Sequence[Item]) -> str:
    given = "" if about.map.file else " --map FILE"
    tables = any(item.name == "tables/constants.csv" for item in items)
    constants = "`tables/constants.csv`" if tables else f"in `{about.result}`"
    program = next((item.name for item in items if item.name.startswith("program/")), "")
    return f"""## Do the numbers follow from the measurement?

You need Python 3.11, 3.12 or 3.13, and Palpate {nexus.version()}, free software under the MIT
licence. {IN_IT if program else NOT_IN_IT} In the folder of the pack:

    python -m venv ../check
    ../check/bin/python -m pip install -r requirements.txt
    ../check/bin/python -m pip install {program or "PALPATE"}
    ../check/bin/python rebuild.py{given}

On Windows write `..\\check\\Scripts\\python` for `../check/bin/python`. `requirements.txt` names
the very versions of all libraries that were used ({python_words()}).
Other versions mostly give the same numbers too.

The last command

1. holds every file against its checksum;
2. analyses the measured map anew, under the settings and the decisions that stand in
   `{about.result}`, finds the components anew, and compares all that is made with what stands in
   `{about.result}`: maps, their ±, doubts, units, labels, constants, components, their tables: to
   one part in 10⁹;
3. makes the settings, the tables, the numbers behind each figure with their descriptions, captions
   and scripts, and the methods paragraph anew and compares them with those in this pack: numbers to
   their last digit, texts letter by letter.

It prints a line for each file, names what differs and what was not compared, and ends with "All
numbers that were compared are the same." or "Not all is the same." (exit code 0 or 1). The first
run on a computer takes a minute or two longer, while the calculation is compiled.
With `--out ../anew` all that was made anew is kept there, to be looked at.
If you would rather run a copy of Palpate that you trust than one that came with the data, its
command `palpate rebuild FOLDER_OR_ZIP` does all of this without running anything from the pack.

What this does not tell: whether the settings and the constants (spring constant, sensitivity, tip)
are right. They stand in `settings.toml` and {constants}, for you to judge.

What is not compared: pictures, the report, this README, the licences, `pack.json`,
`ro-crate-metadata.json`, `requirements.txt`, another picture of the place, and the copy of Palpate;
they hold dates, typefaces, or what only the authors know. Of the methods paragraph the versions of
libraries are not compared, and of `{about.result}` {LEFT}. What a person decided (settings, rule
for components, decisions about pixels, places, recipes of figures) is taken from `{about.result}`
as it stands. The command names each file that it did not compare. A copy of Palpate of another
version tells scripts and texts that it words otherwise, and does not compare them.
"""


IN_IT = "This pack holds the very copy that made it."
NOT_IN_IT = ("It is not in this pack: ask the authors, and write its folder or file in\nplace of "
             "PALPATE.")  # fmt: skip


def _reading(about: Described) -> str:
    return f"""## Reading the numbers without Palpate

`{about.result}` is an HDF5 file with NeXus conventions; any viewer of such files opens it. The maps
are in `/entry/maps`, in SI units with the unit beside each, their standard uncertainties in those
whose names end in `_errors`. `doubts` holds a bit for each reason not to believe a pixel, `trusted`
is 1 where a pixel is used. Row 0 is the first scan line, drawn at the bottom. Missing values are
NaN. Tables are comma-separated values in UTF-8; `nan` means that there is no number.

`ro-crate-metadata.json` describes every file for machines by the open standard RO-Crate 1.1
(https://w3id.org/ro/crate).
"""


WORDS = """## Words

* Channel: one quantity at every pixel, such as the modulus.
* Component: pixels that are alike in some channels, such as the droplets of a blend; A, B, C.
* Doubt: a reason not to believe a curve, found by a rule with a threshold. A severe one keeps the
  pixel out of all statistics.
* Decision: a person kept a pixel in spite of its doubts, left it out, or corrected its fit.
* ±: one standard uncertainty. At a pixel it holds what this one curve leaves open, and not the
  errors that all pixels share, such as that of the spring constant.{budgets}
"""


def _budgets(items: Sequence[Item]) -> str:
    there = any(item.name == "tables/budgets.csv" for item in items)
    return " `tables/budgets.csv` has both." if there else ""


def _rights(wish: Wish) -> str:
    held = wish.licence
    if held.id == OWN:
        rights = "The data are under the licence of their authors in `LICENSE.txt`."
    else:
        rights = (f"The data are under {held.name} ({held.id},\n{held.url}):\nthey "
                  f"{KNOWN[held.id][2]}.\nThe text is in `LICENSE.txt`.")  # fmt: skip
    return f"""## Licence, and a caution

{rights}
Palpate and the scripts (files that end in .whl and .py) are under the MIT licence in
`LICENSE-SCRIPTS.txt`.

{CAUTION}
"""
