"""The pages of the guide: some are written, the others made from the registries."""

from __future__ import annotations

import re
from collections.abc import Iterable
from importlib import resources

MEMORY = "from memory"
FOOTNOTE = f"*Some of these sources were cited without the print at hand ({MEMORY}).*"


def pages(keys: Iterable[tuple[str, str]]) -> dict[str, str]:
    """Title -> Markdown. `keys` is (keys, what they do)."""
    return {
        "Three minutes": written("guide"),
        "Channels": channels_page(),
        "Which pixels not to believe": written("doubts"),
        "Doubts": doubts_page(),
        "Which law, and how sure": written("laws"),
        "Components": written("components"),
        "Figure sheets": written("figures"),
        "Contact laws": laws_page(),
        "Settings": settings_page(),
        "The methods paragraph": written("methods"),
        "The pack": written("pack"),
        "Keys": keys_page(keys),
        "Cautions": written("cautions"),
    }


def written(name: str) -> str:
    """A page from the folder of the guide."""
    folder = resources.files(f"{__package__.rpartition('.')[0]}.help")
    return (folder / f"{name}.md").read_text("utf-8")


def channels_page() -> str:
    from ...core.channels import CHANNELS

    lines = ["# What each channel means", "", "Every channel has one number per pixel."]
    for channel in CHANNELS.values():
        unit = channel.unit or "no unit"
        lines += ["", f"**{channel.label}**, *{safe(channel.symbol)}* ({unit})", "",
                  f"{safe(channel.formula)}."]  # fmt: skip
        if channel.needs:
            needs = ", ".join(need.replace("_", " ") for need in channel.needs)
            lines += ["", f"*Needs:* {needs}."]
    return "\n".join(lines)


def doubts_page() -> str:
    from ...core.doubts import DOUBTS, SEVERE

    severe = [d for d in DOUBTS.values() if d.severity == SEVERE]
    mild = [d for d in DOUBTS.values() if d.severity != SEVERE]
    lines = ["# What each doubt means", "",
             "A doubt is a reason not to believe a curve. It never stops the map. Its threshold "
             "can be changed where the settings have one."]  # fmt: skip
    for title, words, group in (
        ("Severe", "The numbers of this pixel are not to be used.", severe),
        ("Mild", "Look at the curve before you use the numbers.", mild),
    ):
        lines += ["", f"## {title}", "", words, ""]
        lines += [f"- **{d.name.replace('_', ' ')}**: {safe(d.sentence)}" for d in group]
    return "\n".join(lines)


def laws_page() -> str:
    from ...core.models import LAWS

    lines = ["# Contact laws", "",
             "All of them: a rigid tip without friction on a linear elastic half-space, small "
             "slopes. The law is fitted to the deflection against the base position, as they were "
             "measured, with the contact point free; so the noise is where the fit expects it.",
             "", "With *constant pull (DMT)* the measured pull-off force is taken off: "
             f"{code('F = C δⁿ - F_ad')} (Derjaguin, Muller & Toporov, J. Colloid Interface "
             "Sci. 53 (1975) 314)."]  # fmt: skip
    for law in LAWS.values():
        title = law.label[:1].upper() + law.label[1:]
        lines += ["", f"## {title}", "", code(law.formula), ""]
        lines += [f"*Holds:* {safe(law.validity)}.", "", f"*Source:* {safe(cited(law.source))}."]
    return "\n".join([*lines, "", written("formulas"), "", FOOTNOTE])


def settings_page() -> str:
    from ...core.settings import declarations, range_text, split
    from ..panels.settings import TITLES

    lines, last = ["# Settings"], ""
    for path, spec in declarations():
        section, meta = split(path)[0], spec.metadata
        if section != last:
            lines += ["", f"## {TITLES[section]}", ""]
            last = section
        lines.append(f"- **{meta['label']}** ({safe(range_text(spec))}): {safe(meta['help'])} "
                     f"*Source: {safe(cited(meta['source']))}.*")  # fmt: skip
    return "\n".join([*lines, "", FOOTNOTE])


def keys_page(keys: Iterable[tuple[str, str]]) -> str:
    lines = ["# Keys", "", "| Keys | What they do |", "|---|---|"]
    return "\n".join([*lines, *(f"| {safe(k)} | {safe(words)} |" for k, words in keys)])


def cited(source: str) -> str:
    """A source without the notes on what was seen in print; the page's last sentence has that."""
    plain = re.sub(rf"\s*\([^()]*{MEMORY}[^()]*\)", "", source)
    plain = re.sub(rf" {MEMORY} of ", " of ", plain)
    plain = re.sub(rf";[^;,:]* {MEMORY}$", "", plain)
    return re.sub(rf", {MEMORY}$", ", common practice, no source", plain)


def code(text: str) -> str:
    return f"`{text}`"


def safe(text: str) -> str:
    """Text in which Markdown's signs are only signs."""
    for sign in "\\*_|<#`":
        text = text.replace(sign, f"\\{sign}" if sign != "<" else "&lt;")
    return text
