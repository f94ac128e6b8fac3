"""The pack that a reviewer can check: map, result, figures, tables, and how to make them again.

`write_pack` makes one, `rebuild` checks one; what goes in stands in `contents.PARTS`.
"""

from .making import Estimate, Packed, check_target, estimate, megabytes, write_pack
from .rebuilding import Rebuilt, rebuild
from .wish import KNOWN, Author, Licence, Wish, licence

__all__ = ["KNOWN", "Author", "Estimate", "Licence", "Packed", "Rebuilt", "Wish", "check_target",
           "estimate", "licence", "megabytes", "rebuild", "write_pack"]  # fmt: skip
