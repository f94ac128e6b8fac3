"""``ro-crate-metadata.json``: the pack described for machines by RO-Crate 1.1.

RO-Crate Metadata Specification 1.1 (https://w3id.org/ro/crate/1.1): a flat JSON-LD graph with the
metadata file descriptor, the root dataset, a data entity a file, and what they refer to. Nothing is
said that the person or the analysis did not say.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import PurePosixPath
from typing import TYPE_CHECKING, Any

from ..writers import nexus
from .contents import PARTS, Item
from .environment import python_words
from .wish import OWN, Author, Wish

if TYPE_CHECKING:
    from ..findings import Findings
    from .described import Described

NAME = "ro-crate-metadata.json"
PROFILE = "https://w3id.org/ro/crate/1.1"
CONTEXT = [f"{PROFILE}/context", {"sha256": "https://schema.org/sha256"}]
"""The second part adds what the context of 1.1 lacks, as its appendix on JSON-LD says."""
DONE = {"@id": "http://schema.org/CompletedActionStatus"}
MEDIA = {".csv": "text/csv", ".json": "application/json", ".pdf": "application/pdf",
         ".png": "image/png", ".svg": "image/svg+xml", ".html": "text/html", ".txt": "text/plain",
         ".toml": "application/toml", ".md": "text/markdown", ".py": "text/x-python",
         ".h5": "application/x-hdf5", ".hdf5": "application/x-hdf5", ".nxs": "application/x-hdf5",
         ".bib": "application/x-bibtex", ".sha256": "text/plain", ".whl": "application/zip",
         ".tif": "image/tiff", ".tiff": "image/tiff", ".jpg": "image/jpeg",
         ".jpeg": "image/jpeg"}  # fmt: skip
"""Ending of a name -> media type (IANA; those with x- and TOML by custom)."""
MIT = "https://spdx.org/licenses/MIT"
Entity = dict[str, Any]


def crate(findings: Findings, wish: Wish, about: Described, items: Sequence[Item],
          sizes: Mapping[str, int], digests: Mapping[str, str]) -> str:  # fmt: skip
    """The text of the file.

    Parameters
    ----------
    items : all files of the pack but this one
    sizes, digests : bytes and SHA-256 of each, as far as they can be known
    """
    files = [_file(item, sizes, digests) for item in items]
    outside = _map_outside(about)
    graph = [_descriptor(), _root(findings, wish, about, [*files, *_folders(items)], outside),
             *files, *_folders(items), *outside, *_licences(wish, about),
             *(_person(author, n) for n, author in enumerate(wish.authors, 1)),
             *_program(), *_actions(findings, about, items, outside), *_channels(findings)
             ]  # fmt: skip
    data = {"@context": CONTEXT, "@graph": graph}
    return json.dumps(data, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _ref(*names: str) -> list[dict[str, str]]:
    return [{"@id": name} for name in names]


def _ids(entities: Iterable[Entity]) -> list[dict[str, str]]:
    return _ref(*(entity["@id"] for entity in entities))


def _descriptor() -> Entity:
    return {"@id": NAME, "@type": "CreativeWork", "conformsTo": {"@id": PROFILE},
            "about": {"@id": "./"}}  # fmt: skip


def _root(findings: Findings, wish: Wish, about: Described, parts: list[Entity],
          outside: list[Entity]) -> Entity:  # fmt: skip
    # what is neither here nor on the web is no data entity, and so no part
    published = [one for one in outside if one["@type"] == "File"]
    found: Entity = {
        "@id": "./", "@type": "Dataset", "name": about.title,
        "description": wish.description.strip() or described(findings),
        "datePublished": about.made, "license": {"@id": licence_id(wish)},
        "hasPart": _ids([*parts, *published]),
        "mentions": _ref("#analysis", "#packing"),
        "variableMeasured": _ids(_channels(findings)),
    }  # fmt: skip
    if outside:
        found["isBasedOn"] = _ids(outside)
    if wish.authors:
        found["author"] = _ref(*(person_id(author, n) for n, author in enumerate(wish.authors, 1)))
    return found


def described(findings: Findings) -> str:
    """A description, where the person gave none."""
    rows, cols = findings.map.shape
    count = 0 if findings.composition is None else findings.composition.count
    found = f"with {count} components" if count else "without components"
    decided = findings.analysis.review.words if findings.analysis.review else "no decision by hand"
    return (f"A map of {rows} x {cols} pixels with {findings.map.n_curves:,} force-distance curves "
            f"of an atomic force microscope, analysed {found}; {decided}. With settings, tables "
            "and all that is needed to make the numbers again.")  # fmt: skip


def licence_id(wish: Wish) -> str:
    return "LICENSE.txt" if wish.licence.id == OWN else wish.licence.url


def person_id(author: Author, number: int) -> str:
    return author.url or f"#author-{number}"


def _person(author: Author, number: int) -> Entity:
    return {"@id": person_id(author, number), "@type": "Person", "name": author.name}


def _file(item: Item, sizes: Mapping[str, int], digests: Mapping[str, str]) -> Entity:
    suffix = PurePosixPath(item.name).suffix.lower()
    found: Entity = {"@id": item.name, "@type": "File", "name": PurePosixPath(item.name).name,
                     "description": item.words,
                     "encodingFormat": MEDIA.get(suffix, "application/octet-stream")}  # fmt: skip
    if item.name in sizes:
        found["contentSize"] = str(sizes[item.name])
    if item.name in digests:
        found["sha256"] = digests[item.name]
    if suffix in (".py", ".whl"):
        found["@type"] = ["File", "SoftwareSourceCode"]
        found["programmingLanguage"] = {"@id": "https://www.python.org/"}
        found["license"] = {"@id": MIT}
    return found


def _folders(items: Sequence[Item]) -> list[Entity]:
    """The folders at the top, each with its files."""
    known = {part.name: part for part in PARTS}
    tops = dict.fromkeys(item.name.split("/")[0] for item in items if "/" in item.name)
    found = []
    for top in tops:
        own = [item.name for item in items if item.name.startswith(f"{top}/")]
        part = known.get(top)
        found.append({"@id": f"{top}/", "@type": "Dataset", "name": part.title if part else top,
                      "description": part.words if part else OTHER.get(top, "files"),
                      "hasPart": _ref(*own)})  # fmt: skip
    return found


OTHER = {"map": "the measured map", "picture": "another picture of the same place"}


def _map_outside(about: Described) -> list[Entity]:
    """The measured map, if it is not in the pack."""
    at = about.map
    if at.file:
        return []
    found = {"@id": at.published or "#map", "@type": "File" if at.published else "CreativeWork",
             "name": at.name, "description": "the measured map, which is not in this pack",
             "encodingFormat": "application/x-hdf5", "contentSize": str(at.size),
             "sha256": at.sha256}  # fmt: skip
    if at.uuid:
        found["identifier"] = f"urn:uuid:{at.uuid}"
    return [found]


def _licences(wish: Wish, about: Described) -> list[Entity]:
    found = [{"@id": MIT, "@type": "CreativeWork", "name": "MIT License", "identifier": "MIT",
              "description": "licence of Palpate and of its scripts in this pack"}]  # fmt: skip
    held = wish.licence
    if held.id != OWN:
        found.append({"@id": held.url, "@type": "CreativeWork", "name": held.name,
                      "identifier": held.id, "description": "licence of the data in this pack"})
    return found


def _program() -> list[Entity]:
    return [
        {"@id": "#palpate", "@type": "SoftwareApplication", "name": "Palpate",
         "version": nexus.version(), "softwareVersion": nexus.version(), "license": {"@id": MIT},
         "description": "a workbench for maps of force-distance curves; ran with "
         f"{python_words()} and the libraries in requirements.txt",
         "softwareRequirements": {"@id": "requirements.txt"}},
        {"@id": "https://www.python.org/", "@type": "ComputerLanguage", "name": "Python",
         "url": {"@id": "https://www.python.org/"}},
    ]  # fmt: skip


def _actions(findings: Findings, about: Described, items: Sequence[Item], outside: list[Entity]
             ) -> list[Entity]:  # fmt: skip
    """The analysis, from map and settings to the result; and the packing of what follows."""
    source = about.map.file or outside[0]["@id"]
    made = [item.name for item in items if "/" in item.name and item.name != about.map.file]
    tool = {"@id": "#palpate"}
    return [
        {"@id": "#analysis", "@type": "CreateAction", "name": "Analysis of the measured map",
         "description": "Each curve was fitted under the settings and the decisions in the result.",
         "startTime": findings.analysis.started, "endTime": findings.analysis.ended,
         "instrument": tool, "object": _ref(source, "settings.toml"),
         "result": _ref(about.result), "actionStatus": DONE},
        {"@id": "#packing", "@type": "CreateAction", "name": "Making of this pack",
         "endTime": about.made, "instrument": tool, "object": _ref(about.result),
         "result": _ref(*made) or _ref("./"), "actionStatus": DONE},
    ]  # fmt: skip


def _channels(findings: Findings) -> list[Entity]:
    """What was measured at each pixel, with its unit in the result file (SI)."""
    from ..units import si_factor

    found = []
    for channel, _, errors in findings.analysis.channels():
        unit = si_factor(channel.unit)[0]
        sure = "with" if errors is not None else "without"
        found.append({
            "@id": f"#channel-{channel.name}", "@type": "PropertyValue", "name": channel.label,
            "propertyID": channel.name, "unitText": unit or "1",
            "description": f"{channel.formula}; at every pixel, {sure} its standard uncertainty; "
            f"/entry/maps/{channel.name} of the result",
        })  # fmt: skip
    return found
