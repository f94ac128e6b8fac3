"""The pack that a reviewer can check: map, result, figures, tables, and how to make them again.

`write_pack` makes one, `rebuild` checks one; what goes in stands in `contents.PARTS`.
"""

from .contents import CHOICES, PARTS, Part, lacking, parts_of
from .making import Estimate, Packed, check_target, estimate, megabytes, with_overview, write_pack
from .rebuilding import Rebuilt, rebuild
from .wish import KNOWN, Author, Licence, Wish, licence

__all__ = ["CHOICES", "KNOWN", "PARTS", "Author", "Estimate", "Licence", "Packed", "Part",
           "Rebuilt", "Wish", "check_target", "estimate", "lacking", "licence", "megabytes",
           "parts_of", "rebuild", "with_overview", "write_pack"]  # fmt: skip
