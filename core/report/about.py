"""The title block, what the report was made with, and what it does not hold."""

from __future__ import annotations

import hashlib
import platform
from collections.abc import Iterator
from importlib import metadata
from typing import Any

from ..writers.nexus import version
from .parts import WARNING, Block, Column, Listing, Note, Paragraph, Section, Table
from .words import CAUTION, NONE, Draft, count

LIBRARIES = ("numpy", "scipy", "h5py", "numba", "scikit-image", "scikit-learn", "matplotlib",
             "cmap", "reportlab")  # fmt: skip
FACTS = (Column("What"), Column("Found"))


def lead(draft: Draft) -> list[Block]:
    """The facts that tell this analysis from any other, the caution, and what is not as it was."""
    findings = draft.findings
    blocks: list[Block] = [Note(CAUTION, "caution")]
    blocks += [Note(words, WARNING) for words in findings.notes]
    rows = tuple(_facts(draft))
    note = ("A SHA-256 is a fingerprint: by these it can be checked whether a map, settings, "
            "decisions and the rule for components are the same. The numbers follow from them and "
            "from the version of the program; other libraries or machines may change the last "
            "digits.")  # fmt: skip
    return [*blocks, Table("What was analysed", FACTS, rows, (note,))]


def _facts(draft: Draft) -> Iterator[tuple[str, str]]:
    findings, fmap, analysis = draft.findings, draft.findings.map, draft.findings.analysis
    yield "Map", findings.name
    yield "File of the map", fmap.path.name if fmap.path is not None else "in memory, no file"
    yield "SHA-256 of the map", fmap.checksum()
    if fmap.uuid:
        yield "UUID of the map", fmap.uuid
    yield "Measured", fmap.attributes.get("start_time", NONE)
    yield "Pixels", field_words(fmap)
    yield "Analysed", _when(analysis)
    yield "Result file", findings.result.name if findings.result else "not saved in one"
    yield "Program", f"Palpate {version()}"
    changed = len(analysis.settings.changed())
    yield "Settings", (f"{count(changed, 'setting differs', 'settings differ')} from the defaults"
                       if changed else "all at their defaults")  # fmt: skip
    yield "SHA-256 of the settings", sha256(analysis.settings.to_json())
    yield "Decisions", _first_large(analysis.review.words)
    yield "SHA-256 of the decisions", analysis.review.checksum or "no decision, so none"
    if findings.composition is not None:
        yield "SHA-256 of the rule for components", sha256(findings.composition.rule.to_json())


def sha256(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def field_words(fmap: Any) -> str:
    """Pixels, their size and the curves, in words."""
    rows, cols = fmap.shape
    found = f"{cols} × {rows} {'pixel' if rows == cols == 1 else 'pixels'} (columns × rows)"
    steps = [abs(float(a[-1] - a[0])) / (a.size - 1) for a in (fmap.x, fmap.y) if a.size > 1]
    if not fmap.has_scale:
        found += ", without a recorded size"
    elif len(steps) == 2:
        wide, high = steps[0] * cols / 1e3, steps[1] * rows / 1e3
        found += f" over {wide:.4g} × {high:.4g} µm, {steps[0]:.4g} × {steps[1]:.4g} nm each"
    elif steps:
        found += f" in one line, {steps[0]:.4g} nm apart"
    return f"{found}; {count(fmap.n_curves, 'curve')}"


def _when(analysis: Any) -> str:
    if not analysis.started:
        return NONE
    same = not analysis.ended or analysis.ended == analysis.started
    return analysis.started if same else f"{analysis.started} to {analysis.ended}"


def _first_large(text: str) -> str:
    return text[:1].upper() + text[1:]


def environment(draft: Draft) -> Section:
    """Program, libraries, machine and files."""
    rows = [("Palpate", version()), ("Python", platform.python_version()),
            ("System", platform.platform())]  # fmt: skip
    for name in LIBRARIES:
        try:
            rows.append((name, metadata.version(name)))
        except metadata.PackageNotFoundError:
            rows.append((name, "not installed"))
    blocks: list[Block] = [Table("What computed and drew this", (Column("What"), Column("Version")),
                                 tuple(rows))]  # fmt: skip
    recorded = tuple(_recorded(draft.findings.map))
    if recorded:
        blocks.append(Table("What the map's file says of the measurement", FACTS, recorded))
    warnings = tuple(draft.findings.map.warnings)
    if warnings:
        blocks += [Paragraph("What was odd in the map's file:"), Listing(warnings)]
    return Section("environment", "Program, libraries and files", tuple(blocks))


MOST_ATTRIBUTES = 60


def _recorded(fmap: Any) -> Iterator[tuple[str, str]]:
    was = fmap.recorded
    names = ("set_point", "temperature", "resonance_frequency", "quality_factor",
             "cantilever_length", "cantilever_width", "cantilever_thickness")  # fmt: skip
    for name in names:
        one = getattr(was, name)
        if one is not None:
            yield _first_large(name.replace("_", " ")), f"{one.value:.6g} {one.unit}".strip()
    for words, text in (("Tip shape", was.tip_shape), ("Medium", was.medium)):
        if text:
            yield words, text
    if fmap.sampling_rate is not None:
        import numpy as np

        rates = np.unique(np.asarray(fmap.sampling_rate))
        rates = rates[np.isfinite(rates)]
        if rates.size:
            ends = f"{rates[0]:.6g}" + (f" to {rates[-1]:.6g}" if rates.size > 1 else "")
            yield "Sampling rate", f"{ends} Hz"
    yield "Samples of a curve", _samples(fmap)
    for name, text in list(fmap.attributes.items())[:MOST_ATTRIBUTES]:
        yield _first_large(name.replace("_", " ")), text
    more = len(fmap.attributes) - MOST_ATTRIBUTES
    if more > 0:
        yield "Further entries", f"{more} are in the file and not here"


def _samples(fmap: Any) -> str:
    low, high = int(fmap.curve_count.min()), int(fmap.curve_count.max())
    return f"{low:,}" if low == high else f"{low:,} to {high:,}"


def limits(draft: Draft) -> Section:
    """What is not in the report and why, and the caution."""
    blocks: list[Block] = []
    if draft.left_out:
        blocks += [Paragraph("Not in this report:"), Listing(tuple(draft.left_out))]
    else:
        blocks.append(Paragraph("Nothing that belongs into this report had to be left out."))
    blocks.append(Paragraph(
        "The numbers of single pixels are not in it: they are in the result file and can be "
        "exported as tables."))  # fmt: skip
    blocks.append(Note(CAUTION, "caution"))
    return Section("left-out", "What was left out, and what the numbers are not for",
                   tuple(blocks))  # fmt: skip
