"""Fields: the same components over several maps, and how much the maps differ."""

from __future__ import annotations

from .matching import Matched, match
from .pooling import Pooled, between_field, pool
from .tables import Entry, FieldsTable, fields_table, write_table
from .trends import Trend, trend

__all__ = [
    "Entry",
    "FieldsTable",
    "Matched",
    "Pooled",
    "Trend",
    "between_field",
    "fields_table",
    "match",
    "pool",
    "trend",
    "write_table",
]
