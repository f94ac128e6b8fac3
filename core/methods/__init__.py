"""The methods paragraph: written from what was really done, with visible gaps for the rest.

`registry` holds the items in their order and which of them tells each setting; `measuring`,
`processing`, `mechanics`, `validity`, `belief`, `numbers` and `provenance` write their sentences;
`facts` has the figures. What the program does not know is a `Gap`; the person's answers stand in
the work.
"""

from .bibtex import bibtex
from .making import paragraph
from .parts import ORIGINS, Gap, Hole, Paragraph, Reference, Row
from .registry import ITEMS, SILENT, TOLD, Item
from .rendering import ENDINGS, file_text, table_text

__all__ = ["ENDINGS", "ITEMS", "ORIGINS", "SILENT", "TOLD", "Gap", "Hole", "Item", "Paragraph",
           "Reference", "Row", "bibtex", "file_text", "paragraph", "table_text"]  # fmt: skip
