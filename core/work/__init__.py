"""All that a person decided about one map as one frozen value, and as plain values for files."""

from .answers import Answers
from .changes import change_of, changed
from .parts import PARTS, as_parts, from_parts
from .values import Laid, Work

__all__ = ["PARTS", "Answers", "Laid", "Work", "as_parts", "change_of", "changed", "from_parts"]
