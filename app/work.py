"""What the person has decided about a map; core also keeps it in files."""

from ..core.work.values import Laid, Work

__all__ = ["Laid", "Work"]
