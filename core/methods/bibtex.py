"""References as BibTeX, in plain ASCII so that every version of it reads them."""

from __future__ import annotations

import unicodedata

from .parts import OTHERS, Paragraph, Reference

_ACCENTS = {"\u0308": '"', "\u0301": "'", "\u0300": "`", "\u0302": "^", "\u0303": "~"}
_SIGNS = {"ß": "{\\ss}", "ø": "{\\o}", "–": "--", "“": "``", "”": "''", "’": "'"}
_SPECIAL = {"&": "\\&", "%": "\\%", "#": "\\#", "_": "\\_", "$": "\\$"}
_KINDS = {"article": "article", "book": "book", "standard": "misc", "software": "misc"}
MEMORY = "written down from memory: check it against the print"
PARTLY = "{} confirmed in a public source; the rest from memory: check it against the print"


def bibtex(paragraph: Paragraph) -> str:
    """The references that a paragraph cites, in their order, as BibTeX entries.

    Each carries a field ``checked`` that says what of it was confirmed; BibTeX passes over it.
    """
    return "\n\n".join(entry(one) for one in paragraph.references) + (
        "\n" if paragraph.references else "")  # fmt: skip


def entry(one: Reference) -> str:
    """One reference as an entry."""
    fields = {
        "author": " and ".join("others" if name == OTHERS else escaped(name)
                               for name in one.authors),
        "title": f"{{{escaped(one.title)}}}", "journal": escaped(one.journal),
        "volume": one.volume, "number": one.number, "pages": one.pages.replace("-", "--"),
        "publisher" if one.kind == "book" else "howpublished": escaped(one.publisher),
        "year": str(one.year), "doi": one.doi, "eprint": one.eprint,
        "archiveprefix": "arXiv" if one.eprint else "",
        "checked": PARTLY.format(one.seen) if one.seen else MEMORY,
    }  # fmt: skip
    lines = [f"  {name} = {{{text}}}" for name, text in fields.items() if text]
    return f"@{_KINDS[one.kind]}{{{one.key},\n" + ",\n".join(lines) + "\n}"


def escaped(text: str) -> str:
    """A text for BibTeX: umlauts and accents as its commands, its own signs escaped."""
    out = []
    for sign in text:
        if sign in _SIGNS or sign in _SPECIAL:
            out.append(_SIGNS.get(sign) or _SPECIAL[sign])
            continue
        apart = unicodedata.normalize("NFD", sign)
        if apart[1:2] in _ACCENTS:
            out.append(f"{{\\{_ACCENTS[apart[1]]}{apart[0]}}}")
        else:
            out.append(sign if sign.isascii() else unicodedata.name(sign, "?").lower())
    return "".join(out)
